//! The circuits of one pallet, audited together: one charging cylinder may fill several of them, and a
//! work support may stand under a clamp of another circuit of its fixture.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use crate::read::ReadError;
use crate::rules::contact_force::{line_force, line_support_capacity};
use crate::rules::view::{CircuitView, NeighbourClamp, NeighbourSupport};
use crate::rules::{Asked, Outcome, Rule, pressure, volume};
use crate::tables::circuit::{Circuit, Service};
use crate::tables::figures::CircuitFigures;
use crate::tables::finding::Finding;
use crate::tables::origin::InputNote;
use crate::tables::plant::Plant;
use crate::tables::station::StationPart;
use crate::tables::words::{Charging, Kind};

use crate::circuit::audited::{CircuitAudit, Unassessed};
use crate::circuit::findings::{Neighbours, audited, circuit_findings, run_rule};
use crate::circuit::group::pallet_figures;
use crate::circuit::roster::Roster;
use crate::circuit::standing::Standing;
use crate::circuit::waiving::{Matches, Waiving};

/// What is known of the plant before its circuits are audited.
pub struct Ground<'a> {
    pub plant: &'a Plant,
    pub waiving: &'a Waiving,
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
    for entry in roster.entries(fixture) {
        let (circuit, mut of_circuit) = roster.circuit(&entry)?;
        circuits.push(circuit);
        notes.append(&mut of_circuit);
    }
    let (audits, matches) = audit_and_match(ground, circuits);
    Ok(FixtureAudit { audits, notes, matches })
}

/// Audits the circuits of a fixture with a change on trial: nobody looks at their pressure over time, nor at the hold
/// reserve, which no rule compares with anything and no remedy tells.
#[must_use]
pub fn audit_fixture(ground: &Ground, circuits: Vec<Circuit>) -> Vec<CircuitAudit> {
    audit_asked(ground, circuits, Asked { reserve: false, ..Asked::ALL }).0
}

/// Audits the circuits of a fixture, and says what the waivers matched.
#[must_use]
pub fn audit_and_match(ground: &Ground, circuits: Vec<Circuit>) -> (Vec<CircuitAudit>, Matches) {
    audit_asked(ground, circuits, Asked { curve: ground.with_curves, ..Asked::ALL })
}

fn audit_asked(ground: &Ground, circuits: Vec<Circuit>, asked: Asked) -> (Vec<CircuitAudit>, Matches) {
    let blank = Service::default();
    let figures = pallet_figures(ground.plant, &circuits, asked);
    let neighbours = neighbours_by_fixture(ground.plant, &circuits, &figures);
    let mut audits = Vec::with_capacity(circuits.len());
    let mut matches = Matches::default();
    for ((circuit, mut figures), neighbours) in circuits.into_iter().zip(figures).zip(&neighbours) {
        let service = circuit.service.as_ref().unwrap_or(&blank);
        let mut looked = circuit_findings(ground.plant, &circuit, service, &mut figures, neighbours);
        matches.merge(ground.waiving.mark(&mut looked.findings));
        sort_findings(&mut looked.findings);
        if !circuit.lines.is_empty() {
            add_station_lacks(ground, service, &mut looked.not_assessed);
        }
        let elsewhere = elsewhere(ground, &circuit, service);
        if circuit.lines.is_empty() {
            add_empty_lacks(service, &looked.findings, &mut looked.not_assessed);
        }
        audits.push(audited(circuit, figures, looked, elsewhere));
    }
    (audits, matches)
}

/// Where L08 doesn't stand against a circuit without lines, its fill, charge pressure and weakest rating, which nobody
/// knows, keep it from passing.
fn add_empty_lacks(service: &Service, findings: &[Finding], not_assessed: &mut Vec<Unassessed>) {
    if findings.iter().any(|finding| Standing::of(finding).counts) {
        return;
    }
    let fill = (service.charging() == Charging::Cylinder).then_some(&volume::V01);
    for rule in fill.into_iter().chain([&pressure::P05]) {
        let because = "Lines: the circuit has none".to_owned();
        not_assessed.push(Unassessed { rule: rule.code, because, cell: None });
    }
}

