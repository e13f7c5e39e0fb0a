//! Summary of buying alone: what is to be ordered from whom, what comes late, what is to be decided.

use chrono::NaiveDate;
use rust_decimal::prelude::ToPrimitive;

use crate::audit::outcome::Audit;
use crate::audit::to_buy::{SupplierTotal, by_supplier};
use crate::report::buying_words::{
    at_once, doubts, held_up, late, order_by, overdue, to_change, totals, uncounted, unsuited, verdict,
};
use crate::report::workbook::WorkbookError;
use crate::report::workbook::grid::height_of;
use crate::report::workbook::requests::left_out;
use crate::report::workbook::safe_text::cell_text;
use crate::report::workbook::style::{Digits, lines_of};
use crate::rules::relaxed::Relaxed;
use crate::rules::{Rule, buying, catalogue};

use super::{PLAIN_ROW, Page, counts};

/// Widths of the columns: the sums need more room than counts do.
pub const WIDTHS: [f64; 10] = [16.0, 36.0, 15.0, 8.5, 9.0, 8.5, 16.0, 1.5, 1.5, 1.5];
/// Suppliers that have a row of their own.
const SUPPLIERS: usize = 25;
/// Parts named in a list.
const NAMED: usize = 8;
/// The same of those that unsafe circuits wait for.
const AT_ONCE: usize = 20;

impl Page<'_> {
    /// Writes the page.
    pub(super) fn purchase(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        self.line(&verdict(audit), &styles.bold)?;
        if let Some(sentence) = Relaxed::of(&audit.plant.policy).of_purchasing() {
            self.line(&sentence, &styles.bold)?;
        }
        self.line(&totals(audit), &styles.text)?;
        if let Some(sentence) = uncounted(audit) {
            self.line(&sentence, &styles.text)?;
        }
        self.advance(PLAIN_ROW);
        self.sentences("At once", first_of(at_once(audit), AT_ONCE))?;
        self.sentences("Not to be read or counted, or worth a look", first(doubts(audit)))?;
        self.sentences("To settle first", first(held_up(audit)))?;
        self.suppliers(audit)?;
        self.sentences("Does not conform where it is needed", first(unsuited(audit)))?;
        self.sentences("Comes late", first(late(audit)))?;
        self.sentences("Overdue", first(overdue(audit)))?;
        self.sentences("To ask or change", first(to_change(audit)))?;
        self.rules(audit)
    }

    fn suppliers(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        let sums = by_supplier(&audit.to_buy);
        if sums.is_empty() {
            return Ok(());
        }
        self.headers(&["Currency", "Supplier", "Sum", "Parts to order", "Without price", "Late, of these", "Order"])?;
        for sum in sums.iter().take(SUPPLIERS) {
            self.supplier(sum, audit.plant.policy.date)?;
        }
        if sums.len() > SUPPLIERS {
            self.line(&format!("{} further sums, see Purchase.", sums.len() - SUPPLIERS), &self.setup.styles.note)?;
        }
        if left_out(audit) > 0 {
            let words = format!("{} suppliers have no sheet of their own, see Purchase.", left_out(audit));
            self.line(&words, &self.setup.styles.note)?;
        }
        self.advance(PLAIN_ROW);
        Ok(())
    }

    fn supplier(&mut self, sum: &SupplierTotal, today: NaiveDate) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        let name = if sum.supplier.is_empty() { "No supplier given" } else { &sum.supplier };
        let past = if sum.order_by.is_some_and(|date| date < today) { ", past" } else { "" };
        let when = order_by(sum).map(|when| format!("{when}{past}")).unwrap_or_default();
        let height = height_of(lines_of(name, WIDTHS[1]).max(lines_of(&when, WIDTHS[6])));
        self.sheet.set_row_height(self.row, height)?;
        self.sheet.write_string_with_format(self.row, 0, cell_text(&sum.currency), &styles.boxed)?;
        self.sheet.write_string_with_format(self.row, 1, cell_text(name), &styles.boxed_wrapped)?;
        let money = styles.boxed_number(Digits::Money);
        match sum.sum.to_f64().filter(|_| sum.unpriced < sum.parts) {
            Some(value) => self.sheet.write_number_with_format(self.row, 2, value, &money)?,
            None => self.sheet.write_blank(self.row, 2, &money)?,
        };
        let whole = styles.boxed_number(Digits::Whole);
        for (column, count) in (3_u16..).zip([sum.parts, sum.unpriced, sum.late]) {
            #[allow(clippy::cast_precision_loss, reason = "a count of parts is far below 2^53")]
            self.sheet.write_number_with_format(self.row, column, count as f64, &whole)?;
        }
        self.sheet.write_string_with_format(self.row, 6, when, &styles.boxed_wrapped)?;
        self.advance(height);
        Ok(())
    }

    fn rules(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        let counts: Vec<(&Rule, u32)> = catalogue::CATALOGUE
            .iter()
            .filter(|rule| rule.family.letter == buying::FAMILY.letter)
            .map(|rule| (*rule, counts::open(audit, rule.code)))
            .filter(|(_, count)| *count > 0)
            .collect();
        if counts.is_empty() {
            return self.line("No findings of the purchasing rules.", &self.setup.styles.text);
        }
        self.headers(&["Rule", "Finding", "Count"])?;
        for (rule, count) in counts {
            self.cells(rule.code, rule.title, &[Some(f64::from(count))], 0)?;
        }
        self.advance(PLAIN_ROW);
        Ok(())
    }
}

/// The first of a list, and how many more there are.
fn first(rows: Vec<(String, String)>) -> impl Iterator<Item = (String, String)> {
    first_of(rows, NAMED)
}

fn first_of(rows: Vec<(String, String)>, most: usize) -> impl Iterator<Item = (String, String)> {
    let more = rows.len().saturating_sub(most);
    let rest = (more > 0).then(|| (String::new(), format!("and {more} more, see Purchase")));
    rows.into_iter().take(most).chain(rest)
}
