//! A row of a table of published values.

use std::collections::BTreeMap;
use std::path::Path;

use clampbook::physics::unit::Unit;

pub struct Row {
    pub place: String,
    pub function: String,
    pub arguments: String,
    pub expected: f64,
    pub tolerance: f64,
    pub unit: String,
    pub source: String,
    pub kind: String,
    values: BTreeMap<String, String>,
}

impl Row {
    pub fn text(&self, name: &str) -> Option<&str> {
        self.values.get(name).map(String::as_str)
    }

    /// A number in SI: "10 in2" is 0.0064516, "0.3" is 0.3.
    pub fn maybe(&self, name: &str) -> Option<f64> {
        let text = self.text(name)?;
        let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
        let number: f64 = number.parse().unwrap_or_else(|_| panic!("{}: '{text}'", self.place));
        if unit.is_empty() {
            return Some(number);
        }
        let unit = Unit::find(unit).unwrap_or_else(|| panic!("{}: unit '{unit}'", self.place));
        Some(unit.to_si(number))
    }

    pub fn get(&self, name: &str) -> f64 {
        self.maybe(name).unwrap_or_else(|| panic!("{}: no {name}", self.place))
    }

    /// A result in SI in the row's unit; units without a scale of ours are SI already.
    pub fn in_unit(&self, si: f64) -> f64 {
        match self.unit.as_str() {
            "mm2/s" => si * 1e6,
            "1" | "m3" | "kg/m3" | "Pa s" | "Pa s/m3" | "m3/(s Pa)" => si,
            unit => Unit::find(unit).unwrap_or_else(|| panic!("{}: unit '{unit}'", self.place)).from_si(si),
        }
    }
}

/// All rows of all tables, in the order of the files' names.
pub fn rows() -> Vec<Row> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/published");
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "csv"))
        .collect();
    files.sort();
    let mut rows = Vec::new();
    for file in files {
        let name = file.file_name().unwrap().to_string_lossy().into_owned();
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_path(&file).unwrap();
        for record in reader.records() {
            let record = record.unwrap_or_else(|error| panic!("{name}: {error}"));
            let line = record.position().map_or(0, csv::Position::line);
            rows.push(row(format!("{name}, line {line}"), &record));
        }
    }
    rows
}

fn row(place: String, record: &csv::StringRecord) -> Row {
    let number = |column: usize| {
        let text = &record[column];
        text.parse().unwrap_or_else(|_| panic!("{place}: '{text}' is no number"))
    };
    let values = record[1]
        .split(';')
        .map(|pair| {
            let (name, value) = pair.split_once('=').unwrap_or_else(|| panic!("{place}: argument '{pair}'"));
            (name.trim().to_owned(), value.trim().to_owned())
        })
        .collect();
    Row {
        expected: number(2),
        tolerance: number(3),
        function: record[0].to_owned(),
        arguments: record[1].to_owned(),
        unit: record[4].to_owned(),
        source: record[5].to_owned(),
        kind: record[6].to_owned(),
        values,
        place,
    }
}
