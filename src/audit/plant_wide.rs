//! Findings on parts, load stations, orders and waivers.

use std::collections::BTreeMap;

use crate::rules::catalogue::CATALOGUE;
use crate::rules::view::{OrderView, PartView, StationView, WaiverView};
use crate::rules::{Hit, Outcome, Rule};
use crate::tables::circuit::CircuitKey;
use crate::tables::component::{Component, RepeatedPart};
use crate::tables::finding::{Finding, Subject};
use crate::tables::origin::Origin;
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::usage::Usage;
use crate::tables::words::Severity;

use crate::audit::purchase::{PlacedOrder, converted, orders_by_part};
use crate::circuit::audited::Unassessed;
use crate::circuit::findings::Standing;
use crate::circuit::waiving::{Matches, Waiving};

/// What a finding that isn't on a circuit is about.
struct About<'a> {
    subject: Subject,
    place: CircuitKey,
    position: &'a str,
    part_no: &'a str,
    origin: Origin,
}

impl About<'_> {
    fn finding(&self, rule: &Rule, severity: Severity, hit: Hit) -> Finding {
        Finding {
            place: self.place.clone(),
            position: self.position.to_owned(),
            part_no: self.part_no.to_owned(),
            measured: hit.measured,
            limit: hit.limit,
            facts: hit.facts,
            origin: hit.origin.or(Some(self.origin).filter(|origin| origin.row > 0)),
            column: hit.column,
            ..Finding::blank(rule.code, severity, self.subject)
        }
    }
}

/// Runs one kind of check of every rule that has it.
fn run<C: Copy>(
    plant: &Plant,
    about: &About,
    check_of: impl Fn(&Rule) -> Option<C>,
    call: impl Fn(C, &mut Outcome),
) -> (Vec<Finding>, Vec<Unassessed>) {
    let mut findings = Vec::new();
    let mut lacks = Vec::new();
    for rule in CATALOGUE {
        let Some(check) = check_of(rule) else { continue };
        let Some(severity) = plant.policy.severity(rule.code, rule.severity) else { continue };
        let mut outcome = Outcome::default();
        call(check, &mut outcome);
        findings.extend(outcome.hits.into_iter().map(|hit| about.finding(rule, severity, hit)));
        if let Some(lack) = outcome.lacks.first() {
            let because = format!("{}: {} does not give it", lack.figure, about.position);
            lacks.push(Unassessed { rule: rule.code, because });
        }
    }
    (findings, lacks)
}

/// Everything that the part rules look at besides the component itself.
pub struct PartBook<'a> {
    pub plant: &'a Plant,
    /// By component index.
    pub usage: &'a [Usage],
    /// Of parts that the component table lacks.
    strangers: &'a BTreeMap<String, Usage>,
    repeats: BTreeMap<u32, Vec<RepeatedPart>>,
    /// By part number; empty without an orders table.
    bill: BTreeMap<&'a str, &'a PurchaseRow>,
    orders: BTreeMap<&'a str, Vec<PlacedOrder<'a>>>,
}

impl<'a> PartBook<'a> {
    /// Gathers usage, repeated rows, the bill and the orders.
    #[must_use]
    pub fn of(
        plant: &'a Plant,
        usage: &'a [Usage],
        strangers: &'a BTreeMap<String, Usage>,
        bill: &'a [PurchaseRow],
    ) -> Self {
        let mut repeats: BTreeMap<u32, Vec<RepeatedPart>> = BTreeMap::new();
        for repeat in &plant.repeated_parts {
            repeats.entry(repeat.first).or_default().push(repeat.clone());
        }
        let orders = orders_by_part(plant);
        let bill = if plant.orders.is_some() { bill } else { &[] };
        let bill = bill.iter().map(|row| (row.part_no.as_str(), row)).collect();
        Self { plant, usage, strangers, repeats, bill, orders }
    }

    /// Findings on one part of the component table.
    #[must_use]
    pub fn findings(&self, index: u32, component: &Component, usage: &Usage) -> Vec<Finding> {
        let about = About {
            subject: Subject::Part,
            place: CircuitKey::default(),
            position: "",
            part_no: &component.part_no,
            origin: component.origin,
        };
        self.run_part(&about, Some(component), usage, self.repeats.get(&index).map_or(&[], Vec::as_slice))
    }

