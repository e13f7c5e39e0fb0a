//! What the mail tells, read from a `--data` folder.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::BufReader;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;
use rust_decimal::Decimal;

use crate::report::run_folder::{RunFolder, RunFolderError};
use crate::report::summary::RunSummary;
use crate::report::whole_file::shown;
use crate::rules::catalogue::rule;
use crate::tables::finding::Subject;

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

/// Majors that are gone, and how many of all that is gone may be so only because nothing looked for it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cleared {
    pub majors: Items,
    pub total: u64,
    /// The circuit left the lists.
    pub off_the_lists: u64,
    /// The rule is not assessed on its circuit any more.
    pub not_assessed: u64,
}

/// Proved changes to decide on.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Decisions {
    pub count: u64,
    /// Place, change and cost, those that clear most first.
    pub first: Vec<String>,
    /// By currency.
    pub costs: BTreeMap<String, Decimal>,
    pub unpriced: u64,
    /// Unsafe circuits in service of which no change clears anything.
    pub without: u64,
}

impl Decisions {
    /// `3250.00 EUR, 2610.00 USD`; empty where nothing has a price.
    #[must_use]
    pub fn cost_in_words(&self) -> String {
        let sums: Vec<String> = self.costs.iter().map(|(currency, sum)| cost(*sum, currency)).collect();
        sums.join(" + ")
    }
}

fn cost(sum: Decimal, currency: &str) -> String {
    format!("{sum:.2} {currency}").trim_end().to_owned()
}

/// More or fewer circuits that are unsafe in service.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SafetyChange {
    pub before: u64,
    pub now: u64,
}

impl SafetyChange {
    /// `3 more`, `2 fewer`, `as many as before`.
    #[must_use]
    pub fn in_words(self) -> String {
        match (self.now.checked_sub(self.before), self.before.checked_sub(self.now)) {
            (Some(0), _) => "as many as before".to_owned(),
            (Some(more), _) => format!("{more} more"),
            (None, fewer) => format!("{} fewer", fewer.unwrap_or_default()),
        }
    }
}

/// All that the mail says of a run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Digest {
    pub summary: RunSummary,
    /// New ones where there was an earlier run.
    pub new_majors: Items,
    /// Majors on unsafe circuits in service that are not new: the rules by place.
    pub standing: BTreeMap<String, Vec<String>>,
    pub cleared: Cleared,
    pub not_assessed: Items,
    pub decisions: Decisions,
}

impl Digest {
    /// Reads `summary.json`, `findings.csv`, `circuits.csv`, `remedies.csv` where remedies were searched, and, where
    /// there was an earlier run, `cleared.csv`.
    ///
    /// # Errors
    /// Where one is missing, damaged or of another run: a sentence.
    pub fn load(folder: &Path) -> Result<Self, DigestError> {
        let summary = load_summary(&folder.join("summary.json"))?;
        let in_service: BTreeSet<[String; 4]> = summary
            .unsafe_in_service
            .iter()
            .map(|circuit| [&circuit.plant, &circuit.pallet, &circuit.fixture, &circuit.circuit].map(String::clone))
            .collect();
        let run = RunFolder::open(folder)?;
        let mut new_majors = Items::default();
        let mut standing: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let mut majors = 0;
        each_row(folder, "findings.csv", &run, &FINDING, |row| {
            if row.cell("severity") != "major" || row.cell("state") == "waived" {
                return;
            }
            majors += 1;
            let place = row.place();
            if row.cell("state") == "new" {
                new_majors.add(|| finding(row));
            } else if in_service.contains(&place) {
                standing.entry(joined(&place)).or_default().push(row.cell("rule").to_owned());
            }
        })?;
        agree(folder, "majors to tell of", "findings.csv", summary.majors(), majors)?;
        if summary.has_previous {
            agree(folder, "new majors to tell of", "findings.csv", summary.changes.new_majors, new_majors.total)?;
        }
        let mut circuits = Circuits::default();
        circuits.load(folder, &run)?;
        agree(folder, "circuits", "circuits.csv", summary.circuits.total, circuits.codes.len() as u64)?;
        let mut cleared = Cleared::default();
        if summary.has_previous {
            each_row(folder, "cleared.csv", &run, &FINDING, |row| circuits.add_cleared(&mut cleared, row))?;
            agree(folder, "cleared findings", "cleared.csv", summary.changes.cleared, cleared.total)?;
        }
        let mut decisions = Decisions::default();
        if summary.files.contains_key("remedies.csv") {
            let mut taken = Taken { in_service, ..Taken::default() };
            each_row(folder, "remedies.csv", &run, &REMEDY, |row| taken.add(&mut decisions, row))?;
            decisions.without = taken.in_service.difference(&taken.helped).count() as u64;
        }
        Ok(Self { summary, new_majors, standing, cleared, not_assessed: circuits.not_assessed, decisions })
    }

