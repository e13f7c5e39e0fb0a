//! B: what is ordered against what the lists need.

#[cfg(test)]
mod tests;
#[cfg(test)]
pub(crate) mod trios;

use super::lists::with_nearest;
use super::view::{OrderView, PartView};
use super::{Checks, Family, Hit, Outcome, Rule};
use crate::physics::unit::UnitSystem;
use crate::tables::component::Component;
use crate::tables::finding::{Finding, Subject};
use crate::tables::order::Order;
use crate::tables::purchase::PurchaseRow;
use crate::tables::shown::shown;
use crate::tables::trade_unit::{TradeUnit, in_packs, is_less, is_more};
use crate::tables::value::Value;
use crate::tables::words::Severity;
use chrono::{Days, NaiveDate};
use rust_decimal::Decimal;

/// The family.
pub static FAMILY: Family = Family {
    letter: 'B',
    name: "Buying",
    weighs: false,
    rules: &[&B01, &B02, &B03, &B04, &B05, &B06, &B07, &B08, &B09, &B10],
};

pub static B01: Rule = Rule {
    family: &FAMILY,
    code: "B01",
    name: "obsolete-part-in-use",
    title: "Obsolete part in use",
    severity: Severity::Minor,
    subject: Subject::Part,
    looks_for: "A part that a list or a load station uses has the status obsolete.",
    why: "It still works, and when it fails no new one can be had. The change is cheaper while there is time to audit it.",
    remedy: "Change the lists over to the replacement where it conforms, or put a stock of the part aside.",
    message: "Part {part} is obsolete; circuits that use it: {circuits}.[ It is replaced by {replaced_by}.]\
              [ The component table names no replacement for {without_replacement}.]\
              [ The component table has no row for {replacement_unknown}.][ {replacement_obsolete} is obsolete too.]\
              [ The replacement conforms in {conforms_in}.]",
    limits: &[],
    basis: "common practice",
    passing: "Every part on the lists is active.",
    failing: "A clamp with status obsolete stands on 12 circuits; replaced_by names its successor.",
    checks: Checks::part(obsolete_in_use),
    ..Rule::USUAL
};

fn obsolete_in_use(view: &PartView, outcome: &mut Outcome) {
    let Some(component) = view.component.filter(|component| component.is_obsolete() && view.usage.is_used) else {
        return;
    };
    let name = &component.replaced_by;
    let replacement = view.plant.component(name);
    let is_named = !name.is_empty();
    let named = |holds: bool| holds.then(|| Value::Text(name.clone()));
    let hit = Hit::here()
        .in_column("status")
        .fact("circuits", Value::Count(view.usage.all_circuits))
        .fact_if("replaced_by", named(is_named))
        .fact_if("without_replacement", (!is_named).then(|| Value::Text(component.part_no.clone())))
        .fact_if("replacement_unknown", named(is_named && replacement.is_none()))
        .fact_if("replacement_obsolete", named(replacement.is_some_and(Component::is_obsolete)));
    outcome.hit(hit);
}

/// What stands in the place of the usual remedy where there is no replacement to change over to.
#[must_use]
pub fn remedy_without_successor(finding: &Finding) -> Option<&'static str> {
    let without = ["without_replacement", "replacement_unknown", "replacement_obsolete"];
    let is_without = finding.facts.iter().any(|(name, _)| without.contains(name));
    is_without.then_some(
        "Put a stock of the part aside, or look for an active part, enter it under replaced_by and have it audited.",
    )
}

pub static B02: Rule = Rule {
    family: &FAMILY,
    code: "B02",
    name: "needed-part-without-order",
    title: "Needed part without an order",
    severity: Severity::Major,
    subject: Subject::Part,
    looks_for: "Circuits or stations that are not built need a part, and no row of the orders names it or, where it is obsolete, the part that replaces it.",
    why: "What nobody has ordered is found out on the day the fixture is put together.",
    remedy: "Order the quantity of the Purchase sheet, or add the stock on hand to the orders.",
    message: "The need is [{at_least} ]{limit}[, the earliest by {need_date}]; no order names the part.[ Near to it on orders: {near}.][ Circuits that use it: {circuits}.]",
    limits: &[],
    basis: "common practice",
    passing: "4 clamps are needed and one order row is for 4.",
    failing: "4 clamps are needed and no order row names them.",
    checks: Checks::part(needed_without_order),
    ..Rule::USUAL
};

