//! For each finding of a circuit the first change that passes, in the order of the contract.

use std::cmp::Ordering;
use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

use rust_decimal::Decimal;

use crate::assess::audit::CircuitAudit;
use crate::assess::fixture::Ground;
use crate::assess::roster::Roster;
use crate::model::component::Component;
use crate::model::finding::Finding;
use crate::model::plant::Plant;
use crate::physics::quantity::Pressure;
use crate::rules::rating::rating;

use super::candidates::{Ideas, SEARCHED};
use super::change::Change;
use super::split;
use super::trial::{Bench, Problem, Trial, serves_fixture};

/// A proved change with what it does.
#[derive(Clone, Debug)]
pub struct Proved {
    /// Index of the circuit in its fixture.
    pub circuit: usize,
    pub change: Change,
    pub cleared: Vec<Problem>,
    /// Figures before and after, in words.
    pub figures: String,
}

/// What a search came to for one finding.
pub enum Answer {
    Proved(Proved),
    /// None passes; the nearest and why it failed, where anything was tried.
    None(Option<String>),
}

/// What all searches of a run share: verdicts on station changes, which fixtures use a station.
pub struct Searching<'a> {
    pub roster: &'a Roster<'a>,
    pub ground: &'a Ground<'a>,
    /// Station name to the fixtures that use it.
    pub station_fixtures: BTreeMap<String, Vec<usize>>,
    /// Whether only V03 is settled, and no remedy is searched for any other finding.
    pub settles_only: bool,
    station_verdicts: Mutex<BTreeMap<(String, String), bool>>,
}

impl<'a> Searching<'a> {
    /// Prepares searches over a plant.
    #[must_use]
    pub fn over(roster: &'a Roster<'a>, ground: &'a Ground<'a>) -> Self {
        let mut station_fixtures: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (index, range) in roster.fixtures.iter().enumerate() {
            for entry in &roster.entries[range.clone()] {
                let Some(service) = entry.service else { continue };
                if service.station.is_empty() {
                    continue;
                }
                let fixtures = match station_fixtures.get_mut(&service.station) {
                    Some(fixtures) => fixtures,
                    None => station_fixtures.entry(service.station.clone()).or_default(),
                };
                if fixtures.last() != Some(&index) {
                    fixtures.push(index);
                }
            }
        }
        Self { roster, ground, station_fixtures, settles_only: false, station_verdicts: Mutex::new(BTreeMap::new()) }
    }

    /// Searches remedies for every finding of a fixture that asks for one, and writes them onto
    /// the findings. Provisional V03 findings that no smaller cylinder bears out are dropped.
    pub fn complete(&self, fixture: usize, audits: &mut [CircuitAudit]) -> Vec<Proved> {
        let is_searched =
            |finding: &Finding| !self.settles_only && finding.counts() && SEARCHED.contains(&finding.rule);
        let asks = |finding: &Finding| finding.rule == "V03" || is_searched(finding);
        if !audits.iter().any(|audit| audit.findings.iter().any(asks)) {
            return Vec::new();
        }
        let bench = Bench { roster: self.roster, ground: self.ground, fixture, before: audits };
        let mut answers = Vec::new();
        for (circuit, audit) in audits.iter().enumerate() {
            for (place, finding) in audit.findings.iter().enumerate() {
                if asks(finding) {
                    answers.push((circuit, place, self.answer(&bench, circuit, finding)));
                }
            }
        }
        write_down(self.ground.plant, audits, answers)
    }

    /// Fixtures whose load station has a part.
    #[must_use]
    pub fn fixtures_of_station_part(&self, part: u32) -> Vec<usize> {
        let stations = self.ground.plant.stations.iter();
        let with_part = stations
            .filter(|station| [&station.pump, &station.drive_ram].into_iter().any(|known| known.index() == Some(part)));
        with_part.flat_map(|station| self.station_fixtures.get(&station.name).cloned().unwrap_or_default()).collect()
    }

    /// Whether a change of a station harms no circuit there.
    #[must_use]
    pub fn serves_station(&self, index: usize, change: &Change) -> bool {
        let Some(station) = self.ground.plant.stations.get(index) else { return false };
        let fixtures = self.station_fixtures.get(&station.name).map_or(&[][..], Vec::as_slice);
        fixtures.iter().all(|fixture| {
            let range = self.roster.fixtures[*fixture].clone();
            serves_fixture(self.roster, self.ground, change, &station.name, range).unwrap_or(false)
        })
    }

    /// The remedy of one finding.
    fn answer(&self, bench: &Bench, circuit: usize, finding: &Finding) -> Answer {
        let audit = &bench.before[circuit];
        let plant = self.ground.plant;
        let problem = Problem::of(circuit, finding);
        let ideas = Ideas { plant, parts: &self.ground.parts, audit, finding };
        let mut candidates = ideas.changes();
        let is_certain = in_order(plant, &mut candidates);
        let mut passing: Vec<Proved> = Vec::new();
        let mut nearest: Option<(usize, Change, Trial)> = None;
        for change in candidates {
            let trial = bench.trial(circuit, &change);
            let helps = finding.rule == "V03" || trial.cleared.contains(&problem);
            if helps
                && trial.gained.is_empty()
                && trial.unassessed.is_empty()
                && self.serves_others(bench, audit, &change)
            {
                passing.push(proved(plant, circuit, audit, change, trial));
                if is_certain {
                    break;
                }
                continue;
            }
            let faults = trial.gained.len() + usize::from(!helps) + trial.unassessed.len();
            if nearest.as_ref().is_none_or(|(least, _, _)| faults < *least) {
                nearest = Some((faults, change, trial));
            }
        }
        if !is_certain {
            settle_order(plant, &mut passing);
        }
        if let Some(first) = passing.into_iter().next() {
            return Answer::Proved(first);
        }
        if ideas.may_be_split()
            && let Some(change) = split::fewest_groups(bench, circuit, finding)
        {
            let trial = bench.trial(circuit, &change);
            if trial.passes(&problem) {
                return Answer::Proved(proved(plant, circuit, audit, change, trial));
            }
        }
        Answer::None(nearest.map(|(_, change, trial)| super::words::nearest(plant, audit, &change, &trial, finding)))
    }

