//! Basis: what the figures stand on. Policy, formulas, rules, cautions, limits of validity.

mod formula_table;
pub(in crate::report::workbook) mod policy_rows;

use rust_xlsxwriter::{Format, Workbook, Worksheet};

use crate::audit::outcome::Audit;
use crate::report::cautions::{CAUTIONS, LIMITS_OF_VALIDITY};
use crate::rules::Rule;
use crate::rules::catalogue::CATALOGUE;
use crate::tables::words::Severity;

use super::grid::height_of;
use super::safe_text::cell_text;
use super::style::{Digits, lines_of};
use super::{Setup, WorkbookError};

use formula_table::{FORMULAS, SURENESS_FORMULAS};
pub use policy_rows::fluid_name;
use policy_rows::{PolicyRow, Setting, paper_row, policy_rows, spread_rows};

const WIDTHS: [f64; 6] = [30.0, 22.0, 12.0, 58.0, 46.0, 36.0];
/// Zero-based row of the first policy value.
const FIRST_POLICY_ROW: u32 = 3;

/// Names the policy's cells, so that formulas can call them.
///
/// # Errors
///
/// Where the library refuses a name.
pub fn define_names(workbook: &mut Workbook, audit: &Audit) -> Result<(), WorkbookError> {
    for (row, policy) in (FIRST_POLICY_ROW + 1..).zip(policy_rows(&audit.plant.policy)) {
        if policy.is_named {
            workbook.define_name(policy.name, &format!("=Basis!$B${row}"))?;
        }
    }
    Ok(())
}

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let mut sheet = setup.sheet("Basis")?;
    for (column, width) in (0_u16..).zip(WIDTHS) {
        sheet.set_column_width(column, width)?;
    }
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    let mut page = Page { sheet, setup, row: 0 };
    page.title(&format!("What the figures stand on. {}", formulas_note(audit, setup)))?;
    page.row += 1;
    page.policy(audit)?;
    page.severities(audit)?;
    page.formulas(audit)?;
    page.rules(audit)?;
    page.sentences("Cautions", CAUTIONS)?;
    page.sentences("Limits of validity", LIMITS_OF_VALIDITY)?;
    let last = page.row.saturating_sub(1);
    let mut sheet = page.sheet;
    sheet.set_print_area(0, 0, last, 5)?;
    Ok(vec![sheet])
}

fn formulas_note(audit: &Audit, setup: &Setup) -> String {
    let bound = audit.plant.policy.bounds.formula_rows;
    if super::circuits::is_live(audit, setup.row_limit) {
        return format!(
            "Circuits has live formulas (up to {bound} rows): change a named cell and it answers. Its inputs stand right \
             of the printed columns."
        );
    }
    format!("Circuits holds values only: it has more than the {bound} rows up to which formulas are written.")
}

struct Page<'a> {
    sheet: Worksheet,
    setup: &'a Setup<'a>,
    row: u32,
}

impl Page<'_> {
    fn title(&mut self, text: &str) -> Result<(), WorkbookError> {
        self.sheet.write_string_with_format(self.row, 0, text, &self.setup.styles.note)?;
        self.row += 1;
        Ok(())
    }

    fn headers(&mut self, headers: [&str; 6]) -> Result<(), WorkbookError> {
        for (column, header) in (0_u16..).zip(headers) {
            self.sheet.write_string_with_format(self.row, column, header, &self.setup.styles.header)?;
        }
        self.row += 1;
        Ok(())
    }

    fn cells(&mut self, cells: [&str; 6]) -> Result<(), WorkbookError> {
        let mut lines = 1;
        for ((column, text), width) in (0_u16..).zip(cells).zip(WIDTHS) {
            lines = lines.max(lines_of(text, width));
            self.sheet.write_string_with_format(self.row, column, cell_text(text), &self.setup.styles.boxed_wrapped)?;
        }
        self.sheet.set_row_height(self.row, height_of(lines))?;
        self.row += 1;
        Ok(())
    }

    fn policy(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        self.headers(["Policy value (name in formulas)", "Value", "Unit", "Meaning", "Source", "A change here"])?;
        debug_assert_eq!(self.row, FIRST_POLICY_ROW);
        let format = self.setup.styles.boxed_number(Digits::General);
        for row in policy_rows(&audit.plant.policy) {
            self.policy_row(&row, &format)?;
        }
        self.policy_row(&paper_row(self.setup.paper, audit.plant.policy.units), &format)?;
        if audit.counts.sure.is_some() {
            for row in spread_rows(&audit.plant.policy) {
                self.policy_row(&row, &format)?;
            }
        }
        Ok(())
    }

    fn policy_row(&mut self, row: &PolicyRow, format: &Format) -> Result<(), WorkbookError> {
        let at = self.row;
        let value = match &row.value {
            Setting::Text(text) => text.as_str(),
            Setting::Number(_) => "",
        };
        self.cells([&row.name, value, row.unit, &row.meaning, row.source, row.answers])?;
        if let Setting::Number(number) = row.value {
            self.sheet.write_number_with_format(at, 1, number, format)?;
        }
        Ok(())
    }

    /// Severities that the policy changes.
    fn severities(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        for (code, severity) in &audit.plant.policy.rules {
            let word = severity.map_or("off", Severity::word);
            self.cells([&format!("rule {code}"), word, "", "Severity set by the policy", "policy", "takes a new run"])?;
        }
        self.row += 1;
        Ok(())
    }

    fn formulas(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        self.headers(["Formula", "", "", "In symbols", "Symbols and validity", "Source"])?;
        let of_sureness = SURENESS_FORMULAS.iter().filter(|_| audit.counts.sure.is_some());
        for formula in FORMULAS.iter().chain(of_sureness) {
            self.cells([formula.name, "", "", formula.formula, formula.symbols, formula.source])?;
        }
        self.row += 1;
        Ok(())
    }

    fn rules(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        self.headers([
            "Rule",
            "Severity",
            "Subject",
            "Looks for",
            "Why it matters; what usually puts it right",
            "Basis",
        ])?;
        for rule in CATALOGUE {
            self.rule(audit, rule)?;
        }
        self.row += 1;
        Ok(())
    }

    fn rule(&mut self, audit: &Audit, rule: &Rule) -> Result<(), WorkbookError> {
        let severity = audit.plant.policy.severity(rule.code, rule.severity).map_or("off", Severity::word);
        self.cells([
            &format!("{} {} ({})", rule.code, rule.title, rule.name),
            severity,
            rule.subject.word(),
            rule.looks_for,
            &format!("{} {}", rule.why, rule.remedy),
            rule.basis,
        ])
    }

    /// A block of sentences, each in the widest column.
    fn sentences(&mut self, title: &str, sentences: &[&str]) -> Result<(), WorkbookError> {
        self.headers([title, "", "", "", "", ""])?;
        for (number, sentence) in sentences.iter().enumerate() {
            self.cells([&format!("{title} {}", number + 1), "", "", sentence, "", ""])?;
        }
        self.row += 1;
        Ok(())
    }
}
