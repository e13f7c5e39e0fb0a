//! What buying came to, in words: for Summary and for the terminal.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::audit::at_once::{of_changes_alone, uncounted_circuits, wanted_at_once};
use crate::audit::buying_doubts::Doubt;
use crate::audit::causes::Cause;
use crate::audit::outcome::Audit;
use crate::audit::purchase::{PlacedOrder, orders_by_part};
use crate::audit::to_buy::{SupplierTotal, ToBuy, by_currency};
use crate::audit::waiting::{Waiting, waiting};
use crate::physics::unit::UnitSystem;
use crate::remedy::remedy_row::RemedyRow;
use crate::rules::buying::{self, B04, B05, B08, expected_on, is_received, order_name};
use crate::rules::catalogue::family_of;
use crate::rules::{lists, upkeep};
use crate::tables::circuit_key::CircuitKey;
use crate::tables::counted::{counted, money};
use crate::tables::finding::{Finding, Subject};
use crate::tables::order::Order;
use crate::tables::purchase::PurchaseRow;
use crate::tables::shown::shown;
use crate::tables::value::Value;
use crate::tables::words::{Severity, State};

fn counted_days(days: i64) -> String {
    counted(days.unsigned_abs(), "day")
}

/// The verdict on purchasing.
#[must_use]
pub fn verdict(audit: &Audit) -> String {
    if audit.plant.orders.is_none() {
        return "Purchasing: not assessed, there is no orders table.".to_owned();
    }
    let found = &audit.counts.purchasing;
    let lacks = some_of(&audit.buying.lacks).map(|lacks| format!(" Not to be read or counted: {lacks}."));
    let notes = some_of(&audit.buying.notes).map(|notes| format!(" Worth a look: {notes}."));
    let further = lacks.iter().chain(&notes).map(String::as_str).collect::<String>();
    if found.majors + found.minors > 0 {
        let (majors, minors) = (counted(found.majors, "major"), counted(found.minors, "minor"));
        let of_changes = of_changes(audit).map(|of_changes| format!(" {of_changes}")).unwrap_or_default();
        return format!("Purchasing: does not conform, {majors}, {minors}.{of_changes}{further}");
    }
    let waived = waived(audit).map(|waived| format!("conforms with waivers ({waived})"));
    let verdict = match waived {
        _ if lacks.is_some() => "not assessed".to_owned(),
        Some(waived) => waived,
        None => "conforms".to_owned(),
    };
    format!("Purchasing: {verdict}.{further}")
}

/// `2: B02 EX-CLAMP-20, B09 EX-HOSE-6`: majors and minors of buying that are waived.
fn waived(audit: &Audit) -> Option<String> {
    const NAMED: usize = 3;
    let is_waived = |finding: &&Finding| {
        let is_of_buying = finding.rule.starts_with(buying::FAMILY.letter);
        is_of_buying && finding.state == State::Waived && finding.is_major_or_minor()
    };
    let all: Vec<&Finding> = audit.elsewhere.iter().filter(is_waived).collect();
    let mut named: Vec<String> =
        all.iter().take(NAMED).map(|finding| format!("{} {}", finding.rule, finding.part_no)).collect();
    if all.len() > NAMED {
        named.push(format!("{} more", all.len() - NAMED));
    }
    (!all.is_empty()).then(|| format!("{}: {}", all.len(), named.join(", ")))
}

/// What of the findings is there by applied changes alone: what is proposed is no fault of what was ordered.
#[must_use]
pub fn of_changes(audit: &Audit) -> Option<String> {
    let (majors, minors) = of_changes_alone(&audit.plant, &audit.remedies, &audit.purchase, &audit.elsewhere);
    let counts = [(majors, "major"), (minors, "minor")].into_iter().filter(|(count, _)| *count > 0);
    let counts: Vec<String> = counts.map(|(count, word)| counted(count, word)).collect();
    let are = if majors + minors == 1 { "is" } else { "are" };
    (!counts.is_empty())
        .then(|| format!("{} of these {are} of what proposed changes need alone.", counts.join(" and ")))
}

