//! Circuits that one charging cylinder fills: a group of one is no group, and who joins never lowers the fill.
#![allow(clippy::unwrap_used)]

use std::path::Path;

use clampbook::audit::{Wanted, whole_without_rows};
use clampbook::circuit::group::{circuit_figures, pallet_figures};
use clampbook::rules::Asked;
use clampbook::tables::circuit::Circuit;
use clampbook::tables::plant::Plant;
use clampbook::tables::words::{Charging, Kind};

/// Circuits of sample-data that are filled by a charging cylinder of their own.
fn alone() -> (Plant, Vec<Circuit>) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let reading = clampbook::read::open(&folder, None, "2026-11-25".parse().unwrap()).unwrap();
    let audit = whole_without_rows(reading, &Wanted { remedies: false, ..Wanted::default() }).unwrap();
    let circuits: Vec<Circuit> = audit
        .circuits
        .into_iter()
        .filter(|audited| audited.figures.clamp.fill.is_some())
        .map(|audited| audited.circuit)
        .filter(|circuit| {
            circuit.service.as_ref().is_some_and(|service| {
                service.source.is_empty() && service.charging() == Charging::Cylinder && !service.station.is_empty()
            })
        })
        .collect();
    assert!(circuits.len() >= 8, "only {} circuits have a fill", circuits.len());
    (audit.plant, circuits)
}

fn with_source(mut circuit: Circuit, source: &str) -> Circuit {
    circuit.service.as_mut().unwrap().source = source.into();
    circuit
}

#[test]
fn a_group_of_one_is_no_group() {
    let (plant, circuits) = alone();
    for circuit in circuits {
        let own = circuit_figures(&plant, &circuit, circuit.service.as_ref().unwrap(), Asked::ALL);
        let grouped = pallet_figures(&plant, &[with_source(circuit, "left")], Asked::ALL);
        assert_eq!(grouped, [own]);
    }
}

#[test]
fn who_joins_a_group_never_lowers_its_fill() {
    let (plant, circuits) = alone();
    let mut joined = 0;
    for pair in circuits.windows(2) {
        let first = with_source(pair[0].clone(), "left");
        let mut second = with_source(pair[1].clone(), "left");
        second.service.as_mut().unwrap().station.clone_from(&first.service.as_ref().unwrap().station);
        let is_cylinder = |line: &clampbook::tables::line::Line| {
            line.component(&plant.components).is_some_and(|part| part.provides(Kind::ChargingCylinder))
        };
        second.lines.retain(|line| !is_cylinder(line));
        let fill = |circuits: &[Circuit]| pallet_figures(&plant, circuits, Asked::ALL)[0].clamp.fill;
        let (alone, together) = (fill(std::slice::from_ref(&first)), fill(&[first, second]));
        if let Some((alone, together)) = alone.zip(together) {
            assert!(together > alone, "{alone} {together}");
            joined += 1;
        }
    }
    assert!(joined >= 4, "only {joined} pairs have a fill");
}
