//! What lists and stations use of each part, summed exactly: the order of circuits, threads and
//! shards does not change a digit.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::model::circuit::{Circuit, CircuitKey};
use crate::model::line::{Line, PartRef};
use crate::model::plant::Plant;
use crate::model::station::StationPart;
use crate::model::trade_unit::TradeUnit;
use crate::model::usage::Usage;

/// Usage of a part as it is kept in a file: exact sums as text.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct KeptUsage {
    part_no: String,
    circuits: u64,
    all_circuits: u64,
    plants: BTreeSet<String>,
    flags: [bool; 4],
    pieces: String,
    picometres: String,
    earliest_need: Option<(String, CircuitKey)>,
}

impl KeptUsage {
    fn of(part_no: &str, usage: &Usage) -> Self {
        Self {
            part_no: part_no.to_owned(),
            circuits: usage.circuits,
            all_circuits: usage.all_circuits,
            plants: usage.plants.clone(),
            flags: [usage.is_used, usage.force_is_asked, usage.supports, usage.need_is_bound],
            pieces: usage.pieces.to_string(),
            picometres: usage.picometres.to_string(),
            earliest_need: usage.earliest_need.as_ref().map(|(date, key)| (date.to_string(), key.clone())),
        }
    }

    fn usage(self) -> Usage {
        let [is_used, force_is_asked, supports, need_is_bound] = self.flags;
        Usage {
            circuits: self.circuits,
            all_circuits: self.all_circuits,
            plants: self.plants,
            is_used,
            force_is_asked,
            supports,
            pieces: self.pieces.parse().unwrap_or(0),
            picometres: self.picometres.parse().unwrap_or(0),
            need_is_bound,
            earliest_need: self.earliest_need.and_then(|(date, key)| Some((date.parse().ok()?, key))),
        }
    }
}

/// Usage by component index, of some circuits.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UsageBook {
    parts: BTreeMap<u32, Usage>,
    /// Of parts that the component table lacks and orders name.
    strangers: BTreeMap<String, Usage>,
}