/// The verdict, and what is past its last day to be ordered; nothing where only a part of the plant was looked at.
#[must_use]
pub fn in_short(audit: &Audit) -> Vec<String> {
    if audit.limit.is_some() {
        return Vec::new();
    }
    // Without orders nobody knows what is still to be ordered.
    let late = audit.plant.orders.as_ref().and_then(|_| too_late_to_order(audit));
    std::iter::once(verdict(audit)).chain(late).collect()
}

/// `Past its last day to be ordered: LOCK-120 (2026-11-17).`
fn too_late_to_order(audit: &Audit) -> Option<String> {
    const NAMED: usize = 3;
    let today = audit.plant.policy.date;
    let mut past: Vec<(NaiveDate, &str)> = audit
        .to_buy
        .iter()
        .filter_map(|item| Some((item.order_by.filter(|day| *day < today)?, item.part_no.as_str())))
        .collect();
    past.sort_unstable();
    let mut named: Vec<String> = past.iter().take(NAMED).map(|(day, part)| format!("{part} ({day})")).collect();
    if past.len() > NAMED {
        named.push(format!("{} more", past.len() - NAMED));
    }
    let whose = if past.len() == 1 { "its last day" } else { "their last days" };
    (!past.is_empty()).then(|| format!("Past {whose} to be ordered: {}.", named.join(", ")))
}

/// The first of some sentences, and how many more there are.
fn some_of(doubts: &[Doubt]) -> Option<String> {
    let first = doubts.first()?;
    let more = doubts.len() - 1;
    let more = if more > 0 { format!("; and {more} more, on Purchase") } else { String::new() };
    Some(format!("{}{more}", in_words(first)))
}

fn in_words(doubt: &Doubt) -> String {
    if doubt.part_no.is_empty() { doubt.sentence.clone() } else { format!("{}, {}", doubt.part_no, doubt.sentence) }
}

/// What could not be read or counted, and what is worth a look: each with its part.
#[must_use]
pub fn doubts(audit: &Audit) -> Vec<(String, String)> {
    let all = audit.buying.lacks.iter().chain(&audit.buying.notes);
    let named = |doubt: &Doubt| {
        let part = if doubt.part_no.is_empty() { "No part" } else { doubt.part_no.as_str() };
        (part.to_owned(), format!("{}.", doubt.sentence))
    };
    all.map(named).collect()
}

/// Rules that parts which are needed break on circuits not in service, by part.
#[must_use]
pub fn failing_where_needed(audit: &Audit) -> BTreeMap<&str, BTreeSet<&str>> {
    let mut all: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    let counts = |cause: &&Cause| {
        cause.circuits > cause.in_service
            && !cause.part_no.is_empty()
            && cause.severity != Severity::Observation.word()
            && weighs_on_parts(&cause.rule)
    };
    for cause in audit.counts.causes.in_order().into_iter().filter(counts) {
        all.entry(&cause.part_no).or_default().insert(&cause.rule);
    }
    all
}

/// Whether a finding on a line says that its part does not suit, and not that the list is wrong or the piece worn.
fn weighs_on_parts(code: &str) -> bool {
    let letters = [lists::FAMILY.letter, upkeep::FAMILY.letter];
    family_of(code).is_some_and(|family| family.weighs && !letters.contains(&family.letter))
}

/// Parts that are to be ordered and do not conform where they are needed.
#[must_use]
pub fn unsuited(audit: &Audit) -> Vec<(String, String)> {
    let failing = failing_where_needed(audit);
    let of = |item: &ToBuy| {
        let rules: Vec<&str> = failing.get(item.part_no.as_str())?.iter().copied().collect();
        Some((item.part_no.clone(), format!("see {} on Findings before it is ordered.", rules.join(", "))))
    };
    audit.to_buy.iter().filter_map(of).collect()
}

