use super::*;
use crate::physics::quantity::{Area, Force, Length, Pressure, Volume};
use crate::rules::test_circuit::{TestCircuit, bar};
use crate::tables::component::{Component, RepeatedPart};
use crate::tables::kinds::Kinds;
use crate::tables::line::Alteration;
use crate::tables::origin::Source;
use crate::tables::station::Station;
use crate::tables::usage::Usage;
use crate::tables::words::Kind;

fn fault(column: &'static str) -> CellFault {
    CellFault { column, letter: "F".into(), found: "63,5 mn".into(), expected: "a length such as '63.5 mm'".into() }
}

fn fact<'a>(hit: &'a Hit, name: &str) -> Option<&'a Value> {
    hit.facts.iter().find(|(fact, _)| *fact == name).map(|(_, value)| value)
}

fn in_use() -> Usage {
    Usage { is_used: true, circuits: 1, ..Usage::default() }
}

fn with_source(bench: &mut TestCircuit) {
    bench.plant.sources.push(Source {
        file: "lists/a.csv".into(),
        sheet: String::new(),
        table: None,
        header: Vec::new(),
        unknown_headers: Vec::new(),
        sha256: String::new(),
        rows_read: 9,
        rows_set_aside: 0,
        rows_skipped: 0,
        remarks: Vec::new(),
        hidden: Vec::new(),
        is_left_out: false,
    });
}

#[test]
fn l01_names_the_nearest_part() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::Clamp, "CL-2010");
    bench.line("CL-2010");
    assert_eq!(bench.outcome(&L01), Outcome::default());
    bench.line("cl-2010");
    bench.line("CL-2011");
    bench.line("");
    let hits = bench.outcome(&L01).hits;
    assert_eq!(hits.iter().map(|hit| hit.line).collect::<Vec<_>>(), [Some(1), Some(2), Some(3)]);
    assert_eq!(fact(&hits[0], "twin"), Some(&text("CL-2010")));
    assert_eq!(fact(&hits[0], "difference"), Some(&text("upper and lower case")));
    assert_eq!(fact(&hits[1], "nearest"), Some(&Value::List(vec!["CL-2010".into()])));
    assert_eq!(fact(&hits[2], "empty"), Some(&text("part_no")));
}

#[test]
fn l01_looks_at_stations_too() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::Pump, "PU-1");
    let station = |pump, drive_ram| Station { pump, drive_ram, ..Station::default() };
    let known = station(StationPart::Known(0), StationPart::Blank);
    assert!(bench.outcome_of_station(&L01, &known).hits.is_empty());
    let unknown = station(StationPart::Known(0), StationPart::Unknown("DR-9".into()));
    let hits = bench.outcome_of_station(&L01, &unknown).hits;
    assert_eq!((hits.len(), hits[0].column), (1, Some("drive_ram")));
}

#[test]
fn l02_takes_whole_numbers_above_0_alone() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::Tube, "TU-1", 300.0);
    for (qty, fires) in [
        (Cell::Value(1.0), false),
        (Cell::Value(4.0), false),
        (Cell::Value(0.0), true),
        (Cell::Value(-1.0), true),
        (Cell::Value(2.5), true),
        (Cell::Blank, true),
        (Cell::Unreadable, true),
    ] {
        let line = &mut bench.circuit.lines[0];
        line.qty = qty;
        line.qty_text = "four".into();
        let hits = bench.outcome(&L02).hits;
        assert_eq!(!hits.is_empty(), fires, "{qty:?}");
        for hit in hits {
            assert_eq!(hit.measured, qty.value().map(Value::Number), "{qty:?}");
            assert_eq!(fact(&hit, "found").is_some(), qty == Cell::Unreadable, "{qty:?}");
            assert_eq!(fact(&hit, "conductor"), Some(&text("tube")));
        }
    }
}

#[test]
fn l03_wants_a_position_for_each_line() {
    let mut bench = TestCircuit::single();
    with_source(&mut bench);
    for (row, position) in [(2, "C1"), (3, "C2"), (4, ""), (5, ""), (6, "C1")] {
        let line = bench.line("CL-1");
        line.position = position.into();
        line.origin = Origin { source: 0, row };
    }
    let hits = bench.outcome(&L03).hits;
    assert_eq!((hits.len(), hits[0].line), (1, Some(4)));
    assert_eq!(fact(&hits[0], "elsewhere"), Some(&text("lists/a.csv")));
    assert_eq!(fact(&hits[0], "row"), Some(&Value::Count(2)));
    assert_eq!(fact(&hits[0], "earlier_part"), Some(&text("CL-1")));
}

