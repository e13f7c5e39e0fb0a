//! Any one offered remedy, applied by itself in memory: what it claims to clear is gone, and no
//! major or minor finding came anywhere in the plant.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use chrono::NaiveDate;
use clampbook::audit::basis::with_searching;
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::fixture::audit_fixture;
use clampbook::circuit::fixture::load_fixture;
use clampbook::circuit::off_circuit::station_findings;
use clampbook::remedy::change::Change;
use clampbook::remedy::search::Searching;
use clampbook::remedy::succession::{succession, successor};
use clampbook::tables::circuit::Circuit;
use clampbook::tables::finding::Finding;
use clampbook::tables::origin::Origin;
use clampbook::tables::words::Side;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// A finding that must go or must not come: rule, place, side, row of the line.
type Seen = (&'static str, String, Option<Side>, Option<Origin>);

/// A remedy as offered: where, what, and what it clears.
struct Offered {
    fixture: Option<usize>,
    circuit: usize,
    change: Change,
    cleared: BTreeSet<Seen>,
}

fn seen(place: &str, finding: &Finding) -> Seen {
    (finding.rule, place.to_owned(), finding.side, finding.line.and(finding.origin))
}

/// What counts, and V03, which a smaller cylinder clears.
fn all_seen(audits: &[CircuitAudit], name: impl Fn(usize) -> String) -> BTreeSet<Seen> {
    let of = |(index, audit): (usize, &CircuitAudit)| {
        let place = name(index);
        let weighs = audit.findings.iter().filter(|finding| finding.counts() || finding.rule == "V03");
        weighs.map(|finding| seen(&place, finding)).collect::<Vec<_>>()
    };
    audits.iter().enumerate().flat_map(of).collect()
}

fn offered(searching: &Searching, fixtures: &mut [Vec<CircuitAudit>]) -> Vec<Offered> {
    let mut all = Vec::new();
    for (fixture, audits) in fixtures.iter_mut().enumerate() {
        for proved in searching.complete(audits) {
            let cleared = proved.cleared.iter().map(|problem| {
                (problem.rule, audits[problem.circuit].circuit.key.to_string(), problem.side, problem.line)
            });
            let cleared = cleared.collect();
            all.push(Offered { fixture: Some(fixture), circuit: proved.circuit, change: proved.change, cleared });
        }
    }
    let ground = searching.ground;
    let every: Vec<usize> = (0..fixtures.len()).collect();
    for (from, component) in (0_u32..).zip(&ground.plant.components) {
        let Some(to) = successor(ground, component) else { continue };
        let result = succession(searching.roster, ground, from, to, &every).unwrap();
        if result.is_proved() {
            let change = Change::Succeed { from, to };
            all.push(Offered { fixture: None, circuit: 0, change, cleared: BTreeSet::new() });
        }
    }
    all
}

/// The circuits of a fixture with a remedy applied, and the place that each stands for.
fn changed(
    searching: &Searching,
    remedy: &Offered,
    fixture: usize,
    audits: &[CircuitAudit],
) -> (Vec<Circuit>, Vec<String>) {
    let plant = searching.ground.plant;
    let station = |audit: &CircuitAudit| audit.circuit.service.as_ref().map(|service| service.station.clone());
    let (mut circuits, mut places) = (Vec::new(), Vec::new());
    let own = remedy.fixture.map(|index| station(&searching_audit(searching, index, remedy.circuit)));
    for (index, audit) in audits.iter().enumerate() {
        let is_here = match (&remedy.change, remedy.fixture) {
            (Change::Succeed { .. }, _) => true,
            (change, _) if change.is_of_station() => own == Some(station(audit)) && station(audit).is_some(),
            (_, of) => of == Some(fixture) && index == remedy.circuit,
        };
        let after = if is_here { remedy.change.applied(plant, &audit.circuit) } else { vec![audit.circuit.clone()] };
        places.extend(after.iter().map(|_| audit.circuit.key.to_string()));
        circuits.extend(after);
    }
    (circuits, places)
}

fn searching_audit(searching: &Searching, fixture: usize, circuit: usize) -> CircuitAudit {
    let range = searching.roster.fixtures[fixture].clone();
    load_fixture(searching.roster, searching.ground, range).unwrap().audits.swap_remove(circuit)
}

/// Tries each remedy of a plant by itself; answers with the kinds tried.
fn hold(root: &Path) -> Vec<&'static str> {
    let date = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let reading = clampbook::read::open(root, None, date).unwrap();
    let plant = &reading.plant;
    with_searching(plant, &reading.lists, false, |searching| {
        let load = |range: &std::ops::Range<usize>| load_fixture(searching.roster, searching.ground, range.clone());
        let mut fixtures: Vec<Vec<CircuitAudit>> =
            searching.roster.fixtures.iter().map(|range| load(range).unwrap().audits).collect();
        let remedies = offered(searching, &mut fixtures);
        searching.settles_only = true;
        for remedy in &remedies {
            for (fixture, audits) in fixtures.iter().enumerate() {
                let before = all_seen(audits, |index| audits[index].circuit.key.to_string());
                let (circuits, places) = changed(searching, remedy, fixture, audits);
                let mut audits = audit_fixture(searching.ground, circuits);
                // Whether a still smaller cylinder would do.
                let _ = searching.complete(&mut audits);
                let after = all_seen(&audits, |index| places[index].clone());
                let left: Vec<&Seen> = after.intersection(&remedy.cleared).collect();
                assert!(left.is_empty(), "{:?} does not clear {left:?}", remedy.change);
                let came: Vec<&Seen> = after.difference(&before).filter(|seen| seen.0 != "V03").collect();
                assert!(came.is_empty(), "{:?} brings {came:?}", remedy.change);
            }
        }
        for index in 0..plant.stations.len() {
            for finding in station_findings(plant, index).0.iter().filter(|one| matches!(one.rule, "P02" | "P04")) {
                let Ok(change) = searching.station_remedy(index, finding) else { continue };
                let setting = if let Change::StationSetting { to } = change { Some(to) } else { None };
                assert!(setting.is_none_or(|to| Some(to) < plant.stations[index].pump_setting), "{change:?}");
            }
        }
        Ok(remedies.iter().map(|remedy| kind(&remedy.change)).collect())
    })
    .unwrap()
}

