//! For each finding of a circuit the first change that passes, in the order of the contract.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

use hashbrown::{HashMap, HashSet};

use crate::circuit::audited::CircuitAudit;
use crate::circuit::fixture::{Ground, load_fixture};
use crate::circuit::roster::Roster;
use crate::physics::quantity::{Pressure, Volume};
use crate::read::ReadError;
use crate::rules::Cure;
use crate::rules::catalogue::rule;
use crate::rules::pressure::P11;
use crate::tables::finding::Finding;
use crate::tables::plant::Plant;
use crate::tables::words::{Charging, Side};

use super::alike::{Alike, Served};
use super::answer::{Answer, Ended};
use super::candidates::{Filling, Ideas, Needs, Thought};
use super::change::Change;
use super::hopeless::Outlook;
use super::left_standing::Left;
use super::nearest::{Fault, NearMiss, NearestChange};
use super::order::{first, in_order};
use super::split;
use super::stock::{Fitting, Stock};
use super::trial::{Bench, LOOKS_A_TRIAL, Problem, Proved, Trial, harm_on_fixture};
use super::trial::{is_provisional, is_searched};

/// A change of one circuit of the pallet.
#[derive(Clone)]
struct Candidate {
    circuit: usize,
    change: Change,
}

/// What is tried for a finding.
struct Course<'a> {
    /// In the order in which they are offered, as far as it holds whatever passes: fewest changed lines, and what
    /// is bought last.
    classes: BTreeMap<(usize, bool), Vec<Candidate>>,
    /// Parts for one line, after all else, where nothing that is bought competes with them: they are looked at in
    /// the order of the stock, as far as it takes.
    swaps: Option<Swaps<'a>>,
    /// Cylinders that are still filled too little.
    low: Vec<Candidate>,
    /// The first part of those for a line of which none can be offered.
    hopeless: Option<Change>,
}

/// Parts for one line of one circuit.
struct Swaps<'a> {
    circuit: usize,
    line: usize,
    fitting: Fitting<'a>,
    needs: Needs<'a>,
    /// Of a finding that stands only where a smaller cylinder serves.
    filling: Option<Filling<'a>>,
}

/// A search in work.
struct Search<'a, 'b> {
    searching: &'a Searching<'b>,
    bench: &'a Bench<'a>,
    finding: &'a Finding,
    problem: Problem,
    passing: Vec<Proved>,
    /// V03 holds wherever a smaller cylinder serves, even one that is still filled too little.
    smaller: Vec<Proved>,
    /// What can't be offered and comes nearest.
    nearest: Option<(Fault, Candidate, Trial)>,
    /// The least that stood against anything that was tried.
    least: Option<usize>,
    /// Of what surely leaves the finding, by its own rule alone: what brings it nearest to its limit.
    closest: Option<(Fault, Candidate)>,
    /// The first that surely can't be offered, where nothing was tried before it.
    hopeless: Option<Candidate>,
    trials: u64,
    looks: u64,
    /// The bound that ended it.
    ended: Option<Ended>,
}

impl<'a, 'b> Search<'a, 'b> {
    fn of(searching: &'a Searching<'b>, bench: &'a Bench<'a>, circuit: usize, finding: &'a Finding) -> Self {
        Self {
            searching,
            bench,
            finding,
            problem: Problem::of(circuit, finding),
            passing: Vec::new(),
            smaller: Vec::new(),
            nearest: None,
            least: None,
            closest: None,
            hopeless: None,
            trials: 0,
            looks: 0,
            ended: None,
        }
    }

    /// Whether the bounds of the policy leave another trial; a search that found something needs none.
    fn may_go_on(&mut self) -> bool {
        let bounds = self.searching.ground.plant.policy.bounds;
        if self.trials >= bounds.trials || self.looks >= bounds.trials.saturating_mul(LOOKS_A_TRIAL) {
            self.ended.get_or_insert(Ended::Trials(bounds.trials));
        } else if self.bench.is_spent() {
            self.ended.get_or_insert(Ended::Lines { lines: bounds.trial_lines, trials: self.trials });
        }
        self.ended.is_none()
    }

