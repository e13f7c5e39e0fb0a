//! What the mail tells, read from a `--data` folder.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;

use crate::report::run_folder::{RunFolder, RunFolderError};
use crate::report::summary::RunSummary;
use crate::report::whole_file::shown;

/// Findings that one part of the mail lists; the rest is counted.
pub const LISTED: usize = 40;

/// Why a data folder can't be used.
#[derive(Debug, thiserror::Error)]
pub enum DigestError {
    #[error("{}: there is no such file. --data names the --data folder of the run.", shown(.0))]
    Missing(PathBuf),
    #[error("{}: it can't be read: {why}.", shown(.path))]
    Unreadable { path: PathBuf, why: String },
    #[error(transparent)]
    Folder(#[from] RunFolderError),
    #[error("{}: the column '{column}' is missing.", shown(.path))]
    Column { path: PathBuf, column: &'static str },
    #[error(
        "{}: summary.json speaks of {expected} {what}, {file} holds {found}. The folder holds files of different runs; \
         run the check again.", shown(.folder)
    )]
    Mixed { folder: PathBuf, what: &'static str, file: &'static str, expected: u64, found: u64 },
}

/// A row of findings.csv or cleared.csv in words.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Item {
    pub rule: String,
    pub place: String,
    pub text: String,
}

/// The first items of a list and how many there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Items {
    pub first: Vec<Item>,
    pub total: u64,
}

impl Items {
    fn add(&mut self, item: impl FnOnce() -> Item) {
        self.total += 1;
        if self.first.len() < LISTED {
            self.first.push(item());
        }
    }
}

/// All that the mail says of a run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Digest {
    pub summary: RunSummary,
    /// New ones where there was an earlier run, else all.
    pub majors: Items,
    pub cleared: Items,
    pub not_assessed: Items,
}

impl Digest {
    /// Reads `summary.json`, `findings.csv`, `circuits.csv` and, where there was an earlier run,
    /// `cleared.csv`.
    ///
    /// # Errors
    /// Where one is missing, damaged or of another run: a sentence.
    pub fn load(folder: &Path) -> Result<Self, DigestError> {
        let summary = load_summary(&folder.join("summary.json"))?;
        let wanted_state = if summary.has_previous { "new" } else { "open" };
        let mut majors = Items::default();
        let run = RunFolder::open(folder)?;
        each_row(folder, "findings.csv", &run, &FINDING, |row| {
            if row.cell("severity") == "major" && row.cell("state") == wanted_state {
                majors.add(|| finding(row));
            }
        })?;
        let expected = if summary.has_previous { summary.changes.new_majors } else { summary.majors() };
        agree(folder, "majors to tell of", "findings.csv", expected, majors.total)?;
        let mut circuits = Circuits::default();
        circuits.load(folder, &run)?;
        agree(folder, "circuits", "circuits.csv", summary.circuits.total, circuits.codes.len() as u64)?;
        let mut cleared = Items::default();
        if summary.has_previous {
            each_row(folder, "cleared.csv", &run, &FINDING, |row| cleared.add(|| circuits.cleared(row)))?;
            agree(folder, "cleared findings", "cleared.csv", summary.changes.cleared, cleared.total)?;
        }
        Ok(Self { summary, majors, cleared, not_assessed: circuits.not_assessed })
    }
}

fn agree(folder: &Path, what: &'static str, file: &'static str, expected: u64, found: u64) -> Result<(), DigestError> {
    if expected == found {
        return Ok(());
    }
    Err(DigestError::Mixed { folder: folder.to_owned(), what, file, expected, found })
}

fn load_summary(path: &Path) -> Result<RunSummary, DigestError> {
    let unreadable = |why: String| DigestError::Unreadable { path: path.to_owned(), why };
    if std::fs::metadata(path).is_ok_and(|found| !found.is_file()) {
        return Err(unreadable("this is not a file".to_owned()));
    }
    let file = open(path)?;
    let summary: RunSummary =
        serde_json::from_reader(BufReader::new(file)).map_err(|error| unreadable(error.to_string()))?;
    if summary.date.len() != 10 || summary.date.parse::<NaiveDate>().is_err() {
        return Err(unreadable(format!(
            "its date is '{}'. Expected a date such as '2026-11-03'",
            summary.date.escape_debug()
        )));
    }
    Ok(summary)
}

