//! A trial that looks at what a change touches alone comes to what the whole audit of the changed circuit comes to:
//! the same cleared, gained and no longer assessed, the same figures and findings to the last bit.

use std::cell::Cell;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use clampbook::audit::basis::with_searching;
use clampbook::circuit::audited::CircuitAudit;
use clampbook::circuit::fixture::load_fixture;
use clampbook::remedy::candidates::Ideas;
use clampbook::remedy::change::{Change, SettingColumn, StationRole};
use clampbook::remedy::stock::Stock;
use clampbook::remedy::touched::Touched;
use clampbook::remedy::trial::{Bench, FoundAfter, Trial, is_searched};
use clampbook::tables::figures::CircuitFigures;
use clampbook::tables::plant::Plant;
use clampbook::tables::words::{Kind, Side};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// Figures without reasons for what is unknown, and without those that a trial needn't work out: nothing compares them
/// with a limit, and no remedy tells them.
///
/// * `filling` – whether it is asked how long a filling lasts
fn compared(figures: &CircuitFigures, filling: bool) -> String {
    let mut figures = figures.clone();
    figures.gaps.clear();
    figures.friction = None;
    figures.holding.validity.clear();
    let sides = std::iter::once(&mut figures.clamp).chain(figures.unclamp.as_mut());
    for side in sides {
        side.gaps.clear();
        if !filling {
            side.group.cycles_per_day = None;
            (side.group.topup_days, side.group.topup_is_endless, side.group.topup_is_bound) = (None, false, false);
        }
    }
    // Shortest texts of numbers: the same text is the same number, to the last bit.
    format!("{figures:?}")
}

fn told(found: &[FoundAfter]) -> Vec<String> {
    let mut all: Vec<String> = found.iter().map(|found| format!("{found:?}")).collect();
    all.sort();
    all
}

/// What a short trial found, with what it left standing.
fn all_found(before: &CircuitAudit, trial: &Trial) -> Vec<String> {
    let mut all = trial.after[0].found.clone();
    if let Some(touched) = trial.touched {
        let stay = before.findings.iter().filter(|finding| touched.leaves(finding));
        all.extend(stay.map(|finding| FoundAfter {
            rule: finding.rule,
            side: finding.side,
            line: finding.line,
            origin: finding.origin,
            measured: finding.measured.clone(),
            limit: finding.limit.clone(),
        }));
    }
    told(&all)
}

/// Changes of a circuit: what its findings make one think of, and then any.
fn changes(plant: &Plant, stock: &Stock, audit: &CircuitAudit) -> Vec<Change> {
    let mut all: Vec<Change> = Vec::new();
    for finding in audit.findings.iter().filter(|finding| finding.counts() && is_searched(finding)) {
        all.extend((Ideas { plant, stock, audit, finding }).changes());
    }
    let pressure = audit.figures.clamp.chain.charge;
    for (line, listed) in audit.circuit.lines.iter().enumerate() {
        let Some(old) = listed.component(&plant.components) else { continue };
        let alike = (0_u32..).zip(&plant.components).filter(|(_, new)| new.kind == old.kind);
        all.extend(alike.map(|(to, _)| Change::Swap { line, to }));
        for column in [SettingColumn::SetPressure, SettingColumn::Precharge] {
            let settings = pressure.into_iter().flat_map(|pressure| [pressure * 0.6, pressure * 1.1]);
            all.extend(settings.map(|to| Change::Setting { line, column, to }));
        }
    }
    for (part, component) in (0_u32..).zip(&plant.components) {
        all.push(Change::Add { part, side: Side::Clamp, setting: None });
        if component.is(Kind::Pump) {
            all.push(Change::StationPart { role: StationRole::Pump, to: part });
        }
    }
    all.extend(audit.figures.clamp.chain.pump.map(|pump| Change::StationSetting { to: pump * 0.8 }));
    all
}

/// What was compared.
#[derive(Clone, Copy, Default)]
struct Counts {
    trials: u64,
    short: u64,
    pump: u64,
    cleared: u64,
    gained: u64,
    unassessed: u64,
}

