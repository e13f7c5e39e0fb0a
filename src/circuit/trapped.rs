//! What the trapped oil does after the circuit is uncoupled.

use crate::physics::flow::ViscosityLine;
use crate::physics::leak::{HoldReserve, leak_conductance};
use crate::physics::quantity::{Conductance, Expansivity, Pressure, Temperature, Time, Volume};
use crate::physics::topping_up::oil_lost;
use crate::physics::trapped_circuit::{
    KnownNear, Reduced, TrappedCircuit, TrappedLeak, TrappedRange, TrappedZone, ZonePressures,
};
use crate::physics::validity;
use crate::physics::zone::{LeakViscosity, StiffOil, Zone as TrappedVolume, grip_expansion};
use crate::rules::Asked;
use crate::tables::component::Component;
use crate::tables::figures::{CircuitFigures, Figure, Gap, Holding, SideFigures};
use crate::tables::words::{Charging, Kind, Zone};

use super::near_oil::{NearOil, OilFigures};
use super::pressure_chain::lacks_setting;
use super::side::{CircuitInputs, JoinedLine, SideSums};

/// Points of the curve of pressure over time.
const CURVE_POINTS: u16 = 25;
/// Kinds through which oil may leak, so that a blank leak of theirs says nothing.
pub const LEAKING: [Kind; 6] =
    [Kind::Clamp, Kind::WorkSupport, Kind::CheckValve, Kind::IsolationValve, Kind::ReliefValve, Kind::Coupling];

/// Oil that leaves a circuit in a cycle.
#[derive(Clone, Debug, Default)]
pub(super) struct Lost {
    /// `None` where unknown.
    pub(super) oil: Option<Volume>,
    /// Whether a blank leak makes it a lower bound.
    pub(super) is_bound: bool,
    /// Why it is unknown.
    pub(super) because: Option<String>,
}

impl Lost {
    fn unknown(because: &str) -> Self {
        Self { oil: None, is_bound: false, because: Some(because.to_owned()) }
    }
}

/// The zones of a side that trap oil once the circuit is uncoupled.
fn trapping(clamp: &SideFigures) -> &'static [Zone] {
    if clamp.has_reducing_valve { &[Zone::Full, Zone::Reduced] } else { &[Zone::Full] }
}

/// Lines of the clamp side in zones that trap oil.
fn trapped_lines<'a>(inputs: &CircuitInputs<'a>, clamp: &SideFigures) -> impl Iterator<Item = (Zone, JoinedLine<'a>)> {
    let has_reducing_valve = clamp.has_reducing_valve;
    let in_zone = move |joined: JoinedLine<'a>| (joined.line.zone_on(joined.component, has_reducing_valve), joined);
    inputs.joined_on(clamp.side).map(in_zone).filter(|(zone, _)| *zone != Zone::Charge)
}

/// The first part that could leak and says nothing of it.
fn silent_on_leak<'a>(inputs: &CircuitInputs<'a>, clamp: &SideFigures) -> Option<&'a Component> {
    trapped_lines(inputs, clamp)
        .map(|(_, joined)| joined.component)
        .find(|component| component.kind.is_some_and(|kind| LEAKING.contains(&kind)) && component.leak.is_none())
}

/// G of a line; `None` where it states a leak and no rating to which that belongs.
fn line_conductance(joined: &JoinedLine) -> Option<Conductance> {
    let Some(leak) = joined.component.leak.filter(|leak| leak.si() != 0.0) else { return Some(Conductance::ZERO) };
    Some(leak_conductance(leak, joined.component.rated_pressure?)? * joined.pieces)
}

/// Why the trapped oil, its settling or its leak is unknown.
struct Trapped {
    circuit: TrappedCircuit,
    /// Whether a relief valve in a trapped zone has no setting.
    relief_is_open: bool,
    /// The part whose leak belongs to no rating.
    leak_lacks_rating: Option<String>,
}