fn needed_without_order(view: &PartView, outcome: &mut Outcome) {
    let is_ordered = !view.orders.is_empty() || view.succession.successor_is_ordered;
    let Some(row) = view.purchase.filter(|_| !is_ordered) else { return };
    if row.needed > Decimal::ZERO || row.need_is_bound {
        let hit = against(Hit::here(), row, Decimal::ZERO, row.needed)
            .fact_if("at_least", row.need_is_bound.then(|| Value::Text("at least".to_owned())))
            .fact_if("near", list(&view.around.near_orders))
            .fact_if("circuits", (row.circuits > 0).then_some(Value::Count(row.circuits)))
            .fact_if("need_date", view.usage.earliest_need.as_ref().map(|(date, _)| Value::Date(*date)));
        outcome.hit(hit);
    }
}

pub static B03: Rule = Rule {
    family: &FAMILY,
    code: "B03",
    name: "ordered-less-than-needed",
    title: "Ordered less than needed",
    severity: Severity::Major,
    subject: Subject::Part,
    looks_for: "The order rows of a part, added up in its unit, are less than what the lists and stations need.",
    why: "Lists change weekly, orders don't follow by themselves. The last fixture to be built is the one that goes without.",
    remedy: "Order the difference, rounded up to whole packs: the quantity of the Purchase sheet.",
    message: "The need is {limit}, ordered {measured}: {limit} - {measured} = {shortfall} short; to order: {to_order}[ of {order_part}].\
              [ Near to it on orders: {near}.]\
              [ Order rows that count as 0, being in a unit that the part's can't be converted to: {uncounted}.]\
              [ Order rows whose quantity is blank or can't be read, and counts as 0: {unread}.]",
    limits: &[],
    basis: "common practice",
    passing: "12.6 m of tube are needed; 6 m and 6.6 m are ordered.",
    failing: "12.6 m of tube are needed; 6 m and 6 m are ordered: 0.6 m short.",
    checks: Checks::part(ordered_too_little),
    ..Rule::USUAL
};

fn ordered_too_little(view: &PartView, outcome: &mut Outcome) {
    let Some((row, ordered)) = known_need(view, view.succession.successor_is_ordered) else { return };
    if is_less(ordered, row.needed) {
        let names = |is_it: fn(&Order, Option<Decimal>) -> bool| {
            let rows = view.orders.iter().filter(|(order, converted)| is_it(order, *converted));
            list(&rows.map(|(order, _)| order_name(order)).collect::<Vec<String>>())
        };
        let shortfall = row.needed.saturating_sub(ordered);
        let hit = against(first_row(view), row, ordered, row.needed)
            .fact("shortfall", amount(row, shortfall))
            .fact_if("near", list(&view.around.near_orders))
            .fact_if("uncounted", names(|order, converted| converted.is_none() && order.qty.is_some()))
            .fact_if("unread", names(|order, _| order.qty.is_none()));
        outcome.hit(match as_replacement(view, row, shortfall) {
            Some((quantity, name)) => hit.fact("to_order", quantity).fact("order_part", Value::Text(name)),
            None => hit.fact("to_order", amount(row, row.order_qty)),
        });
    }
}

/// What is to be ordered of a proved replacement, in its own unit and packs, and its number.
fn as_replacement(view: &PartView, row: &PurchaseRow, short: Decimal) -> Option<(Value, String)> {
    let part = view.component?;
    let other = view.plant.component(&row.order_part).filter(|_| row.replacement.is_proved())?;
    let [own, unit] = [part, other].map(|part| TradeUnit::of(part, view.plant.policy.units));
    let quantity = in_packs(own.convert(short, unit)?, other.pack_qty);
    Some((Value::Amount(quantity, unit.symbol), other.part_no.clone()))
}

/// Names of a fact, where there are any.
fn list(names: &[String]) -> Option<Value> {
    (!names.is_empty()).then(|| Value::List(names.to_vec()))
}

/// The order of a row, as a reader finds it: its number, else its row.
#[must_use]
pub fn order_name(order: &Order) -> String {
    if order.order_no.is_empty() { format!("of row {}", order.origin.row) } else { order.order_no.clone() }
}

