//! Summary: one printed page for the reader who reads one.

mod buying;
mod counts;
mod graphs;

use rust_xlsxwriter::{Format, Worksheet};

use crate::audit::outcome::Audit;
use crate::report::buying_words;
use crate::report::cautions::{BUYING_CAUTIONS, CAUTIONS};
use crate::rules::catalogue;
use crate::rules::relaxed::Relaxed;
use crate::tables::counted::counted;
use crate::tables::words::{State, Verdict};

use super::findings::{reason, title};
use super::grid::height_of;
use super::safe_text::cell_text;
use super::style::{Digits, lines_of};
use super::{Setup, Sheets, WorkbookError};

use counts::{PalletOverview, families, pallets, worst};
use graphs::Graphs;

const WIDTHS: [f64; 10] = [13.0, 38.0, 8.5, 8.5, 8.5, 8.5, 8.5, 8.5, 8.5, 8.5];
/// The column that sentences break in.
const SENTENCE: usize = 1;
/// Pallets that have a row of their own.
const PALLETS: usize = 14;
/// Circuits named as worst, and as not assessed.
const NAMED: usize = 5;
/// New findings that are named.
const NEW_NAMED: usize = 8;
/// First column of the history, right of the printed page.
const HISTORY: u16 = 11;
/// Runs of the history that are shown.
const RUNS: usize = 36;
/// Points of a row as it comes.
const PLAIN_ROW: f64 = super::ROW_HEIGHT;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, only: Sheets, setup: &Setup) -> Result<Vec<Worksheet>, WorkbookError> {
    let mut sheet = setup.sheet("Summary")?;
    let widths = if only == Sheets::All { WIDTHS } else { buying::WIDTHS };
    for (column, width) in (0_u16..).zip(widths) {
        sheet.set_column_width(column, width)?;
    }
    sheet.set_portrait();
    sheet.set_print_fit_to_pages(1, 1);
    let mut page = Page { sheet, setup, widths, row: 0, points: 0.0 };
    page.sheet.set_row_height(0, 20)?;
    let (what, cautions) = match only {
        Sheets::All => ("Clamping audit", CAUTIONS),
        Sheets::Purchase => ("Buying for clamping circuits", BUYING_CAUTIONS),
    };
    page.line(&format!("{what} {}", setup.date), &setup.styles.title)?;
    match only {
        Sheets::All => page.whole(audit)?,
        Sheets::Purchase => page.purchase(audit)?,
    }
    page.sentences("Cautions", numbered(cautions))?;
    let last = page.row.max(1) - 1;
    let mut sheet = page.sheet;
    sheet.set_print_area(0, 0, last, HISTORY - 2)?;
    Ok(vec![sheet])
}

/// The page, with the row that is written next and the height since a mark.
struct Page<'a> {
    sheet: Worksheet,
    setup: &'a Setup<'a>,
    widths: [f64; 10],
    row: u32,
    points: f64,
}

