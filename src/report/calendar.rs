//! What falls due as a calendar file (RFC 5545): an all-day event each, the same one in every run.

use std::collections::BTreeMap;

use chrono::{NaiveDate, NaiveTime};
use icalendar::{Calendar, Component, Event, EventLike, Property};
use sha2::{Digest, Sha256};

use crate::audit::due::{Due, DueKind};
use crate::audit::outcome::Audit;
use crate::tables::circuit_key::Name;
use crate::tables::escaped::escaped;

/// What tells a calendar file of this program from others.
pub const PRODUCT: &str = "PRODID:-//clampbook//due list//EN";

/// The calendar of what falls due.
#[must_use]
pub fn calendar(audit: &Audit) -> String {
    let today = audit.plant.policy.date;
    let mut calendar = Calendar::empty();
    calendar.append_property(Property::new("VERSION", "2.0"));
    if let Some((name, value)) = PRODUCT.split_once(':') {
        calendar.append_property(Property::new(name, value));
    }
    calendar.append_property(Property::new("CALSCALE", "GREGORIAN"));
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    for due in &audit.due {
        let Ok(date) = due.date.parse::<NaiveDate>() else { continue };
        let same = seen.entry(name_of(due)).or_default();
        *same += 1;
        // An order keeps the number that it has among all of its name: another may have come in the meantime.
        let number = if due.number > 0 { due.number } else { *same };
        let mut event = Event::new();
        event
            .uid(&uid_of(due, number))
            .timestamp(today.and_time(NaiveTime::MIN).and_utc())
            .starts(date)
            .summary(&escaped(&sentence(due)))
            .description(&escaped(&description(due, today)))
            .categories([due.what.as_str()])
            // Whoever has it in the calendar is not busy on that day.
            .add_property("TRANSP", "TRANSPARENT");
        calendar.push(event.done());
    }
    calendar.to_string()
}

/// What makes two entries the same in two runs: all but the date, which moves when a part is renewed.
fn name_of(due: &Due) -> String {
    let place = &due.place;
    let parts = [&due.what, &due.part_no, &due.position].map(String::as_str);
    let place = [&place.plant, &place.pallet, &place.fixture, &place.circuit].map(Name::as_str);
    [parts.join("\n"), place.join("\n")].join("\n")
}

fn uid_of(due: &Due, number: u32) -> String {
    let digest = Sha256::new().chain_update(name_of(due)).chain_update(number.to_be_bytes()).finalize();
    format!("{:.32}@clampbook", format!("{digest:x}"))
}

/// `Service life of EEL-4 ends: Tarnholm / T04 / post / 1, L2`.
fn sentence(due: &Due) -> String {
    let (part, position) = (&due.part_no, &due.position);
    let what = match DueKind::find(&due.what) {
        Some(DueKind::ServiceLife) => format!("Service life of {part} ends"),
        Some(DueKind::CycleLife) => format!("Cycle life of {part} ends"),
        Some(DueKind::TopUp) => "Oil is to be added".to_owned(),
        Some(DueKind::Waiver) => format!("Waiver of {position} expires"),
        Some(DueKind::Order) => format!("Order {position} of {part} was promised"),
        None => due.what.clone(),
    };
    let place = due.place.to_string();
    let is_of_line = matches!(DueKind::find(&due.what), Some(DueKind::ServiceLife | DueKind::CycleLife));
    let places = [place.as_str(), if is_of_line { position } else { "" }];
    let places: Vec<&str> = places.into_iter().filter(|place| !place.is_empty()).collect();
    if places.is_empty() { what } else { format!("{what}: {}", places.join(", ")) }
}

fn description(due: &Due, today: NaiveDate) -> String {
    let is_work = !matches!(DueKind::find(&due.what), Some(DueKind::Waiver | DueKind::Order));
    let caution = if is_work {
        " Trapped oil is stored energy: release the pressure and see the gauge read zero before any work on the circuit."
    } else {
        ""
    };
    format!("{}. As of the report of {today}.{caution}", sentence(due))
}
