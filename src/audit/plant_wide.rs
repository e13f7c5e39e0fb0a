//! Findings on parts, load stations, orders and waivers.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::rules::buying::{
    B01, B02, B03, B04, B05, B10, remedy_in_doubt, remedy_near, remedy_unsettled, remedy_without_successor,
};
use crate::rules::upkeep::{U01, U02};
use crate::rules::view::{HeaderView, OrderView, PartAround, PartSuccession, PartView, WaiverView};
use crate::tables::circuit::CircuitKey;
use crate::tables::component::{Component, RepeatedPart};
use crate::tables::finding::{Finding, Subject};
use crate::tables::origin::{SourceId, UnknownHeader};
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::station::{Station, StationPart};
use crate::tables::trade_unit::TradeUnit;
use crate::tables::usage::Usage;

use crate::audit::causes::Causes;
use crate::audit::purchase::{PlacedOrder, converted, orders_by_part};
use crate::circuit::off_circuit::{About, run};
use crate::circuit::standing::Standing;
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
    /// Need of the obsolete parts that a part replaces, by its number, and whether it is a lower bound.
    need_of_replaced: BTreeMap<&'a str, (Decimal, bool)>,
    orders: BTreeMap<&'a str, Vec<PlacedOrder<'a>>>,
    /// What a part may be ordered or needed as, and what may want it, by its number.
    around: BTreeMap<String, PartAround>,
}

/// What wants parts beside the lists.
pub struct Wants<'a> {
    pub causes: &'a Causes,
    /// Part numbers that remedies bring in which are not applied.
    pub offered: &'a BTreeSet<String>,
}

impl<'a> PartBook<'a> {
    /// Gathers usage, repeated rows, the bill and the orders.
    #[must_use]
    pub fn of(
        plant: &'a Plant,
        usage: &'a [Usage],
        unlisted: &'a BTreeMap<String, Usage>,
        bill: &'a [PurchaseRow],
        wants: Option<&Wants>,
    ) -> Self {
        let mut repeats: BTreeMap<u32, Vec<RepeatedPart>> = BTreeMap::new();
        for repeat in &plant.repeated_parts {
            repeats.entry(repeat.first).or_default().push(repeat.clone());
        }
        let orders = orders_by_part(plant);
        let bill = if plant.orders.is_some() { bill } else { &[] };
        let bill: BTreeMap<&str, &PurchaseRow> = bill.iter().map(|row| (row.part_no.as_str(), row)).collect();
        let mut need_of_replaced: BTreeMap<&str, (Decimal, bool)> = BTreeMap::new();
        for row in bill.values() {
            if let Some(part) = plant.component_at(row.component).filter(|part| part.is_obsolete()) {
                let (need, is_bound) = need_of_replaced.entry(&part.replaced_by).or_default();
                *is_bound |= row.need_is_bound;
                let own = row.ordered.unwrap_or_default().saturating_sub(row.of_successor);
                let open = row.needed.saturating_sub(own).max(Decimal::ZERO);
                let Some(other) = plant.component(&part.replaced_by) else { continue };
                let units = [part, other].map(|part| TradeUnit::of(part, plant.policy.units));
                // What is counted otherwise is another need.
                *need = need.saturating_add(units[0].convert(open, units[1]).unwrap_or_default());
            }
        }
        let mut around: BTreeMap<String, PartAround> = BTreeMap::new();
        if plant.orders.is_some() {
            near_numbers(plant, &bill, &orders, unlisted, &mut around);
        }
        if let Some(wants) = wants.filter(|_| plant.orders.is_some()) {
            wants.add_to(plant, &mut around);
        }
        Self { plant, usage, unlisted, repeats, bill, need_of_replaced, orders, around }
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
        let around = PartAround::default();
        let view = PartView {
            plant: self.plant,
            component,
            part_no: about.part_no,
            usage,
            repeats,
            purchase: self.bill.get(about.part_no).copied(),
            orders: self.orders.get(about.part_no).map_or(&[], Vec::as_slice),
            around: self.around.get(about.part_no).unwrap_or(&around),
            succession: self.succession(component),
        };
        let mut findings = run(self.plant, about, |rule| rule.checks.part, |check, outcome| check(&view, outcome)).0;
        for finding in &mut findings {
            finding.remedy = match finding.rule {
                code if code == B01.code => remedy_without_successor(finding).map(str::to_owned),
                code if [B02.code, B03.code, B10.code].contains(&code) => {
                    remedy_unsettled(view.orders).or_else(|| remedy_near(finding))
                }
                code if [B04.code, B05.code].contains(&code) => remedy_in_doubt(finding).map(str::to_owned),
                _ => continue,
            };
        }
        findings
    }