impl Page<'_> {
    fn advance(&mut self, height: f64) {
        self.row += 1;
        self.points += height;
    }

    fn line(&mut self, text: &str, format: &Format) -> Result<(), WorkbookError> {
        self.sheet.write_string_with_format(self.row, 0, cell_text(text), format)?;
        self.advance(PLAIN_ROW);
        Ok(())
    }

    fn headers(&mut self, headers: &[&str]) -> Result<(), WorkbookError> {
        let mut lines = 1;
        for ((column, header), width) in (0_u16..).zip(headers).zip(self.widths) {
            lines = lines.max(lines_of(header, width));
            self.sheet.write_string_with_format(self.row, column, *header, &self.setup.styles.header)?;
        }
        let height = height_of(lines);
        self.sheet.set_row_height(self.row, height)?;
        self.advance(height);
        Ok(())
    }

    /// A heading and rows of a short word and a sentence.
    fn sentences(&mut self, heading: &str, rows: impl Iterator<Item = (String, String)>) -> Result<(), WorkbookError> {
        let mut rows = rows.peekable();
        if rows.peek().is_none() {
            return Ok(());
        }
        self.headers(&[heading, ""])?;
        for (word, sentence) in rows {
            let height = height_of(lines_of(&sentence, self.widths[SENTENCE]).max(lines_of(&word, self.widths[0])));
            let styles = self.setup.styles;
            self.sheet.write_string_with_format(self.row, 0, cell_text(&word), &styles.boxed_wrapped)?;
            self.sheet.write_string_with_format(self.row, 1, cell_text(&sentence), &styles.boxed_wrapped)?;
            self.sheet.set_row_height(self.row, height)?;
            self.advance(height);
        }
        self.advance(PLAIN_ROW);
        Ok(())
    }

    fn whole(&mut self, audit: &Audit) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        self.line(&verdict_in_words(audit), &styles.bold)?;
        if let Some(sentence) = Relaxed::of(&audit.plant.policy).sentence() {
            self.line(&sentence, &styles.bold)?;
        }
        self.line(&buying_words::verdict(audit), &styles.text)?;
        self.line(&lines_in_words(audit), &styles.text)?;
        for line in sureness_in_words(audit) {
            self.line(&line, &styles.text)?;
        }
        if audit.has_previous {
            self.line(&changes_in_words(audit), &styles.bold)?;
        }
        self.line(
            "The figures of this page are those of the run. Circuits answers at once when a limit on Basis is changed.",
            &styles.note,
        )?;
        self.advance(PLAIN_ROW);
        let mut graphs = Graphs::new(audit);
        graphs.pallets = self.pallets(audit)?;
        graphs.families = self.families(audit)?;
        graphs.runs = self.history(audit)?;
        self.points = 0.0;
        let first = self.row;
        self.sentences("Worst circuits", worst_in_words(audit))?;
        self.sentences("New", new_in_words(audit))?;
        self.sentences("Not assessed", unassessed_in_words(audit))?;
        let height = graphs.insert(&mut self.sheet, first)?;
        while self.points < height {
            self.advance(PLAIN_ROW);
        }
        Ok(())
    }

    /// A row of a table: two words, then numbers; those from `decimals_from` on with decimals.
    fn cells(&mut self, one: &str, two: &str, numbers: &[Option<f64>], decimals: usize) -> Result<(), WorkbookError> {
        let styles = self.setup.styles;
        self.sheet.write_string_with_format(self.row, 0, cell_text(one), &styles.boxed)?;
        self.sheet.write_string_with_format(self.row, 1, cell_text(two), &styles.boxed)?;
        let whole = numbers.len() - decimals;
        for ((index, column), number) in (0_usize..).zip(2_u16..).zip(numbers) {
            let format = styles.boxed_number(if index < whole { Digits::Whole } else { Digits::Three });
            match number {
                Some(number) => self.sheet.write_number_with_format(self.row, column, *number, &format)?,
                None => self.sheet.write_blank(self.row, column, &format)?,
            };
        }
        self.advance(PLAIN_ROW);
        Ok(())
    }

    /// The table of pallets; its rows, for the chart.
    fn pallets(&mut self, audit: &Audit) -> Result<(u32, u32), WorkbookError> {
        self.headers(&[
            "Plant",
            "Pallet",
            "Circuits",
            "Do not conform",
            "Not assessed",
            "With waivers",
            "Conform",
            "Majors",
            "Highest fill",
            "Fill limit",
        ])?;
        let all = pallets(audit);
        let limit = audit.plant.policy.limits.fill;
        let first = self.row;
        for ((plant, pallet), counts) in all.iter().take(PALLETS) {
            self.cells(plant, pallet, &pallet_numbers(counts, Some(limit)), 2)?;
        }
        let last = self.row;
        let mut rest = PalletOverview::default();
        all.iter().skip(PALLETS).for_each(|(_, counts)| rest.merge(counts));
        let mut total = rest.clone();
        all.iter().take(PALLETS).for_each(|(_, counts)| total.merge(counts));
        if all.len() > PALLETS {
            let words = format!("{} further pallets, see Circuits", all.len() - PALLETS);
            self.cells("", &words, &pallet_numbers(&rest, None), 2)?;
        }
        let elsewhere = u32::try_from(audit.counts.findings.majors).unwrap_or(u32::MAX).saturating_sub(total.majors);
        if elsewhere > 0 {
            let majors = [None, None, None, None, None, Some(f64::from(elsewhere))];
            self.cells("", "Load stations, parts and lines without a circuit", &majors, 0)?;
            total.majors += elsewhere;
        }
        self.cells("All", "", &pallet_numbers(&total, None), 2)?;
        self.advance(PLAIN_ROW);
        Ok((first, last))
    }

    fn families(&mut self, audit: &Audit) -> Result<(u32, u32), WorkbookError> {
        self.headers(&["Rules", "Findings by rule family", "Majors", "Minors", "Obser- vations", "Waived"])?;
        let first = self.row;
        for (letter, name, counts) in families(audit) {
            let numbers = counts.map(|count| Some(f64::from(count)));
            self.cells(&letter.to_string(), name, &numbers, 0)?;
        }
        let last = self.row;
        self.advance(PLAIN_ROW);
        Ok((first, last))
    }

    /// The history, right of the printed page, for its chart.
    fn history(&mut self, audit: &Audit) -> Result<(u32, u32), WorkbookError> {
        if audit.history.len() < 2 {
            return Ok((0, 0));
        }
        let styles = self.setup.styles;
        for (column, header) in (HISTORY..).zip(["Run", "Circuits", "Conforming", "Majors", "Minors", "Not assessed"]) {
            self.sheet.set_column_width(column, 12)?;
            self.sheet.write_string_with_format(0, column, header, &styles.header)?;
        }
        let runs = &audit.history[audit.history.len().saturating_sub(RUNS)..];
        let mut row = 1;
        for run in runs {
            self.sheet.write_string(row, HISTORY, cell_text(&run.date))?;
            let counts = [run.circuits, run.conforming, run.majors, run.minors, run.not_assessed];
            for (column, count) in (HISTORY + 1..).zip(counts) {
                #[allow(clippy::cast_precision_loss, reason = "a count of circuits is far below 2^53")]
                self.sheet.write_number(row, column, count as f64)?;
            }
            row += 1;
        }
        Ok((1, row))
    }
}

