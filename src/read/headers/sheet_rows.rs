//! What is seen of a sheet: its rows, the columns that its headers may be, what its cells say.

use std::collections::BTreeSet;

use crate::read::cell::{Cells, GridRow, clean, trimmed};
use crate::read::header_text::{bracketed, fold};
use crate::read::names::Names;
use crate::read::plant_words::{PlantWords, leading_words};
use crate::tables::column::{Column, Table};
use crate::tables::words::{Kind, folded};

use super::proposal::Proposal;
use super::trade_words;

/// Rows of a file or sheet.
pub(super) struct Rows {
    pub file: String,
    pub sheet: String,
    pub rows: Vec<GridRow>,
    /// The table that `check` reads it as already.
    pub role: Option<Table>,
    /// Whether the policy names it as quantities by part and circuit.
    pub is_matrix: bool,
    /// Whether the file has other sheets.
    pub has_others: bool,
}

/// A sheet with its header found.
pub(super) struct Found<'a> {
    pub rows: &'a Rows,
    pub table: Option<Table>,
    pub candidates: Vec<Table>,
    pub header: usize,
}

/// The columns of a table that a header may be: by its name or alias alone where it has one, else by
/// words of the trade.
pub(super) fn columns_of(text: &str, table: Table, names: &Names) -> (Vec<&'static Column>, &'static str) {
    if let (Some(known), _) = names.read(text) {
        return (vec![known], "name");
    }
    let bare = bracketed(trimmed(text)).map_or(text, |(name, _)| name);
    let wanted = [fold(text), fold(bare)];
    let says = |words: &trade_words::TradeWords| {
        (words.tables.is_empty() || words.tables.contains(&table))
            && words.words.iter().any(|word| wanted.contains(&folded(word)))
    };
    let columns = trade_words::COLUMNS.iter().filter(|words| says(words));
    (columns.filter_map(|words| table.column(words.column)).collect(), "trade word")
}

/// The share of the cells below a header that are part numbers; 0 where there are fewer than two.
pub(super) fn share_of_parts(rows: &[GridRow], header: usize, index: usize, parts: &BTreeSet<String>) -> f64 {
    if parts.is_empty() {
        return 0.0;
    }
    share_of(rows, header, index, |text| parts.contains(text))
}

/// The share of the cells below a header that say what kind of part one is.
pub(super) fn share_of_kinds(rows: &[GridRow], header: usize, index: usize) -> f64 {
    let is_kind = |text: &str| {
        let text = folded(text);
        let mut others = trade_words::VALUES.iter().filter(|(set, ..)| *set == "kind").flat_map(|(_, _, words)| *words);
        Kind::WORDS.iter().any(|word| folded(word) == text) || others.any(|word| folded(word) == text)
    };
    share_of(rows, header, index, is_kind)
}

fn share_of(rows: &[GridRow], header: usize, index: usize, is_known: impl Fn(&str) -> bool) -> f64 {
    const ROWS: usize = 1000;
    let (mut all, mut known) = (0_u32, 0_u32);
    for row in rows.iter().skip(header + 1).take(ROWS) {
        let cell = row.cell(index);
        if !cell.is_blank() {
            all += 1;
            known += u32::from(is_known(&clean(cell.text)));
        }
    }
    if all < 2 { 0.0 } else { f64::from(known) / f64::from(all) }
}

/// Share of a column's cells that must be part numbers for it to hold them.
pub(super) const MOST_ARE_PARTS: f64 = 0.5;

/// Words of sums in rows below a header.
pub(super) fn sums_below(rows: &[GridRow], header: usize, part: usize, own: &PlantWords, proposal: &mut Proposal) {
    let words_in = |text: &str| -> Vec<String> {
        let starts = if own.says_total(text) { Vec::new() } else { leading_words(text) };
        let words = trade_words::TOTALS.iter().filter(|word| starts.contains(&folded(word)));
        words.map(|word| (*word).to_owned()).collect()
    };
    let is_word = |text: &str| {
        let text = clean(text);
        trade_words::TOTALS.iter().any(|word| folded(word) == folded(text.trim_end_matches(':')))
    };
    let sums = rows.iter().skip(header + 1).filter(|row| row.cell(part).is_blank() || is_word(row.cell(part).text));
    for row in sums {
        for text in (0..row.count()).map(|index| row.cell(index).text) {
            proposal.totals.extend(words_in(text));
        }
    }
}