/// The trapped oil of a circuit as physics wants it; the reason where a figure is missing.
fn trapped(inputs: &CircuitInputs, clamp: &SideFigures, sums: Option<&SideSums>) -> Result<Trapped, String> {
    let gap_of = |figure: Figure| clamp.gaps.iter().find(|gap| gap.figure == figure).map(|gap| gap.because.clone());
    let missing = || {
        gap_of(Figure::Swept).or_else(|| gap_of(Figure::Demand)).unwrap_or_else(|| "a volume is not known".to_owned())
    };
    let pressure_gap = |figure| format!("charge pressure: {}", gap_of(figure).unwrap_or_default());
    let sums = sums.ok_or_else(missing)?;
    let full_pressure = clamp.chain.full.ok_or_else(|| pressure_gap(Figure::Full))?;
    clamp.chain.charge.ok_or_else(|| pressure_gap(Figure::Charge))?;
    let service = inputs.service;
    let fluid = inputs.fluid.ok_or_else(|| format!("the policy has no fluid '{}'", service.fluid))?;
    let charge_temperature = inputs.charge_temperature().ok_or("temp_charge can't be read")?;
    for column in ["dwell", "part_expansion"] {
        if service.is_unreadable(column) {
            return Err(format!("{column} can't be read"));
        }
    }
    let policy = &inputs.plant.policy;
    let metal_expansion = policy.metal.linear_expansion;
    let part_expansion = service.part_expansion.unwrap_or(policy.metal.part_expansion);
    let mut zones = [TrappedVolume::default(), TrappedVolume::default()];
    for (own, zone) in zones.iter_mut().zip([Zone::Full, Zone::Reduced]) {
        let of_zone = sums.zone(zone);
        own.volume = of_zone.volume().ok_or_else(missing)?;
        own.elasticity = of_zone.compliance().ok_or_else(missing)?;
        let bottles = of_zone.accumulators.clone();
        own.accumulators = bottles.ok_or("an accumulator lacks its gas volume or precharge")?;
        own.relief = clamp.zone(zone).relief.map(|rating| rating.pressure);
    }
    let mut closing_volume = Volume::ZERO;
    let mut leak_lacks_rating = None;
    for (zone, joined) in trapped_lines(inputs, clamp) {
        let own = &mut zones[usize::from(zone == Zone::Reduced)];
        let component = joined.component;
        match line_conductance(&joined) {
            Some(conductance) => own.conductance += conductance,
            None => leak_lacks_rating = leak_lacks_rating.or_else(|| Some(component.part_no.clone())),
        }
        if matches!(component.kind, Some(Kind::CheckValve | Kind::Coupling)) {
            closing_volume += component.closing_volume.unwrap_or(Volume::ZERO) * joined.pieces;
        }
        if let Some(length) = joined.line.grip_length.filter(|_| component.is(Kind::Clamp)) {
            let area =
                component.area_clamp.ok_or_else(|| format!("part {} does not state its area", component.part_no))?;
            let grip = grip_expansion(joined.pieces, area, length, metal_expansion, part_expansion);
            own.grip = Expansivity::new(own.grip.si() + grip.si());
        }
    }
    let relief_is_open = lacks_setting(inputs, clamp, Kind::ReliefValve, |joined| {
        joined.line.zone_on(joined.component, clamp.has_reducing_valve) != Zone::Charge
    });
    let [full, reduced] = zones;
    let setting = clamp.chain.reducing.map(|rating| rating.pressure);
    let line = ViscosityLine::through_40_and_100(fluid.viscosity_40, fluid.viscosity_100);
    let circuit = TrappedCircuit {
        full,
        reduced: setting.filter(|_| clamp.has_reducing_valve).map(|setting| Reduced { zone: reduced, setting }),
        oil: StiffOil {
            bulk_modulus: fluid.bulk_modulus_high,
            free_air: fluid.free_air_low,
            thermal_expansion: fluid.thermal_expansion,
            density: fluid.density,
            specific_heat: fluid.specific_heat,
            leak_viscosity: Some(LeakViscosity::new(line, fluid.leak_viscosity)),
        },
        metal_expansion,
        gas: policy.gas.into(),
        full_pressure,
        charge_temperature,
        closing_volume,
        dwell: service.dwell.unwrap_or(Time::ZERO),
        dwell_settled: Time::new(policy.limits.dwell_settled),
        relief_reseat: policy.limits.relief_reseat,
    };
    Ok(Trapped { circuit, relief_is_open, leak_lacks_rating })
}

/// Figures of the oil from settling to the end of the hold, of which one that comes earlier is known where a
/// later one may not be.
const FROM_HOT: [Figure; 4] = [Figure::Hot, Figure::Cold, Figure::Hold, Figure::HoldReserve];

