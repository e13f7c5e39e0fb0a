//! Laws that hold whatever the numbers: order, direction, limits, there and back.
#![allow(clippy::unwrap_used)]

use clampbook::physics::accumulator::{Accumulator, accumulator_oil};
use clampbook::physics::air::free_air_loss;
use clampbook::physics::compression::{compression_of_chamber, compression_of_filling};
use clampbook::physics::dilation::{clamp_compliance, hose_compliance, tube_compliance};
use clampbook::physics::flow::ViscosityLine;
use clampbook::physics::force::Arm;
use clampbook::physics::leak::{GONE, HoldReserve};
use clampbook::physics::nitrogen::{GasModel, Isotherm};
use clampbook::physics::quantity::{
    ATMOSPHERE, Area, Compliance, Conductance, Density, Expansion, Force, KinematicViscosity, Length, Pressure,
    Stiffness, Temperature, Time, Volume,
};
use clampbook::physics::trapped_circuit::{Reduced, TrappedCircuit, TrappedZone};
use clampbook::physics::tube_rating::tube_rating;
use clampbook::physics::volume::swept_volume;
use clampbook::physics::zone::{StiffOil, Zone};
use proptest::prelude::*;

fn celsius(value: f64) -> Temperature {
    Temperature::from_celsius(value)
}

fn bar(value: f64) -> Pressure {
    Pressure::from_bar(value)
}

/// Oil without settling, and with leaks as stated.
fn oil(gpa: f64, thermal_expansion: f64, free_air: f64) -> StiffOil {
    StiffOil {
        bulk_modulus: Pressure::from_gpa(gpa),
        free_air,
        thermal_expansion,
        density: Density::new(870.0),
        specific_heat: 1900.0,
        leak_viscosity: None,
    }
}

/// One zone that was coupled for so long that its oil has settled, of 200 cm³ and rigid, at 350 bar and 20 °C.
fn rigid() -> TrappedCircuit {
    TrappedCircuit {
        full: Zone { volume: Volume::from_cm3(200.0), ..Zone::default() },
        reduced: None,
        oil: oil(1.5, 7e-4, 0.0),
        metal_expansion: 11.7e-6,
        gas: GasModel::Real,
        full_pressure: bar(350.0),
        charge_temperature: celsius(20.0),
        closing_volume: Volume::ZERO,
        dwell: Time::ZERO,
        dwell_settled: Time::ZERO,
        relief_reseat: 1.0,
    }
}

fn leaking(circuit: &TrappedCircuit, conductance: Conductance) -> TrappedCircuit {
    let mut leaking = circuit.clone();
    leaking.full.conductance = conductance;
    leaking
}

/// What was trapped.
fn charged(circuit: &TrappedCircuit) -> Volume {
    circuit.over(None, None).charged_oil().total()
}

/// The same circuit, settled, with just so much oil: the closing of its check valve costs what is too much.
fn holding_just(circuit: &TrappedCircuit, oil: Volume) -> TrappedCircuit {
    TrappedCircuit { closing_volume: charged(circuit) - oil, ..circuit.clone() }
}

fn cold(circuit: &TrappedCircuit, lowest: Temperature) -> Pressure {
    circuit.over(Some(lowest), None).cold_pressure().clamps
}

/// Held at the temperature of the charge.
fn held(circuit: &TrappedCircuit, time: Time) -> Pressure {
    circuit.over(None, None).leak().holding_pressure(Some(time)).unwrap().clamps
}

fn reserve(circuit: &TrappedCircuit, wanted: Pressure) -> Time {
    circuit.over(None, None).leak().hold_reserve(wanted).time().unwrap()
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
    ) -> TrappedCircuit {
        let volume = Volume::from_cm3(cm3);
        let elasticity = Compliance::new(volume.si() * per_volume);
        TrappedCircuit {
            full: Zone { volume, elasticity, accumulators, ..Zone::default() },
            oil: oil(gpa, thermal, free_air),
            metal_expansion: metal,
            gas: if real { GasModel::Real } else { GasModel::Ideal },
            full_pressure: bar(charge),
            charge_temperature: celsius(warm),
            ..rigid()
        }
    }
}