/// Rows that count as 0 since nobody can say how much they order: in a unit that the part's can't be converted to, or
/// without a quantity that can be read.
pub fn uncounted<'a>(orders: &'a [(&'a Order, Option<Decimal>)]) -> impl Iterator<Item = &'a Order> {
    orders.iter().filter(|(order, converted)| order.qty.is_none() || converted.is_none()).map(|(order, _)| *order)
}

/// What stands in the place of the usual remedy of a part that is short while an order of it counts as 0: who orders
/// anew may order what is ordered already.
#[must_use]
pub fn remedy_unsettled(orders: &[(&Order, Option<Decimal>)]) -> Option<String> {
    let names: Vec<String> = uncounted(orders).map(order_name).collect();
    let (word, counts) = if names.len() == 1 { ("order", "counts") } else { ("orders", "count") };
    let has_other_unit = orders.iter().any(|(order, converted)| order.qty.is_some() && converted.is_none());
    let why = if has_other_unit { format!(" ({})", B07.code) } else { String::new() };
    let names = shown(&list(&names)?, UnitSystem::Metric);
    Some(format!("First settle {word} {names}, which {counts} as 0{why}; only then order what is still short."))
}

/// What stands in the place of the usual remedy of a part that is short while orders have a number near to its own.
#[must_use]
pub fn remedy_near(finding: &Finding) -> Option<String> {
    let near = finding.facts.iter().find(|(name, _)| *name == "near").map(|(_, value)| value)?;
    let near = shown(near, UnitSystem::Metric);
    Some(format!(
        "First settle whether {near} on the orders is meant for it, and correct the number there if it is; only then \
         order what is still short."
    ))
}

/// What the order may be for all the same, as facts.
fn may_be_for(view: &PartView, hit: Hit) -> Hit {
    let count = |count: u64| (count > 0).then_some(Value::Count(count));
    hit.fact_if("needed_as", list(&view.around.near_needs))
        .fact_if("renewals", count(view.around.renewals))
        .fact_if("wanted", view.around.is_wanted.then(|| Value::Text(view.part_no.to_owned())))
}

/// What stands in the place of the usual remedy of a finding on an order that may be wanted all the same.
#[must_use]
pub fn remedy_in_doubt(finding: &Finding) -> Option<&'static str> {
    let in_doubt = ["needed_as", "renewals", "wanted", "twin", "nearest"];
    let is_in_doubt = finding.facts.iter().any(|(name, _)| in_doubt.contains(name));
    is_in_doubt
        .then_some("Keep the order until what the reason names is settled: it may be for the very part that is wanted.")
}

pub static B04: Rule = Rule {
    family: &FAMILY,
    code: "B04",
    name: "ordered-more-than-needed",
    title: "Ordered more than needed",
    severity: Severity::Observation,
    subject: Subject::Part,
    looks_for: "The order rows of a part, added up in its unit, are more than the need rounded up to whole packs.",
    why: "Money on the shelf; often the sign of a list that has lost a line or of an order that was placed twice.",
    remedy: "Compare with the lists; cancel or keep the surplus as stock.",
    message: "Ordered are {measured}, needed {needed}[, which in whole packs of {pack_qty} are {limit}]: \
              {measured} - {limit} = {excess} more.\
              [ What is needed under a number near to it can't be counted, or is counted by itself: {needed_as}.]\
              [ Lines of it whose life is at its end, or ends soon: {renewals}.]\
              [ A proved remedy that is not applied brings in {wanted}.]",
    limits: &[],
    basis: "common practice",
    passing: "13 fittings are needed, 20 are ordered in packs of 10.",
    failing: "13 fittings are needed, 30 are ordered in packs of 10: 10 more than 20.",
    checks: Checks::part(ordered_too_much),
    ..Rule::USUAL
};

fn ordered_too_much(view: &PartView, outcome: &mut Outcome) {
    let Some((row, ordered)) = known_need(view, false).filter(|_| !view.succession.replaced_is_bound) else { return };
    let needed = row.needed.saturating_add(view.succession.need_of_replaced);
    if needed <= Decimal::ZERO {
        return;
    }
    let pack = view.component.and_then(|component| component.pack_qty);
    let limit = in_packs(needed, pack);
    if is_more(ordered, limit) {
        let hit = against(first_row(view), row, ordered, limit)
            .fact("needed", amount(row, needed))
            .fact_if("pack_qty", pack.map(|pack| amount(row, pack)))
            .fact("excess", amount(row, ordered.saturating_sub(limit)));
        outcome.hit(may_be_for(view, hit));
    }
}

pub static B05: Rule = Rule {
    family: &FAMILY,
    code: "B05",
    name: "ordered-part-needed-nowhere",
    title: "Ordered part that is needed nowhere",
    severity: Severity::Observation,
    subject: Subject::Part,
    looks_for: "An order row names a part that no circuit and no station that is not built needs.",
    why: "A part that was taken off the lists or superseded is still on order, or its number on the order is mistyped.",
    remedy: "Cancel the order, correct its part number, or keep the part as stock.",
    message: "Ordered are {measured}, needed {limit}.[ Every circuit and station that uses {built_with} is built.]\
              [ The component table has no part '{given}'.][ It has '{twin}', which differs only in {difference}.]\
              [ Nearest in it: {nearest}.]\
              [ What is needed under a number near to it can't be counted, or is counted by itself: {needed_as}.]\
              [ Lines of it whose life is at its end, or ends soon: {renewals}.]\
              [ A proved remedy that is not applied brings in {wanted}.]",
    limits: &[],
    basis: "common practice",
    passing: "Every part on the orders stands on a list of a circuit that is not built.",
    failing: "2 valves are ordered; no list has them any more.",
    checks: Checks::part(ordered_for_nothing),
    ..Rule::USUAL
};

fn ordered_for_nothing(view: &PartView, outcome: &mut Outcome) {
    let Some((row, ordered)) = known_need(view, false).filter(|(row, _)| row.needed.is_zero()) else { return };
    if view.succession.need_of_replaced > Decimal::ZERO || view.succession.replaced_is_bound {
        return;
    }
    // A line may name a part that the component table lacks: what it needs can't be counted.
    if view.component.is_none() && view.usage.is_used {
        return;
    }
    let name = |holds: bool| holds.then(|| Value::Text(view.part_no.to_owned()));
    let hit = against(first_row(view), row, ordered, Decimal::ZERO).fact_if("built_with", name(view.usage.is_used));
    let hit = may_be_for(view, hit);
    outcome.hit(if view.component.is_none() { with_nearest(hit, view.part_no, "part_no", view.plant) } else { hit });
}

/// The bill's row and what is ordered, where the part (or the one that replaces it) has order rows and its
/// need is known. What is ordered of the replacement beyond its own need is in the row.
fn known_need<'a>(view: &PartView<'a>, successor_is_ordered: bool) -> Option<(&'a PurchaseRow, Decimal)> {
    let is_ordered = !view.orders.is_empty() || successor_is_ordered;
    let row = view.purchase.filter(|row| is_ordered && !row.need_is_bound)?;
    Some((row, row.ordered.unwrap_or_default()))
}

