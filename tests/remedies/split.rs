//! The split has the fewest groups: against all ways to share out up to ten clamps.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;
use std::path::Path;

use chrono::NaiveDate;
use clampbook::audit::basis::with_searching;
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::fixture::load_fixture;
use clampbook::circuit::fixture::{Ground, audit_fixture};
use clampbook::remedy::change::Change;
use clampbook::tables::circuit::Circuit;
use clampbook::tables::line::{Cell, PartRef};
use clampbook::tables::words::Kind;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// What a circuit is made of: strokes of its clamps in mm, whether a work support stands under the
/// first one, capacities of the cylinders in cm³.
#[derive(Clone, Debug)]
struct Case {
    strokes: Vec<f64>,
    has_support: bool,
    capacities: Vec<u32>,
}

fn case() -> impl Strategy<Value = Case> {
    let strokes = prop::collection::vec((4_u32..60).prop_map(f64::from), 2..=10);
    let capacities = prop::collection::vec(20_u32..70, 1..4);
    (strokes, any::<bool>(), capacities).prop_map(|(strokes, has_support, capacities)| Case {
        strokes,
        has_support,
        capacities,
    })
}

fn write(case: &Case, folder: &Path) {
    let mut parts =
        "part_no,kind,rated_pressure,area_clamp [mm2],stroke [mm],capacity [cm3],inner_diameter,dead_volume,\
        support_capacity,pressure_ratio\n"
            .to_owned();
    parts.push_str("VALVE,check_valve,400,,,,,0.5,,\nSHUT,isolation_valve,400,,,,,0.4,,\nDIAL,gauge,400,,,,,0.2,,\n");
    parts.push_str("LINE,tube,400,,,,5,,,\nREST,work_support,400,200,10,,,,40000,\n");
    for (index, stroke) in case.strokes.iter().enumerate() {
        writeln!(parts, "CLAMP-{index},clamp,400,500,{stroke},,,,,").unwrap();
    }
    for (index, capacity) in case.capacities.iter().enumerate() {
        writeln!(parts, "CYL-{index},charging_cylinder,400,,,{capacity},,,,0.5").unwrap();
    }
    let mut lines =
        "position,part_no,qty,length [mm],supports\n,VALVE,1,,\n,SHUT,1,,\n,DIAL,1,,\n,LINE,1,3000,\n".to_owned();
    lines.push_str(",CYL-0,1,,\n");
    for index in 0..case.strokes.len() {
        writeln!(lines, "K{index},CLAMP-{index},1,,").unwrap();
    }
    if case.has_support {
        lines.push_str("S,REST,1,,K0\n");
    }
    fs::create_dir_all(folder.join("lists")).unwrap();
    fs::write(folder.join("components.csv"), parts).unwrap();
    fs::write(folder.join("lists/one.csv"), lines).unwrap();
    let service = "fixture,circuit,pressure_set\none,1,150\n";
    fs::write(folder.join("circuits.csv"), service).unwrap();
}

/// The lines that stay together, by index: each clamp, the first with its support.
fn units(circuit: &Circuit, ground: &Ground) -> Vec<Vec<usize>> {
    let is = |index: &usize, kind| {
        circuit.lines[*index].component(&ground.plant.components).is_some_and(|part| part.is(kind))
    };
    let clamps = (0..circuit.lines.len()).filter(|index| is(index, Kind::Clamp));
    let mut units: Vec<Vec<usize>> = clamps.map(|index| vec![index]).collect();
    units[0].extend((0..circuit.lines.len()).filter(|index| is(index, Kind::WorkSupport)));
    units
}

/// Swept volume by hand: area times stroke.
fn swept(circuit: &Circuit, ground: &Ground, lines: &[usize]) -> f64 {
    let one = |index: &usize| {
        let part = circuit.lines[*index].component(&ground.plant.components).unwrap();
        part.area_clamp.unwrap().si() * part.stroke.unwrap().si()
    };
    lines.iter().map(one).sum()
}

