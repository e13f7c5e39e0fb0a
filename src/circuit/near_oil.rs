//! Trapped oil close to a state that was worked out: where only sums over lines, or the pressure that is charged, have
//! moved a little, its figures are interpolated between three points of each instead of being worked out again.

use std::cell::OnceCell;

use crate::physics::quantity::{Compliance, Conductance, Expansivity, Pressure, Temperature, Time, Volume};
use crate::physics::trapped_circuit::{KnownNear, TrappedCircuit, ZonePressures};
use crate::physics::zone::Zone;
use crate::tables::circuit::Service;

/// What rules and other figures take from the trapped oil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct OilFigures {
    pub(super) settled: Pressure,
    pub(super) hot: ZonePressures,
    pub(super) cold: ZonePressures,
    /// `None` where it is unknown.
    pub(super) hold: Option<ZonePressures>,
    /// What relief valves let out.
    pub(super) vented: Volume,
}

/// Numbers of [`OilFigures`].
const FIGURES: usize = 8;
/// Sums of a trapped circuit that may move: four of each zone, the closing volume and the pressure charged.
const SUMS: usize = 10;
/// Places among the sums.
const CLOSING: usize = 8;
const CHARGED: usize = 9;
/// How far each sum is moved to find the parabola of a figure, as a share of it: volume, elasticity, grip and
/// conductance of both zones, closing volume, pressure charged.
const STEPS: [f64; SUMS] = [0.01, 0.05, 0.1, 0.25, 0.01, 0.05, 0.1, 0.25, 0.3, 0.03];
/// Steps up to which the parabola is trusted.
const TRUSTED: f64 = 1.5;
/// Of the change over a step: what bends more has a kink, or is no parabola.
const BENDS: f64 = 0.1;

/// A figure over one sum: its changes to first and second order over a step.
type Parabolas = [(f64, f64); FIGURES];

/// Where a circuit's oil was worked out, and what is around.
#[derive(Debug)]
pub(super) struct NearOil {
    circuit: TrappedCircuit,
    span: Span,
    sums: [f64; SUMS],
    here: OnceCell<[f64; FIGURES]>,
    /// By sum; `None` where no parabola can be trusted.
    parabolas: [OnceCell<Option<Parabolas>>; SUMS],
}

/// What of a circuit's row the oil hangs on besides.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Span {
    lowest: Option<Temperature>,
    highest: Option<Temperature>,
    hold: Option<Time>,
}

impl Span {
    const fn of(service: &Service) -> Self {
        Self { lowest: service.temp_min, highest: service.temp_max, hold: service.hold_time }
    }
}

impl NearOil {
    /// Around a circuit as it stands.
    pub(super) fn of(circuit: TrappedCircuit, service: &Service) -> Self {
        let sums = sums_of(&circuit);
        Self { circuit, span: Span::of(service), sums, here: OnceCell::new(), parabolas: Default::default() }
    }

    /// The figures of a circuit of which only sums differ a little; `None` where they must be worked out.
    pub(super) fn figures(&self, circuit: &TrappedCircuit, service: &Service) -> Option<OilFigures> {
        if Span::of(service) != self.span || !is_alike(circuit, &self.circuit) {
            return None;
        }
        let mut numbers = *self.here.get_or_init(|| worked(&self.circuit, self.span, KnownNear::default()));
        for (sum, (now, then)) in sums_of(circuit).into_iter().zip(self.sums).enumerate() {
            if now.total_cmp(&then).is_eq() {
                continue;
            }
            let steps = (now - then) / (STEPS[sum] * then);
            // Where the sum was 0, or where it is none, there is no parabola.
            if steps.is_nan() || steps.abs() > TRUSTED {
                return None;
            }
            let parabolas = self.parabolas[sum].get_or_init(|| self.parabolas_over(sum)).as_ref()?;
            for (number, (first, second)) in numbers.iter_mut().zip(parabolas) {
                *number += steps * (first + steps * second);
            }
        }
        Some(figures_of(numbers))
    }

