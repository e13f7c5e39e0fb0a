//! The workbook: one sheet for each question that a reader asks.

pub(crate) mod basis;
pub mod calculation;
mod causes;
mod chain;
mod changes;
mod charts;
pub(crate) mod circuits;
mod due;
mod findings;
mod formulas;
pub(crate) mod grid;
mod holding;
mod input;
mod like_changes;
mod lines;
mod places;
mod purchase;
mod remedies;
pub(crate) mod requests;
pub mod safe_text;
mod sources;
pub mod style;
mod summary;
mod sureness;
pub(crate) mod theme;
pub mod units;
pub(crate) mod widths;

use std::collections::BTreeSet;
use std::io::{Seek, Write};

use chrono::Datelike;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Workbook, Worksheet, XlsxError};

use crate::audit::outcome::Audit;
use crate::physics::unit::UnitSystem;
use crate::report::whole_file::WRITTEN_BY;

use places::Places;
use safe_text::cell_text;
use style::Styles;
use units::Units;
use widths::Widths;

/// Points of a row with one line of text.
pub const ROW_HEIGHT: f64 = 13.5;

/// Inches left and right of a printed page.
const MARGIN: f64 = 0.35;
/// Inches above and below it.
const MARGIN_TOP: f64 = 0.4;
const MARGIN_BOTTOM: f64 = 0.55;

/// Page breaks that a sheet may have are 1,023; pages beyond are cut where they are full.
pub const SHEET_BREAKS: u32 = 1000;
/// Rows of a sheet.
pub const SHEET_ROWS: u32 = 1_048_576;

/// What a workbook is, as its title says. The mail takes the report alone.
pub const REPORT: &str = "Clamping audit";
const FOR_THE_BUYER: &str = "Workbook for the buyer";
pub(crate) const CARDS: &str = "Load cards";
const CALCULATION: &str = "Calculation of one circuit";

/// Which sheets are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Sheets {
    #[default]
    All,
    /// Summary of buying, Purchase, Findings of the purchasing rules, Sources, a request for quotation for each supplier;
    /// one page wide.
    Purchase,
}

/// The paper that pages are laid out for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    A4,
    Letter,
}

impl Paper {
    /// What a unit system's readers print on.
    #[must_use]
    pub const fn usual(system: UnitSystem) -> Self {
        match system {
            UnitSystem::Metric => Self::A4,
            UnitSystem::Us => Self::Letter,
        }
    }

    /// Pixels (1/96 inch) between the margins of a page on its side.
    #[must_use]
    pub fn pixels_across(self) -> f64 {
        let inches = match self {
            Self::A4 => 297.0 / 25.4,
            Self::Letter => 11.0,
        };
        (inches - 2.0 * MARGIN) * 96.0
    }

    /// Points between the margins of a page on end.
    #[must_use]
    pub fn points_down(self) -> f64 {
        let inches = match self {
            Self::A4 => 297.0 / 25.4,
            Self::Letter => 11.0,
        };
        (inches - MARGIN_TOP - MARGIN_BOTTOM) * 72.0
    }

    /// Its number in the file format.
    #[must_use]
    pub const fn number(self) -> u8 {
        match self {
            Self::A4 => 9,
            Self::Letter => 1,
        }
    }
}

/// How the workbook is written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WorkbookOptions {
    pub only: Sheets,
    /// `None`: as usual for the unit system.
    pub paper: Option<Paper>,
    /// The author property.
    pub author: String,
    /// The run's id, for the properties and the foot of each page.
    pub run: String,
    /// Whether remedies were searched: where none was found, Sources says so.
    pub remedies_searched: bool,
    /// Rows after which a table goes on on another sheet.
    pub row_limit: u32,
    /// 0 to 9.
    pub compression: u8,
}

impl Default for WorkbookOptions {
    fn default() -> Self {
        Self {
            only: Sheets::All,
            paper: None,
            author: "clampbook".to_owned(),
            run: String::new(),
            remedies_searched: false,
            row_limit: SHEET_ROWS,
            compression: 3,
        }
    }
}

