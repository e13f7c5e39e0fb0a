//! The starter's plant in a folder of its own, changed cell by cell, with what the runs on it say.

use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

use calamine::{Reader, Xlsx, open_workbook};
use clampbook::physics::unit::UnitSystem;
use clampbook::report::starter::{Form, write};
use tempfile::TempDir;

/// Cells by column.
pub type Row = BTreeMap<String, String>;
type Cells<'a> = &'a [(&'a str, &'a str)];

pub struct Scene {
    folder: TempDir,
}

/// What a run said, and what it wrote.
pub struct Run {
    pub status: i32,
    pub said: String,
    book: PathBuf,
    findings: Vec<Row>,
}

impl Run {
    /// The one finding of a rule on a part.
    pub fn finding(&self, rule: &str, part: &str) -> Row {
        let found: Vec<&Row> =
            self.findings.iter().filter(|row| row["rule"] == rule && row["part_no"] == part).collect();
        assert_eq!(found.len(), 1, "{rule} on {part}: {:#?}\n{}", self.findings, self.said);
        found[0].clone()
    }

    /// Names of the workbook's sheets.
    pub fn sheets(&self) -> Vec<String> {
        let book: Xlsx<_> = open_workbook(&self.book).unwrap();
        book.sheet_names()
    }

    fn rows(&self, sheet: &str) -> Vec<Vec<String>> {
        let mut book: Xlsx<_> = open_workbook(&self.book).unwrap();
        let range = book.worksheet_range(sheet).unwrap();
        range.rows().map(|row| row.iter().map(ToString::to_string).collect()).collect()
    }

    /// All words of a sheet.
    pub fn sheet(&self, sheet: &str) -> String {
        self.rows(sheet).concat().join(" ").split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// The row of a sheet that has a text in a column.
    pub fn row(&self, sheet: &str, column: usize, text: &str) -> Vec<String> {
        let rows = self.rows(sheet);
        rows.into_iter().find(|row| row[column] == text).unwrap_or_else(|| panic!("{sheet}: no row {text}"))
    }
}

fn bare(header: &str) -> &str {
    header.split('[').next().unwrap().trim()
}

fn holds(row: &[String], header: &[String], key: Cells) -> bool {
    key.iter().all(|(name, text)| header.iter().zip(row).any(|(title, cell)| bare(title) == *name && cell == text))
}

impl Scene {
    /// Four clamps and 2.3 m of tube are needed by 2027-03-31 and ordered; today is 2026-11-29.
    pub fn new() -> Self {
        let scene = Self { folder: tempfile::tempdir().unwrap() };
        write(&scene.plant(), Form::Csv, UnitSystem::Metric).unwrap();
        scene.write("policy.toml", "date = \"2026-11-29\"\n");
        scene
    }

    fn plant(&self) -> PathBuf {
        self.folder.path().join("plant")
    }

    pub fn write(&self, file: &str, text: &str) {
        fs::write(self.plant().join(file), text).unwrap();
    }

    fn change(&self, table: &str, change: impl FnOnce(&mut Vec<String>, &mut Vec<Vec<String>>)) {
        let path = self.plant().join(table);
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_path(&path).unwrap();
        let mut rows: Vec<Vec<String>> =
            reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
        let mut header = rows.remove(0);
        change(&mut header, &mut rows);
        let mut writer = csv::Writer::from_path(path).unwrap();
        writer.write_record(&header).unwrap();
        rows.iter().for_each(|row| writer.write_record(row).unwrap());
        writer.flush().unwrap();
    }

    fn put(row: &mut [String], header: &[String], cells: Cells) {
        for (name, text) in cells {
            let column = header.iter().position(|title| bare(title) == *name);
            (*text).clone_into(&mut row[column.unwrap_or_else(|| panic!("no column {name}"))]);
        }
    }

    /// Gives every row with these cells others.
    pub fn set(&self, table: &str, key: Cells, cells: Cells) {
        self.change(table, |header, rows| {
            let mut changed = 0;
            for row in rows.iter_mut().filter(|row| holds(row, header, key)) {
                Self::put(row, header, cells);
                changed += 1;
            }
            assert!(changed > 0, "{table}: no row {key:?}");
        });
    }

