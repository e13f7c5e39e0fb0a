//! Volumes of one side of a circuit.

use crate::physics::accumulator::{Accumulator, accumulator_oil};
use crate::physics::air::free_air_loss;
use crate::physics::compression::{compression_of_chamber, compression_of_filling};
use crate::physics::dilation::{clamp_compliance, hose_compliance, tube_compliance};
use crate::physics::quantity::{Compliance, Length, Pressure, Temperature, Volume};
use crate::physics::volume::{Demand, conductor_volume, fill, reserve, swept_volume, usable_oil};
use crate::tables::circuit::{Circuit, Service, counts_on};
use crate::tables::component::Component;
use crate::tables::figures::{Figure, Gap, SideFigures, Volumes};
use crate::tables::line::{Line, PartRef};
use crate::tables::plant::Plant;
use crate::tables::policy::Fluid;
use crate::tables::words::{Acting, Charging, Kind, Side};

use super::pressure_chain as chain;

/// Elastic modulus of a tube that states none.
const STEEL_MODULUS: Pressure = Pressure::new(205.0e9);
/// Poisson ratio of a tube that states none.
const STEEL_POISSON: f64 = 0.3;
/// Temperature at charging where none is given.
pub const USUAL_TEMPERATURE: Temperature = Temperature::new(293.15);

/// A circuit with everything that its figures are computed from.
pub struct Scope<'a> {
    pub plant: &'a Plant,
    pub circuit: &'a Circuit,
    pub service: &'a Service,
    pub acting: Acting,
    pub charging: Charging,
    /// `None` where the policy lacks it.
    pub fluid: Option<&'a Fluid>,
    /// The lines with a known part, found once: every sum runs over them.
    counted: Vec<Counted<'a>>,
}

/// A line of known part; a quantity or length that is none counts as 0.
#[derive(Clone, Copy)]
pub struct Counted<'a> {
    pub index: usize,
    pub line: &'a Line,
    pub component: &'a Component,
    /// Pieces.
    pub pieces: f64,
    /// Length of each piece; 0 for what has none.
    pub length: Length,
}

impl<'a> Scope<'a> {
    /// Gathers what the figures of a circuit are computed from.
    #[must_use]
    pub fn of(plant: &'a Plant, circuit: &'a Circuit, service: &'a Service) -> Self {
        let mut counted = Vec::with_capacity(circuit.lines.len());
        for (index, line) in circuit.lines.iter().enumerate() {
            let Some(component) = line.component(&plant.components) else { continue };
            let pieces = line.qty.value().unwrap_or(0.0);
            let length = line.length.value().unwrap_or(Length::ZERO);
            counted.push(Counted { index, line, component, pieces, length });
        }
        Self {
            plant,
            circuit,
            service,
            acting: circuit.acting(&plant.components),
            charging: service.charging(),
            fluid: plant.policy.fluid(&service.fluid),
            counted,
        }
    }

    /// The temperature at charging; `None` where its cell can't be read.
    #[must_use]
    pub fn charge_temperature(&self) -> Option<Temperature> {
        if self.service.is_unreadable("temp_charge") {
            return None;
        }
        Some(self.service.temp_charge.unwrap_or(USUAL_TEMPERATURE))
    }

    /// The lines of a side with a known part, set aside or not.
    pub fn fitted(&self, figures: &SideFigures) -> impl Iterator<Item = Counted<'a>> {
        let (acting, side) = (self.acting, figures.side);
        let counts = move |counted: &&Counted| counts_on(counted.line, Some(counted.component), acting, side);
        self.counted.iter().filter(counts).copied()
    }

    /// Those of them with a part of a kind.
    pub fn fitted_of(&self, figures: &SideFigures, kind: Kind) -> impl Iterator<Item = Counted<'a>> {
        let fitted = figures.kinds.has(kind).then(|| self.fitted(figures));
        fitted.into_iter().flatten().filter(move |counted| counted.component.is(kind))
    }
}