/// A volume, one time out of four nothing.
fn perhaps() -> impl Strategy<Value = Volume> {
    prop_oneof![1 => Just(Volume::ZERO), 3 => (1.0..2000.0_f64).prop_map(Volume::from_cm3)]
}

prop_compose! {
    /// Circuits with a reducing valve, whose zones may be without oil but for what accumulators hold.
    fn zoned()(
        mut circuit in circuit(),
        volumes in (perhaps(), perhaps()),
        accumulators in prop::collection::vec(accumulator(), 0..3),
        leaks in (conductance(), conductance()),
        part in 0.05..1.5_f64,
    ) -> TrappedCircuit {
        let per_volume = circuit.full.elasticity.si() / circuit.full.volume.si();
        circuit.full.volume = volumes.0;
        circuit.full.elasticity = Compliance::new(volumes.0.si() * per_volume);
        circuit.full.conductance = leaks.0;
        let zone = Zone {
            volume: volumes.1,
            elasticity: Compliance::new(volumes.1.si() * per_volume),
            accumulators,
            conductance: leaks.1,
            ..Zone::default()
        };
        circuit.reduced = Some(Reduced { zone, setting: circuit.full_pressure * part });
        circuit
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
        let circuit = leaking(&circuit, leak);
        let charge = circuit.full_pressure;
        let slack = charge.si() * 1e-12 + 1e-6;
        let at = circuit.charge_temperature;
        let range = circuit.over(Some(at - Temperature::new(down)), Some(at + Temperature::new(up)));
        let (hot, cold) = (range.hot_pressure().clamps, range.cold_pressure().clamps);
        let held = range.leak().holding_pressure(Some(Time::from_hours(hours))).unwrap().clamps;
        prop_assert!(hot.si() + slack >= charge.si(), "{hot:?} {charge:?}");
        prop_assert!(charge.si() + slack >= cold.si(), "{charge:?} {cold:?}");
        prop_assert!(cold.si() * (1.0 + 1e-12) >= held.si(), "{cold:?} {held:?}");
        prop_assert!(held >= Pressure::ZERO);
    }

    #[test]
    fn pressure_returns_to_charge_at_the_charge_temperature(circuit in circuit()) {
        let range = circuit.over(None, Some(circuit.charge_temperature));
        prop_assert_eq!(range.hot_pressure().clamps, circuit.full_pressure);
        prop_assert_eq!(range.cold_pressure().clamps, circuit.full_pressure);
        prop_assert_eq!(range.settled_pressure().clamps, circuit.full_pressure);
    }

    #[test]
    fn the_pressure_found_holds_the_oil_trapped(circuit in circuit(), change in -60.0..60.0_f64) {
        let state = circuit.at(circuit.charge_temperature + Temperature::new(change));
        let held = charged(&circuit);
        let pressure = state.state_of(held);
        if pressure > Pressure::ZERO {
            let off = state.oil_at(pressure) / held - 1.0;
            prop_assert!(off.abs() < 1e-12, "{off}");
        } else {
            prop_assert!(state.oil_at(Pressure::ZERO) >= held);
        }
        let half = held * 0.5;
        let lower = state.state_of(half);
        if lower > Pressure::ZERO {
            prop_assert!((state.oil_at(lower) / half - 1.0).abs() < 1e-12);
        }
    }

    #[test]
    fn two_zones_together_hold_the_oil_trapped(circuit in zoned(), change in -60.0..60.0_f64) {
        let state = circuit.at(circuit.charge_temperature + Temperature::new(change));
        let held = charged(&circuit);
        // Warm oil behind the reducing valve needs room ahead of it.
        prop_assume!(held > Volume::ZERO && (change < 0.0 || circuit.full.volume > Volume::ZERO));
        let pressure = state.state_of(held);
        let off = state.oil_at(pressure) / held - 1.0;
        prop_assert!(off.abs() < 1e-12 || pressure == Pressure::ZERO && off >= 0.0, "{off} {pressure:?}");
    }

    #[test]
    fn pressures_of_two_zones_come_in_order_and_lead_back_to_their_time(
        circuit in zoned(), up in 0.0..60.0_f64, down in 0.0..60.0_f64, part in 0.01..0.99_f64,
    ) {
        // Without oil but for an accumulator's, pressure jumps where that runs empty.
        prop_assume!(circuit.full.volume + circuit.reduced.as_ref().unwrap().zone.volume > Volume::ZERO);
        let at = circuit.charge_temperature;
        let range = circuit.over(Some(at - Temperature::new(down)), Some(at + Temperature::new(up)));
        let (charge, hot, cold) = (circuit.charge(), range.hot_pressure(), range.cold_pressure());
        let slack = charge.full.si() * 1e-12 + 1e-6;
        prop_assert!(hot.full.si() + slack >= charge.full.si(), "{hot:?} {charge:?}");
        prop_assert!(hot.clamps.si() + slack >= charge.clamps.si(), "{hot:?} {charge:?}");
        prop_assert!(charge.full.si() + slack >= cold.full.si(), "{charge:?} {cold:?}");
        prop_assert!(charge.clamps.si() + slack >= cold.clamps.si(), "{charge:?} {cold:?}");
        let wanted = cold.clamps * part;
        prop_assume!(wanted > GONE);
        let leak = range.leak();
        let reserve = leak.hold_reserve(wanted).time().unwrap();
        let held = leak.holding_pressure(Some(reserve)).unwrap().clamps;
        prop_assert!((held / wanted - 1.0).abs() < 1e-8, "{held:?} {wanted:?}");
    }

    #[test]
    fn more_pressure_holds_more_oil(
        circuit in circuit(), change in -60.0..60.0_f64,
        low in 0.0..700.0_f64, more in 0.01..300.0_f64,
    ) {
        let state = circuit.at(circuit.charge_temperature + Temperature::new(change));
        prop_assert!(state.oil_at(bar(low + more)) > state.oil_at(bar(low)));
        prop_assert!(state.oil_per_pressure(bar(low)) > Compliance::ZERO);
    }

    #[test]
    fn the_slope_is_that_of_the_oil(circuit in circuit(), p in 1.0..700.0_f64) {
        let state = circuit.at(circuit.charge_temperature);
        let step = p * 1e-4;
        let kink = state.full.empty_pressures().any(|empty| (empty.bar() - p).abs() < 2.0 * step);
        prop_assume!(!kink);
        let rise = state.oil_at(bar(p + step)) - state.oil_at(bar(p - step));
        let slope = rise / bar(2.0 * step);
        prop_assert!((slope / state.oil_per_pressure(bar(p)) - 1.0).abs() < 1e-4);
    }

    #[test]
    fn a_relief_valve_caps_the_heat_and_costs_pressure_in_the_cold(
        circuit in circuit(), up in 0.0..60.0_f64, down in 0.0..60.0_f64, above in 0.5..1.5_f64,
        reseat in 0.5..=1.0_f64,
    ) {
        let highest = Some(circuit.charge_temperature + Temperature::new(up));
        let lowest = Some(circuit.charge_temperature - Temperature::new(down));
        let relief = circuit.full_pressure * above;
        let mut relieved = TrappedCircuit { relief_reseat: reseat, ..circuit.clone() };
        relieved.full.relief = Some(relief);
        let range = relieved.over(lowest, highest);
        prop_assert!(range.hot_pressure().clamps <= relief);
        let with = range.cold_pressure().clamps;
        let without = circuit.over(lowest, highest).cold_pressure().clamps;
        prop_assert!(with.si() <= without.si() * (1.0 + 1e-12) + 1e-6, "{with:?} {without:?}");
    }

    #[test]
    fn an_accumulator_never_lowers_the_holding_pressure_without_a_change_of_temperature(
        circuit in circuit(), added in accumulator(), leak in conductance(),
        hours in 0.0..100.0_f64,
    ) {
        let circuit = leaking(&circuit, leak);
        let mut larger = circuit.clone();
        larger.full.accumulators.push(added);
        let time = Time::from_hours(hours);
        let (with, without) = (held(&larger, time), held(&circuit, time));
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
        let lowest = circuit.charge_temperature - Temperature::new(down);
        let alone = TrappedCircuit {
            full: Zone { accumulators: vec![added], ..Zone::default() },
            ..circuit.clone()
        };
        let mut larger = circuit.clone();
        larger.full.accumulators.push(added);
        let (own, without, with) = (cold(&alone, lowest), cold(&circuit, lowest), cold(&larger, lowest));
        let slack = circuit.full_pressure.si() * 1e-9 + 1e-3;
        prop_assert!(with.si() >= own.min(without).si() - slack);
        prop_assert!(with.si() <= own.max(without).si() + slack);
        if own < without {
            return Ok(());
        }
        let held = |circuit: &TrappedCircuit| {
            let circuit = leaking(circuit, leak);
            let range = circuit.over(Some(lowest), None);
            range.leak().holding_pressure(Some(Time::from_hours(hours))).unwrap().clamps
        };
        prop_assert!(held(&larger).si() >= held(&circuit).si() * (1.0 - 1e-9) - slack);
    }

    #[test]
    fn holding_pressure_and_hold_reserve_lead_back_to_each_other(
        circuit in circuit(), leak in conductance(), part in 0.001..0.999_f64,
    ) {
        let circuit = leaking(&circuit, leak);
        let wanted = circuit.full_pressure * part;
        let back = held(&circuit, reserve(&circuit, wanted));
        prop_assert!((back / wanted - 1.0).abs() < 1e-9, "{back:?} {wanted:?}");
    }

    #[test]
    fn hold_reserve_falls_with_leak_and_with_the_pressure_asked_for(
        circuit in circuit(), leak in conductance(), more in 1.01..10.0_f64,
        part in 0.01..0.9_f64,
    ) {
        let start = circuit.full_pressure;
        let reserve = |leak, wanted| reserve(&leaking(&circuit, leak), wanted);
        prop_assert!(reserve(leak * more, start * part) < reserve(leak, start * part));
        prop_assert!(reserve(leak, start * (part * 1.1)) < reserve(leak, start * part));
        prop_assert_eq!(reserve(leak, start), Time::ZERO);
        prop_assert_eq!(reserve(leak, start * 1.1), Time::ZERO);
    }

    /// With just the oil of the lowest reading a hold ends at the lowest pressure, and the gauge reads what was said for it.
    #[test]
    fn the_lowest_reading_leads_to_the_lowest_pressure(
        circuit in prop_oneof![circuit(), zoned()], leak in conductance(), share in 0.001..2.0_f64,
        up in 0.0..40.0_f64, down in 0.0..40.0_f64, part in 0.001..0.99_f64, at in 0.0..1.0_f64,
    ) {
        let circuit = leaking(&circuit, leak);
        // Without oil but for an accumulator's, pressure jumps where that runs empty.
        prop_assume!(circuit.full.volume + circuit.reduced.as_ref().map_or(Volume::ZERO, |reduced| reduced.zone.volume) > Volume::ZERO);
        let charge = circuit.charge_temperature;
        let (cold, hot) = (charge - Temperature::new(down), charge + Temperature::new(up));
        let range = circuit.over(Some(cold), Some(hot));
        let wanted = range.cold_pressure().clamps * part;
        if wanted < GONE {
            return Ok(());
        }
        // As long as the circuit holds by itself, half as long or twice.
        let time = range.leak().hold_reserve(wanted).time().unwrap() * share;
        let Some(oil) = range.leak().lowest_oil(Some(time), wanted) else { return Ok(()) };
        let with_it = holding_just(&circuit, oil);
        let put = with_it.over(Some(cold), Some(hot));
        // Beyond, no formula holds.
        if put.settled_pressure().full > bar(3000.0) {
            return Ok(());
        }
        let off = put.oil_left().total() / oil - 1.0;
        prop_assert!(off.abs() < 1e-12, "{off}");
        // What is held jumps where a zone that leaks by itself runs dry: so it is the oil that is bracketed.
        let held = |oil: Volume| {
            let with_it = holding_just(&circuit, oil);
            let range = with_it.over(Some(cold), Some(hot));
            range.leak().holding_pressure(Some(time)).unwrap().clamps
        };
        let (less, more) = (held(oil * (1.0 - 1e-9)), held(oil * (1.0 + 1e-9)));
        let is_met = less * (1.0 - 1e-6) <= wanted && wanted <= more * (1.0 + 1e-6);
        prop_assert!(is_met, "{less:?} {wanted:?} {more:?} from {:?}", put.settled_pressure());
        let temperature = cold + (hot - cold) * at;
        let read = range.lowest_reading(oil, temperature, TrappedZone::Reduced, Pressure::ZERO);
        let stands_at = put.pressure_at(temperature).clamps;
        prop_assert!((read - stands_at).si().abs() <= 1e-9 * read.si(), "{read:?} {stands_at:?}");
    }

    /// A circuit charged to just the highest reading meets its rating in the heat. Elasticity counts from the charge, so
    /// that a circuit charged to another pressure is another circuit but where nothing gives.
    #[test]
    fn the_highest_reading_leads_to_the_rating(
        circuit in circuit(), up in 0.0..40.0_f64, above in 1.05..3.0_f64,
    ) {
        let mut circuit = circuit;
        circuit.full.elasticity = Compliance::ZERO;
        let at = circuit.charge_temperature;
        let highest = Some(at + Temperature::new(up));
        let rating = circuit.full_pressure * above;
        let start = circuit.over(None, highest).highest_reading(rating, at, TrappedZone::Full, Pressure::ZERO);
        if start > GONE {
            let recharged = TrappedCircuit { full_pressure: start, ..circuit };
            let hot = recharged.over(None, highest).hot_pressure().clamps;
            prop_assert!((hot / rating - 1.0).abs() < 1e-9, "{hot:?} {rating:?}");
        }
    }

    #[test]
    fn settling_never_raises_pressure_and_stiffer_oil_gets_higher_in_the_heat(
        circuit in circuit(), up in 0.1..60.0_f64, closing in 0.0..5.0_f64, stiffer in 1.01..2.0_f64,
    ) {
        let settling = TrappedCircuit {
            closing_volume: Volume::from_cm3(closing), dwell_settled: Time::new(30.0), ..circuit.clone()
        };
        let settled = settling.over(None, None).settled_pressure().clamps;
        prop_assert!(settled.si() <= circuit.full_pressure.si() * (1.0 + 1e-12), "{settled:?}");
        let hot = |circuit: &TrappedCircuit| {
            circuit.over(None, Some(circuit.charge_temperature + Temperature::new(up))).hot_pressure().clamps.si()
        };
        let mut stiff = circuit.clone();
        stiff.oil.bulk_modulus = stiff.oil.bulk_modulus * stiffer;
        prop_assert!(hot(&stiff) >= hot(&circuit) * (1.0 - 1e-12));
    }

    /// The cold way is all there is where nothing gets warmer than the coldest.
    #[test]
    fn the_hot_way_never_raises_what_is_held(
        circuit in prop_oneof![circuit(), zoned()], leak in conductance(), hours in 0.0..100.0_f64, up in 0.0..60.0_f64,
    ) {
        let circuit = leaking(&circuit, leak);
        let at = circuit.charge_temperature;
        let held = |highest| {
            let range = circuit.over(Some(at), highest);
            range.leak().holding_pressure(Some(Time::from_hours(hours))).unwrap().clamps.si()
        };
        let (both, by_cold) = (held(Some(at + Temperature::new(up))), held(None));
        prop_assert!(both <= by_cold * (1.0 + 1e-9) + 1e-3, "{both} {by_cold}");
    }

    #[test]
    fn warmer_oil_of_one_zone_holds_less(
        circuit in circuit(), leak in conductance(), hours in 0.0..100.0_f64,
        up in 0.0..60.0_f64, down in 0.0..60.0_f64,
    ) {
        let circuit = leaking(&circuit, leak);
        let at = circuit.charge_temperature;
        let lowest = Some(at - Temperature::new(down));
        let held = |highest| {
            let range = circuit.over(lowest, highest);
            range.leak().holding_pressure(Some(Time::from_hours(hours))).unwrap().clamps.si()
        };
        let (warm, mild) = (held(Some(at + Temperature::new(up))), held(None));
        prop_assert!(warm <= mild * (1.0 + 1e-9) + 1e-3, "{warm} {mild}");
    }

    /// A reducing valve that stays open, or that has nothing behind it, is none: how a circuit is divided into zones then
    /// changes nothing.
    #[test]
    fn zones_on_both_sides_of_an_open_valve_are_one(
        circuit in circuit(), leak in conductance(), part in 0.0..=1.0_f64, share in 0.01..0.99_f64,
        down in 0.0..60.0_f64, closing in 0.0..1e-3_f64, above in 1.01..3.0_f64,
    ) {
        let mut one = leaking(&circuit, leak);
        one.closing_volume = one.full.volume * closing;
        let mut divided = one.clone();
        divided.full = Zone {
            volume: one.full.volume * part,
            elasticity: one.full.elasticity * part,
            accumulators: one.full.accumulators.iter().take(1).copied().collect(),
            conductance: leak * share,
            ..Zone::default()
        };
        let zone = Zone {
            volume: one.full.volume * (1.0 - part),
            elasticity: one.full.elasticity * (1.0 - part),
            accumulators: one.full.accumulators.iter().skip(1).copied().collect(),
            conductance: leak * (1.0 - share),
            ..Zone::default()
        };
        divided.reduced = Some(Reduced { zone, setting: one.full_pressure * above });
        let mut idle = one.clone();
        idle.reduced = Some(Reduced { zone: Zone::default(), setting: one.full_pressure * share });
        let lowest = Some(one.charge_temperature - Temperature::new(down));
        let start = one.over(lowest, None).cold_pressure().full;
        let time = one.over(lowest, None).leak().hold_reserve(start * share).time().unwrap();
        let figures = |circuit: &TrappedCircuit| {
            let range = circuit.over(lowest, None);
            let held = range.leak().holding_pressure(Some(time)).unwrap();
            [range.settled_pressure(), range.cold_pressure(), held].map(|pressures| pressures.full.si())
        };
        let expected = figures(&one);
        for (name, circuit) in [("divided", &divided), ("idle", &idle)] {
            for (found, expected) in figures(circuit).into_iter().zip(expected) {
                prop_assert!((found - expected).abs() <= 1e-9 * expected + 1e-3, "{name}: {found} {expected}");
            }
        }
    }

    /// Without a leak oil is only shared out anew: what was charged, less what the valves' closing took, is there in every state.
    #[test]
    fn oil_is_conserved_from_charge_to_cold(
        circuit in prop_oneof![circuit(), zoned()], closing in 0.0..1e-3_f64, down in 0.0..60.0_f64,
    ) {
        let total = circuit.full.volume + circuit.reduced.as_ref().map_or(Volume::ZERO, |reduced| reduced.zone.volume);
        prop_assume!(total > Volume::ZERO);
        let circuit = TrappedCircuit { closing_volume: total * closing, ..circuit };
        let cold = circuit.charge_temperature - Temperature::new(down);
        let range = circuit.over(Some(cold), None);
        let oil = charged(&circuit) - circuit.closing_volume;
        let is_all = |found: Volume| (found / oil - 1.0).abs() < 1e-12;
        prop_assert!(is_all(range.settled_oil().total()) && is_all(range.oil_left().total()));
        prop_assert_eq!(range.vented_oil(), Volume::ZERO);
        for (temperature, pressures) in
            [(circuit.charge_temperature, range.settled_pressure()), (cold, range.cold_pressure())]
        {
            if pressures.full > Pressure::ZERO {
                prop_assert!(is_all(circuit.at(temperature).oil_at(pressures.full)), "{temperature:?} {pressures:?}");
            }
        }
    }

    #[test]
    fn a_longer_arm_never_raises_force_or_rating(
        length in 10.0..400.0_f64, longer in 0.0..200.0_f64, rated in 10.0..200.0_f64, factor in 0.0..20.0_f64,
        force in 0.0..100.0_f64, rating in 1.0..700.0_f64,
    ) {
        let arm = |mm: f64| Arm { length: Length::from_mm(mm), rated_length: Length::from_mm(rated), factor };
        let (short, long) = (arm(length), arm(length + longer));
        prop_assert!(long.arm_force(Force::new(force)) <= short.arm_force(Force::new(force)));
        prop_assert!(long.arm_rating(bar(rating)) <= short.arm_rating(bar(rating)));
        prop_assert!(short.arm_rating(bar(rating)) <= bar(rating));
        prop_assert!(arm(rated).arm_rating(bar(rating)) == bar(rating));
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
        let mut circuit = TrappedCircuit {
            full: Zone {
                volume: Volume::new(volume * 1e-6),
                elasticity: Compliance::new(elasticity * 1e-14),
                accumulators: vec![Accumulator {
                    gas_volume: Volume::new(gas * 1e-6), precharge: Pressure::new(precharge * 1e5),
                }],
                conductance: Conductance::new(leak * 1e-18),
                ..Zone::default()
            },
            oil: oil(1.5, 7e-4, 0.005),
            gas: if model { GasModel::Real } else { GasModel::Ideal },
            full_pressure: Pressure::new(charge * 1e5),
            ..rigid()
        };
        let there = Some(Temperature::new(kelvin));
        let range = circuit.over(there, there);
        let (hot, fall) = (range.hot_pressure().clamps, range.leak());
        let held = fall.holding_pressure(Some(Time::from_hours(8.0))).unwrap().clamps;
        prop_assert!(held.is_finite() && held >= Pressure::ZERO, "{held:?} {circuit:?}");
        if let HoldReserve::Ends(time) = fall.hold_reserve(bar(50.0)) {
            prop_assert!(time.is_finite() && time >= Time::ZERO, "{time:?} {circuit:?}");
        }
        circuit.full.relief = Some(bar(200.0));
        for p in [hot, circuit.over(there, there).cold_pressure().clamps] {
            prop_assert!(p.is_finite() && p >= Pressure::ZERO, "{p:?} {circuit:?}");
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn what_leaked_is_what_is_missing(
        circuit in circuit(), leak in conductance(), part in 0.01..0.99_f64,
    ) {
        let circuit = leaking(&circuit, leak);
        let range = circuit.over(None, None);
        let fall = range.leak();
        let end = fall.hold_reserve(circuit.full_pressure * part).time().unwrap();
        // The mean pressure of the fall times G t is the oil that left: Simpson on 2001 points,
        // since the curve has a bend where an accumulator runs empty.
        let curve = fall.curve(end, 2001);
        let (mut integral, step) = (0.0, end.si() / 2000.0);
        for three in curve.windows(3).step_by(2) {
            let [a, b, c] = [0, 1, 2].map(|at| three[at].1.clamps.si());
            integral += (a + 4.0 * b + c) * step / 3.0;
        }
        let left = integral * leak.si();
        let state = circuit.at(circuit.charge_temperature);
        let missing = charged(&circuit) - state.oil_at(circuit.full_pressure * part);
        prop_assert!((left / missing.si() - 1.0).abs() < 5e-3, "{left} {missing:?}");
    }
}

/// Nothing, tiny, usual and absurdly large.
fn extreme() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), 1e-12..1e-6_f64, 0.1..1e3_f64, 1e3..1e6_f64]
}

