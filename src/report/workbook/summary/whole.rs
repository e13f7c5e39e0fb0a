//! Summary of the whole audit: what is unsafe, what changed, pallet by pallet, on one page.

use rust_xlsxwriter::Url;

use crate::audit::counts::{VerdictCounts, coverage_in_words};
use crate::audit::outcome::Audit;
use crate::audit::settling::settles_most;
use crate::circuit::audited::CircuitAudit;
use crate::report::buying_words;
use crate::report::cautions::CAUTIONS;
use crate::report::workbook::findings::{place_in_words, reason, title};
use crate::report::workbook::grid::{LINK_WIDTH, Target};
use crate::report::workbook::places::Places;
use crate::report::workbook::safe_text::cell_text;
use crate::report::workbook::style::broken;
use crate::report::workbook::{Paper, WorkbookError};
use crate::rules::catalogue;
use crate::rules::relaxed::Relaxed;
use crate::tables::counted::{conforming, counted, failing};
use crate::tables::figures::Figure;
use crate::tables::finding::Finding;
use crate::tables::shown::capitalised;
use crate::tables::words::{Side, State, Verdict};

use super::counts::{self, PalletOverview, families, pallets};
use super::graphs::{self, Graphs};
use super::{FAMILIES, FILLS, HISTORY, LAST_PRINTED, LINKS, PLAIN_ROW, Page, WIDTHS, words_height};

/// Pallets that have a row of their own, as far as the page has room.
const PALLETS: std::ops::RangeInclusive<usize> = 3..=14;
/// Circuits named as unsafe, and as not assessed; new findings that are named.
const UNSAFE: usize = 6;
const FEWEST: usize = 1;
const UNASSESSED: usize = 2;
const MOST_UNASSESSED: usize = 14;
/// Columns whose cells would settle circuits that are not named.
const COLUMNS: usize = 3;
const NEW: usize = 5;
/// Lines of a sentence; what is longer is on Findings.
const LINES: usize = 2;
/// Runs of the history that are shown.
const RUNS: usize = 36;
/// Points of the title's row, and rows of the table of pallets beside those of pallets: two of headers, two of totals.
const TITLE: f64 = 20.0;
const OTHER_ROWS: f64 = 5.0;
/// Pallets of the chart of fills, and the counts of a family that its chart draws: majors and minors.
const FULLEST: usize = 10;
const DRAWN: usize = 4;
/// Months below the trend.
const DATED: usize = 6;
/// From the month on they are drawn, circuits and those that conform left out.
const COLUMNS_OF_HISTORY: [&str; 8] =
    ["Run", "Month", "Circuits", "Conforming", "Majors", "Do not conform", "Not assessed", "Minors"];
/// Height of the headers of the table of pallets.
const HEADERS: f64 = 40.0;

/// A heading with sentences, each with a word before it.
struct Section {
    heading: String,
    /// Column in which the sentences begin.
    from: u16,
    rows: Vec<Entry>,
}

struct Entry {
    word: String,
    lines: Vec<String>,
    circuit: Option<Target>,
    finding: Option<Target>,
}

impl Section {
    fn height(&self) -> f64 {
        if self.rows.is_empty() {
            return 0.0;
        }
        let lines: usize = self.rows.iter().map(|row| row.lines.len()).sum();
        #[allow(clippy::cast_precision_loss, reason = "a few rows")]
        let rows = (lines + 2) as f64;
        rows * PLAIN_ROW
    }
}

/// Digits across the columns right of the first.
fn room() -> f64 {
    let edges = 5.0 / 7.0;
    WIDTHS.iter().skip(1).map(|width| width + edges).sum::<f64>() - 2.0
}

/// A sentence in lines; what is too long is cut at a word.
fn lines(sentence: &str, room: f64, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = broken(sentence, room).into_iter().map(str::to_owned).collect();
    if lines.len() > most {
        lines.truncate(most);
        if let Some(last) = lines.last_mut() {
            let end = last.rfind(' ').unwrap_or(last.len());
            last.truncate(end);
            last.push_str(" ...");
        }
    }
    lines
}

