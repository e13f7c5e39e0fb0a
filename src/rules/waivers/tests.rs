use super::*;
use crate::rules::test_circuit::{assert_is_told, day, today};
use crate::tables::circuit::CircuitKey;
use crate::tables::origin::CellFault;
use crate::tables::policy::Policy;

pub(super) fn waiver(expires: Option<NaiveDate>) -> Waiver {
    Waiver {
        rule: "P05".to_owned(),
        reason: "Approved by test".to_owned(),
        approved_by: "J. Doe".to_owned(),
        expires,
        ..Waiver::default()
    }
}

pub(super) fn run(rule: &Rule, waiver: &Waiver, matches: u64) -> Outcome {
    let policy = Policy::at(today());
    let examples = [CircuitKey { fixture: "F1".into(), circuit: "1".into(), ..CircuitKey::default() }];
    let examples = if matches == 0 { &[][..] } else { &examples[..] };
    let mut outcome = Outcome::default();
    rule.checks.waiver.unwrap()(&WaiverView { policy: &policy, waiver, matches, examples }, &mut outcome);
    assert_is_told(rule, &outcome);
    outcome
}

#[test]
fn w01_a_waiver_is_valid_through_its_day() {
    assert_eq!(run(&W01, &waiver(Some(today())), 1), Outcome::default());
    assert!(is_in_force(&waiver(Some(today())), today()));
    let outcome = run(&W01, &waiver(Some(day(2026, 3, 9))), 2);
    let hit = &outcome.hits[0];
    assert_eq!(hit.column, Some("expires"));
    assert!(hit.facts.contains(&("days", Value::Count(1))));
    assert!(hit.facts.contains(&("matches", Value::Count(2))));
    assert!(!is_in_force(&waiver(Some(day(2026, 3, 9))), today()));
}

#[test]
fn w01_names_every_empty_required_cell_in_one_finding() {
    let mut incomplete = waiver(None);
    incomplete.reason = "  ".to_owned();
    let outcome = run(&W01, &incomplete, 0);
    assert_eq!(outcome.hits.len(), 1);
    assert_eq!(outcome.hits[0].column, Some("reason"));
    let missing = Value::List(vec!["reason".to_owned(), "expires".to_owned()]);
    assert!(outcome.hits[0].facts.contains(&("missing", missing)));
    assert!(!is_in_force(&incomplete, today()));
}

/// Nobody has approved what stands there, or given a reason.
#[test]
fn w01_takes_a_placeholder_for_an_empty_cell() {
    for text in ["-", "?", "–", "...", "n/a", "N.A.", "tbd", "TBD?", "pending", "NO", "rejected", "not approved", "x"]
    {
        for column in ["reason", "approved_by"] {
            let mut own = waiver(Some(today()));
            *(if column == "reason" { &mut own.reason } else { &mut own.approved_by }) = text.to_owned();
            let outcome = run(&W01, &own, 1);
            assert_eq!(outcome.hits.first().and_then(|hit| hit.column), Some(column), "{text}");
            assert!(outcome.hits[0].facts.contains(&("idle", Value::List(vec![column.to_owned()]))), "{text}");
            assert!(!is_in_force(&own, today()), "{text}");
        }
    }
    for text in ["N. Open", "quality", "NO-4711", "Xu", "agreed until the new clamp comes"] {
        let own = Waiver { reason: text.to_owned(), approved_by: text.to_owned(), ..waiver(Some(today())) };
        assert!(is_in_force(&own, today()), "{text}");
    }
}

#[test]
fn w02_fires_when_it_matches_nothing_or_its_days_are_few() {
    // Notice is 30 days: 2026-04-09 is the 30th day after 2026-03-10.
    let hit = &run(&W02, &waiver(Some(day(2026, 4, 9))), 1).hits[0];
    assert_eq!((hit.measured.clone(), hit.limit.clone()), (Some(Value::Days(30.0)), Some(Value::Days(30.0))));
    assert_eq!(run(&W02, &waiver(Some(day(2026, 4, 10))), 1), Outcome::default());
    let hit = &run(&W02, &waiver(Some(day(2026, 4, 10))), 0).hits[0];
    assert!(hit.facts.contains(&("idle_rule", Value::Text("P05".to_owned()))));
    assert_eq!(hit.measured, None);
    assert_eq!(run(&W02, &waiver(Some(today())), 0).hits.len(), 1);
}

#[test]
fn w02_leaves_the_expired_and_the_unreadable_alone() {
    assert_eq!(run(&W02, &waiver(Some(day(2026, 3, 9))), 0), Outcome::default());
    let mut unreadable = waiver(None);
    unreadable.faults.push(CellFault {
        column: "expires",
        letter: "I".to_owned(),
        found: "spring".to_owned(),
        expected: "a date such as 2026-03-10".to_owned(),
    });
    assert_eq!(run(&W01, &unreadable, 0), Outcome::default());
    assert_eq!(run(&W02, &unreadable, 0), Outcome::default());
    assert!(!is_in_force(&unreadable, today()));
}