    /// What the part has to do with those that it replaces, or that replace it.
    fn succession(&self, component: Option<&Component>) -> PartSuccession {
        let Some(component) = component else { return PartSuccession::default() };
        let successor = Some(component.replaced_by.as_str()).filter(|name| component.is_obsolete() && !name.is_empty());
        let ordered = successor.and_then(|name| self.plant.component(name)).unwrap_or(component);
        let (need_of_replaced, replaced_is_bound) =
            self.need_of_replaced.get(component.part_no.as_str()).copied().unwrap_or_default();
        PartSuccession {
            replaced_is_bound,
            successor_is_ordered: successor.is_some_and(|name| self.orders.contains_key(name)),
            need_of_replaced,
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

/// Numbers under which a part may be ordered or needed, by the part's own.
fn near_numbers(
    plant: &Plant,
    bill: &BTreeMap<&str, &PurchaseRow>,
    orders: &BTreeMap<&str, Vec<PlacedOrder>>,
    unlisted: &BTreeMap<String, Usage>,
    around: &mut BTreeMap<String, PartAround>,
) {
    for given in orders.keys().filter(|given| !plant.part_index.contains_key(**given)) {
        if let Some(nearest) = part_meant(plant, given, None) {
            around.entry(nearest).or_default().near_orders.push((*given).to_owned());
        }
    }
    for (given, usage) in unmet_numbers(plant, unlisted) {
        if let Some(nearest) = part_meant(plant, given, usage) {
            around.entry(nearest).or_default().near_needs.push(given.to_owned());
        }
    }
    // Parts of the table whose numbers differ in case alone.
    let mut alike: BTreeMap<String, Vec<&PurchaseRow>> = BTreeMap::new();
    for row in bill.values().filter(|row| row.component.is_some()) {
        alike.entry(row.part_no.to_lowercase()).or_default().push(row);
    }
    for rows in alike.values().filter(|rows| rows.len() > 1) {
        for row in rows {
            let own = around.entry(row.part_no.clone()).or_default();
            for other in rows.iter().filter(|other| other.part_no != row.part_no) {
                if orders.contains_key(other.part_no.as_str()) {
                    own.near_orders.push(other.part_no.clone());
                }
                if other.needed > Decimal::ZERO || other.need_is_bound {
                    own.near_needs.push(other.part_no.clone());
                }
            }
        }
    }
}

/// Part numbers that the component table lacks and circuits or stations which are not built need; with their use on
/// lists, where they are named there.
#[must_use]
pub fn unmet_numbers<'a>(
    plant: &'a Plant,
    unlisted: &'a BTreeMap<String, Usage>,
) -> BTreeMap<&'a str, Option<&'a Usage>> {
    let mut all: BTreeMap<&str, Option<&Usage>> = BTreeMap::new();
    for (given, usage) in unlisted.iter().filter(|(_, usage)| usage.circuits > 0) {
        all.insert(given, Some(usage));
    }
    for part in plant.stations.iter().filter(|station| !station.built).flat_map(Station::parts) {
        if let StationPart::Unknown(given) = part {
            all.entry(given).or_default();
        }
    }
    all
}

/// The part of the table that a number may mean which the table lacks: what a line was taken for, else the nearest.
#[must_use]
pub fn part_meant(plant: &Plant, given: &str, usage: Option<&Usage>) -> Option<String> {
    let meant = usage.and_then(|usage| usage.meant.clone());
    meant.or_else(|| plant.part_index.nearest(given).names.into_iter().next())
}

impl Wants<'_> {
    fn add_to(&self, plant: &Plant, around: &mut BTreeMap<String, PartAround>) {
        for cause in self.causes.in_order() {
            if [U01.code, U02.code].contains(&cause.rule.as_str()) && !cause.part_no.is_empty() {
                around.entry(cause.part_no.clone()).or_default().renewals += cause.findings;
            }
        }
        for part_no in self.offered.iter().filter(|part_no| plant.part_index.contains_key(*part_no)) {
            around.entry(part_no.clone()).or_default().is_wanted = true;
        }
    }
}

/// Findings on parts as far as verdicts on circuits hang on them, by component index. `usage`
/// needs only what is asked of a part.
#[must_use]
pub fn part_standings(plant: &Plant, usage: &[Usage], waiving: &Waiving) -> Vec<Standing> {
    let none = BTreeMap::new();
    let book = PartBook::of(plant, usage, &none, &[], None);
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
pub fn order_findings(
    plant: &Plant,
    usage: &[Usage],
    unlisted: &BTreeMap<String, Usage>,
    bill: &[PurchaseRow],
) -> Vec<Finding> {
    let mut findings = Vec::new();
    // Obsolete parts for which orders of another count, by that other, with the day on which they are needed.
    let mut replaced: BTreeMap<&str, Vec<(&(NaiveDate, CircuitKey), &str)>> = BTreeMap::new();
    for row in bill.iter().filter(|row| row.of_successor > Decimal::ZERO) {
        let own = row.component.and_then(|index| usage.get(index as usize)?.earliest_need.as_ref());
        replaced.entry(&row.order_part).or_default().extend(own.map(|need| (need, row.part_no.as_str())));
    }
    for order in plant.orders.iter().flatten() {
        let component = plant.component_at(order.component);
        let about = About {
            subject: Subject::Order,
            place: CircuitKey::default(),
            position: &order.order_no,
            part_no: &order.part_no,
            origin: order.origin,
        };
        let of_part = match order.component {
            Some(index) => usage.get(index as usize).filter(|usage| usage.is_used),
            None => unlisted.get(&order.part_no),
        };
        let own = of_part.and_then(|usage| usage.earliest_need.as_ref()).map(|need| (need, None));
        let others = replaced.get(order.part_no.as_str()).into_iter().flatten();
        let first = own.into_iter().chain(others.map(|(need, part)| (*need, Some(*part)))).min();
        let view = OrderView {
            plant,
            order,
            component,
            needed_by: first.map(|(need, _)| need),
            in_place_of: first.and_then(|(_, part)| part),
            converted: converted(order, component, plant.policy.units),
            today: plant.policy.date,
        };
        findings.extend(run(plant, &about, |rule| rule.checks.order, |check, outcome| check(&view, outcome)).0);
    }
    findings
}

/// Findings on headers that name no known column, as far as they are asked for.
#[must_use]
pub fn header_findings(plant: &Plant, is_asked: impl Fn(SourceId, &UnknownHeader) -> bool) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (origin, source, header) in
        plant.unknown_headers().filter(|(origin, _, header)| is_asked(origin.source, header))
    {
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
