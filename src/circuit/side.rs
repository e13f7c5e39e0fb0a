//! Lines, zones and volumes of one side of a circuit.

use crate::physics::accumulator::{Accumulator, accumulator_oil};
use crate::physics::air::free_air_loss;
use crate::physics::compression::{compression_of_chamber, compression_of_filling};
use crate::physics::dilation::{clamp_compliance, hose_compliance, tube_compliance};
use crate::physics::quantity::{Compliance, Length, Pressure, Temperature, Volume};
use crate::physics::volume::{Demand, conductor_volume, effective_capacity, swept_volume};
use crate::tables::circuit::{Circuit, Service, counts_on};
use crate::tables::component::Component;
use crate::tables::figures::{Figure, Gap, SideFigures, Volumes};
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::policy::Fluid;
use crate::tables::station::Station;
use crate::tables::words::{Acting, Charging, Kind, Side, Zone};

/// Elastic modulus of a tube that states none.
pub(super) const STEEL_MODULUS: Pressure = Pressure::new(205.0e9);
/// Poisson ratio of a tube that states none.
const STEEL_POISSON: f64 = 0.3;
/// Temperature at charging where none is given.
pub const USUAL_TEMPERATURE: Temperature = Temperature::new(293.15);

/// A circuit with everything that its figures are computed from.
pub struct CircuitInputs<'a> {
    pub plant: &'a Plant,
    pub circuit: &'a Circuit,
    pub service: &'a Service,
    pub acting: Acting,
    pub charging: Charging,
    /// `None` where the policy lacks it.
    pub fluid: Option<&'a Fluid>,
    /// The load station, where it is known.
    pub station: Option<&'a Station>,
    /// The lines with a known part, joined once: every sum runs over them.
    joined: Vec<JoinedLine<'a>>,
    /// Whether every line has a known part with a kind.
    has_all_kinds: bool,
    /// Whether a line is set aside.
    has_set_aside: bool,
}

/// A line with its part; a quantity or length that is none counts as 0.
#[derive(Clone, Copy)]
pub struct JoinedLine<'a> {
    pub index: usize,
    pub line: &'a Line,
    pub component: &'a Component,
    /// Pieces.
    pub pieces: f64,
    /// Length of each piece; 0 for what has none.
    pub length: Length,
}

impl JoinedLine<'_> {
    /// Whether it counts in volumes.
    #[must_use]
    pub fn is_set_aside(&self) -> bool {
        self.line.is_set_aside_with(self.component)
    }
}

impl<'a> CircuitInputs<'a> {
    /// Gathers what the figures of a circuit are computed from.
    #[must_use]
    pub fn of(plant: &'a Plant, circuit: &'a Circuit, service: &'a Service) -> Self {
        let mut joined = Vec::with_capacity(circuit.lines.len());
        let (mut has_all_kinds, mut has_set_aside) = (true, false);
        for (index, line) in circuit.lines.iter().enumerate() {
            let Some(component) = line.component(&plant.components) else { continue };
            let pieces = line.qty.value().unwrap_or(0.0);
            let length = line.length.value().unwrap_or(Length::ZERO);
            joined.push(JoinedLine { index, line, component, pieces, length });
            has_all_kinds &= component.kind.is_some();
            has_set_aside |= line.is_set_aside_with(component);
        }
        let has_all_kinds = has_all_kinds && joined.len() == circuit.lines.len();
        Self {
            plant,
            circuit,
            service,
            acting: circuit.acting(&plant.components),
            charging: service.charging(),
            fluid: plant.policy.fluid(&service.fluid),
            station: circuit.station(plant),
            joined,
            has_all_kinds,
            has_set_aside,
        }
    }

    /// Whether every line has a known part with a kind.
    #[must_use]
    pub const fn has_all_kinds(&self) -> bool {
        self.has_all_kinds
    }

    /// The temperature at charging; `None` where its cell can't be read.
    #[must_use]
    pub fn charge_temperature(&self) -> Option<Temperature> {
        if self.service.is_unreadable("temp_charge") {
            return None;
        }
        Some(self.service.temp_charge.unwrap_or(USUAL_TEMPERATURE))
    }

