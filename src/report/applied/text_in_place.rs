//! Cells changed in a text file: rows in which nothing changes stay byte for byte.

use std::collections::BTreeMap;

use anyhow::{Context, Result};

use crate::read::as_given::GivenText;

use super::cell_edits::{CellContent, SheetEdits};

/// The text with its cells changed, and its new rows below the table's last.
///
/// # Errors
/// Where a row can't be written.
pub fn changed(given: &GivenText, edits: &SheetEdits) -> Result<String> {
    let mut due: BTreeMap<u32, BTreeMap<u32, (&CellContent, bool)>> = BTreeMap::new();
    for ((row, column), content) in &edits.fills {
        due.entry(*row).or_default().insert(*column, (content, true));
    }
    for ((row, column), content) in &edits.cells {
        due.entry(*row).or_default().insert(*column, (content, false));
    }
    let line_end = if given.text.contains("\r\n") { "\r\n" } else { "\n" };
    let width = given.cells(edits.header_row).len();
    let mut out = String::with_capacity(given.text.len() + 1024);
    let mut number = 0;
    for (from, end, next) in &given.rows {
        number += 1;
        let own = due.get(&number).filter(|_| !edits.new_rows.contains(&number));
        let is_widened = !edits.added.is_empty() && number >= edits.header_row;
        let mut cells = if own.is_some() || is_widened { given.cells(number) } else { Vec::new() };
        let is_of_table = cells.len() >= width && cells.iter().any(|cell| !cell.trim().is_empty());
        if own.is_none() && !(is_widened && is_of_table) {
            out.push_str(given.text.get(*from..*next).unwrap_or_default());
        } else {
            for column in edits.added.iter().filter(|_| is_of_table) {
                cells.insert((*column as usize).min(cells.len()), String::new());
            }
            set(&mut cells, own);
            out.push_str(&line(&cells, given.delimiter)?);
            out.push_str(given.text.get(*end..*next).filter(|rest| rest.contains('\n')).map_or(line_end, |_| line_end));
        }
        if number == edits.last_row {
            if !out.ends_with('\n') {
                out.push_str(line_end);
            }
            for row in &edits.new_rows {
                let mut cells = vec![String::new(); width + edits.added.len()];
                set(&mut cells, due.get(row));
                out.push_str(&line(&cells, given.delimiter)?);
                out.push_str(line_end);
            }
        }
    }
    Ok(out)
}

fn set(cells: &mut Vec<String>, due: Option<&BTreeMap<u32, (&CellContent, bool)>>) {
    for (column, (content, only_blank)) in due.into_iter().flatten() {
        let column = *column as usize;
        if cells.len() <= column {
            cells.resize(column + 1, String::new());
        }
        // A number that only its column makes clear stays clear where the column changes.
        if !only_blank || cells[column].trim().is_empty() || is_unclear(&cells[column]) {
            cells[column] = content.text();
        }
    }
}

/// Whether a number may be read in two ways: one separator with three digits behind it.
fn is_unclear(text: &str) -> bool {
    let text = text.trim();
    let is_number = |letter: char| letter.is_ascii_digit() || matches!(letter, '.' | ',');
    text.chars().all(is_number)
        && text.split(['.', ',']).count() == 2
        && text.rsplit(['.', ',']).next().is_some_and(|digits| digits.len() == 3)
}

fn line(cells: &[String], delimiter: u8) -> Result<String> {
    let mut writer = csv::WriterBuilder::new().delimiter(delimiter).from_writer(Vec::new());
    writer.write_record(cells).context("a row can't be written")?;
    let bytes = writer.into_inner().context("a row can't be written")?;
    let text = String::from_utf8(bytes).context("a row can't be written")?;
    Ok(text.trim_end_matches('\n').to_owned())
}
