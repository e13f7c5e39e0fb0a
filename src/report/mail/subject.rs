//! The subject: the verdict in a few words.

use crate::report::summary::RunSummary;

/// `Clamping audit 2026-11: 3 new majors, 2 cleared`; without an earlier run
/// `Clamping audit 2026-11: 3 majors`. Majors of all kinds count, purchasing included. Where
/// there is no new one, the standing ones and the circuits not assessed are said, so that it
/// can't be read as a clean bill.
#[must_use]
pub fn subject(summary: &RunSummary) -> String {
    let changes = &summary.changes;
    let mut parts = Vec::new();
    let has_majors = if summary.has_previous {
        parts.push(match (changes.new_majors, summary.majors()) {
            (0, 0) => "no majors".to_owned(),
            (0, standing) => format!("no new majors, {standing} standing"),
            (new, _) => counted(new, "new major", "new majors"),
        });
        parts.push(format!("{} cleared", changes.cleared));
        changes.new_majors > 0
    } else {
        parts.push(counted(summary.majors(), "major", "majors"));
        summary.majors() > 0
    };
    if !has_majors && summary.circuits.not_assessed > 0 {
        parts.push(format!("{} not assessed", counted(summary.circuits.not_assessed, "circuit", "circuits")));
    }
    let month = summary.date.get(..7).unwrap_or(&summary.date);
    format!("Clamping audit {month}: {}", parts.join(", "))
}

/// `no majors`, `1 major`, `3 majors`.
pub(super) fn counted(number: u64, one: &str, many: &str) -> String {
    match number {
        0 => format!("no {many}"),
        1 => format!("1 {one}"),
        _ => format!("{number} {many}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audit::counts::{ChangeCounts, SeverityCounts, VerdictCounts};

    fn summary(majors: u64, not_assessed: u64, changes: Option<(u64, u64)>) -> RunSummary {
        RunSummary {
            date: "2026-11-03".to_owned(),
            findings: SeverityCounts { majors: majors.saturating_sub(1), ..SeverityCounts::default() },
            purchasing: SeverityCounts { majors: majors.min(1), ..SeverityCounts::default() },
            circuits: VerdictCounts { total: 20, not_assessed, ..VerdictCounts::default() },
            has_previous: changes.is_some(),
            changes: changes.map_or_else(ChangeCounts::default, |(new_majors, cleared)| ChangeCounts {
                new_majors,
                cleared,
                standing_majors: majors - new_majors,
                ..ChangeCounts::default()
            }),
            ..RunSummary::default()
        }
    }

    #[test]
    fn the_verdict_stands_in_the_subject() {
        let cases = [
            (summary(8, 1, Some((3, 2))), "3 new majors, 2 cleared"),
            (summary(1, 0, Some((1, 0))), "1 new major, 0 cleared"),
            (summary(5, 0, Some((0, 2))), "no new majors, 5 standing, 2 cleared"),
            (summary(0, 0, Some((0, 2))), "no majors, 2 cleared"),
            (summary(0, 4, Some((0, 0))), "no majors, 0 cleared, 4 circuits not assessed"),
            (summary(3, 1, None), "3 majors"),
            (summary(1, 0, None), "1 major"),
            (summary(0, 0, None), "no majors"),
            (summary(0, 1, None), "no majors, 1 circuit not assessed"),
        ];
        for (summary, expected) in cases {
            assert_eq!(subject(&summary), format!("Clamping audit 2026-11: {expected}"));
        }
    }
}
