//! Requests for quotation: a sheet for each supplier, ready to be sent. Nothing of other suppliers, prices or
//! findings stands on them.

use std::collections::BTreeSet;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use rust_xlsxwriter::{Format, Worksheet};

use crate::audit::outcome::Audit;
use crate::audit::to_buy::ToBuy;
use crate::tables::plant::Plant;
use crate::tables::trade_unit::{TradeUnit, to_order};

use super::grid::height_of;
use super::safe_text::{cell_text, sheet_name};
use super::style::{Digits, lines_of};
use super::{Setup, WorkbookError};

/// Suppliers that get a sheet; a workbook with more sheets is no help to anybody.
const SUPPLIERS: usize = 200;
/// Rows of a sheet beside the parts.
const OTHER_ROWS: u32 = 24;

const COLUMNS: [(&str, f64); 11] = [
    ("Item", 6.0),
    ("Part number", 20.0),
    ("Description", 34.0),
    ("Quantity", 9.5),
    ("Unit", 7.0),
    ("In packs of", 9.0),
    ("Wanted by", 12.0),
    ("Your price per unit", 13.0),
    ("Your currency", 10.0),
    ("Your delivery date", 13.0),
    ("Your remarks", 24.0),
];
const QUANTITY: u16 = 3;
const PACK: u16 = 5;
/// First of the columns that the supplier fills in.
const OFFER: u16 = 7;

/// Names that other sheets of the workbook have.
const TAKEN: [&str; 4] = ["summary", "findings", "purchase", "sources"];

/// What the supplier is asked, and what must not happen unasked.
const ASKED: [&str; 2] = [
    "Please quote the parts below: price per unit, currency, date of delivery.",
    "Offer another part only beside the one that is asked for, and name it: each was chosen for the pressure of its circuit.",
];

/// What may be ordered, by supplier; in the order in which suppliers are told.
fn by_supplier(audit: &Audit) -> Vec<Vec<&ToBuy>> {
    let mut all: Vec<Vec<&ToBuy>> = Vec::new();
    for item in audit.to_buy.iter().filter(|item| item.held_up.is_none()) {
        match all.last_mut() {
            Some(items) if items[0].supplier == item.supplier => items.push(item),
            _ => all.push(vec![item]),
        }
    }
    all
}

/// Suppliers beyond those that have a sheet.
#[must_use]
pub fn left_out(audit: &Audit) -> usize {
    by_supplier(audit).len().saturating_sub(SUPPLIERS)
}

/// Writes the sheets.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let mut names: BTreeSet<String> = TAKEN.map(str::to_owned).into();
    let mut sheets = Vec::new();
    for items in by_supplier(audit).iter().take(SUPPLIERS) {
        let rows = setup.row_limit.saturating_sub(OTHER_ROWS).max(1) as usize;
        for part in items.chunks(rows) {
            let name = free_name(&items[0].supplier, &mut names);
            let mut request = Request::new(setup, &name)?;
            request.widen(&audit.plant, part)?;
            sheets.push(request.filled(&audit.plant, part)?);
        }
    }
    Ok(sheets)
}

fn free_name(supplier: &str, names: &mut BTreeSet<String>) -> String {
    let name = sheet_name(supplier, "No supplier");
    let mut free = name.clone();
    let mut number = 2;
    // Names of sheets are compared without regard to case.
    while !names.insert(free.to_lowercase()) {
        free = format!("{name} {number}");
        number += 1;
    }
    free
}

/// A sheet being written.
struct Request<'a> {
    sheet: Worksheet,
    setup: &'a Setup<'a>,
    row: u32,
}

/// How much a supplier is asked for.
fn asked_for(plant: &Plant, item: &ToBuy) -> Decimal {
    let part = plant.component_at(item.component);
    part.map_or(item.quantity, |part| to_order(item.quantity, TradeUnit::of(part, plant.policy.units), part.pack_qty))
}

impl<'a> Request<'a> {
    fn new(setup: &'a Setup, name: &str) -> Result<Self, WorkbookError> {
        let mut sheet = setup.sheet(name)?;
        for (column, (_, width)) in (0_u16..).zip(COLUMNS) {
            sheet.set_column_width(column, width)?;
        }
        sheet.set_landscape();
        sheet.set_print_fit_to_pages(1, 0);
        // Pages of the sheet alone: it goes out by itself.
        sheet.set_print_first_page_number(1);
        sheet.set_footer("&L&A&RPage &P");
        Ok(Self { sheet, setup, row: 0 })
    }