/// Writes the page.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(page: &mut Page, audit: &Audit, places: &Places) -> Result<(), WorkbookError> {
    let [few, cautions] = [unassessed(audit, places, UNASSESSED), cautions()];
    let head: Vec<(String, bool)> = head(audit).into_iter().flat_map(on_page).collect();
    #[allow(clippy::cast_precision_loss, reason = "a few rows")]
    let fixed = TITLE
        + (head.len() + 1) as f64 * PLAIN_ROW
        + HEADERS
        + OTHER_ROWS * PLAIN_ROW
        + graphs::height(audit)
        + PLAIN_ROW
        + few.height()
        + cautions.height();
    let room = points_down(page.setup.paper) - fixed;
    // Where there is much to tell, fewer are named: a smaller print would be none.
    let named =
        |unsafe_ones: usize| [unsafe_in_service(audit, places, unsafe_ones), new_ones(audit, places, unsafe_ones)];
    // As high as the longest names of a pallet need it.
    let heights = pallets(audit).into_iter().map(|((plant, pallet), _)| words_height(plant, pallet, WIDTHS));
    let row = heights.fold(PLAIN_ROW, f64::max);
    let rows = |first: &[Section; 2]| (room - first.iter().map(Section::height).sum::<f64>()) / row;
    #[allow(clippy::cast_precision_loss, reason = "a few rows")]
    let least = *PALLETS.start() as f64;
    let number = (FEWEST..=UNSAFE).rev().find(|number| rows(&named(*number)) >= least).unwrap_or(FEWEST);
    let first = named(number);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few rows")]
    let most = rows(&first).max(0.0) as usize;
    let most = most.clamp(*PALLETS.start(), *PALLETS.end());
    // What is left of the page is for what could not be assessed.
    #[allow(clippy::cast_precision_loss, reason = "a few rows")]
    let pallets = most.min(pallets(audit).len()) as f64 * row;
    let left = room - first.iter().map(Section::height).sum::<f64>() - pallets + few.height();
    let mut more = (UNASSESSED..=MOST_UNASSESSED).rev().map(|number| unassessed(audit, places, number));
    let last = [more.find(|section| section.height() <= left).unwrap_or(few), cautions];
    for (text, is_bold) in &head {
        let styles = page.setup.styles;
        page.line(text, if *is_bold { &styles.bold } else { &styles.text })?;
    }
    page.advance(PLAIN_ROW);
    for section in &first {
        page.section(section)?;
    }
    page.sheet.set_column_width(LINKS, LINK_WIDTH)?;
    page.sheet.set_column_width(LINKS + 1, LINK_WIDTH)?;
    let mut graphs = Graphs::new(audit);
    page.pallets(audit, places, most)?;
    (graphs.pallets, graphs.with_fill) = page.fills(audit)?;
    graphs.families = page.families(audit)?;
    graphs.runs = page.history(audit)?;
    let height = graphs.insert(&mut page.sheet, page.row)?;
    let end = page.points + height;
    while page.points < end {
        page.advance(PLAIN_ROW);
    }
    for section in &last {
        page.section(section)?;
    }
    Ok(())
}

/// A sentence of the head in lines that the page is wide enough for; bold letters are wider.
fn on_page((sentence, is_bold): (String, bool)) -> Vec<(String, bool)> {
    const BOLD: f64 = 0.9;
    let width = room() + WIDTHS[0];
    let width = if is_bold { width * BOLD } else { width };
    lines(&sentence, width, usize::MAX).into_iter().map(|line| (line, is_bold)).collect()
}

/// Points down a page on end at the smallest print, with a little to spare for the rounding of the scale.
fn points_down(paper: Paper) -> f64 {
    let inches = match paper {
        Paper::A4 => 297.0 / 25.4,
        Paper::Letter => 11.0,
    };
    (inches - 0.95) * 72.0 / 0.815
}

fn head(audit: &Audit) -> Vec<(String, bool)> {
    let counts = &audit.counts;
    let planned = counts.planned();
    let mut lines = vec![(verdicts("In service", &counts.in_service), true)];
    if !counts.may_be_in_service.is_empty() {
        lines.push((verdicts("In service or planned, which can't be read", &counts.may_be_in_service), true));
    }
    if planned.total > 0 {
        lines.push((verdicts("Planned", &planned), true));
    }
    lines.extend(Relaxed::of(&audit.plant.policy).sentence().map(|sentence| (sentence, true)));
    lines.extend(counts.beside.sentences(&audit.plant.policy).into_iter().map(|sentence| (sentence, true)));
    if audit.has_previous {
        lines.push((changes_in_words(audit), true));
    }
    lines.extend(audit.plant.not_read_in_words().into_iter().chain(audit.plant.rests_on()).map(|line| (line, true)));
    lines.extend(coverage_in_words(&counts.coverage).map(|sentence| (sentence, false)));
    lines.push((findings_in_words(audit), false));
    lines.push((buying_words::verdict(audit), false));
    lines.push((lines_in_words(audit), false));
    lines.extend(sureness_in_words(audit).into_iter().map(|line| (line, false)));
    lines
}

