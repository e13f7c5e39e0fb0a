//! Sheets that hold quantities by part and circuit: part numbers down, circuits across. How their
//! headers are split is told by the circuits table alone; without it, it is said what they may be.

use std::collections::BTreeSet;

use crate::read::cell::{Cells, Is, clean, trimmed};
use crate::read::names::Names;
use crate::read::place_form::PlaceForm;
use crate::read::plant_words::{PlantWords, leading_words};
use crate::read::text_file::HEADER_ROWS;
use crate::tables::column::Table;
use crate::tables::origin::column_letter;
use crate::tables::policy::Policy;
use crate::tables::words::{PLACE, folded};

use super::proposal::Proposal;
use super::seen::{SeenHeader, SeenSheet};
use super::sheet_rows::{Found, MOST_ARE_PARTS, Rows, columns_of, share_of_parts, sums_below};
use super::trade_words::TOTALS;

/// A circuit's key: plant, pallet, fixture, circuit.
type Key = [String; 4];

/// Places that headers may name, in the ways that people write them.
const FORMS: &[&str] = &[
    "fixture/circuit",
    "fixture-circuit",
    "fixture.circuit",
    "fixture_circuit",
    "fixture|circuit",
    "fixture:circuit",
    "fixture circuit",
    "pallet/fixture/circuit",
    "pallet-fixture-circuit",
    "pallet.fixture.circuit",
    "pallet_fixture_circuit",
    "pallet|fixture|circuit",
    "pallet fixture circuit",
    "pallet fixture/circuit",
    "pallet-fixture/circuit",
    "pallet/fixture-circuit",
    "pallet/fixture.circuit",
    "pallet/circuit",
    "pallet-circuit",
    "pallet/fixture",
    "pallet-fixture",
    "pallet fixture",
];

/// The keys of the circuits tables.
pub(super) fn keys(found: &[Found], policy: &Policy) -> BTreeSet<Key> {
    let mut keys = BTreeSet::new();
    for found in found.iter().filter(|found| found.table == Some(Table::Circuits)) {
        let Some(header) = found.rows.rows.get(found.header) else { continue };
        let names = Names::new(Table::Circuits, policy);
        let is_only = |index: &usize, name: &str| {
            let (columns, _) = columns_of(header.cell(*index).text, Table::Circuits, &names);
            matches!(columns.as_slice(), [only] if only.name == name)
        };
        let place = PLACE.map(|name| (0..header.count()).find(|index| is_only(index, name)));
        let mut above: [String; 4] = Default::default();
        for row in found.rows.rows.iter().skip(found.header + 1) {
            let key = place.map(|index| index.map_or(String::new(), |index| clean(row.cell(index).text).into_owned()));
            // A blank cell may mean the one above it: both are known.
            let filled: Vec<String> =
                key.iter().zip(&above).map(|(own, above)| if own.is_empty() { above } else { own }.clone()).collect();
            if let Ok(filled) = <Key>::try_from(filled) {
                above.clone_from(&filled);
                keys.insert(filled);
            }
            keys.insert(key);
        }
    }
    keys
}