/// What one rule finds on a circuit that has nothing to do with its neighbours.
///
/// * `figures` – the circuit's, at least those that the rule looks at
#[must_use]
pub fn findings_of_rule(
    ground: &Ground,
    circuit: &Circuit,
    figures: &CircuitFigures,
    rule: &'static Rule,
) -> Vec<Finding> {
    let service = circuit.service();
    let view = CircuitView::of(ground.plant, circuit, &service, figures);
    let mut findings = Vec::new();
    let _ = run_rule(rule, &view, &mut Outcome::default(), &mut findings);
    let _ = ground.waiving.mark(&mut findings);
    findings
}

/// In the order of `findings.csv` within a circuit.
pub fn sort_findings(findings: &mut [Finding]) {
    fn key(finding: &Finding) -> impl Ord + '_ {
        (finding.side, &finding.position, &finding.part_no, finding.rule, finding.origin)
    }
    findings.sort_by(|one, other| key(one).cmp(&key(other)));
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
pub(super) fn elsewhere(ground: &Ground, circuit: &Circuit, service: &Service) -> Standing {
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
    for known in station.parts() {
        if let StationPart::Known(index) = known {
            standing = standing.and(part(*index));
        }
    }
    standing
}

/// For each circuit the clamps and supports of the other circuits of its fixture.
pub(super) fn neighbours_by_fixture(
    plant: &Plant,
    circuits: &[Circuit],
    figures: &[CircuitFigures],
) -> Vec<Neighbours> {
    let mut all = Vec::with_capacity(circuits.len());
    let mut figures = figures;
    for of_fixture in circuits.chunk_by(|a, b| a.key.fixture == b.key.fixture) {
        let (own, rest) = figures.split_at(of_fixture.len());
        all.extend(neighbours(plant, of_fixture, own));
        figures = rest;
    }
    all
}

/// What a circuit of an audited pallet has beside it on its fixture.
#[must_use]
pub fn neighbours_of(plant: &Plant, pallet: &[CircuitAudit], audit: &CircuitAudit) -> Neighbours {
    let key = &audit.circuit.key;
    let (circuits, figures): (Vec<Circuit>, Vec<CircuitFigures>) = pallet
        .iter()
        .filter(|other| other.circuit.key.fixture == key.fixture)
        .map(|other| (other.circuit.clone(), other.figures.clone()))
        .unzip();
    let all = circuits.iter().map(|circuit| &circuit.key).zip(neighbours(plant, &circuits, &figures));
    all.into_iter().find(|(of, _)| *of == key).map(|(_, neighbours)| neighbours).unwrap_or_default()
}

/// For each circuit the clamps of the others at positions that its supports name, and the supports of the
/// others that name one of these too.
fn neighbours(plant: &Plant, circuits: &[Circuit], figures: &[CircuitFigures]) -> Vec<Neighbours> {
    let named = |circuit: &'_ Circuit| -> BTreeSet<String> {
        circuit.lines.iter().flat_map(|line| &line.supports).cloned().collect()
    };
    let asked: Vec<BTreeSet<String>> =
        if circuits.len() < 2 { Vec::new() } else { circuits.iter().map(named).collect() };
    let positions: BTreeSet<&str> = asked.iter().flatten().map(String::as_str).collect();
    if positions.is_empty() {
        return vec![Neighbours::default(); circuits.len()];
    }
    let own: Vec<Neighbours> = circuits
        .iter()
        .zip(figures)
        .map(|(circuit, figures)| standing_on(plant, circuit, figures, &positions))
        .collect();
    // Each position with what stands there, so that a large fixture is not gone through for each circuit.
    let mut clamps_at: BTreeMap<&str, Vec<(usize, usize)>> = BTreeMap::new();
    let mut supports_at: BTreeMap<&str, Vec<(usize, usize)>> = BTreeMap::new();
    for (circuit, all) in own.iter().enumerate() {
        for (place, clamp) in all.clamps.iter().enumerate() {
            clamps_at.entry(&clamp.position).or_default().push((circuit, place));
        }
        for (place, support) in all.supports.iter().enumerate() {
            for position in &support.supports {
                supports_at.entry(position).or_default().push((circuit, place));
            }
        }
    }
    let forces: BTreeMap<&str, Others<NeighbourClamp>> = clamps_at
        .into_iter()
        .map(|(position, places)| {
            let all = places.into_iter().map(|(circuit, place)| (circuit, own[circuit].clamps[place].clone()));
            (position, Others::of(all, joined_clamps))
        })
        .collect();
    let capacities: BTreeMap<&str, Others<NeighbourSupport>> = supports_at
        .into_iter()
        .map(|(position, places)| {
            let at_position = |capacity| NeighbourSupport { supports: vec![position.to_owned()], capacity };
            let all = places
                .into_iter()
                .map(|(circuit, place)| (circuit, at_position(own[circuit].supports[place].capacity)));
            (position, Others::of(all, joined_supports))
        })
        .collect();
    let of_circuit = |index: usize| {
        let positions = || asked[index].iter().map(String::as_str);
        Neighbours {
            clamps: positions().filter_map(|position| forces.get(position)?.but(index)).collect(),
            supports: positions().filter_map(|position| capacities.get(position)?.but(index)).collect(),
        }
    };
    (0..circuits.len()).map(of_circuit).collect()
}