fn verdicts(which: &str, circuits: &VerdictCounts) -> String {
    format!(
        "{which}: {}, {}, {} not assessed, {}, {}.",
        counted(circuits.total, "circuit"),
        circuits.failing(),
        circuits.not_assessed,
        conforming(circuits.conforms_with_waivers, " with waivers"),
        conforming(circuits.conforms, "")
    )
}

fn findings_in_words(audit: &Audit) -> String {
    let all = audit.counts.all_findings();
    let [in_service, planned, unknown] = counts::majors_by_service(audit);
    let elsewhere = all.majors.saturating_sub(in_service + planned + unknown);
    let unknown = if unknown > 0 { format!(" {unknown} where that can't be read,") } else { String::new() };
    format!(
        "{}: {in_service} on circuits in service, {planned} on planned ones,{unknown} {elsewhere} on parts, stations, orders and \
         waivers. {}, {}, {} waived.",
        counted(all.majors, "major"),
        counted(all.minors, "minor"),
        counted(all.observations, "observation"),
        all.waived
    )
}

/// How many verdicts are narrow, and what to measure first.
fn sureness_in_words(audit: &Audit) -> Vec<String> {
    let Some(counts) = &audit.counts.sure else { return Vec::new() };
    let (counts, advice) = counts.summary().in_words();
    std::iter::once(counts).chain(advice).collect()
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
        "{} lines read, {} set aside, {} checked.{waivers}{left_out} Circuits answers at once when a limit on Basis is \
         changed.",
        counts.lines_read,
        counts.lines_set_aside,
        counts.lines_read.saturating_sub(counts.lines_set_aside)
    )
}

fn changes_in_words(audit: &Audit) -> String {
    let changes = &audit.counts.changes;
    format!(
        "Since the previous run: {} new ({}), {} standing ({}), {}.",
        changes.new,
        counted(changes.new_majors, "major"),
        changes.standing,
        counted(changes.standing_majors, "major"),
        audit.counts.softened.in_words(changes.cleared)
    )
}

/// Circuits in service that do not conform, each with its gravest finding.
fn unsafe_in_service(audit: &Audit, places: &Places, most: usize) -> Section {
    // Where nothing in service is unsafe, what is planned is told.
    let in_service = audit.counts.in_service.does_not_conform > 0;
    let all = counts::worst(audit, in_service);
    let mut rows: Vec<Entry> = all
        .iter()
        .take(most)
        .map(|(circuit, finding)| {
            let what = title(catalogue::rule(finding.rule));
            let sentence = format!("{}: {what}. {}", circuit.circuit.key, reason(audit, finding));
            Entry {
                word: format!("{} {}", finding.rule, finding.severity.word()),
                finding: places.finding(finding),
                lines: lines(&sentence, room(), LINES),
                circuit: places.circuit(&circuit.circuit.key),
            }
        })
        .collect();
    if all.len() > most {
        rows.push(more(all.len() - most, &rest_in_words(all.len() - most, in_service)));
    }
    let order = "most majors first, each with its gravest finding";
    let heading = if in_service {
        format!("Unsafe in service: {}, {order}", audit.counts.in_service.does_not_conform)
    } else {
        format!("Not in service, {}, {order}", failing(all.len() as u64))
    };
    Section { heading, from: 1, rows }
}

/// `more circuits in service that do not conform, see Findings`.
fn rest_in_words(rest: usize, in_service: bool) -> String {
    let (circuits, verb) = if rest == 1 { ("circuit", "does") } else { ("circuits", "do") };
    let which = if in_service { " in service" } else { "" };
    format!("more {circuits}{which} that {verb} not conform, see Findings")
}

fn more(number: usize, what: &str) -> Entry {
    Entry { word: String::new(), lines: vec![format!("and {number} {what}")], circuit: None, finding: None }
}

