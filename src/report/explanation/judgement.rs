//! What the rules make of a circuit: not met, waived, met with how far they are from their limit, not assessed and why,
//! not asked.

use crate::audit::settling;
use crate::circuit::audited::Unassessed;
use crate::circuit::fixture::neighbours_of;
use crate::rules::catalogue::{CATALOGUE, weighs_on_circuits};
use crate::rules::coverage::COVERED;
use crate::rules::relaxed::{Relaxed, unasked_in_words};
use crate::rules::view::CircuitView;
use crate::rules::{Family, Rule, Weighed, sureness, wording};
use crate::tables::finding::Finding;
use crate::tables::policy::Policy;
use crate::tables::words::{Severity, State};

use super::workings::Workings;

/// A finding in words.
#[derive(Clone, Debug, PartialEq)]
pub struct NotMet {
    pub rule: &'static str,
    pub name: &'static str,
    pub severity: Severity,
    pub state: State,
    /// The line or side, in words; empty of the circuit.
    pub on: String,
    pub reason: String,
    pub remedy: String,
    pub source: String,
}

/// A rule that is met, with the figure that is nearest to its limit.
#[derive(Clone, Debug, PartialEq)]
pub struct MetRule {
    pub rule: &'static str,
    pub name: &'static str,
    pub nearest: Weighed,
    /// The figure against its limit, in words.
    pub words: String,
    /// What must come true first; empty where nothing must.
    pub only: String,
}

/// A rule that could not be assessed.
#[derive(Clone, Debug, PartialEq)]
pub struct NotAssessed {
    pub rule: &'static str,
    pub name: &'static str,
    pub because: String,
    /// The cell that would settle it, where that can be told.
    pub cell: String,
}

/// A rule that looked at nothing.
#[derive(Clone, Debug, PartialEq)]
pub struct IdleRule {
    pub rule: &'static str,
    pub name: &'static str,
    /// What it would look at; empty where the whole family isn't asked.
    pub rests_on: &'static str,
}

/// Rules by what came of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judgement {
    /// The gravest first.
    pub not_met: Vec<NotMet>,
    pub met: Vec<MetRule>,
    /// Codes of rules that looked and found nothing, and that compare no figure here: what they look for is not
    /// there, or is there as it should be, or another rule has found it. None of them lacks what it looks at.
    pub nothing_found: Vec<&'static str>,
    pub not_assessed: Vec<NotAssessed>,
    /// Families that nothing asks for, with what would.
    pub not_asked: Vec<String>,
    /// Rules of these, and those that looked at nothing for want of data.
    pub idle: Vec<IdleRule>,
    /// Codes that the policy has switched off.
    pub switched_off: Vec<&'static str>,
    /// What the policy takes out of the verdict, in a sentence.
    pub relaxed: Option<String>,
}

/// What the policy takes out of the verdict, and what it does not ask for.
fn relaxed(policy: &Policy) -> Option<String> {
    let sentences: Vec<String> =
        Relaxed::of(policy).of_circuits().into_iter().chain(unasked_in_words(policy)).collect();
    (!sentences.is_empty()).then(|| sentences.join(" "))
}

/// What asks for a family, in words.
const ASKED_BY: [(char, &str); 5] = [
    ('V', "a charging cylinder"),
    ('P', "every circuit"),
    ('H', "pressure_min, hold_time, temp_min or temp_max of an uncoupled circuit"),
    ('F', "force_required, force_max, supports or cutting_force"),
    ('T', "clamp_time_max, unclamp_time_max or time_min"),
];

impl Judgement {
    /// What was not asked, in lines: the families with what would ask for them, then rules of other families with
    /// the data that would.
    #[must_use]
    pub fn unasked_in_words(&self) -> Vec<String> {
        let rules = self.idle.iter().filter(|idle| !idle.rests_on.is_empty());
        let rules = rules.map(|idle| format!("{} {}: asked for by {}", idle.rule, idle.name, idle.rests_on));
        self.not_asked.iter().cloned().chain(rules).collect()
    }

    /// Of one circuit.
    pub(super) fn of(workings: &Workings, elsewhere: &[Finding]) -> Self {
        let audit = workings.audit;
        let beside = neighbours_of(workings.plant, workings.pallet, audit);
        let view = CircuitView::of(workings.plant, workings.circuit, workings.service, workings.figures)
            .beside(&beside.clamps, &beside.supports);
        let against =
            elsewhere.iter().filter(|finding| weighs_on_circuits(finding) && stands_against(workings, finding));
        let mut findings: Vec<&Finding> = audit.findings.iter().chain(against).collect();
        findings.sort_by_key(|finding| (finding.state == State::Waived, finding.severity));
        let mut judgement = Self {
            relaxed: relaxed(&workings.plant.policy),
            not_met: findings.iter().filter_map(|finding| not_met(workings, finding)).collect(),
            ..Self::default()
        };
        let cells = settling::cells(workings.plant, audit);
        let cell_of =
            |wanted: &Unassessed| cells.iter().find(|(lack, _)| lack.rule == wanted.rule).and_then(|(_, cell)| *cell);
        let is_sureness_asked = workings.figures.sureness.is_some();
        let is_asked = |rule: &&Rule| is_sureness_asked || rule.family.letter != sureness::FAMILY.letter;
        for rule in CATALOGUE.iter().copied().filter(|rule| rule.checks.circuit.is_some()).filter(is_asked) {
            if workings.plant.policy.severity(rule.code, rule.severity).is_none() {
                judgement.switched_off.push(rule.code);
            } else if let Some(lack) = audit.not_assessed.iter().find(|lack| lack.rule == rule.code) {
                let cell = cell_of(lack).map(|(origin, column)| format!("{}, {column}", workings.row(origin)));
                judgement.not_assessed.push(NotAssessed {
                    rule: rule.code,
                    name: rule.name,
                    because: lack.because.clone(),
                    cell: cell.unwrap_or_default(),
                });
            } else if !audit.findings.iter().any(|finding| finding.rule == rule.code) {
                judgement.add_met(workings, rule, &view);
            }
        }
        for lack in &audit.not_assessed {
            if !judgement.not_assessed.iter().any(|known| known.rule == lack.rule) {
                let name = crate::rules::catalogue::rule(lack.rule).map_or("", |rule| rule.name);
                let because = lack.because.clone();
                judgement.not_assessed.push(NotAssessed { rule: lack.rule, name, because, cell: String::new() });
            }
        }
        for letter in audit.coverage.not_asked() {
            let name = COVERED.iter().find(|family| family.letter == letter).map_or("", |family| family.name);
            let by = ASKED_BY.iter().find(|(of, _)| *of == letter).map_or("", |(_, by)| *by);
            judgement.not_asked.push(format!("{letter} {name}: asked for by {by}"));
        }
        if !is_sureness_asked {
            let Family { letter, name, .. } = sureness::FAMILY;
            judgement.not_asked.push(format!("{letter} {name}: asked for by `clampbook check --sure`"));
        }
        judgement
    }

