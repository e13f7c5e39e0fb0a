//! Lists and tables kept as Parquet read as the same tables kept as CSV do.

#![allow(clippy::unwrap_used)]

use std::fs::{self, File};
use std::path::Path;

use chrono::NaiveDate;
use clampbook::read::{Reading, open};
use polars::prelude::{Column, DataFrame, ParquetWriter};

const COMPONENTS: &str = "part_no,kind,rated_pressure [bar],area_clamp [mm2],stroke [mm],status,unit_price
C-1,clamp,350,490.5,12,active,112.5
4711,charging_cylinder,400,,30,active,
V-1,check_valve,315.5,,,obsolete,33
";
const LIST: &str = "pallet,fixture,part_no,qty,stroke_used [in],position,note
T1,F1,C-1,4,0.25,L1,first
T1,F1,4711,1,,,
T1,F2,C-1,2.5,0.1,L2,odd
,,,,,,
T1,F2,X-9,1,,L3,
";

fn plant(files: &[(&str, &str)], as_parquet: bool) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("lists")).unwrap();
    for (name, text) in files {
        let path = folder.path().join(format!("{name}.csv"));
        if as_parquet { write(text, &path.with_extension("parquet")) } else { fs::write(path, text).unwrap() }
    }
    folder
}

/// Columns of numbers are written as numbers, whole ones as whole numbers.
fn write(text: &str, path: &Path) {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let names: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let column = |(index, name): (usize, &String)| {
        let cells: Vec<Option<&str>> = rows.iter().map(|row| row.get(index).filter(|cell| !cell.is_empty())).collect();
        let floats: Option<Vec<Option<f64>>> = cells.iter().map(|cell| cell.map(str::parse).transpose().ok()).collect();
        let whole: Option<Vec<Option<i64>>> = cells.iter().map(|cell| cell.map(str::parse).transpose().ok()).collect();
        match (whole, floats) {
            (Some(numbers), _) => Column::new(name.as_str().into(), numbers),
            (None, Some(numbers)) => Column::new(name.as_str().into(), numbers),
            (None, None) => Column::new(name.as_str().into(), cells),
        }
    };
    let columns: Vec<Column> = names.iter().enumerate().map(column).collect();
    let mut frame = DataFrame::new(rows.len(), columns).unwrap();
    ParquetWriter::new(File::create(path).unwrap()).finish(&mut frame).unwrap();
}

fn read(folder: &Path) -> Reading {
    open(folder, None, NaiveDate::default()).unwrap()
}

#[test]
fn a_plant_in_parquet_reads_as_in_csv() {
    let files = [("components", COMPONENTS), ("lists/a", LIST)];
    let (csv, parquet) = (plant(&files, false), plant(&files, true));
    let (csv, parquet) = (read(csv.path()), read(parquet.path()));
    assert_eq!(csv.plant.components, parquet.plant.components);
    let keys = |reading: &Reading| reading.lists.circuits().iter().map(|own| own.key.clone()).collect::<Vec<_>>();
    assert_eq!(keys(&csv), keys(&parquet));
    assert_eq!(keys(&csv).len(), 2);
    for index in 0..2 {
        assert_eq!(csv.lists.lines(index).unwrap().lines, parquet.lists.lines(index).unwrap().lines);
    }
}

/// What is no table, and what breaks off, is one sentence.
#[test]
fn a_parquet_file_that_can_not_be_read_is_told() {
    let files = [("components", COMPONENTS), ("lists/a", LIST)];
    let folder = plant(&files, true);
    let path = folder.path().join("lists/a.parquet");
    let bytes = fs::read(&path).unwrap();
    for broken in [&bytes[..bytes.len() / 2], b"part_no,qty\nA,1\n"] {
        fs::write(&path, broken).unwrap();
        assert_eq!(
            open(folder.path(), None, NaiveDate::default()).unwrap_err().to_string(),
            "lists/a.parquet: the file is truncated, damaged or no Parquet file."
        );
    }
}

/// Files of another writer: dates are refused with a way out, dictionaries and floats of 32 bits are read.
#[test]
fn files_of_another_writer_are_read_or_told() {
    let foreign = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/foreign/pyarrow");
    let folder = plant(&[("components", "part_no,kind\nA,clamp\nB,other\n")], false);
    let copy = |name: &str| fs::copy(foreign.join(name), folder.path().join("lists/a.parquet")).unwrap();
    copy("dates.parquet");
    assert_eq!(
        open(folder.path(), None, NaiveDate::default()).unwrap_err().to_string(),
        "lists/a.parquet: the column 'fitted_on' is kept as dates, which are not read from Parquet; write numbers of 32 or 64 bits or text, dates as text such as 2026-03-31, or save the table as CSV."
    );
    copy("words.parquet");
    let lines = read(folder.path()).lists.lines(0).unwrap().lines;
    // As made.py beside the file says: a float32 of 0.1 m is 0.1 m.
    let lengths: Vec<Option<f64>> =
        lines.iter().map(|line| line.length.value().map(clampbook::physics::quantity::Length::si)).collect();
    assert_eq!(lengths, [Some(0.1), None, Some(2.5)]);
    assert_eq!(lines.iter().map(|line| line.origin.row).collect::<Vec<_>>(), [2, 3, 4]);
}
