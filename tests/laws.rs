//! Laws that hold whatever the numbers: order, direction, limits, there and back.
#![allow(clippy::unwrap_used)]

use clampbook::physics::accumulator::{Accumulator, accumulator_oil};
use clampbook::physics::air::free_air_loss;
use clampbook::physics::compression::{compression_of_chamber, compression_of_filling};
use clampbook::physics::dilation::{clamp_compliance, hose_compliance, tube_compliance};
use clampbook::physics::flow::ViscosityLine;
use clampbook::physics::leak::{GONE, HoldReserve, LeakDown};
use clampbook::physics::nitrogen::{GasModel, Isotherm};
use clampbook::physics::quantity::{
    ATMOSPHERE, Area, Compliance, Conductance, Expansion, KinematicViscosity, Length, Pressure, Stiffness, Temperature,
    Time, Volume,
};
use clampbook::physics::trapped::{Oil, TrappedOil};
use clampbook::physics::tube_rating::tube_rating;
use clampbook::physics::volume::swept_volume;
use proptest::prelude::*;

fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value)
}

fn bar(value: f64) -> Pressure {
    Pressure::from_bar(value)
}

prop_compose! {
    fn accumulator()(cm3 in 1.0..500.0_f64, precharge in 0.0..400.0_f64) -> Accumulator {
        Accumulator { gas_volume: Volume::from_cm3(cm3), precharge: bar(precharge) }
    }
}

prop_compose! {
    /// Circuits whose oil expands more than their metal.
    fn circuit()(
        cm3 in 5.0..5000.0_f64,
        per_volume in 0.0..5e-9_f64,
        accumulators in prop::collection::vec(accumulator(), 0..3),
        gpa in 0.8..3.5_f64,
        thermal in 3e-4..1e-3_f64,
        free_air in 0.0..0.05_f64,
        metal in 5e-6..25e-6_f64,
        charge in 1.0..700.0_f64,
        warm in 10.0..35.0_f64,
        real in any::<bool>(),
    ) -> TrappedOil {
        let volume = Volume::from_cm3(cm3);
        TrappedOil {
            volume,
            elasticity: Compliance::new(volume.si() * per_volume),
            accumulators,
            oil: Oil {
                bulk_modulus: Pressure::from_gpa(gpa), thermal_expansion: thermal, free_air,
            },
            metal_expansion: metal,
            gas: if real { GasModel::Real } else { GasModel::Ideal },
            charge_pressure: bar(charge),
            charge_temperature: celsius(warm),
        }
    }
}

/// A leak that empties a circuit of a kilobar in between a minute and a century.
fn conductance() -> impl Strategy<Value = Conductance> {
    (-20.0..-12.0_f64).prop_map(|power| Conductance::new(10_f64.powf(power)))
}