#[test]
fn l04_gives_one_finding_for_a_row() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::Clamp, "CL-1", 300.0);
    assert!(bench.outcome(&L04).hits.is_empty());
    bench.circuit.lines[0].faults = vec![fault("length"), fault("share")];
    bench.service().faults = vec![fault("pressure_min")];
    let hits = bench.outcome(&L04).hits;
    assert_eq!(hits.len(), 2);
    assert_eq!((hits[0].line, hits[0].column), (Some(0), Some("length")));
    assert_eq!(fact(&hits[0], "cell"), Some(&text("F (length)")));
    assert_eq!(fact(&hits[0], "others"), Some(&Value::List(vec!["F (share) '63,5 mn'".into()])));
    assert_eq!((hits[1].line, hits[1].column), (None, Some("pressure_min")));
}

#[test]
fn l04_tells_what_was_done() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::Clamp, "CL-1");
    assert!(bench.outcome_of_part(&L04, "CL-1", &in_use(), &[]).hits.is_empty());
    bench.plant.components[0].faults = vec![fault("unit_price")];
    let hits = bench.outcome_of_part(&L04, "CL-1", &Usage::default(), &[]).hits;
    assert_eq!(fact(&hits[0], "left_blank"), Some(&text("the cell")));
    bench.plant.components[0].is_spoiled = true;
    let hits = bench.outcome_of_part(&L04, "CL-1", &Usage::default(), &[]).hits;
    assert_eq!(fact(&hits[0], "set_aside"), Some(&text("all lines of the part")));
    let station = Station { faults: vec![fault("pump_setting")], ..Station::default() };
    assert_eq!(bench.outcome_of_station(&L04, &station).hits.len(), 1);
}

#[test]
fn l05_is_not_l01() {
    let mut bench = TestCircuit::single();
    bench.line("CL-1").part = PartRef::Altered(Box::new(Alteration {
        text: "1.2E+05".into(),
        looks_like: "a number in scientific notation",
        likely: Some("120000".into()),
    }));
    assert!(bench.outcome(&L01).hits.is_empty());
    let hits = bench.outcome(&L05).hits;
    assert_eq!((hits.len(), fact(&hits[0], "likely")), (1, Some(&text("120000"))));
    bench.circuit.lines[0].part = PartRef::Unknown("CL-9".into());
    assert!(bench.outcome(&L05).hits.is_empty());
}

#[test]
fn l06_asks_tubes_and_hoses_for_a_length() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::Clamp, "CL-1", 300.0);
    for (length, fires) in [
        (Cell::Blank, true),
        (Cell::Value(Length::from_mm(1.0)), false),
        // What can't be read is L04's alone.
        (Cell::Unreadable, false),
    ] {
        for kind in [Kind::Tube, Kind::Hose] {
            bench.fit(kind, "TU-1", 300.0).length = length;
            assert_eq!(bench.outcome(&L06).hits.len(), usize::from(fires), "{length:?}");
            bench.circuit.lines.pop();
        }
    }
}

#[test]
fn l07_compares_the_stroke_used_with_the_stroke() {
    let mut bench = TestCircuit::single();
    bench.fit(Kind::Clamp, "CL-1", 300.0).stroke_used = Some(Length::from_mm(12.0));
    assert_eq!(bench.outcome(&L07).lacks[0].figure, Figure::Stroke);
    for (stroke, fires) in [(12.0, false), (12.5, false), (11.9, true), (12.0 * (1.0 - 1e-10), false)] {
        bench.plant.components[0].stroke = Some(Length::from_mm(stroke));
        let outcome = bench.outcome(&L07);
        assert_eq!((outcome.hits.len(), outcome.lacks.len()), (usize::from(fires), 0), "{stroke}");
    }
    // Of a line that is set aside nothing is found, and nothing passes.
    bench.plant.components[0].stroke = Some(Length::from_mm(5.0));
    assert_eq!(bench.outcome(&L07).hits.len(), 1);
    bench.circuit.lines[0].qty = Cell::Blank;
    let outcome = bench.outcome(&L07);
    assert_eq!((outcome.hits.len(), outcome.lacks[0].figure), (0, Figure::Line));
}

