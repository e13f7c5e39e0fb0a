//! The holding pressure just above the pressure where an accumulator runs empty, where the fall
//! bends most.
#![allow(clippy::unwrap_used)]

use clampbook::physics::accumulator::Accumulator;
use clampbook::physics::nitrogen::GasModel;
use clampbook::physics::quantity::{Compliance, Conductance, Density, Pressure, Temperature, Time, Volume};
use clampbook::physics::trapped_circuit::TrappedCircuit;
use clampbook::physics::zone::{StiffOil, Zone};

/// A stiff circuit, 672.6 bar at 25.3 °C, with an accumulator of 116 cm³ charged to 113.4 bar,
/// that leaks 1e-12 m³/(s Pa).
fn circuit() -> TrappedCircuit {
    let accumulator = Accumulator {
        gas_volume: Volume::new(1.163_072_120_062_878_6e-4),
        precharge: Pressure::new(11_342_859.453_711),
    };
    TrappedCircuit {
        full: Zone {
            volume: Volume::new(1.367_857_747_266_425_3e-3),
            elasticity: Compliance::ZERO,
            accumulators: vec![accumulator],
            conductance: Conductance::new(1e-12),
            ..Zone::default()
        },
        reduced: None,
        oil: StiffOil {
            bulk_modulus: Pressure::new(1_798_318_811.036_74),
            free_air: 0.0,
            thermal_expansion: 3e-4,
            density: Density::new(870.0),
            specific_heat: 1900.0,
            leak_viscosity: None,
        },
        metal_expansion: 5e-6,
        gas: GasModel::Real,
        full_pressure: Pressure::new(67_261_915.303_273),
        charge_temperature: Temperature::new(298.446_107_995_906_8),
        closing_volume: Volume::ZERO,
        dwell: Time::ZERO,
        dwell_settled: Time::ZERO,
        relief_reseat: 1.0,
    }
}

/// Integrated with adaptive quadrature (QUADPACK by SciPy 1) and densities of CoolProp 8.0.0: with
/// G = 1e-12 m³/(s Pa) the pressure is down to 11 981 143.56 Pa after 5.339 569 07 s.
#[test]
fn the_pressure_after_a_time_is_that_of_another_integration() {
    let circuit = circuit();
    let range = circuit.over(None, None);
    let held = range.leak().holding_pressure(Some(Time::new(5.339_569_07))).unwrap().clamps.si();
    assert!((held / 11_981_143.56 - 1.0).abs() < 1e-7, "{held}");
}

#[test]
fn every_pressure_on_the_way_is_found_again_from_its_time() {
    let circuit = circuit();
    let range = circuit.over(None, None);
    let leak = range.leak();
    for step in 0..2_000 {
        let wanted = circuit.full_pressure * (0.1 + 0.0004 * f64::from(step));
        let time = leak.hold_reserve(wanted).time().unwrap();
        let back = leak.holding_pressure(Some(time)).unwrap().clamps;
        assert!((back / wanted - 1.0).abs() < 1e-9, "{back:?} {wanted:?}");
    }
}
