//! Which sheet and row shows a finding, a circuit, a line of a list, a rule or a remedy: where links lead.

use std::collections::{HashMap, HashSet};

use crate::audit::buying_doubts::concerns_buying;
use crate::audit::causes::reading_order;
use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::rules::buying;
use crate::rules::catalogue::CATALOGUE;
use crate::tables::circuit::{CircuitKey, InService};
use crate::tables::column::Table;
use crate::tables::finding::Finding;
use crate::tables::origin::Origin;
use crate::tables::words::{Severity, Side, State};

use super::Sheets;
use super::grid::{Place, Target};
use super::like_changes::LikeChanges;

/// What a remedy says it clears, as far as findings are told apart by it.
type Cleared<'a> = (&'a CircuitKey, &'a str, Option<Side>, &'a str);

/// Finds the rows that links lead to.
pub struct Places<'a> {
    /// In the order of Findings.
    findings: Vec<&'a Finding>,
    /// Of these, the majors and minors, which stand first.
    graver: usize,
    /// By where a finding lies in memory: findings have no key of their own.
    rows: HashMap<usize, Place>,
    circuits: HashMap<&'a CircuitKey, Place>,
    lines: HashMap<Origin, Place>,
    remarks: HashMap<Origin, Vec<&'a Finding>>,
    rules: HashMap<&'static str, u32>,
    remedies: HashMap<Cleared<'a>, usize>,
    successors: HashMap<&'a str, usize>,
    /// First findings, in the order of Findings.
    first_of_circuit: HashMap<&'a CircuitKey, &'a Finding>,
    first_of_rule: HashMap<&'a str, &'a Finding>,
    first_of_remedy: HashMap<usize, &'a Finding>,
    like_changes: LikeChanges,
    row_limit: u32,
    /// Whether there are sheets beside Findings that it can lead to.
    is_whole: bool,
}

fn address(finding: &Finding) -> usize {
    std::ptr::from_ref(finding).addr()
}

impl<'a> Places<'a> {
    /// Puts the findings in their order and numbers the rows of all tables.
    ///
    /// * `first_rule_row` – of the rules on Basis
    #[must_use]
    pub fn of(audit: &'a Audit, row_limit: u32, only: Sheets, first_rule_row: u32) -> Self {
        let findings = in_reading_order(audit, only);
        let graver = findings.iter().filter(|finding| finding.severity != Severity::Observation).count();
        let rows = (0_u32..).zip(&findings).map(|(at, finding)| (address(finding), Place::of(at, row_limit))).collect();
        let mut places = Self {
            findings,
            graver,
            rows,
            circuits: HashMap::new(),
            lines: HashMap::new(),
            remarks: HashMap::new(),
            rules: HashMap::new(),
            remedies: HashMap::new(),
            successors: HashMap::new(),
            first_of_circuit: HashMap::new(),
            first_of_rule: HashMap::new(),
            first_of_remedy: HashMap::new(),
            like_changes: LikeChanges::default(),
            row_limit,
            is_whole: only == Sheets::All,
        };
        if places.is_whole {
            places.number(audit, first_rule_row);
            places.find_first_ones();
        }
        places
    }

    fn number(&mut self, audit: &'a Audit, first_rule_row: u32) {
        let mut index = 0;
        for circuit in &audit.circuits {
            self.circuits.insert(&circuit.circuit.key, Place::of(index, self.row_limit));
            index += if circuit.figures.unclamp.is_some() { 2 } else { 1 };
        }
        for finding in audit.findings() {
            if let Some(origin) = finding.origin {
                self.remarks.entry(origin).or_default().push(finding);
            }
        }
        let with_remarks = audit.listed.iter().filter(|row| self.remarks.contains_key(&row.origin));
        for (index, row) in (0_u32..).zip(with_remarks) {
            self.lines.entry(row.origin).or_insert_with(|| Place::of(index, self.row_limit));
        }
        self.like_changes = LikeChanges::of(audit);
        self.rules = CATALOGUE.iter().map(|rule| rule.code).zip(first_rule_row..).collect();
        for (index, remedy) in audit.remedies.iter().enumerate() {
            for claim in &remedy.claims {
                let cleared = (&*claim.place, claim.rule, claim.side, claim.position.as_str());
                self.remedies.entry(cleared).or_insert(index);
            }
            if remedy.rules == [buying::B01.code] {
                self.successors.entry(&remedy.part_from).or_insert(index);
            }
        }
    }