    /// The station's drive ram, where it is known.
    #[must_use]
    pub fn drive_ram(&self) -> Option<&'a Component> {
        self.plant.drive_ram_of(self.station?)
    }

    /// The lines of a side with a known part, set aside or not.
    pub fn joined_on(&self, side: Side) -> impl Iterator<Item = JoinedLine<'a>> {
        let acting = self.acting;
        let counts = move |joined: &&JoinedLine| counts_on(joined.line, Some(joined.component), acting, side);
        self.joined.iter().filter(counts).copied()
    }

    /// Those of them with a part of a kind.
    pub fn joined_of(&self, figures: &SideFigures, kind: Kind) -> impl Iterator<Item = JoinedLine<'a>> {
        let joined = figures.kinds.has(kind).then(|| self.joined_on(figures.side));
        joined.into_iter().flatten().filter(move |joined| joined.component.is(kind))
    }

    /// Those of a side that sit in a zone.
    pub fn joined_in(&self, figures: &'a SideFigures, zone: Zone) -> impl Iterator<Item = JoinedLine<'a>> {
        let has_reducing_valve = figures.has_reducing_valve;
        let sits_in = move |joined: &JoinedLine| joined.line.zone_on(joined.component, has_reducing_valve) == zone;
        self.joined_on(figures.side).filter(sits_in)
    }
}

/// Lines, zones, kinds and the charging cylinder of a side.
pub(super) fn outline(inputs: &CircuitInputs, side: Side) -> SideFigures {
    let components = &inputs.plant.components;
    let mut figures = SideFigures::blank(side);
    if let Some(because) = stray_row(inputs.circuit) {
        figures.kinds_are_known = false;
        figures.gaps.push(Gap { figure: Figure::Presence, because });
    }
    figures.lines.reserve_exact(inputs.circuit.lines.len());
    for (index, line) in inputs.circuit.lines.iter().enumerate() {
        let component = line.component(components);
        if component.is_none() {
            figures.kinds_are_known = false;
            figures.gaps.push(Gap { figure: Figure::Presence, because: unknown_part(line) });
        }
        if !counts_on(line, component, inputs.acting, side) {
            continue;
        }
        figures.lines.push(index);
        let Some(component) = component else { continue };
        if component.kind.is_none() {
            figures.kinds_are_known = false;
        }
        figures.has_reducing_valve |= component.is(Kind::ReducingValve);
        if component.is(Kind::ChargingCylinder) {
            figures.cylinder = figures.cylinder.or(Some(index));
            // A quantity that can't be used stands for one piece.
            figures.cylinder_pieces += line.qty.value().filter(|_| line.has_quantity()).unwrap_or(1.0);
        }
    }
    // Most lines stand behind the check valve.
    let count = figures.lines.len();
    figures.zone_mut(Zone::Full).lines.reserve_exact(count);
    for joined in inputs.joined_on(side) {
        let own = joined.component.kind.map_or(joined.component.includes, |kind| joined.component.includes.with(kind));
        figures.kinds = figures.kinds.union(own);
        let zone = joined.line.zone_on(joined.component, figures.has_reducing_valve);
        let zone = figures.zone_mut(zone);
        zone.lines.push(joined.index);
        zone.kinds = zone.kinds.union(own);
    }
    figures
}

fn unknown_part(line: &Line) -> String {
    let text = match &line.part {
        PartRef::Known(_) => "",
        PartRef::Unknown(text) => text,
        PartRef::Altered(altered) => &altered.text,
    };
    format!("the part '{text}' on row {} is not known", line.origin.row)
}

/// A row that may be one of the circuit's.
fn stray_row(circuit: &Circuit) -> Option<String> {
    let stray = circuit.stray_rows.first()?;
    Some(format!("row {} of the same file is set aside and its circuit can't be told", stray.row))
}

/// Why the volumes of a side are unknown as a whole, if they are.
fn set_aside_reason(inputs: &CircuitInputs, figures: &SideFigures) -> Option<String> {
    if inputs.circuit.lines.is_empty() {
        return Some("the circuit has no lines".to_owned());
    }
    if inputs.service.is_unreadable("charging") {
        return Some("charging can't be read".to_owned());
    }
    if let Some(because) = stray_row(inputs.circuit) {
        return Some(because);
    }
    if inputs.has_all_kinds && !inputs.has_set_aside {
        return None;
    }
    let components = &inputs.plant.components;
    inputs.circuit.lines.iter().enumerate().find_map(|(index, line)| {
        let Some(component) = line.component(components) else { return Some(unknown_part(line)) };
        // It may be a clamp, which counts on both sides, or anything else that takes oil.
        if component.kind.is_none() {
            return Some(format!("the kind of part {} is not known", component.part_no));
        }
        let is_here = || figures.lines.binary_search(&index).is_ok();
        (line.is_set_aside_with(component) && is_here())
            .then(|| format!("the line on row {} is set aside", line.origin.row))
    })
}