    /// Tries changes of equal rank in their order, to the first that passes.
    ///
    /// Where not all are priced in one currency, the order hangs on which pass: what passes unpriced, or in a
    /// second currency, makes the rating decide.
    fn look_in(&mut self, mut class: Vec<Candidate>) {
        let plant = self.searching.ground.plant;
        if in_order(plant, &mut class, |candidate| &candidate.change) {
            for candidate in class {
                if !self.may_go_on() || !self.passing.is_empty() {
                    return;
                }
                self.look_at(candidate);
            }
            return;
        }
        let currency = |candidate: &Candidate| {
            let part = plant.component_at(candidate.change.part());
            part.filter(|part| part.unit_price.is_some()).map(|part| part.currency.as_str())
        };
        let mut by_currency: BTreeMap<Option<&str>, Vec<usize>> = BTreeMap::new();
        for (place, candidate) in class.iter().enumerate() {
            by_currency.entry(currency(candidate)).or_default().push(place);
        }
        let mut is_tried = vec![false; class.len()];
        let mut passing_in = 0;
        let mut decides_rating = false;
        for (currency, places) in by_currency {
            let mut changes: Vec<(usize, &Change)> =
                places.into_iter().map(|place| (place, &class[place].change)).collect();
            if currency.is_some() {
                let _ = in_order(plant, &mut changes, |(_, change)| change);
            }
            let places: Vec<usize> = changes.into_iter().map(|(place, _)| place).collect();
            let before = self.passing.len();
            for place in places {
                if !self.may_go_on() || self.passing.len() > before {
                    break;
                }
                is_tried[place] = true;
                self.look_at(class[place].clone());
            }
            passing_in += usize::from(self.passing.len() > before);
            decides_rating |= self.passing.len() > before && (currency.is_none() || passing_in > 1);
        }
        if decides_rating {
            let before = self.passing.len();
            for (place, candidate) in class.into_iter().enumerate() {
                if !self.may_go_on() || self.passing.len() > before {
                    return;
                }
                if is_tried[place] {
                    let is_it = |proved: &Proved| proved.change == candidate.change;
                    if self.passing.iter().any(is_it) {
                        return;
                    }
                } else {
                    self.look_at(candidate);
                }
            }
        }
    }

    /// Tries what is thought of, class by class, to the first that passes.
    fn look(&mut self, course: Course) {
        for class in course.classes.into_values() {
            if !self.passing.is_empty() {
                return;
            }
            self.look_in(class);
        }
        if let Some(swaps) = course.swaps.filter(|_| self.passing.is_empty()) {
            self.look_through(&swaps);
        }
        if self.passing.is_empty() {
            self.look_for_smallest(course.low);
        }
        if let Some(change) = course.hopeless {
            self.set_aside(Candidate { circuit: self.problem.circuit, change });
        }
    }

    /// Tries parts for a line in the order of the stock; cylinders that are still filled too little come last.
    fn look_through(&mut self, swaps: &Swaps) {
        let candidate = |to: u32| Candidate { circuit: swaps.circuit, change: Change::Swap { line: swaps.line, to } };
        let is_low = |to: u32| swaps.filling.as_ref().is_some_and(|filling| is_low(self.searching, filling, to));
        let mut low = Vec::new();
        for to in swaps.needs.met_by(swaps.fitting) {
            if is_low(to) {
                low.push(candidate(to));
                continue;
            }
            if !self.may_go_on() || !self.passing.is_empty() {
                break;
            }
            self.look_at(candidate(to));
        }
        self.look_for_smallest(low);
    }

    /// Tries cylinders that are still filled too little, the smallest first: none smaller serves.
    fn look_for_smallest(&mut self, mut candidates: Vec<Candidate>) {
        let plant = self.searching.ground.plant;
        let capacity = |candidate: &Candidate| {
            let part = plant.component_at(candidate.change.part());
            part.and_then(|part| part.capacity).map_or(f64::INFINITY, Volume::si)
        };
        candidates.sort_by(|a, b| capacity(a).total_cmp(&capacity(b)));
        let already = self.smaller.len();
        for candidate in candidates {
            if !self.may_go_on() || self.smaller.len() > already || !self.passing.is_empty() {
                return;
            }
            self.look_at(candidate);
        }
    }

    /// Whether no trial is needed to know that a change can't be offered.
    fn is_hopeless(&self, candidate: &Candidate) -> bool {
        let Problem { circuit, .. } = self.problem;
        candidate.circuit == circuit && !is_provisional(self.finding) && self.outlook().is_hopeless(&candidate.change)
    }