fn soft() -> TrappedCircuit {
    let mut soft = rigid();
    soft.full.elasticity = Compliance::new(soft.full.volume.si() * 3e-8);
    soft
}

#[test]
fn an_accumulator_can_lower_the_cold_pressure_of_a_soft_circuit() {
    let mut with = soft();
    with.full.accumulators.push(Accumulator { gas_volume: Volume::from_cm3(100.0), precharge: bar(180.0) });
    assert!(cold(&with, celsius(0.0)) < cold(&soft(), celsius(0.0)));
}

/// Found by the law about relief valves: Newton's method swung between 264 and 490 bar.
#[test]
fn the_pressure_is_found_across_the_bend_of_an_empty_accumulator() {
    let circuit = TrappedCircuit {
        full: Zone {
            volume: Volume::from_cm3(64.314),
            elasticity: Compliance::new(3.0398e-13),
            accumulators: vec![Accumulator { gas_volume: Volume::from_cm3(97.11), precharge: bar(369.508) }],
            ..Zone::default()
        },
        oil: oil(2.315, 4.674e-4, 0.032_03),
        metal_expansion: 5e-6,
        gas: GasModel::Ideal,
        full_pressure: bar(502.486),
        charge_temperature: celsius(14.719),
        ..rigid()
    };
    let state = circuit.at(celsius(-28.353));
    for part in [0.55, 0.6, 0.65, 0.7, 0.713_2, 0.72, 0.8, 1.0] {
        let wanted = charged(&circuit) * part;
        let found = state.state_of(wanted);
        assert!(found > Pressure::ZERO);
        assert!((state.oil_at(found) / wanted - 1.0).abs() < 1e-12, "{part}");
    }
}