fn key_of(parts: Vec<(&'static str, String)>) -> Key {
    let mut key: Key = Default::default();
    for (name, text) in parts {
        if let Some(place) = PLACE.iter().position(|own| *own == name).and_then(|at| key.get_mut(at)) {
            *place = text;
        }
    }
    key
}

/// Columns that may be circuits under a header row, with the column of the part numbers.
struct CircuitColumns {
    row: usize,
    part: usize,
    columns: Vec<usize>,
}

fn holds_counts(rows: &Rows, row: usize, column: usize) -> bool {
    let below = rows.rows.iter().skip(row + 1).map(|row| row.cell(column)).filter(|cell| !cell.is_blank());
    let (mut all, mut counts) = (0_u32, 0_u32);
    for cell in below {
        all += 1;
        let is_count = trimmed(cell.text).parse::<f64>().is_ok_and(|number| number >= 0.0 && number.fract() == 0.0);
        counts += u32::from(matches!(cell.is, Is::Number(_) | Is::Shown(..) | Is::Text) && is_count);
    }
    // Signs such as `x` or `-` may stand among them.
    counts > 0 && counts * 2 >= all
}

fn across(rows: &Rows, names: &Names, parts: &BTreeSet<String>) -> Option<CircuitColumns> {
    let candidates = rows.rows.iter().take(HEADER_ROWS).enumerate().filter_map(|(index, row)| {
        let held: Vec<usize> = (0..row.count()).filter(|column| !row.cell(*column).is_blank()).collect();
        let is_part = |column: &usize| {
            let (columns, _) = columns_of(row.cell(*column).text, Table::Lists, names);
            matches!(columns.as_slice(), [only] if only.name == "part_no")
                || share_of_parts(&rows.rows, index, *column, parts) >= MOST_ARE_PARTS
        };
        let part = held.iter().copied().find(is_part)?;
        let is_open = |column: &usize| {
            let text = trimmed(row.cell(*column).text);
            // A number or a sign for none is a cell of the matrix and no header of it.
            text.chars().any(char::is_alphabetic)
                && columns_of(text, Table::Lists, names).0.is_empty()
                && holds_counts(rows, index, *column)
        };
        let columns: Vec<usize> = held.into_iter().filter(is_open).collect();
        (columns.len() >= 2).then_some(CircuitColumns { row: index, part, columns })
    });
    candidates.max_by_key(|across| (across.columns.len(), std::cmp::Reverse(across.row)))
}

/// Looks whether a sheet is a matrix, and what the policy should say of it.
pub(super) fn look(
    rows: &Rows,
    parts: &BTreeSet<String>,
    keys: &BTreeSet<Key>,
    policy: &Policy,
    proposal: &mut Proposal,
) -> Option<SeenSheet> {
    let names = Names::new(Table::Lists, policy);
    let across = across(rows, &names, parts)?;
    let header = rows.rows.get(across.row)?;
    let text_of = |column: usize| trimmed(header.cell(column).text);
    let forms = FORMS.iter().filter_map(|form| PlaceForm::of(form).ok());
    let fitting: Vec<(usize, usize, PlaceForm)> = forms
        .map(|form| {
            let parsed: Vec<Key> =
                across.columns.iter().filter_map(|column| form.parts(text_of(*column))).map(key_of).collect();
            (parsed.iter().filter(|key| keys.contains(*key)).count(), parsed.len(), form)
        })
        .filter(|(_, parsed, _)| *parsed >= 2)
        .collect();
    if fitting.is_empty() {
        return None;
    }
    let mut sheet = SeenSheet {
        file: rows.file.clone(),
        sheet: rows.sheet.clone(),
        table: None,
        candidates: Vec::new(),
        is_matrix: true,
        row: header.number,
        headers: Vec::new(),
    };
    let proven = fitting.iter().map(|(proven, ..)| *proven).max().unwrap_or_default();
    let best: Vec<&PlaceForm> =
        fitting.iter().filter(|(own, ..)| *own == proven && proven > 0).map(|(.., form)| form).collect();
    let place = sheet.place();
    match best.as_slice() {
        [only] => {
            let own = if rows.has_others { rows.sheet.clone() } else { String::new() };
            let open = proposal.name_matrix((rows.file.clone(), own, header.number, only.text()), policy);
            proposal.open.extend(open);
        }
        several => {
            let all: Vec<String> = if several.is_empty() {
                fitting.iter().map(|(.., form)| format!("\"{}\"", form.text())).collect()
            } else {
                several.iter().map(|form| format!("\"{}\"", form.text())).collect()
            };
            proposal.open.push(format!(
                "[files.matrix]: {place} seems to hold quantities by part and circuit; place may be {}.",
                all.join(" or ")
            ));
        }
    }
    let own = PlantWords::of(policy);
    sums_below(&rows.rows, across.row, across.part, &own, proposal);
    for column in &across.columns {
        let text = text_of(*column);
        if !own.says_total(text) {
            let starts = leading_words(text);
            let words = TOTALS.iter().filter(|word| starts.contains(&folded(word)));
            proposal.totals.extend(words.map(|word| (*word).to_owned()));
        }
    }
    let form = if let [only] = best.as_slice() { Some((*only).clone()) } else { None };
    for column in (0..header.count()).filter(|column| !header.cell(*column).is_blank()) {
        let text = text_of(column);
        let (columns, by) = columns_of(text, Table::Lists, &names);
        let is_circuit =
            form.as_ref().is_some_and(|form| form.parts(text).is_some()) && across.columns.contains(&column);
        let (known, by) = match columns.as_slice() {
            _ if column == across.part && by != "name" => (Some("part_no"), "its cells"),
            [only] => (Some(only.name), by),
            _ if is_circuit => (Some("qty"), "its circuit"),
            _ => (None, ""),
        };
        let seen = SeenHeader {
            letter: u32::try_from(column).map(column_letter).unwrap_or_default(),
            text: text.to_owned(),
            column: known,
            by,
            candidates: if known.is_some() { Vec::new() } else { columns.iter().map(|column| column.name).collect() },
            cells: rows.rows.iter().skip(across.row + 1).filter(|row| !row.cell(column).is_blank()).count(),
        };
        if by != "its circuit" {
            proposal.add_header(Table::Lists, &place, &seen);
        }
        sheet.headers.push(seen);
    }
    Some(sheet)
}