/// What is to be ordered, by currency: `To order: 3 parts, 120.50 EUR; 1 part, 99.00 USD.`
#[must_use]
pub fn totals(audit: &Audit) -> String {
    let sums: Vec<String> = by_currency(&audit.to_buy).iter().map(total).collect();
    let held = audit.to_buy.iter().filter(|item| item.held_up.is_some()).count() as u64;
    let bounds = audit.purchase.iter().filter(|row| row.need_is_bound).count() as u64;
    let mut text = if sums.is_empty() {
        let as_far = if audit.buying.lacks.is_empty() { "" } else { ", as far as that could be assessed" };
        format!("Nothing is to be ordered{as_far}.")
    } else {
        format!("To order: {}.", sums.join("; "))
    };
    for (count, one, many) in [
        (held, "part may not be ordered yet: see its remarks.", "parts may not be ordered yet: see their remarks."),
        (bounds, "need is a lower bound.", "needs are lower bounds."),
    ] {
        if count > 0 {
            text = format!("{text} {count} {}", if count == 1 { one } else { many });
        }
    }
    text
}

/// `3 parts, 120.50 EUR, 1 of them without a price`.
#[must_use]
pub fn total(total: &SupplierTotal) -> String {
    let parts = counted(total.parts, "part");
    if total.unpriced == total.parts {
        return format!("{parts} without a price");
    }
    let unpriced =
        if total.unpriced > 0 { format!(", {} of them without a price", total.unpriced) } else { String::new() };
    let currency = if total.currency.is_empty() { "without a currency" } else { &total.currency };
    format!("{parts}, {}{unpriced}", money(total.sum, currency))
}

/// `by 2027-01-25`, `at once`, `2 parts at once, the rest by 2027-01-25`; nothing where no day is known.
#[must_use]
pub fn order_by(total: &SupplierTotal) -> Option<String> {
    let date = total.order_by.map(|date| format!("by {date}"));
    match (total.at_once, date) {
        (0, date) => date,
        (count, _) if count == total.parts => Some("at once".to_owned()),
        (count, None) => Some(format!("{} at once", counted(count, "part"))),
        (count, Some(date)) => Some(format!("{} at once, the rest {date}", counted(count, "part"))),
    }
}

/// `Tarnholm / T06 / vane / 2, 3 and 4 more circuits`: what a name shares with the one before it is not said again.
#[must_use]
pub fn used_in(first: &[CircuitKey], count: u64) -> String {
    let mut names = String::new();
    let mut before: Option<&CircuitKey> = None;
    for key in first {
        let is_near = before.is_some_and(|before| {
            (&before.plant, &before.pallet, &before.fixture) == (&key.plant, &key.pallet, &key.fixture)
        });
        match (is_near, before.is_some()) {
            (true, _) => names = format!("{names}, {}", key.circuit),
            (false, true) => names = format!("{names}; {key}"),
            (false, false) => names = key.to_string(),
        }
        before = Some(key);
    }
    let more = count.saturating_sub(first.len() as u64);
    match (names.is_empty(), more) {
        (_, 0) => names,
        (true, _) => counted(more, "circuit"),
        (false, _) => format!("{names} and {}", counted(more, "more circuit")),
    }
}

/// Parts that come late, the latest first, each with the orders by which it does.
#[must_use]
pub fn late(audit: &Audit) -> Vec<(String, String)> {
    let mut rows: Vec<(&PurchaseRow, i64)> =
        audit.purchase.iter().filter_map(|row| Some((row, row.days_late?))).collect();
    rows.sort_by_key(|(_, days)| std::cmp::Reverse(*days));
    let placed = orders_by_part(&audit.plant);
    let waiting = on_order_at_once(audit);
    let sentence = |(row, days): (&PurchaseRow, i64)| {
        let to_come = waiting.get(row.part_no.as_str()).filter(|one| one.to_come > Decimal::ZERO);
        let needed = match (row.need_date, to_come) {
            (Some(date), Some(one)) => format!(" for {date}, and {} wanted at once", are(one.to_come, row.uom)),
            (Some(date), None) => format!(", needed on {date}"),
            (None, _) => String::new(),
        };
        let users = used_in(&row.first_circuits, row.circuits);
        let users = if users.is_empty() { users } else { format!(" Used in {users}.") };
        let orders = late_orders(audit, row, &placed);
        let by = if orders.is_empty() { "ordered today".to_owned() } else { orders.join("; ") };
        (row.part_no.clone(), format!("{by}: {} late{needed}.{users}", counted_days(days)))
    };
    rows.into_iter().map(sentence).collect()
}

