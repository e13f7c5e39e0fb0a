//! The subject: what is unsafe now, whether that is better or worse, and what is to be decided.

use crate::audit::counts::VerdictCounts;
use crate::tables::counted::{counted, counted_or_no, failing};

use super::digest::Digest;

/// `Clamping audit 2026-11: 25 circuits unsafe in service (3 fewer), 3 of 40 not assessed, 14 decisions: 3250.00 EUR`.
/// What is not assessed is always said, so that no number of unsafe circuits can be read as all of them.
#[must_use]
pub fn subject(digest: &Digest) -> String {
    let summary = &digest.summary;
    let now = summary.in_service;
    let planned = summary.planned();
    let is_unknown = now.total > 0 && now.not_assessed == now.total;
    // Where nothing is in service, nothing there is safe either.
    let mut text = if now.total == 0 && summary.circuits.total > 0 {
        "no circuit stated to be in service".to_owned()
    } else if is_unknown {
        let none = if now.total == 1 { "could not be assessed" } else { "none could be assessed" };
        format!("{} in service, {none}", counted(now.total, "circuit"))
    } else {
        format!("{} unsafe in service", counted_or_no(now.does_not_conform, "circuit"))
    };
    if let Some(change) = digest.change() {
        text = format!("{text} ({})", change.in_words());
    }
    if now.by_minors > 0 {
        text = format!("{text}, {} of them by minors alone", now.by_minors);
    }
    if now.not_assessed > 0 && !is_unknown {
        text = format!("{text}, {} of {} not assessed", now.not_assessed, now.total);
    }
    let unknown = summary.may_be_in_service;
    if unknown.does_not_conform + unknown.not_assessed > 0 {
        let failing = failing(unknown.does_not_conform);
        text = format!("{text}, of {} that may be in service {failing}", unknown.total);
        text.push_str(&not_assessed_too(unknown));
    }
    if now.does_not_conform == 0 && planned.does_not_conform + planned.not_assessed > 0 {
        text = format!("{text}, of {} planned {}", planned.total, failing(planned.does_not_conform));
        text.push_str(&not_assessed_too(planned));
    }
    let decisions = &digest.decisions;
    if decisions.count > 0 {
        text = format!("{text}, {}", counted_or_no(decisions.count, "decision"));
        let cost = decisions.cost_in_words();
        if !cost.is_empty() {
            text = format!("{text}: {cost}");
        }
    }
    let month = summary.date.get(..7).unwrap_or(&summary.date);
    format!("Clamping audit {month}: {text}")
}

/// `, 2 not assessed`; empty where there is none.
fn not_assessed_too(circuits: VerdictCounts) -> String {
    if circuits.not_assessed == 0 { String::new() } else { format!(", {} not assessed", circuits.not_assessed) }
}

#[cfg(test)]
mod tests {
    use rust_decimal::Decimal;

    use super::*;
    use crate::report::mail::digest::Decisions;
    use crate::report::summary::{EarlierRun, RunSummary};

    fn digest(unsafe_now: u64, unsafe_before: Option<u64>, not_assessed: u64, cents: Option<i64>) -> Digest {
        let of = |does_not_conform| VerdictCounts { total: 40, does_not_conform, ..VerdictCounts::default() };
        let earlier = unsafe_before.map(|before| EarlierRun {
            date: "2026-10-03".to_owned(),
            in_service: of(before),
            ..EarlierRun::default()
        });
        let in_service = VerdictCounts { not_assessed, ..of(unsafe_now) };
        let summary = RunSummary {
            date: "2026-11-03".to_owned(),
            circuits: in_service,
            in_service,
            earlier,
            ..RunSummary::default()
        };
        let decisions = cents.map_or_else(Decisions::default, |cents| Decisions {
            count: 1,
            costs: [("EUR".to_owned(), Decimal::new(cents, 2))].into(),
            ..Decisions::default()
        });
        Digest { summary, decisions, ..Digest::default() }
    }

    #[test]
    fn what_is_unsafe_the_change_and_the_decisions_stand_in_the_subject() {
        let cases = [
            (
                digest(8, Some(5), 1, Some(32_500)),
                "8 circuits unsafe in service (3 more), 1 of 40 not assessed, 1 decision: 325.00 EUR",
            ),
            (digest(1, None, 39, None), "1 circuit unsafe in service, 39 of 40 not assessed"),
            (digest(0, None, 40, None), "40 circuits in service, none could be assessed"),
            (digest(1, Some(3), 0, None), "1 circuit unsafe in service (2 fewer)"),
            (digest(4, Some(4), 0, None), "4 circuits unsafe in service (as many as before)"),
            (digest(0, None, 0, None), "no circuits unsafe in service"),
            (digest(0, Some(0), 4, None), "no circuits unsafe in service (as many as before), 4 of 40 not assessed"),
        ];
        for (digest, expected) in cases {
            assert_eq!(subject(&digest), format!("Clamping audit 2026-11: {expected}"));
        }
    }

    /// Planned ones that are not assessed are none of those in service.
    #[test]
    fn what_is_planned_is_told_apart() {
        let mut digest = digest(0, None, 1, None);
        digest.summary.circuits.total += 3;
        digest.summary.circuits.not_assessed += 2;
        let expected =
            "no circuits unsafe in service, 1 of 40 not assessed, of 3 planned 0 do not conform, 2 not assessed";
        assert_eq!(subject(&digest), format!("Clamping audit 2026-11: {expected}"));
        digest.summary.may_be_in_service = VerdictCounts { total: 3, not_assessed: 2, ..VerdictCounts::default() };
        let expected = "no circuits unsafe in service, 1 of 40 not assessed, of 3 that may be in service 0 do not conform, \
                        2 not assessed";
        assert_eq!(subject(&digest), format!("Clamping audit 2026-11: {expected}"));
    }

    /// Four were unsafe: one left the lists, one can't be assessed any more, one was put right, one stands.
    #[test]
    fn what_is_not_looked_at_any_more_is_not_counted_as_fewer() {
        let mut digest = digest(1, Some(4), 0, None);
        (digest.unsafe_unlisted, digest.unsafe_not_assessed) = (1, 1);
        let expected = "1 circuit unsafe in service (1 fewer, 1 no longer listed, 1 not assessed any more)";
        assert_eq!(subject(&digest), format!("Clamping audit 2026-11: {expected}"));
    }
}
