//! The holding pressure just above the pressure where an accumulator runs empty, where the fall
//! bends most.

use clampbook::physics::accumulator::Accumulator;
use clampbook::physics::leak::LeakDown;
use clampbook::physics::nitrogen::GasModel;
use clampbook::physics::quantity::{Compliance, Conductance, Pressure, Temperature, Time, Volume};
use clampbook::physics::trapped::{Oil, TrappedOil};

/// A stiff circuit, 672.6 bar at 25.3 °C, with an accumulator of 116 cm³ charged to 113.4 bar.
fn circuit() -> TrappedOil {
    let accumulator = Accumulator {
        gas_volume: Volume::new(1.163_072_120_062_878_6e-4),
        precharge: Pressure::new(11_342_859.453_711),
    };
    TrappedOil {
        volume: Volume::new(1.367_857_747_266_425_3e-3),
        elasticity: Compliance::ZERO,
        accumulators: vec![accumulator],
        oil: Oil { bulk_modulus: Pressure::new(1_798_318_811.036_74), thermal_expansion: 3e-4, free_air: 0.0 },
        metal_expansion: 5e-6,
        gas: GasModel::Real,
        charge_pressure: Pressure::new(67_261_915.303_273),
        charge_temperature: Temperature::new(298.446_107_995_906_8),
    }
}

/// Integrated with adaptive quadrature (QUADPACK by SciPy 1) and densities of CoolProp 8.0.0: with
/// G = 1e-12 m³/(s Pa) the pressure is down to 11 981 143.56 Pa after 5.339 569 07 s.
#[test]
fn the_pressure_after_a_time_is_that_of_another_integration() {
    let circuit = circuit();
    let state = circuit.at(circuit.charge_temperature);
    let fall = LeakDown::new(&state, circuit.charge_pressure, Conductance::new(1e-12));
    let held = fall.holding_pressure(Time::new(5.339_569_07)).si();
    assert!((held / 11_981_143.56 - 1.0).abs() < 1e-7, "{held}");
}

#[test]
fn every_pressure_on_the_way_is_found_again_from_its_time() {
    let circuit = circuit();
    let state = circuit.at(circuit.charge_temperature);
    let fall = LeakDown::new(&state, circuit.charge_pressure, Conductance::new(1e-12));
    for step in 0..2_000 {
        let wanted = circuit.charge_pressure * (0.1 + 0.0004 * f64::from(step));
        let time = fall.hold_reserve(wanted).time().unwrap_or(Time::ZERO);
        let back = fall.holding_pressure(time);
        assert!((back / wanted - 1.0).abs() < 1e-9, "{back:?} {wanted:?}");
    }
}