    fn add_met(&mut self, workings: &Workings, rule: &'static Rule, view: &CircuitView) {
        // Beyond the limit of a rule that found nothing another one found it, and says so.
        let weighed = if view.circuit.lines.is_empty() { Vec::new() } else { rule.weighed(view) };
        let Some(nearest) = Weighed::nearest(weighed).filter(|nearest| nearest.slack >= 0.0) else {
            match idle(workings, rule, view) {
                Some(idle) => self.idle.push(idle),
                None => self.nothing_found.push(rule.code),
            }
            return;
        };
        let (measured, limit) =
            wording::shown_apart(&nearest.measured(), &nearest.limit(), workings.plant.policy.units);
        let rated = nearest.rated.map(|line| format!(" of {}", workings.named_line(line))).unwrap_or_default();
        let share = nearest.share().map(|share| format!(", {:.0} % away", share * 100.0)).unwrap_or_default();
        let on = match (nearest.at.line, nearest.at.side) {
            (Some(line), _) => format!(" ({})", workings.named_line(line)),
            (None, Some(side)) => format!(" ({side} side)"),
            (None, None) => String::new(),
        };
        let rests_on_hold = rule.figures.cold || rule.figures.hold;
        let only = workings.audit.counts_on_check_valve().filter(|_| rests_on_hold).unwrap_or_default();
        let told = if only.is_empty() { String::new() } else { format!("; {only}") };
        let words = format!("{measured}, {} {limit}{rated}{share}{on}{told}", nearest.bound.words());
        self.met.push(MetRule { rule: rule.code, name: rule.name, nearest, words, only });
    }
}

/// A rule that looked at nothing on a circuit: no line is listed, its family isn't asked, or nobody states what it
/// looks at.
fn idle(workings: &Workings, rule: &'static Rule, view: &CircuitView) -> Option<IdleRule> {
    let is_family_asked = workings.audit.coverage.is_asked(rule.family.letter)
        || !COVERED.iter().any(|family| family.letter == rule.family.letter);
    let rests_on = match rule.rests_on {
        _ if !is_family_asked => "",
        _ if view.circuit.lines.is_empty() && !rule.runs_on_empty => "a line on a list",
        Some(data) if !(data.are_stated)(view) => data.data,
        _ => return None,
    };
    Some(IdleRule { rule: rule.code, name: rule.name, rests_on })
}

/// Whether a finding on a part or a load station is on one that the circuit uses.
fn stands_against(workings: &Workings, finding: &Finding) -> bool {
    let plant = workings.plant;
    let station = workings.circuit.station(plant);
    let is_part = |part_no: &str| !part_no.is_empty() && part_no == finding.part_no;
    let of_lines = workings.circuit.lines.iter().any(|line| is_part(crate::circuit::findings::part_no(plant, line)));
    let of_station = station.is_some_and(|station| {
        let parts = [station.pump.index(), station.drive_ram.index()];
        parts.into_iter().any(|index| plant.component_at(index).is_some_and(|part| is_part(&part.part_no)))
    });
    match finding.subject {
        crate::tables::finding::Subject::Part => of_lines || of_station,
        crate::tables::finding::Subject::Station => station.is_some_and(|station| station.station == finding.position),
        _ => false,
    }
}

fn not_met(workings: &Workings, finding: &Finding) -> Option<NotMet> {
    let rule = crate::rules::catalogue::rule(finding.rule)?;
    let part = [finding.position.as_str(), &finding.part_no];
    let named: Vec<&str> = part.into_iter().filter(|text| !text.is_empty()).collect();
    let on = match (named.is_empty(), finding.side) {
        (false, _) => named.join(" "),
        (true, Some(side)) => format!("{side} side"),
        (true, None) => String::new(),
    };
    Some(NotMet {
        rule: rule.code,
        name: rule.name,
        severity: finding.severity,
        state: finding.state,
        on,
        reason: wording::reason(finding, rule, workings.plant),
        remedy: finding.remedy.clone().unwrap_or_else(|| rule.remedy.to_owned()),
        source: finding.origin.map(|origin| workings.row(origin)).unwrap_or_default(),
    })
}