#[test]
fn l08_wants_a_circuit_in_both_tables() {
    let mut bench = TestCircuit::single();
    bench.plant.has_circuits = true;
    let hits = bench.outcome(&L08).hits;
    assert!(fact(&hits[0], "missing_line").is_some());
    bench.fit(Kind::Clamp, "CL-1", 300.0);
    assert!(bench.outcome(&L08).hits.is_empty());
    bench.circuit.service = None;
    let hits = bench.outcome(&L08).hits;
    assert_eq!(fact(&hits[0], "lines"), Some(&text("1 line")));
    bench.plant.has_circuits = false;
    assert!(bench.outcome(&L08).hits.is_empty());
}

/// Words of what is missing.
fn missing(component: &Component, usage: &Usage) -> Vec<&'static str> {
    missing_figures(component, usage).iter().map(|gap| gap.words).collect()
}

#[test]
fn l09_asks_each_kind_for_what_it_needs() {
    let forced = Usage { force_is_asked: true, ..in_use() };
    let supporting = Usage { supports: true, ..in_use() };
    let of = |kind| Component { kind: Some(kind), ..Component::default() };
    let sweep = "area_clamp and stroke, or volume_clamp";
    for (kind, usage, expected) in [
        (Kind::Clamp, in_use(), vec!["rated_pressure", sweep]),
        (Kind::Clamp, forced, vec!["rated_pressure", "area_clamp with stroke or volume_clamp"]),
        (Kind::WorkSupport, in_use(), vec!["rated_pressure", sweep]),
        (Kind::WorkSupport, supporting, vec!["rated_pressure", "support_capacity", sweep]),
        (Kind::ChargingCylinder, in_use(), vec!["rated_pressure", "capacity"]),
        (Kind::Accumulator, in_use(), vec!["rated_pressure", "gas_volume", "precharge"]),
        (Kind::ReliefValve, in_use(), vec!["rated_pressure", "set_pressure"]),
        (Kind::ReducingValve, in_use(), vec!["rated_pressure", "set_pressure"]),
        (Kind::SequenceValve, in_use(), vec!["rated_pressure", "set_pressure"]),
        (Kind::Gauge, in_use(), vec!["rated_pressure or full_scale"]),
        (Kind::Tube, in_use(), vec!["inner_diameter", "rated_pressure, or outer_diameter and tensile_strength"]),
        (Kind::Hose, in_use(), vec!["rated_pressure", "inner_diameter"]),
        (Kind::Other, in_use(), vec![]),
        (Kind::Pump, in_use(), vec!["rated_pressure"]),
        (Kind::Fitting, in_use(), vec!["rated_pressure"]),
    ] {
        assert_eq!(missing(&of(kind), &usage), expected, "{kind}");
    }
    assert_eq!(missing(&Component::default(), &in_use()), ["kind"]);
}

/// Figures of a line's own setting are known, whatever its part lacks.
#[test]
fn l09_tells_what_lines_may_state_themselves() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::ReliefValve, "RV-1").rated_pressure = Some(bar(350.0));
    let told = |bench: &TestCircuit| {
        let hits = bench.outcome_of_part(&L09, "RV-1", &in_use(), &[]).hits;
        (hits.len(), fact(&hits[0], "set_on_lines").is_some())
    };
    assert_eq!(told(&bench), (1, true));
    bench.plant.components[0].rated_pressure = None;
    assert_eq!(told(&bench), (1, false));
}

#[test]
fn l09_is_content_with_one_of_two_ways() {
    let area = Some(Area::from_mm2(500.0));
    let stroke = Some(Length::from_mm(10.0));
    let volume = Some(Volume::from_cm3(5.0));
    let forced = Usage { force_is_asked: true, ..in_use() };
    let clamp = |area_clamp, stroke, volume_clamp| Component {
        kind: Some(Kind::Clamp),
        rated_pressure: Some(bar(350.0)),
        area_clamp,
        stroke,
        volume_clamp,
        ..Component::default()
    };
    for (component, usage, expected) in [
        (clamp(area, stroke, None), &forced, None),
        (clamp(area, None, volume), &forced, None),
        (clamp(None, None, volume), &in_use(), None),
        (clamp(None, None, volume), &forced, Some("area_clamp")),
        (clamp(None, stroke, None), &in_use(), Some("area_clamp or volume_clamp")),
        (clamp(area, None, None), &in_use(), Some("stroke or volume_clamp")),
    ] {
        assert_eq!(missing(&component, usage), Vec::from_iter(expected));
    }
    let gauge = Component { kind: Some(Kind::Gauge), full_scale: Some(bar(400.0)), ..Component::default() };
    assert!(missing(&gauge, &in_use()).is_empty());
    let tube = Component {
        kind: Some(Kind::Tube),
        inner_diameter: stroke,
        tensile_strength: Some(Pressure::from_mpa(400.0)),
        ..Component::default()
    };
    assert_eq!(missing(&tube, &in_use()), ["rated_pressure or outer_diameter"]);
}