/// Why a workbook can't be written.
#[derive(Debug, thiserror::Error)]
pub enum WorkbookError {
    #[error("The workbook can't be written: {0}.")]
    Format(#[from] XlsxError),
    #[error("The workbook can't be written: {0}.")]
    File(#[from] std::io::Error),
}

/// What every sheet is made with.
pub struct Setup<'a> {
    pub styles: &'a Styles,
    pub units: Units,
    pub paper: Paper,
    pub row_limit: u32,
    pub widths: Widths,
    pub date: String,
    /// Date, run and plants, for the footer of each page.
    pub of_run: String,
}

/// Letters of a footer that the plants' names may take; the file format has 255 for all of it.
const PLANTS_IN_FOOTER: usize = 120;

/// A text for a footer: what is a sign of its own there is written twice, and what is too long ends in dots.
#[must_use]
pub(crate) fn footer_text(text: &str, most: usize) -> String {
    let text = cell_text(text).replace('&', "&&");
    if text.encode_utf16().count() <= most {
        return text;
    }
    let mut short: String = text.chars().take(most / 2).collect();
    if short.ends_with('&') && !short.ends_with("&&") {
        short.pop();
    }
    short + "…"
}

/// The plants that a workbook is about, and where they have no names nothing.
fn plants(audit: &Audit) -> String {
    let names: BTreeSet<&str> = audit.circuits.iter().map(|circuit| circuit.circuit.key.plant.as_str()).collect();
    names.into_iter().filter(|name| !name.is_empty()).collect::<Vec<_>>().join(", ")
}

impl<'a> Setup<'a> {
    /// As the policy and the options want it.
    #[must_use]
    pub fn of(audit: &Audit, options: &WorkbookOptions, styles: &'a Styles) -> Self {
        let policy = &audit.plant.policy;
        let date = policy.date.format("%Y-%m-%d").to_string();
        let run = if options.run.is_empty() { String::new() } else { format!(", run {}", options.run) };
        let plants = footer_text(&plants(audit), PLANTS_IN_FOOTER);
        let plants = if plants.is_empty() { plants } else { format!(", {plants}") };
        Self {
            of_run: format!("{date}{run}{plants}"),
            styles,
            units: Units { system: policy.units },
            paper: options.paper.unwrap_or(Paper::usual(policy.units)),
            row_limit: options.row_limit.clamp(grid::FIRST_ROW + 1, SHEET_ROWS),
            widths: Widths::of(audit),
            date,
        }
    }