    /// How many circuits in service are unsafe now and were before; `None` where that is not known.
    #[must_use]
    pub fn change(&self) -> Option<SafetyChange> {
        let earlier = self.summary.earlier.as_ref().filter(|earlier| earlier.in_service.total > 0)?;
        let (before, now) = (earlier.in_service.does_not_conform, self.summary.in_service.does_not_conform);
        Some(SafetyChange { before, now })
    }
}

/// Remedies of which each is to be decided: of several that clear the same, the first.
#[derive(Default)]
struct Taken {
    in_service: BTreeSet<[String; 4]>,
    helped: BTreeSet<[String; 4]>,
    cleared: BTreeSet<(String, String)>,
}

impl Taken {
    fn add(&mut self, decisions: &mut Decisions, row: &Row) {
        let place = row.place();
        // A change of a part or a station stands on no single circuit.
        let is_shared = place.iter().all(String::is_empty);
        if !is_shared && !self.in_service.contains(&place) {
            return;
        }
        let subject = if is_shared {
            [row.cell("position"), row.cell("part_from")].join(" ").trim().to_owned()
        } else {
            joined(&place)
        };
        let rules: Vec<&str> = row.cell("rules").split_whitespace().collect();
        let mut is_wanted = false;
        for code in &rules {
            is_wanted |= self.cleared.insert((subject.clone(), (*code).to_owned()));
        }
        if !is_wanted {
            return;
        }
        if !is_shared {
            self.helped.insert(place);
        }
        decisions.count += 1;
        let price: Option<Decimal> = row.cell("price").parse().ok();
        let price_in_words = match price {
            Some(price) => {
                *decisions.costs.entry(row.cell("currency").to_owned()).or_default() += price;
                cost(price, row.cell("currency"))
            }
            None if row.cell("change") == "setting" => "no part to buy".to_owned(),
            None => {
                decisions.unpriced += 1;
                "no price stated".to_owned()
            }
        };
        if decisions.first.len() < LISTED {
            let titles: Vec<&str> = rules.iter().filter_map(|code| rule(code).map(|rule| rule.title)).collect();
            decisions.first.push(format!(
                "{subject}: {} ({price_in_words}). Clears: {}.",
                change(row),
                titles.join("; ")
            ));
        }
    }
}

/// A remedy in a few words.
fn change(row: &Row) -> String {
    let (from, to) = (row.cell("part_from"), row.cell("part_to"));
    let setting = [row.cell("setting"), row.cell("unit")].join(" ");
    let setting = setting.trim();
    match row.cell("change") {
        "part" => format!("{from} becomes {to}"),
        "setting" => format!("{} set to {setting}", if from.is_empty() { "the pump" } else { from }),
        "accumulator" => format!("add {to}, precharge {setting}"),
        "addition" => format!("add {to}"),
        "split" => format!("split into circuits with {}", to.replace(' ', " and ")),
        other => format!("{other} {from} {to} {setting}"),
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

const REMEDY: [&str; 11] =
    ["change", "part_from", "part_to", "setting", "unit", "plant", "pallet", "fixture", "circuit", "rules", "price"];

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

    /// Counts what is gone, with a word where it may be so because nothing looked for it. What stood on no circuit
    /// (a waiver, a part, a station, an order, a header) left no list.
    fn add_cleared(&self, cleared: &mut Cleared, row: &Row) {
        let place = row.place();
        let code = row.cell("rule");
        let is_of_circuit = rule(code).is_none_or(|rule| {
            matches!(rule.subject, Subject::Circuit | Subject::Side | Subject::Line)
                && place.iter().any(|name| !name.is_empty())
        });
        let doubt = match self.codes.get(&place) {
            _ if !is_of_circuit => None,
            None => {
                cleared.off_the_lists += 1;
                Some("The circuit is no longer on the lists.")
            }
            Some(codes) if codes.split_whitespace().any(|known| known == code) => {
                cleared.not_assessed += 1;
                Some("The rule is not assessed on this circuit any more.")
            }
            Some(_) => None,
        };
        cleared.total += 1;
        if row.cell("severity") != "major" {
            return;
        }
        cleared.majors.add(|| {
            let mut item = finding(row);
            if let Some(doubt) = doubt {
                item.text = if item.text.is_empty() { doubt.to_owned() } else { format!("{} {doubt}", item.text) };
            }
            item
        });
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
    named.join("/")
}
