use super::*;
use crate::physics::quantity::Length;
use crate::rules::test_circuit::{TestCircuit, bar};
use crate::tables::figures::Rating;
use crate::tables::line::Cell;
use crate::tables::origin::CellFault;
use crate::tables::station::{Station, StationPart};
use crate::tables::words::Zone;

/// A circuit with one line of a part, charged to 300 bar before a reducing valve and 200 bar behind.
fn with(kind: Kind, rating: f64) -> TestCircuit {
    let mut bench = TestCircuit::single();
    bench.fit(kind, "PART", rating);
    bench.charged(300.0, 200.0);
    bench.figures.clamp.chain.reducing = Some(Rating { pressure: bar(200.0), line: 0 });
    bench
}

fn count(bench: &TestCircuit, rule: &Rule) -> (usize, usize) {
    let outcome = bench.outcome(rule);
    (outcome.hits.len(), outcome.lacks.len())
}

fn unreadable(column: &'static str) -> CellFault {
    CellFault { column, letter: String::new(), found: "?".into(), expected: "a pressure".into() }
}

#[test]
fn ratings_stand_against_the_pressure_where_the_part_sits() {
    for (rule, kind, sees) in [
        (&P01, Kind::ChargingCylinder, 300.0),
        (&P05, Kind::Clamp, 200.0),
        (&P05, Kind::WorkSupport, 200.0),
        (&P05, Kind::CheckValve, 300.0),
        (&P05, Kind::Hose, 300.0),
        (&P05, Kind::Tube, 300.0),
        (&P05, Kind::Other, 300.0),
        (&P06, Kind::IsolationValve, 300.0),
    ] {
        for (rating, fires) in [(sees - 1.0, 1), (sees, 0), (sees * (1.0 - 1e-10), 0), (sees + 1.0, 0)] {
            assert_eq!(count(&with(kind, rating), rule), (fires, 0), "{} {kind} {rating}", rule.code);
        }
        let hit = with(kind, 100.0).outcome(rule).hits.remove(0);
        assert_eq!(hit.measured, Some(Value::Pressure(bar(sees))));
        assert_eq!(hit.limit, Some(Value::Pressure(bar(100.0))));
    }
}

#[test]
fn each_kind_has_one_rule_for_its_rating() {
    for (kind, rules) in [
        (Kind::ChargingCylinder, [1, 0, 0]),
        (Kind::Clamp, [0, 1, 0]),
        (Kind::IsolationValve, [0, 0, 1]),
        (Kind::Pump, [0, 0, 0]),
        (Kind::DriveRam, [0, 0, 0]),
    ] {
        let bench = with(kind, 1.0);
        assert_eq!([&P01, &P05, &P06].map(|rule| count(&bench, rule).0), rules, "{kind}");
    }
}

#[test]
fn the_reduced_column_says_where_a_part_sits() {
    let mut bench = with(Kind::Clamp, 250.0);
    assert_eq!(count(&bench, &P05), (0, 0));
    bench.circuit.lines[0].zone = Some(Zone::Full);
    assert_eq!(count(&bench, &P05), (1, 0));
    let mut bench = with(Kind::Hose, 250.0);
    bench.circuit.lines[0].zone = Some(Zone::Reduced);
    assert_eq!(count(&bench, &P05), (0, 0));
    // The charging cylinder sits before the valve, whatever is said.
    let mut bench = with(Kind::ChargingCylinder, 250.0);
    bench.circuit.lines[0].zone = Some(Zone::Reduced);
    assert_eq!(count(&bench, &P01), (1, 0));
}

#[test]
fn a_rating_that_is_not_known_is_lacking() {
    for (rule, kind) in [(&P01, Kind::ChargingCylinder), (&P05, Kind::Clamp), (&P06, Kind::IsolationValve)] {
        let mut bench = with(kind, 1.0);
        bench.plant.components[0].rated_pressure = None;
        assert_eq!(count(&bench, rule), (0, 1), "{}", rule.code);
    }
    let mut bench = with(Kind::Other, 1.0);
    bench.plant.components[0].rated_pressure = None;
    assert_eq!(count(&bench, &P05), (0, 0), "`other` needs no rating");
    bench.line("unknown");
    assert_eq!(count(&bench, &P05), (0, 1), "an unknown part");
    // A gauge is rated at its full scale where it states nothing else.
    let mut bench = with(Kind::Gauge, 1.0);
    bench.plant.components[0].rated_pressure = None;
    bench.plant.components[0].full_scale = Some(bar(250.0));
    assert_eq!(count(&bench, &P05), (1, 0));
}