/// A hit on the part's row, or on its first order where the component table has none.
fn first_row(view: &PartView) -> Hit {
    let order = view.orders.first().filter(|_| view.component.is_none());
    order.map_or_else(Hit::here, |(order, _)| Hit::here().at(order.origin))
}

fn against(hit: Hit, row: &PurchaseRow, measured: Decimal, limit: Decimal) -> Hit {
    hit.against(amount(row, measured), amount(row, limit))
}

fn amount(row: &PurchaseRow, amount: Decimal) -> Value {
    Value::Amount(amount, row.uom)
}

pub static B06: Rule = Rule {
    family: &FAMILY,
    code: "B06",
    name: "promised-after-needed",
    title: "Promised after it is needed",
    severity: Severity::Minor,
    subject: Subject::Order,
    looks_for: "An order that is not all received, and whose promised date (today plus lead_time, where it has none) is after the earliest need_date of the circuits that use the part, or an obsolete part in whose place the order counts.",
    why: "The circuit can't be put together in time, and every part that did come early waits for the late one.",
    remedy: "Ask for an earlier date, buy the part elsewhere, or move the need date.",
    message: "[It is promised for {promised}. ][It has no promised date: {today} + {lead_time} days = {expected}. ]\
              {needed_by} needs it on {limit}[, in the place of {in_place_of}]; days late: {days}.",
    limits: &[],
    basis: "common practice",
    passing: "Promised for 2026-03-10, needed on 2026-03-10.",
    failing: "Promised for 2026-03-12, needed on 2026-03-10: days late: 2.",
    checks: Checks::order(promised_too_late),
    ..Rule::USUAL
};