#[test]
fn l09_leaves_unread_cells_and_unused_parts_alone() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::CheckValve, "CV-1");
    let hits = bench.outcome_of_part(&L09, "CV-1", &in_use(), &[]).hits;
    assert_eq!((hits.len(), hits[0].column), (1, Some("rated_pressure")));
    assert!(bench.outcome_of_part(&L09, "CV-1", &Usage::default(), &[]).hits.is_empty());
    bench.plant.components[0].faults = vec![fault("rated_pressure")];
    assert!(bench.outcome_of_part(&L09, "CV-1", &in_use(), &[]).hits.is_empty());
}

#[test]
fn l10_tolerates_up_to_the_policys_share() {
    let mut bench = TestCircuit::single();
    let part = bench.part(Kind::Clamp, "CL-1");
    part.area_clamp = Some(Area::from_cm2(10.0));
    part.stroke = Some(Length::from_mm(10.0));
    part.force_max = Some(Force::from_kn(1.0));
    // By hand: 10 cm² × 10 mm = 10 cm³, 2 % of it 0.2 cm³.
    for (volume, limit) in [(10.0, None), (10.2, None), (9.8, None), (10.3, Some(10.2)), (9.7, Some(9.8))] {
        bench.plant.components[0].volume_clamp = Some(Volume::from_cm3(volume));
        let hits = bench.outcome_of_part(&L10, "CL-1", &in_use(), &[]).hits;
        let found = hits.first().and_then(|hit| hit.limit.as_ref()).and_then(Value::metric).map(|(limit, _)| limit);
        match (found, limit) {
            (Some(found), Some(limit)) => assert!((found - limit).abs() < 1e-9, "{volume}"),
            (found, limit) => assert_eq!(found, limit, "{volume}"),
        }
    }
    bench.plant.components[0].area_unclamp = Some(Area::from_cm2(5.0));
    bench.plant.components[0].volume_unclamp = Some(Volume::from_cm3(10.0));
    let hits = bench.outcome_of_part(&L10, "CL-1", &in_use(), &[]).hits;
    assert_eq!((hits.len(), hits[0].column), (1, Some("volume_unclamp")));
    assert!(bench.outcome_of_part(&L10, "CL-1", &Usage::default(), &[]).hits.is_empty());
}

#[test]
fn l11_names_what_differs() {
    let mut bench = TestCircuit::single();
    bench.part(Kind::Clamp, "CL-1").includes = Kinds::NONE;
    assert!(bench.outcome_of_part(&L11, "CL-1", &Usage::default(), &[]).hits.is_empty());
    let again = |row, differing| RepeatedPart { first: 0, again: Origin { source: 0, row }, differing };
    let repeats = [again(7, vec!["rated_pressure"]), again(9, vec!["rated_pressure", "stroke"])];
    let hits = bench.outcome_of_part(&L11, "CL-1", &Usage::default(), &repeats).hits;
    assert_eq!((hits.len(), hits[0].origin), (1, Some(Origin { source: 0, row: 7 })));
    assert_eq!(fact(&hits[0], "times"), Some(&text("3 times")));
    assert_eq!(fact(&hits[0], "differing"), Some(&Value::List(vec!["rated_pressure".into(), "stroke".into()])));
}

#[test]
fn l12_names_the_earlier_place() {
    let mut bench = TestCircuit::single();
    with_source(&mut bench);
    bench.line("CL-1");
    assert!(bench.outcome(&L12).hits.is_empty());
    bench.line("CL-1").repeats = Some(Origin { source: 0, row: 4 });
    let hits = bench.outcome(&L12).hits;
    assert_eq!((hits.len(), hits[0].line, fact(&hits[0], "row")), (1, Some(1), Some(&Value::Count(4))));
}
