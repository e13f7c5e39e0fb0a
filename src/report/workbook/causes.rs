//! Causes: what puts many findings right at once, the gravest first.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use rust_decimal::Decimal;
use rust_xlsxwriter::Worksheet;

use crate::audit::causes::{Cause, station_of};
use crate::audit::outcome::Audit;
use crate::rules::catalogue;
use crate::tables::circuit::CircuitKey;
use crate::tables::counted::{counted, money};
use crate::tables::finding::{Finding, Subject};
use crate::tables::words::State;

use super::findings::title;
use super::grid::{Grid, LINK_WIDTH, Layout, SheetColumn};
use super::like_changes::in_short;
use super::places::Places;
use super::style::{Digits, Look};
use super::{Setup, WorkbookError};

/// Columns that are printed, from the left.
const PRINTED: u16 = 12;
const CHANGE: u16 = 11;

/// Writes the sheet.
///
/// # Errors
///
/// Where the library refuses a cell.
pub fn write(audit: &Audit, setup: &Setup, places: &Places) -> Result<Vec<Worksheet>, WorkbookError> {
    let (shared, single): (Vec<&Cause>, Vec<&Cause>) =
        audit.counts.causes.in_order().into_iter().partition(|cause| cause.findings > 1);
    let layout = layout(shared.len(), single.len(), setup);
    let cures = cures(audit, places);
    let mut grid = Grid::new(setup, &layout)?;
    for (index, cause) in shared.iter().chain(&single).enumerate() {
        if index == shared.len() {
            grid.print_until_here();
        }
        grid.begin_row()?;
        write_cause(&mut grid, places, cause)?;
        let key = (cause.rule.as_str(), cause.part_no.as_str(), cause.station.as_str());
        let words = cures.get(&key).map(|cures| cures.in_words(audit)).unwrap_or_default();
        grid.text(CHANGE, &words)?;
    }
    grid.finish()
}

fn layout(shared: usize, single: usize, setup: &Setup) -> Layout {
    let text = |header: &str, width| SheetColumn::new(header, width, Look::Text);
    let wrapped = |header: &str, width| SheetColumn::new(header, width, Look::Wrapped);
    let number = |header: &str| SheetColumn::new(header, 8.5, Look::Number(Digits::Whole));
    Layout {
        name: "Causes",
        note: note(shared, single),
        columns: vec![
            text("Rule", 6.0),
            wrapped("Title", 20.0),
            text("Severity", 10.5),
            wrapped("Part", setup.widths.part.min(15.0)),
            wrapped("Station", 9.0),
            number("Findings"),
            number("Pieces"),
            number("Circuits"),
            number("Of these in service"),
            wrapped("First place", 18.0),
            wrapped("Reason", 48.0),
            wrapped("Change that clears it", 27.0),
            text("Rule (link)", LINK_WIDTH),
            text("Circuit (link)", LINK_WIDTH),
        ],
        frozen: 1,
        printed: PRINTED,
        pages_wide: 1,
    }
}

/// What stands above the table.
///
/// * `shared` – causes with several findings
/// * `single` – those with one
fn note(shared: usize, single: usize) -> String {
    if shared + single == 0 {
        "Causes: none.".to_owned()
    } else if shared == 0 {
        "Causes: no two findings are of one rule and one part or station; each stands on Findings.".to_owned()
    } else {
        let (which, are) = if shared == 1 { ("one".to_owned(), "is") } else { (shared.to_string(), "are") };
        let below = match single {
            0 => String::new(),
            1 => "; the one with one stands below".to_owned(),
            many => format!("; the {many} with one stand below"),
        };
        format!(
            "Causes: findings of one rule on one part or station, the gravest first. The {which} with several findings {are} \
             printed{below}. The reason is the first finding's; each change was proved by itself, see Remedies."
        )
    }
}

fn write_cause(grid: &mut Grid, places: &Places, cause: &Cause) -> Result<(), WorkbookError> {
    let words =
        [cause.rule.as_str(), title(catalogue::rule(&cause.rule)), &cause.severity, &cause.part_no, &cause.station];
    for (column, word) in (0_u16..).zip(words) {
        grid.text(column, word)?;
    }
    let counts = [Some(cause.findings), pieces(cause), Some(cause.circuits), Some(cause.in_service)];
    for (column, count) in (5_u16..).zip(counts) {
        #[allow(clippy::cast_precision_loss, reason = "a count is far below 2^53")]
        grid.optional(column, count.map(|count| count as f64))?;
    }
    if cause.first_place != CircuitKey::default() {
        grid.text(9, &cause.first_place.to_string())?;
        grid.link(PRINTED + 1, places.circuit(&cause.first_place))?;
    }
    grid.link(PRINTED, places.rule(&cause.rule))?;
    grid.text(10, &cause.reason)
}

