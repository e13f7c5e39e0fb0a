//! One circuit: its figures, its findings, its verdict.

use crate::rules::catalogue::CATALOGUE;
use crate::rules::coverage::Coverage;
use crate::rules::force::friction_held;
use crate::rules::view::{CircuitView, NeighbourClamp, NeighbourSupport};
use crate::rules::{Hit, Lack, Outcome, Rule};
use crate::tables::circuit::{Circuit, Service};
use crate::tables::figures::{CircuitFigures, Figure};
use crate::tables::finding::{Finding, Subject};
use crate::tables::line::{Line, PartRef};
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::words::{Severity, Side, Verdict};

use crate::circuit::audited::{CircuitAudit, Unassessed};
use crate::circuit::standing::Standing;

/// The clamps and supports of a fixture's other circuits.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Neighbours {
    pub clamps: Vec<NeighbourClamp>,
    pub supports: Vec<NeighbourSupport>,
}

/// What the rules found on a circuit.
pub struct Looked {
    pub findings: Vec<Finding>,
    pub not_assessed: Vec<Unassessed>,
    pub coverage: Coverage,
}

/// Runs the circuit rules, in reading order; findings are not waived yet.
#[must_use]
pub fn circuit_findings(
    plant: &Plant,
    circuit: &Circuit,
    service: &Service,
    figures: &mut CircuitFigures,
    neighbours: &Neighbours,
) -> Looked {
    let view = CircuitView::of(plant, circuit, service, figures).beside(&neighbours.clamps, &neighbours.supports);
    let (mut findings, mut not_assessed) = (Vec::new(), Vec::new());
    let mut outcome = Outcome::default();
    for rule in CATALOGUE {
        not_assessed.extend(run_rule(rule, &view, &mut outcome, &mut findings));
    }
    let (coverage, friction) = (Coverage::of(&view), friction_held(&view));
    figures.friction = friction.map(|held| held.force);
    Looked { findings, not_assessed, coverage }
}

/// Runs one rule on a circuit; gives the datum that it lacks. `outcome` comes empty and is left so.
pub fn run_rule(
    rule: &'static Rule,
    view: &CircuitView,
    outcome: &mut Outcome,
    findings: &mut Vec<Finding>,
) -> Option<Unassessed> {
    let (plant, circuit) = (view.plant, view.circuit);
    rule.checks.circuit?;
    if circuit.lines.is_empty() && !rule.runs_on_empty {
        return None;
    }
    let severity = plant.policy.severity(rule.code, rule.severity)?;
    rule.look(view, outcome);
    if !outcome.hits.is_empty() {
        findings.extend(outcome.hits.drain(..).map(|hit| circuit_finding(plant, circuit, rule, severity, hit)));
    }
    let lack = outcome.lacks.first()?;
    let (because, cell) = (reason_of(view.figures, circuit, lack), lack.cell);
    outcome.lacks.clear();
    Some(Unassessed { rule: rule.code, because, cell })
}

/// A circuit with figures, findings and gaps, before its verdict.
#[must_use]
pub fn audited(circuit: Circuit, figures: CircuitFigures, looked: Looked, elsewhere: Standing) -> CircuitAudit {
    let Looked { findings, not_assessed, coverage } = looked;
    let verdict = verdict(&findings, &not_assessed, elsewhere);
    CircuitAudit { circuit, figures, verdict, elsewhere, coverage, not_assessed, findings }
}

/// The verdict on a circuit.
#[must_use]
pub fn verdict(findings: &[Finding], not_assessed: &[Unassessed], elsewhere: Standing) -> Verdict {
    let standing = findings.iter().map(Standing::of).fold(elsewhere, Standing::and);
    if standing.counts {
        Verdict::DoesNotConform
    } else if !not_assessed.is_empty() {
        Verdict::NotAssessed
    } else if standing.is_waived {
        Verdict::ConformsWithWaivers
    } else {
        Verdict::Conforms
    }
}

/// Why a rule could not be assessed, with the datum.
fn reason_of(figures: &CircuitFigures, circuit: &Circuit, lack: &Lack) -> String {
    let of_side = lack
        .side
        .and_then(|side| figures.side(side))
        .and_then(|side| side.gaps.iter().find(|gap| gap.figure == lack.figure));
    let gap = of_side.or_else(|| figures.gap(lack.figure));
    let part = lack.line.and_then(|line| circuit.lines.get(line)).map(|line| format!(" (row {})", line.origin.row));
    let part = part.unwrap_or_default();
    // Ahead of a reducing valve that is not there the pressure is that of the side.
    let side = lack.side.and_then(|side| figures.side(side)).unwrap_or(&figures.clamp);
    let is_plain = lack.figure == Figure::Full && !side.has_reducing_valve;
    let figure = if is_plain { Figure::Charge } else { lack.figure };
    let on = if side.side == Side::Unclamp { format!("{} side: ", side.side) } else { String::new() };
    match gap {
        None if lack.figure == Figure::Line => format!("{figure}{part}"),
        Some(gap) => format!("{on}{figure}{part}: {}", gap.because),
        None => format!("{on}{figure}{part} is not known"),
    }
}

/// A circuit rule's hit as a finding.
#[must_use]
pub fn circuit_finding(plant: &Plant, circuit: &Circuit, rule: &Rule, severity: Severity, hit: Hit) -> Finding {
    let line = hit.line.and_then(|index| circuit.lines.get(index));
    let subject = match (line, hit.side) {
        (Some(_), _) => Subject::Line,
        (None, Some(_)) => Subject::Side,
        (None, None) => Subject::Circuit,
    };
    let (side, origin) = (side_of(circuit, &hit), origin_of(circuit, &hit));
    Finding {
        place: circuit.key.clone(),
        side,
        position: line.map(|line| line.position.as_str().to_owned()).unwrap_or_default(),
        part_no: line.map(|line| part_no(plant, line).to_owned()).unwrap_or_default(),
        measured: hit.measured,
        limit: hit.limit,
        facts: hit.facts,
        origin,
        column: hit.column.or_else(|| line.map(|_| "part_no")),
        line: hit.line,
        ..Finding::blank(rule.code, severity, subject)
    }
}

/// The side that a hit's finding has: as listed for a line.
#[must_use]
pub fn side_of(circuit: &Circuit, hit: &Hit) -> Option<Side> {
    let line = hit.line.and_then(|index| circuit.lines.get(index));
    line.map_or(hit.side, |line| Some(line.side))
}

/// The row that a hit's finding has.
#[must_use]
pub fn origin_of(circuit: &Circuit, hit: &Hit) -> Option<Origin> {
    let line = hit.line.and_then(|index| circuit.lines.get(index));
    hit.origin.or_else(|| line.map(|line| line.origin)).or_else(|| row_of(circuit))
}

fn row_of(circuit: &Circuit) -> Option<Origin> {
    circuit.service.as_ref().map(|service| service.origin).or_else(|| circuit.lines.first().map(|line| line.origin))
}

/// The part number of a line, as the table has it or as given.
#[must_use]
pub fn part_no<'a>(plant: &'a Plant, line: &'a Line) -> &'a str {
    match &line.part {
        PartRef::Known(index) => plant.components.get(*index as usize).map_or("", |part| part.part_no.as_str()),
        PartRef::Unknown(text) => text,
        PartRef::Altered(altered) => &altered.text,
    }
}
