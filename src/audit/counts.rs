//! Counts of a run that add up: chunk by chunk, shard by shard.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::rules::catalogue::rule;
use crate::tables::circuit::InService;
use crate::tables::counted::counted;
use crate::tables::figures::Figure;
use crate::tables::finding::Finding;
use crate::tables::place;
use crate::tables::words::{Severity, Side, State, Verdict};

use crate::audit::beside::Beside;
use crate::audit::causes::{Causes, reading_order};
pub use crate::audit::pallet_book::{PalletBook, PalletRows};
pub use crate::audit::pallet_counts::{PalletCounts, VerdictCounts, pallet_gravity};
use crate::audit::settling;
use crate::audit::softened::Softened;
use crate::audit::sure_counts::SureCounts;
pub use crate::audit::unsafe_circuit::UnsafeCircuit;
use crate::circuit::audited::{ChangeReach, CircuitAudit};
use crate::rules::coverage::COVERED;
use crate::tables::plant::Plant;

/// Circuits on the list of the worst.
const WORST: usize = 10;
/// New majors, and unsafe circuits in service, that are listed; `changes.new_majors` and `in_service` count all.
const LISTED: usize = 1000;

/// Circuits that do not conform, by what proved changes, each by itself, clear of their findings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReachCounts {
    /// Each of their findings.
    pub all: u64,
    pub some: u64,
    pub none: u64,
    /// Those that fail by a part or a load station alone.
    pub elsewhere: u64,
}

/// Findings that are not waived, by severity, and those that are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SeverityCounts {
    pub majors: u64,
    pub minors: u64,
    pub observations: u64,
    pub waived: u64,
}

/// Findings against the earlier run; all 0 where there was none.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChangeCounts {
    pub new: u64,
    pub standing: u64,
    pub cleared: u64,
    pub new_majors: u64,
    pub standing_majors: u64,
}

/// Circuits that a family of rules was asked of, and could be assessed on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FamilyCoverage {
    pub asked: u64,
    /// Of these, those on which every rule of the family could be assessed.
    pub assessed: u64,
    pub circuits: u64,
}

/// `Assessed of those asked, of 50 circuits: F 12 of 13, H 40 of 41.`, the same words wherever coverage is told;
/// `None` where there is no circuit.
#[must_use]
pub fn coverage_in_words(coverage: &BTreeMap<String, FamilyCoverage>) -> Option<String> {
    let circuits = coverage.values().map(|family| family.circuits).max().filter(|circuits| *circuits > 0)?;
    let of = |(letter, family): (&String, &FamilyCoverage)| {
        let name = COVERED.iter().find(|known| *letter == known.letter.to_string()).map_or("", |known| known.name);
        format!("{} {} of {}", name.to_lowercase(), family.assessed, family.asked)
    };
    let families: Vec<String> = coverage.iter().map(of).collect();
    Some(format!("Assessed of those asked, of {}: {}.", counted(circuits, "circuit"), families.join(", ")))
}

/// Rows that are kept of a column; of a plant with more so many are told.
const ROWS: usize = 1000;

/// A datum that circuits lack.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct MissingDatum {
    pub circuits: u64,
    /// Its rows, where it is a column, the first.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub rows: BTreeSet<u32>,
    /// Why one of them could not be assessed.
    pub because: String,
    /// The first of them in alphabetical order.
    #[serde(default)]
    pub first: String,
}

impl MissingDatum {
    /// Of several reasons and places the first in alphabetical order are kept: the same whatever the order of circuits.
    fn add(&mut self, other: Self) {
        if self.circuits == 0 {
            *self = other;
            return;
        }
        if other.first < self.first {
            self.first = other.first;
        }
        if other.because < self.because {
            self.because = other.because;
        }
        self.circuits += other.circuits;
        self.rows.extend(other.rows);
        while self.rows.len() > ROWS {
            self.rows.pop_last();
        }
    }
}

/// A circuit whose verdict is that it is not assessed.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct UnassessedCircuit {
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
    /// The cell that settles most of it; empty where none can be told.
    pub cell: String,
}

/// A finding by its name and place.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct NamedFinding {
    pub rule: String,
    pub name: String,
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
    pub side: String,
    pub position: String,
    pub part_no: String,
}