/// Pieces on the lines of a cause; of what is on no line there are none to count.
fn pieces(cause: &Cause) -> Option<u64> {
    let is_of_line = catalogue::rule(&cause.rule).is_some_and(|rule| rule.subject == Subject::Line);
    Some(cause.pieces).filter(|pieces| is_of_line || *pieces > 0)
}

/// The changes that clear the findings of each cause: rule, part, load station.
fn cures<'a>(audit: &'a Audit, places: &Places) -> HashMap<(&'a str, &'a str, &'a str), Cures> {
    let mut all: HashMap<(&str, &str, &str), Cures> = HashMap::new();
    let mut take = |finding: &'a Finding, station: &'a str| {
        if finding.state != State::Waived {
            let key = (finding.rule, finding.part_no.as_str(), station);
            all.entry(key).or_default().add(audit, places.index_of_remedy(finding));
        }
    };
    for finding in &audit.elsewhere {
        take(finding, if finding.subject == Subject::Station { &finding.position } else { "" });
    }
    for circuit in &audit.circuits {
        circuit.findings.iter().for_each(|finding| take(finding, station_of(circuit, finding)));
    }
    all
}

/// Changes that clear the findings of one cause.
#[derive(Default)]
pub struct Cures {
    /// Findings that none of them clears.
    without: u64,
    /// By what they are in short.
    by_change: BTreeMap<String, BTreeSet<usize>>,
}

impl Cures {
    /// Takes in a finding, with the change that clears it.
    pub fn add(&mut self, audit: &Audit, change: Option<usize>) {
        match change.and_then(|index| Some((index, audit.remedies.get(index)?))) {
            Some((index, row)) => {
                self.by_change.entry(in_short(row, audit.plant.policy.units)).or_default().insert(index);
            }
            None => self.without += 1,
        }
    }

    /// `150 × WEIR-6A to WEIR-6, 10725.00 EUR`.
    #[must_use]
    pub fn in_words(&self, audit: &Audit) -> String {
        const NAMED: usize = 4;
        let mut all: Vec<(&String, &BTreeSet<usize>)> = self.by_change.iter().collect();
        all.sort_by_key(|(words, changes)| (std::cmp::Reverse(changes.len()), *words));
        let told = |(words, changes): &(&String, &BTreeSet<usize>)| {
            let times = if changes.len() > 1 { format!("{} × ", changes.len()) } else { String::new() };
            let mut sums: BTreeMap<&str, Decimal> = BTreeMap::new();
            for row in changes.iter().filter_map(|index| audit.remedies.get(*index)) {
                if let Some(price) = row.price {
                    let sum = sums.entry(&row.currency).or_default();
                    *sum = sum.saturating_add(price);
                }
            }
            let sums = sums.into_iter().map(|(currency, sum)| money(sum, currency));
            let sums: String = sums.map(|sum| format!(", {sum}")).collect();
            format!("{times}{words}{sums}")
        };
        let mut words: Vec<String> = all.iter().take(NAMED).map(told).collect();
        if all.len() > NAMED {
            words.push(format!("{} more, see Remedies", all.len() - NAMED));
        }
        if !all.is_empty() && self.without > 0 {
            words.push(format!("{} without a change", counted(self.without, "finding")));
        }
        words.join(";\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_cause_is_told_as_one() {
        assert!(note(1, 1).contains("The one with several findings is printed; the one with one stands below."));
        assert!(note(2, 0).contains("The 2 with several findings are printed. The reason"));
        assert!(note(3, 4).contains("The 3 with several findings are printed; the 4 with one stand below."));
    }

    /// Nobody counts pieces of a circuit that is not filled; of a line whose quantity can't be read there are some.
    #[test]
    fn pieces_are_those_of_lines() {
        let of = |rule: &str, pieces| pieces_of(rule, pieces);
        assert_eq!([of("V01", 0), of("H01", 0), of("L02", 0), of("P05", 3)], [None, None, Some(0), Some(3)]);
    }

    fn pieces_of(rule: &str, pieces: u64) -> Option<u64> {
        super::pieces(&Cause { rule: rule.to_owned(), pieces, ..Cause::default() })
    }
}