fn new_ones(audit: &Audit, places: &Places, most: usize) -> Section {
    let most = most.min(NEW);
    let is_new = |finding: &&&Finding| finding.state == State::New;
    let count = places.findings().iter().filter(is_new).count();
    let mut rows: Vec<Entry> = places
        .findings()
        .iter()
        .filter(is_new)
        .take(most)
        .map(|finding| {
            let side = finding.side.map_or("", Side::word);
            let place = place_in_words(&finding.place.to_string(), side, &finding.position);
            let place =
                [place.as_str(), &finding.part_no].into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>();
            let sentence = format!("{}: {}", title(catalogue::rule(finding.rule)), place.join(", "));
            Entry {
                word: format!("{} {}", finding.rule, finding.severity.word()),
                finding: places.finding(finding),
                lines: lines(&sentence, room(), 1),
                circuit: places.circuit(&finding.place),
            }
        })
        .collect();
    if count > most {
        rows.push(more(count - most, "more, see Changes"));
    }
    Section { heading: format!("New since the previous run: {}", audit.counts.changes.new), from: 1, rows }
}

fn unassessed(audit: &Audit, places: &Places, most: usize) -> Section {
    let mut with_gaps: Vec<&CircuitAudit> =
        audit.circuits.iter().filter(|circuit| !circuit.not_assessed.is_empty()).collect();
    // Those of which nothing else is known to be wrong come first: the gap is their verdict.
    with_gaps.sort_by_key(|circuit| circuit.verdict != Verdict::NotAssessed);
    let count = with_gaps.len();
    let mut rows: Vec<Entry> = with_gaps
        .iter()
        .take(most)
        .map(|circuit| {
            // What figures wait for is one reason, whatever figures they are.
            let mut reasons: Vec<&str> = circuit.not_assessed.iter().map(|gap| Figure::root_of(&gap.because)).collect();
            reasons.sort_unstable();
            reasons.dedup();
            // The cell comes first: a long list of reasons is cut.
            let cell = settles_most(&audit.plant, circuit);
            let cell = cell.map_or_else(String::new, |cell| format!("Settles most: {cell}. "));
            let sentence = format!("{}: {cell}{}", circuit.circuit.key, capitalised(reasons.join("; ")));
            Entry {
                word: counted(circuit.not_assessed.len() as u64, "rule"),
                finding: None,
                lines: lines(&sentence, room(), LINES),
                circuit: places.circuit(&circuit.circuit.key),
            }
        })
        .collect();
    let verdicts = with_gaps.iter().filter(|circuit| circuit.verdict == Verdict::NotAssessed).count();
    if count > most {
        rows.push(more(count - most, "more circuits, see Circuits"));
    }
    if verdicts > most {
        // Those that are not named are told by what would settle them.
        rows.splice(0..0, columns_to_state(audit).take(COLUMNS));
    }
    let others = match count - verdicts {
        0 => "",
        1 => ", the other does not conform as it is",
        _ => ", the others do not conform as they are",
    };
    let heading = format!(
        "Circuits with rules that could not be assessed: {count}; not assessed is the verdict on {verdicts} of them{others}"
    );
    Section { heading, from: 1, rows }
}

/// `30 circuits: circuits.csv, hold_time, rows 2 to 31`, of those whose verdict is that they are not assessed.
fn columns_to_state(audit: &Audit) -> impl Iterator<Item = Entry> + use<'_> {
    let verdicts = audit.counts.missing_first().into_iter().filter(|(_, _, is_verdict)| *is_verdict);
    verdicts.map(|(cell, datum, _)| Entry {
        word: counted(datum.circuits, "circuit"),
        lines: lines(&format!("To be stated: {cell}"), room(), 1),
        circuit: None,
        finding: None,
    })
}

fn cautions() -> Section {
    let entry = |(number, sentence): (usize, &&str)| Entry {
        word: String::new(),
        circuit: None,
        finding: None,
        lines: lines(&format!("{number}. {sentence}"), room() + WIDTHS[0], usize::MAX),
    };
    Section { heading: "Cautions".to_owned(), from: 0, rows: (1..).zip(CAUTIONS).map(entry).collect() }
}

