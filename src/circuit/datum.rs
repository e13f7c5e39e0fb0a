//! The data that a set of circuits depends on, each of which may be moved by itself.

use std::sync::LazyLock;

use crate::physics::quantity::Pressure;
use crate::rules::Asked;
use crate::tables::circuit::{Circuit, Service};
use crate::tables::column::{CIRCUITS, COMPONENTS, Column, LISTS, STATIONS};
use crate::tables::component::Component;
use crate::tables::line::Line;
use crate::tables::number_key::NumberKey;
use crate::tables::policy::{FLUID_NUMBERS, LIMITS, METAL_NUMBERS};
use crate::tables::spread::{OwnSpread, POLICY_SPREADS, Spread, SpreadKind, Uncertain, own_spread};
use crate::tables::sureness::Measure;
use crate::tables::words::{Acting, Kind};

use super::affected::Affected;
use super::replica::Replica;
use super::side::{STEEL_MODULUS, USUAL_TEMPERATURE};

/// Whose datum it is; indices are those of a [`Replica`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Owner {
    Part(usize),
    Line { circuit: usize, line: usize },
    Service(usize),
    Station(usize),
    Fluid(usize),
    Metal,
    Limits,
}

/// One datum: whose, of which column or key, its value and how far it is known.
#[derive(Clone, Copy, Debug)]
pub(super) struct Datum {
    owner: Owner,
    /// Place among the columns of the table, or the keys of the policy.
    column: usize,
    pub(super) value: f64,
    uncertain: Uncertain,
    /// What has to be looked at again once it has moved.
    pub(super) affected: Affected,
}

/// Data that are moved together at first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bundle {
    Volumes,
    Leaks,
    Areas,
    Springs,
    /// What makes tubes and clamps stiff.
    Stiffnesses,
    Walls,
    Supports,
    /// What keeps the oil from warming as it is pumped.
    HeatCapacities,
}

impl Bundle {
    pub(super) const ALL: [Self; 8] = [
        Self::Volumes,
        Self::Leaks,
        Self::Areas,
        Self::Springs,
        Self::Stiffnesses,
        Self::Walls,
        Self::Supports,
        Self::HeatCapacities,
    ];
}

/// Columns of a table that are known to within a spread of the policy, by their places.
fn spreading(columns: &'static [Column]) -> Vec<(usize, &'static Column)> {
    columns.iter().enumerate().filter(|(_, column)| column.spread.is_some()).collect()
}