    fn find_first_ones(&mut self) {
        for finding in self.findings.clone() {
            self.first_of_circuit.entry(&finding.place).or_insert(finding);
            self.first_of_rule.entry(finding.rule).or_insert(finding);
            if let Some(index) = self.index_of_remedy(finding) {
                self.first_of_remedy.entry(index).or_insert(finding);
            }
        }
    }

    /// The change that clears a finding, by its index.
    #[must_use]
    pub fn index_of_remedy(&self, finding: &Finding) -> Option<usize> {
        if finding.state == State::Waived {
            return None;
        }
        if finding.rule == buying::B01.code {
            return self.successors.get(finding.part_no.as_str()).copied();
        }
        self.remedies.get(&(&finding.place, finding.rule, finding.side, finding.position.as_str())).copied()
    }

    /// Findings in the order of their sheet: the gravest first, of each those in service first.
    #[must_use]
    pub fn findings(&self) -> &[&'a Finding] {
        &self.findings
    }

    /// How many of the findings, from the first, are majors and minors.
    #[must_use]
    pub const fn graver(&self) -> usize {
        self.graver
    }

    /// The row of a finding.
    #[must_use]
    pub fn finding(&self, finding: &Finding) -> Option<Target> {
        self.rows.get(&address(finding)).map(|place| Target { table: "Findings", place: *place })
    }

    /// The row of a circuit's clamp side.
    #[must_use]
    pub fn circuit(&self, key: &CircuitKey) -> Option<Target> {
        self.circuits.get(key).map(|place| Target { table: "Circuits", place: *place })
    }

    /// The row of a line.
    #[must_use]
    pub fn line(&self, audit: &Audit, finding: &Finding) -> Option<Target> {
        let origin = finding.origin?;
        let table = audit.plant.source(origin)?.table;
        let place = self.lines.get(&origin).filter(|_| table == Some(Table::Lists))?;
        Some(Target { table: "Lines", place: *place })
    }

    /// The row of a rule on Basis.
    #[must_use]
    pub fn rule(&self, code: &str) -> Option<Target> {
        let place = Place { sheet: 0, row: *self.rules.get(code)? };
        Some(Target { table: "Basis", place })
    }

    /// The row of the remedy that clears a finding.
    #[must_use]
    pub fn remedy(&self, finding: &Finding) -> Option<Target> {
        let place = self.like_changes.place(self.index_of_remedy(finding)?, self.row_limit)?;
        Some(Target { table: "Remedies", place })
    }

    /// The order of the sheet Remedies.
    #[must_use]
    pub const fn like_changes(&self) -> &LikeChanges {
        &self.like_changes
    }

    /// The first finding on a circuit.
    #[must_use]
    pub fn first_of_circuit(&self, key: &CircuitKey) -> Option<Target> {
        self.finding(self.first_of_circuit.get(key)?)
    }

    /// The first finding of a rule.
    #[must_use]
    pub fn first_of_rule(&self, code: &str) -> Option<Target> {
        self.finding(self.first_of_rule.get(code)?)
    }

    /// The first finding that a remedy clears.
    #[must_use]
    pub fn first_of_remedy(&self, index: usize) -> Option<Target> {
        self.finding(self.first_of_remedy.get(&index)?)
    }

    /// Findings on a line.
    #[must_use]
    pub fn remarks(&self, origin: Origin) -> &[&'a Finding] {
        self.remarks.get(&origin).map_or(&[], Vec::as_slice)
    }
}

/// By gravity, then place.
fn in_reading_order(audit: &Audit, only: Sheets) -> Vec<&Finding> {
    let is_wanted = |finding: &&Finding| only != Sheets::Purchase || concerns_buying(&audit.plant, finding);
    let is_planned = |circuit: &&CircuitAudit| InService::of(&circuit.circuit) == InService::Planned;
    let planned: HashSet<&CircuitKey> =
        audit.circuits.iter().filter(is_planned).map(|circuit| &circuit.circuit.key).collect();
    let mut findings: Vec<&Finding> = audit.findings().filter(is_wanted).collect();
    findings
        .sort_by_cached_key(|finding| reading_order(finding.severity, finding.rule, !planned.contains(&finding.place)));
    findings
}
