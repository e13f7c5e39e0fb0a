//! The circuits of one fixture, audited together: a work support may stand under a clamp of
//! another circuit.

use std::collections::BTreeSet;
use std::ops::Range;

use crate::read::ReadError;
use crate::rules::contact_force::{line_force, line_support_capacity};
use crate::rules::view::{CircuitView, NeighbourClamp, NeighbourSupport};
use crate::rules::{Asked, Outcome, Rule};
use crate::tables::circuit::{Circuit, Service};
use crate::tables::figures::CircuitFigures;
use crate::tables::finding::Finding;
use crate::tables::origin::InputNote;
use crate::tables::plant::Plant;
use crate::tables::station::StationPart;
use crate::tables::words::Kind;

use crate::circuit::audited::{CircuitAudit, Unassessed};
use crate::circuit::findings::{Neighbours, Standing, audited, circuit_figures, circuit_findings, run_rule};
use crate::circuit::roster::Roster;
use crate::circuit::waiving::{Matches, Waiving};

/// What is known of the plant before its circuits are audited.
pub struct Ground<'a> {
    pub plant: &'a Plant,
    pub waiving: &'a Waiving<'a>,
    /// By component index: findings on the part.
    pub parts: Vec<Standing>,
    /// By station index: findings on the station.
    pub stations: Vec<Standing>,
    /// By station index: rules that lack a datum of the station.
    pub station_lacks: Vec<Vec<Unassessed>>,
    /// Whether pressure over time is sampled for the workbook.
    pub with_curves: bool,
}

/// One fixture, audited, with what the reader noted on its lines.
pub struct FixtureAudit {
    pub audits: Vec<CircuitAudit>,
    pub notes: Vec<InputNote>,
    /// What the waivers matched.
    pub matches: Matches,
}

/// Loads and audits one fixture.
///
/// # Errors
/// Where a list can't be read any more.
pub fn load_fixture(roster: &Roster, ground: &Ground, fixture: Range<usize>) -> Result<FixtureAudit, ReadError> {
    let mut circuits = Vec::with_capacity(fixture.len());
    let mut notes = Vec::new();
    for entry in &roster.entries[fixture] {
        let (circuit, mut of_circuit) = roster.circuit(entry)?;
        circuits.push(circuit);
        notes.append(&mut of_circuit);
    }
    let (audits, matches) = audit_and_match(ground, circuits);
    Ok(FixtureAudit { audits, notes, matches })
}

/// Audits the circuits of a fixture.
#[must_use]
pub fn audit_fixture(ground: &Ground, circuits: Vec<Circuit>) -> Vec<CircuitAudit> {
    audit_and_match(ground, circuits).0
}

/// Audits the circuits of a fixture, and says what the waivers matched.
#[must_use]
pub fn audit_and_match(ground: &Ground, circuits: Vec<Circuit>) -> (Vec<CircuitAudit>, Matches) {
    let blank = Service::default();
    let figures: Vec<CircuitFigures> = circuits
        .iter()
        .map(|circuit| {
            let service = circuit.service.as_ref().unwrap_or(&blank);
            circuit_figures(ground.plant, circuit, service, Asked { curve: ground.with_curves, ..Asked::ALL })
        })
        .collect();
    let neighbours = neighbours(ground.plant, &circuits, &figures);
    let mut audits = Vec::with_capacity(circuits.len());
    let mut matches = Matches::default();
    for ((circuit, figures), neighbours) in circuits.into_iter().zip(figures).zip(&neighbours) {
        let service = circuit.service.as_ref().unwrap_or(&blank);
        let (mut findings, mut lacks) = circuit_findings(ground.plant, &circuit, service, &figures, neighbours);
        matches.merge(ground.waiving.mark(&mut findings));
        sort_findings(&mut findings);
        if !circuit.lines.is_empty() {
            add_station_lacks(ground, service, &mut lacks);
        }
        let elsewhere = elsewhere(ground, &circuit, service);
        audits.push(audited(circuit, figures, findings, lacks, elsewhere));
    }
    (audits, matches)
}