    fn parabolas_over(&self, sum: usize) -> Option<Parabolas> {
        let here = self.here.get_or_init(|| worked(&self.circuit, self.span, KnownNear::default()));
        let figures = figures_of(*here);
        let near = KnownNear {
            settled: Some(figures.settled),
            hot: Some(figures.hot.full),
            cold: Some(figures.cold.full),
            held: figures.hold.map(|hold| hold.full),
        };
        let at = |steps: f64| {
            let value = self.sums[sum] * (1.0 + steps * STEPS[sum]);
            worked(&with_sum(&self.circuit, sum, value), self.span, near)
        };
        let (above, below) = (at(1.0), at(-1.0));
        let mut parabolas = [(0.0, 0.0); FIGURES];
        for (figure, parabola) in parabolas.iter_mut().enumerate() {
            let (value, above, below) = (here[figure], above[figure], below[figure]);
            if value.is_nan() && above.is_nan() && below.is_nan() {
                continue;
            }
            let (first, second) = (0.5 * (above - below), 0.5 * (above + below) - value);
            let is_smooth = second.abs() <= BENDS * first.abs() + 1e-6 * value.abs();
            if !is_smooth {
                return None;
            }
            *parabola = (first, second);
        }
        Some(parabolas)
    }
}

/// The figures of a circuit in full; no number where one is unknown.
fn worked(circuit: &TrappedCircuit, span: Span, near: KnownNear) -> [f64; FIGURES] {
    let range = circuit.over_near(span.lowest, span.highest, near);
    let (hot, cold) = (range.hot_pressure(), range.cold_pressure());
    let hold = range.leak().holding_pressure(span.hold);
    let of_hold = |which: fn(ZonePressures) -> Pressure| hold.map_or(f64::NAN, |hold| which(hold).si());
    [
        range.settled_pressure().clamps.si(),
        hot.full.si(),
        hot.clamps.si(),
        cold.full.si(),
        cold.clamps.si(),
        of_hold(|hold| hold.full),
        of_hold(|hold| hold.clamps),
        range.vented_oil().si(),
    ]
}

fn figures_of(numbers: [f64; FIGURES]) -> OilFigures {
    let [settled, hot_full, hot, cold_full, cold, hold_full, hold, vented] = numbers;
    let pressures = |full: f64, clamps: f64| ZonePressures {
        full: Pressure::new(full.max(0.0)),
        clamps: Pressure::new(clamps.max(0.0)),
    };
    OilFigures {
        settled: Pressure::new(settled.max(0.0)),
        hot: pressures(hot_full, hot),
        cold: pressures(cold_full, cold),
        hold: (!hold.is_nan()).then(|| pressures(hold_full, hold)),
        vented: Volume::new(vented.max(0.0)),
    }
}

fn sums_of(circuit: &TrappedCircuit) -> [f64; SUMS] {
    let of = |zone: &Zone| [zone.volume.si(), zone.elasticity.si(), zone.grip.si(), zone.conductance.si()];
    let full = of(&circuit.full);
    let reduced = circuit.reduced.as_ref().map_or([0.0; 4], |reduced| of(&reduced.zone));
    let mut sums = [0.0; SUMS];
    sums[..4].copy_from_slice(&full);
    sums[4..CLOSING].copy_from_slice(&reduced);
    sums[CLOSING] = circuit.closing_volume.si();
    sums[CHARGED] = circuit.full_pressure.si();
    sums
}

fn with_sum(circuit: &TrappedCircuit, sum: usize, value: f64) -> TrappedCircuit {
    let mut circuit = circuit.clone();
    match sum {
        CLOSING => circuit.closing_volume = Volume::new(value),
        CHARGED => circuit.full_pressure = Pressure::new(value),
        0..4 => put(&mut circuit.full, sum, value),
        _ => {
            if let Some(reduced) = &mut circuit.reduced {
                put(&mut reduced.zone, sum - 4, value);
            }
        }
    }
    circuit
}

fn put(zone: &mut Zone, sum: usize, value: f64) {
    match sum {
        0 => zone.volume = Volume::new(value),
        1 => zone.elasticity = Compliance::new(value),
        2 => zone.grip = Expansivity::new(value),
        _ => zone.conductance = Conductance::new(value),
    }
}

