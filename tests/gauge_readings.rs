//! What a gauge may read before a pallet leaves says the same as the rules on holding: a circuit whose settled
//! pressure is below the lowest reading is one that falls short of its lowest pressure, and one that stands above the
//! highest reading is one whose weakest part is exceeded in the heat.
#![allow(clippy::unwrap_used)]

use std::path::Path;

use clampbook::audit::{Wanted, whole_without_rows};
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::side::CircuitInputs;
use clampbook::circuit::trapped::{GaugeReading, gauge_readings, trapped_gauges};
use clampbook::physics::quantity::{Pressure, Temperature};
use clampbook::tables::circuit::Service;
use clampbook::tables::plant::Plant;
use clampbook::tables::words::Zone;

const STEPS: u8 = 8;

/// Circuits of sample-data that state all that the readings hang on.
fn with_circuits(mut look: impl FnMut(&Plant, &CircuitAudit, &Service)) -> usize {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let reading = clampbook::read::open(&folder, None, "2026-11-25".parse().unwrap()).unwrap();
    let audit = whole_without_rows(reading, &Wanted { remedies: false, ..Wanted::default() }).unwrap();
    let mut seen = 0;
    for circuit in &audit.circuits {
        let Some(service) = circuit.circuit.service.as_ref() else { continue };
        let is_whole = service.temp_min.is_some() && service.temp_max.is_some() && service.pressure_min.is_some();
        if is_whole && circuit.figures.holding.hold.is_some() {
            look(&audit.plant, circuit, service);
            seen += 1;
        }
    }
    seen
}

fn temperatures(service: &Service) -> Vec<Temperature> {
    let charge = service.temp_charge.unwrap_or(Temperature::from_celsius(20.0));
    let (cold, hot) = (service.temp_min.unwrap().min(charge), service.temp_max.unwrap().max(charge));
    (0..=STEPS).map(|step| cold + (hot - cold) * (f64::from(step) / f64::from(STEPS))).collect()
}

fn readings(
    plant: &Plant,
    circuit: &CircuitAudit,
    service: &Service,
    zone: Zone,
    accuracy: Pressure,
    temperatures: &[Temperature],
) -> Vec<GaugeReading> {
    let inputs = CircuitInputs::of(plant, &circuit.circuit, service);
    gauge_readings(&inputs, &circuit.figures, zone, accuracy, temperatures).unwrap()
}

#[test]
fn readings_rise_with_temperature_and_allow_for_the_gauge() {
    let seen = with_circuits(|plant, circuit, service| {
        let at = temperatures(service);
        let zone = circuit.figures.clamp.clamp_zone();
        let exact = readings(plant, circuit, service, zone, Pressure::ZERO, &at);
        let accuracy = Pressure::from_bar(3.0);
        let coarse = readings(plant, circuit, service, zone, accuracy, &at);
        for (exact, coarse) in exact.iter().zip(&coarse) {
            assert_eq!(exact.lowest.map(|lowest| lowest + accuracy), coarse.lowest);
            assert_eq!(exact.highest.map(|highest| highest - accuracy), coarse.highest);
        }
        let rises = |reading: fn(&GaugeReading) -> Option<Pressure>| {
            let all: Vec<Pressure> = exact.iter().filter_map(reading).collect();
            assert!(all.windows(2).all(|pair| pair[1].si() >= pair[0].si() * (1.0 - 1e-12)), "{all:?}");
            all
        };
        let lowest = rises(|reading| reading.lowest);
        let highest = rises(|reading| reading.highest);
        // What leaks is missing at the end: more is needed at the start.
        assert!(lowest[0].si() >= service.pressure_min.unwrap().si() * (1.0 - 1e-9), "{lowest:?}");
        let weakest = circuit.figures.clamp.zone(zone).weakest.map(|rating| rating.pressure.si());
        let at_hottest = highest.last().map(|highest| highest.si());
        let is_rating = weakest.zip(at_hottest).is_none_or(|(weakest, read)| (read / weakest - 1.0).abs() < 1e-9);
        assert!(is_rating, "{weakest:?} {at_hottest:?}");
    });
    assert!(seen >= 8, "only {seen} circuits tried");
}

#[test]
fn the_lowest_reading_divides_circuits_as_the_holding_pressure_does() {
    let (mut short, mut enough) = (0, 0);
    with_circuits(|plant, circuit, service| {
        let figures = &circuit.figures;
        // A relief valve that opens lets out oil that the readings count on.
        if figures.clamp.zones.iter().any(|zone| zone.relief.is_some()) {
            return;
        }
        let charge = service.temp_charge.unwrap_or(Temperature::from_celsius(20.0));
        let zone = figures.clamp.clamp_zone();
        let reading = readings(plant, circuit, service, zone, Pressure::ZERO, &[charge])[0];
        let (settled, hold) = (figures.holding.settled.unwrap().si(), figures.holding.hold.unwrap().si());
        let (lowest, wanted) = (reading.lowest.unwrap().si(), service.pressure_min.unwrap().si());
        if hold < wanted * (1.0 - 1e-6) {
            short += 1;
            assert!(settled < lowest, "{}: {settled} {lowest}", circuit.circuit.key);
        } else if hold > wanted * (1.0 + 1e-6) {
            enough += 1;
            assert!(settled >= lowest, "{}: {settled} {lowest}", circuit.circuit.key);
        }
    });
    assert!(short >= 2 && enough >= 4, "{short} circuits fall short, {enough} don't");
}

#[test]
fn the_highest_reading_divides_circuits_as_the_heat_does() {
    let (mut beyond, mut within) = (0, 0);
    with_circuits(|plant, circuit, service| {
        let clamp = &circuit.figures.clamp;
        let charge = service.temp_charge.unwrap_or(Temperature::from_celsius(20.0));
        for zone in [Zone::Full, Zone::Reduced] {
            let of_zone = clamp.zone(zone);
            let (Some(hot), Some(weakest), Some(pressure), None) =
                (of_zone.hot, of_zone.weakest, of_zone.pressure, of_zone.relief)
            else {
                continue;
            };
            let reading = readings(plant, circuit, service, zone, Pressure::ZERO, &[charge])[0];
            let highest = reading.highest.unwrap().si();
            if hot.si() > weakest.pressure.si() * (1.0 + 1e-6) {
                beyond += 1;
                assert!(pressure.si() > highest, "{}: {pressure:?} {highest}", circuit.circuit.key);
            } else if hot.si() < weakest.pressure.si() * (1.0 - 1e-6) {
                within += 1;
                assert!(pressure.si() <= highest, "{}: {pressure:?} {highest}", circuit.circuit.key);
            }
        }
    });
    assert!(beyond >= 1 && within >= 4, "{beyond} zones beyond their rating, {within} within");
}

#[test]
fn a_gauge_reads_the_zone_that_it_sits_in() {
    let mut zones = std::collections::BTreeSet::new();
    with_circuits(|plant, circuit, service| {
        let inputs = CircuitInputs::of(plant, &circuit.circuit, service);
        for gauge in trapped_gauges(&inputs, &circuit.figures) {
            assert_eq!(circuit.figures.clamp.zone_of(gauge.line), gauge.zone);
            assert_ne!(gauge.zone, Zone::Charge);
            zones.insert((gauge.zone, gauge.accuracy.is_some()));
        }
    });
    assert!(zones.contains(&(Zone::Full, true)), "{zones:?}");
}