fn kind(change: &Change) -> &'static str {
    match change {
        Change::Swap { .. } => "part",
        Change::Succeed { .. } => "succession",
        Change::Setting { .. } => "setting",
        Change::Add { .. } => "addition",
        Change::StationSetting { .. } => "pump setting",
        Change::StationPart { .. } => "station part",
        Change::Split { .. } => "split",
    }
}

#[test]
fn any_one_remedy_clears_what_it_says_and_brings_nothing() {
    let config = Config { cases: 96, max_shrink_iters: 200, failure_persistence: None, ..Config::default() };
    let tried = RefCell::new(BTreeMap::<&str, u32>::new());
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&crate::making::plant(), |mut plant| {
        // Obsolete parts get a successor of their kind.
        let head: Vec<&str> = crate::tables::COMPONENTS.split(',').map(str::trim).collect();
        let column = |name: &str| head.iter().position(|column| *column == name).unwrap();
        let (part_no, status) = (column("part_no"), column("status"));
        for row in &mut plant.components {
            let successor = row[part_no].replace("-1", "-2");
            row.push(if row[status] == "obsolete" { successor } else { String::new() });
        }
        let folder = tempfile::tempdir().unwrap();
        plant.write_with(folder.path(), ",replaced_by");
        for kind in hold(folder.path()) {
            *tried.borrow_mut().entry(kind).or_default() += 1;
        }
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    let tried = tried.into_inner();
    // Else the plants have nothing to put right, and nothing was shown.
    let kinds = ["part", "succession", "setting", "addition", "pump setting", "station part"];
    assert!(kinds.iter().all(|kind| tried.get(kind).is_some_and(|count| *count >= 3)), "{tried:?}");
}

#[test]
fn the_remedies_of_the_sample_plant_hold() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let kinds: BTreeSet<&str> = hold(&root).into_iter().collect();
    for kind in ["part", "setting", "addition", "station part", "split"] {
        assert!(kinds.contains(kind), "{kind} is not among {kinds:?}");
    }
}
