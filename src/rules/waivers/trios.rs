//! Each rule of waivers where it fires, where it stays quiet, and on its last day.

use chrono::TimeDelta;

use super::tests::{run, waiver};
use super::*;
use crate::rules::test_circuit::{AtLimit, Trio, today};

/// A waiver of one finding that expires so many days from today.
fn expiring(rule: &Rule, days: i64) -> Outcome {
    run(rule, &waiver(Some(today() + TimeDelta::days(days))), 1)
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(
            &W01,
            || expiring(&W01, -5),
            || expiring(&W01, 90),
            AtLimit::Quiet(|times| expiring(&W01, AtLimit::steps(times))),
        ),
        // Notice is given 30 days before.
        trio(
            &W02,
            || expiring(&W02, 10),
            || expiring(&W02, 90),
            AtLimit::Fires(|times| expiring(&W02, 30 + AtLimit::steps(times))),
        ),
    ]
}