    /// Adds a copy of the first row with these cells, with other cells.
    pub fn add(&self, table: &str, key: Cells, cells: Cells) {
        self.change(table, |header, rows| {
            let mut row = rows.iter().find(|row| holds(row, header, key)).unwrap().clone();
            Self::put(&mut row, header, cells);
            rows.push(row);
        });
    }

    /// Takes rows away.
    pub fn remove(&self, table: &str, key: Cells) {
        self.change(table, |header, rows| rows.retain(|row| !holds(row, header, key)));
    }

    /// Gives a column another header.
    pub fn rename(&self, table: &str, column: &str, text: &str) {
        self.change(table, |header, _| {
            let title = header.iter_mut().find(|title| bare(title) == column).unwrap();
            text.clone_into(title);
        });
    }

    /// Adds a circuit with the same lines on another fixture.
    pub fn circuit(&self, fixture: &str, cells: Cells) {
        self.add("circuits.csv", &[], &[("fixture", fixture)]);
        self.set("circuits.csv", &[("fixture", fixture)], cells);
        self.change("lists/example.csv", |header, rows| {
            let more: Vec<Vec<String>> = rows
                .iter()
                .map(|row| {
                    let mut row = row.clone();
                    Self::put(&mut row, header, &[("fixture", fixture)]);
                    row
                })
                .collect();
            rows.extend(more);
        });
    }

    fn run(&self, arguments: &[&str], book: &str) -> Run {
        let (plant, data) = (self.plant(), self.folder.path().join("data"));
        let book = self.folder.path().join(book);
        let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
            .args(["check", plant.to_str().unwrap(), "--quiet", "--all", "--out", book.to_str().unwrap()])
            .args(["--data", data.to_str().unwrap()])
            .args(arguments)
            .output()
            .unwrap();
        let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        Run {
            status: output.status.code().unwrap(),
            said: said.split_whitespace().collect::<Vec<_>>().join(" "),
            book,
            findings: self.data("findings.csv"),
        }
    }

    /// A run of the whole.
    pub fn check(&self, arguments: &[&str]) -> Run {
        self.run(&[&["--no-remedies"], arguments].concat(), "report.xlsx")
    }

    /// A run for the buyer.
    pub fn buy(&self) -> Run {
        self.run(&["--only", "purchase", "--no-remedies"], "buy.xlsx")
    }

    /// The same with remedies looked for.
    pub fn buy_with_remedies(&self) -> Run {
        self.run(&["--only", "purchase"], "buy.xlsx")
    }

    /// The same with what proved remedies need.
    pub fn buy_applied(&self) -> Run {
        self.run(&["--only", "purchase", "--with-remedies"], "buy.xlsx")
    }

    /// Rows of a data file of the latest run.
    pub fn data(&self, file: &str) -> Vec<Row> {
        let mut reader = csv::Reader::from_path(self.folder.path().join("data").join(file)).unwrap();
        reader.deserialize().map(Result::unwrap).collect()
    }

    /// Subject and text of the mail on the whole report.
    pub fn mail(&self) -> String {
        let run = self.check(&[]);
        let eml = self.folder.path().join("mail.eml");
        let _ = fs::remove_file(&eml);
        let output = Command::new(env!("CARGO_BIN_EXE_clampbook"))
            .args(["mail", run.book.to_str().unwrap(), "--data"])
            .arg(self.folder.path().join("data"))
            .args(["--to", "a@example.com", "--from", "b@example.com", "--eml"])
            .arg(&eml)
            .output()
            .unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let bytes = fs::read(eml).unwrap();
        let mail = mail_parser::MessageParser::default().parse(&bytes).unwrap();
        let body = mail.body_text(0).unwrap().split_whitespace().collect::<Vec<_>>().join(" ");
        format!("{}\n\n{body}", mail.subject().unwrap())
    }

    /// Names of the calendar's entries by their day.
    pub fn calendar(&self) -> BTreeMap<String, String> {
        let file = self.folder.path().join("due.ics");
        self.check(&["--ical", file.to_str().unwrap()]);
        let text = fs::read_to_string(file).unwrap().replace("\r\n ", "");
        let value = |lines: &str, name: &str| {
            let line = lines.lines().find(|line| line.starts_with(name)).unwrap();
            line.rsplit_once(':').unwrap().1.trim().to_owned()
        };
        text.split("BEGIN:VEVENT").skip(1).map(|event| (value(event, "DTSTART"), value(event, "UID"))).collect()
    }
}
