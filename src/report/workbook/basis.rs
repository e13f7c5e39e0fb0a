//! Basis: what the figures stand on. Policy, formulas, rules, cautions, limits of validity.

pub(in crate::report::workbook) mod policy_rows;

use rust_xlsxwriter::{Format, Url, Workbook, Worksheet};

use crate::audit::outcome::Audit;
use crate::physics::formula::Formula;
use crate::physics::formulas::{FORMULAS, SURENESS_FORMULAS};
use crate::report::cautions::{CAUTIONS, LIMITS_OF_VALIDITY};
use crate::rules::Rule;
use crate::rules::catalogue::CATALOGUE;
use crate::tables::words::Severity;

use super::grid::height_of;
use super::places::Places;
use super::safe_text::cell_text;
use super::style::{Digits, bold_lines_of, lines_of};
use super::{Setup, WorkbookError};

use policy_rows::{NEW_RUN, PolicyRow, Setting, paper_row, policy_rows, spread_rows};

const WIDTHS: [f64; 7] = [35.0, 21.0, 8.5, 74.0, 36.0, 150.0, 34.0];
/// Column of the links from rules to findings.
const LINK: u16 = 7;
/// Columns that are printed, from the left; the others are on the screen.
const PRINTED: u16 = 5;
/// From here on the thousands of a number stand apart.
const LONG: f64 = 1e5;
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
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let mut sheet = setup.sheet("Basis")?;
    for (column, width) in (0_u16..).zip(WIDTHS) {
        sheet.set_column_width(column, width)?;
    }
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    let mut page = Page { sheet, setup, row: 0 };
    page.title(&format!(
        "What the figures stand on; the formulas are below what is printed. {}",
        formulas_note(audit, setup)
    ))?;
    page.row += 1;
    page.policy(audit)?;
    page.severities(audit)?;
    page.rules(audit, places)?;
    page.sentences("Cautions", CAUTIONS)?;
    page.sentences("Limits of validity", LIMITS_OF_VALIDITY)?;
    let last = page.row.saturating_sub(1);
    // Three pages that nobody decides by: on the screen, below what is printed.
    page.formulas(audit)?;
    let mut sheet = page.sheet;
    sheet.set_print_area(0, 0, last, PRINTED - 1)?;
    sheet.set_repeat_rows(FIRST_POLICY_ROW - 1, FIRST_POLICY_ROW - 1)?;
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

/// Those that the report rests on.
fn formulas(audit: &Audit) -> impl Iterator<Item = &'static Formula> {
    let of_sureness = SURENESS_FORMULAS.iter().filter(|_| audit.counts.sure.is_some());
    FORMULAS.iter().chain(of_sureness).copied()
}

/// Zero-based row of the first rule: below the policy with paper, spreads and severities, a blank row and the header.
#[must_use]
pub fn first_rule_row(audit: &Audit) -> u32 {
    let policy = &audit.plant.policy;
    let of_spread = audit.counts.sure.as_ref().map_or(0, |_| spread_rows(policy).len());
    let rows = policy_rows(policy).len() + 1 + of_spread + policy.rules.len();
    FIRST_POLICY_ROW + u32::try_from(rows).unwrap_or(0) + 2
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

    fn headers(&mut self, headers: [&str; 7]) -> Result<(), WorkbookError> {
        let mut lines = 1;
        for ((column, header), width) in (0_u16..).zip(headers).zip(WIDTHS) {
            lines = lines.max(bold_lines_of(header, width));
            self.sheet.write_string_with_format(self.row, column, header, &self.setup.styles.header)?;
        }
        self.sheet.set_row_height(self.row, height_of(lines))?;
        self.row += 1;
        Ok(())
    }

    fn cells(&mut self, cells: [&str; 7]) -> Result<(), WorkbookError> {
        let mut lines = 1;
        for ((column, text), width) in (0_u16..).zip(cells).zip(WIDTHS) {
            lines = lines.max(lines_of(text, width));
            if text.is_empty() && column >= PRINTED {
                continue;
            }
            self.sheet.write_string_with_format(self.row, column, cell_text(text), &self.setup.styles.boxed_wrapped)?;
        }
        self.sheet.set_row_height(self.row, height_of(lines))?;
        self.row += 1;
        Ok(())
    }

    fn policy(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        // Repeated over every page, those of rules among them.
        self.headers([
            "Policy value (name in formulas), rule",
            "Value, severity",
            "Unit, subject",
            "Meaning, looks for",
            "Source, basis",
            "A change here",
            "",
        ])?;
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
        self.cells([&row.name, value, row.unit, &row.meaning, row.source, row.answers, ""])?;
        if let Setting::Number(number) = row.value {
            let long = self.setup.styles.boxed_number(Digits::Whole);
            let format = if number >= LONG { &long } else { format };
            self.sheet.write_number_with_format(at, 1, number, format)?;
        }
        Ok(())
    }

    /// Severities that the policy changes.
    fn severities(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        for (code, severity) in &audit.plant.policy.rules {
            let word = severity.map_or("off", Severity::word);
            self.cells([&format!("rule {code}"), word, "", "Severity set by the policy", "policy", NEW_RUN, ""])?;
        }
        self.row += 1;
        Ok(())
    }

    fn formulas(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        self.headers(["Formula", "", "In SI", "In symbols", "Source", "Symbols and validity", ""])?;
        for formula in formulas(audit) {
            let holds = format!("{}. Validity: {}.", formula.symbols, formula.validity);
            self.cells([formula.figure, "", formula.unit, formula.formula, formula.source, &holds, ""])?;
        }
        self.row += 1;
        Ok(())
    }

    fn rules(&mut self, audit: &Audit, places: &Places) -> Result<(), WorkbookError> {
        self.headers([
            "Rule",
            "Severity",
            "Subject",
            "Looks for",
            "Basis",
            "Why it matters; what usually puts it right",
            "Name",
        ])?;
        debug_assert_eq!(self.row, first_rule_row(audit));
        for rule in CATALOGUE {
            self.rule(audit, places, rule)?;
        }
        self.row += 1;
        Ok(())
    }

    fn rule(&mut self, audit: &Audit, places: &Places, rule: &Rule) -> Result<(), WorkbookError> {
        let at = self.row;
        let severity = audit.plant.policy.severity(rule.code, rule.severity).map_or("off", Severity::word);
        let title = format!("{} {}", rule.code, rule.title);
        self.cells([
            &title,
            severity,
            rule.subject.word(),
            rule.looks_for,
            rule.basis,
            &format!("{} {}", rule.why, rule.remedy),
            rule.name,
        ])?;
        if let Some(finding) = places.first_of_rule(rule.code) {
            let url = Url::new(format!("internal:{}", finding.cell())).set_text(finding.words());
            self.sheet.write_url_with_format(at, LINK, &url, &self.setup.styles.text)?;
        }
        Ok(())
    }

    /// A block of sentences, each in the widest column.
    fn sentences(&mut self, title: &str, sentences: &[&str]) -> Result<(), WorkbookError> {
        self.headers([title, "", "", "", "", "", ""])?;
        for (number, sentence) in sentences.iter().enumerate() {
            self.cells([&format!("{title} {}", number + 1), "", "", sentence, "", "", ""])?;
        }
        self.row += 1;
        Ok(())
    }
}
