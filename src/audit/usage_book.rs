//! What lists and stations use of each part, summed exactly: the order of circuits, threads and
//! shards does not change a digit.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::tables::circuit::{Circuit, CircuitKey, InService, Name, Service};
use crate::tables::component::Component;
use crate::tables::line::{Line, PartRef};
use crate::tables::place_names::{PlaceNames, RankedNames};
use crate::tables::plant::Plant;
use crate::tables::station_part::StationPart;
use crate::tables::usage::{Taken, Usage};

/// Usage of a part as it is kept in a file: exact sums as text.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct KeptUsage {
    part_no: String,
    circuits: u64,
    all_circuits: u64,
    first_circuits: Vec<CircuitKey>,
    plants: BTreeSet<String>,
    flags: [bool; 5],
    pieces: String,
    picometres: String,
    earliest_need: Option<(String, CircuitKey)>,
    meant: Option<String>,
}

impl KeptUsage {
    fn of(names: &PlaceNames, part_no: &str, usage: &Usage) -> Self {
        Self {
            part_no: part_no.to_owned(),
            circuits: usage.circuits,
            all_circuits: usage.all_circuits,
            first_circuits: usage.first_circuits.clone(),
            plants: usage.plants.names(names).map(str::to_owned).collect(),
            flags: [usage.is_used, usage.force_is_asked, usage.supports, usage.need_is_bound, usage.may_be_built],
            meant: usage.meant.clone(),
            pieces: usage.pieces.to_string(),
            picometres: usage.picometres.to_string(),
            earliest_need: usage.earliest_need.as_ref().map(|(date, key)| (date.to_string(), key.clone())),
        }
    }

    fn usage(self, names: &PlaceNames) -> Usage {
        let mut plants = RankedNames::default();
        self.plants
            .iter()
            .filter_map(|plant| names.rank_of(&plant.as_str().into()))
            .for_each(|rank| plants.insert(rank));
        let [is_used, force_is_asked, supports, need_is_bound, may_be_built] = self.flags;
        Usage {
            circuits: self.circuits,
            all_circuits: self.all_circuits,
            first_circuits: self.first_circuits,
            plants,
            is_used,
            force_is_asked,
            supports,
            pieces: self.pieces.parse().unwrap_or(0),
            picometres: self.picometres.parse().unwrap_or(0),
            of_remedies: Taken::default(),
            need_is_bound,
            may_be_built,
            meant: self.meant,
            earliest_need: self.earliest_need.and_then(|(date, key)| Some((date.parse().ok()?, key))),
        }
    }
}

/// Usage by component index, of some circuits.
#[derive(Clone, Debug, Default)]
pub struct UsageBook {
    /// By component index: place in `used` and 1, or 0.
    places: Vec<u32>,
    used: Vec<PartUse>,
    /// Of part numbers that the component table lacks.
    unlisted: BTreeMap<String, Usage>,
    /// Circuits so far.
    circuits: u64,
    /// Plant of the latest circuit with the rank of its name, and the circuits before its first.
    plant: (Name, Option<u32>, u64),
}

/// Usage of one part.
#[derive(Clone, Debug)]
struct PartUse {
    component: u32,
    usage: Usage,
    /// Circuits up to which it was counted as used, see [`UsageBook::circuits`].
    counted: u64,
}

impl UsageBook {
    fn of_part(&mut self, component: u32) -> &mut PartUse {
        let index = component as usize;
        if self.places.len() <= index {
            self.places.resize(index + 1, 0);
        }
        if self.places[index] == 0 {
            self.used.push(PartUse { component, usage: Usage::default(), counted: 0 });
            self.places[index] = u32::try_from(self.used.len()).unwrap_or(u32::MAX);
        }
        &mut self.used[self.places[index] as usize - 1]
    }

    /// In the order of the component table.
    fn in_order(&self) -> impl Iterator<Item = &PartUse> {
        let places = self.places.iter().filter(|place| **place > 0);
        places.filter_map(|place| self.used.get(*place as usize - 1))
    }