/// Computes everything of one side.
#[must_use]
pub fn side_figures(scope: &Scope, side: Side) -> SideFigures {
    let mut figures = outline(scope, side);
    chain::add_chain(scope, &mut figures);
    if let Some(because) = set_aside_reason(scope, &figures) {
        figures.gaps.push(Gap { figure: Figure::Swept, because: because.clone() });
        figures.gaps.push(Gap { figure: Figure::Capacity, because: because.clone() });
        figures.gaps.push(Gap { figure: Figure::Demand, because: because.clone() });
        figures.gaps.push(Gap { figure: Figure::Fill, because });
        return figures;
    }
    let sums = Sums::of(scope, &figures);
    sums.add_to(scope, &mut figures);
    figures
}

/// Lines, kinds and the charging cylinder of a side.
fn outline(scope: &Scope, side: Side) -> SideFigures {
    let components = &scope.plant.components;
    let mut figures = SideFigures::blank(side);
    figures.lines.reserve_exact(scope.circuit.lines.len());
    for (index, line) in scope.circuit.lines.iter().enumerate() {
        let component = line.component(components);
        if component.is_none() {
            figures.kinds_are_known = false;
            figures.gaps.push(Gap { figure: Figure::Presence, because: unknown_part(line) });
        }
        if !counts_on(line, component, scope.acting, side) {
            continue;
        }
        figures.lines.push(index);
        let Some(component) = component else { continue };
        if let Some(kind) = component.kind {
            figures.kinds = figures.kinds.with(kind);
        }
        figures.kinds = figures.kinds.union(component.includes);
        if component.is(Kind::ChargingCylinder) {
            figures.cylinder = figures.cylinder.or(Some(index));
            // A quantity that can't be used stands for one piece.
            figures.cylinder_pieces += line.qty.value().filter(|_| line.has_quantity()).unwrap_or(1.0);
        }
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

/// Why the volumes of a side are unknown as a whole, if they are.
fn set_aside_reason(scope: &Scope, figures: &SideFigures) -> Option<String> {
    if scope.circuit.lines.is_empty() {
        return Some("the circuit has no lines".to_owned());
    }
    if scope.service.is_unreadable("charging") {
        return Some("charging can't be read".to_owned());
    }
    if let Some(stray) = scope.circuit.stray_rows.first() {
        return Some(format!("row {} of the same file is set aside and its circuit can't be told", stray.row));
    }
    let components = &scope.plant.components;
    scope.circuit.lines.iter().enumerate().find_map(|(index, line)| {
        let Some(component) = line.component(components) else { return Some(unknown_part(line)) };
        (line.is_set_aside_with(component) && figures.lines.binary_search(&index).is_ok())
            .then(|| format!("the line on row {} is set aside", line.origin.row))
    })
}

/// Sums over the lines of a side; `None` where a line lacks what enters.
struct Sums {
    swept: Option<Volume>,
    line: Option<Volume>,
    dead: Volume,
    capacity: Option<Volume>,
    conductors: Option<Compliance>,
    clamps: Option<Compliance>,
    accumulators: Option<Vec<Accumulator>>,
    gaps: Vec<Gap>,
}

impl Sums {
    fn of(scope: &Scope, figures: &SideFigures) -> Self {
        let mut sums = Self {
            swept: Some(Volume::ZERO),
            line: Some(Volume::ZERO),
            dead: Volume::ZERO,
            capacity: Some(Volume::ZERO),
            conductors: Some(Compliance::ZERO),
            clamps: Some(Compliance::ZERO),
            accumulators: Some(Vec::new()),
            gaps: Vec::new(),
        };
        for counted in scope.fitted(figures) {
            sums.add(counted, figures.side);
            let shares = !counted.component.is_actuator() && !counted.component.is(Kind::ChargingCylinder);
            let share = scope.circuit.trial_share.filter(|_| shares).unwrap_or(1.0);
            sums.dead += counted.component.dead_volume.unwrap_or(Volume::ZERO) * (counted.pieces * share);
        }
        sums
    }

    fn add(&mut self, counted: Counted, side: Side) {
        let component = counted.component;
        let pieces = counted.pieces;
        match component.kind {
            Some(kind @ (Kind::Clamp | Kind::WorkSupport)) => {
                let swept = swept_by(counted, side).map(|v| v * pieces);
                self.swept = self.sum(self.swept, swept, Figure::Swept, counted, "its stroke and area, or its volume");
                if kind == Kind::Clamp {
                    let give = yielding(component, side).map(|e| e * pieces);
                    self.clamps = self.sum(self.clamps, give, Figure::Demand, counted, "its area");
                }
            }
            Some(Kind::ChargingCylinder) => {
                let capacity = component.capacity.map(|capacity| capacity * pieces);
                self.capacity = self.sum(self.capacity, capacity, Figure::Capacity, counted, "its capacity");
            }
            Some(Kind::Tube | Kind::Hose) => self.add_conductor(counted),
            Some(Kind::Accumulator) => self.add_accumulator(counted),
            _ => {}
        }
    }

    fn add_conductor(&mut self, counted: Counted) {
        let component = counted.component;
        let bore = component.inner_diameter.map(|bore| conductor_volume(bore, counted.length) * counted.pieces);
        self.line = self.sum(self.line, bore, Figure::Demand, counted, "its inner diameter");
        let give = conductor_compliance(component, counted.length).map(|e| e * counted.pieces);
        self.conductors = self.sum(self.conductors, give, Figure::Demand, counted, "its diameters and rating");
    }

    fn add_accumulator(&mut self, counted: Counted) {
        let precharge = counted.line.precharge.or(counted.component.precharge);
        let bottle = counted
            .component
            .gas_volume
            .zip(precharge)
            .map(|(gas_volume, precharge)| Accumulator { gas_volume: gas_volume * counted.pieces, precharge });
        if bottle.is_none() {
            self.note(Figure::Demand, counted, "its gas volume and precharge");
        }
        self.accumulators = match (self.accumulators.take(), bottle) {
            (Some(mut all), Some(bottle)) => {
                all.push(bottle);
                Some(all)
            }
            _ => None,
        };
    }

    fn sum<T: std::ops::Add<Output = T>>(
        &mut self,
        so_far: Option<T>,
        more: Option<T>,
        figure: Figure,
        counted: Counted,
        what: &str,
    ) -> Option<T> {
        if more.is_none() {
            self.note(figure, counted, what);
        }
        Some(so_far? + more?)
    }

    fn note(&mut self, figure: Figure, counted: Counted, what: &str) {
        let because = format!("part {} does not state {what}", counted.component.part_no);
        self.gaps.push(Gap { figure, because });
    }

    /// Works out the volumes that follow from the sums.
    fn add_to(self, scope: &Scope, figures: &mut SideFigures) {
        let charge = figures.chain.charge;
        let rest = self.rest_volume(scope.charging);
        let oil = rest.zip(charge).zip(scope.fluid);
        let volumes = &mut figures.volumes;
        volumes.swept = self.swept;
        volumes.line = self.line;
        volumes.dead = Some(self.dead);
        volumes.capacity = if scope.charging == Charging::Cylinder { self.capacity } else { None };
        volumes.compression = oil.map(|((rest, p), fluid)| match scope.charging {
            Charging::Cylinder => compression_of_filling(rest, p, fluid.bulk_modulus),
            Charging::Coupler | Charging::Live => compression_of_chamber(rest, p, fluid.bulk_modulus),
        });
        volumes.air = oil.map(|((rest, p), fluid)| free_air_loss(fluid.free_air, rest, p));
        volumes.dilation = self.conductors.zip(charge).map(|(e, p)| p * e);
        volumes.elastic = self.clamps.zip(charge).map(|(e, p)| p * e);
        volumes.accumulator = accumulated(scope, self.accumulators.as_deref(), charge);
        volumes.demand = demand(volumes);
        figures.compliance = self.conductors.zip(self.clamps).map(|(a, b)| a + b);
        figures.gaps.extend(self.gaps);
        add_fill(scope, figures);
        if figures.volumes.demand.is_none() {
            let because = demand_gap(scope, figures);
            figures.gaps.push(Gap { figure: Figure::Demand, because });
        }
    }

    /// V_0, the oil that is compressed.
    fn rest_volume(&self, charging: Charging) -> Option<Volume> {
        let held = self.line? + self.dead;
        Some(match charging {
            Charging::Cylinder => held + self.capacity?,
            Charging::Coupler | Charging::Live => held + self.swept?,
        })
    }
}

/// What one clamp or support sweeps on a side: nothing on the unclamp side where it has no
/// figure for that.
fn swept_by(counted: Counted, side: Side) -> Option<Volume> {
    let component = counted.component;
    let (area, volume) = match side {
        Side::Unclamp => (component.area_unclamp, component.volume_unclamp),
        Side::Clamp | Side::Both => (component.area_clamp, component.volume_clamp),
    };
    if side == Side::Unclamp && area.is_none() && volume.is_none() {
        return Some(Volume::ZERO);
    }
    swept_volume(area, counted.line.stroke_used, volume, component.stroke)
}

/// What one clamp yields per pressure: nothing where it states no stiffness.
fn yielding(component: &Component, side: Side) -> Option<Compliance> {
    let Some(stiffness) = component.stiffness else { return Some(Compliance::ZERO) };
    match side {
        Side::Unclamp => {
            Some(component.area_unclamp.map_or(Compliance::ZERO, |area| clamp_compliance(area, stiffness)))
        }
        Side::Clamp | Side::Both => component.area_clamp.map(|area| clamp_compliance(area, stiffness)),
    }
}

/// What one piece of tube or hose yields per pressure.
fn conductor_compliance(component: &Component, length: Length) -> Option<Compliance> {
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

fn accumulated(scope: &Scope, bottles: Option<&[Accumulator]>, charge: Option<Pressure>) -> Option<Volume> {
    let bottles = bottles?;
    let charge = charge?;
    if bottles.is_empty() {
        return Some(Volume::ZERO);
    }
    let temperature = scope.charge_temperature()?;
    let gas = scope.plant.policy.gas.into();
    Some(bottles.iter().map(|bottle| accumulator_oil(*bottle, charge, temperature, gas)).sum())
}

/// The accumulators on a side; `None` where one lacks a figure.
#[must_use]
pub fn accumulators(scope: &Scope, figures: &SideFigures) -> Option<Vec<Accumulator>> {
    scope
        .fitted_of(figures, Kind::Accumulator)
        .map(|counted| {
            let precharge = counted.line.precharge.or(counted.component.precharge)?;
            let gas_volume = counted.component.gas_volume? * counted.pieces;
            Some(Accumulator { gas_volume, precharge })
        })
        .collect()
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

/// Fill and reserve, of what a charging cylinder charges.
fn add_fill(scope: &Scope, figures: &mut SideFigures) {
    if scope.charging != Charging::Cylinder {
        return;
    }
    let usable = figures.volumes.capacity.map(|capacity| usable_oil(capacity, scope.plant.policy.limits.fill));
    figures.usable = usable;
    let Some(demand) = figures.volumes.demand else {
        let because = demand_gap(scope, figures);
        figures.gaps.push(Gap { figure: Figure::Fill, because });
        return;
    };
    figures.reserve = usable.map(|usable| reserve(usable, demand));
    figures.fill = figures.volumes.capacity.and_then(|capacity| fill(demand, capacity));
    if figures.fill.is_none() {
        figures.gaps.push(Gap { figure: Figure::Fill, because: "the side has no charging cylinder".to_owned() });
    }
}

/// Why the demand is unknown.
fn demand_gap(scope: &Scope, figures: &SideFigures) -> String {
    if let Some(gap) =
        figures.gaps.iter().find(|gap| matches!(gap.figure, Figure::Swept | Figure::Capacity | Figure::Demand))
    {
        return gap.because.clone();
    }
    if scope.fluid.is_none() {
        return format!("the policy has no fluid '{}'", scope.service.fluid);
    }
    match figures.gaps.iter().find(|gap| gap.figure == Figure::Charge) {
        Some(gap) => format!("charge pressure: {}", gap.because),
        None => "a figure of its parts is missing".to_owned(),
    }
}