/// Orders that come after the first day on which a part is needed: `MO-2768, promised for 2027-03-30`.
fn late_orders(audit: &Audit, row: &PurchaseRow, placed: &BTreeMap<&str, Vec<PlacedOrder>>) -> Vec<String> {
    let today = audit.plant.policy.date;
    let others = (row.of_successor > Decimal::ZERO).then_some(row.order_part.as_str());
    let mut words = Vec::new();
    for part_no in std::iter::once(row.part_no.as_str()).chain(others) {
        let component = audit.plant.component(part_no);
        for (order, _) in placed.get(part_no).into_iter().flatten().filter(|(order, _)| !is_received(order)) {
            let comes = expected_on(order, component, today);
            let Some(day) = comes.filter(|day| row.need_date.is_some_and(|needed| *day > needed)) else { continue };
            let told =
                if order.promised_date.is_some() { "promised for" } else { "without a promised date, expected on" };
            words.push(format!("{}, {told} {day}", order_name(order)));
        }
    }
    words
}

/// Orders that should have come, the longest overdue first.
#[must_use]
pub fn overdue(audit: &Audit) -> Vec<(String, String)> {
    let today = audit.plant.policy.date;
    let days = |order: &Order| {
        let promised = order.promised_date.filter(|date| *date < today && !is_received(order))?;
        Some((promised, (today - promised).num_days()))
    };
    let orders = audit.plant.orders.iter().flatten();
    let mut rows: Vec<(&Order, NaiveDate, i64)> =
        orders.filter_map(|order| days(order).map(|(promised, days)| (order, promised, days))).collect();
    rows.sort_by(|one, other| (other.2, &one.0.part_no).cmp(&(one.2, &other.0.part_no)));
    let sentence = |(order, promised, days): (&Order, NaiveDate, i64)| {
        let part = received_in_words(order).map(|part| format!(", {part}")).unwrap_or_default();
        let words = format!("{}, promised for {promised}{part}: {} overdue.", order_name(order), counted_days(days));
        (order.part_no.clone(), words)
    };
    rows.into_iter().map(sentence).collect()
}

/// What of an order has come, where that is neither nothing nor all: `2 of 4 received`.
#[must_use]
pub fn received_in_words(order: &Order) -> Option<String> {
    let received = order.received.filter(|received| *received > Decimal::ZERO && !is_received(order))?;
    let of = order.qty.map(|qty| format!(" of {}", qty.normalize())).unwrap_or_default();
    Some(format!("{}{of} received", received.normalize()))
}

/// What circuits that are unsafe in service wait for, with these circuits: what has to be ordered, then what is on order
/// or has come.
#[must_use]
pub fn at_once(audit: &Audit) -> Vec<(String, String)> {
    let of = |item: &ToBuy| {
        let amount = amount(item.at_once, item.uom);
        (item.part_no.clone(), format!("{amount}, for {}.", unsafe_in(&item.at_once_for)))
    };
    let to_order = audit.to_buy.iter().filter(|item| item.at_once > Decimal::ZERO).map(of);
    let ordered = on_order_at_once(audit).into_values().map(|one| {
        let all = amount(one.to_come.saturating_add(one.has_come), one.row.uom);
        let sentence = format!("{all}, for {}: {}.", unsafe_in(&one.circuits), waits_for(&one));
        (one.row.part_no.clone(), sentence)
    });
    to_order.chain(ordered).collect()
}

/// What circuits that are unsafe in service wait for and need not be ordered, by part.
#[must_use]
pub fn on_order_at_once(audit: &Audit) -> BTreeMap<&str, Waiting<'_>> {
    let wanted = wanted_at_once(&audit.plant, &audit.remedies);
    let all = waiting(&audit.plant, &audit.purchase, &wanted);
    all.into_iter().map(|one| (one.row.part_no.as_str(), one)).collect()
}