#[test]
fn an_unknown_pressure_is_lacking() {
    for (rule, kind) in [(&P01, Kind::ChargingCylinder), (&P05, Kind::Clamp), (&P06, Kind::IsolationValve)] {
        let mut bench = with(kind, 1.0);
        bench.figures.clamp.chain.full = None;
        bench.figures.clamp.chain.charge = None;
        assert_eq!(count(&bench, rule), (0, 1), "{}", rule.code);
    }
}

#[test]
fn a_line_on_two_sides_has_one_finding_for_the_worse() {
    let mut bench = TestCircuit::double();
    bench.fit(Kind::Clamp, "PART", 150.0);
    bench.charged(200.0, 200.0);
    let at_250 = Some(bar(250.0));
    (bench.unclamp().chain.full, bench.unclamp().chain.charge) = (at_250, at_250);
    let hits = bench.outcome(&P05).hits;
    assert_eq!((hits.len(), hits[0].side), (1, Some(Side::Unclamp)));
    // One side is enough for a finding, and not for a pass; the other is said to be unknown.
    (bench.unclamp().chain.full, bench.unclamp().chain.charge) = (None, None);
    assert_eq!(count(&bench, &P05), (1, 1));
    bench.plant.components[0].rated_pressure = Some(bar(350.0));
    assert_eq!(count(&bench, &P05), (0, 1));
    bench.plant.components[0].min_pressure = Some(bar(220.0));
    assert_eq!(count(&bench, &P07), (1, 1));
}

#[test]
fn a_line_set_aside_still_counts_for_ratings() {
    let mut bench = with(Kind::Clamp, 100.0);
    bench.plant.components[0].min_pressure = Some(bar(250.0));
    bench.circuit.lines[0].qty = Cell::Blank;
    assert_eq!(count(&bench, &P05), (1, 0));
    assert_eq!(count(&bench, &P07), (0, 1));
}

#[test]
fn p07_asks_for_the_lowest_working_pressure() {
    let mut bench = with(Kind::Clamp, 350.0);
    assert_eq!(count(&bench, &P07), (0, 0), "none stated");
    for (least, fires) in [(199.0, 0), (200.0, 0), (200.0 * (1.0 + 1e-10), 0), (201.0, 1)] {
        bench.plant.components[0].min_pressure = Some(bar(least));
        assert_eq!(count(&bench, &P07), (fires, 0), "{least}");
    }
    bench.figures.clamp.chain.charge = None;
    assert_eq!(count(&bench, &P07), (0, 1));
}

#[test]
fn p08_looks_at_the_wall() {
    let mut bench = with(Kind::Tube, 500.0);
    assert_eq!(count(&bench, &P08), (0, 0), "no strength stated");
    let tube = &mut bench.plant.components[0];
    tube.inner_diameter = Some(Length::from_mm(6.0));
    tube.outer_diameter = Some(Length::from_mm(8.0));
    tube.tensile_strength = Some(Pressure::from_mpa(400.0));
    // By hand: 4000 bar / 4 × (64 − 36) / (64 + 36) = 280 bar.
    for (full, fires) in [(279.0, 0), (280.0, 0), (281.0, 1)] {
        bench.charged(full, 200.0);
        assert_eq!(count(&bench, &P08), (fires, 0), "{full}");
        assert_eq!(count(&bench, &P05), (0, 0));
    }
    bench.plant.components[0].rated_pressure = None;
    assert_eq!(count(&bench, &P05), (0, 0), "rated by its wall");
    bench.plant.components[0].faults = vec![unreadable("outer_diameter")];
    assert_eq!(count(&bench, &P08), (0, 1));
}

fn station(pump: StationPart, drive_ram: StationPart, setting: Option<f64>) -> Station {
    Station { pump, drive_ram, pump_setting: setting.map(bar), ..Station::default() }
}

