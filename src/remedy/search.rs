//! For each finding of a circuit the first change that passes, in the order of the contract.

use std::collections::BTreeMap;
use std::sync::{Mutex, OnceLock, PoisonError};

use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::Ground;
use crate::circuit::roster::Roster;
use crate::physics::quantity::Volume;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;

use super::candidates::{Ideas, filled_after};
use super::change::Change;
use super::order::{first, in_order};
use super::split;
use super::stock::Stock;
use super::trial::{Bench, Problem, Proved, Trial, serves_fixture};
use super::trial::{is_provisional, is_searched};

/// What a search came to for one finding.
pub enum Answer {
    Proved(Proved),
    /// None passes; the nearest and why it failed, where anything was tried, and the bound of trials
    /// where that ended the search.
    None {
        nearest: Option<String>,
        ended: Option<u64>,
    },
}

/// A change of one circuit of the pallet.
struct Candidate {
    circuit: usize,
    change: Change,
}

fn with_circuit(circuit: usize, changes: Vec<Change>) -> Vec<Candidate> {
    changes.into_iter().map(|change| Candidate { circuit, change }).collect()
}

/// Looks at the rule alone are so much less work than a whole trial.
const LOOKS_A_TRIAL: u64 = 16;

/// A search in work.
struct Search<'a, 'b> {
    searching: &'a Searching<'b>,
    bench: &'a Bench<'a>,
    finding: &'a Finding,
    problem: Problem,
    /// Whether the first that passes is the one.
    is_certain: bool,
    passing: Vec<Proved>,
    /// V03 holds wherever a smaller cylinder serves, even one that is still filled too little.
    smaller: Vec<Proved>,
    nearest: Option<(usize, Candidate, Trial)>,
    trials: u64,
    looks: u64,
    is_ended: bool,
}

impl<'a, 'b> Search<'a, 'b> {
    fn of(
        searching: &'a Searching<'b>,
        bench: &'a Bench<'a>,
        circuit: usize,
        finding: &'a Finding,
        is_certain: bool,
    ) -> Self {
        Self {
            searching,
            bench,
            finding,
            problem: Problem::of(circuit, finding),
            is_certain,
            passing: Vec::new(),
            smaller: Vec::new(),
            nearest: None,
            trials: 0,
            looks: 0,
            is_ended: false,
        }
    }

    /// Whether the bound of the policy leaves another trial; a search that found something needs none.
    fn may_go_on(&mut self) -> bool {
        let most = self.searching.ground.plant.policy.bounds.trials;
        self.is_ended |= self.trials >= most || self.looks >= most.saturating_mul(LOOKS_A_TRIAL);
        !self.is_ended
    }

    /// Tries changes in their order, to the first that passes where the order is certain.
    fn look(&mut self, candidates: Vec<Candidate>) {
        for candidate in candidates {
            if !self.may_go_on() || (self.is_certain && !self.passing.is_empty()) {
                return;
            }
            self.look_at(candidate);
        }
    }

    /// Tries cylinders that are still filled too little, the smallest first: none smaller serves.
    fn look_for_smallest(&mut self, candidates: Vec<Candidate>) {
        if !self.passing.is_empty() {
            return;
        }
        let already = self.smaller.len();
        for candidate in candidates {
            if !self.may_go_on() || self.smaller.len() > already || !self.passing.is_empty() {
                return;
            }
            self.look_at(candidate);
        }
    }

    fn look_at(&mut self, candidate: Candidate) {
        let Candidate { circuit, change } = candidate;
        let is_provisional = is_provisional(self.finding);
        // One that clears nothing has at least that fault: it is not nearer than one with no other.
        let is_near = self.nearest.as_ref().is_some_and(|(least, _, _)| *least <= 1);
        if is_near && !is_provisional && circuit == self.problem.circuit {
            self.looks += 1;
            if !self.bench.may_clear(&change, &self.problem) {
                return;
            }
        }
        self.trials += 1;
        let audit = &self.bench.before[circuit];
        let trial = self.bench.trial(circuit, &change);
        let clears = trial.cleared.contains(&self.problem);
        let is_sound = trial.gained.is_empty() && trial.unassessed.is_empty();
        if is_sound && (clears || is_provisional) && self.searching.serves_others(audit, &change) {
            let proved = proved(self.searching.ground.plant, circuit, audit, change, trial);
            if clears {
                self.passing.push(proved);
            } else {
                self.smaller.push(proved);
            }
            return;
        }
        let faults = trial.gained.len() + usize::from(!clears) + trial.unassessed.len();
        if self.nearest.as_ref().is_none_or(|(least, _, _)| faults < *least) {
            self.nearest = Some((faults, Candidate { circuit, change }, trial));
        }
    }
}

