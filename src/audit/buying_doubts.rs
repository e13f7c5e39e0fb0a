//! What buying rests on and could not be read or counted: as long as there is any, nobody can say that all is ordered.

use std::collections::BTreeMap;

use crate::audit::plant_wide::{part_meant, unmet_numbers};
use crate::rules::buying::is_received;
use crate::rules::{buying, lists};
use crate::tables::circuit::InService;
use crate::tables::column::Table;
use crate::tables::counted::counted;
use crate::tables::finding::{Finding, Subject};
use crate::tables::order::Order;
use crate::tables::origin::{CellFault, Origin};
use crate::tables::plant::Plant;
use crate::tables::purchase::PurchaseRow;
use crate::tables::usage::Usage;

/// Columns of the component table that decide what is bought, in which units, when and for how much.
const OF_COMPONENTS: [&str; 8] =
    ["kind", "uom", "status", "replaced_by", "unit_price", "currency", "lead_time", "pack_qty"];
/// The same of circuits and stations.
const OF_CIRCUITS: [&str; 2] = ["need_date", "built"];
const OF_STATIONS: [&str; 3] = ["pump", "drive_ram", "built"];

/// Something that could not be read or counted, in a sentence.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Doubt {
    /// The part that it is about; empty where it is about no one part.
    pub part_no: String,
    pub sentence: String,
}

/// What keeps purchasing from being assessed, and what is worth a look.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct BuyingDoubts {
    /// Each keeps purchasing from conforming.
    pub lacks: Vec<Doubt>,
    /// These don't, and may be a slip.
    pub notes: Vec<Doubt>,
}

impl BuyingDoubts {
    /// Of a plant with its bill.
    #[must_use]
    pub fn of(plant: &Plant, unlisted: &BTreeMap<String, Usage>, bill: &[PurchaseRow]) -> Self {
        let mut all = Self::default();
        let Some(orders) = &plant.orders else { return all };
        all.add_orders(plant, orders);
        all.add_parts(plant, bill);
        all.add_service(plant);
        for (given, usage) in unmet_numbers(plant, unlisted) {
            let near =
                part_meant(plant, given, usage).map(|near| format!("; near to it is {near}")).unwrap_or_default();
            let users = usage.map_or_else(|| "a load station".to_owned(), |usage| counted(usage.circuits, "circuit"));
            let given = if given.is_empty() { "a blank part number" } else { given };
            all.lack(given, format!("needed by {users}, and not in the component table{near}"));
        }
        all.add_headers(plant);
        all
    }

    fn lack(&mut self, part_no: &str, sentence: String) {
        self.lacks.push(Doubt { part_no: part_no.to_owned(), sentence });
    }

    fn add_orders(&mut self, plant: &Plant, orders: &[Order]) {
        for order in orders {
            let name = if order.order_no.is_empty() { String::new() } else { format!(" {}", order.order_no) };
            for fault in &order.faults {
                // When it was to come no longer matters.
                if fault.column != "promised_date" || !is_received(order) {
                    self.lack(&order.part_no, format!("order{name}: {}", unread(plant, order.origin, fault)));
                }
            }
            if order.lacks_quantity() {
                let place = place(plant, order.origin);
                self.lack(&order.part_no, format!("order{name}: it has no quantity, which counts as 0 ({place})"));
            }
            if let Some(row) = order.repeats {
                let place = place(plant, order.origin);
                let sentence =
                    format!("order{name} stands twice, cell for cell, and counts twice ({place}, and row {row})");
                self.notes.push(Doubt { part_no: order.part_no.clone(), sentence });
            }
        }
        let rows = plant.sources.iter().filter(|source| source.table == Some(Table::Orders));
        let rows: u64 = rows.map(|source| source.rows_read.saturating_sub(source.rows_skipped)).sum();
        let nameless = rows.saturating_sub(orders.len() as u64);
        if nameless > 0 {
            let verb = if nameless == 1 { "names" } else { "name" };
            self.lack("", format!("{} of orders {verb} no part: see Input", counted(nameless, "row")));
        }
    }

    fn add_parts(&mut self, plant: &Plant, bill: &[PurchaseRow]) {
        for row in bill {
            let component = plant.component_at(row.component);
            for fault in component.iter().flat_map(|part| &part.faults).filter(|fault| is_one(fault, &OF_COMPONENTS)) {
                let origin = component.map(|part| part.origin).unwrap_or_default();
                self.lack(&row.part_no, unread(plant, origin, fault));
            }
            if row.need_is_bound {
                self.lack(&row.part_no, "the need is a lower bound: a line of it was set aside".to_owned());
            }
        }
    }