fn pallet_numbers(counts: &PalletOverview, limit: Option<f64>) -> [Option<f64>; 8] {
    let count = |number: u32| Some(f64::from(number));
    [
        count(counts.circuits),
        count(counts.of(Verdict::DoesNotConform)),
        count(counts.of(Verdict::NotAssessed)),
        count(counts.of(Verdict::ConformsWithWaivers)),
        count(counts.of(Verdict::Conforms)),
        count(counts.majors),
        counts.fill,
        limit,
    ]
}

fn numbered(sentences: &[&str]) -> impl Iterator<Item = (String, String)> {
    (1..).zip(sentences).map(|(number, sentence)| (number.to_string(), (*sentence).to_owned()))
}

fn verdict_in_words(audit: &Audit) -> String {
    let (circuits, findings) = (&audit.counts.circuits, &audit.counts.findings);
    let all = audit.counts.all_findings();
    format!(
        "{} circuits: {} do not conform, {} not assessed, {} conform with waivers, {} conform. {}, {}, {}, {} waived.",
        circuits.total,
        circuits.does_not_conform,
        circuits.not_assessed,
        circuits.conforms_with_waivers,
        circuits.conforms,
        counted(findings.majors, "major"),
        counted(findings.minors, "minor"),
        counted(all.observations, "observation"),
        all.waived
    )
}

fn lines_in_words(audit: &Audit) -> String {
    let counts = &audit.counts;
    let of_waivers = counts.waivers.majors + counts.waivers.minors;
    let waivers = if of_waivers > 0 { format!(" Waivers: {of_waivers} expired or incomplete.") } else { String::new() };
    let left_out = if audit.listed_left_out > 0 {
        format!(" Lines shows only lines with remarks, {} are left out.", audit.listed_left_out)
    } else {
        String::new()
    };
    format!(
        "{} lines read, {} set aside, {} checked.{waivers}{left_out}",
        counts.lines_read,
        counts.lines_set_aside,
        counts.lines_read.saturating_sub(counts.lines_set_aside)
    )
}

/// How many verdicts are narrow, and what to measure first.
fn sureness_in_words(audit: &Audit) -> Vec<String> {
    let Some(counts) = &audit.counts.sure else { return Vec::new() };
    let (counts, advice) = counts.summary().in_words();
    std::iter::once(counts).chain(advice).collect()
}

fn changes_in_words(audit: &Audit) -> String {
    let changes = &audit.counts.changes;
    format!("Since the previous run: {} new, {} standing, {} cleared.", changes.new, changes.standing, changes.cleared)
}

fn worst_in_words(audit: &Audit) -> impl Iterator<Item = (String, String)> {
    worst(audit, NAMED).into_iter().map(|(circuit, finding)| {
        let word = format!("{} {}", finding.rule, finding.severity.word());
        let what = title(catalogue::rule(finding.rule));
        (word, format!("{}: {what}. {}", circuit.circuit.key, reason(audit, finding)))
    })
}

fn new_in_words(audit: &Audit) -> impl Iterator<Item = (String, String)> {
    let new = |finding: &&crate::tables::finding::Finding| finding.state == State::New;
    let count = audit.findings().filter(new).count();
    let mut findings: Vec<_> = audit.findings().filter(new).collect();
    findings.sort_by_key(|finding| finding.severity);
    let more = (count > NEW_NAMED).then(|| (String::new(), format!("and {} more, see Changes", count - NEW_NAMED)));
    let named = findings.into_iter().take(NEW_NAMED).map(|finding| {
        let what = title(catalogue::rule(finding.rule));
        let place = finding.place.to_string();
        let words = [place.as_str(), &finding.position, &finding.part_no];
        let place: Vec<&str> = words.into_iter().filter(|word| !word.is_empty()).collect();
        (format!("{} {}", finding.rule, finding.severity.word()), format!("{what}: {}", place.join(", ")))
    });
    named.chain(more)
}

fn unassessed_in_words(audit: &Audit) -> impl Iterator<Item = (String, String)> {
    let with_gaps = || audit.circuits.iter().filter(|circuit| !circuit.not_assessed.is_empty());
    let count = with_gaps().count();
    let more = (count > NAMED).then(|| (String::new(), format!("and {} more circuits, see Circuits", count - NAMED)));
    let named = with_gaps().take(NAMED).map(|circuit| {
        let codes: Vec<&str> = circuit.not_assessed.iter().map(|gap| gap.rule).collect();
        let mut reasons: Vec<&str> = circuit.not_assessed.iter().map(|gap| gap.because.as_str()).collect();
        reasons.sort_unstable();
        reasons.dedup();
        reasons.truncate(3);
        (codes.join(" "), format!("{}: {}", circuit.circuit.key, reasons.join("; ")))
    });
    named.chain(more)
}