    fn outlook(&self) -> Outlook<'a> {
        let audit = &self.bench.before[self.problem.circuit];
        Outlook { plant: self.searching.ground.plant, audit, finding: self.finding }
    }

    /// Sets a change aside that surely can't be offered; the first may be the nearest.
    fn set_aside(&mut self, candidate: Candidate) {
        if self.least.is_none() && self.hopeless.is_none() {
            self.hopeless = Some(candidate);
        }
    }

    /// Where nothing passes: the change nearest to it, what was set aside ahead of all others among them.
    fn nearest(mut self) -> NearMiss {
        if let Some(candidate) = self.hopeless.take().filter(|_| !self.bench.is_spent()) {
            let Candidate { circuit, change } = &candidate;
            let is_here = *circuit == self.problem.circuit;
            if is_here && self.bench.leaves_as_far(*circuit, change, self.finding) {
                self.least.get_or_insert(1);
            } else {
                let trial = self.bench.trial(*circuit, change);
                self.keep_nearer(candidate, trial, |new, known| new <= known);
            }
        }
        let is_nearest =
            |(fault, _): &(Fault, Candidate)| self.nearest.as_ref().is_none_or(|(known, ..)| fault < known);
        if let Some((_, candidate)) = self.closest.take().filter(is_nearest).filter(|_| !self.bench.is_spent()) {
            let trial = self.bench.trial(candidate.circuit, &candidate.change);
            self.keep_nearer(candidate, trial, |new, known| new < known);
        }
        match self.nearest {
            Some((_, Candidate { circuit, change }, trial)) => {
                let searching = self.searching;
                let elsewhere = || searching.harm_elsewhere(&self.bench.before[circuit], &change);
                let failing = super::words::failing(searching.ground.plant, &trial, self.finding, elsewhere);
                NearMiss::Change(NearestChange { circuit, change, failing })
            }
            None if self.least.is_some() => NearMiss::NoneNearer,
            None => NearMiss::Untried,
        }
    }

    /// Keeps what can't be offered, where it brings the finding nearer to its limit than it stands and is ahead of what is
    /// known.
    fn keep_nearer(&mut self, candidate: Candidate, trial: Trial, is_ahead: impl Fn(&Fault, &Fault) -> bool) {
        let fault = Fault::of(&trial, &self.problem, self.finding);
        self.least = Some(self.least.map_or(fault.count, |least| least.min(fault.count)));
        let is_nearest = self.nearest.as_ref().is_none_or(|(known, ..)| is_ahead(&fault, known));
        if fault.is_nearer_than(self.finding) && is_nearest {
            self.nearest = Some((fault, candidate, trial));
        }
    }

    fn look_at(&mut self, candidate: Candidate) {
        if self.is_hopeless(&candidate) {
            return self.set_aside(candidate);
        }
        let Candidate { circuit, change } = candidate;
        let is_provisional = is_provisional(self.finding);
        // One that clears nothing has at least that fault: it is not nearer than one with no other.
        let is_near = self.least.is_some_and(|least| least <= 1);
        if is_near && !is_provisional && circuit == self.problem.circuit {
            self.looks += 1;
            if let Some(short) = self.bench.short_of_clearing(&change, &self.problem) {
                let fault = Fault::staying(short);
                let is_closest = self.closest.as_ref().is_none_or(|(known, _)| fault < *known);
                if is_closest && fault.is_nearer_than(self.finding) {
                    self.closest = Some((fault, Candidate { circuit, change }));
                }
                return;
            }
        }
        self.trials += 1;
        let audit = &self.bench.before[circuit];
        let trial = self.bench.trial(circuit, &change);
        let clears = trial.clears(&self.problem);
        let is_sound = trial.gained.is_empty() && trial.unassessed.is_empty();
        if is_sound && clears && self.passes_with_all(circuit, &change) {
            return;
        }
        if is_sound && (clears || is_provisional) && self.searching.serves_others(audit, &change) {
            let proved = proved(self.searching.ground.plant, circuit, audit, change, trial);
            if clears {
                self.passing.push(proved);
            } else {
                self.smaller.push(proved);
            }
            return;
        }
        self.keep_nearer(Candidate { circuit, change }, trial, |new, known| new < known);
    }
}