/// What one rule finds on a circuit that has nothing to do with its neighbours.
#[must_use]
pub fn findings_of_rule(ground: &Ground, circuit: &Circuit, rule: &'static Rule) -> Vec<Finding> {
    let blank = Service::default();
    let service = circuit.service.as_ref().unwrap_or(&blank);
    let figures = circuit_figures(ground.plant, circuit, service, rule.figures);
    let view = CircuitView::of(ground.plant, circuit, service, &figures);
    let mut findings = Vec::new();
    let _ = run_rule(rule, &view, &mut Outcome::default(), &mut findings);
    let _ = ground.waiving.mark(&mut findings);
    findings
}

/// In the order of `findings.csv` within a circuit.
pub fn sort_findings(findings: &mut [Finding]) {
    let key = |finding: &Finding| {
        (finding.side, finding.position.clone(), finding.part_no.clone(), finding.rule, finding.origin)
    };
    findings.sort_by_cached_key(key);
}

fn add_station_lacks(ground: &Ground, service: &Service, lacks: &mut Vec<Unassessed>) {
    let Some(index) = ground.plant.station_index.get(&service.station) else { return };
    for lack in ground.station_lacks.get(*index).into_iter().flatten() {
        if !lacks.iter().any(|known| known.rule == lack.rule) {
            lacks.push(lack.clone());
        }
    }
    lacks.sort_by_key(|lack| crate::rules::catalogue::place_of(lack.rule));
}

/// Findings on the station and the parts that a circuit uses.
fn elsewhere(ground: &Ground, circuit: &Circuit, service: &Service) -> Standing {
    let mut standing = Standing::default();
    let part = |index: u32| ground.parts.get(index as usize).copied().unwrap_or_default();
    for line in &circuit.lines {
        if let crate::tables::line::PartRef::Known(index) = line.part {
            standing = standing.and(part(index));
        }
    }
    let Some(index) = ground.plant.station_index.get(&service.station) else { return standing };
    standing = standing.and(ground.stations.get(*index).copied().unwrap_or_default());
    let Some(station) = ground.plant.stations.get(*index) else { return standing };
    for known in [&station.pump, &station.drive_ram] {
        if let StationPart::Known(index) = known {
            standing = standing.and(part(*index));
        }
    }
    standing
}

/// For each circuit the clamps and supports of the others; empty where no support names a
/// position.
fn neighbours(plant: &Plant, circuits: &[Circuit], figures: &[CircuitFigures]) -> Vec<Neighbours> {
    let asks = circuits.iter().flat_map(|circuit| &circuit.lines).any(|line| !line.supports.is_empty());
    if !asks || circuits.len() < 2 {
        return vec![Neighbours::default(); circuits.len()];
    }
    let positions: BTreeSet<&str> = circuits
        .iter()
        .flat_map(|circuit| &circuit.lines)
        .flat_map(|line| &line.supports)
        .map(String::as_str)
        .collect();
    let own: Vec<Neighbours> = circuits
        .iter()
        .zip(figures)
        .map(|(circuit, figures)| standing_on(plant, circuit, figures, &positions))
        .collect();
    let others = |index: usize| own.iter().enumerate().filter(move |(other, _)| *other != index).map(|(_, all)| all);
    (0..circuits.len())
        .map(|index| Neighbours {
            clamps: others(index).flat_map(|all| all.clamps.iter().cloned()).collect(),
            supports: others(index).flat_map(|all| all.supports.iter().cloned()).collect(),
        })
        .collect()
}

/// The clamps at supported positions and the supports of a circuit.
fn standing_on(plant: &Plant, circuit: &Circuit, figures: &CircuitFigures, positions: &BTreeSet<&str>) -> Neighbours {
    let charge = figures.clamp.chain.charge;
    let mut all = Neighbours::default();
    for line in &circuit.lines {
        let component = line.component(&plant.components);
        let is_sound = !line.is_set_aside(&plant.components);
        let is_clamp = component.is_none_or(|part| part.is(Kind::Clamp));
        if is_clamp && positions.contains(line.position.as_str()) {
            let force = component.filter(|_| is_sound).zip(charge).and_then(|(part, p)| line_force(line, part, p));
            all.clamps.push(NeighbourClamp { position: line.position.to_string(), force });
        }
        if let Some(part) = component.filter(|part| part.is(Kind::WorkSupport))
            && !line.supports.is_empty()
        {
            let capacity = line_support_capacity(line, part).filter(|_| is_sound);
            all.supports.push(NeighbourSupport { supports: line.supports.clone(), capacity });
        }
    }
    all
}