static OF_PARTS: LazyLock<Vec<(usize, &'static Column)>> = LazyLock::new(|| spreading(COMPONENTS));
static OF_SERVICES: LazyLock<Vec<(usize, &'static Column)>> = LazyLock::new(|| spreading(CIRCUITS));
static OF_STATIONS: LazyLock<Vec<(usize, &'static Column)>> = LazyLock::new(|| spreading(STATIONS));
static OF_LINES: LazyLock<Vec<(usize, &'static Column)>> = LazyLock::new(|| spreading(LISTS));

/// Columns of which nothing but times is made.
const OF_TIMES: [&str; 3] = ["flow", "flow_high", "kv"];
/// Columns of the rod side.
const OF_ROD_SIDE: [&str; 2] = ["area_unclamp", "volume_unclamp"];

/// Columns in which a figure has a kink at the most or the least of several, or where an accumulator runs empty: to one
/// side it may do nothing. A stroke is among them where another one may be the shorter.
const OF_KINKS: [&str; 10] = [
    "pump_setting",
    "relief_setting",
    "air_pressure",
    "air_ratio",
    "set_pressure",
    "precharge",
    "pressure_set",
    "rated_pressure",
    "return_pressure",
    "relief_reseat",
];

/// Data in work.
struct Collector<'a> {
    spread: &'a Spread,
    data: Vec<Datum>,
}

impl Collector<'_> {
    fn add(&mut self, owner: Owner, column: usize, value: Option<f64>, uncertain: Option<Uncertain>) {
        let Some((value, uncertain)) = value.zip(uncertain) else { return };
        if uncertain.spreads(value) {
            let datum = Datum { owner, column, value, uncertain, affected: Affected::ALL };
            self.data.push(Datum { affected: Affected::of(datum.key()), ..datum });
        }
    }

    /// The columns of a row that spread, by the policy or by what the row states.
    fn add_row(
        &mut self,
        owner: Owner,
        known: &[(usize, &'static Column)],
        all: &'static [Column],
        stated: &[OwnSpread],
        number: impl Fn(usize) -> Option<f64>,
        counts: impl Fn(&str) -> bool,
    ) {
        for (place, column) in known.iter().filter(|(_, column)| counts(column.name)) {
            let of_policy = column.spread.map(|kind| self.spread.of(kind));
            self.add(owner, *place, number(*place), own_spread(stated, column.name).or(of_policy));
        }
        for own in stated {
            let place = all.iter().position(|column| column.name == own.column && column.spread.is_none());
            if let Some(place) = place {
                self.add(owner, place, number(place), own_spread(stated, own.column));
            }
        }
    }

    /// A datum that stands in for one that is not stated, as well known as such a one.
    fn add_in_place(&mut self, owner: Owner, columns: &[Column], name: &str, value: Option<f64>, kind: SpreadKind) {
        let Some(place) = columns.iter().position(|column| column.name == name) else { return };
        if !self.data.iter().any(|known| known.owner == owner && known.column == place) {
            self.add(owner, place, value, Some(self.spread.of(kind)));
        }
    }

    fn add_keys<T>(&mut self, owner: Owner, keys: &[NumberKey<T>], of: &T, counts: impl Fn(&str) -> bool) {
        for (place, key) in keys.iter().enumerate().filter(|(_, key)| counts(key.key)) {
            let kind = POLICY_SPREADS.iter().find(|(name, ..)| *name == key.key).map(|(_, kind, _)| *kind);
            self.add(owner, place, Some((key.get)(of)), kind.map(|kind| self.spread.of(kind)));
        }
    }
}

/// Every datum of a set of circuits that spreads, as far as the figures asked for hang on it.
pub(super) fn data(replica: &Replica, asked: Asked) -> Vec<Datum> {
    let plant = &replica.plant;
    let mut all = Collector { spread: &plant.policy.spread, data: Vec::new() };
    let is_double = replica.circuits.iter().any(|circuit| circuit.acting(&plant.components) == Acting::Double);
    let has = |kind: Kind| plant.components.iter().any(|part| part.is(kind));
    for (index, part) in plant.components.iter().enumerate() {
        let delivers = part.is(Kind::ChargingCylinder) || part.is(Kind::Pump);
        let counts = |name: &str| match name {
            "capacity" => delivers,
            _ => (asked.times || !OF_TIMES.contains(&name)) && (is_double || !OF_ROD_SIDE.contains(&name)),
        };
        all.add_row(Owner::Part(index), &OF_PARTS, COMPONENTS, &part.spreads, |place| part.number(place), counts);
        if part.is(Kind::Tube) && part.outer_diameter.is_some() && part.elastic_modulus.is_none() {
            let usual = Some(STEEL_MODULUS.si());
            all.add_in_place(Owner::Part(index), COMPONENTS, "elastic_modulus", usual, SpreadKind::ElasticModulus);
        }
    }
    for (index, station) in plant.stations.iter().enumerate() {
        let number = |place| station.number(place);
        all.add_row(Owner::Station(index), &OF_STATIONS, STATIONS, &station.spreads, number, |_| true);
        // Without a setting the pump brings what it is rated for, and that is known no better.
        if let (None, Some(pump)) = (station.pump_setting, station.pump.index()) {
            let rated = plant.component_at(Some(pump)).and_then(|pump| pump.rated_pressure).map(Pressure::si);
            all.add_in_place(Owner::Part(pump as usize), COMPONENTS, "rated_pressure", rated, SpreadKind::PumpSetting);
        }
    }
    for (index, circuit) in replica.circuits.iter().enumerate() {
        if let Some(service) = &circuit.service {
            add_service(&mut all, index, service);
        }
        for (line, listed) in circuit.lines.iter().enumerate() {
            let owner = Owner::Line { circuit: index, line };
            all.add_row(owner, &OF_LINES, LISTS, &listed.spreads, |place| line_number(listed, place), |_| true);
        }
    }
    let leaks = plant.components.iter().any(|part| part.leak.is_some_and(|leak| leak.si() > 0.0));
    // Oil that has settled is as warm as the fixture.
    let settled = plant.policy.limits.dwell_settled;
    let warms = replica.circuits.iter().any(|circuit| circuit.service().dwell.is_none_or(|dwell| dwell.si() < settled));
    for (index, name) in replica.fluids.iter().enumerate() {
        let Some(fluid) = plant.policy.fluid(name) else { continue };
        all.add_keys(Owner::Fluid(index), FLUID_NUMBERS, fluid, |name| match name {
            "viscosity_40" | "viscosity_100" | "leak_viscosity" => leaks || asked.times,
            "specific_heat" => warms,
            "density" => warms || asked.times,
            _ => true,
        });
    }
    let states_all = |circuit: &Circuit| circuit.service.as_ref().is_some_and(|one| one.part_expansion.is_some());
    let is_gripped = replica.circuits.iter().flat_map(|circuit| &circuit.lines).any(|line| line.grip_length.is_some());
    let expands = is_gripped && !replica.circuits.iter().all(states_all);
    let counts = |name: &str| name != "part_expansion" || expands;
    all.add_keys(Owner::Metal, METAL_NUMBERS, &plant.policy.metal, counts);
    let is_silent = |part: &Component| part.is(Kind::ChargingCylinder) && part.pressure_ratio.is_none();
    let stands_in = plant.components.iter().any(is_silent);
    all.add_keys(Owner::Limits, LIMITS, &plant.policy.limits, |name| match name {
        "pressure_ratio" => stands_in,
        "relief_reseat" => has(Kind::ReliefValve),
        _ => true,
    });
    all.data
}

/// A temperature that is not stated is not known better than one that is; without a station the pressure that a
/// circuit is charged to is known as well as a pump's setting.
fn add_service(all: &mut Collector, index: usize, service: &Service) {
    let number = |place: usize| {
        let is_usual = CIRCUITS.get(place).is_some_and(|column| column.name == "temp_charge");
        service.number(place).or_else(|| is_usual.then(|| USUAL_TEMPERATURE.si()))
    };
    all.add_row(Owner::Service(index), &OF_SERVICES, CIRCUITS, &service.spreads, number, |_| true);
    let is_stated = own_spread(&service.spreads, "pressure_set").is_some();
    if service.station.is_empty() && !is_stated {
        let set = service.pressure_set.map(Pressure::si);
        all.add_in_place(Owner::Service(index), CIRCUITS, "pressure_set", set, SpreadKind::PumpSetting);
    }
}

/// Whether its stroke counts as far as that of the other reaches.
fn is_of_station(part: &Component) -> bool {
    part.is(Kind::ChargingCylinder) || part.is(Kind::DriveRam)
}

fn line_number(line: &Line, place: usize) -> Option<f64> {
    line.number(LISTS.get(place)?.name)
}

impl Datum {
    /// Its value so many standard uncertainties away.
    pub(super) fn away(&self, deviates: f64) -> f64 {
        self.uncertain.away(self.value, deviates)
    }

    /// Puts a value in its place.
    pub(super) fn put(&self, replica: &mut Replica, value: f64) {
        let plant = &mut replica.plant;
        match self.owner {
            Owner::Part(index) => {
                if let Some(part) = plant.components.get_mut(index) {
                    part.put_number(self.column, value);
                }
            }
            Owner::Station(index) => {
                if let Some(station) = plant.stations.get_mut(index) {
                    station.put_number(self.column, value);
                }
            }
            Owner::Service(index) => {
                if let Some(service) = replica.circuits.get_mut(index).and_then(|circuit| circuit.service.as_mut()) {
                    service.put_number(self.column, value);
                }
            }
            Owner::Line { circuit, line } => {
                let line = replica.circuits.get_mut(circuit).and_then(|circuit| circuit.lines.get_mut(line));
                if let Some((line, column)) = line.zip(LISTS.get(self.column)) {
                    line.put_number(column.name, value);
                }
            }
            Owner::Fluid(index) => {
                let fluid = replica.fluids.get(index).and_then(|name| plant.policy.fluid_mut(name));
                if let Some((fluid, key)) = fluid.zip(FLUID_NUMBERS.get(self.column)) {
                    (key.set)(fluid, value);
                }
            }
            Owner::Metal => {
                if let Some(key) = METAL_NUMBERS.get(self.column) {
                    (key.set)(&mut plant.policy.metal, value);
                }
            }
            Owner::Limits => {
                if let Some(key) = LIMITS.get(self.column) {
                    (key.set)(&mut plant.policy.limits, value);
                }
            }
        }
    }

    /// The name of its column or key.
    pub(super) fn key(&self) -> &'static str {
        let column = |columns: &'static [Column]| columns.get(self.column).map_or("", |column| column.name);
        match self.owner {
            Owner::Part(_) => column(COMPONENTS),
            Owner::Station(_) => column(STATIONS),
            Owner::Service(_) => column(CIRCUITS),
            Owner::Line { .. } => column(LISTS),
            Owner::Fluid(_) => FLUID_NUMBERS.get(self.column).map_or("", |key| key.key),
            Owner::Metal => METAL_NUMBERS.get(self.column).map_or("", |key| key.key),
            Owner::Limits => LIMITS.get(self.column).map_or("", |key| key.key),
        }
    }

    /// Data that each move every figure to the same side, so that all of them together do at least what each does.
    pub(super) fn bundle(&self, replica: &Replica) -> Option<Bundle> {
        let key = self.key();
        if matches!(self.owner, Owner::Fluid(_)) {
            return ["density", "specific_heat"].contains(&key).then_some(Bundle::HeatCapacities);
        }
        let Owner::Part(index) = self.owner else { return None };
        let is_actuator = replica.plant.components.get(index).is_some_and(Component::is_actuator);
        match key {
            "dead_volume" => Some(Bundle::Volumes),
            "stroke" if is_actuator => Some(Bundle::Volumes),
            "leak" => Some(Bundle::Leaks),
            "area_clamp" => Some(Bundle::Areas),
            "return_pressure" => Some(Bundle::Springs),
            "elastic_modulus" | "stiffness" => Some(Bundle::Stiffnesses),
            "outer_diameter" => Some(Bundle::Walls),
            "support_capacity" => Some(Bundle::Supports),
            _ => None,
        }
    }

    /// Whether what it does to one side tells whether it does anything.
    pub(super) fn is_smooth(&self, replica: &Replica) -> bool {
        let key = self.key();
        let may_be_shorter = match self.owner {
            Owner::Part(index) => key == "stroke" && replica.plant.components.get(index).is_some_and(is_of_station),
            _ => false,
        };
        !may_be_shorter && !OF_KINKS.contains(&key)
    }

    /// Whether it is of one circuit alone, and of which.
    pub(super) const fn circuit(&self) -> Option<usize> {
        match self.owner {
            Owner::Line { circuit, .. } | Owner::Service(circuit) => Some(circuit),
            _ => None,
        }
    }

    /// What it is measured in.
    pub(super) fn measure(&self) -> Measure {
        let column = |columns: &'static [Column]| columns.get(self.column).map_or(Measure::Plain(""), Column::measure);
        match self.owner {
            Owner::Part(_) => column(COMPONENTS),
            Owner::Station(_) => column(STATIONS),
            Owner::Service(_) => column(CIRCUITS),
            Owner::Line { .. } => column(LISTS),
            Owner::Fluid(_) | Owner::Metal | Owner::Limits => {
                let of_key = POLICY_SPREADS.iter().find(|(name, ..)| *name == self.key());
                Measure::Plain(of_key.map_or("", |(.., unit)| unit))
            }
        }
    }

    /// In words: `leak of HERON-20`, `length of REED-8 on row 14`, `temp_min`.
    pub(super) fn name(&self, replica: &Replica) -> String {
        let plant = &replica.plant;
        let key = self.key();
        match self.owner {
            Owner::Part(index) => {
                let part = plant.components.get(index).map_or("", |part| part.part_no.as_str());
                format!("{key} of {part}")
            }
            Owner::Station(index) => {
                let name = plant.stations.get(index).map_or("", |station| station.station.as_str());
                format!("{key} of station {name}")
            }
            Owner::Line { circuit, line } => {
                let line = replica.circuits.get(circuit).and_then(|circuit| circuit.lines.get(line));
                let part = line.and_then(|line| line.component(&plant.components)).map_or("", |part| &part.part_no);
                let row = line.map_or(0, |line| line.origin.row);
                format!("{key} of {part} on row {row}")
            }
            Owner::Fluid(index) => {
                let name = replica.fluids.get(index).map_or("", |name| name.as_str());
                format!("{key} of fluid {name}")
            }
            Owner::Service(_) | Owner::Metal | Owner::Limits => key.to_owned(),
        }
    }
}
