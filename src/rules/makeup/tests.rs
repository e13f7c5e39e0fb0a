use super::*;
use crate::physics::quantity::{Area, Length, Volume};
use crate::rules::test_circuit::TestCircuit;
use crate::tables::kinds::Kinds;
use crate::tables::line::Cell;
use crate::tables::origin::CellFault;
use crate::tables::station::{Station, StationPart};
use crate::tables::words::{Acting, Side};

fn charged_by(charging: Charging) -> TestCircuit {
    let mut bench = TestCircuit::single();
    bench.service().charging = Some(charging);
    bench
}

fn unreadable(column: &'static str) -> CellFault {
    CellFault { column, letter: String::new(), found: "?".into(), expected: "a word".into() }
}

/// Names a station with a pump or a drive ram.
fn at_station(bench: &mut TestCircuit, pump: StationPart, drive_ram: StationPart) {
    bench.service().station = "LS".into();
    bench.plant.stations = vec![Station { station: "LS".into(), pump, drive_ram, ..Station::default() }];
    bench.plant.station_index.insert("LS".into(), 0);
}

#[test]
fn m01_wants_a_cylinder_on_both_sides() {
    let mut bench = TestCircuit::double();
    bench.part(Kind::Clamp, "CL-1").area_unclamp = Some(Area::from_mm2(100.0));
    bench.line("CL-1");
    bench.fit(Kind::ChargingCylinder, "CC-1", 350.0);
    let hits = bench.outcome(&M01).hits;
    assert_eq!((hits.len(), hits[0].side), (1, Some(Side::Unclamp)));
    bench.line("CC-1").side = Side::Unclamp;
    assert_eq!(bench.outcome(&M01), Outcome::default());
    for charging in [Charging::Coupler, Charging::Live] {
        let mut bench = charged_by(charging);
        bench.fit(Kind::Clamp, "CL-1", 350.0);
        assert_eq!(bench.outcome(&M01), Outcome::default(), "{charging}");
    }
}

#[test]
fn m01_finds_nothing_missing_beside_an_unknown_part() {
    let mut bench = TestCircuit::single();
    bench.line("what is this");
    let outcome = bench.outcome(&M01);
    assert!(outcome.hits.is_empty());
    assert_eq!(outcome.lacks[0].figure, Figure::Presence);
}

#[test]
fn m02_counts_pieces() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::ChargingCylinder, "CC-1", 350.0);
    assert!(bench.outcome(&M02).hits.is_empty());
    bench.circuit.lines[0].qty = Cell::Value(2.0);
    let hits = bench.outcome(&M02).hits;
    assert_eq!((hits.len(), hits[0].measured.clone()), (1, Some(Value::Number(2.0))));
}

#[test]
fn m03_m04_want_valves_that_trap_and_release() {
    for (rule, kind) in [(&M03, Kind::CheckValve), (&M04, Kind::IsolationValve)] {
        for charging in [Charging::Cylinder, Charging::Coupler, Charging::Live] {
            let mut bench = charged_by(charging);
            assert_eq!(bench.outcome(rule), Outcome::default(), "{} without lines", rule.code);
            bench.fit(Kind::Clamp, "CL-1", 350.0);
            assert_eq!(bench.outcome(rule).hits.len(), usize::from(charging != Charging::Live), "{}", rule.code);
            bench.line("unknown");
            let outcome = bench.outcome(rule);
            let lacks = usize::from(charging != Charging::Live);
            assert_eq!((outcome.hits.len(), outcome.lacks.len()), (0, lacks), "{}", rule.code);
            // What is known to be there is there, whatever else isn't known.
            bench.part(Kind::ChargingCylinder, "CC-1").includes = Kinds::NONE.with(kind);
            bench.line("CC-1");
            assert_eq!(bench.outcome(rule), Outcome::default(), "{}", rule.code);
        }
        let mut bench = charged_by(Charging::Cylinder);
        bench.fit(kind, "VA-1", 350.0);
        assert_eq!(bench.outcome(rule), Outcome::default(), "{}", rule.code);
        bench.circuit.lines.clear();
        bench.fit(Kind::Clamp, "CL-1", 350.0);
        bench.service().faults = vec![unreadable("charging")];
        assert_eq!(bench.outcome(rule).lacks[0].figure, Figure::Cell, "{}", rule.code);
    }
}

#[test]
fn m04_looks_at_the_clamp_side_alone() {
    let mut bench = TestCircuit::double();
    bench.fit(Kind::IsolationValve, "VA-1", 350.0).side = Side::Unclamp;
    assert_eq!(bench.outcome(&M04).hits.len(), 1);
    bench.circuit.lines[0].side = Side::Both;
    assert!(bench.outcome(&M04).hits.is_empty());
}

#[test]
fn m05_is_content_with_a_gauge_or_a_test_point() {
    for charging in [Charging::Cylinder, Charging::Coupler, Charging::Live] {
        let mut bench = charged_by(charging);
        bench.fit(Kind::Clamp, "CL-1", 350.0);
        assert_eq!(bench.outcome(&M05).hits.len(), 1);
        bench.fit(Kind::TestPoint, "TP-1", 350.0);
        assert!(bench.outcome(&M05).hits.is_empty());
        bench.circuit.lines.pop();
        bench.fit(Kind::Gauge, "GA-1", 350.0);
        assert!(bench.outcome(&M05).hits.is_empty());
    }
}

