//! For each finding of a circuit the first change that passes, in the order of the contract.

use std::collections::BTreeMap;
use std::sync::{Mutex, OnceLock, PoisonError};

use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::Ground;
use crate::circuit::roster::Roster;
use crate::physics::quantity::Volume;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;

use super::candidates::Ideas;
use super::change::Change;
use super::order::{first, in_order};
use super::split;
use super::stock::Stock;
use super::trial::{Bench, Problem, Trial, serves_fixture};
use super::trial::{is_provisional, is_searched};

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

/// Fixtures of a load station that are asked first whether a change serves them.
const REFUSING: usize = 8;

/// What all searches of a run share: verdicts on station changes, which fixtures use a station.
pub struct Searching<'a> {
    pub roster: &'a Roster<'a>,
    pub ground: &'a Ground<'a>,
    /// Station name to the fixtures that use it; not made where no change of a station is tried.
    station_fixtures: OnceLock<BTreeMap<String, Vec<usize>>>,
    /// Whether only V03 is settled, and no remedy is searched for any other finding.
    pub settles_only: bool,
    stock: Stock,
    station_verdicts: Mutex<BTreeMap<(String, String), bool>>,
    /// Station name to the fixtures that refused changes of it, the latest first.
    refusing: Mutex<BTreeMap<String, Vec<usize>>>,
}

impl<'a> Searching<'a> {
    /// Prepares searches over a plant.
    #[must_use]
    pub fn over(roster: &'a Roster<'a>, ground: &'a Ground<'a>) -> Self {
        Self {
            roster,
            ground,
            station_fixtures: OnceLock::new(),
            settles_only: false,
            stock: Stock::of(ground.plant, &ground.parts),
            station_verdicts: Mutex::default(),
            refusing: Mutex::default(),
        }
    }

    /// Searches remedies for every finding of a fixture that asks for one, and writes them onto
    /// the findings. Provisional V03 findings that no smaller cylinder bears out are dropped.
    pub fn complete(&self, fixture: usize, audits: &mut [CircuitAudit]) -> Vec<Proved> {
        let asks = |finding: &Finding| {
            is_provisional(finding) || !self.settles_only && finding.counts() && is_searched(finding)
        };
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
        with_part.flat_map(|station| self.fixtures_at(&station.name)).copied().collect()
    }

    /// Fixtures that use a load station, in order.
    fn fixtures_at(&self, station: &str) -> &[usize] {
        let all = self.station_fixtures.get_or_init(|| station_fixtures(self.roster));
        all.get(station).map_or(&[], Vec::as_slice)
    }

    /// The first change of a load station that clears a finding on it and harms nothing.
    #[must_use]
    pub fn station_remedy(&self, index: usize, finding: &Finding) -> Option<Change> {
        let plant = self.ground.plant;
        let station = plant.stations.get(index)?;
        let mut candidates = super::station::changes(self.ground, index, finding);
        let is_certain = in_order(plant, &mut candidates);
        let mut passing = candidates.into_iter().filter(|change| {
            super::station::clears(self.ground, index, finding, change) && self.serves_all(&station.name, change)
        });
        if is_certain { passing.next() } else { first(plant, passing.collect(), |change| change) }
    }

    /// Whether a change of a station harms no circuit there. What refused the last changes is asked
    /// first: on a station of very many circuits most changes fail there again.
    fn serves_all(&self, station: &str, change: &Change) -> bool {
        let key = (station.to_owned(), format!("{change:?}"));
        let verdicts = || self.station_verdicts.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = verdicts().get(&key) {
            return *known;
        }
        let refusing = || self.refusing.lock().unwrap_or_else(PoisonError::into_inner);
        let serves = |fixture: usize| {
            let range = self.roster.fixtures[fixture].clone();
            serves_fixture(self.roster, self.ground, change, station, range).unwrap_or(false)
        };
        let before: Vec<usize> = refusing().get(station).cloned().unwrap_or_default();
        let refusal = before.iter().chain(self.fixtures_at(station)).copied().find(|fixture| !serves(*fixture));
        if let Some(fixture) = refusal {
            let mut all = refusing();
            let known = all.entry(station.to_owned()).or_default();
            known.retain(|other| *other != fixture);
            known.insert(0, fixture);
            known.truncate(REFUSING);
        }
        verdicts().insert(key, refusal.is_none());
        refusal.is_none()
    }