/// A circuit that does not conform, with a sentence that says why.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorstCircuit {
    pub plant: String,
    pub pallet: String,
    pub fixture: String,
    pub circuit: String,
    pub majors: u64,
    pub minors: u64,
    #[serde(default)]
    pub in_service: bool,
    pub sentence: String,
}

impl WorstCircuit {
    /// The worst first: in service, then by majors and minors, then by place.
    fn rank(&self) -> (Reverse<(bool, u64, u64)>, [&str; 4]) {
        (
            Reverse((self.in_service, self.majors, self.minors)),
            [&self.plant, &self.pallet, &self.fixture, &self.circuit],
        )
    }
}

impl UnassessedCircuit {
    /// `Tarnholm/T02/left/2`, without what is empty.
    #[must_use]
    pub fn path(&self) -> String {
        place::joined(&[&self.plant, &self.pallet, &self.fixture, &self.circuit])
    }
}

impl ReachCounts {
    fn count(&mut self, reach: ChangeReach) {
        match reach {
            ChangeReach::All => self.all += 1,
            ChangeReach::Some => self.some += 1,
            ChangeReach::None => self.none += 1,
            ChangeReach::Elsewhere => self.elsewhere += 1,
        }
    }

    fn add(&mut self, other: Self) {
        self.all += other.all;
        self.some += other.some;
        self.none += other.none;
        self.elsewhere += other.elsewhere;
    }
}

impl ChangeCounts {
    fn add(&mut self, other: Self) {
        self.new += other.new;
        self.standing += other.standing;
        self.cleared += other.cleared;
        self.new_majors += other.new_majors;
        self.standing_majors += other.standing_majors;
    }
}

impl NamedFinding {
    fn place_and_name(&self) -> [&str; 8] {
        let place =
            [&self.plant, &self.pallet, &self.fixture, &self.circuit, &self.side, &self.position, &self.part_no];
        let [plant, pallet, fixture, circuit, side, position, part_no] = place.map(String::as_str);
        [plant, pallet, fixture, circuit, side, position, part_no, &self.rule]
    }
}

impl SeverityCounts {
    fn add(&mut self, other: Self) {
        self.majors += other.majors;
        self.minors += other.minors;
        self.observations += other.observations;
        self.waived += other.waived;
    }

    fn count(&mut self, finding: &Finding) {
        match (finding.state, finding.severity) {
            (State::Waived, _) => self.waived += 1,
            (_, Severity::Major) => self.majors += 1,
            (_, Severity::Minor) => self.minors += 1,
            (_, Severity::Observation) => self.observations += 1,
        }
    }

    fn of<'a>(findings: impl IntoIterator<Item = &'a Finding>) -> Self {
        let mut counts = Self::default();
        findings.into_iter().for_each(|finding| counts.count(finding));
        counts
    }
}

/// What `summary.json` counts, as far as it is known.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Counts {
    pub plants: BTreeSet<String>,
    pub circuits: VerdictCounts,
    /// Of these, those in service (`built`).
    #[serde(default)]
    pub in_service: VerdictCounts,
    /// Of these, those of which it can't be read whether they are; the others are planned.
    #[serde(default, skip_serializing_if = "VerdictCounts::is_empty")]
    pub may_be_in_service: VerdictCounts,
    /// What changes clear on those in service, and on planned ones, that do not conform.
    #[serde(default)]
    pub reach_in_service: ReachCounts,
    #[serde(default)]
    pub reach_planned: ReachCounts,
    /// By the family's letter.
    #[serde(default)]
    pub coverage: BTreeMap<String, FamilyCoverage>,
    /// What keeps rules from being assessed, by the cell that would settle it (`components.csv, row 4, leak`), its column
    /// where each circuit has its own (`circuits.csv, temp_min`), or by the reason where no cell can be told.
    #[serde(default)]
    pub missing: BTreeMap<String, MissingDatum>,
    /// The same of circuits that do not conform as it is.
    #[serde(default)]
    pub missing_beside: BTreeMap<String, MissingDatum>,
    #[serde(default)]
    pub causes: Causes,
    /// Lines of the circuits audited.
    pub lines: u64,
    /// Rows of all lists.
    #[serde(default)]
    pub lines_read: u64,
    pub lines_set_aside: u64,
    pub findings: SeverityCounts,
    pub purchasing: SeverityCounts,
    pub waivers: SeverityCounts,
    pub changes: ChangeCounts,
    /// In the order that they came, capped.
    pub new_majors: Vec<NamedFinding>,
    /// By plant and pallet.
    pub pallets: PalletBook,
    pub worst: Vec<WorstCircuit>,
    /// In the order that they came, capped.
    #[serde(default)]
    pub unsafe_in_service: Vec<UnsafeCircuit>,
    /// Circuits not assessed, in the order that they came, capped.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub not_assessed: Vec<UnassessedCircuit>,
    /// How sure the verdicts are, where that is asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sure: Option<SureCounts>,
    /// What no verdict rests on.
    #[serde(default)]
    pub beside: Beside,
    /// What an earlier run found and nobody put right.
    #[serde(default)]
    pub softened: Softened,
}