    /// Whether a station's change harms none of the other circuits there.
    fn serves_others(&self, bench: &Bench, audit: &CircuitAudit, change: &Change) -> bool {
        if !change.is_of_station() {
            return true;
        }
        let Some(station) = audit.circuit.service.as_ref().map(|service| service.station.clone()) else { return true };
        let key = (station.clone(), format!("{change:?}"));
        let verdicts = || self.station_verdicts.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = verdicts().get(&key) {
            return *known;
        }
        let fixtures = self.station_fixtures.get(&station).map_or(&[][..], Vec::as_slice);
        let serves = bench.serves_station(change, &station, fixtures).unwrap_or(false)
            && super::station::gains_nothing(self.ground, &station, change);
        verdicts().insert(key, serves);
        serves
    }
}

fn proved(plant: &Plant, circuit: usize, before: &CircuitAudit, change: Change, trial: Trial) -> Proved {
    let figures = super::words::before_and_after(plant, before, &change, &trial);
    Proved { circuit, change, cleared: trial.cleared.into_iter().collect(), figures }
}

/// Writes the answers onto the findings, drops V03 without an answer, and gathers each change
/// once.
fn write_down(plant: &Plant, audits: &mut [CircuitAudit], answers: Vec<(usize, usize, Answer)>) -> Vec<Proved> {
    let mut all: Vec<Proved> = Vec::new();
    let mut dropped: Vec<(usize, usize)> = Vec::new();
    for (circuit, place, answer) in answers {
        let is_provisional = audits[circuit].findings[place].rule == "V03";
        let text = match answer {
            Answer::Proved(proved) => {
                let text = super::words::sentence(plant, &audits[circuit], &proved);
                if !all.iter().any(|known| known.circuit == proved.circuit && known.change == proved.change) {
                    all.push(proved);
                }
                text
            }
            Answer::None(_) if is_provisional => {
                dropped.push((circuit, place));
                continue;
            }
            Answer::None(nearest) => super::words::no_change(nearest.as_deref()),
        };
        audits[circuit].findings[place].remedy = Some(text);
    }
    for (circuit, place) in dropped.into_iter().rev() {
        audits[circuit].findings.remove(place);
    }
    all
}

/// What candidates are ranked by.
struct Rank<'a> {
    lines: usize,
    price: Option<(Decimal, &'a str)>,
    rating: Option<Pressure>,
    part_no: &'a str,
    /// In the order that they were thought of, for settings of one part.
    thought: usize,
}

fn rank<'a>(plant: &'a Plant, change: &Change, thought: usize) -> Rank<'a> {
    let part: Option<&Component> = plant.component_at(change.part());
    let price = match part {
        Some(part) => part.unit_price.map(|price| (price, part.currency.as_str())),
        None => Some((Decimal::ZERO, "")),
    };
    Rank {
        lines: change.changed_lines(),
        price,
        rating: part.and_then(|part| rating(part, &plant.policy.limits)),
        part_no: part.map_or("", |part| part.part_no.as_str()),
        thought,
    }
}

/// Whether all prices are known, and in one currency.
fn priced(ranks: &[Rank]) -> bool {
    let mut currencies: Vec<&str> = Vec::new();
    for rank in ranks.iter().filter(|rank| !rank.part_no.is_empty()) {
        match rank.price {
            Some((_, currency)) if !currencies.contains(&currency) => currencies.push(currency),
            Some(_) => {}
            None => return false,
        }
    }
    currencies.len() <= 1
}

fn compare(a: &Rank, b: &Rank, by_price: bool) -> Ordering {
    let price = |rank: &Rank| rank.price.map(|(price, _)| price);
    let rated = |rank: &Rank| rank.rating.map_or(f64::INFINITY, Pressure::si);
    a.lines
        .cmp(&b.lines)
        .then_with(|| if by_price { price(a).cmp(&price(b)) } else { Ordering::Equal })
        .then_with(|| rated(a).total_cmp(&rated(b)))
        .then_with(|| a.part_no.cmp(b.part_no))
        .then_with(|| a.thought.cmp(&b.thought))
}

/// Sorts candidates; true where the order holds whatever passes, so that the first that passes
/// is the one.
fn in_order(plant: &Plant, changes: &mut Vec<Change>) -> bool {
    let mut ranked: Vec<(Rank, Change)> =
        changes.drain(..).enumerate().map(|(thought, change)| (rank(plant, &change, thought), change)).collect();
    let ranks: Vec<Rank> = ranked.iter().map(|(_, change)| rank(plant, change, 0)).collect();
    let by_price = priced(&ranks);
    ranked.sort_by(|(a, _), (b, _)| compare(a, b, by_price));
    changes.extend(ranked.into_iter().map(|(_, change)| change));
    by_price
}

/// Sorts what passes, where price may count after all.
fn settle_order(plant: &Plant, passing: &mut [Proved]) {
    let ranks: Vec<Rank> = passing.iter().map(|proved| rank(plant, &proved.change, 0)).collect();
    let by_price = priced(&ranks);
    passing.sort_by(|a, b| {
        let (a, b) = (rank(plant, &a.change, 0), rank(plant, &b.change, 0));
        compare(&a, &b, by_price)
    });
}