/// Found by the law about accumulators: the search ended where the accumulator is empty and nothing else holds oil.
#[test]
fn an_accumulator_alone_keeps_its_oil_at_a_pressure_above_its_gas() {
    let mut alone = rigid();
    alone.full.volume = Volume::ZERO;
    alone.full.accumulators.push(Accumulator { gas_volume: Volume::from_cm3(50.0), precharge: bar(340.0) });
    for change in [-60.0, 40.0] {
        let state = alone.at(celsius(20.0 + change));
        let found = state.state_of(charged(&alone));
        assert!(found > state.full.empty_pressures().next().unwrap(), "{found:?}");
        assert!((state.oil_at(found) / charged(&alone) - 1.0).abs() < 1e-12, "{found:?}");
    }
    assert!(alone.over(None, Some(celsius(60.0))).hot_pressure().clamps > bar(380.0));
}

#[test]
fn without_a_leak_pressure_stays_and_has_no_end() {
    let circuit = soft();
    let range = circuit.over(None, None);
    let fall = range.leak();
    assert_eq!(held(&circuit, Time::from_hours(1e6)), bar(350.0));
    assert_eq!(fall.hold_reserve(bar(300.0)), HoldReserve::Endless);
    assert_eq!(fall.hold_reserve(bar(351.0)), HoldReserve::Ends(Time::ZERO));
}