impl Counts {
    /// Counts a circuit with its findings.
    pub fn add_circuit(&mut self, plant: &Plant, audit: &CircuitAudit) {
        let key = &audit.circuit.key;
        if !self.plants.contains(key.plant.as_str()) {
            self.plants.insert(key.plant.to_string());
        }
        self.circuits.count(audit);
        let in_service = InService::of(&audit.circuit);
        let is_in_service = in_service == InService::Yes;
        if in_service == InService::Unknown {
            self.may_be_in_service.count(audit);
        }
        if is_in_service {
            self.in_service.count(audit);
            if audit.verdict == Verdict::DoesNotConform && self.unsafe_in_service.len() < LISTED {
                let [plant, pallet, fixture, circuit] = key.names();
                self.unsafe_in_service.push(UnsafeCircuit { plant, pallet, fixture, circuit });
            }
        }
        if audit.verdict == Verdict::DoesNotConform {
            match in_service {
                InService::Yes => self.reach_in_service.count(audit.reach()),
                InService::Planned => self.reach_planned.count(audit.reach()),
                InService::Unknown => {}
            }
        }
        if audit.verdict == Verdict::NotAssessed && self.not_assessed.len() < LISTED {
            let [plant_name, pallet, fixture, circuit] = key.names();
            let cell = settling::settles_most(plant, audit).unwrap_or_default();
            self.not_assessed.push(UnassessedCircuit { plant: plant_name, pallet, fixture, circuit, cell });
        }
        self.add_coverage(audit);
        self.beside.add_circuit(plant, audit);
        self.add_missing(plant, audit);
        self.causes.add_circuit(plant, audit);
        self.lines += audit.circuit.lines.len() as u64;
        self.add_findings(&audit.findings);
        let counts = SeverityCounts::of(&audit.findings);
        self.pallets.count(&key.plant, &key.pallet, |pallet| {
            pallet.circuits.count(audit);
            match in_service {
                InService::Yes => pallet.in_service.count(audit),
                InService::Unknown => pallet.may_be_in_service.count(audit),
                InService::Planned => {}
            }
            pallet.majors += counts.majors;
            pallet.minors += counts.minors;
        });
        if counts.majors + counts.minors > 0 {
            self.add_worst(counts, audit);
        }
        if audit.figures.sureness.is_some() {
            self.sure.get_or_insert_with(|| SureCounts::from(plant.policy.limits.sure)).count(audit);
        }
    }

    fn add_coverage(&mut self, audit: &CircuitAudit) {
        let assessed = audit.coverage.assessed(&audit.not_assessed.iter().map(|lack| lack.rule));
        for family in COVERED {
            let mut letter = [0; 4];
            let letter = family.letter.encode_utf8(&mut letter);
            if !self.coverage.contains_key(letter) {
                self.coverage.insert(letter.to_owned(), FamilyCoverage::default());
            }
            let Some(counts) = self.coverage.get_mut(letter) else { continue };
            counts.circuits += 1;
            counts.asked += u64::from(audit.coverage.is_asked(family.letter));
            counts.assessed += u64::from(assessed.contains(&family.letter));
        }
    }

