//! Purchase: the bill against the orders, one row per part.

use std::collections::{BTreeMap, HashMap};

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::Worksheet;

use crate::audit::outcome::Audit;
use crate::rules::buying;
use crate::rules::catalogue;
use crate::tables::finding::Finding;
use crate::tables::purchase::PurchaseRow;
use crate::tables::words::{Kind, State, Status};

use super::findings::title;
use super::grid::{Grid, Layout, SheetColumn};
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let layout = layout(audit);
    let mut remarks: HashMap<&str, Vec<&Finding>> = HashMap::new();
    for finding in audit.findings().filter(|finding| finding.rule.starts_with(buying::FAMILY.letter)) {
        remarks.entry(&finding.part_no).or_default().push(finding);
    }
    let mut grid = Grid::new(setup, &layout)?;
    for row in &audit.purchase {
        grid.begin_row()?;
        write_row(&mut grid, audit, row)?;
        let findings = remarks.get(row.part_no.as_str()).map_or(&[][..], Vec::as_slice);
        grid.text(17, &remarks_of(row, findings))?;
    }
    grid.finish()
}

fn layout(audit: &Audit) -> Layout {
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let amount = |header: &str| SheetColumn::new(header, 10.0, Look::Number(Digits::General));
    let money = |header: &str| SheetColumn::new(header, 12.0, Look::Number(Digits::Money));
    Layout {
        name: "Purchase",
        note: format!("Purchase: the bill of all circuits and stations that are not built. {}", totals_in_words(audit)),
        columns: vec![
            wrapped("Part", 17.0),
            wrapped("Description", 26.0),
            text("Kind", 16.5),
            wrapped("Supplier", 17.0),
            text("Unit", 6.5),
            amount("Needed"),
            amount("Ordered"),
            amount("To order"),
            money("Unit price"),
            text("Currency", 9.5),
            money("Extended price"),
            SheetColumn::new("Lead time [days]", 9.0, Look::Number(Digits::General)),
            SheetColumn::new("Circuits", 9.0, Look::Number(Digits::Whole)),
            wrapped("Plants", 12.0),
            text("Status", 9.5),
            wrapped("Replaced by", 16.0),
            SheetColumn::new("Pack", 7.0, Look::Number(Digits::General)),
            wrapped("Remarks", 36.0),
        ],
        frozen: 1,
        printed: 0,
        pages_wide: 1,
    }
}

/// What is to be ordered, per currency: `To order: 120.50 EUR; 99.00 USD.`
#[must_use]
pub fn totals_in_words(audit: &Audit) -> String {
    let mut totals: BTreeMap<&str, Decimal> = BTreeMap::new();
    let mut unpriced = 0_u64;
    for row in &audit.purchase {
        let component = audit.plant.component_at(row.component);
        match (row.extended, component) {
            (Some(extended), Some(component)) => *totals.entry(&component.currency).or_default() += extended,
            _ if row.order_qty > Decimal::ZERO => unpriced += 1,
            _ => {}
        }
    }
    let sums: Vec<String> = totals
        .iter()
        .filter(|(_, sum)| !sum.is_zero())
        .map(|(currency, sum)| format!("{sum:.2} {currency}").trim_end().to_owned())
        .collect();
    let priced = if sums.is_empty() {
        "Nothing priced is to be ordered".to_owned()
    } else {
        format!("To order: {}", sums.join("; "))
    };
    let rest = if unpriced > 0 { format!("; {unpriced} parts to order have no price") } else { String::new() };
    format!("{priced}{rest}.")
}

fn write_row(grid: &mut Grid, audit: &Audit, row: &PurchaseRow) -> Result<(), WorkbookError> {
    let number = |value: Option<Decimal>| value.and_then(|value| value.to_f64());
    grid.text(0, &row.part_no)?;
    grid.text(4, row.uom)?;
    grid.optional(5, number(Some(row.needed)))?;
    grid.optional(6, number(row.ordered))?;
    grid.optional(7, number(Some(row.order_qty)))?;
    grid.optional(10, number(row.extended))?;
    #[allow(clippy::cast_precision_loss, reason = "a count of circuits is far below 2^53")]
    grid.number(12, row.circuits as f64)?;
    grid.text(13, &row.plants.join("\n"))?;
    let Some(component) = audit.plant.component_at(row.component) else { return Ok(()) };
    grid.text(1, &component.description)?;
    grid.text(2, component.kind.map_or("", Kind::word))?;
    grid.text(3, &component.supplier)?;
    grid.optional(8, number(component.unit_price))?;
    grid.text(9, &component.currency)?;
    grid.optional(11, component.lead_time)?;
    grid.text(14, component.status.unwrap_or(Status::Active).word())?;
    grid.text(15, &component.replaced_by)?;
    grid.optional(16, number(component.pack_qty))
}

fn remarks_of(row: &PurchaseRow, findings: &[&Finding]) -> String {
    let mut words: Vec<String> = findings
        .iter()
        .map(|finding| {
            let waived = if finding.state == State::Waived { " (waived)" } else { "" };
            format!("{} {} {}{waived}", finding.rule, finding.severity.word(), title(catalogue::rule(finding.rule)))
        })
        .collect();
    words.dedup();
    if row.need_is_bound {
        words.push("the need is a lower bound: a line of it was set aside".to_owned());
    }
    words.join(";\n")
}