fn open(path: &Path) -> Result<File, DigestError> {
    File::open(path).map_err(|error| match error.kind() {
        std::io::ErrorKind::NotFound => DigestError::Missing(path.to_owned()),
        _ => DigestError::Unreadable { path: path.to_owned(), why: error.to_string() },
    })
}

const PLACE: [&str; 4] = ["plant", "pallet", "fixture", "circuit"];
const FINDING: [&str; 10] =
    ["rule", "severity", "state", "plant", "pallet", "fixture", "circuit", "side", "position", "part_no"];
const CIRCUIT: [&str; 6] = ["plant", "pallet", "fixture", "circuit", "verdict", "not_assessed"];

/// A row, with its cells by column name.
struct Row<'a> {
    columns: &'a BTreeMap<String, usize>,
    record: &'a csv::StringRecord,
}

impl Row<'_> {
    fn cell(&self, column: &str) -> &str {
        self.columns.get(column).and_then(|at| self.record.get(*at)).unwrap_or_default()
    }

    fn place(&self) -> [String; 4] {
        PLACE.map(|column| self.cell(column).to_owned())
    }
}

fn each_row(
    folder: &Path,
    name: &str,
    run: &RunFolder,
    needed: &[&'static str],
    mut take: impl FnMut(&Row),
) -> Result<(), DigestError> {
    let path = folder.join(name);
    let unreadable = |error: csv::Error| DigestError::Unreadable { path: path.clone(), why: error.to_string() };
    let mut reader = csv::Reader::from_reader(run.file(name)?);
    let header = reader.headers().map_err(unreadable)?;
    let columns: BTreeMap<String, usize> = header.iter().enumerate().map(|(at, name)| (name.to_owned(), at)).collect();
    if let Some(column) = needed.iter().find(|column| !columns.contains_key(**column)) {
        return Err(DigestError::Column { path, column });
    }
    let mut record = csv::StringRecord::new();
    while reader.read_record(&mut record).map_err(unreadable)? {
        take(&Row { columns: &columns, record: &record });
    }
    Ok(())
}

/// Codes not assessed, by circuit.
#[derive(Default)]
struct Circuits {
    codes: BTreeMap<[String; 4], String>,
    not_assessed: Items,
}

impl Circuits {
    fn load(&mut self, folder: &Path, run: &RunFolder) -> Result<(), DigestError> {
        each_row(folder, "circuits.csv", run, &CIRCUIT, |row| {
            let codes = row.cell("not_assessed").to_owned();
            if row.cell("verdict") == "not assessed" {
                let text = if codes.is_empty() { "see the workbook".to_owned() } else { format!("rules {codes}") };
                self.not_assessed.add(|| Item { rule: String::new(), place: joined(&row.place()), text });
            }
            self.codes.insert(row.place(), codes);
        })
    }

    /// A cleared finding, with a word where it may be gone because nothing looked for it.
    fn cleared(&self, row: &Row) -> Item {
        let mut item = finding(row);
        let place = row.place();
        let doubt = match self.codes.get(&place) {
            None if place.iter().all(String::is_empty) => None,
            None => Some("The circuit is no longer on the lists."),
            Some(codes) if codes.split_whitespace().any(|code| code == item.rule) => {
                Some("The rule is not assessed on this circuit any more.")
            }
            Some(_) => None,
        };
        if let Some(doubt) = doubt {
            item.text = if item.text.is_empty() { doubt.to_owned() } else { format!("{} {doubt}", item.text) };
        }
        item
    }
}

fn finding(row: &Row) -> Item {
    let mut place = vec![joined(&row.place())];
    place.retain(|text| !text.is_empty());
    for (column, word) in [("side", "side"), ("position", "position"), ("part_no", "part")] {
        if !row.cell(column).is_empty() {
            place.push(format!("{word} {}", row.cell(column)));
        }
    }
    Item { rule: row.cell("rule").to_owned(), place: place.join(", "), text: row.cell("reason").to_owned() }
}

fn joined(place: &[String; 4]) -> String {
    let named: Vec<&str> = place.iter().map(String::as_str).filter(|text| !text.is_empty()).collect();
    named.join(" / ")
}
