//! Where a part, a position, a circuit or a load station is named in the tables of a plant.

use rayon::prelude::*;

use crate::circuit::findings::part_no;
use crate::circuit::roster::{Entry, Roster};
use crate::read::ReadError;
use crate::tables::circuit::CircuitKey;
use crate::tables::counted::counted;
use crate::tables::origin::Origin;
use crate::tables::station::StationPart;

/// What names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum NamedBy {
    /// A row of the component table: its number, its description or the part that replaces it.
    Component,
    /// The part number of a line.
    Part,
    /// The position of a line, or a position that a work support stands under.
    Position,
    /// The place of a circuit.
    Circuit,
    /// A load station's name, or its pump or drive ram.
    Station,
    Order,
    Waiver,
}

/// One row that names what is searched for.
#[derive(Clone, Debug, PartialEq)]
pub struct Mention {
    pub by: NamedBy,
    /// Of the circuit; empty where the row is of no circuit.
    pub place: CircuitKey,
    pub position: String,
    pub part_no: String,
    /// Pieces, or what the row says of it.
    pub says: String,
    pub origin: Origin,
}

/// Every row that names a text, in the order of kinds and places; case doesn't count.
///
/// # Errors
/// Where a list can't be read any more.
pub fn mentions(roster: &Roster, text: &str) -> Result<Vec<Mention>, ReadError> {
    let wanted = Wanted(text.trim().to_lowercase());
    let of_circuits: Result<Vec<Vec<Mention>>, ReadError> =
        (0..roster.len()).into_par_iter().map(|index| of_circuit(roster, &roster.entry(index), &wanted)).collect();
    let mut all = of_tables(roster, &wanted);
    all.extend(of_circuits?.into_iter().flatten());
    all.sort_by(|a, b| (a.by, &a.place, a.origin).cmp(&(b.by, &b.place, b.origin)));
    Ok(all)
}

/// A text in lower case.
struct Wanted(String);

impl Wanted {
    fn is_in(&self, text: &str) -> bool {
        text.to_lowercase().contains(&self.0)
    }

    fn is_in_any(&self, texts: &[&str]) -> bool {
        texts.iter().any(|text| self.is_in(text))
    }
}

fn of_circuit(roster: &Roster, entry: &Entry, wanted: &Wanted) -> Result<Vec<Mention>, ReadError> {
    let plant = roster.plant;
    let circuit = roster.circuit(entry)?.0;
    let mut all = Vec::new();
    let blank = |by: NamedBy, origin: Origin| Mention {
        by,
        place: entry.key.clone(),
        position: String::new(),
        part_no: String::new(),
        says: String::new(),
        origin,
    };
    if wanted.is_in(&entry.key.path()) {
        let says = counted(circuit.lines.len() as u64, "line");
        let origins = entry
            .service
            .map(|service| service.origin)
            .into_iter()
            .chain(circuit.lines.first().map(|line| line.origin));
        all.extend(origins.map(|origin| Mention { says: says.clone(), ..blank(NamedBy::Circuit, origin) }));
    }
    if let Some(service) = entry.service.filter(|service| wanted.is_in(&service.station)) {
        let says = format!("charged at {}", service.station);
        all.push(Mention { says, ..blank(NamedBy::Station, service.origin) });
    }
    for line in &circuit.lines {
        let part = part_no(plant, line);
        let supports = line.supports.iter().any(|position| wanted.is_in(position));
        let by = if wanted.is_in(part) {
            NamedBy::Part
        } else if wanted.is_in(&line.position) || supports {
            NamedBy::Position
        } else {
            continue;
        };
        let pieces = line.qty.value().map_or_else(|| "quantity unknown".to_owned(), |pieces| format!("{pieces} x"));
        let under = if supports { format!("{pieces}, under {}", line.supports.join(" ")) } else { pieces };
        let position = line.position.to_string();
        all.push(Mention { position, part_no: part.to_owned(), says: under, ..blank(by, line.origin) });
    }
    Ok(all)
}

fn of_tables(roster: &Roster, wanted: &Wanted) -> Vec<Mention> {
    let plant = roster.plant;
    let mut all = Vec::new();
    let row = |by: NamedBy, part_no: &str, says: String, origin: Origin| Mention {
        by,
        place: CircuitKey::default(),
        position: String::new(),
        part_no: part_no.to_owned(),
        says,
        origin,
    };
    for part in &plant.components {
        if wanted.is_in_any(&[&part.part_no, &part.description, &part.replaced_by]) {
            let kind = part.kind.map_or_else(|| "no kind".to_owned(), crate::tables::words::Kind::plain);
            let description =
                if part.description.is_empty() { String::new() } else { format!(", {}", part.description) };
            let replaced =
                if part.replaced_by.is_empty() { String::new() } else { format!(", replaced by {}", part.replaced_by) };
            all.push(row(NamedBy::Component, &part.part_no, format!("{kind}{description}{replaced}"), part.origin));
        }
    }
    for station in &plant.stations {
        let name = |part: &StationPart| match part {
            StationPart::Blank => String::new(),
            StationPart::Unknown(text) => text.clone(),
            StationPart::Known(index) => {
                plant.component_at(Some(*index)).map(|part| part.part_no.clone()).unwrap_or_default()
            }
        };
        let (pump, ram) = (name(&station.pump), name(&station.drive_ram));
        if wanted.is_in_any(&[&station.station, &pump, &ram]) {
            let says = format!("load station with pump {pump} and drive ram {ram}");
            all.push(row(NamedBy::Station, &station.station, says, station.origin));
        }
    }
    for order in plant.orders.iter().flatten() {
        if wanted.is_in_any(&[&order.part_no, &order.order_no]) {
            let says = format!("order {}", order.order_no);
            all.push(row(NamedBy::Order, &order.part_no, says, order.origin));
        }
    }
    for waiver in &plant.waivers {
        let key = waiver.place();
        if wanted.is_in_any(&[&key.path(), &waiver.position, &waiver.rule]) {
            let waived = row(NamedBy::Waiver, "", format!("waives {}", waiver.rule), waiver.origin);
            all.push(Mention { place: key, position: waiver.position.clone(), ..waived });
        }
    }
    all
}