    fn run_part(
        &self,
        about: &About,
        component: Option<&Component>,
        usage: &Usage,
        repeats: &[RepeatedPart],
    ) -> Vec<Finding> {
        let view = PartView {
            plant: self.plant,
            component,
            part_no: about.part_no,
            usage,
            repeats,
            purchase: self.bill.get(about.part_no).copied(),
            orders: self.orders.get(about.part_no).map_or(&[], Vec::as_slice),
        };
        run(self.plant, about, |rule| rule.checks.part, |check, outcome| check(&view, outcome)).0
    }

    /// Findings on all parts, those that only orders name included.
    #[must_use]
    pub fn all(&self) -> Vec<Finding> {
        let unused = Usage::default();
        let mut findings = Vec::new();
        for (component, index) in self.plant.components.iter().zip(0_u32..) {
            let usage = self.usage.get(index as usize).unwrap_or(&unused);
            findings.extend(self.findings(index, component, usage));
        }
        for (part_no, orders) in &self.orders {
            if self.plant.part_index.contains_key(*part_no) {
                continue;
            }
            let origin = orders.first().map(|(order, _)| order.origin).unwrap_or_default();
            let about = About { subject: Subject::Part, place: CircuitKey::default(), position: "", part_no, origin };
            findings.extend(self.run_part(&about, None, self.strangers.get(*part_no).unwrap_or(&unused), &[]));
        }
        findings
    }
}

/// Findings on parts as far as verdicts on circuits hang on them, by component index. `usage`
/// needs only what is asked of a part.
#[must_use]
pub fn part_standings(plant: &Plant, usage: &[Usage], waiving: &Waiving) -> Vec<Standing> {
    let none = BTreeMap::new();
    let book = PartBook::of(plant, usage, &none, &[]);
    let components = plant.components.iter().zip(0_u32..);
    components
        .map(|(component, index)| {
            let mut asked = usage.get(index as usize).cloned().unwrap_or_default();
            asked.is_used = true;
            let mut findings = book.findings(index, component, &asked);
            // What is matched is counted when the findings are reported.
            let _ = waiving.mark(&mut findings);
            findings.iter().map(Standing::of).fold(Standing::default(), Standing::and)
        })
        .collect()
}

/// Findings on one load station, and what it lacks.
#[must_use]
pub fn station_findings(plant: &Plant, index: usize) -> (Vec<Finding>, Vec<Unassessed>) {
    let Some(station) = plant.stations.get(index) else { return (Vec::new(), Vec::new()) };
    let about = About {
        subject: Subject::Station,
        place: CircuitKey::default(),
        position: &station.name,
        part_no: "",
        origin: station.origin,
    };
    let view = StationView {
        plant,
        station,
        pump: plant.component_at(station.pump.index()),
        drive_ram: plant.component_at(station.drive_ram.index()),
    };
    run(plant, &about, |rule| rule.checks.station, |check, outcome| check(&view, outcome))
}

/// Findings on the rows of the orders.
#[must_use]
pub fn order_findings(plant: &Plant, usage: &[Usage], strangers: &BTreeMap<String, Usage>) -> Vec<Finding> {
    let mut findings = Vec::new();
    for order in plant.orders.iter().flatten() {
        let component = plant.component_at(order.component);
        let about = About {
            subject: Subject::Order,
            place: CircuitKey::default(),
            position: &order.order_no,
            part_no: &order.part_no,
            origin: order.origin,
        };
        let view = OrderView {
            plant,
            order,
            component,
            usage: match order.component {
                Some(index) => usage.get(index as usize).filter(|usage| usage.is_used),
                None => strangers.get(&order.part_no),
            },
            converted: converted(order, component, plant.policy.units),
            today: plant.policy.date,
        };
        findings.extend(run(plant, &about, |rule| rule.checks.order, |check, outcome| check(&view, outcome)).0);
    }
    findings
}

/// Findings on the rows of the waivers, once all that they may match is known.
#[must_use]
pub fn waiver_findings(plant: &Plant, matches: &Matches) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, waiver) in plant.waivers.iter().enumerate() {
        let place = CircuitKey {
            plant: waiver.plant.as_str().into(),
            pallet: waiver.pallet.as_str().into(),
            fixture: waiver.fixture.as_str().into(),
            circuit: waiver.circuit.as_str().into(),
        };
        let about =
            About { subject: Subject::Waiver, place, position: &waiver.position, part_no: "", origin: waiver.origin };
        let view = WaiverView {
            policy: &plant.policy,
            waiver,
            matches: matches.findings(index),
            examples: &matches.examples(index),
        };
        findings.extend(run(plant, &about, |rule| rule.checks.waiver, |check, outcome| check(&view, outcome)).0);
    }
    findings
}