fn promised_too_late(view: &OrderView, outcome: &mut Outcome) {
    if is_received(view.order) {
        return;
    }
    let Some((needed, circuit)) = view.needed_by else { return };
    let Some(due) = expected_on(view.order, view.component, view.today) else { return };
    if due > *needed {
        let is_promised = view.order.promised_date.is_some();
        let lead_time = view.component.and_then(|component| component.lead_time);
        let without_date = |value: Option<Value>| value.filter(|_| !is_promised);
        let hit = Hit::here()
            .in_column("promised_date")
            .against(Value::Date(due), Value::Date(*needed))
            .fact_if("promised", view.order.promised_date.map(Value::Date))
            .fact_if("today", without_date(Some(Value::Date(view.today))))
            .fact_if("lead_time", without_date(lead_time.map(Value::Number)))
            .fact_if("expected", without_date(Some(Value::Date(due))))
            .fact("needed_by", Value::Text(circuit.to_string()))
            .fact_if("in_place_of", view.in_place_of.map(|part| Value::Text(part.to_owned())))
            .fact_if("days", u64::try_from((due - *needed).num_days()).ok().map(Value::Count));
        outcome.hit(hit);
    }
}

/// The day on which an order is expected: as promised, else as it comes if ordered today; `None` where that is
/// not known, or the promise can't be read.
#[must_use]
pub fn expected_on(order: &Order, component: Option<&Component>, today: NaiveDate) -> Option<NaiveDate> {
    let lead_time = component.and_then(|part| part.lead_time).filter(|_| !order.is_unreadable("promised_date"));
    order.promised_date.or(lead_time.and_then(|days| after(today, days)))
}

/// Whether the whole quantity is there; one that is unknown is not.
#[must_use]
pub fn is_received(order: &Order) -> bool {
    let received = order.received.unwrap_or(Decimal::ZERO);
    order.qty.is_some_and(|qty| !is_less(received, qty))
}

/// A date so many days later, begun days counted whole.
#[must_use]
pub fn after(today: NaiveDate, days: f64) -> Option<NaiveDate> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and a million")]
    let days = days.clamp(0.0, 1e6).ceil() as u64;
    today.checked_add_days(Days::new(days))
}

pub static B07: Rule = Rule {
    family: &FAMILY,
    code: "B07",
    name: "order-unit-not-convertible",
    title: "Order in a unit that can't be converted",
    severity: Severity::Major,
    subject: Subject::Order,
    looks_for: "The unit of an order and that of the component don't measure the same, or the order's is not known.",
    why: "Three rolls of tube may be too little or enough for a year. What can't be compared counts as 0, so that nothing is taken for granted.",
    remedy: "State the order in the component's unit, or in one that measures the same: each for pieces; m, cm, mm, ft or in for lengths. Order nothing of the part anew before that is settled.",
    message: "The order is in '{uom}'; the component is counted in {part_uom}. The order's quantity[ of {qty}] counts as 0.",
    limits: &[],
    basis: "common practice",
    passing: "A tube counted in m is ordered in ft: 1 ft = 0.3048 m.",
    failing: "A tube counted in m is ordered in rolls.",
    checks: Checks::order(unit_not_convertible),
    ..Rule::USUAL
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
        return TradeUnit::find(order.own_unit.unwrap_or(&order.uom));
    }
    Some(component.map_or(crate::tables::trade_unit::EACH, |component| TradeUnit::usual(component, system)))
}

