//! Parquet files to rows of typed cells, through polars. Rows are numbered as in the same table saved
//! as CSV: the header is row 1.

use std::io::Cursor;

use polars::prelude::{AnyValue, ArrowDataType, ParallelStrategy, ParquetReader, SerReader};

use crate::tables::policy::Bounds;

use super::bounds::{at_most, grouped};
use super::cell::{Is, SheetCell};
use super::collector::{Collector, Sheet, number_text};
use super::error::ReadError;
use super::package::MOST_CELLS;
use super::parquet_pages::claims_hold;
use super::quietly::quietly;

/// The ending of a Parquet file.
pub(crate) const PARQUET_ENDING: &str = "parquet";

/// Rows that are unpacked at a time.
const ROWS: usize = 65_536;

/// The one table of a Parquet file, its header as the first row.
pub(crate) fn read_parquet(file: &str, bytes: &[u8], bounds: &Bounds) -> Result<Vec<Sheet>, ReadError> {
    quietly(|| read(file, bytes, bounds)).unwrap_or_else(|| Err(damaged_file(file)))
}

fn damaged_file(file: &str) -> ReadError {
    ReadError::new(format!("{file}: the file is truncated, damaged or no Parquet file."))
}

fn read(file: &str, bytes: &[u8], bounds: &Bounds) -> Result<Vec<Sheet>, ReadError> {
    let damaged = |_| damaged_file(file);
    let mut reader = ParquetReader::new(Cursor::new(bytes));
    let schema = reader.schema().map_err(damaged)?;
    let height = reader.num_rows().map_err(damaged)?;
    at_most(file, "the file has", schema.len() as u64, bounds.columns, " columns", "columns")?;
    at_most(file, "the file has", height as u64 + 1, bounds.rows, " rows", "rows")?;
    // A column of blanks takes next to no bytes, and time for each row.
    if (height as u64).saturating_mul(schema.len() as u64) > MOST_CELLS {
        return Err(ReadError::new(format!(
            "{file}: its {} rows and {} columns come to more than {} cells; save it as CSV.",
            grouped(height as u64),
            schema.len(),
            grouped(MOST_CELLS)
        )));
    }
    if let Some((name, field)) = schema.iter().find(|(_, field)| !is_read(field.dtype())) {
        return Err(ReadError::new(format!(
            "{file}: the column '{name}' is kept as {}, which are not read from Parquet; write numbers of 32 or 64 bits or text, dates as text such as 2026-03-31, or save the table as CSV.",
            kind_name(field.dtype())
        )));
    }
    if !claims_hold(bytes, bounds.memory_mib << 20) {
        return Err(damaged_file(file));
    }
    let mut collector = Collector::new(file, bounds, bytes.len() as u64);
    collector.begin("", false);
    for (column, name) in (0_u32..).zip(schema.iter_names()) {
        collector.put(0, column, SheetCell { text: name.as_str().into(), is: Is::Text })?;
    }
    for from in (0..height).step_by(ROWS) {
        // In this thread alone: a panic over a damaged file in another one would end the process.
        let reader = ParquetReader::new(Cursor::new(bytes)).read_parallel(ParallelStrategy::None);
        let part = reader.with_slice(Some((from, ROWS)));
        let frame = part.finish().map_err(damaged)?;
        for index in 0..frame.height() {
            let row = u32::try_from(from + index + 1).unwrap_or(u32::MAX);
            for (column, held) in (0_u32..).zip(frame.columns()) {
                collector.put(row, column, cell(&held.get(index).map_err(damaged)?))?;
            }
        }
    }
    Ok(collector.finish())
}

/// Whether cells of a column are text, numbers or truth values.
fn is_read(kind: &ArrowDataType) -> bool {
    match kind {
        ArrowDataType::Dictionary(_, values, _) => is_read(values),
        _ => matches!(
            kind,
            ArrowDataType::Null
                | ArrowDataType::Boolean
                | ArrowDataType::Int32
                | ArrowDataType::Int64
                | ArrowDataType::UInt32
                | ArrowDataType::UInt64
                | ArrowDataType::Float32
                | ArrowDataType::Float64
                | ArrowDataType::Utf8
                | ArrowDataType::LargeUtf8
                | ArrowDataType::Utf8View
        ),
    }
}

/// A word for what is not read.
const fn kind_name(kind: &ArrowDataType) -> &'static str {
    match kind {
        ArrowDataType::Date32 | ArrowDataType::Date64 => "dates",
        ArrowDataType::Timestamp(..) => "points in time",
        ArrowDataType::Time32(_) | ArrowDataType::Time64(_) | ArrowDataType::Duration(_) => "spans of time",
        ArrowDataType::Decimal(..) | ArrowDataType::Decimal256(..) => "decimals of fixed length",
        ArrowDataType::Int8 | ArrowDataType::Int16 | ArrowDataType::UInt8 | ArrowDataType::UInt16 => {
            "whole numbers of 8 or 16 bits"
        }
        ArrowDataType::List(_) | ArrowDataType::LargeList(_) | ArrowDataType::Struct(_) => "nested values",
        _ => "bytes or something else",
    }
}

fn cell(value: &AnyValue) -> SheetCell {
    match value {
        AnyValue::Null => SheetCell::default(),
        AnyValue::Boolean(truth) => SheetCell { text: if *truth { "TRUE" } else { "FALSE" }.into(), is: Is::Other },
        AnyValue::Float32(number) => {
            // The shortest decimals of what was written, not those of its double.
            let written = number.to_string().parse().unwrap_or_else(|_| f64::from(*number));
            number_cell(written)
        }
        AnyValue::Float64(number) => number_cell(*number),
        other => match other.extract::<f64>().filter(|_| other.is_primitive_numeric()) {
            // A whole number in full, where it is a part number of many digits.
            Some(number) => SheetCell { text: other.to_string().into(), is: Is::Number(number) },
            None => SheetCell { text: other.get_str().unwrap_or_default().into(), is: Is::Text },
        },
    }
}

fn number_cell(number: f64) -> SheetCell {
    SheetCell { text: number_text(number).into(), is: Is::Number(number) }
}
