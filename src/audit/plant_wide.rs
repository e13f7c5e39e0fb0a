//! Findings on parts, load stations, orders and waivers.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use crate::rules::view::{HeaderView, OrderView, PartSuccession, PartView, WaiverView};
use crate::tables::circuit::CircuitKey;
use crate::tables::component::{Component, RepeatedPart};
use crate::tables::finding::{Finding, Subject};
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::usage::Usage;

use crate::audit::purchase::{PlacedOrder, converted, orders_by_part};
use crate::circuit::findings::Standing;
use crate::circuit::off_circuit::{About, run};
use crate::circuit::waiving::{Matches, Waiving, first_alike};

/// Everything that the part rules look at besides the component itself.
pub struct PartBook<'a> {
    pub plant: &'a Plant,
    /// By component index.
    pub usage: &'a [Usage],
    /// Of parts that the component table lacks.
    unlisted: &'a BTreeMap<String, Usage>,
    repeats: BTreeMap<u32, Vec<RepeatedPart>>,
    /// By part number; empty without an orders table.
    bill: BTreeMap<&'a str, &'a PurchaseRow>,
    /// Need of the obsolete parts that a part replaces, by its number.
    need_of_replaced: BTreeMap<&'a str, Decimal>,
    orders: BTreeMap<&'a str, Vec<PlacedOrder<'a>>>,
    /// Numbers on orders that the component table lacks, by the part that is nearest.
    near_orders: BTreeMap<String, Vec<String>>,
}

impl<'a> PartBook<'a> {
    /// Gathers usage, repeated rows, the bill and the orders.
    #[must_use]
    pub fn of(
        plant: &'a Plant,
        usage: &'a [Usage],
        unlisted: &'a BTreeMap<String, Usage>,
        bill: &'a [PurchaseRow],
    ) -> Self {
        let mut repeats: BTreeMap<u32, Vec<RepeatedPart>> = BTreeMap::new();
        for repeat in &plant.repeated_parts {
            repeats.entry(repeat.first).or_default().push(repeat.clone());
        }
        let orders = orders_by_part(plant);
        let mut near_orders: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for given in orders.keys().filter(|given| !plant.part_index.contains_key(**given)) {
            if let Some(nearest) = plant.part_index.nearest(given).names.into_iter().next() {
                near_orders.entry(nearest).or_default().push((*given).to_owned());
            }
        }
        let bill = if plant.orders.is_some() { bill } else { &[] };
        let bill: BTreeMap<&str, &PurchaseRow> = bill.iter().map(|row| (row.part_no.as_str(), row)).collect();
        let mut need_of_replaced: BTreeMap<&str, Decimal> = BTreeMap::new();
        for row in bill.values() {
            if let Some(part) = plant.component_at(row.component).filter(|part| part.is_obsolete()) {
                let need = need_of_replaced.entry(&part.replaced_by).or_default();
                *need = need.saturating_add(row.needed);
            }
        }
        Self { plant, usage, unlisted, repeats, bill, need_of_replaced, orders, near_orders }
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
            near_orders: self.near_orders.get(about.part_no).map_or(&[], Vec::as_slice),
            succession: self.succession(component),
        };
        run(self.plant, about, |rule| rule.checks.part, |check, outcome| check(&view, outcome)).0
    }

    /// What the part has to do with those that it replaces, or that replace it.
    fn succession(&self, component: Option<&Component>) -> PartSuccession {
        let Some(component) = component else { return PartSuccession::default() };
        let successor = Some(component.replaced_by.as_str()).filter(|name| component.is_obsolete() && !name.is_empty());
        let ordered = successor.and_then(|name| self.plant.component(name)).unwrap_or(component);
        PartSuccession {
            successor_is_ordered: successor.is_some_and(|name| self.orders.contains_key(name)),
            need_of_replaced: self.need_of_replaced.get(component.part_no.as_str()).copied().unwrap_or_default(),
            lead_time: ordered.lead_time,
        }
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
            findings.extend(self.run_part(&about, None, self.unlisted.get(*part_no).unwrap_or(&unused), &[]));
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

/// Findings on the rows of the orders.
#[must_use]
pub fn order_findings(plant: &Plant, usage: &[Usage], unlisted: &BTreeMap<String, Usage>) -> Vec<Finding> {
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
                None => unlisted.get(&order.part_no),
            },
            converted: converted(order, component, plant.policy.units),
            today: plant.policy.date,
        };
        findings.extend(run(plant, &about, |rule| rule.checks.order, |check, outcome| check(&view, outcome)).0);
    }
    findings
}

/// Findings on headers that name no known column.
#[must_use]
pub fn header_findings(plant: &Plant) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (origin, source, header) in plant.unknown_headers() {
        let place = CircuitKey::default();
        let about = About { subject: Subject::Table, place, position: &header.text, part_no: "", origin };
        let view = HeaderView {
            plant,
            table: source.table.map_or("", |table| table.word()),
            header: &header.text,
            origin,
            letter: &header.letter(),
            nearest: header.lacking,
            cells: header.cells,
        };
        findings.extend(run(plant, &about, |rule| rule.checks.header, |check, outcome| check(&view, outcome)).0);
    }
    findings
}

/// Findings on the rows of the waivers, once all that they may match is known.
#[must_use]
pub fn waiver_findings(plant: &Plant, matches: &Matches) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (waiver, first) in plant.waivers.iter().zip(first_alike(&plant.waivers)) {
        let about = About {
            subject: Subject::Waiver,
            place: waiver.place(),
            position: &waiver.position,
            part_no: "",
            origin: waiver.origin,
        };
        let view = WaiverView {
            policy: &plant.policy,
            waiver,
            matches: matches.findings(first),
            examples: &matches.examples(first),
        };
        findings.extend(run(plant, &about, |rule| rule.checks.waiver, |check, outcome| check(&view, outcome)).0);
    }
    findings
}
