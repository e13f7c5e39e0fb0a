//! The Parquet files hold what the data files hold, cell by cell.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use std::fs::File;
use std::path::Path;
use std::process::Command;

use polars::prelude::{AnyValue, DataFrame, DataType, ParquetReader, SerReader};

/// Columns whose numbers are amounts of money, or texts that look like numbers: they stay text.
const STAY_TEXT: &[&str] =
    &["unit_price", "extended", "price", "circuit", "fixture", "pallet", "position", "part_no", "found"];

fn read_back(path: &Path) -> DataFrame {
    ParquetReader::new(File::open(path).unwrap()).finish().unwrap()
}

fn assert_same(csv: &Path) {
    let name = csv.file_name().unwrap().to_string_lossy().into_owned();
    let frame = read_back(&csv.with_extension("parquet"));
    let mut reader = csv::Reader::from_path(csv).unwrap();
    let header: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(frame.get_column_names().iter().map(|name| name.as_str()).collect::<Vec<_>>(), header, "{name}");
    assert_eq!(frame.height(), rows.len(), "{name}");
    for (index, column) in header.iter().enumerate() {
        let held = frame.column(column).unwrap();
        if STAY_TEXT.contains(&column.as_str()) {
            assert_eq!(*held.dtype(), DataType::String, "{name}: {column}");
        }
        if column.ends_with("_bar") || column.ends_with("_cm3") || column == "measured" || column == "needed" {
            assert_eq!(*held.dtype(), DataType::Float64, "{name}: {column}");
        }
        for (number, row) in rows.iter().enumerate() {
            let cell = &row[index];
            let place = format!("{name}, row {}, {column}", number + 2);
            match held.get(number).unwrap() {
                AnyValue::Null => assert_eq!(cell, "", "{place}"),
                AnyValue::String(text) => assert_eq!(text, cell, "{place}"),
                AnyValue::Float64(value) => {
                    assert_eq!(value.to_bits(), cell.parse::<f64>().expect(&place).to_bits(), "{place}");
                }
                other => panic!("{place}: {other:?}"),
            }
        }
    }
}

#[test]
fn parquet_files_hold_the_values_of_the_data_files() {
    let folder = tempfile::tempdir().unwrap();
    let plant = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data/plant");
    let check = |data: &str, previous: Option<&str>| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_clampbook"));
        command.current_dir(folder.path()).arg("check").arg(&plant).args([
            "--data",
            data,
            "--parquet",
            "--sure",
            "--quiet",
        ]);
        command.args(previous.iter().flat_map(|previous| ["--previous", previous]));
        let ran = command.output().unwrap();
        assert!(matches!(ran.status.code(), Some(0 | 1)), "{}", String::from_utf8_lossy(&ran.stderr));
    };
    check("first", None);
    check("second", Some("first"));
    let entries = std::fs::read_dir(folder.path().join("second")).unwrap();
    let mut seen: Vec<String> = Vec::new();
    for path in entries.map(|entry| entry.unwrap().path()) {
        if path.extension().is_some_and(|ending| ending == "csv") {
            assert_same(&path);
            seen.push(path.file_stem().unwrap().to_string_lossy().into_owned());
        }
    }
    seen.sort();
    assert_eq!(seen, ["causes", "circuits", "cleared", "due", "findings", "input", "purchase", "remedies"]);
}
