//! A run as one JSON text: what `summary.json` holds, and the rows of `findings.csv`.

use anyhow::Result;
use serde::Serialize;
use serde_json::{Map, Value, json};

use super::summary::RunSummary;

/// Columns of `findings.csv` that hold numbers; every other cell is text.
const NUMBERS: [&str; 3] = ["measured", "limit", "row"];

/// `{"summary": …, "findings": […]}`.
///
/// # Errors
/// Where the rows are none of the data files'.
pub fn run_json(summary: &RunSummary<impl Serialize>, finding_rows: &[u8]) -> Result<Vec<u8>> {
    let run = json!({ "summary": summary, "findings": finding_rows_as_json(finding_rows)? });
    let mut text = serde_json::to_vec_pretty(&run)?;
    text.push(b'\n');
    Ok(text)
}

/// Rows of `findings.csv`, header first, as objects.
///
/// # Errors
/// Where the rows are none of it.
pub fn finding_rows_as_json(rows: &[u8]) -> Result<Vec<Value>> {
    rows_as_json(rows, &NUMBERS)
}

/// Rows of a data file, header first, as objects; an empty cell of a number is null.
///
/// # Errors
/// Where the rows are none of the data files'.
fn rows_as_json(rows: &[u8], numbers: &[&str]) -> Result<Vec<Value>> {
    let mut reader = csv::Reader::from_reader(rows);
    let columns = reader.headers()?.clone();
    let mut all = Vec::new();
    for row in reader.records() {
        let row = row?;
        let cells = columns.iter().zip(&row).map(|(column, cell)| {
            let value = if numbers.contains(&column) {
                cell.parse::<f64>().map_or(Value::Null, |number| shortest(cell, number))
            } else {
                Value::from(cell)
            };
            (column.to_owned(), value)
        });
        all.push(Value::Object(cells.collect::<Map<String, Value>>()));
    }
    Ok(all)
}

/// A number as the data files write it: whole without a point.
fn shortest(text: &str, number: f64) -> Value {
    text.parse::<i64>().map_or_else(|_| Value::from(number), Value::from)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_become_numbers_texts_and_nulls() {
        let rows =
            rows_as_json(b"rule,measured,limit,position\nP05,160,,\"A, 1\"\nP06,0.25,135,7\n", &NUMBERS).unwrap();
        assert_eq!(rows[0], json!({ "rule": "P05", "measured": 160, "limit": null, "position": "A, 1" }));
        assert_eq!(rows[1], json!({ "rule": "P06", "measured": 0.25, "limit": 135, "position": "7" }));
    }
}
