//! What falls due: lives of what is fitted, oil to be added, waivers that expire, orders that are late.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::circuit::audited::CircuitAudit;
use crate::rules::buying::is_received;
use crate::rules::catalogue::rule;
use crate::rules::upkeep::later;
use crate::rules::waivers::is_complete;
use crate::tables::circuit::CircuitKey;
use crate::tables::plant::Plant;
use crate::tables::words::words;

words! {
    /// What falls due.
    DueKind {
        ServiceLife = "service life",
        CycleLife = "cycle life",
        TopUp = "top-up",
        Waiver = "waiver",
        Order = "order",
    }
}

/// Something that falls due. Good through its date.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Due {
    /// ISO 8601: the order of dates is that of the texts.
    pub date: String,
    pub place: CircuitKey,
    /// Of the line; the rule of a waiver, the number of an order.
    pub position: String,
    pub part_no: String,
    /// A word of [`DueKind`].
    pub what: String,
    /// Which it is of several of one name, counted over all of them, those that are not due included.
    #[serde(default)]
    pub number: u32,
}

/// Years ahead of which dates are printed.
pub const PLANNED_YEARS: i64 = 10;

impl Due {
    fn on(date: NaiveDate, what: DueKind, place: &CircuitKey, position: &str, part_no: &str) -> Self {
        let (place, what) = (place.clone(), what.word().to_owned());
        let (date, position, part_no) = (date.to_string(), position.to_owned(), part_no.to_owned());
        Self { date, place, position, part_no, what, number: 0 }
    }

    /// Days from a day until it is due, negative where that is past.
    #[must_use]
    pub fn days_from(&self, today: NaiveDate) -> i64 {
        self.date.parse::<NaiveDate>().map_or(0, |date| (date - today).num_days())
    }

    /// Whether it is so far off that nobody plans for it: a life in cycles may end in centuries.
    #[must_use]
    pub fn is_far(&self, today: NaiveDate) -> bool {
        self.days_from(today) > PLANNED_YEARS * 365
    }
}

/// Lives of what is fitted on a circuit, and its oil.
pub fn of_circuit(plant: &Plant, audit: &CircuitAudit, due: &mut Vec<Due>) {
    let place = &audit.circuit.key;
    let service = audit.circuit.service.as_ref();
    let cycles_per_day = service.and_then(|service| service.cycles_per_day).filter(|a_day| *a_day > 0.0);
    for line in &audit.circuit.lines {
        let Some((since, part)) = line.fitted_on.zip(line.component(&plant.components)) else { continue };
        let by_cycles = part.cycle_life.zip(cycles_per_day).map(|(life, a_day)| life / a_day);
        for (days, what) in [(part.service_life, DueKind::ServiceLife), (by_cycles, DueKind::CycleLife)] {
            let date = days.and_then(|days| later(since, days));
            due.extend(date.map(|date| Due::on(date, what, place, &line.position, &part.part_no)));
        }
    }
    let topped_up = service.and_then(|service| service.topped_up);
    let lasts = audit.figures.clamp.group.topup_days;
    let date = topped_up.zip(lasts).and_then(|(since, days)| later(since, days));
    due.extend(date.map(|date| Due::on(date, DueKind::TopUp, place, "", "")));
}

/// Waivers that waive, or did until they expired, and orders that are late.
pub fn of_plant(plant: &Plant, due: &mut Vec<Due>) {
    // One that is incomplete, or names no rule, waives nothing: no date is to be waited for.
    for waiver in plant.waivers.iter().filter(|waiver| is_complete(waiver) && rule(&waiver.rule).is_some()) {
        due.extend(waiver.expires.map(|date| Due::on(date, DueKind::Waiver, &waiver.place(), &waiver.rule, "")));
    }
    let mut rows: BTreeMap<(&str, &str), u32> = BTreeMap::new();
    for order in plant.orders.iter().flatten() {
        let number = rows.entry((&order.order_no, &order.part_no)).or_default();
        *number += 1;
        let late = order.promised_date.filter(|date| *date < plant.policy.date && !is_received(order));
        let place = CircuitKey::default();
        let of_day = |date| Due::on(date, DueKind::Order, &place, &order.order_no, &order.part_no);
        due.extend(late.map(|date| Due { number: *number, ..of_day(date) }));
    }
}

#[cfg(test)]
mod tests {
    use rust_decimal::Decimal;

    use super::*;
    use crate::tables::order::{Order, Waiver};
    use crate::tables::policy::Policy;

    #[test]
    fn waivers_and_late_orders_are_due_on_their_day() {
        let mut plant = Plant::empty(Policy::at("2026-11-03".parse().unwrap()));
        let expires = "2026-11-13".parse().ok();
        plant.waivers = vec![Waiver {
            rule: "P05".to_owned(),
            reason: "agreed".to_owned(),
            approved_by: "K. Lind".to_owned(),
            expires,
            ..Waiver::default()
        }];
        let order = |no: &str, date: &str, received: i64| Order {
            order_no: no.to_owned(),
            qty: Some(Decimal::from(4)),
            received: Some(Decimal::from(received)),
            promised_date: date.parse().ok(),
            ..Order::default()
        };
        plant.orders =
            Some(vec![order("late", "2026-11-02", 3), order("here", "2026-11-02", 4), order("today", "2026-11-03", 0)]);
        let mut due = Vec::new();
        of_plant(&plant, &mut due);
        due.sort();
        let shown: Vec<(&str, &str, i64)> = due
            .iter()
            .map(|one| (one.what.as_str(), one.position.as_str(), one.days_from(plant.policy.date)))
            .collect();
        assert_eq!(shown, [("order", "late", -1), ("waiver", "P05", 10)]);
    }
}