    fn add_missing(&mut self, plant: &Plant, audit: &CircuitAudit) {
        let mut data: BTreeMap<String, MissingDatum> = BTreeMap::new();
        let place = audit.circuit.key.path();
        for (lack, cell) in settling::cells(plant, audit) {
            let root = Figure::root_of(&lack.because);
            let in_words = |(origin, column)| settling::column_in_words(plant, origin, column);
            let (name, row) = cell.map_or_else(|| (root.to_owned(), None), in_words);
            let datum = data.entry(name).or_insert_with(|| MissingDatum {
                circuits: 1,
                because: root.to_owned(),
                first: place.clone(),
                ..MissingDatum::default()
            });
            datum.rows.extend(row);
        }
        let is_verdict = audit.verdict == Verdict::NotAssessed;
        let missing = if is_verdict { &mut self.missing } else { &mut self.missing_beside };
        for (name, datum) in data {
            missing.entry(name).or_default().add(datum);
        }
    }

    /// Data that circuits lack, in words, and whether they give a verdict: those that do first, each by the number of
    /// circuits.
    #[must_use]
    pub fn missing_first(&self) -> Vec<(String, &MissingDatum, bool)> {
        let of = |missing, is_verdict| {
            let of_one = |(name, datum): (&String, _)| (name.clone(), datum, is_verdict);
            let missing: &BTreeMap<String, MissingDatum> = missing;
            missing.iter().map(of_one).collect::<Vec<(String, &MissingDatum, bool)>>()
        };
        let mut all = [of(&self.missing, true), of(&self.missing_beside, false)].concat();
        all.sort_by_key(|(_, datum, is_verdict)| Reverse((*is_verdict, datum.circuits)));
        all.into_iter().map(|(name, datum, is)| (settling::rows_in_words(&name, &datum.rows), datum, is)).collect()
    }

    /// Circuits that are planned.
    #[must_use]
    pub const fn planned(&self) -> VerdictCounts {
        self.circuits.less(self.in_service).less(self.may_be_in_service)
    }

    /// Counts findings that stand on no circuit.
    pub fn add_elsewhere(&mut self, plant: &Plant, findings: &[Finding]) {
        self.causes.add_elsewhere(plant, findings);
        self.add_findings(findings);
    }

    fn add_findings(&mut self, findings: &[Finding]) {
        for finding in findings {
            let counts = match finding.rule.as_bytes().first() {
                Some(b'B') => &mut self.purchasing,
                Some(b'W') => &mut self.waivers,
                _ => &mut self.findings,
            };
            counts.count(finding);
            match finding.state {
                State::New => self.changes.new += 1,
                State::Standing => self.changes.standing += 1,
                State::Waived | State::Open => {}
            }
            if is_new_major(finding) {
                self.changes.new_majors += 1;
                if self.new_majors.len() < LISTED {
                    self.new_majors.push(named(finding));
                }
            }
            if finding.state == State::Standing && finding.severity == Severity::Major {
                self.changes.standing_majors += 1;
            }
        }
    }

    /// Adds what was counted elsewhere, of later circuits.
    pub fn add(&mut self, other: Self) {
        self.plants.extend(other.plants);
        self.circuits.add(other.circuits);
        self.in_service.add(other.in_service);
        self.may_be_in_service.add(other.may_be_in_service);
        self.reach_in_service.add(other.reach_in_service);
        self.reach_planned.add(other.reach_planned);
        for (letter, family) in other.coverage {
            let own = self.coverage.entry(letter).or_default();
            own.circuits += family.circuits;
            own.asked += family.asked;
            own.assessed += family.assessed;
        }
        for (own, other) in [(&mut self.missing, other.missing), (&mut self.missing_beside, other.missing_beside)] {
            for (cell, datum) in other {
                own.entry(cell).or_default().add(datum);
            }
        }
        self.causes.add(other.causes);
        self.beside.add(other.beside);
        self.softened.add(other.softened);
        self.lines += other.lines;
        self.lines_read += other.lines_read;
        self.lines_set_aside += other.lines_set_aside;
        self.findings.add(other.findings);
        self.purchasing.add(other.purchasing);
        self.waivers.add(other.waivers);
        self.changes.add(other.changes);
        self.new_majors.extend(other.new_majors);
        self.new_majors.truncate(LISTED);
        self.pallets.add(&other.pallets);
        self.unsafe_in_service.extend(other.unsafe_in_service);
        self.unsafe_in_service.truncate(LISTED);
        self.not_assessed.extend(other.not_assessed);
        self.not_assessed.truncate(LISTED);
        self.worst.extend(other.worst);
        self.keep_worst();
        if let Some(sure) = other.sure {
            self.sure.get_or_insert_with(|| SureCounts::from(sure.sure)).add(sure);
        }
    }