impl UsageBook {
    /// Adds the circuits of one fixture.
    pub fn add_fixture<'a>(&mut self, plant: &Plant, circuits: impl Iterator<Item = &'a Circuit> + Clone) {
        let supported: BTreeSet<&str> = circuits
            .clone()
            .flat_map(|circuit| &circuit.lines)
            .flat_map(|line| &line.supports)
            .map(String::as_str)
            .collect();
        for circuit in circuits {
            self.add_circuit(plant, circuit, &supported);
        }
    }

    fn add_circuit(&mut self, plant: &Plant, circuit: &Circuit, supported: &BTreeSet<&str>) {
        let is_built = circuit.service.as_ref().is_some_and(|service| service.built);
        let mut parts: BTreeSet<u32> = BTreeSet::new();
        let mut strangers: BTreeSet<&str> = BTreeSet::new();
        for line in &circuit.lines {
            match &line.part {
                PartRef::Known(index) => {
                    parts.insert(*index);
                    self.add_line(plant, *index, line, is_built, supported);
                }
                PartRef::Unknown(text) => {
                    strangers.insert(text);
                }
                PartRef::Altered(altered) => {
                    strangers.insert(&altered.text);
                }
            }
        }
        let station = circuit.station(plant).filter(|_| !circuit.lines.is_empty());
        if let Some(station) = station {
            for part in [&station.pump, &station.drive_ram] {
                match part {
                    StationPart::Known(index) => _ = parts.insert(*index),
                    StationPart::Unknown(text) => _ = strangers.insert(text),
                    StationPart::Blank => {}
                }
            }
        }
        let ordered = |name: &&str| {
            plant.orders.iter().flatten().any(|order| order.component.is_none() && order.part_no == **name)
        };
        for name in strangers.into_iter().filter(ordered) {
            let usage = self.strangers.entry(name.to_owned()).or_default();
            usage.is_used = true;
            add_circuit_use(usage, circuit, is_built);
        }
        for index in parts {
            add_circuit_use(self.parts.entry(index).or_default(), circuit, is_built);
        }
    }

    fn add_line(&mut self, plant: &Plant, index: u32, line: &Line, is_built: bool, supported: &BTreeSet<&str>) {
        let Some(component) = plant.components.get(index as usize) else { return };
        let usage = self.parts.entry(index).or_default();
        usage.is_used = true;
        usage.force_is_asked |= line.force_required.is_some()
            || component.force_max.is_some()
            || (!line.position.is_empty() && supported.contains(line.position.as_str()));
        usage.supports |= !line.supports.is_empty();
        if is_built {
            return;
        }
        let Some(pieces) = line.qty.value().filter(|_| line.has_quantity()) else {
            usage.need_is_bound = true;
            return;
        };
        if component.is_conductor() && TradeUnit::of(component, plant.policy.units).is_length() {
            match line.length.value() {
                Some(length) => usage.picometres += whole(pieces) * whole(length.si() * 1e12),
                None => usage.need_is_bound = true,
            }
        }
        usage.pieces += whole(pieces);
    }

    /// Adds each load station's pump and drive ram.
    pub fn add_stations(&mut self, plant: &Plant) {
        for station in &plant.stations {
            for index in [&station.pump, &station.drive_ram].into_iter().filter_map(StationPart::index) {
                let usage = self.parts.entry(index).or_default();
                usage.is_used = true;
                if !station.built {
                    usage.pieces += 1;
                }
            }
        }
    }

    /// Adds another share.
    pub fn add(&mut self, other: Self) {
        for (index, usage) in other.parts {
            self.parts.entry(index).or_default().add(usage);
        }
        for (name, usage) in other.strangers {
            self.strangers.entry(name).or_default().add(usage);
        }
    }

    /// Usage of parts that the component table lacks and orders name.
    #[must_use]
    pub const fn strangers(&self) -> &BTreeMap<String, Usage> {
        &self.strangers
    }

    /// Usage of every part, by component index.
    #[must_use]
    pub fn by_component(&self, plant: &Plant) -> Vec<Usage> {
        let mut all = vec![Usage::default(); plant.components.len()];
        for (index, usage) in &self.parts {
            if let Some(slot) = all.get_mut(*index as usize) {
                slot.clone_from(usage);
            }
        }
        all
    }

    /// The book as it is kept between the parts of a run.
    #[must_use]
    pub fn kept(&self, plant: &Plant) -> Vec<KeptUsage> {
        let named = self.parts.iter().filter_map(|(index, usage)| Some((plant.component_at(Some(*index))?, usage)));
        let known = named.map(|(part, usage)| KeptUsage::of(&part.part_no, usage));
        known.chain(self.strangers.iter().map(|(name, usage)| KeptUsage::of(name, usage))).collect()
    }

    /// Adds what was kept of another part of the run.
    pub fn add_kept(&mut self, plant: &Plant, kept: Vec<KeptUsage>) {
        for usage in kept {
            let own = match plant.part_index.get(&usage.part_no) {
                Some(index) => self.parts.entry(*index).or_default(),
                None => self.strangers.entry(usage.part_no.clone()).or_default(),
            };
            own.add(usage.usage());
        }
    }
}

fn add_circuit_use(usage: &mut Usage, circuit: &Circuit, is_built: bool) {
    if !usage.plants.contains(&circuit.key.plant) {
        usage.plants.insert(circuit.key.plant.clone());
    }
    usage.all_circuits += 1;
    if !is_built {
        usage.circuits += 1;
        add_need_date(usage, circuit);
    }
}

fn add_need_date(usage: &mut Usage, circuit: &Circuit) {
    let Some(date) = circuit.service.as_ref().and_then(|service| service.need_date) else { return };
    let candidate: (chrono::NaiveDate, CircuitKey) = (date, circuit.key.clone());
    usage.earliest_need = match usage.earliest_need.take() {
        Some(earliest) if earliest <= candidate => Some(earliest),
        _ => Some(candidate),
    };
}

/// A number that is whole, or whole after rounding, as an exact integer.
#[allow(clippy::cast_possible_truncation, reason = "rounded before; `as` saturates beyond the range")]
fn whole(number: f64) -> i128 {
    number.round() as i128
}
