//! Each rule of buying where it fires, where it stays quiet, and at its limit.

use chrono::TimeDelta;

use super::tests::{case, needed, obsolete, promised, run_order, run_price};
use super::*;
use crate::rules::test_circuit::{AtLimit, Trio, today};
use crate::tables::words::Kind;

/// So many pieces needed and ordered.
fn bought(rule: &Rule, needed: &str, ordered: &str) -> Outcome {
    case(needed, &[ordered]).run(rule)
}

/// 10 pieces needed, and so many times 10 ordered.
fn share(rule: &Rule, times: f64) -> Outcome {
    bought(rule, "10", &(10.0 * times).to_string())
}

fn in_days(days: i64) -> NaiveDate {
    today() + TimeDelta::days(days)
}

/// Promised so many days from today, and needed in 20.
fn promised_in(rule: &Rule, days: i64) -> Outcome {
    run_order(rule, &promised(Some(in_days(days))), None, Some(&needed(in_days(20))))
}

fn in_unit(uom: &str) -> Outcome {
    let tube = Component { kind: Some(Kind::Tube), ..Component::default() };
    run_order(&B07, &Order { uom: uom.to_owned(), ..promised(None) }, Some(&tube), None)
}

/// 4 pieces are short, come in 20 days and are needed in so many.
fn short(needed_in: i64) -> Outcome {
    let mut case = case("4", &[]);
    case.usage.earliest_need = needed(in_days(needed_in)).earliest_need;
    case.lead_time = Some(20.0);
    case.run(&B10)
}

pub fn trios() -> Vec<Trio> {
    let trio = |rule, fires, quiet, at_limit| Trio { rule, fires, quiet, at_limit };
    vec![
        trio(&B01, || obsolete("C-2").run(&B01), || case("4", &[]).run(&B01), AtLimit::None),
        trio(
            &B02,
            || case("4", &[]).run(&B02),
            || bought(&B02, "4", "1"),
            AtLimit::Quiet(|times| case(&AtLimit::steps(times).to_string(), &[]).run(&B02)),
        ),
        trio(&B03, || bought(&B03, "4", "1"), || bought(&B03, "4", "9"), AtLimit::Quiet(|times| share(&B03, times))),
        trio(&B04, || bought(&B04, "4", "9"), || bought(&B04, "4", "1"), AtLimit::Quiet(|times| share(&B04, times))),
        trio(
            &B05,
            || bought(&B05, "0", "2"),
            || bought(&B05, "1", "2"),
            AtLimit::Fires(|times| bought(&B05, &AtLimit::steps(times).max(0).to_string(), "2")),
        ),
        trio(
            &B06,
            || promised_in(&B06, 30),
            || promised_in(&B06, 10),
            AtLimit::Quiet(|times| promised_in(&B06, 20 + AtLimit::steps(times))),
        ),
        trio(&B07, || in_unit("roll"), || in_unit("ft"), AtLimit::None),
        // By hand: 40.00 × 1.05 = 42.00.
        trio(
            &B08,
            || run_price("44.00", "EUR", "m"),
            || run_price("41.00", "EUR", "m"),
            AtLimit::Quiet(|times| run_price(&(42.0 * times).to_string(), "EUR", "m")),
        ),
        trio(
            &B09,
            || promised_in(&B09, -5),
            || promised_in(&B09, 5),
            AtLimit::Quiet(|times| promised_in(&B09, AtLimit::steps(times))),
        ),
        trio(&B10, || short(10), || short(40), AtLimit::Quiet(|times| short(20 + AtLimit::steps(times)))),
    ]
}