#[test]
fn m06_compares_clamp_and_circuit() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::Clamp, "SINGLE");
    bench.part(Kind::Clamp, "DOUBLE").volume_unclamp = Some(Volume::from_cm3(5.0));
    bench.line("SINGLE");
    bench.line("DOUBLE");
    let lines = |bench: &TestCircuit| bench.outcome(&M06).hits.iter().map(|hit| hit.line).collect::<Vec<_>>();
    assert_eq!(lines(&bench), [Some(1)], "blank, both sorts");
    bench.service().acting = Some(Acting::Single);
    assert_eq!(lines(&bench), [Some(1)], "stated single");
    bench.service().acting = Some(Acting::Double);
    bench.figures.acting = Acting::Double;
    assert_eq!(lines(&bench), [Some(0)], "stated double");
    bench.circuit.lines.remove(0);
    assert!(lines(&bench).is_empty());
    bench.service().acting = None;
    assert!(lines(&bench).is_empty(), "blank, double alone");
    bench.service().faults = vec![unreadable("acting")];
    assert_eq!(bench.outcome(&M06).lacks[0].figure, Figure::Cell);
}

#[test]
fn m07_matches_seals_without_case() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::Clamp, "CL-1", 350.0);
    for (seal, fires) in [("", false), ("nbr", false), ("FKM", false), ("EPDM", true)] {
        bench.plant.components[0].seal = seal.into();
        assert_eq!(bench.outcome(&M07).hits.len(), usize::from(fires), "{seal}");
    }
    bench.service().fluid = "glycol".into();
    let outcome = bench.outcome(&M07);
    assert_eq!((outcome.hits.len(), outcome.lacks[0].figure), (0, Figure::Fluid));
}

#[test]
fn m08_compares_the_strokes() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::ChargingCylinder, "CC-1", 350.0);
    bench.plant.components[0].stroke = Some(Length::from_mm(60.0));
    assert_eq!(bench.outcome(&M08), Outcome::default(), "no station named");
    at_station(&mut bench, StationPart::Blank, StationPart::Blank);
    assert_eq!(bench.outcome(&M08).lacks[0].figure, Figure::DriveRamStroke);
    bench.part(Kind::DriveRam, "DR-1");
    at_station(&mut bench, StationPart::Blank, StationPart::Known(1));
    assert_eq!(bench.outcome(&M08).lacks[0].figure, Figure::DriveRamStroke);
    for (stroke, fires) in [(60.0, false), (80.0, false), (59.0, true), (60.0 * (1.0 - 1e-10), false)] {
        bench.plant.components[1].stroke = Some(Length::from_mm(stroke));
        let outcome = bench.outcome(&M08);
        assert_eq!((outcome.hits.len(), outcome.lacks.len()), (usize::from(fires), 0), "{stroke}");
    }
    bench.service().charging = Some(Charging::Coupler);
    bench.plant.components[1].stroke = Some(Length::from_mm(1.0));
    assert_eq!(bench.outcome(&M08), Outcome::default());
}

#[test]
fn m09_multiplies_the_demand_by_the_ratio() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::Clamp, "CL-1", 350.0);
    bench.figures.clamp.chain.ratio = Some(2.0);
    bench.figures.clamp.volumes.demand = Some(Volume::from_cm3(125.0));
    bench.part(Kind::Pump, "PU-1");
    assert_eq!(bench.outcome(&M09), Outcome::default(), "no station named");
    at_station(&mut bench, StationPart::Known(1), StationPart::Blank);
    assert_eq!(bench.outcome(&M09), Outcome::default(), "no capacity stated");
    // By hand: 2 × 125 cm³ = 250 cm³.
    for (capacity, fires) in [(250.0, false), (300.0, false), (249.0, true)] {
        bench.plant.components[1].capacity = Some(Volume::from_cm3(capacity));
        let hits = bench.outcome(&M09).hits;
        assert_eq!(hits.len(), usize::from(fires), "{capacity}");
        for hit in hits {
            assert_eq!(hit.measured, Some(Value::Volume(Volume::from_cm3(250.0))));
        }
    }
    bench.figures.clamp.volumes.demand = None;
    assert_eq!(bench.outcome(&M09).lacks[0].figure, Figure::Demand);
    at_station(&mut bench, StationPart::Unknown("PU-9".into()), StationPart::Blank);
    assert_eq!(bench.outcome(&M09).lacks[0].figure, Figure::Demand);
    at_station(&mut bench, StationPart::Blank, StationPart::Blank);
    assert_eq!(bench.outcome(&M09), Outcome::default());
}

#[test]
fn m10_wants_a_filter_where_oil_crosses() {
    for (charging, fires) in [(Charging::Cylinder, false), (Charging::Coupler, true), (Charging::Live, true)] {
        let mut bench = charged_by(charging);
        bench.fit(Kind::Coupling, "CO-1", 350.0);
        let hits = bench.outcome(&M10).hits;
        assert_eq!(hits.len(), usize::from(fires), "{charging}");
        bench.plant.components[0].includes = Kinds::NONE.with(Kind::Filter);
        assert_eq!(bench.outcome(&M10), Outcome::default(), "{charging}");
    }
}

/// A list is put right by the part that it names: who only writes it down passes without the valve.
#[test]
fn what_is_missing_is_fitted_before_it_is_listed() {
    for rule in [&M01, &M03, &M04, &M05, &M10, &M12] {
        assert!(rule.remedy.starts_with("Fit a"), "{}: {}", rule.code, rule.remedy);
        assert!(rule.remedy.contains("where one is fitted already, list it"), "{}: {}", rule.code, rule.remedy);
    }
}