    fn add_service(&mut self, plant: &Plant) {
        for (key, service) in plant.services.iter() {
            let is_bought_for = service.in_service() != InService::Yes;
            for fault in service.faults.iter().filter(|fault| is_bought_for && is_one(fault, &OF_CIRCUITS)) {
                self.lack("", format!("circuit {key}: {}", unread(plant, service.origin, fault)));
            }
        }
        for station in plant.stations.iter().filter(|station| !station.built) {
            for fault in station.faults.iter().filter(|fault| is_one(fault, &OF_STATIONS)) {
                let sentence = unread(plant, station.origin, fault);
                self.lack("", format!("load station {}: {sentence}", station.station));
            }
        }
    }

    /// Columns that nobody reads, since their header is misspelt.
    fn add_headers(&mut self, plant: &Plant) {
        for (origin, source, header) in plant.unknown_headers() {
            let Some(column) = header.lacking.filter(|column| is_of_buying(source.table, column)) else { continue };
            self.lack(
                "",
                format!(
                    "the header '{}' names no known column, and {column} is lacking ({})",
                    header.text,
                    place(plant, origin)
                ),
            );
        }
    }

    /// Rows of lists whose circuit can't be told.
    pub fn add_stray_rows(&mut self, rows: u64) {
        if rows > 0 {
            let words = if rows == 1 { "row of lists names no circuit" } else { "rows of lists name no circuit" };
            self.lack("", format!("{rows} {words} that can be told: what is needed by it is not counted"));
        }
    }
}

fn is_one(fault: &CellFault, columns: &[&str]) -> bool {
    // A row that can't be read at all has no column.
    fault.column.is_empty() || columns.contains(&fault.column)
}

fn is_of_buying(table: Option<Table>, column: &str) -> bool {
    match table {
        Some(Table::Orders) => true,
        Some(Table::Components) => OF_COMPONENTS.contains(&column),
        Some(Table::Circuits) => OF_CIRCUITS.contains(&column),
        Some(Table::Stations) => OF_STATIONS.contains(&column),
        Some(Table::Lists | Table::Waivers) | None => false,
    }
}

/// `orders.csv, row 5`.
fn place(plant: &Plant, origin: Origin) -> String {
    format!("{}, row {}", plant.source_place(origin), origin.row)
}

/// `promised_date '15.09.2026' can't be read (orders.csv, row 5)`.
fn unread(plant: &Plant, origin: Origin, fault: &CellFault) -> String {
    let what = if fault.column.is_empty() { "the row" } else { fault.column };
    format!("{what} '{}' can't be read ({})", fault.found, place(plant, origin))
}

/// Whether a finding is one of buying, or says that something which buying rests on can't be read or counted.
#[must_use]
pub fn concerns_buying(plant: &Plant, finding: &Finding) -> bool {
    if finding.rule.starts_with(buying::FAMILY.letter) {
        return true;
    }
    let has = |faults: &[CellFault], columns: &[&str]| faults.iter().any(|fault| is_one(fault, columns));
    let is_bought_for = || plant.service(&finding.place).is_none_or(|service| service.in_service() != InService::Yes);
    match finding.subject {
        Subject::Line => {
            let code = finding.rule;
            [lists::L01.code, lists::L02.code, lists::L05.code, lists::L06.code].contains(&code) && is_bought_for()
        }
        Subject::Table => {
            let lacking = plant
                .unknown_headers()
                .find(|(origin, _, header)| finding.origin == Some(*origin) && finding.position == header.text);
            lacking.is_some_and(|(_, source, header)| {
                header.lacking.is_some_and(|column| is_of_buying(source.table, column))
            })
        }
        _ if finding.rule != lists::L04.code => finding.rule == lists::L01.code && finding.subject == Subject::Station,
        Subject::Order => true,
        Subject::Part => plant.component(&finding.part_no).is_some_and(|part| has(&part.faults, &OF_COMPONENTS)),
        Subject::Station => plant.station(&finding.position).is_some_and(|one| has(&one.faults, &OF_STATIONS)),
        Subject::Circuit => {
            let service = plant.service(&finding.place);
            service.is_some_and(|service| is_bought_for() && has(&service.faults, &OF_CIRCUITS))
        }
        Subject::Side | Subject::Waiver => false,
    }
}
