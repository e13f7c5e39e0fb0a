//! Rules on single rows of the orders: their date, their unit, their price.

use chrono::{Days, NaiveDate};
use rust_decimal::Decimal;

use crate::physics::unit::UnitSystem;
use crate::tables::component::Component;
use crate::tables::finding::Subject;
use crate::tables::order::Order;
use crate::tables::trade_unit::{TradeUnit, is_more};
use crate::tables::value::Value;
use crate::tables::words::Severity;

use super::view::OrderView;
use super::{Checks, Hit, Outcome, Rule};

pub static B06: Rule = Rule {
    code: "B06",
    name: "promised-after-needed",
    title: "Promised after it is needed",
    severity: Severity::Minor,
    subject: Subject::Order,
    looks_for: "The promised date of an order, or today plus lead_time where it has none, is after the earliest need_date of the circuits that use the part.",
    why: "The circuit can't be put together in time, and every part that did come early waits for the late one.",
    remedy: "Ask for an earlier date, buy the part elsewhere, or move the need date.",
    message: "[It is promised for {promised}. ][It has no promised date: {today} + {lead_time} days = {expected}. ]\
              {needed_by} needs it on {limit}; days late: {days}.",
    limits: &[],
    basis: "common practice",
    passing: "Promised for 2026-03-10, needed on 2026-03-10.",
    failing: "Promised for 2026-03-12, needed on 2026-03-10: days late: 2.",
    checks: Checks::order(promised_too_late),
};

fn promised_too_late(view: &OrderView, outcome: &mut Outcome) {
    let Some((needed, circuit)) = view.usage.and_then(|usage| usage.earliest_need.as_ref()) else { return };
    let is_unreadable = view.order.faults.iter().any(|fault| fault.column == "promised_date");
    let lead_time = view.component.and_then(|component| component.lead_time).filter(|_| !is_unreadable);
    let expected = lead_time.and_then(|days| after(view.today, days));
    let Some(due) = view.order.promised_date.or(expected) else { return };
    if due > *needed {
        let is_promised = view.order.promised_date.is_some();
        let without_date = |value: Option<Value>| value.filter(|_| !is_promised);
        let hit = Hit::here()
            .in_column("promised_date")
            .against(Value::Date(due), Value::Date(*needed))
            .fact_if("promised", view.order.promised_date.map(Value::Date))
            .fact_if("today", without_date(Some(Value::Date(view.today))))
            .fact_if("lead_time", without_date(lead_time.map(Value::Number)))
            .fact_if("expected", without_date(expected.map(Value::Date)))
            .fact("needed_by", Value::Text(circuit.to_string()))
            .fact_if("days", u64::try_from((due - *needed).num_days()).ok().map(Value::Count));
        outcome.hit(hit);
    }
}

/// A date so many days later, begun days counted whole.
fn after(today: NaiveDate, days: f64) -> Option<NaiveDate> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and a million")]
    let days = days.clamp(0.0, 1e6).ceil() as u64;
    today.checked_add_days(Days::new(days))
}

pub static B07: Rule = Rule {
    code: "B07",
    name: "order-unit-not-convertible",
    title: "Order in a unit that can't be converted",
    severity: Severity::Major,
    subject: Subject::Order,
    looks_for: "The unit of an order and that of the component don't measure the same, or the order's is not known.",
    why: "Three rolls of tube may be too little or enough for a year. What can't be compared counts as 0, so that nothing is taken for granted.",
    remedy: "State the order in the component's unit, or in one that measures the same: each for pieces; m, cm, mm, ft or in for lengths.",
    message: "The order is in '{uom}'; the component is counted in {part_uom}. The order's quantity[ of {qty}] counts as 0.",
    limits: &[],
    basis: "common practice",
    passing: "A tube counted in m is ordered in ft: 1 ft = 0.3048 m.",
    failing: "A tube counted in m is ordered in rolls.",
    checks: Checks::order(unit_not_convertible),
};

fn unit_not_convertible(view: &OrderView, outcome: &mut Outcome) {
    let Some(component) = view.component else { return };
    let units = view.plant.policy.units;
    let wanted = TradeUnit::of(component, units);
    let is_convertible =
        order_unit(view.order, Some(component), units).is_some_and(|unit| unit.measures_the_same_as(wanted));
    if !is_convertible {
        let hit = Hit::here()
            .in_column("uom")
            .fact("uom", Value::Text(view.order.uom.clone()))
            .fact("part_uom", Value::Text(wanted.symbol.to_owned()))
            .fact_if("qty", view.order.qty.map(|qty| Value::Text(qty.normalize().to_string())));
        outcome.hit(hit);
    }
}

/// The unit of an order's quantity: its own, else the component's, else pieces; `None` where its word is no unit.
#[must_use]
pub fn order_unit(order: &Order, component: Option<&Component>, system: UnitSystem) -> Option<TradeUnit> {
    if !order.uom.trim().is_empty() {
        return TradeUnit::find(&order.uom);
    }
    Some(component.map_or(crate::tables::trade_unit::EACH, |component| TradeUnit::usual(component, system)))
}

pub static B08: Rule = Rule {
    code: "B08",
    name: "price-above-component-table",
    title: "Price above the component table's",
    severity: Severity::Observation,
    subject: Subject::Order,
    looks_for: "The unit price of an order is above the component's, in the same currency and unit, by more than price_tolerance.",
    why: "Either the order is dear or the component table is out of date, and then the Purchase sheet's sum is too low.",
    remedy: "Ask the supplier about the price, or bring the component table up to date.",
    message: "The order's price is {measured}, the component's {list_price} x (1 + {tolerance}) = {limit} at most: \
              {measured} - {limit} = {excess} too much.",
    limits: &["price_tolerance"],
    basis: "common practice",
    passing: "42.00 EUR on the order, 40.00 EUR in the component table: not above 40.00 x 1.05 = 42.00 EUR.",
    failing: "44.00 EUR on the order, 40.00 EUR in the component table: above 40.00 x 1.05 = 42.00 EUR.",
    checks: Checks::order(price_above_table),
};

fn price_above_table(view: &OrderView, outcome: &mut Outcome) {
    let Some(component) = view.component else { return };
    let Some((price, list_price)) = view.order.unit_price.zip(component.unit_price) else { return };
    let units = view.plant.policy.units;
    let is_same_unit = order_unit(view.order, Some(component), units) == Some(TradeUnit::of(component, units));
    let is_same_currency = view.order.currency.trim().eq_ignore_ascii_case(component.currency.trim());
    let tolerance = view.plant.policy.limits.price_tolerance;
    let Ok(factor) = Decimal::try_from(tolerance).map(|tolerance| tolerance.saturating_add(Decimal::ONE)) else {
        return;
    };
    let limit = list_price.saturating_mul(factor);
    if is_same_unit && is_same_currency && is_more(price, limit) {
        let money = |amount: Decimal| Value::Money(amount, component.currency.clone());
        let hit = Hit::here()
            .in_column("unit_price")
            .against(money(price), money(limit))
            .fact("list_price", money(list_price))
            .fact("tolerance", Value::Number(tolerance))
            .fact("excess", money(price.saturating_sub(limit)));
        outcome.hit(hit);
    }
}

#[cfg(test)]
mod tests;