proptest! {
    #[test]
    fn hot_charge_cold_and_held_pressure_come_in_this_order(
        circuit in circuit(), up in 0.0..60.0_f64, down in 0.0..60.0_f64,
        leak in conductance(), hours in 0.0..100.0_f64,
    ) {
        let charge = circuit.charge_pressure;
        let slack = charge.si() * 1e-12 + 1e-6;
        let cold_at = circuit.charge_temperature - Temperature::new(down);
        let hot = circuit.hot_pressure(circuit.charge_temperature + Temperature::new(up), None);
        let cold = circuit.cold_pressure(Some(cold_at), None, None);
        let state = circuit.at(cold_at);
        let held = LeakDown::new(&state, cold, leak).holding_pressure(Time::from_hours(hours));
        prop_assert!(hot.si() + slack >= charge.si(), "{hot:?} {charge:?}");
        prop_assert!(charge.si() + slack >= cold.si(), "{charge:?} {cold:?}");
        prop_assert!(cold.si() * (1.0 + 1e-12) >= held.si(), "{cold:?} {held:?}");
        prop_assert!(held >= Pressure::ZERO);
    }

    #[test]
    fn pressure_returns_to_charge_at_the_charge_temperature(circuit in circuit()) {
        let back = circuit.hot_pressure(circuit.charge_temperature, None);
        prop_assert_eq!(back, circuit.charge_pressure);
        prop_assert_eq!(circuit.cold_pressure(None, None, None), circuit.charge_pressure);
    }

    #[test]
    fn the_pressure_found_holds_the_oil_trapped(circuit in circuit(), change in -60.0..60.0_f64) {
        let state = circuit.at(circuit.charge_temperature + Temperature::new(change));
        let held = circuit.charged();
        let pressure = state.pressure_for(held);
        if pressure > Pressure::ZERO {
            let off = state.referred_oil(pressure) / held - 1.0;
            prop_assert!(off.abs() < 1e-12, "{off}");
        } else {
            prop_assert!(state.referred_oil(Pressure::ZERO) >= held);
        }
        let half = held * 0.5;
        let lower = state.pressure_for(half);
        if lower > Pressure::ZERO {
            prop_assert!((state.referred_oil(lower) / half - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn more_pressure_holds_more_oil(
        circuit in circuit(), change in -60.0..60.0_f64,
        low in 0.0..700.0_f64, more in 0.01..300.0_f64,
    ) {
        let state = circuit.at(circuit.charge_temperature + Temperature::new(change));
        prop_assert!(state.referred_oil(bar(low + more)) > state.referred_oil(bar(low)));
        prop_assert!(state.oil_per_pressure(bar(low)) > Compliance::ZERO);
    }

    #[test]
    fn the_slope_is_that_of_the_oil(circuit in circuit(), p in 1.0..700.0_f64) {
        let state = circuit.at(circuit.charge_temperature);
        let step = p * 1e-4;
        let kink = state.empty_pressures().any(|empty| (empty.bar() - p).abs() < 2.0 * step);
        prop_assume!(!kink);
        let rise = state.referred_oil(bar(p + step)) - state.referred_oil(bar(p - step));
        let slope = rise / bar(2.0 * step);
        prop_assert!((slope / state.oil_per_pressure(bar(p)) - 1.0).abs() < 1e-4);
    }

    #[test]
    fn a_relief_valve_caps_the_heat_and_costs_pressure_in_the_cold(
        circuit in circuit(), up in 0.0..60.0_f64, down in 0.0..60.0_f64, above in 0.5..1.5_f64,
    ) {
        let highest = circuit.charge_temperature + Temperature::new(up);
        let lowest = Some(circuit.charge_temperature - Temperature::new(down));
        let relief = Some(circuit.charge_pressure * above);
        prop_assert!(Some(circuit.hot_pressure(highest, relief)) <= relief);
        let with = circuit.cold_pressure(lowest, Some(highest), relief);
        let without = circuit.cold_pressure(lowest, Some(highest), None);
        prop_assert!(with.si() <= without.si() * (1.0 + 1e-12) + 1e-6, "{with:?} {without:?}");
    }

    #[test]
    fn an_accumulator_never_lowers_the_holding_pressure_without_a_change_of_temperature(
        circuit in circuit(), added in accumulator(), leak in conductance(),
        hours in 0.0..100.0_f64,
    ) {
        let mut larger = circuit.clone();
        larger.accumulators.push(added);
        let held = |circuit: &TrappedOil| {
            let state = circuit.at(circuit.charge_temperature);
            LeakDown::new(&state, circuit.charge_pressure, leak)
                .holding_pressure(Time::from_hours(hours))
        };
        let (with, without) = (held(&larger), held(&circuit));
        prop_assert!(with.si() >= without.si() * (1.0 - 1e-9), "{with:?} {without:?}");
    }

    /// Oil and gas of an accumulator cool too. Alone they would fall to some pressure; a circuit
    /// that takes the accumulator ends between that and where it ended before. So the exact
    /// condition is that the accumulator alone would hold at least the circuit's cold pressure.
    #[test]
    fn an_accumulator_that_alone_keeps_more_never_lowers_cold_or_holding_pressure(
        circuit in circuit(), added in accumulator(), down in 0.0..60.0_f64,
        leak in conductance(), hours in 0.0..100.0_f64,
    ) {
        let lowest = Some(circuit.charge_temperature - Temperature::new(down));
        let alone = TrappedOil {
            volume: Volume::ZERO,
            elasticity: Compliance::ZERO,
            accumulators: vec![added],
            ..circuit.clone()
        };
        let mut larger = circuit.clone();
        larger.accumulators.push(added);
        let cold = |circuit: &TrappedOil| circuit.cold_pressure(lowest, None, None);
        let (own, without, with) = (cold(&alone), cold(&circuit), cold(&larger));
        let slack = circuit.charge_pressure.si() * 1e-9 + 1e-3;
        prop_assert!(with.si() >= own.min(without).si() - slack);
        prop_assert!(with.si() <= own.max(without).si() + slack);
        if own < without {
            return Ok(());
        }
        let held = |circuit: &TrappedOil| {
            let state = circuit.at(circuit.cold_temperature(lowest));
            LeakDown::new(&state, cold(circuit), leak).holding_pressure(Time::from_hours(hours))
        };
        prop_assert!(held(&larger).si() >= held(&circuit).si() * (1.0 - 1e-9) - slack);
    }

    #[test]
    fn holding_pressure_and_hold_reserve_lead_back_to_each_other(
        circuit in circuit(), leak in conductance(), part in 0.001..0.999_f64,
    ) {
        let state = circuit.at(circuit.charge_temperature);
        let fall = LeakDown::new(&state, circuit.charge_pressure, leak);
        let wanted = circuit.charge_pressure * part;
        let reserve = fall.hold_reserve(wanted).time().unwrap();
        let back = fall.holding_pressure(reserve);
        prop_assert!((back / wanted - 1.0).abs() < 1e-9, "{back:?} {wanted:?}");
    }

    #[test]
    fn hold_reserve_falls_with_leak_and_with_the_pressure_asked_for(
        circuit in circuit(), leak in conductance(), more in 1.01..10.0_f64,
        part in 0.01..0.9_f64,
    ) {
        let state = circuit.at(circuit.charge_temperature);
        let start = circuit.charge_pressure;
        let reserve = |leak, wanted| {
            LeakDown::new(&state, start, leak).hold_reserve(wanted).time().unwrap()
        };
        prop_assert!(reserve(leak * more, start * part) < reserve(leak, start * part));
        prop_assert!(reserve(leak, start * (part * 1.1)) < reserve(leak, start * part));
        prop_assert_eq!(reserve(leak, start), Time::ZERO);
        prop_assert_eq!(reserve(leak, start * 1.1), Time::ZERO);
    }

    #[test]
    fn demand_grows_with_pressure(p in 0.0..700.0_f64, more in 0.1..100.0_f64, gpa in 0.8..3.5_f64) {
        let (v, k) = (Volume::from_cm3(1000.0), Pressure::from_gpa(gpa));
        let bottle = Accumulator { gas_volume: v, precharge: bar(50.0) };
        for part in [
            |v, p, k, _| compression_of_filling(v, p, k),
            |v, p, k, _| compression_of_chamber(v, p, k),
            |v, p, _, _| free_air_loss(0.005, v, p),
            |_, p, _, bottle| accumulator_oil(bottle, p, celsius(20.0), GasModel::Real),
        ] as [fn(Volume, Pressure, Pressure, Accumulator) -> Volume; 4] {
            prop_assert!(part(v, bar(p + more), k, bottle) >= part(v, bar(p), k, bottle));
            prop_assert_eq!(part(v, Pressure::ZERO, k, bottle), Volume::ZERO);
        }
    }

    #[test]
    fn small_pressures_compress_by_the_shop_rule(p in 0.001..1.0_f64, gpa in 0.8..3.5_f64) {
        let (v, p, k) = (Volume::from_cm3(1000.0), bar(p), Pressure::from_gpa(gpa));
        let shop = v * (p / k);
        let (less, more) = (compression_of_filling(v, p, k), compression_of_chamber(v, p, k));
        prop_assert!(less < shop && shop < more);
        prop_assert!((less / shop - 1.0).abs() < 1e-4 && (more / shop - 1.0).abs() < 1e-4);
    }

    #[test]
    fn thin_nitrogen_is_ideal(p in 1e-4..0.05_f64, t in -20.0..80.0_f64) {
        let [real, ideal] = [GasModel::Real, GasModel::Ideal]
            .map(|model| Isotherm::new(model, celsius(t)).density(bar(p)));
        prop_assert!((real / ideal - 1.0).abs() < 1e-4);
    }

    #[test]
    fn nitrogen_is_denser_under_more_pressure_and_in_the_cold(
        p in 0.1..2000.0_f64, more in 1.001..2.0_f64, t in -60.0..150.0_f64,
    ) {
        let density = |p, t| Isotherm::new(GasModel::Real, celsius(t)).density(bar(p));
        prop_assert!(density(p * more, t) > density(p, t));
        prop_assert!(density(p, t - 1.0) > density(p, t));
    }

    #[test]
    fn a_thicker_wall_holds_more_and_gives_less(
        bore in 1.0..50.0_f64, wall in 0.1..20.0_f64, more in 1.01..3.0_f64,
    ) {
        let outside = |factor: f64| Length::from_mm(bore + 2.0 * wall * factor);
        let inner = Length::from_mm(bore);
        let rating = |factor| tube_rating(inner, outside(factor), Pressure::from_gpa(0.4), 4.0);
        prop_assert!(rating(more) > rating(1.0));
        let give = |factor| {
            tube_compliance(inner, outside(factor), Length::new(1.0), Pressure::from_gpa(205.0), 0.3)
        };
        prop_assert!(give(more) < give(1.0));
    }

    #[test]
    fn warm_oil_is_thinner(nu in 10.0..500.0_f64, part in 0.05..0.5_f64, t in -20.0..120.0_f64) {
        let at_100 = (nu * part).max(2.0);
        let mm2_s = KinematicViscosity::from_mm2_per_s;
        let line = ViscosityLine::through_40_and_100(mm2_s(nu), mm2_s(at_100));
        prop_assert!(line.at(celsius(t + 1.0)) < line.at(celsius(t)));
        prop_assert!((line.at(celsius(40.0)).mm2_per_s() / nu - 1.0).abs() < 1e-9);
        prop_assert!((line.at(celsius(100.0)).mm2_per_s() / at_100 - 1.0).abs() < 1e-9);
    }

    #[test]
    fn figures_are_finite_whatever_the_circuit(
        volume in extreme(), elasticity in extreme(), gas in extreme(), precharge in extreme(),
        charge in extreme(), leak in extreme(), kelvin in 1.0..5000.0_f64, model in any::<bool>(),
    ) {
        let circuit = TrappedOil {
            volume: Volume::new(volume * 1e-6),
            elasticity: Compliance::new(elasticity * 1e-14),
            accumulators: vec![Accumulator {
                gas_volume: Volume::new(gas * 1e-6), precharge: Pressure::new(precharge * 1e5),
            }],
            oil: Oil {
                bulk_modulus: Pressure::from_gpa(1.5), thermal_expansion: 7e-4, free_air: 0.005,
            },
            metal_expansion: 11.7e-6,
            gas: if model { GasModel::Real } else { GasModel::Ideal },
            charge_pressure: Pressure::new(charge * 1e5),
            charge_temperature: celsius(20.0),
        };
        let there = Temperature::new(kelvin);
        for p in [
            circuit.hot_pressure(there, None),
            circuit.cold_pressure(Some(there), Some(there), Some(bar(200.0))),
        ] {
            prop_assert!(p.is_finite() && p >= Pressure::ZERO, "{p:?} {circuit:?}");
        }
        let state = circuit.at(there);
        let start = circuit.cold_pressure(Some(there), None, None);
        let fall = LeakDown::new(&state, start, Conductance::new(leak * 1e-18));
        let held = fall.holding_pressure(Time::from_hours(8.0));
        prop_assert!(held.is_finite() && held >= Pressure::ZERO, "{held:?} {circuit:?}");
        if let HoldReserve::Ends(time) = fall.hold_reserve(bar(50.0)) {
            prop_assert!(time.is_finite() && time >= Time::ZERO, "{time:?} {circuit:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn what_leaked_is_what_is_missing(
        circuit in circuit(), leak in conductance(), part in 0.01..0.99_f64,
    ) {
        let state = circuit.at(circuit.charge_temperature);
        let fall = LeakDown::new(&state, circuit.charge_pressure, leak);
        let end = fall.hold_reserve(circuit.charge_pressure * part).time().unwrap();
        // The mean pressure of the fall times G t is the oil that left: Simpson on 2001 points,
        // since the curve has a bend where an accumulator runs empty.
        let curve = fall.curve(end, 2001);
        let (mut integral, step) = (0.0, end.si() / 2000.0);
        for three in curve.windows(3).step_by(2) {
            let [a, b, c] = [three[0].1.si(), three[1].1.si(), three[2].1.si()];
            integral += (a + 4.0 * b + c) * step / 3.0;
        }
        let left = integral * leak.si();
        let missing = circuit.charged() - state.referred_oil(circuit.charge_pressure * part);
        prop_assert!((left / missing.si() - 1.0).abs() < 5e-3, "{left} {missing:?}");
    }
}

/// Nothing, tiny, usual and absurdly large.
fn extreme() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), 1e-12..1e-6_f64, 0.1..1e3_f64, 1e3..1e6_f64]
}

fn soft() -> TrappedOil {
    let volume = Volume::from_cm3(200.0);
    TrappedOil {
        volume,
        elasticity: Compliance::new(volume.si() * 3e-8),
        accumulators: Vec::new(),
        oil: Oil { bulk_modulus: Pressure::from_gpa(1.5), thermal_expansion: 7e-4, free_air: 0.0 },
        metal_expansion: 11.7e-6,
        gas: GasModel::Real,
        charge_pressure: bar(350.0),
        charge_temperature: celsius(20.0),
    }
}

#[test]
fn an_accumulator_can_lower_the_cold_pressure_of_a_soft_circuit() {
    let mut with = soft();
    with.accumulators.push(Accumulator { gas_volume: Volume::from_cm3(100.0), precharge: bar(180.0) });
    let cold = |circuit: &TrappedOil| circuit.cold_pressure(Some(celsius(0.0)), None, None);
    assert!(cold(&with) < cold(&soft()));
}

/// Found by the law about relief valves: Newton's method swung between 264 and 490 bar.
#[test]
fn the_pressure_is_found_across_the_bend_of_an_empty_accumulator() {
    let circuit = TrappedOil {
        volume: Volume::from_cm3(64.314),
        elasticity: Compliance::new(3.0398e-13),
        accumulators: vec![Accumulator { gas_volume: Volume::from_cm3(97.11), precharge: bar(369.508) }],
        oil: Oil { bulk_modulus: Pressure::from_gpa(2.315), thermal_expansion: 4.674e-4, free_air: 0.032_03 },
        metal_expansion: 5e-6,
        gas: GasModel::Ideal,
        charge_pressure: bar(502.486),
        charge_temperature: celsius(14.719),
    };
    let state = circuit.at(celsius(-28.353));
    for part in [0.55, 0.6, 0.65, 0.7, 0.713_2, 0.72, 0.8, 1.0] {
        let wanted = circuit.charged() * part;
        let found = state.pressure_for(wanted);
        assert!(found > Pressure::ZERO);
        assert!((state.referred_oil(found) / wanted - 1.0).abs() < 1e-12, "{part}");
    }
}

#[test]
fn without_a_leak_pressure_stays_and_has_no_end() {
    let circuit = soft();
    let state = circuit.at(celsius(20.0));
    let fall = LeakDown::new(&state, bar(350.0), Conductance::ZERO);
    assert_eq!(fall.holding_pressure(Time::from_hours(1e6)), bar(350.0));
    assert_eq!(fall.hold_reserve(bar(300.0)), HoldReserve::Endless);
    assert_eq!(fall.hold_reserve(bar(351.0)), HoldReserve::Ends(Time::ZERO));
}

#[test]
fn below_1_pa_nothing_is_held() {
    let circuit = soft();
    let state = circuit.at(celsius(20.0));
    let leak = Conductance::new(1e-13);
    let fall = LeakDown::new(&state, bar(350.0), leak);
    let gone = fall.hold_reserve(Pressure::ZERO).time().unwrap();
    assert_eq!(gone, fall.hold_reserve(GONE).time().unwrap());
    assert!(fall.holding_pressure(gone * 0.999) >= GONE);
    assert_eq!(fall.holding_pressure(gone * 1.001), Pressure::ZERO);
    let slack = LeakDown::new(&state, GONE * 0.5, leak);
    assert_eq!(slack.holding_pressure(Time::ZERO), Pressure::ZERO);
}

#[test]
fn the_fall_bends_where_an_accumulator_runs_empty() {
    let mut circuit = soft();
    circuit.elasticity = Compliance::ZERO;
    circuit.accumulators.push(Accumulator { gas_volume: Volume::from_cm3(50.0), precharge: bar(180.0) });
    let state = circuit.at(celsius(20.0));
    let empty = state.empty_pressures().next().unwrap();
    assert!((empty.bar() - 180.0).abs() < 1e-9, "at 20 °C it is the precharge: {empty:?}");
    let above = state.oil_per_pressure(empty * 1.000_001);
    let below = state.oil_per_pressure(empty * 0.999_999);
    assert!(above / below > 10.0);
    let cold = circuit.at(celsius(0.0)).empty_pressures().next().unwrap();
    assert!(cold < empty);
}

#[test]
fn nothing_stated_means_rigid_and_unknown() {
    let one = Length::new(1.0);
    assert_eq!(hose_compliance(one, Expansion::new(1e-6), Pressure::ZERO), Compliance::ZERO);
    assert_eq!(clamp_compliance(Area::new(1e-4), Stiffness::ZERO), Compliance::ZERO);
    assert_eq!(swept_volume(None, Some(one), None, None), None);
    assert_eq!(swept_volume(None, Some(one), Some(Volume::new(1.0)), None), None);
    assert_eq!(ATMOSPHERE.gauge(), Pressure::ZERO);
}
