//! Rules on what is ordered against what the lists need, part by part.

use rust_decimal::Decimal;

use crate::tables::component::Component;
use crate::tables::finding::Subject;
use crate::tables::purchase::PurchaseRow;
use crate::tables::trade_unit::{in_packs, is_less, is_more};
use crate::tables::value::Value;
use crate::tables::words::Severity;

use super::view::PartView;
use super::{Checks, Hit, Outcome, Rule};

pub static B01: Rule = Rule {
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

pub static B02: Rule = Rule {
    code: "B02",
    name: "needed-part-without-order",
    title: "Needed part without an order",
    severity: Severity::Major,
    subject: Subject::Part,
    looks_for: "Circuits or stations that are not built need a part, and no row of the orders names it.",
    why: "What nobody has ordered is found out on the day the fixture is put together.",
    remedy: "Order the quantity of the Purchase sheet, or add the stock on hand to the orders.",
    message: "Needed are [{at_least} ]{limit}[, the earliest by {need_date}]; no order names the part.[ Circuits that use it: {circuits}.]",
    limits: &[],
    basis: "common practice",
    passing: "4 clamps are needed and one order row is for 4.",
    failing: "4 clamps are needed and no order row names them.",
    checks: Checks::part(needed_without_order),
};

fn needed_without_order(view: &PartView, outcome: &mut Outcome) {
    let Some(row) = view.purchase.filter(|_| view.orders.is_empty()) else { return };
    if row.needed > Decimal::ZERO || row.need_is_bound {
        let hit = against(Hit::here(), row, Decimal::ZERO, row.needed)
            .fact_if("at_least", row.need_is_bound.then(|| Value::Text("at least".to_owned())))
            .fact_if("circuits", (row.circuits > 0).then_some(Value::Count(row.circuits)))
            .fact_if("need_date", view.usage.earliest_need.as_ref().map(|(date, _)| Value::Date(*date)));
        outcome.hit(hit);
    }
}

pub static B03: Rule = Rule {
    code: "B03",
    name: "ordered-less-than-needed",
    title: "Ordered less than needed",
    severity: Severity::Major,
    subject: Subject::Part,
    looks_for: "The order rows of a part, added up in its unit, are less than what the lists and stations need.",
    why: "Lists change weekly, orders don't follow by themselves. The last fixture to be built is the one that goes without.",
    remedy: "Order the difference, rounded up to whole packs: the quantity of the Purchase sheet.",
    message: "Needed are {limit}, ordered {measured}: {limit} - {measured} = {shortfall} short; to order: {to_order}.\
              [ Order rows that count as 0, being in a unit that the part's can't be converted to: {uncounted}.]",
    limits: &[],
    basis: "common practice",
    passing: "12.6 m of tube are needed; 6 m and 6.6 m are ordered.",
    failing: "12.6 m of tube are needed; 6 m and 6 m are ordered: 0.6 m short.",
    checks: Checks::part(ordered_too_little),
};

fn ordered_too_little(view: &PartView, outcome: &mut Outcome) {
    let Some((row, ordered)) = known_need(view) else { return };
    if is_less(ordered, row.needed) {
        let uncounted = view.orders.iter().filter(|(_, converted)| converted.is_none()).count();
        let uncounted = u64::try_from(uncounted).ok().filter(|rows| *rows > 0);
        let hit = against(first_row(view), row, ordered, row.needed)
            .fact("shortfall", amount(row, row.needed.saturating_sub(ordered)))
            .fact("to_order", amount(row, row.order_qty))
            .fact_if("uncounted", uncounted.map(Value::Count));
        outcome.hit(hit);
    }
}

pub static B04: Rule = Rule {
    code: "B04",
    name: "ordered-more-than-needed",
    title: "Ordered more than needed",
    severity: Severity::Observation,
    subject: Subject::Part,
    looks_for: "The order rows of a part, added up in its unit, are more than the need rounded up to whole packs.",
    why: "Money on the shelf; often the sign of a list that has lost a line or of an order that was placed twice.",
    remedy: "Compare with the lists; cancel or keep the surplus as stock.",
    message: "Ordered are {measured}, needed {needed}[, which in whole packs of {pack_qty} are {limit}]: \
              {measured} - {limit} = {excess} more.",
    limits: &[],
    basis: "common practice",
    passing: "13 fittings are needed, 20 are ordered in packs of 10.",
    failing: "13 fittings are needed, 30 are ordered in packs of 10: 10 more than 20.",
    checks: Checks::part(ordered_too_much),
};

fn ordered_too_much(view: &PartView, outcome: &mut Outcome) {
    let Some((row, ordered)) = known_need(view).filter(|(row, _)| row.needed > Decimal::ZERO) else { return };
    let pack = view.component.and_then(|component| component.pack_qty);
    let limit = in_packs(row.needed, pack);
    if is_more(ordered, limit) {
        let hit = against(first_row(view), row, ordered, limit)
            .fact("needed", amount(row, row.needed))
            .fact_if("pack_qty", pack.map(|pack| amount(row, pack)))
            .fact("excess", amount(row, ordered.saturating_sub(limit)));
        outcome.hit(hit);
    }
}

pub static B05: Rule = Rule {
    code: "B05",
    name: "ordered-part-needed-nowhere",
    title: "Ordered part that is needed nowhere",
    severity: Severity::Observation,
    subject: Subject::Part,
    looks_for: "An order row names a part that no circuit and no station that is not built needs.",
    why: "A part that was taken off the lists or superseded is still on order, or its number on the order is mistyped.",
    remedy: "Cancel the order, correct its part number, or keep the part as stock.",
    message: "Ordered are {measured}, needed {limit}.[ Every circuit and station that uses {built_with} is built.]\
              [ The component table has no row for {unlisted}.]",
    limits: &[],
    basis: "common practice",
    passing: "Every part on the orders stands on a list of a circuit that is not built.",
    failing: "2 valves are ordered; no list has them any more.",
    checks: Checks::part(ordered_for_nothing),
};

fn ordered_for_nothing(view: &PartView, outcome: &mut Outcome) {
    let Some((row, ordered)) = known_need(view).filter(|(row, _)| row.needed.is_zero()) else { return };
    // A line may name a part that the component table lacks: what it needs can't be counted.
    if view.component.is_none() && view.usage.is_used {
        return;
    }
    let name = |holds: bool| holds.then(|| Value::Text(view.part_no.to_owned()));
    let hit = against(first_row(view), row, ordered, Decimal::ZERO)
        .fact_if("built_with", name(view.usage.is_used))
        .fact_if("unlisted", name(view.component.is_none()));
    outcome.hit(hit);
}

/// The bill's row and what is ordered, where the part has order rows and its need is known.
fn known_need<'a>(view: &PartView<'a>) -> Option<(&'a PurchaseRow, Decimal)> {
    let row = view.purchase.filter(|row| !view.orders.is_empty() && !row.need_is_bound)?;
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

#[cfg(test)]
mod tests;