impl Search<'_, '_> {
    /// Whether, in the place of a lower pump setting that the finding alone allows, the one passes that many
    /// circuits of the load station ask for: a pump has one setting.
    fn passes_with_all(&mut self, circuit: usize, change: &Change) -> bool {
        let Change::StationSetting { to } = change else { return false };
        let audit = &self.bench.before[circuit];
        let plant = self.searching.ground.plant;
        let ideas = Ideas { plant, stock: &self.searching.stock, audit, finding: self.finding };
        let station = audit.circuit.service.as_ref().map(|service| service.station.as_str());
        let Some(station) = station.filter(|_| ideas.allowed_setting() == Some(*to)) else { return false };
        let Some(common) = self.searching.common_setting(station).filter(|common| common < to) else { return false };
        let change = Change::StationSetting { to: common };
        self.trials += 1;
        let trial = self.bench.trial(circuit, &change);
        let passes = trial.passes(&self.problem) && self.searching.serves_others(audit, &change);
        if passes {
            self.passing.push(proved(plant, circuit, audit, change, trial));
        }
        passes
    }
}

/// Whether a charging cylinder is surely still filled too little.
fn is_low(searching: &Searching, filling: &Filling, to: u32) -> bool {
    let plant = searching.ground.plant;
    let fill = plant.component_at(Some(to)).and_then(|part| filling.with(part));
    fill.is_some_and(|fill| fill < plant.policy.limits.fill_low * (1.0 - 1e-6))
}

/// Fixtures of a load station that are asked first whether a change serves them.
const REFUSING: usize = 8;