/// Tries changes of every circuit both ways, every so many of them.
fn agree(root: &Path, every: usize) -> Counts {
    let date = NaiveDate::from_ymd_opt(2026, 3, 2).unwrap();
    let reading = clampbook::read::open(root, None, date).unwrap();
    let plant = &reading.plant;
    let mut counts = Counts::default();
    let mut turn = 0;
    with_searching(plant, &reading.lists, false, |searching| {
        let stock = Stock::of(plant, &searching.ground.parts);
        for range in &searching.roster.fixtures {
            let before = load_fixture(searching.roster, searching.ground, range.clone())?.audits;
            let bench = Bench::of(searching.ground, &before);
            for (index, audit) in before.iter().enumerate() {
                for change in changes(plant, &stock, audit) {
                    turn += 1;
                    if turn % every != 0 {
                        continue;
                    }
                    let (short, whole) = (bench.trial(index, &change), bench.trial_beside(index, &change));
                    let place = format!("{} {}: {change:?}", root.display(), audit.circuit.key);
                    assert_eq!(short.cleared, whole.cleared, "{place}");
                    assert_eq!(format!("{:?}", short.gained), format!("{:?}", whole.gained), "{place}");
                    assert_eq!(short.unassessed, whole.unassessed, "{place}");
                    assert_eq!(short.after.len(), whole.after.len(), "{place}");
                    assert_eq!(short.after[0].name, whole.after[0].name, "{place}");
                    let figures = [&short, &whole].map(|trial| &trial.after[0].figures);
                    let filling = figures.iter().all(|figures| figures.clamp.group.cycles_per_day.is_some());
                    let figures = figures.map(|figures| compared(figures, filling));
                    assert_eq!(figures[0], figures[1], "{place}");
                    assert_eq!(all_found(audit, &short), told(&whole.after[0].found), "{place}");
                    counts.trials += 1;
                    counts.short += u64::from(matches!(short.touched, Some(Touched::Line(_))));
                    counts.pump += u64::from(short.touched == Some(Touched::Pump));
                    counts.cleared += u64::from(!whole.cleared.is_empty());
                    counts.gained += u64::from(!whole.gained.is_empty());
                    counts.unassessed += u64::from(!whole.unassessed.is_empty());
                }
            }
        }
        Ok(())
    })
    .unwrap();
    counts
}

fn sum(all: impl Iterator<Item = Counts>) -> Counts {
    all.fold(Counts::default(), |so_far, more| Counts {
        trials: so_far.trials + more.trials,
        short: so_far.short + more.short,
        pump: so_far.pump + more.pump,
        cleared: so_far.cleared + more.cleared,
        gained: so_far.gained + more.gained,
        unassessed: so_far.unassessed + more.unassessed,
    })
}

/// Else nothing was compared.
fn are_many(counts: Counts, least: u64) {
    let Counts { trials, short, pump, cleared, gained, unassessed } = counts;
    let told = format!(
        "{trials} trials, {short} of one line, {pump} of a pump, {cleared} clear, {gained} gain, {unassessed} unassessed"
    );
    assert!(
        short >= least
            && pump >= least / 50
            && trials - short >= least / 4
            && cleared >= least / 40
            && gained >= least / 20,
        "{told}"
    );
    if std::env::var_os("TOLD").is_some() {
        eprintln!("{told}");
    }
}

fn tests() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

#[test]
fn on_the_plants_that_are_kept() {
    let mut plants = vec![tests().join("../sample-data/plant"), tests().join("oracle/base")];
    plants.extend(["metric", "us"].map(|units| tests().join("reference").join(units).join("plant")));
    let kept = std::fs::read_dir(tests().join("oracle/plants")).unwrap();
    plants.extend(kept.map(|kept| kept.unwrap().path().join("plant")));
    are_many(sum(plants.iter().map(|plant| agree(plant, 2))), 2_000);
}

#[test]
fn on_mutated_plants() {
    let base = crate::edited::Plant::read(&tests().join("oracle/base"));
    let mut rows = csv::Reader::from_path(tests().join("oracle/mutants.csv")).unwrap();
    let edits: Vec<std::collections::BTreeMap<String, String>> = rows.deserialize().map(Result::unwrap).collect();
    let chosen = edits.iter().step_by(3);
    let counts = sum(chosen.enumerate().map(|(place, edit)| {
        let folder = tempfile::tempdir().unwrap();
        base.mutated(edit).write(folder.path());
        agree(folder.path(), 29 + place % 7)
    }));
    assert!(edits.len() / 3 >= 400, "{} mutants", edits.len());
    are_many(counts, 4_000);
}

#[test]
fn on_random_plants() {
    let config = Config { cases: 96, max_shrink_iters: 100, failure_persistence: None, ..Config::default() };
    let counts = Cell::new(Counts::default());
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let run = runner.run(&crate::making::plant(), |plant| {
        let folder = tempfile::tempdir().unwrap();
        plant.write(folder.path());
        counts.set(sum([counts.get(), agree(folder.path(), 3)].into_iter()));
        Ok(())
    });
    run.unwrap_or_else(|failure| panic!("{failure}"));
    are_many(counts.get(), 1_000);
}