pub static B08: Rule = Rule {
    family: &FAMILY,
    code: "B08",
    name: "price-above-component-table",
    title: "Price above the component table's",
    severity: Severity::Observation,
    subject: Subject::Order,
    looks_for: "The unit price of an order is above the component's, in the same currency and unit, by more than price_tolerance.",
    why: "Either the order is dear or the component table is out of date, and then the Purchase sheet's sum is too low.",
    remedy: "Ask the supplier about the price, or bring the component table up to date.",
    message: "The order's price is {measured}, the component's {list_price} × (1 + {tolerance}) = {limit} at most: \
              {measured} - {limit} = {excess} too much.",
    limits: &["price_tolerance"],
    basis: "common practice",
    passing: "42.00 EUR on the order, 40.00 EUR in the component table: not above 40.00 x 1.05 = 42.00 EUR.",
    failing: "44.00 EUR on the order, 40.00 EUR in the component table: above 40.00 x 1.05 = 42.00 EUR.",
    checks: Checks::order(price_above_table),
    ..Rule::USUAL
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

pub static B09: Rule = Rule {
    family: &FAMILY,
    code: "B09",
    name: "order-overdue",
    title: "Order is overdue",
    severity: Severity::Minor,
    subject: Subject::Order,
    looks_for: "An order promised before today and not all received.",
    why: "What was promised and hasn't come is asked for while there is time, not when the fixture is put together.",
    remedy: "Ask the supplier, enter a new promised_date, or enter what was received.",
    message: "It was promised for {measured}, and this report is of {limit}; days overdue: {days}.[ Received: {received} of {qty}.]\
              [ What was received can't be read: '{unread}', of {qty}.]",
    limits: &[],
    basis: "common practice",
    passing: "Promised for today and not received.",
    failing: "Promised for yesterday, and 2 of 4 received.",
    checks: Checks::order(overdue),
    ..Rule::USUAL
};

fn overdue(view: &OrderView, outcome: &mut Outcome) {
    let order = view.order;
    let Some(promised) = order.promised_date.filter(|promised| *promised < view.today && !is_received(order)) else {
        return;
    };
    let number = |number: Decimal| Value::Text(number.normalize().to_string());
    let unread = order.faults.iter().find(|fault| fault.column == "received");
    let received = order.qty.filter(|_| unread.is_none()).map(|_| order.received.unwrap_or(Decimal::ZERO));
    let hit = Hit::here()
        .in_column("promised_date")
        .against(Value::Date(promised), Value::Date(view.today))
        .fact_if("days", u64::try_from((view.today - promised).num_days()).ok().map(Value::Count))
        .fact_if("received", received.map(number))
        .fact_if("unread", unread.map(|fault| Value::Text(fault.found.clone())))
        .fact_if("qty", order.qty.map(number));
    outcome.hit(hit);
}

pub static B10: Rule = Rule {
    family: &FAMILY,
    code: "B10",
    name: "comes-too-late-if-ordered-today",
    title: "Comes too late, even if ordered today",
    severity: Severity::Minor,
    subject: Subject::Part,
    looks_for: "A part that is short of what is needed and whose lead_time from today ends after the earliest need_date of the circuits that use it.",
    why: "With each day without an order the date moves on; whoever plans the work must know it now.",
    remedy: "Order it at once, ask for a shorter time, buy it elsewhere, or move the need date.",
    message: "Short: {shortfall}. Ordered today, {today} + {lead_time} days = {measured}; {needed_by} needs it on {limit}; days late: {days}.",
    limits: &[],
    basis: "common practice",
    passing: "4 clamps are short, come in 20 days and are needed in 20 days.",
    failing: "4 clamps are short, come in 56 days and are needed in 30 days.",
    checks: Checks::part(too_late_today),
    ..Rule::USUAL
};

fn too_late_today(view: &PartView, outcome: &mut Outcome) {
    let Some(row) = view.purchase else { return };
    let Some((needed, circuit)) = view.usage.earliest_need.as_ref() else { return };
    let ordered = row.ordered.unwrap_or_default();
    let is_short = row.need_is_bound && view.orders.is_empty() || is_less(ordered, row.needed);
    let today = view.plant.policy.date;
    let Some(lead_time) = view.succession.lead_time.filter(|_| is_short) else { return };
    let Some(comes) = after(today, lead_time).filter(|comes| comes > needed) else { return };
    let hit = Hit::here()
        .in_column("lead_time")
        .against(Value::Date(comes), Value::Date(*needed))
        .fact("shortfall", amount(row, row.needed.saturating_sub(ordered)))
        .fact("today", Value::Date(today))
        .fact("lead_time", Value::Number(lead_time))
        .fact("needed_by", Value::Text(circuit.to_string()))
        .fact_if("days", u64::try_from((comes - *needed).num_days()).ok().map(Value::Count));
    outcome.hit(hit);
}