#[test]
fn p02_p04_compare_the_pump_setting() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::Pump, "PU-1").rated_pressure = Some(bar(250.0));
    bench.part(Kind::DriveRam, "DR-1").rated_pressure = Some(bar(200.0));
    let (pump, ram) = (StationPart::Known(0), StationPart::Known(1));
    let unknown = || StationPart::Unknown("X".into());
    for (pump, ram, setting, p02, p04) in [
        (pump.clone(), ram.clone(), Some(199.0), (0, 0), (0, 0)),
        (pump.clone(), ram.clone(), Some(200.0), (0, 0), (0, 0)),
        (pump.clone(), ram.clone(), Some(201.0), (1, 0), (0, 0)),
        (pump.clone(), ram.clone(), Some(250.0), (1, 0), (0, 0)),
        (pump.clone(), ram.clone(), Some(251.0), (1, 0), (1, 0)),
        // The pump's rating stands in for its setting.
        (pump.clone(), ram.clone(), None, (1, 0), (0, 0)),
        (StationPart::Blank, ram.clone(), None, (0, 1), (0, 0)),
        (StationPart::Blank, ram.clone(), Some(150.0), (0, 0), (0, 0)),
        (pump.clone(), StationPart::Blank, Some(251.0), (0, 0), (1, 0)),
        (unknown(), unknown(), Some(150.0), (0, 1), (0, 1)),
    ] {
        let station = station(pump, ram, setting);
        let counted = |rule| {
            let outcome = bench.outcome_of_station(rule, &station);
            (outcome.hits.len(), outcome.lacks.len())
        };
        assert_eq!((counted(&P02), counted(&P04)), (p02, p04), "{station:?}");
    }
    let lost = Station { faults: vec![unreadable("pump_setting")], ..station(pump, ram, None) };
    for rule in [&P02, &P04] {
        assert_eq!(bench.outcome_of_station(rule, &lost).lacks[0].figure, Figure::Cell, "{}", rule.code);
    }
}

#[test]
fn p03_p11_tolerate_a_share_of_the_pressure_set() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::Clamp, "PART", 500.0);
    for rule in [&P03, &P11] {
        assert_eq!(count(&bench, rule), (0, 0), "{}: no pressure wanted", rule.code);
    }
    bench.service().pressure_set = Some(bar(300.0));
    for rule in [&P03, &P11] {
        assert_eq!(count(&bench, rule), (0, 1), "{}", rule.code);
    }
    // By hand: 5 % of 300 bar are 15 bar.
    for (charge, low, high) in [(284.0, 1, 0), (285.0, 0, 0), (300.0, 0, 0), (315.0, 0, 0), (316.0, 0, 1)] {
        bench.charged(charge, charge);
        assert_eq!((count(&bench, &P03).0, count(&bench, &P11).0), (low, high), "{charge}");
    }
    bench.charged(100.0, 100.0);
    bench.figures.clamp.chain.pump_needed = Some(bar(160.0));
    let hit = bench.outcome(&P03).hits.remove(0);
    assert!((hit.limit.unwrap().metric().unwrap().0 - 285.0).abs() < 1e-9);
    assert!(hit.facts.contains(&("setting_needed", Value::Pressure(bar(160.0)))));
    bench.charged(300.0, 100.0);
    let hit = bench.outcome(&P03).hits.remove(0);
    assert!(hit.facts.iter().all(|(name, _)| *name != "setting_needed"), "no pump lifts what a reducing valve holds");
    bench.service().faults = vec![unreadable("pressure_set")];
    assert_eq!(bench.outcome(&P03).lacks[0].figure, Figure::Cell);
}

#[test]
fn p09_keeps_a_sequence_valve_between_its_bounds() {
    let mut bench = with(Kind::SequenceValve, 350.0);
    assert_eq!(bench.outcome(&P09).lacks[0].figure, Figure::Setting);
    bench.fit(Kind::WorkSupport, "WS-1", 350.0);
    bench.plant.components[1].min_pressure = Some(bar(60.0));
    bench.fit(Kind::Clamp, "CL-1", 350.0).step = Some(1.0);
    bench.plant.components[2].min_pressure = Some(bar(80.0));
    bench.fit(Kind::Clamp, "CL-2", 350.0);
    bench.plant.components[3].min_pressure = Some(bar(150.0));
    // By hand: 0.9 × 300 bar = 270 bar; step 1 works from 80 bar at most, and 1.1 × 80 bar = 88 bar.
    for (setting, limit) in [(87.0, Some(88.0)), (88.1, None), (270.0, None), (271.0, Some(270.0))] {
        bench.circuit.lines[0].set_pressure = Some(bar(setting));
        let hits = bench.outcome(&P09).hits;
        let found = hits.first().and_then(|hit| hit.limit.clone()?.metric().map(|(bar, _)| bar.round()));
        assert_eq!(found, limit, "{setting}");
    }
    bench.circuit.lines[0].step = Some(1.0);
    bench.circuit.lines[0].set_pressure = Some(bar(1.0));
    assert_eq!(count(&bench, &P09), (0, 0), "nothing moves before the step that it opens");
    bench.circuit.lines[0].step = None;
    bench.uncharged();
    bench.circuit.lines[0].set_pressure = None;
    bench.plant.components[0].set_pressure = Some(bar(100.0));
    assert_eq!(bench.outcome(&P09).lacks[0].figure, Figure::Full);
    bench.plant.components[0].set_pressure = Some(bar(50.0));
    assert_eq!(count(&bench, &P09), (1, 0));
}