/// Sums over the lines of one zone; `None` where a line lacks what enters.
#[derive(Clone, Debug)]
pub(super) struct ZoneSums {
    pub(super) swept: Option<Volume>,
    pub(super) line: Option<Volume>,
    pub(super) dead: Volume,
    conductors: Option<Compliance>,
    clamps: Option<Compliance>,
    pub(super) accumulators: Option<Vec<Accumulator>>,
}

impl Default for ZoneSums {
    fn default() -> Self {
        Self {
            swept: Some(Volume::ZERO),
            line: Some(Volume::ZERO),
            dead: Volume::ZERO,
            conductors: Some(Compliance::ZERO),
            clamps: Some(Compliance::ZERO),
            accumulators: Some(Vec::new()),
        }
    }
}

impl ZoneSums {
    /// C_el of tubes, hoses and clamps.
    pub(super) fn compliance(&self) -> Option<Compliance> {
        Some(self.conductors? + self.clamps?)
    }

    /// V_t, all the oil of the zone.
    pub(super) fn volume(&self) -> Option<Volume> {
        Some(self.line? + self.dead + self.swept?)
    }
}

/// Sums of a side by zone, and its own charging cylinders.
#[derive(Clone, Debug)]
pub(super) struct SideSums {
    zones: [ZoneSums; 3],
    /// As far as the drive ram's stroke reaches; `None` where unknown.
    pub(super) own_capacity: Option<Volume>,
    has_cylinder: bool,
    gaps: Vec<Gap>,
}

impl SideSums {
    pub(super) const fn zone(&self, zone: Zone) -> &ZoneSums {
        &self.zones[zone as usize]
    }
}

/// Sums of a side; `None`, with the reason among the figures' gaps, where a line of it is set aside.
pub(super) fn sums_of(inputs: &CircuitInputs, figures: &mut SideFigures) -> Option<SideSums> {
    if let Some(because) = set_aside_reason(inputs, figures) {
        for figure in [Figure::Swept, Figure::Capacity, Figure::Demand, Figure::Fill] {
            figures.gaps.push(Gap { figure, because: because.clone() });
        }
        return None;
    }
    let mut sums = SideSums {
        zones: [ZoneSums::default(), ZoneSums::default(), ZoneSums::default()],
        own_capacity: Some(Volume::ZERO),
        has_cylinder: false,
        gaps: Vec::new(),
    };
    for joined in inputs.joined_on(figures.side) {
        let zone = joined.line.zone_on(joined.component, figures.has_reducing_valve) as usize;
        sums.add(inputs, joined, zone, figures.side);
        let shares = !joined.component.is_actuator() && !joined.component.is(Kind::ChargingCylinder);
        let share = inputs.circuit.trial_share.filter(|_| shares).unwrap_or(1.0);
        sums.zones[zone].dead += joined.component.dead_volume.unwrap_or(Volume::ZERO) * (joined.pieces * share);
    }
    Some(sums)
}

impl SideSums {
    fn add(&mut self, inputs: &CircuitInputs, joined: JoinedLine, zone: usize, side: Side) {
        let component = joined.component;
        let pieces = joined.pieces;
        let gaps = &mut self.gaps;
        let own = &mut self.zones[zone];
        match component.kind {
            Some(kind @ (Kind::Clamp | Kind::WorkSupport)) => {
                let swept = swept_by(joined, side).map(|v| v * pieces);
                own.swept = sum(gaps, own.swept, swept, Figure::Swept, component, "its stroke and area, or its volume");
                if kind == Kind::Clamp {
                    let give = yielding(component, side).map(|e| e * pieces);
                    own.clamps = sum(gaps, own.clamps, give, Figure::Demand, component, "its area");
                }
            }
            Some(Kind::ChargingCylinder) => {
                self.has_cylinder = true;
                let capacity = capacity_in_reach(inputs, component).map(|capacity| capacity * pieces);
                self.own_capacity = sum(gaps, self.own_capacity, capacity, Figure::Capacity, component, "its capacity");
            }
            Some(Kind::Tube | Kind::Hose) => {
                let bore = component.inner_diameter.map(|bore| conductor_volume(bore, joined.length) * pieces);
                own.line = sum(gaps, own.line, bore, Figure::Demand, component, "its inner diameter");
                let give = conductor_compliance(component, joined.length).map(|e| e * pieces);
                own.conductors = sum(gaps, own.conductors, give, Figure::Demand, component, "its diameters and rating");
            }
            Some(Kind::Accumulator) => {
                let bottle = bottle(joined).map(|bottle| vec![bottle]);
                if bottle.is_none() {
                    note(gaps, Figure::Demand, component, "its gas volume and precharge");
                }
                own.accumulators = own.accumulators.take().zip(bottle).map(|(all, more)| [all, more].concat());
            }
            _ => {}
        }
    }