/// Whether a group of lines is filled by some cylinder without a major or minor finding.
fn serves(ground: &Ground, circuit: &Circuit, lines: &[usize], share: f64) -> bool {
    (0_u32..).zip(&ground.plant.components).filter(|(_, part)| part.is(Kind::ChargingCylinder)).any(|(cylinder, _)| {
        let mut group = Circuit { lines: Vec::new(), trial_share: Some(share), ..circuit.clone() };
        for (index, line) in circuit.lines.iter().enumerate() {
            let part = line.component(&ground.plant.components).unwrap();
            let mut line = line.clone();
            match part.kind {
                Some(Kind::Clamp | Kind::WorkSupport) if !lines.contains(&index) => continue,
                Some(Kind::Tube) => line.length = Cell::Value(line.length.value().unwrap() * share),
                Some(Kind::ChargingCylinder) => line.part = PartRef::Known(cylinder),
                _ => {}
            }
            group.lines.push(line);
        }
        let audits = audit_fixture(ground, vec![group]);
        audits[0].findings.iter().all(|finding| !finding.counts())
    })
}

/// The fewest groups over every way to share out the units, tried one by one.
fn fewest(ground: &Ground, circuit: &Circuit) -> Option<usize> {
    let units = units(circuit, ground);
    let all: Vec<usize> = units.concat();
    let total = swept(circuit, ground, &all);
    let mut known: BTreeMap<u32, bool> = BTreeMap::new();
    let mut best: Option<usize> = None;
    // The group of each unit; a unit opens at most one new group.
    let mut group_of = vec![0_usize; units.len()];
    loop {
        let count = group_of.iter().max().unwrap() + 1;
        let fits = best.is_none_or(|best| count < best)
            && (0..count).all(|group| {
                let own: Vec<usize> = (0..units.len()).filter(|unit| group_of[*unit] == group).collect();
                let mask = own.iter().map(|unit| 1 << unit).sum();
                let lines: Vec<usize> = own.iter().flat_map(|unit| units[*unit].clone()).collect();
                let share = swept(circuit, ground, &lines) / total;
                *known.entry(mask).or_insert_with(|| serves(ground, circuit, &lines, share))
            });
        if fits {
            best = Some(count);
        }
        if !next(&mut group_of) {
            return best;
        }
    }
}

/// The next way to share out: restricted growth strings in order.
fn next(group_of: &mut [usize]) -> bool {
    for index in (1..group_of.len()).rev() {
        let most = group_of[..index].iter().max().unwrap() + 1;
        if group_of[index] < most {
            group_of[index] += 1;
            group_of[index + 1..].fill(0);
            return true;
        }
    }
    false
}

/// Fewest groups by hand and as offered; `None` where the circuit is filled as it stands.
fn compared(case: &Case) -> Option<(Option<usize>, Option<usize>)> {
    let folder = tempfile::tempdir().unwrap();
    write(case, folder.path());
    let reading = clampbook::read::open(folder.path(), None, NaiveDate::from_ymd_opt(2026, 3, 2).unwrap()).unwrap();
    with_searching(&reading.plant, &reading.lists, false, |searching| {
        let mut audits: Vec<CircuitAudit> = load_fixture(searching.roster, searching.ground, 0..1)?.audits;
        let others: Vec<&str> =
            audits[0].findings.iter().filter(|one| one.counts() && one.rule != "V01").map(|one| one.rule).collect();
        assert!(others.is_empty(), "{others:?}");
        if audits[0].findings.iter().all(|finding| finding.rule != "V01") {
            return Ok(None);
        }
        let by_hand = fewest(searching.ground, &audits[0].circuit);
        let proved = searching.complete(&mut audits);
        let offered = proved.iter().find(|one| one.cleared.iter().any(|problem| problem.rule == "V01"));
        let offered =
            offered.map(|proved| if let Change::Split { groups, .. } = &proved.change { groups.len() } else { 1 });
        Ok(Some((by_hand, offered)))
    })
    .unwrap()
}

#[test]
fn the_split_has_the_fewest_groups() {
    let config = Config { cases: 48, max_shrink_iters: 100, failure_persistence: None, ..Config::default() };
    let seen = std::cell::RefCell::new(BTreeMap::<Option<usize>, u32>::new());
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&case(), |case| {
        if let Some((by_hand, offered)) = compared(&case) {
            prop_assert_eq!(by_hand, offered);
            *seen.borrow_mut().entry(by_hand).or_default() += 1;
        }
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let seen = seen.into_inner();
    let is_varied = [None, Some(1), Some(2), Some(3), Some(4)].iter().all(|count| seen.contains_key(count));
    assert!(is_varied, "{seen:?}");
}