#[test]
fn p10_keeps_a_relief_valve_between_its_bounds() {
    let mut bench = with(Kind::ReliefValve, 500.0);
    bench.weakest(350.0, 0);
    for (setting, limit) in [
        (290.0, Some(300.0)),
        (300.0, Some(300.0)),
        (300.0 * (1.0 + 1e-10), Some(300.0)),
        (301.0, None),
        (350.0, None),
        (351.0, Some(350.0)),
    ] {
        bench.circuit.lines[0].set_pressure = Some(bar(setting));
        let hits = bench.outcome(&P10).hits;
        let found = hits.first().and_then(|hit| hit.limit.clone());
        assert_eq!(found, limit.map(|limit| Value::Pressure(bar(limit))), "{setting}");
    }
    bench.circuit.lines[0].set_pressure = Some(bar(320.0));
    bench.figures.clamp.chain.weakest = None;
    bench.plant.components[0].rated_pressure = None;
    assert_eq!(bench.outcome(&P10).lacks[0].figure, Figure::Weakest);
    bench.figures.clamp.chain.full = None;
    assert_eq!(bench.outcome(&P10).lacks[0].figure, Figure::Full);
    bench.weakest(310.0, 0);
    assert_eq!(count(&bench, &P10), (1, 0));
    bench.circuit.lines[0].set_pressure = None;
    assert_eq!(bench.outcome(&P10).lacks[0].figure, Figure::Setting);
}

#[test]
fn p12_keeps_a_gauge_within_its_range() {
    let mut bench = with(Kind::Gauge, 500.0);
    assert_eq!(bench.outcome(&P12).lacks[0].figure, Figure::FullScale);
    bench.plant.components[0].full_scale = Some(bar(400.0));
    for (full, limit) in [(99.0, Some(100.0)), (100.0, None), (300.0, None), (301.0, Some(300.0))] {
        bench.charged(full, 50.0);
        let found = bench.outcome(&P12).hits.first().and_then(|hit| hit.limit.clone());
        assert_eq!(found, limit.map(|limit| Value::Pressure(bar(limit))), "{full}");
    }
    bench.figures.clamp.chain.full = None;
    assert_eq!(bench.outcome(&P12).lacks[0].figure, Figure::Full);
}

#[test]
fn p13_wants_a_relief_valve_where_the_station_could_exceed_a_rating() {
    let mut bench = with(Kind::Hose, 350.0);
    bench.weakest(350.0, 0);
    bench.figures.clamp.chain.potential = Some(bar(400.0));
    assert_eq!(count(&bench, &P13), (0, 0), "no station named");
    bench.service().station = "LS".into();
    for (potential, fires) in [(349.0, 0), (350.0, 0), (351.0, 1)] {
        bench.figures.clamp.chain.potential = Some(bar(potential));
        assert_eq!(count(&bench, &P13), (fires, 0), "{potential}");
    }
    bench.line("unknown");
    assert_eq!(bench.outcome(&P13).lacks[0].figure, Figure::Presence);
    bench.circuit.lines.pop();
    bench.figures.clamp.chain.potential = None;
    assert_eq!(bench.outcome(&P13).lacks[0].figure, Figure::Potential);
    bench.fit(Kind::ReliefValve, "RV-1", 500.0);
    assert_eq!(count(&bench, &P13), (0, 0));
}

#[test]
fn p14_watches_the_last_part_of_a_rating() {
    let mut bench = with(Kind::Hose, 350.0);
    bench.weakest(350.0, 0);
    // By hand: 0.95 × 350 bar = 332.5 bar.
    for (charge, fires) in [(332.0, 0), (332.5, 0), (333.0, 1), (350.0, 1), (351.0, 0)] {
        bench.charged(charge, charge);
        assert_eq!(count(&bench, &P14), (fires, 0), "{charge}");
    }
    bench.figures.clamp.chain.weakest = None;
    bench.plant.components[0].rated_pressure = None;
    assert_eq!(bench.outcome(&P14).lacks[0].figure, Figure::Weakest);
    bench.uncharged();
    assert_eq!(bench.outcome(&P14).lacks[0].figure, Figure::Full);
}