/// Whether two circuits differ in sums alone.
fn is_alike(one: &TrappedCircuit, other: &TrappedCircuit) -> bool {
    let TrappedCircuit {
        full,
        reduced,
        oil,
        metal_expansion,
        gas,
        full_pressure,
        charge_temperature,
        closing_volume: _,
        dwell,
        dwell_settled,
        relief_reseat,
    } = one;
    let zones = |one: &Zone, other: &Zone| {
        let Zone { volume: _, elasticity: _, accumulators, relief, grip: _, conductance: _ } = one;
        *accumulators == other.accumulators && *relief == other.relief
    };
    let behind = match (reduced, &other.reduced) {
        (None, None) => true,
        // What is charged behind the valve may be its setting or not.
        (Some(one), Some(other_zone)) => {
            one.setting == other_zone.setting
                && zones(&one.zone, &other_zone.zone)
                && *full_pressure == other.full_pressure
        }
        _ => false,
    };
    behind
        && zones(full, &other.full)
        && *oil == other.oil
        && metal_expansion.total_cmp(&other.metal_expansion).is_eq()
        && *gas == other.gas
        && *charge_temperature == other.charge_temperature
        && *dwell == other.dwell
        && *dwell_settled == other.dwell_settled
        && relief_reseat.total_cmp(&other.relief_reseat).is_eq()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::physics::accumulator::Accumulator;
    use crate::physics::flow::ViscosityLine;
    use crate::physics::nitrogen::GasModel;
    use crate::physics::quantity::{Density, KinematicViscosity};
    use crate::physics::zone::{LeakViscosity, StiffOil};

    fn circuit() -> TrappedCircuit {
        let mm2_s = KinematicViscosity::from_mm2_per_s;
        let line = ViscosityLine::through_40_and_100(mm2_s(32.0), mm2_s(5.36));
        TrappedCircuit {
            full: Zone {
                volume: Volume::from_cm3(400.0),
                elasticity: Compliance::new(4e-13),
                accumulators: vec![Accumulator {
                    gas_volume: Volume::from_cm3(75.0),
                    precharge: Pressure::from_bar(90.0),
                }],
                conductance: Conductance::new(2e-17),
                ..Zone::default()
            },
            reduced: None,
            oil: StiffOil {
                bulk_modulus: Pressure::from_gpa(1.75),
                free_air: 0.0,
                thermal_expansion: 7e-4,
                density: Density::new(870.0),
                specific_heat: 1900.0,
                leak_viscosity: Some(LeakViscosity::new(line, KinematicViscosity::ZERO)),
            },
            metal_expansion: 11.7e-6,
            gas: GasModel::Real,
            full_pressure: Pressure::from_bar(200.0),
            charge_temperature: Temperature::from_celsius(20.0),
            closing_volume: Volume::from_cm3(0.5),
            dwell: Time::ZERO,
            dwell_settled: Time::new(30.0),
            relief_reseat: 0.9,
        }
    }

    fn service() -> Service {
        Service {
            temp_min: Some(Temperature::from_celsius(12.0)),
            temp_max: Some(Temperature::from_celsius(38.0)),
            hold_time: Some(Time::from_hours(4.0)),
            ..Service::default()
        }
    }

    /// What is interpolated is what is worked out, to a hundredth of the change at the ends of what is trusted.
    #[test]
    fn what_is_interpolated_is_what_is_worked_out() {
        let (circuit, service) = (circuit(), service());
        let near = NearOil::of(circuit.clone(), &service);
        let here = worked(&circuit, Span::of(&service), KnownNear::default());
        let mut looked = 0;
        for sum in [0, 1, 3, CLOSING, CHARGED] {
            for steps in [-1.4, -0.3, 0.1, 0.7, 1.4] {
                let moved = with_sum(&circuit, sum, near.sums[sum] * (1.0 + steps * STEPS[sum]));
                let exact = worked(&moved, Span::of(&service), KnownNear::default());
                let found = near.figures(&moved, &service).unwrap();
                let found = [found.settled, found.hot.clamps, found.cold.clamps, found.hold.unwrap().clamps];
                for (place, found) in [0, 2, 4, 6].into_iter().zip(found) {
                    looked += 1;
                    let change = (exact[place] - here[place]).abs();
                    let off = (found.si() - exact[place]).abs();
                    assert!(off <= 1e-2 * change + 1e-9 * exact[place], "{sum} {steps} {place}: {off} of {change}");
                }
            }
        }
        assert!(looked == 100);
    }

    /// Beyond what is trusted, in other data or across the bend of a relief valve that opens nothing is interpolated.
    #[test]
    fn nothing_is_interpolated_where_it_may_not_be() {
        let (circuit, service) = (circuit(), service());
        let near = NearOil::of(circuit.clone(), &service);
        assert!(near.figures(&with_sum(&circuit, 0, near.sums[0] * 1.02), &service).is_none());
        let mut other = circuit.clone();
        other.oil.bulk_modulus = Pressure::from_gpa(1.7);
        assert!(near.figures(&other, &service).is_none());
        let colder = Service { temp_min: Some(Temperature::from_celsius(11.0)), ..service.clone() };
        assert!(near.figures(&circuit, &colder).is_none());
        let mut opening = circuit.clone();
        opening.full.relief = Some(Pressure::new(worked(&circuit, Span::of(&service), KnownNear::default())[2]));
        let near = NearOil::of(opening.clone(), &service);
        let charged_higher = with_sum(&opening, CHARGED, near.sums[CHARGED] * 1.01);
        assert!(near.figures(&charged_higher, &service).is_none());
    }
}