    /// Puts listed findings in the order of `findings.csv`, for counts that were added out of it.
    pub fn sort(&mut self) {
        self.new_majors.sort_by(|a, b| a.place_and_name().cmp(&b.place_and_name()));
        self.unsafe_in_service.sort();
        self.not_assessed.sort();
    }

    /// Findings of all kinds: the rows of `findings.csv`.
    #[must_use]
    pub fn all_findings(&self) -> SeverityCounts {
        let mut all = self.findings;
        all.add(self.purchasing);
        all.add(self.waivers);
        all
    }

    /// The circuits with the most majors, then minors.
    #[must_use]
    pub fn worst(&self) -> &[WorstCircuit] {
        &self.worst
    }

    fn add_worst(&mut self, counts: SeverityCounts, audit: &CircuitAudit) {
        let is_in_service = InService::of(&audit.circuit) == InService::Yes;
        let least = self.worst.last().filter(|_| self.worst.len() >= WORST);
        let key = &audit.circuit.key;
        let place: [&str; 4] = [&key.plant, &key.pallet, &key.fixture, &key.circuit];
        let own = (Reverse((is_in_service, counts.majors, counts.minors)), place);
        if least.is_some_and(|least| least.rank() < own) {
            return;
        }
        self.worst.push(worst_circuit(counts, audit));
        self.keep_worst();
    }

    fn keep_worst(&mut self) {
        self.worst.sort_by(|a, b| a.rank().cmp(&b.rank()));
        self.worst.truncate(WORST);
    }
}

fn is_new_major(finding: &Finding) -> bool {
    finding.state == State::New && finding.severity == Severity::Major
}

fn named(finding: &Finding) -> NamedFinding {
    NamedFinding {
        rule: finding.rule.to_owned(),
        name: rule(finding.rule).map_or_else(String::new, |rule| rule.name.to_owned()),
        plant: finding.place.plant.to_string(),
        pallet: finding.place.pallet.to_string(),
        fixture: finding.place.fixture.to_string(),
        circuit: finding.place.circuit.to_string(),
        side: finding.side.map_or_else(String::new, |side| side.word().to_owned()),
        position: finding.position.clone(),
        part_no: finding.part_no.clone(),
    }
}

fn worst_circuit(counts: SeverityCounts, audit: &CircuitAudit) -> WorstCircuit {
    let key = &audit.circuit.key;
    let [plant, pallet, fixture, circuit] = key.names();
    let sentence = sentence(counts, &audit.findings);
    let in_service = InService::of(&audit.circuit) == InService::Yes;
    WorstCircuit { plant, pallet, fixture, circuit, majors: counts.majors, minors: counts.minors, in_service, sentence }
}

/// `2 majors and 1 minor, first P05 part-rated-below-charge (position C3, part 4711).`
fn sentence(counts: SeverityCounts, findings: &[Finding]) -> String {
    let numbers = [(counts.majors, "major"), (counts.minors, "minor")];
    let numbers: Vec<String> =
        numbers.iter().filter(|(number, _)| *number > 0).map(|(number, word)| counted(*number, word)).collect();
    let first = findings.iter().filter(|finding| finding.counts());
    let first = first.min_by_key(|finding| reading_order(finding.severity, finding.rule, true));
    let first = first.map_or_else(String::new, |finding| format!(", first {}", described(finding)));
    format!("{}{first}.", numbers.join(" and "))
}

fn described(finding: &Finding) -> String {
    let mut where_it_is = Vec::new();
    if let Some(side) = finding.side.filter(|side| *side != Side::Both) {
        where_it_is.push(format!("{} side", side.word()));
    }
    if !finding.position.is_empty() {
        where_it_is.push(format!("position {}", finding.position));
    }
    if !finding.part_no.is_empty() {
        where_it_is.push(format!("part {}", finding.part_no));
    }
    let name = rule(finding.rule).map_or_else(String::new, |rule| format!(" {}", rule.name));
    let place = if where_it_is.is_empty() { String::new() } else { format!(" ({})", where_it_is.join(", ")) };
    format!("{}{name}{place}", finding.rule)
}
