//! The data files once more, as Parquet: numbers as floating-point columns, the rest as text.
//! Money stays text, as it stands in the CSV: it is decimal.

use std::fs::File;
use std::io::{BufReader, Read, Write};

use anyhow::{Context, Result};
use polars::prelude::{Column, DataFrame, DataType, Field, ParquetWriter, Schema};

use super::data_rows::TEXT_COLUMNS;

/// Rows of a row group; also what is in memory at a time.
const BATCH: usize = 65_536;

/// Writes a data file that stands as CSV as Parquet.
///
/// # Errors
/// Where the CSV can't be read back or the Parquet can't be written.
pub fn from_csv(csv: &mut File, out: &mut (impl Write + Send)) -> Result<()> {
    let mut reader = csv::ReaderBuilder::new().from_reader(BufReader::new(csv as &mut dyn Read));
    let names: Vec<String> =
        reader.headers().context("the data file has no header")?.iter().map(str::to_owned).collect();
    let is_text: Vec<bool> = names.iter().map(|name| TEXT_COLUMNS.contains(&name.as_str())).collect();
    let fields = names
        .iter()
        .zip(&is_text)
        .map(|(name, text)| Field::new(name.as_str().into(), if *text { DataType::String } else { DataType::Float64 }));
    let schema: Schema = fields.collect();
    let mut writer = ParquetWriter::new(out).batched(&schema).context("Parquet can't be begun")?;
    let mut batch: Vec<csv::StringRecord> = Vec::new();
    for record in reader.records() {
        batch.push(record.context("the data file can't be read back")?);
        if batch.len() == BATCH {
            writer.write_batch(&frame(&names, &is_text, &batch)?).context("Parquet can't be written")?;
            batch.clear();
        }
    }
    if !batch.is_empty() {
        writer.write_batch(&frame(&names, &is_text, &batch)?).context("Parquet can't be written")?;
    }
    writer.finish().context("Parquet can't be ended")?;
    Ok(())
}

fn frame(names: &[String], is_text: &[bool], rows: &[csv::StringRecord]) -> Result<DataFrame> {
    let columns = names.iter().zip(is_text).enumerate().map(|(index, (name, text))| {
        let cells = rows.iter().map(|row| row.get(index).filter(|cell| !cell.is_empty()));
        if *text {
            return Ok(Column::new(name.as_str().into(), cells.collect::<Vec<Option<&str>>>()));
        }
        let number = |cell: &str| cell.parse().with_context(|| format!("the column {name} holds '{cell}', no number"));
        let numbers: Vec<Option<f64>> = cells.map(|cell| cell.map(number).transpose()).collect::<Result<_>>()?;
        Ok(Column::new(name.as_str().into(), numbers))
    });
    DataFrame::new(rows.len(), columns.collect::<Result<_>>()?).context("the columns of a data file differ in length")
}