    /// Works out the volumes that follow from the sums, once the pressures of the zones are known.
    pub(super) fn add_to(&mut self, inputs: &CircuitInputs, figures: &mut SideFigures) {
        let by_cylinder = inputs.charging == Charging::Cylinder;
        let mut volumes = Volumes {
            swept: total(&self.zones, |zone| zone.swept),
            line: total(&self.zones, |zone| zone.line),
            dead: total(&self.zones, |zone| Some(zone.dead)),
            compression: Some(Volume::ZERO),
            air: Some(Volume::ZERO),
            dilation: Some(Volume::ZERO),
            elastic: Some(Volume::ZERO),
            accumulator: Some(Volume::ZERO),
            ..Volumes::default()
        };
        for (zone, sums) in figures.zones.iter().zip(&self.zones) {
            if zone.lines.is_empty() {
                continue;
            }
            let pressure = zone.pressure;
            let held = sums.line.map(|line| line + sums.dead);
            let held = if by_cylinder { held } else { held.zip(sums.swept).map(|(held, swept)| held + swept) };
            add_oil(&mut volumes, inputs, held, pressure, by_cylinder);
            let given = |compliance: Option<Compliance>| compliance.zip(pressure).map(|(e, p)| p * e);
            volumes.dilation = plus(volumes.dilation, given(sums.conductors));
            volumes.elastic = plus(volumes.elastic, given(sums.clamps));
            let taken_in = accumulated(inputs, sums.accumulators.as_deref(), pressure);
            volumes.accumulator = plus(volumes.accumulator, taken_in);
        }
        if by_cylinder && self.has_cylinder {
            // The oil in the cylinder itself is compressed, too.
            add_oil(&mut volumes, inputs, self.own_capacity, figures.chain.full, true);
        }
        volumes.demand = demand(&volumes);
        figures.volumes = volumes;
        figures.compliance = total(&self.zones, ZoneSums::compliance);
        figures.gaps.append(&mut self.gaps);
        if figures.volumes.demand.is_none() {
            let because = demand_gap(inputs, figures);
            figures.gaps.push(Gap { figure: Figure::Demand, because });
        }
    }
}

fn total<T: std::ops::Add<Output = T>>(zones: &[ZoneSums; 3], of: impl Fn(&ZoneSums) -> Option<T>) -> Option<T> {
    let [charge, full, reduced] = zones;
    Some(of(charge)? + of(full)? + of(reduced)?)
}

fn plus(so_far: Option<Volume>, more: Option<Volume>) -> Option<Volume> {
    Some(so_far? + more?)
}

/// What oil of a volume takes in more as it comes under pressure, itself and its air.
fn add_oil(
    volumes: &mut Volumes,
    inputs: &CircuitInputs,
    held: Option<Volume>,
    pressure: Option<Pressure>,
    is_filling: bool,
) {
    let oil = held.zip(pressure).zip(inputs.fluid);
    let compression = oil.map(|((held, p), fluid)| {
        if is_filling {
            compression_of_filling(held, p, fluid.bulk_modulus)
        } else {
            compression_of_chamber(held, p, fluid.bulk_modulus)
        }
    });
    volumes.compression = plus(volumes.compression, compression);
    let air = oil.map(|((held, p), fluid)| free_air_loss(fluid.free_air, held, p));
    volumes.air = plus(volumes.air, air);
}

fn sum<T: std::ops::Add<Output = T>>(
    gaps: &mut Vec<Gap>,
    so_far: Option<T>,
    more: Option<T>,
    figure: Figure,
    component: &Component,
    what: &str,
) -> Option<T> {
    if more.is_none() {
        note(gaps, figure, component, what);
    }
    Some(so_far? + more?)
}