/// `4 pieces wait for 8100, promised for 2027-02-10; ask for an earlier part delivery`.
#[must_use]
pub fn waits_for(one: &Waiting) -> String {
    let mut words = Vec::new();
    if one.has_come > Decimal::ZERO {
        let verb = if one.has_come == Decimal::ONE { "has" } else { "have" };
        words.push(format!("{} {verb} come and may be fitted", amount(one.has_come, one.row.uom)));
    }
    if one.to_come > Decimal::ZERO {
        let named = |order: &&Order| match order.promised_date {
            Some(day) => format!("{}, promised for {day}", order_name(order)),
            None => format!("{}, without a promised date", order_name(order)),
        };
        let orders = one.orders.iter().map(named).collect::<Vec<_>>().join("; ");
        let verb = if one.to_come == Decimal::ONE { "waits" } else { "wait" };
        let wait = format!("{} {verb} for {orders}", amount(one.to_come, one.row.uom));
        words.push(format!("{wait}; ask for an earlier part delivery"));
    }
    words.join(", ")
}

/// `4 pieces`, `2.5 m`.
fn amount(amount: Decimal, uom: &'static str) -> String {
    shown(&Value::Amount(amount, uom), UnitSystem::Metric)
}

/// `1 piece is`, `4 pieces are`.
fn are(of: Decimal, uom: &'static str) -> String {
    format!("{} {}", amount(of, uom), if of == Decimal::ONE { "is" } else { "are" })
}

/// `Quarrow Flat / Q03 / cradle / 2, unsafe in service`.
#[must_use]
pub fn unsafe_in(circuits: &BTreeSet<CircuitKey>) -> String {
    const NAMED: usize = 3;
    let first: Vec<CircuitKey> = circuits.iter().take(NAMED).cloned().collect();
    format!("{}, unsafe in service", used_in(&first, circuits.len() as u64))
}

/// That circuits which are unsafe in service need parts that the bill does not count.
#[must_use]
pub fn uncounted(audit: &Audit) -> Option<String> {
    if audit.remedies.iter().any(RemedyRow::is_applied) {
        return None;
    }
    let count = uncounted_circuits(&audit.plant, &audit.remedies).len() as u64;
    (count > 0).then(|| {
        let of = if count == 1 { "1 circuit that is" } else { &format!("{count} circuits that are") };
        format!("Not counted: parts of proved changes to {of} unsafe in service; --with-remedies counts them.")
    })
}

/// Orders to ask about or to change, other than by their date: what is dear, too much, or needed nowhere.
#[must_use]
pub fn to_change(audit: &Audit) -> Vec<(String, String)> {
    let placed = orders_by_part(&audit.plant);
    let waiting = on_order_at_once(audit);
    let of = |finding: &Finding| {
        let rule = [&B04, &B05, &B08].into_iter().find(|rule| rule.code == finding.rule)?;
        let of_part = || {
            let orders = placed.get(finding.part_no.as_str()).into_iter().flatten();
            orders.map(|(order, _)| order_name(order)).collect::<Vec<String>>().join(", ")
        };
        let orders = if rule.subject == Subject::Order { finding.position.clone() } else { of_part() };
        // Who cancels the order takes it from a circuit that is unsafe.
        let is_waited_for = waiting.get(finding.part_no.as_str()).is_some_and(|one| one.to_come > Decimal::ZERO);
        let excess = finding.facts.iter().find(|(name, _)| *name == "excess").map(|(_, value)| value);
        let kept = match excess.filter(|_| is_waited_for && rule.code == B04.code) {
            Some(excess) => {
                let excess = shown(excess, UnitSystem::Metric);
                format!(": {excess} at most may be cancelled, the rest is waited for at once")
            }
            None => String::new(),
        };
        Some((finding.part_no.clone(), format!("{orders}: {} ({}){kept}.", rule.title.to_lowercase(), rule.code)))
    };
    audit.elsewhere.iter().filter(|finding| finding.state != State::Waived).filter_map(of).collect()
}

/// Parts that may not be ordered before the engineer has decided.
#[must_use]
pub fn held_up(audit: &Audit) -> Vec<(String, String)> {
    let held = |item: &ToBuy| Some((item.part_no.clone(), item.held_up.clone()?));
    audit.to_buy.iter().filter_map(held).collect()
}