    /// A sheet with paper, margins and footer.
    ///
    /// # Errors
    ///
    /// Where the library refuses the name.
    pub fn sheet(&self, name: &str) -> Result<Worksheet, WorkbookError> {
        let mut sheet = Worksheet::new();
        sheet.set_default_format(&self.styles.base, 17, 64)?;
        // Stated, so that every program gives rows, and the charts beside them, the same height.
        sheet.set_default_row_height(ROW_HEIGHT);
        sheet.set_name(name)?;
        // Else an empty text would be kept as 0.
        sheet.set_formula_result_default("");
        sheet.set_paper_size(self.paper.number());
        sheet.set_margins(MARGIN, MARGIN, MARGIN_TOP, MARGIN_BOTTOM, 0.3, 0.25);
        sheet.set_footer(format!("&L&A, {}&RPage &P of &N", self.of_run));
        Ok(sheet)
    }
}

/// Writes the workbook of an audit.
///
/// # Errors
///
/// Where the file can't be written.
pub fn write(audit: &Audit, options: &WorkbookOptions, out: impl Write + Seek + Send) -> Result<(), WorkbookError> {
    let styles = Styles::new();
    let setup = Setup::of(audit, options, &styles);
    let title = if options.only == Sheets::Purchase { FOR_THE_BUYER } else { REPORT };
    let mut workbook = empty(audit, options, &setup, title)?;
    for sheet in sheets(audit, options, &setup)? {
        workbook.push_worksheet(sheet);
    }
    if options.only == Sheets::All {
        basis::define_names(&mut workbook, audit)?;
    }
    workbook.save_to_writer(out)?;
    Ok(())
}

/// A workbook with everything but sheets.
pub(crate) fn empty(
    audit: &Audit,
    options: &WorkbookOptions,
    setup: &Setup,
    title: &str,
) -> Result<Workbook, WorkbookError> {
    let mut workbook = Workbook::new();
    workbook.set_zip_compression_level(options.compression);
    workbook.set_default_format(&setup.styles.base, 17, 64)?;
    theme::apply(&mut workbook)?;
    let date = audit.plant.policy.date;
    let created = ExcelDateTime::from_ymd(
        u16::try_from(date.year().clamp(1900, 9999)).unwrap_or(1900),
        u8::try_from(date.month()).unwrap_or(1),
        u8::try_from(date.day()).unwrap_or(1),
    )?;
    let properties = DocProperties::new()
        .set_title(format!("{title} {}", setup.date))
        .set_subject("Trapped-pressure clamping circuits")
        .set_author(options.author.as_str())
        .set_comment(format!("{WRITTEN_BY}{}, run {}", env!("CARGO_PKG_VERSION"), options.run))
        .set_creation_datetime(&created);
    workbook.set_properties(&properties);
    Ok(workbook)
}

type Written = Result<Vec<Worksheet>, WorkbookError>;
type Job<'a> = Box<dyn Fn() -> Written + Send + Sync + 'a>;

/// All sheets in their order, written side by side.
fn sheets(audit: &Audit, options: &WorkbookOptions, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    use rayon::prelude::*;
    let places = Places::of(audit, setup.row_limit, options.only, basis::first_rule_row(audit));
    let jobs = jobs(audit, options, setup, &places);
    let written: Vec<Written> = jobs.par_iter().with_max_len(1).map(|job| job()).collect();
    let mut all = Vec::new();
    for sheets in written {
        all.append(&mut sheets?);
    }
    Ok(all)
}

fn jobs<'a>(audit: &'a Audit, options: &'a WorkbookOptions, setup: &'a Setup, places: &'a Places) -> Vec<Job<'a>> {
    let mut jobs: Vec<Job<'a>> = vec![Box::new(move || summary::write(audit, options.only, setup, places))];
    if options.only == Sheets::Purchase {
        jobs.push(Box::new(move || purchase::write(audit, setup)));
        jobs.push(Box::new(move || findings::write(audit, options.only, setup, places)));
        jobs.push(Box::new(move || sources::write(audit, setup, &[])));
        // Last: they begin at page 1, each by itself, and what followed would go on from there.
        jobs.push(Box::new(move || requests::write(audit, setup)));
        return jobs;
    }
    let empty = empty_ones(audit, options);
    let has = |name: &str| !empty.contains(&name);
    if has("Causes") {
        jobs.push(Box::new(move || causes::write(audit, setup, places)));
    }
    jobs.push(Box::new(move || findings::write(audit, options.only, setup, places)));
    jobs.push(Box::new(move || circuits::write(audit, setup, places)));
    jobs.push(Box::new(move || chain::write(audit, setup)));
    jobs.push(Box::new(move || holding::write(audit, setup)));
    jobs.push(Box::new(move || lines::write(audit, setup, places)));
    if audit.counts.sure.is_some() {
        jobs.push(Box::new(move || sureness::write(audit, setup)));
    }
    jobs.push(Box::new(move || purchase::write(audit, setup)));
    if has("Due") {
        jobs.push(Box::new(move || due::write(audit, setup)));
    }
    if !audit.remedies.is_empty() {
        jobs.push(Box::new(move || remedies::write(audit, setup, places)));
    }
    if audit.has_previous {
        jobs.push(Box::new(move || changes::write(audit, setup, places)));
    }
    if has("Input") {
        jobs.push(Box::new(move || input::write(audit, setup)));
    }
    jobs.push(Box::new(move || basis::write(audit, setup, places)));
    jobs.push(Box::new(move || sources::write(audit, setup, &empty)));
    jobs
}

/// Sheets on which nothing would stand: they are left out, and Sources says so.
fn empty_ones(audit: &Audit, options: &WorkbookOptions) -> Vec<&'static str> {
    let of = [
        ("Causes", audit.counts.causes.in_order().is_empty()),
        ("Due", audit.due.is_empty()),
        ("Remedies", options.remedies_searched && audit.remedies.is_empty()),
        ("Input", audit.plant.notes.is_empty()),
    ];
    of.into_iter().filter(|(_, is_empty)| *is_empty).map(|(name, _)| name).collect()
}
