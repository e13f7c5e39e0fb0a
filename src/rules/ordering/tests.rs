use super::*;
use crate::rules::hand_made::{assert_is_told, day, today};
use crate::tables::circuit::CircuitKey;
use crate::tables::component::Uom;
use crate::tables::origin::CellFault;
use crate::tables::plant::Plant;
use crate::tables::policy::Policy;
use crate::tables::usage::Usage;
use crate::tables::words::Kind;

fn run(rule: &Rule, order: &Order, component: Option<&Component>, usage: Option<&Usage>) -> Outcome {
    let plant = Plant::empty(Policy::at(today()));
    let view = OrderView { plant: &plant, order, component, usage, converted: None, today: today() };
    let mut outcome = Outcome::default();
    rule.checks.order.unwrap()(&view, &mut outcome);
    assert_is_told(rule, &outcome);
    outcome
}

fn needed(date: NaiveDate) -> Usage {
    let circuit = CircuitKey { fixture: "F1".into(), circuit: "1".into(), ..CircuitKey::default() };
    Usage { earliest_need: Some((date, circuit)), ..Usage::default() }
}

fn promised(date: Option<NaiveDate>) -> Order {
    Order { part_no: "C-1".to_owned(), order_no: "4711".to_owned(), promised_date: date, ..Order::default() }
}

#[test]
fn b06_fires_after_the_day_and_not_on_it() {
    let usage = needed(day(2026, 4, 1));
    assert_eq!(run(&B06, &promised(Some(day(2026, 4, 1))), None, Some(&usage)), Outcome::default());
    assert_eq!(run(&B06, &promised(Some(day(2026, 3, 1))), None, Some(&usage)), Outcome::default());
    let outcome = run(&B06, &promised(Some(day(2026, 4, 3))), None, Some(&usage));
    assert_eq!(outcome.hits[0].measured, Some(Value::Date(day(2026, 4, 3))));
    assert_eq!(outcome.hits[0].limit, Some(Value::Date(day(2026, 4, 1))));
    assert!(outcome.hits[0].facts.contains(&("days", Value::Count(2))));
    assert_eq!(run(&B06, &promised(Some(day(2026, 4, 3))), None, None), Outcome::default());
}

#[test]
fn b06_without_a_date_counts_the_lead_time_from_today() {
    let slow = Component { lead_time: Some(21.5), ..Component::default() };
    // 22 days after 2026-03-10 is 2026-04-01.
    assert_eq!(run(&B06, &promised(None), Some(&slow), Some(&needed(day(2026, 4, 1)))), Outcome::default());
    let outcome = run(&B06, &promised(None), Some(&slow), Some(&needed(day(2026, 3, 31))));
    assert!(outcome.hits[0].facts.contains(&("expected", Value::Date(day(2026, 4, 1)))));
    assert_eq!(run(&B06, &promised(None), Some(&Component::default()), Some(&needed(today()))), Outcome::default());
    let endless = Component { lead_time: Some(1e300), ..Component::default() };
    assert_eq!(run(&B06, &promised(None), Some(&endless), Some(&needed(today()))).hits.len(), 1);
}

#[test]
fn b06_does_not_guess_a_date_that_can_not_be_read() {
    let slow = Component { lead_time: Some(300.0), ..Component::default() };
    let mut order = promised(None);
    order.faults.push(CellFault {
        column: "promised_date",
        letter: "H".to_owned(),
        found: "03/04/26".to_owned(),
        expected: "a date such as 2026-03-10".to_owned(),
    });
    assert_eq!(run(&B06, &order, Some(&slow), Some(&needed(today()))), Outcome::default());
}

#[test]
fn b07_fires_where_the_units_do_not_measure_the_same() {
    let tube = Component { kind: Some(Kind::Tube), ..Component::default() };
    let order = |uom: &str| Order { uom: uom.to_owned(), qty: Some(Decimal::new(3, 0)), ..promised(None) };
    for uom in ["", "m", "ft", "mm", "IN"] {
        assert_eq!(run(&B07, &order(uom), Some(&tube), None), Outcome::default(), "{uom}");
    }
    for uom in ["roll", "each", "kg"] {
        let outcome = run(&B07, &order(uom), Some(&tube), None);
        assert_eq!(outcome.hits.len(), 1, "{uom}");
        assert!(outcome.hits[0].facts.contains(&("part_uom", Value::Text("m".to_owned()))));
    }
    // Nothing to convert to, where the component table lacks the part.
    assert_eq!(run(&B07, &order("roll"), None, None), Outcome::default());
    // A quantity that can't be read is no matter of the unit.
    let unread = Order { qty: None, ..order("m") };
    assert_eq!(run(&B07, &unread, Some(&tube), None), Outcome::default());
}

fn priced(price: &str, currency: &str) -> (Option<Decimal>, String) {
    (Some(price.parse().unwrap()), currency.to_owned())
}

fn run_price(order: &str, currency: &str, uom: &str) -> Outcome {
    let (unit_price, own) = priced("40.00", "EUR");
    let component =
        Component { kind: Some(Kind::Tube), unit_price, currency: own, uom: Some(Uom::M), ..Component::default() };
    let (unit_price, currency) = priced(order, currency);
    let order = Order { unit_price, currency, uom: uom.to_owned(), ..promised(None) };
    run(&B08, &order, Some(&component), None)
}

#[test]
fn b08_compares_in_one_currency_and_unit_alone() {
    // 40.00 x 1.05 = 42.00.
    for (price, currency, uom) in
        [("42.00", "EUR", "m"), ("39.00", "EUR", ""), ("90.00", "USD", "m"), ("90.00", "", "m"), ("90.00", "EUR", "ft")]
    {
        assert_eq!(run_price(price, currency, uom), Outcome::default(), "{price} {currency} per {uom}");
    }
    let hit = &run_price("42.01", "EUR", "").hits[0];
    let euros = |text: &str| Value::Money(text.parse().unwrap(), "EUR".to_owned());
    assert_eq!((hit.measured.clone(), hit.limit.clone()), (Some(euros("42.01")), Some(euros("42.00"))));
    assert!(hit.facts.contains(&("excess", euros("0.01"))));
}