impl Page<'_> {
    /// A link right of the printed page, in the row that is written now.
    fn link(&mut self, offset: u16, target: Option<Target>) -> Result<(), WorkbookError> {
        if let Some(target) = target {
            let url = Url::new(format!("internal:{}", target.cell())).set_text(target.words());
            self.sheet.write_url_with_format(self.row, LINKS + offset, &url, &self.setup.styles.text)?;
        }
        Ok(())
    }

    fn section(&mut self, section: &Section) -> Result<(), WorkbookError> {
        if section.rows.is_empty() {
            return Ok(());
        }
        let styles = self.setup.styles;
        self.sheet.write_string_with_format(self.row, 0, cell_text(&section.heading), &styles.heading)?;
        for column in 1..=LAST_PRINTED {
            self.sheet.write_blank(self.row, column, &styles.heading)?;
        }
        self.advance(PLAIN_ROW);
        for entry in &section.rows {
            self.link(0, entry.circuit)?;
            self.link(1, entry.finding)?;
            if !entry.word.is_empty() {
                self.sheet.write_string_with_format(self.row, 0, cell_text(&entry.word), &styles.text)?;
            }
            for line in &entry.lines {
                self.sheet.write_string_with_format(self.row, section.from, cell_text(line), &styles.text)?;
                self.advance(PLAIN_ROW);
            }
        }
        self.advance(PLAIN_ROW);
        Ok(())
    }

    /// The table of pallets; its rows, for the chart.
    fn pallets(&mut self, audit: &Audit, places: &Places, most: usize) -> Result<(), WorkbookError> {
        self.headers(&[
            "Plant",
            "Pallet",
            "In service",
            "Unsafe",
            "Not assessed",
            "Planned",
            "Planned, do not conform",
            "Planned, not assessed",
            "Majors",
            "Highest fill",
        ])?;
        let mut all = pallets(audit);
        // The fullest is shown, be it as safe as it may.
        let fill = |at: usize| all.get(at).and_then(|(_, counts)| counts.fill).unwrap_or_default();
        let fullest = (0..all.len()).max_by(|one, other| fill(*one).total_cmp(&fill(*other)).then(other.cmp(one)));
        if let Some(at) = fullest.filter(|at| *at >= most && most > 0) {
            all[most - 1..=at].rotate_right(1);
        }
        for ((plant, pallet), counts) in all.iter().take(most) {
            self.link(0, counts.first.as_ref().and_then(|key| places.circuit(key)))?;
            self.cells(plant, pallet, &pallet_numbers(counts), 1)?;
        }
        let mut rest = PalletOverview::default();
        all.iter().skip(most).for_each(|(_, counts)| rest.merge(counts));
        let mut total = rest.clone();
        all.iter().take(most).for_each(|(_, counts)| total.merge(counts));
        if all.len() > most {
            self.cells("Others", &counted((all.len() - most) as u64, "pallet"), &pallet_numbers(&rest), 1)?;
        }
        let elsewhere =
            u32::try_from(audit.counts.all_findings().majors).unwrap_or(u32::MAX).saturating_sub(total.majors);
        if elsewhere > 0 {
            let majors = [None, None, None, None, None, None, Some(f64::from(elsewhere))];
            self.cells("No circuit", "Parts, orders", &majors, 0)?;
            total.majors += elsewhere;
        }
        self.cells("All", "", &pallet_numbers(&total), 1)?;
        self.advance(PLAIN_ROW);
        Ok(())
    }

    /// The fullest pallets, right of the printed page, for their chart: the row after the last, and of how many they are.
    fn fills(&mut self, audit: &Audit) -> Result<((u32, u32), usize), WorkbookError> {
        let styles = self.setup.styles;
        let mut all: Vec<(&str, &str, f64)> = pallets(audit)
            .into_iter()
            .filter_map(|((plant, pallet), counts)| Some((plant, pallet, counts.fill?)))
            .collect();
        all.sort_by(|one, other| other.2.total_cmp(&one.2).then((one.0, one.1).cmp(&(other.0, other.1))));
        for (column, header) in (FILLS..).zip(["Pallet", "Highest fill", "Limit"]) {
            self.sheet.set_column_width(column, 12)?;
            self.sheet.write_string_with_format(0, column, header, &styles.header)?;
        }
        let limit = audit.plant.policy.limits.fill;
        let mut row = 1;
        for (plant, pallet, fill) in all.iter().take(FULLEST) {
            let is_shared = all.iter().any(|(other, same, _)| same == pallet && other != plant);
            let name = if is_shared { format!("{plant} {pallet}") } else { (*pallet).to_owned() };
            self.sheet.write_string(row, FILLS, cell_text(&name))?;
            self.sheet.write_number(row, FILLS + 1, *fill)?;
            self.sheet.write_number(row, FILLS + 2, limit)?;
            row += 1;
        }
        Ok(((1, row), all.len()))
    }

    /// The table of families, right of the printed page, for its chart: those with majors and minors first.
    fn families(&mut self, audit: &Audit) -> Result<(u32, u32), WorkbookError> {
        let styles = self.setup.styles;
        let headers = [
            "Rules",
            "Family",
            "Majors in service",
            "Other majors",
            "Minors in service",
            "Other minors",
            "Observations",
            "Waived",
        ];
        for (column, header) in (FAMILIES..).zip(headers) {
            self.sheet.set_column_width(column, if column == FAMILIES + 1 { 30 } else { 13 })?;
            self.sheet.write_string_with_format(0, column, header, &styles.header)?;
        }
        let (drawn, others): (Vec<_>, Vec<_>) =
            families(audit).into_iter().partition(|(_, _, counts)| counts.iter().take(DRAWN).any(|count| *count > 0));
        let end = u32::try_from(drawn.len()).unwrap_or(0) + 1;
        for (row, (letter, name, counts)) in (1..).zip(drawn.into_iter().chain(others)) {
            // Below the chart's columns there is room for a word.
            let word = name.split(' ').next().unwrap_or(name);
            self.sheet.write_string(row, FAMILIES, format!("{letter} {}", word.to_lowercase()))?;
            self.sheet.write_string(row, FAMILIES + 1, name)?;
            for (column, count) in (FAMILIES + 2..).zip(counts) {
                self.sheet.write_number(row, column, f64::from(count))?;
            }
        }
        Ok((1, end))
    }

    /// The history, right of the printed page, for its chart.
    fn history(&mut self, audit: &Audit) -> Result<(u32, u32), WorkbookError> {
        if audit.history.len() < 2 {
            return Ok((0, 0));
        }
        let styles = self.setup.styles;
        for (column, header) in (HISTORY..).zip(COLUMNS_OF_HISTORY) {
            self.sheet.set_column_width(column, 12)?;
            self.sheet.write_string_with_format(0, column, header, &styles.header)?;
        }
        let runs = &audit.history[audit.history.len().saturating_sub(RUNS)..];
        let every = runs.len().div_ceil(DATED);
        let mut row = 1;
        for run in runs {
            self.sheet.write_string(row, HISTORY, cell_text(&run.date))?;
            // Months that find room below the axis; the others are blank.
            let is_dated = (row as usize - 1).is_multiple_of(every);
            let month = if is_dated { run.date.get(..7).unwrap_or(&run.date) } else { "" };
            self.sheet.write_string(row, HISTORY + 1, cell_text(month))?;
            let failing = run.not_conforming();
            let counts = [run.circuits, run.conforming, run.majors, failing, run.not_assessed, run.minors];
            for (column, count) in (HISTORY + 2..).zip(counts) {
                #[allow(clippy::cast_precision_loss, reason = "a count of circuits is far below 2^53")]
                self.sheet.write_number(row, column, count as f64)?;
            }
            row += 1;
        }
        Ok((1, row))
    }
}

fn pallet_numbers(counts: &PalletOverview) -> [Option<f64>; 8] {
    let count = |number: u64| Some(f64::from(u32::try_from(number).unwrap_or(u32::MAX)));
    let planned = counts.circuits.less(counts.in_service).less(counts.may_be_in_service);
    [
        count(counts.in_service.total),
        count(counts.in_service.does_not_conform),
        count(counts.in_service.not_assessed),
        count(planned.total),
        count(planned.does_not_conform),
        count(planned.not_assessed),
        Some(f64::from(counts.majors)),
        counts.fill,
    ]
}

#[cfg(test)]
mod tests {
    use super::rest_in_words;

    #[test]
    fn one_circuit_more_is_told_as_one() {
        assert_eq!(rest_in_words(1, true), "more circuit in service that does not conform, see Findings");
        assert_eq!(rest_in_words(2, false), "more circuits that do not conform, see Findings");
    }
}