#[test]
fn below_1_pa_nothing_is_held() {
    let circuit = leaking(&soft(), Conductance::new(1e-13));
    let gone = reserve(&circuit, Pressure::ZERO);
    assert_eq!(gone, reserve(&circuit, GONE));
    assert!(held(&circuit, gone * 0.999) >= GONE);
    assert_eq!(held(&circuit, gone * 1.001), Pressure::ZERO);
    let slack = TrappedCircuit { full_pressure: GONE * 0.5, ..circuit };
    assert_eq!(held(&slack, Time::ZERO), Pressure::ZERO);
}

#[test]
fn the_fall_bends_where_an_accumulator_runs_empty() {
    let mut circuit = rigid();
    circuit.full.accumulators.push(Accumulator { gas_volume: Volume::from_cm3(50.0), precharge: bar(180.0) });
    let state = circuit.at(celsius(20.0));
    let empty = state.full.empty_pressures().next().unwrap();
    assert!((empty.bar() - 180.0).abs() < 1e-9, "at 20 °C it is the precharge: {empty:?}");
    let above = state.oil_per_pressure(empty * 1.000_001);
    let below = state.oil_per_pressure(empty * 0.999_999);
    assert!(above / below > 10.0);
    let cold = circuit.at(celsius(0.0)).full.empty_pressures().next().unwrap();
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