/// Smaller cylinders that may be filled enough, in their order, and those that surely are not, the smallest
/// first.
fn by_what_is_left(bench: &Bench, finding: &Finding, all: Vec<Candidate>) -> (Vec<Candidate>, Vec<Candidate>) {
    let limits = &bench.ground.plant.policy.limits;
    let fill = |candidate: &Candidate| {
        let Change::Swap { line, to } = candidate.change else { return None };
        filled_after(bench.ground.plant, &bench.before[candidate.circuit], finding.side, line, to)
    };
    let is_low = |candidate: &Candidate| fill(candidate).is_some_and(|fill| fill < limits.fill_low * (1.0 - 1e-6));
    let (mut low, enough): (Vec<Candidate>, Vec<Candidate>) = all.into_iter().partition(is_low);
    let capacity = |candidate: &Candidate| {
        let part = bench.ground.plant.component_at(candidate.change.part());
        part.and_then(|part| part.capacity).map_or(f64::INFINITY, Volume::si)
    };
    low.sort_by(|a, b| capacity(a).total_cmp(&capacity(b)));
    (enough, low)
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

    /// Searches remedies for every finding of a pallet that asks for one, and writes them onto
    /// the findings. Provisional V03 findings that no smaller cylinder bears out are dropped.
    pub fn complete(&self, audits: &mut [CircuitAudit]) -> Vec<Proved> {
        let asks = |finding: &Finding| {
            is_provisional(finding) || !self.settles_only && finding.counts() && is_searched(finding)
        };
        if !audits.iter().any(|audit| audit.findings.iter().any(asks)) {
            return Vec::new();
        }
        let bench = Bench::of(self.ground, audits);
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
        with_part.flat_map(|station| self.fixtures_at(&station.station)).copied().collect()
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
        let is_certain = in_order(plant, &mut candidates, |change| change);
        let mut passing = candidates.into_iter().filter(|change| {
            super::station::clears(self.ground, index, finding, change) && self.serves_all(&station.station, change)
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
        let plant = self.ground.plant;
        let ideas = Ideas { plant, stock: &self.stock, audit: &bench.before[circuit], finding };
        let mut candidates: Vec<Candidate> = with_circuit(circuit, ideas.changes());
        // The charging cylinder of a group stands on one circuit, and the finding on all that it fills.
        if let Some(home) = bench.cylinder_of_group(circuit, finding) {
            let ideas = Ideas { audit: &bench.before[home], ..ideas };
            candidates.extend(with_circuit(home, ideas.cylinders_changed()));
        }
        let is_certain = in_order(plant, &mut candidates, |candidate| &candidate.change);
        let mut search = Search::of(self, bench, circuit, finding, is_certain);
        if is_provisional(finding) {
            let (clearing, smaller) = by_what_is_left(bench, finding, candidates);
            search.look(clearing);
            search.look_for_smallest(smaller);
        } else {
            search.look(candidates);
        }
        let Search { passing, smaller, nearest, is_ended, problem, .. } = search;
        let found = first(plant, passing, |proved| &proved.change).or_else(|| smallest(plant, smaller, problem));
        if let Some(found) = found {
            return Answer::Proved(found);
        }
        if ideas.may_be_split()
            && let Some(change) = split::fewest_groups(bench, circuit, finding)
        {
            let trial = bench.trial(circuit, &change);
            if trial.passes(&problem) {
                return Answer::Proved(proved(plant, circuit, &bench.before[circuit], change, trial));
            }
        }
        let nearest = nearest.map(|(_, candidate, trial)| {
            let audit = &bench.before[candidate.circuit];
            super::words::nearest(plant, audit, &candidate.change, &trial, finding)
        });
        let ended = is_ended.then_some(plant.policy.bounds.trials);
        Answer::None { nearest, ended }
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
        matches!(answer, Answer::None { .. }) && is_provisional(&audits[*circuit].findings[*place])
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
                let changed = &audits[proved.circuit];
                let mut text = super::words::sentence(plant, changed, &proved);
                if proved.circuit != circuit {
                    text = format!("On {}: {text}", changed.circuit.key);
                }
                let same = |known: &&mut Proved| known.circuit == proved.circuit && known.change == proved.change;
                if let Some(known) = all.iter_mut().find(same) {
                    known.cleared.extend(proved.cleared);
                    known.cleared.sort_unstable();
                    known.cleared.dedup();
                } else {
                    all.push(proved);
                }
                text
            }
            Answer::None { nearest, ended } => super::words::no_change(nearest.as_deref(), ended),
        };
        audits[circuit].findings[place].remedy = Some(text);
    }
    for (circuit, place) in dropped.into_iter().rev() {
        audits[circuit].findings.remove(place);
    }
    all
}