/// Fixtures of a load station, in order, of which it is told what a change harms there.
const TOLD_OF: usize = 32;

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
    /// What a change of a station harms, as it is told.
    harms: Mutex<BTreeMap<(String, String), Option<Arc<str>>>>,
    /// Station name to the pump setting that serves as many of its circuits as one can.
    common_settings: Mutex<BTreeMap<String, Arc<OnceLock<Option<Pressure>>>>>,
    /// Station name to the fixtures that refused changes of it, the latest first.
    refusing: Mutex<BTreeMap<String, Vec<usize>>>,
    lines_looked_at: AtomicU64,
    /// The first load station that was asked for and has circuits in lists that are not read.
    beyond: OnceLock<String>,
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
            harms: Mutex::default(),
            common_settings: Mutex::default(),
            refusing: Mutex::default(),
            lines_looked_at: AtomicU64::new(0),
            beyond: OnceLock::new(),
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
        let mut answers: Vec<Answered> = Vec::new();
        // A charging cylinder that fills several circuits is looked for once.
        let mut of_groups: HashMap<(&'static str, Option<Side>, &str), usize> = HashMap::new();
        for (circuit, audit) in audits.iter().enumerate() {
            let mut alike = Alike::of(circuit, audit, asks, || bench.supported_positions());
            for (place, finding) in audit.findings.iter().enumerate().filter(|(_, finding)| asks(finding)) {
                let told = |answer: usize| {
                    let Answered { circuit, place, answer } = &answers[answer];
                    (&audits[*circuit].findings[*place], answer)
                };
                let group = group_of(audit, finding);
                let of_group = group.and_then(|group| of_groups.get(&group).copied());
                let served = match of_group {
                    Some(first) => {
                        let problem = Problem::of(circuit, finding);
                        served_with_group(problem, first, told(first).1, is_provisional(finding))
                    }
                    None => alike.served(finding, told).map(|(first, served)| match served {
                        Served::Same => Answer::Same(first),
                        Served::Here(answer) => answer,
                    }),
                };
                let answer = match served {
                    Some(answer) => answer,
                    None => {
                        alike.keep(finding, answers.len());
                        if let Some(group) = group {
                            of_groups.insert(group, answers.len());
                        }
                        self.answer(&bench, circuit, finding)
                    }
                };
                answers.push(Answered { circuit, place, answer });
            }
        }
        drop(of_groups);
        self.let_settle(&bench, &mut answers);
        self.lines_looked_at.fetch_add(bench.lines_looked_at(), Ordering::Relaxed);
        write_down(self.ground.plant, audits, answers)
    }

    /// Where nothing brings a pressure that is too high to the one wanted, not even what another finding asks for: the
    /// pump setting at which it is near enough.
    fn let_settle(&self, bench: &Bench, answers: &mut [Answered]) {
        let plant = self.ground.plant;
        let ideas =
            |circuit: usize, finding| Ideas { plant, stock: &self.stock, audit: &bench.before[circuit], finding };
        let is_open = |one: &Answered| {
            let finding = &bench.before[one.circuit].findings[one.place];
            matches!(one.answer, Answer::None { .. }) && finding.rule == P11.code
        };
        if !answers.iter().any(is_open) {
            return;
        }
        let proved = answers.iter().filter_map(|one| match &one.answer {
            Answer::Proved(proved) => Some(proved),
            _ => None,
        });
        let cleared: HashSet<Problem> = proved.flat_map(|proved| proved.cleared.iter().copied()).collect();
        for one in answers.iter_mut().filter(|one| is_open(one)) {
            let audit = &bench.before[one.circuit];
            let finding = &audit.findings[one.place];
            let problem = Problem::of(one.circuit, finding);
            let Some(to) = ideas(one.circuit, finding).near_enough().filter(|_| !bench.is_spent()) else { continue };
            let change = Change::StationSetting { to };
            if cleared.contains(&problem) {
                continue;
            }
            let trial = bench.trial(one.circuit, &change);
            if trial.passes(&problem) && self.serves_others(audit, &change) {
                one.answer = Answer::Proved(self::proved(plant, one.circuit, audit, change, trial));
            }
        }
    }

    /// Lines that were looked at so far by what was tried on circuits: the work of the searches.
    #[must_use]
    pub fn lines_looked_at(&self) -> u64 {
        self.lines_looked_at.load(Ordering::Relaxed)
    }

    /// A load station whose change a search asked about though circuits of it stand in lists that this part of a run
    /// does not read: what was found on it counts for nothing.
    #[must_use]
    pub fn asked_beyond(&self) -> Option<&str> {
        self.beyond.get().map(String::as_str)
    }

    /// Fixtures whose load station has a part.
    #[must_use]
    pub fn fixtures_of_station_part(&self, part: u32) -> Vec<usize> {
        let stations = self.ground.plant.stations.iter();
        let with_part = stations.filter(|station| station.parts().into_iter().any(|known| known.index() == Some(part)));
        with_part.flat_map(|station| self.fixtures_at(&station.station)).copied().collect()
    }

    /// Fixtures that use a load station, in order.
    pub(super) fn fixtures_at(&self, station: &str) -> &[usize] {
        if self.roster.is_beyond(station) {
            self.beyond.get_or_init(|| station.to_owned());
        }
        let all = self.station_fixtures.get_or_init(|| station_fixtures(self.roster));
        all.get(station).map_or(&[], Vec::as_slice)
    }

    /// The first change of a load station that clears a finding on it and harms nothing.
    ///
    /// # Errors
    /// Where there is none: how many were tried.
    pub fn station_remedy(&self, index: usize, finding: &Finding) -> Result<Change, u64> {
        let plant = self.ground.plant;
        let station = plant.stations.get(index).ok_or(0_u64)?;
        let mut candidates = super::station::changes(self.ground, index, finding);
        let tried = candidates.len() as u64;
        let is_certain = in_order(plant, &mut candidates, |change| change);
        let mut passing = candidates.into_iter().filter(|change| {
            super::station::clears(self.ground, index, finding, change) && self.serves_all(&station.station, change)
        });
        let found = if is_certain { passing.next() } else { first(plant, passing.collect(), |change| change) };
        found.ok_or(tried)
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
        let before: Vec<usize> = refusing().get(station).cloned().unwrap_or_default();
        let mut all = before.iter().chain(self.fixtures_at(station)).copied();
        let refusal = all.find(|fixture| self.harm_on(*fixture, station, change).is_some());
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

    /// What a change of a station harms on a fixture, in words.
    fn harm_on(&self, fixture: usize, station: &str, change: &Change) -> Option<String> {
        let range = self.roster.fixtures[fixture].clone();
        let unread = |_| Some("after which its circuits can't be read".to_owned());
        harm_on_fixture(self.roster, self.ground, change, station, range).unwrap_or_else(unread)
    }

    /// What a change of a station harms first of its circuits in key order, whatever was asked before; of the first of them,
    /// since nobody knows how many there are.
    fn harm_in_order(&self, station: &str, change: &Change) -> Option<Arc<str>> {
        let key = (station.to_owned(), format!("{change:?}"));
        let harms = || self.harms.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = harms().get(&key) {
            return known.clone();
        }
        let mut first = self.fixtures_at(station).iter().take(TOLD_OF);
        let harm = first.find_map(|fixture| self.harm_on(*fixture, station, change)).map(Arc::from);
        harms().insert(key, harm.clone());
        harm
    }

    /// Of the lower pump settings that findings of a load station's circuits allow, the lowest that harms none of
    /// them: it clears all that a higher one clears. Found once, since each is proved on every circuit there, and
    /// every circuit may allow another.
    fn common_setting(&self, station: &str) -> Option<Pressure> {
        let known = {
            let mut all = self.common_settings.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(all.entry(station.to_owned()).or_default())
        };
        *known.get_or_init(|| self.lowest_that_serves(station).unwrap_or_default())
    }

    fn lowest_that_serves(&self, station: &str) -> Result<Option<Pressure>, ReadError> {
        let plant = self.ground.plant;
        let mut wanted: Vec<Pressure> = Vec::new();
        for fixture in self.fixtures_at(station) {
            let audits = load_fixture(self.roster, self.ground, self.roster.fixtures[*fixture].clone())?.audits;
            let uses = |audit: &&CircuitAudit| {
                audit.circuit.service.as_ref().is_some_and(|service| service.station == station)
            };
            for audit in audits.iter().filter(uses) {
                let findings = audit.findings.iter().filter(|finding| finding.counts());
                let ideas = |finding| Ideas { plant, stock: &self.stock, audit, finding };
                wanted.extend(findings.filter_map(|finding| ideas(finding).allowed_setting()));
            }
        }
        wanted.sort_by(|a, b| a.total_cmp(*b));
        wanted.dedup();
        let serves = |to: Pressure| {
            let change = Change::StationSetting { to };
            super::station::gains_nothing(self.ground, station, &change) && self.serves_all(station, &change)
        };
        // What harms does so the more, the lower it is; nothing hangs on that but which is found.
        let (mut harming, mut serving) = (None, wanted.len());
        while harming.map_or(0, |harming| harming + 1) < serving {
            let middle = harming.map_or(0, |harming: usize| harming.midpoint(serving));
            if serves(wanted[middle]) { serving = middle } else { harming = Some(middle) }
        }
        Ok(wanted.get(serving).copied())
    }

    /// The remedy of one finding.
    fn answer(&self, bench: &Bench, circuit: usize, finding: &Finding) -> Answer {
        let plant = self.ground.plant;
        if bench.is_spent() {
            let ended = Some(Ended::Lines { lines: plant.policy.bounds.trial_lines, trials: 0 });
            return Answer::None { nearest: NearMiss::Untried, ended };
        }
        let ideas = Ideas { plant, stock: &self.stock, audit: &bench.before[circuit], finding };
        let mut search = Search::of(self, bench, circuit, finding);
        let course = self.course(&search, ideas);
        search.look(course);
        let passing = std::mem::take(&mut search.passing);
        let smaller = std::mem::take(&mut search.smaller);
        let problem = search.problem;
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
        if bench.is_spent() {
            let lines = plant.policy.bounds.trial_lines;
            search.ended.get_or_insert(Ended::Lines { lines, trials: search.trials });
        }
        let ended = search.ended;
        let nearest = if is_provisional(finding) { NearMiss::Untried } else { search.nearest() };
        Answer::None { nearest, ended }
    }

    /// What is tried for a finding, and in which order.
    fn course<'b>(&'b self, search: &Search<'b, '_>, ideas: Ideas<'b>) -> Course<'b> {
        let (bench, problem, finding) = (search.bench, search.problem, search.finding);
        let mut thoughts: Vec<(Ideas, usize, Thought)> = Vec::new();
        thoughts.extend(ideas.thoughts().into_iter().map(|thought| (ideas, problem.circuit, thought)));
        // The charging cylinder of a group stands on one circuit, and the finding on all that it fills.
        if let Some(home) = bench.cylinder_of_group(problem.circuit, finding) {
            let at_home = Ideas { audit: &bench.before[home], ..ideas };
            thoughts.extend(at_home.cylinders_changed().into_iter().map(|thought| (at_home, home, thought)));
        }
        let buys_for_a_line = |thought: &Thought| match thought {
            Thought::Swaps { .. } => true,
            Thought::Change(change) => change.part().is_some() && change.changed_lines() > 0,
        };
        let is_alone = thoughts.iter().filter(|(_, _, thought)| buys_for_a_line(thought)).count() == 1;
        let mut course = Course { classes: BTreeMap::new(), swaps: None, low: Vec::new(), hopeless: None };
        for (ideas, circuit, thought) in thoughts {
            let filling_of = |line: usize| {
                let side = finding.side.filter(|_| is_provisional(finding));
                side.and_then(|side| Filling::of(ideas.plant, ideas.audit, Some(side), line))
            };
            if let Thought::Swaps { line, first, fitting } = &thought {
                let line = *line;
                if circuit == problem.circuit && search.outlook().are_hopeless(line, *fitting) {
                    course.hopeless = course.hopeless.or(Some(Change::Swap { line, to: *first }));
                    continue;
                }
                if is_alone && fitting.is_priced() {
                    let needs = ideas.needs(line);
                    let filling = filling_of(line);
                    course.swaps = Some(Swaps { circuit, line, fitting: *fitting, needs, filling });
                    continue;
                }
            }
            for change in ideas.spelt_out(thought) {
                let is_still_low = match &change {
                    Change::Swap { line, to } => filling_of(*line).is_some_and(|filling| is_low(self, &filling, *to)),
                    _ => false,
                };
                let class = (change.changed_lines(), change.part().is_some());
                let candidate = Candidate { circuit, change };
                if is_still_low {
                    course.low.push(candidate);
                } else {
                    course.classes.entry(class).or_default().push(candidate);
                }
            }
        }
        course
    }

    /// What a station's change harms on other circuits there, or on the station itself, in words.
    fn harm_elsewhere(&self, audit: &CircuitAudit, change: &Change) -> Option<String> {
        let station = audit.circuit.service.as_ref().map(|service| &service.station);
        let station = station.filter(|_| change.is_of_station())?;
        let on_station = || super::station::gained(self.ground, station, change);
        let in_words = |finding| super::harm::in_words(self.ground.plant, &finding);
        if self.serves_all(station, change) {
            return on_station().map(in_words);
        }
        self.harm_in_order(station, change).map(|harm| harm.to_string())
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
        for station in roster.stations(range.clone()) {
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
    let Left { words: left, worsens } = Left::of(plant, circuit, before, &change, &trial);
    Proved { circuit, change, cleared: trial.cleared, figures, left, worsens, sentence: None }
}

/// An answer for a finding, by the places of its circuit and of the finding there.
struct Answered {
    circuit: usize,
    place: usize,
    answer: Answer,
}

/// What the charging cylinder of a group is looked for, for all its circuits at once: rule, side and source, where
/// the rule's changes are of the cylinder alone.
fn group_of<'a>(audit: &'a CircuitAudit, finding: &Finding) -> Option<(&'static str, Option<Side>, &'a str)> {
    let service = audit.circuit.service.as_ref()?;
    let is_of_cylinder = |cure: &Cure| matches!(cure, Cure::OtherCylinder | Cure::SmallerCylinder | Cure::Split);
    let rule = rule(finding.rule).filter(|rule| rule.cures.iter().all(is_of_cylinder))?;
    let is_filled_together = !service.source.is_empty() && service.charging() == Charging::Cylinder;
    is_filled_together.then_some((rule.code, finding.side, service.source.as_str()))
}

/// What the first answer for a group says of a further circuit of it.
fn served_with_group(problem: Problem, first: usize, known: &Answer, is_provisional: bool) -> Option<Answer> {
    match known {
        Answer::Proved(proved) if is_provisional || proved.cleared.contains(&problem) => Some(Answer::Same(first)),
        Answer::None { .. } => Some(known.clone()),
        _ => None,
    }
}

/// Proved changes of a pallet, each once.
#[derive(Default)]
struct Gathered {
    all: Vec<Proved>,
    /// Where changes stand in `all`, by their circuit and what tells most of them apart.
    places: HashMap<(usize, (u8, usize, u64)), Vec<usize>>,
}

impl Gathered {
    /// Takes a change in; answers with its place.
    fn add(&mut self, proved: Proved) -> usize {
        let places = self.places.entry((proved.circuit, proved.change.gist())).or_default();
        if let Some(known) = places.iter().copied().find(|known| self.all[*known].change == proved.change) {
            let Proved { cleared, sentence, .. } = &mut self.all[known];
            let before = cleared.len();
            cleared.extend(proved.cleared);
            cleared.sort_unstable();
            cleared.dedup();
            if cleared.len() > before {
                *sentence = None;
            }
            return known;
        }
        places.push(self.all.len());
        self.all.push(proved);
        self.all.len() - 1
    }
}

/// Writes the answers onto the findings, drops V03 without an answer, and gathers each change
/// once.
fn write_down(plant: &Plant, audits: &mut [CircuitAudit], answers: Vec<Answered>) -> Vec<Proved> {
    let is_dropped = |answered: &&Answered| {
        matches!(answered.answer, Answer::None { .. })
            && is_provisional(&audits[answered.circuit].findings[answered.place])
    };
    let dropped: Vec<(usize, usize)> =
        answers.iter().filter(is_dropped).map(|answered| (answered.circuit, answered.place)).collect();
    // What is no finding in the end is not cleared either.
    let unfounded: BTreeSet<Problem> =
        dropped.iter().map(|(circuit, place)| Problem::of(*circuit, &audits[*circuit].findings[*place])).collect();
    let mut gathered = Gathered::default();
    let of_first = |answered: &Answered| match answered.answer {
        Answer::Same(first) => Some(first),
        _ => None,
    };
    let named: HashSet<usize> = answers.iter().filter_map(of_first).collect();
    // By answer: its change among the gathered, and, where a later answer names it, its sentence.
    let mut told: Vec<Option<(usize, String)>> = Vec::with_capacity(answers.len());
    // Findings for which no change was found.
    let mut unserved: Vec<(usize, usize)> = Vec::new();
    for Answered { circuit, place, answer } in answers {
        let (known, sentence) = match answer {
            Answer::Proved(mut proved) => {
                proved.cleared.retain(|problem| !unfounded.contains(problem));
                let sentence = super::words::sentence(plant, &audits[proved.circuit], &proved);
                proved.sentence = Some(sentence.clone());
                (Some(gathered.add(proved)), sentence)
            }
            Answer::Same(first) => {
                let (known, sentence) = told.get(first).cloned().flatten().unwrap_or_default();
                let problem = Problem::of(circuit, &audits[circuit].findings[place]);
                if let Some(proved) = gathered.all.get_mut(known)
                    && let Err(place) = proved.cleared.binary_search(&problem)
                {
                    proved.cleared.insert(place, problem);
                    proved.sentence = None;
                }
                (Some(known), sentence)
            }
            Answer::None { nearest, ended } => {
                let clause = |circuit: usize, change: &Change| super::words::clause(plant, &audits[circuit], change);
                let (audit, words) = (&audits[circuit], super::words::nearest(&nearest, clause));
                let air = super::words::air_untried(plant, audit.circuit.station(plant), &audit.findings[place]);
                (None, super::words::no_change(&words, ended) + &air)
            }
        };
        let home = known.and_then(|known| gathered.all.get(known)).map(|proved| proved.circuit);
        let elsewhere = home.filter(|home| *home != circuit);
        let is_named = named.contains(&told.len());
        told.push(known.map(|known| (known, if is_named { sentence.clone() } else { String::new() })));
        let remedy = match elsewhere {
            Some(home) => format!("On {}: {sentence}", audits[home].circuit.key),
            None => sentence,
        };
        let finding = &mut audits[circuit].findings[place];
        (finding.has_change, finding.remedy) = (known.is_some(), Some(remedy));
        if known.is_none() {
            unserved.push((circuit, place));
        }
    }
    point_to_others(plant, audits, &gathered.all, &unserved);
    for (circuit, place) in dropped.into_iter().rev() {
        audits[circuit].findings.remove(place);
    }
    gathered.all
}

/// Findings for which no change was found, though one that was proved for another finding clears them, too: theirs is
/// that change.
fn point_to_others(plant: &Plant, audits: &mut [CircuitAudit], gathered: &[Proved], unserved: &[(usize, usize)]) {
    if unserved.is_empty() || gathered.is_empty() {
        return;
    }
    let mut clearing: HashMap<Problem, &Proved> = HashMap::new();
    for proved in gathered {
        for problem in &proved.cleared {
            clearing.entry(*problem).or_insert(proved);
        }
    }
    for (circuit, place) in unserved.iter().copied() {
        let problem = Problem::of(circuit, &audits[circuit].findings[place]);
        let Some(proved) = clearing.get(&problem).copied() else { continue };
        let home = &audits[proved.circuit];
        let sentence = proved.sentence.clone().unwrap_or_else(|| super::words::sentence(plant, home, proved));
        let remedy = if proved.circuit == circuit { sentence } else { format!("On {}: {sentence}", home.circuit.key) };
        let finding = &mut audits[circuit].findings[place];
        (finding.has_change, finding.remedy) = (true, Some(remedy));
    }
}