    /// Adds the circuits of one pallet.
    pub fn add_fixture<'a>(&mut self, plant: &Plant, circuits: impl Iterator<Item = &'a Circuit>) {
        for circuit in circuits {
            self.add_circuit(plant, circuit);
        }
    }

    fn add_circuit(&mut self, plant: &Plant, circuit: &Circuit) {
        let gripping = |service: &Service| service.cutting_force.is_some() && service.friction.is_some();
        let is_gripping = circuit.service.as_ref().is_some_and(gripping);
        let in_service = InService::of(circuit);
        if self.circuits == 0 || self.plant.0 != circuit.key.plant {
            let rank = plant.services.names().rank_of(&circuit.key.plant);
            self.plant = (circuit.key.plant.clone(), rank, self.circuits);
        }
        self.circuits += 1;
        let mut unlisted: BTreeMap<&str, Option<&String>> = BTreeMap::new();
        for line in &circuit.lines {
            match &line.part {
                PartRef::Known(index) => {
                    let usage = self.add_part(*index, circuit, in_service);
                    if let Some(component) = plant.components.get(*index as usize) {
                        add_line(usage, plant, component, line, in_service == InService::Yes, is_gripping);
                    }
                }
                PartRef::Unknown(text) => {
                    unlisted.entry(text).or_default();
                }
                PartRef::Altered(altered) => {
                    unlisted.insert(&altered.text, altered.likely.as_ref());
                }
            }
        }
        let station = circuit.station(plant).filter(|_| !circuit.lines.is_empty());
        if let Some(station) = station {
            for part in station.parts() {
                match part {
                    StationPart::Known(index) => _ = self.add_part(*index, circuit, in_service),
                    StationPart::Unknown(text) => _ = unlisted.entry(text).or_default(),
                    StationPart::Blank => {}
                }
            }
        }
        for (name, meant) in unlisted {
            if !self.unlisted.contains_key(name) {
                self.unlisted.insert(name.to_owned(), Usage::default());
            }
            let Some(usage) = self.unlisted.get_mut(name) else { continue };
            usage.is_used = true;
            usage.meant = usage.meant.take().or_else(|| meant.cloned());
            add_circuit_use(usage, circuit, in_service, self.plant.1);
        }
    }

    /// Counts the circuit for a part, once.
    fn add_part(&mut self, component: u32, circuit: &Circuit, in_service: InService) -> &mut Usage {
        let (circuits, (_, plant, before_plant)) = (self.circuits, &self.plant);
        let (plant, before_plant) = (*plant, *before_plant);
        let part = self.of_part(component);
        if part.counted < circuits {
            let new_plant = plant.filter(|_| part.counted <= before_plant);
            part.counted = circuits;
            add_circuit_use(&mut part.usage, circuit, in_service, new_plant);
        }
        &mut part.usage
    }

    /// Adds each load station's pump and drive ram.
    pub fn add_stations(&mut self, plant: &Plant) {
        for station in &plant.stations {
            for index in station.parts().into_iter().filter_map(StationPart::index) {
                let usage = &mut self.of_part(index).usage;
                usage.is_used = true;
                if !station.built {
                    usage.pieces += 1;
                    usage.may_be_built |= station.is_unreadable("built");
                }
            }
        }
    }

    /// Adds another share.
    pub fn add(&mut self, other: Self) {
        for part in other.used {
            self.of_part(part.component).usage.add(part.usage);
        }
        for (name, usage) in other.unlisted {
            self.unlisted.entry(name).or_default().add(usage);
        }
    }

    /// Usage of part numbers that the component table lacks.
    #[must_use]
    pub const fn unlisted(&self) -> &BTreeMap<String, Usage> {
        &self.unlisted
    }

    /// Usage of every part, by component index.
    #[must_use]
    pub fn by_component(&self, plant: &Plant) -> Vec<Usage> {
        let mut all = vec![Usage::default(); plant.components.len()];
        for part in &self.used {
            if let Some(slot) = all.get_mut(part.component as usize) {
                slot.clone_from(&part.usage);
            }
        }
        all
    }

    /// The book as it is kept between the parts of a run.
    #[must_use]
    pub fn kept(&self, plant: &Plant) -> Vec<KeptUsage> {
        let named = self.in_order().filter_map(|part| Some((plant.component_at(Some(part.component))?, &part.usage)));
        let names = plant.services.names();
        let known = named.map(|(part, usage)| KeptUsage::of(names, &part.part_no, usage));
        known.chain(self.unlisted.iter().map(|(name, usage)| KeptUsage::of(names, name, usage))).collect()
    }

    /// Adds what was kept of another part of the run.
    pub fn add_kept(&mut self, plant: &Plant, kept: Vec<KeptUsage>) {
        for usage in kept {
            let own = match plant.part_index.get(&usage.part_no) {
                Some(index) => &mut self.of_part(*index).usage,
                None => self.unlisted.entry(usage.part_no.clone()).or_default(),
            };
            own.add(usage.usage(plant.services.names()));
        }
    }
}

fn add_line(usage: &mut Usage, plant: &Plant, component: &Component, line: &Line, is_built: bool, is_gripping: bool) {
    usage.is_used = true;
    // An area is asked for where a force is: the line's own, or what the circuit's clamps hold by friction.
    usage.force_is_asked |= line.force_required.is_some() || is_gripping;
    usage.supports |= !line.supports.is_empty();
    if is_built {
        return;
    }
    let Some((taken, lacks_length)) = Taken::by(line, component, plant.policy.units) else {
        usage.need_is_bound = true;
        return;
    };
    usage.need_is_bound |= lacks_length;
    usage.pieces = usage.pieces.saturating_add(taken.pieces);
    usage.picometres = usage.picometres.saturating_add(taken.picometres);
}

/// * `new_plant` – the rank of its plant's name, which may be a new one to the part
fn add_circuit_use(usage: &mut Usage, circuit: &Circuit, in_service: InService, new_plant: Option<u32>) {
    new_plant.into_iter().for_each(|rank| usage.plants.insert(rank));
    usage.all_circuits += 1;
    if in_service != InService::Yes {
        usage.may_be_built |= in_service == InService::Unknown;
        usage.add_circuit(&circuit.key, circuit.service.as_ref().and_then(|service| service.need_date));
    }
}