/// Computes the holding figures of an uncoupled circuit, with the reasons of what is unknown, and the oil that it
/// loses in a cycle; `before` are those of a circuit much like it, or blank, and `near` knows the oil as it was before
/// something was moved a little.
pub(super) fn add_holding(
    inputs: &CircuitInputs,
    figures: &mut CircuitFigures,
    sums: Option<&SideSums>,
    asked: Asked,
    before: &Holding,
    near: Option<&NearOil>,
) -> Lost {
    if inputs.charging == Charging::Live || !(asked.hot || asked.cold) || inputs.circuit.lines.is_empty() {
        return Lost::default();
    }
    let silent = silent_on_leak(inputs, &figures.clamp);
    figures.holding.hold_is_bound = silent.is_some();
    let trapped = match trapped(inputs, &figures.clamp, sums) {
        Ok(trapped) => trapped,
        Err(because) => {
            push_gaps(&mut figures.gaps, &FROM_HOT, &because);
            return Lost::unknown(&because);
        }
    };
    let service = inputs.service;
    let Holding { settled, hot_full, cold_full, hold_full, .. } = *before;
    let starts = KnownNear { settled, hot: hot_full, cold: cold_full, held: hold_full };
    let range = trapped.circuit.over_near(service.temp_min, service.temp_max, starts);
    let oil = Oil { range: &range, known: near.and_then(|near| near.figures(&trapped.circuit, service)) };
    if asked.cold {
        figures.holding.settled = Some(oil.settled());
    }
    if trapped.relief_is_open {
        let because = "the setting of a relief valve is not known";
        push_gaps(&mut figures.gaps, &FROM_HOT, because);
        return Lost::unknown(because);
    }
    if service.is_unreadable("temp_max") {
        push_gaps(&mut figures.gaps, &FROM_HOT, "temp_max can't be read");
        return Lost::unknown("temp_max can't be read");
    }
    if asked.hot && service.temp_max.is_some() {
        add_hot(oil.hot(), figures);
    }
    if service.is_unreadable("temp_min") {
        push_gaps(&mut figures.gaps, &FROM_HOT[1..], "temp_min can't be read");
        return lost(inputs, figures, &trapped, &oil);
    }
    if !asked.cold {
        return Lost::default();
    }
    let cold = oil.cold();
    let holding = &mut figures.holding;
    holding.start = Some(cold.clamps);
    holding.cold_or_settled = Some(cold.clamps);
    holding.cold_full = Some(cold.full);
    holding.leak_temperature = Some(range.cold_temperature());
    holding.cold = service.temp_min.map(|_| cold.clamps);
    if asked.hold {
        add_leak(inputs, &trapped, &oil, figures, asked);
    }
    if let Some(part) = silent {
        let because =
            format!("part {} states no leak, so that the holding pressure is only an upper bound", part.part_no);
        figures.gaps.push(Gap { figure: Figure::Hold, because });
    }
    if asked.reserve {
        add_validity(inputs, &trapped.circuit, &mut figures.holding);
    }
    if asked.topup { lost(inputs, figures, &trapped, &oil) } else { Lost::default() }
}

/// The oil over its range of temperature, worked out as far as it is asked for, or known from close by.
struct Oil<'a> {
    range: &'a TrappedRange<'a>,
    known: Option<OilFigures>,
}

impl Oil<'_> {
    fn settled(&self) -> Pressure {
        self.known.map_or_else(|| self.range.settled_pressure().clamps, |known| known.settled)
    }

    fn hot(&self) -> ZonePressures {
        self.known.map_or_else(|| self.range.hot_pressure(), |known| known.hot)
    }

    fn cold(&self) -> ZonePressures {
        self.known.map_or_else(|| self.range.cold_pressure(), |known| known.cold)
    }

    fn vented(&self) -> Volume {
        self.known.map_or_else(|| self.range.vented_oil(), |known| known.vented)
    }
}

fn add_hot(hot: ZonePressures, figures: &mut CircuitFigures) {
    figures.holding.hot = Some(hot.clamps);
    figures.holding.hot_full = Some(hot.full);
    let clamp = &mut figures.clamp;
    let has_reducing_valve = clamp.has_reducing_valve;
    clamp.zone_mut(Zone::Full).hot = Some(hot.full);
    if has_reducing_valve {
        clamp.zone_mut(Zone::Reduced).hot = Some(hot.clamps);
    }
}

fn push_gaps(gaps: &mut Vec<Gap>, figures: &[Figure], because: &str) {
    for figure in figures {
        gaps.push(Gap { figure: *figure, because: because.to_owned() });
    }
}

