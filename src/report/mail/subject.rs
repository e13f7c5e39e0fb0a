//! The subject: what is unsafe now, whether that is better or worse, and what is to be decided.

use crate::tables::counted::{counted_or_no, failing};

use super::digest::Digest;

/// `Clamping audit 2026-11: 25 circuits unsafe in service (3 fewer), 14 decisions: 3250.00 EUR`. Where none is unsafe
/// the circuits not assessed are said, so that it can't be read as a clean bill.
#[must_use]
pub fn subject(digest: &Digest) -> String {
    let summary = &digest.summary;
    let now = summary.in_service;
    let planned = summary.planned();
    // Where nothing is in service, nothing there is safe either.
    let mut text = if now.total == 0 && summary.circuits.total > 0 {
        "no circuit stated to be in service".to_owned()
    } else {
        format!("{} unsafe in service", counted_or_no(now.does_not_conform, "circuit"))
    };
    if let Some(change) = digest.change() {
        text = format!("{text} ({})", change.in_words());
    }
    if now.by_minors > 0 {
        text = format!("{text}, {} of them by minors alone", now.by_minors);
    }
    if now.does_not_conform == 0 && summary.circuits.not_assessed > 0 {
        text = format!("{text}, {} not assessed", summary.circuits.not_assessed);
    }
    let unknown = summary.may_be_in_service.does_not_conform;
    if unknown > 0 {
        let verb = if unknown == 1 { "does" } else { "do" };
        text = format!("{text}, {unknown} that may be in service {verb} not conform");
    }
    if now.does_not_conform == 0 && planned.does_not_conform > 0 {
        text = format!("{text}, of {} planned {}", planned.total, failing(planned.does_not_conform));
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

#[cfg(test)]
mod tests {
    use rust_decimal::Decimal;

    use super::*;
    use crate::audit::counts::VerdictCounts;
    use crate::report::mail::digest::Decisions;
    use crate::report::summary::{EarlierRun, RunSummary};

    fn digest(unsafe_now: u64, unsafe_before: Option<u64>, not_assessed: u64, cents: Option<i64>) -> Digest {
        let of = |does_not_conform| VerdictCounts { total: 40, does_not_conform, ..VerdictCounts::default() };
        let earlier = unsafe_before.map(|before| EarlierRun {
            date: "2026-10-03".to_owned(),
            in_service: of(before),
            ..EarlierRun::default()
        });
        let circuits = VerdictCounts { not_assessed, ..of(unsafe_now) };
        let summary = RunSummary {
            date: "2026-11-03".to_owned(),
            circuits,
            in_service: of(unsafe_now),
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
            (digest(8, Some(5), 1, Some(32_500)), "8 circuits unsafe in service (3 more), 1 decision: 325.00 EUR"),
            (digest(1, Some(3), 0, None), "1 circuit unsafe in service (2 fewer)"),
            (digest(4, Some(4), 0, None), "4 circuits unsafe in service (as many as before)"),
            (digest(0, None, 0, None), "no circuits unsafe in service"),
            (digest(0, Some(0), 4, None), "no circuits unsafe in service (as many as before), 4 not assessed"),
        ];
        for (digest, expected) in cases {
            assert_eq!(subject(&digest), format!("Clamping audit 2026-11: {expected}"));
        }
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