/// What circuits have at one position, joined for each as that of all others: one by one they would be the
/// square of the circuits.
struct Others<T> {
    circuits: Vec<usize>,
    /// Joined up to each circuit, itself left out, and from after it on.
    before: Vec<Option<T>>,
    after: Vec<Option<T>>,
    all: Option<T>,
    join: fn(&T, &T) -> T,
}

impl<T: Clone> Others<T> {
    /// * `all` – by circuit, in order
    fn of(all: impl Iterator<Item = (usize, T)>, join: fn(&T, &T) -> T) -> Self {
        let mut circuits: Vec<usize> = Vec::new();
        let mut own: Vec<T> = Vec::new();
        for (circuit, item) in all {
            match own.last_mut().filter(|_| circuits.last() == Some(&circuit)) {
                Some(last) => *last = join(last, &item),
                None => {
                    circuits.push(circuit);
                    own.push(item);
                }
            }
        }
        let joined =
            |so_far: &Option<T>, item: &T| so_far.as_ref().map_or_else(|| item.clone(), |so_far| join(so_far, item));
        let mut before = vec![None];
        for item in &own {
            before.push(Some(joined(&before[before.len() - 1], item)));
        }
        let mut after = vec![None];
        for item in own.iter().rev() {
            after.push(Some(joined(&after[after.len() - 1], item)));
        }
        after.pop();
        after.reverse();
        let all = before.pop().flatten();
        Self { circuits, before, after, all, join }
    }

    fn but(&self, circuit: usize) -> Option<T> {
        let Ok(at) = self.circuits.binary_search(&circuit) else { return self.all.clone() };
        match (self.before[at].clone(), self.after[at].clone()) {
            (Some(before), Some(after)) => Some((self.join)(&before, &after)),
            (before, after) => before.or(after),
        }
    }
}

fn joined_clamps(one: &NeighbourClamp, other: &NeighbourClamp) -> NeighbourClamp {
    let force = one.force.zip(other.force).map(|(one, other)| one + other);
    NeighbourClamp { position: one.position.clone(), force, is_least: one.is_least || other.is_least }
}

fn joined_supports(one: &NeighbourSupport, other: &NeighbourSupport) -> NeighbourSupport {
    let capacity = one.capacity.zip(other.capacity).map(|(one, other)| one + other);
    NeighbourSupport { supports: one.supports.clone(), capacity }
}

/// The clamps at supported positions and the supports of a circuit.
fn standing_on(plant: &Plant, circuit: &Circuit, figures: &CircuitFigures, positions: &BTreeSet<&str>) -> Neighbours {
    let mut all = Neighbours::default();
    for (index, line) in circuit.lines.iter().enumerate() {
        let component = line.component(&plant.components);
        let is_sound = !line.is_set_aside(&plant.components);
        let is_clamp = component.is_none_or(|part| part.is(Kind::Clamp));
        if is_clamp && positions.contains(line.position.as_str()) {
            // At its strongest: the highest pressure that it sees while the support may be weaker.
            let zone = figures.clamp.zone(figures.clamp.zone_of(index));
            let highest = zone.pressure.map(|charge| zone.hot.map_or(charge, |hot| hot.max(charge)));
            // A temperature that can't be read was given, too.
            let warms = |service: &Service| service.temp_max.is_some() || service.is_unreadable("temp_max");
            let is_warmed = circuit.service.as_ref().is_some_and(warms);
            let is_uncoupled = circuit.service().charging().is_uncoupled();
            let is_least = zone.hot.is_none() && is_warmed && is_uncoupled;
            let force = component.filter(|_| is_sound).zip(highest).and_then(|(part, p)| line_force(line, part, p));
            all.clamps.push(NeighbourClamp { position: line.position.to_string(), force, is_least });
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