fn add_leak(inputs: &CircuitInputs, trapped: &Trapped, oil: &Oil, figures: &mut CircuitFigures, asked: Asked) {
    let service = inputs.service;
    if let Some(part) = &trapped.leak_lacks_rating {
        let because = format!("part {part} states a leak and no rated_pressure");
        return push_gaps(&mut figures.gaps, &[Figure::Hold, Figure::HoldReserve], &because);
    }
    let is_known = oil.known.is_some() && !(asked.reserve || asked.curve);
    let leak = (!is_known).then(|| oil.range.leak());
    let hold = match (oil.known, &leak) {
        (Some(known), _) => known.hold,
        (None, leak) => leak.as_ref().and_then(|leak| leak.holding_pressure(service.hold_time)),
    };
    let holding = &mut figures.holding;
    match hold {
        Some(held) => {
            holding.hold = Some(held.clamps);
            holding.hold_full = Some(held.full);
        }
        None => {
            let because =
                if service.is_unreadable("hold_time") { "hold_time can't be read" } else { "no hold_time is given" };
            figures.gaps.push(Gap { figure: Figure::Hold, because: because.to_owned() });
        }
    }
    let Some(leak) = leak else { return };
    let holding = &mut figures.holding;
    if let Some(lowest) = service.pressure_min.filter(|_| asked.reserve) {
        match leak.hold_reserve(lowest) {
            HoldReserve::Ends(time) => holding.reserve = Some(time),
            HoldReserve::Endless => holding.reserve_is_endless = true,
        }
    }
    if let Some(time) = service.hold_time.filter(|_| asked.curve) {
        holding.curve = curve(&leak, time);
    }
}

fn curve(leak: &TrappedLeak, time: Time) -> Vec<(Time, Pressure)> {
    let points = if time.si() > 0.0 { CURVE_POINTS } else { 2 };
    leak.curve(time, points).into_iter().map(|(at, pressures)| (at, pressures.clamps)).collect()
}

/// Oil that leaves the circuit in a cycle, by leaks that do not flow back into it and by relief valves.
fn lost(inputs: &CircuitInputs, figures: &CircuitFigures, trapped: &Trapped, of: &Oil) -> Lost {
    let clamp = &figures.clamp;
    let mut zones = Vec::new();
    let mut is_bound = false;
    for zone in trapping(clamp) {
        let mut conductance = Conductance::ZERO;
        for (of_line, joined) in trapped_lines(inputs, clamp) {
            let component = joined.component;
            // What a check or isolation valve leaks flows back into the circuit.
            if of_line != *zone || component.is(Kind::CheckValve) || component.is(Kind::IsolationValve) {
                continue;
            }
            is_bound |= matches!(component.kind, Some(Kind::Clamp | Kind::WorkSupport | Kind::ReliefValve))
                && component.leak.is_none();
            match line_conductance(&joined) {
                Some(of_line) => conductance += of_line,
                None => {
                    return Lost::unknown(&format!("part {} states a leak and no rated_pressure", component.part_no));
                }
            }
        }
        let Some(pressure) = clamp.zone(*zone).pressure else {
            return Lost::unknown("the charge pressure is not known");
        };
        zones.push((conductance, pressure));
    }
    let leaks = zones.iter().any(|(conductance, _)| *conductance > Conductance::ZERO);
    let time = match inputs.service.hold_time {
        Some(time) => time,
        None if !leaks => Time::ZERO,
        None => return Lost { oil: None, is_bound, because: Some("no hold_time is given".to_owned()) },
    };
    let factor = trapped.circuit.oil.leak_factor(trapped.circuit.charge_temperature);
    Lost { oil: Some(oil_lost(time, &zones, factor, of.vented())), is_bound, because: None }
}

/// Notes where a figure lies outside a formula's validity.
fn add_validity(inputs: &CircuitInputs, trapped: &TrappedCircuit, holding: &mut Holding) {
    let service = inputs.service;
    let units = inputs.plant.policy.units;
    let hottest = holding.hot_full.unwrap_or(trapped.full_pressure).max(trapped.full_pressure);
    let highest = holding.hot.map_or(hottest, |hot| hot.max(hottest));
    let mut notes = Vec::new();
    let zones = std::iter::once(&trapped.full).chain(trapped.reduced.as_ref().map(|reduced| &reduced.zone));
    if zones.into_iter().any(|zone| !zone.accumulators.is_empty()) {
        let charge = trapped.charge_temperature;
        let cold = service.temp_min.map_or(charge, |lowest| lowest.min(charge));
        let hot = service.temp_max.map_or(charge, |highest| highest.max(charge));
        for temperature in [cold, hot] {
            notes.extend(validity::nitrogen_outside(highest.absolute(), temperature, units));
        }
    }
    notes.extend(validity::modulus_outside(highest, units));
    for note in notes {
        let text = note.to_string();
        if !holding.validity.contains(&text) {
            holding.validity.push(text);
        }
    }
}

/// A gauge on trapped oil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrappedGauge {
    /// Index into the circuit's lines.
    pub line: usize,
    /// The zone that it reads.
    pub zone: Zone,
    /// accuracy × full_scale; `None` where one of them isn't stated: readings then allow nothing for it.
    pub accuracy: Option<Pressure>,
}