fn note(gaps: &mut Vec<Gap>, figure: Figure, component: &Component, what: &str) {
    let because = format!("part {} does not state {what}", component.part_no);
    gaps.push(Gap { figure, because });
}

/// c, what a charging cylinder displaces as far as the drive ram's stroke reaches.
pub(super) fn capacity_in_reach(inputs: &CircuitInputs, cylinder: &Component) -> Option<Volume> {
    let ram = inputs.drive_ram();
    if cylinder.stroke.is_some() && ram.is_some_and(|ram| ram.is_unreadable("stroke")) {
        return None;
    }
    Some(effective_capacity(cylinder.capacity?, ram.and_then(|ram| ram.stroke), cylinder.stroke))
}

/// What one clamp or support sweeps on a side: nothing on the unclamp side where it has no
/// figure for that.
pub(super) fn swept_by(joined: JoinedLine, side: Side) -> Option<Volume> {
    let component = joined.component;
    let (area, volume) = match side {
        Side::Unclamp => (component.area_unclamp, component.volume_unclamp),
        Side::Clamp | Side::Both => (component.area_clamp, component.volume_clamp),
    };
    if side == Side::Unclamp && area.is_none() && volume.is_none() {
        return Some(Volume::ZERO);
    }
    swept_volume(area, joined.line.stroke_used, volume, component.stroke)
}

/// What one clamp yields per pressure: nothing where it states no stiffness.
pub(super) fn yielding(component: &Component, side: Side) -> Option<Compliance> {
    let Some(stiffness) = component.stiffness else { return Some(Compliance::ZERO) };
    match side {
        Side::Unclamp => {
            Some(component.area_unclamp.map_or(Compliance::ZERO, |area| clamp_compliance(area, stiffness)))
        }
        Side::Clamp | Side::Both => component.area_clamp.map(|area| clamp_compliance(area, stiffness)),
    }
}

/// What one piece of tube or hose yields per pressure.
pub(super) fn conductor_compliance(component: &Component, length: Length) -> Option<Compliance> {
    if component.is(Kind::Hose) {
        return match component.expansion {
            None => Some(Compliance::ZERO),
            Some(expansion) => component.rated_pressure.map(|rated| hose_compliance(length, expansion, rated)),
        };
    }
    let Some(outer) = component.outer_diameter else { return Some(Compliance::ZERO) };
    let modulus = component.elastic_modulus.unwrap_or(STEEL_MODULUS);
    let poisson = component.poisson.unwrap_or(STEEL_POISSON);
    component.inner_diameter.map(|inner| tube_compliance(inner, outer, length, modulus, poisson))
}

fn accumulated(inputs: &CircuitInputs, bottles: Option<&[Accumulator]>, pressure: Option<Pressure>) -> Option<Volume> {
    let bottles = bottles?;
    if bottles.is_empty() {
        return Some(Volume::ZERO);
    }
    let pressure = pressure?;
    let temperature = inputs.charge_temperature()?;
    let gas = inputs.plant.policy.gas.into();
    Some(bottles.iter().map(|bottle| accumulator_oil(*bottle, pressure, temperature, gas)).sum())
}

/// The gas of an accumulator's line; `None` where it lacks a figure.
pub(super) fn bottle(joined: JoinedLine) -> Option<Accumulator> {
    let precharge = joined.line.precharge.or(joined.component.precharge)?;
    Some(Accumulator { gas_volume: joined.component.gas_volume? * joined.pieces, precharge })
}

fn demand(volumes: &Volumes) -> Option<Volume> {
    let parts = Demand {
        swept: volumes.swept?,
        compression: volumes.compression?,
        air: volumes.air?,
        dilation: volumes.dilation?,
        elastic: volumes.elastic?,
        accumulator: volumes.accumulator?,
    };
    Some(parts.total())
}

/// Why the demand is unknown.
pub(super) fn demand_gap(inputs: &CircuitInputs, figures: &SideFigures) -> String {
    if let Some(gap) =
        figures.gaps.iter().find(|gap| matches!(gap.figure, Figure::Swept | Figure::Capacity | Figure::Demand))
    {
        return gap.because.clone();
    }
    if inputs.fluid.is_none() {
        return format!("the policy has no fluid '{}'", inputs.service.fluid);
    }
    match figures.gaps.iter().find(|gap| matches!(gap.figure, Figure::Full | Figure::Charge)) {
        Some(gap) => format!("charge pressure: {}", gap.because),
        None => "a figure of its parts is missing".to_owned(),
    }
}
