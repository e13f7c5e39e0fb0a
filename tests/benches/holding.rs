//! 100 000 circuits: cold, hot and holding pressure and hold reserve, with real nitrogen.
//! Beside it, in the same run, the same with an ideal gas and with no accumulator at all.
#![allow(clippy::unwrap_used)]

use clampbook::physics::accumulator::Accumulator;
use clampbook::physics::flow::ViscosityLine;
use clampbook::physics::nitrogen::{GasModel, Isotherm};
use clampbook::physics::quantity::{
    Compliance, Conductance, Density, KinematicViscosity, Pressure, Temperature, Time, Volume,
};
use clampbook::physics::trapped_circuit::TrappedCircuit;
use clampbook::physics::zone::{LeakViscosity, StiffOil, Zone};

const CIRCUITS: u32 = 100_000;

fn main() {
    divan::main();
}

/// Numbers between 0 and 1, the same in every run.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        f64::from(u32::try_from(self.0 >> 32).unwrap()) / f64::from(u32::MAX)
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }
}

fn circuits(gas: GasModel, accumulators: u32) -> Vec<TrappedCircuit> {
    let mm2_s = KinematicViscosity::from_mm2_per_s;
    let viscosity = ViscosityLine::through_40_and_100(mm2_s(32.0), mm2_s(5.36));
    let mut numbers = Numbers(1);
    (0..CIRCUITS)
        .map(|_| {
            let charge = numbers.between(100.0, 500.0);
            let volume = Volume::from_cm3(numbers.between(50.0, 1500.0));
            TrappedCircuit {
                full: Zone {
                    volume,
                    elasticity: Compliance::new(volume.si() * numbers.between(0.0, 5e-10)),
                    accumulators: (0..accumulators)
                        .map(|_| Accumulator {
                            gas_volume: Volume::from_cm3(numbers.between(5.0, 200.0)),
                            precharge: Pressure::from_bar(charge * numbers.between(0.2, 0.8)),
                        })
                        .collect(),
                    relief: Some(Pressure::from_bar(charge * 1.2)),
                    conductance: Conductance::new(2e-17),
                    ..Zone::default()
                },
                reduced: None,
                oil: StiffOil {
                    bulk_modulus: Pressure::from_gpa(1.5),
                    free_air: 0.005,
                    thermal_expansion: 7e-4,
                    density: Density::new(870.0),
                    specific_heat: 1900.0,
                    leak_viscosity: Some(LeakViscosity::new(viscosity, KinematicViscosity::ZERO)),
                },
                metal_expansion: 11.7e-6,
                gas,
                full_pressure: Pressure::from_bar(charge),
                charge_temperature: Temperature::from_celsius(20.0),
                closing_volume: Volume::ZERO,
                dwell: Time::ZERO,
                dwell_settled: Time::ZERO,
                relief_reseat: 0.9,
            }
        })
        .collect()
}

fn figures(circuit: &TrappedCircuit) -> f64 {
    let range = circuit.over(Some(Temperature::from_celsius(12.0)), Some(Temperature::from_celsius(35.0)));
    let leak = range.leak();
    let held = leak.holding_pressure(Some(Time::from_hours(8.0))).unwrap();
    let reserve = leak.hold_reserve(circuit.full_pressure * 0.5).time().unwrap();
    range.hot_pressure().clamps.si() + held.clamps.si() + reserve.si()
}

#[divan::bench(args = [(GasModel::Real, 1), (GasModel::Ideal, 1), (GasModel::Real, 2), (GasModel::Real, 0)],
    sample_count = 3, sample_size = 1)]
fn holding(bencher: divan::Bencher, (gas, accumulators): (GasModel, u32)) {
    let circuits = circuits(gas, accumulators);
    bencher
        .counter(divan::counter::ItemsCount::new(CIRCUITS))
        .bench_local(|| circuits.iter().map(figures).sum::<f64>());
}

/// The floor under all of it: as many single densities.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn densities(bencher: divan::Bencher) {
    let gas = Isotherm::new(GasModel::Real, Temperature::from_celsius(12.0));
    bencher.counter(divan::counter::ItemsCount::new(CIRCUITS)).bench_local(|| {
        (0..CIRCUITS).map(|step| gas.density(Pressure::from_bar(1.0 + f64::from(step) * 0.005)).si()).sum::<f64>()
    });
}