    /// Makes the columns of amounts as wide as the longest needs.
    fn widen(&mut self, plant: &Plant, items: &[&ToBuy]) -> Result<(), WorkbookError> {
        let pack = |item: &ToBuy| plant.component_at(item.component)?.pack_qty;
        let width = |item: &ToBuy, amount: Option<Decimal>| {
            let amount = amount.and_then(|amount| amount.to_f64()).unwrap_or_default();
            Digits::of_amount(amount, item.uom).width_for([amount].into_iter())
        };
        for column in [QUANTITY, PACK] {
            let amount = |item: &ToBuy| if column == PACK { pack(item) } else { Some(asked_for(plant, item)) };
            let widest = items.iter().map(|item| width(item, amount(item))).fold(0.0, f64::max);
            self.sheet.set_column_width(column, widest.max(COLUMNS[usize::from(column)].1))?;
        }
        Ok(())
    }

    fn text(&mut self, column: u16, text: &str, format: &Format) -> Result<(), WorkbookError> {
        self.sheet.write_string_with_format(self.row, column, cell_text(text), format)?;
        Ok(())
    }

    /// A word and a line to write on, or what is known.
    fn line(&mut self, at: u16, word: &str, known: &str) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        self.text(at, word, &styles.bold)?;
        let from = at + 2;
        if known.is_empty() {
            for column in from..from + 2 {
                self.sheet.write_blank(self.row, column, &styles.signed)?;
            }
            return Ok(());
        }
        self.text(from, known, &styles.text)
    }

    fn filled(mut self, plant: &Plant, items: &[&ToBuy]) -> Result<Worksheet, WorkbookError> {
        let styles = self.setup.styles;
        self.sheet.set_row_height(0, 20)?;
        self.text(0, "Request for quotation", &styles.title)?;
        let supplier = items.first().map_or("", |item| item.supplier.as_str());
        for (left, known, right, date) in [
            ("To", supplier, "Date", self.setup.date.clone()),
            ("From", "", "Our reference", String::new()),
            ("Deliver to", "", "Please answer by", String::new()),
        ] {
            self.row += 1;
            self.sheet.set_row_height(self.row, 18)?;
            self.line(0, left, known)?;
            self.line(OFFER - 1, right, &date)?;
        }
        self.row += 1;
        for sentence in ASKED {
            self.row += 1;
            self.text(0, sentence, &styles.text)?;
        }
        self.row += 2;
        let header = self.row;
        for (column, (word, _)) in (0_u16..).zip(COLUMNS) {
            self.text(column, word, &styles.header)?;
        }
        self.sheet.set_row_height(self.row, height_of(2))?;
        for (number, item) in (1_u32..).zip(items) {
            self.row += 1;
            self.item(plant, number, item)?;
        }
        self.row += 1;
        for word in ["Prices hold until", "Terms of delivery and payment", "Name, date, signature"] {
            self.row += 1;
            self.sheet.set_row_height(self.row, 20)?;
            self.line(0, word, "")?;
        }
        self.sheet.set_repeat_rows(header, header)?;
        self.sheet.set_print_area(0, 0, self.row, last_column())?;
        Ok(self.sheet)
    }

    fn item(&mut self, plant: &Plant, number: u32, item: &ToBuy) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        let component = plant.component_at(item.component);
        let description = component.map_or("", |part| part.description.as_str());
        let texts = [(item.part_no.as_str(), 1), (description, 2), (&item.wanted(), 6)];
        let lines = texts.iter().map(|(text, column)| lines_of(text, COLUMNS[*column].1)).max().unwrap_or(1);
        self.sheet.set_row_height(self.row, height_of(lines).max(18.0))?;
        self.sheet.write_number_with_format(self.row, 0, f64::from(number), &styles.boxed_number(Digits::Whole))?;
        self.text(1, &item.part_no, &styles.boxed_wrapped)?;
        self.text(2, description, &styles.boxed_wrapped)?;
        let pack = component.and_then(|part| part.pack_qty);
        for (column, amount) in [(QUANTITY, Some(asked_for(plant, item))), (PACK, pack)] {
            match amount.and_then(|amount| amount.to_f64()) {
                Some(amount) => {
                    let format = styles.boxed_number(Digits::of_amount(amount, item.uom));
                    self.sheet.write_number_with_format(self.row, column, amount, &format)?
                }
                None => self.sheet.write_blank(self.row, column, &styles.boxed)?,
            };
        }
        self.text(4, item.uom, &styles.boxed)?;
        self.text(6, &item.wanted(), &styles.boxed_wrapped)?;
        for column in OFFER..=last_column() {
            self.sheet.write_blank(self.row, column, &styles.boxed)?;
        }
        Ok(())
    }
}

fn last_column() -> u16 {
    u16::try_from(COLUMNS.len()).unwrap_or(u16::MAX) - 1
}