/// The gauges of a circuit that read its trapped oil, in the order of its lines.
#[must_use]
pub fn trapped_gauges(inputs: &CircuitInputs, figures: &CircuitFigures) -> Vec<TrappedGauge> {
    let gauge = |(zone, joined): (Zone, JoinedLine)| TrappedGauge {
        line: joined.index,
        zone,
        accuracy: joined.component.full_scale.zip(joined.component.accuracy).map(|(scale, share)| scale * share),
    };
    trapped_lines(inputs, &figures.clamp)
        .filter(|(_, joined)| joined.component.provides(Kind::Gauge))
        .map(gauge)
        .collect()
}

/// Whether a test point shows the trapped oil.
#[must_use]
pub fn has_trapped_test_point(inputs: &CircuitInputs, figures: &CircuitFigures) -> bool {
    trapped_lines(inputs, &figures.clamp).any(|(_, joined)| joined.component.provides(Kind::TestPoint))
}

/// The trapped oil of a circuit as physics takes it, for who follows the calculation.
///
/// # Errors
/// What is missing, in words.
pub fn trapped_oil(inputs: &CircuitInputs, figures: &CircuitFigures) -> Result<TrappedCircuit, String> {
    let mut clamp = figures.clamp.clone();
    let sums = super::side::sums_of(inputs, &mut clamp);
    Ok(trapped(inputs, &clamp, sums.as_ref())?.circuit)
}

/// What a gauge may read at a temperature before a pallet leaves: lowest and highest.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct GaugeReading {
    /// `None` where unknown, or where no oil holds long enough. A lower bound where a part that could leak says
    /// nothing of it ([`Holding::hold_is_bound`]).
    pub lowest: Option<Pressure>,
    /// `None` where the weakest rating is unknown.
    pub highest: Option<Pressure>,
    /// What stands there once the circuit has settled, charged as stated.
    pub settled: Option<Pressure>,
}

/// The readings of a gauge over temperatures, of a circuit that holds trapped oil; nothing where that is unknown.
///
/// * `figures` – of the same circuit
/// * `zone` – that of the gauge
/// * `accuracy` – accuracy × full_scale of the gauge
#[must_use]
pub fn gauge_readings(
    inputs: &CircuitInputs,
    figures: &CircuitFigures,
    zone: Zone,
    accuracy: Pressure,
    temperatures: &[Temperature],
) -> Option<Vec<GaugeReading>> {
    let service = inputs.service;
    // A hottest state that is milder than the true one would flatter both readings, a coldest one the lower.
    if inputs.charging == Charging::Live || service.is_unreadable("temp_max") {
        return None;
    }
    let mut clamp = figures.clamp.clone();
    let sums = super::side::sums_of(inputs, &mut clamp)?;
    let trapped = trapped(inputs, &clamp, Some(&sums)).ok()?;
    if trapped.relief_is_open || trapped.leak_lacks_rating.is_some() {
        return None;
    }
    let range = trapped.circuit.over(service.temp_min, service.temp_max);
    let asked = service.pressure_min.filter(|_| !service.is_unreadable("temp_min"));
    let oil = asked.and_then(|lowest| range.leak().lowest_oil(service.hold_time, lowest));
    let rating = clamp.zone(zone).weakest.map(|rating| rating.pressure);
    let of_gauge = if zone == Zone::Reduced { TrappedZone::Reduced } else { TrappedZone::Full };
    let settled = |temperature: Temperature| {
        let state = range.settled_pressure_at(temperature);
        if zone == Zone::Reduced { state.clamps } else { state.full }
    };
    let reading = |temperature: &Temperature| GaugeReading {
        settled: Some(settled(*temperature)),
        lowest: oil.map(|oil| range.lowest_reading(oil, *temperature, of_gauge, accuracy)),
        highest: rating.map(|rating| range.highest_reading(rating, *temperature, of_gauge, accuracy)),
    };
    Some(temperatures.iter().map(reading).collect())
}

/// Pressure of the uncoupled circuit at a temperature, with nothing leaked: what a gauge must
/// read. `None` where it is unknown.
#[must_use]
pub fn pressure_at(inputs: &CircuitInputs, figures: &CircuitFigures, temperature: Temperature) -> Option<Pressure> {
    let mut clamp = figures.clamp.clone();
    let sums = super::side::sums_of(inputs, &mut clamp)?;
    let trapped = trapped(inputs, &clamp, Some(&sums)).ok()?;
    let range = trapped.circuit.over(inputs.service.temp_min, inputs.service.temp_max);
    Some(range.pressure_at(temperature).clamps)
}