    /// The remedy of one finding.
    fn answer(&self, bench: &Bench, circuit: usize, finding: &Finding) -> Answer {
        let audit = &bench.before[circuit];
        let plant = self.ground.plant;
        let problem = Problem::of(circuit, finding);
        let ideas = Ideas { plant, stock: &self.stock, audit, finding };
        let mut candidates = ideas.changes();
        let is_certain = in_order(plant, &mut candidates);
        let mut passing: Vec<Proved> = Vec::new();
        // V03 holds wherever a smaller cylinder serves, even one that is still filled too little.
        let mut smaller: Vec<Proved> = Vec::new();
        let mut nearest: Option<(usize, Change, Trial)> = None;
        for change in candidates {
            // One that clears nothing has at least that fault: it is not nearer than one with no other.
            let is_near = nearest.as_ref().is_some_and(|(least, _, _)| *least <= 1);
            if is_near && !is_provisional(finding) && !bench.may_clear(&change, &problem) {
                continue;
            }
            let trial = bench.trial(circuit, &change);
            let clears = trial.cleared.contains(&problem);
            let is_sound = trial.gained.is_empty() && trial.unassessed.is_empty();
            if is_sound && (clears || is_provisional(finding)) && self.serves_others(audit, &change) {
                let proved = proved(plant, circuit, audit, change, trial);
                if !clears {
                    smaller.push(proved);
                    continue;
                }
                passing.push(proved);
                if is_certain {
                    break;
                }
                continue;
            }
            let faults = trial.gained.len() + usize::from(!clears) + trial.unassessed.len();
            if nearest.as_ref().is_none_or(|(least, _, _)| faults < *least) {
                nearest = Some((faults, change, trial));
            }
        }
        let found = first(plant, passing, |proved| &proved.change).or_else(|| smallest(plant, smaller, problem));
        if let Some(found) = found {
            return Answer::Proved(found);
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
    fn serves_others(&self, audit: &CircuitAudit, change: &Change) -> bool {
        if !change.is_of_station() {
            return true;
        }
        let Some(station) = audit.circuit.service.as_ref().map(|service| service.station.clone()) else { return true };
        self.serves_all(&station, change) && super::station::gains_nothing(self.ground, &station, change)
    }
}

fn station_fixtures(roster: &Roster) -> BTreeMap<String, Vec<usize>> {
    let mut all: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (index, range) in roster.fixtures.iter().enumerate() {
        for service in roster.entries[range.clone()].iter().filter_map(|entry| entry.service) {
            let station = service.station.as_str();
            if station.is_empty() {
                continue;
            }
            let fixtures = match all.get_mut(station) {
                Some(fixtures) => fixtures,
                None => all.entry(station.to_owned()).or_default(),
            };
            if fixtures.last() != Some(&index) {
                fixtures.push(index);
            }
        }
    }
    all
}

/// The smallest of the cylinders that serve: none smaller does, so that V03 is cleared with it.
fn smallest(plant: &Plant, smaller: Vec<Proved>, problem: Problem) -> Option<Proved> {
    let capacity = |proved: &Proved| {
        let part = plant.component_at(proved.change.part());
        part.and_then(|part| part.capacity).map_or(f64::INFINITY, Volume::si)
    };
    let mut proved = smaller.into_iter().min_by(|a, b| capacity(a).total_cmp(&capacity(b)))?;
    proved.cleared.push(problem);
    Some(proved)
}

fn proved(plant: &Plant, circuit: usize, before: &CircuitAudit, change: Change, trial: Trial) -> Proved {
    let figures = super::words::before_and_after(plant, before, &change, &trial);
    Proved { circuit, change, cleared: trial.cleared.into_iter().collect(), figures }
}

/// Writes the answers onto the findings, drops V03 without an answer, and gathers each change
/// once.
fn write_down(plant: &Plant, audits: &mut [CircuitAudit], answers: Vec<(usize, usize, Answer)>) -> Vec<Proved> {
    let is_dropped = |(circuit, place, answer): &&(usize, usize, Answer)| {
        matches!(answer, Answer::None(_)) && is_provisional(&audits[*circuit].findings[*place])
    };
    let dropped: Vec<(usize, usize)> =
        answers.iter().filter(is_dropped).map(|(circuit, place, _)| (*circuit, *place)).collect();
    // What is no finding in the end is not cleared either.
    let unfounded: Vec<Problem> =
        dropped.iter().map(|(circuit, place)| Problem::of(*circuit, &audits[*circuit].findings[*place])).collect();
    let mut all: Vec<Proved> = Vec::new();
    for (circuit, place, answer) in answers {
        let text = match answer {
            Answer::Proved(mut proved) => {
                proved.cleared.retain(|problem| !unfounded.contains(problem));
                let text = super::words::sentence(plant, &audits[circuit], &proved);
                if !all.iter().any(|known| known.circuit == proved.circuit && known.change == proved.change) {
                    all.push(proved);
                }
                text
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
