//! One row per run, for the trend: the `--history` file.

use std::collections::BTreeMap;
use std::io;
use std::path::Path;

use chrono::NaiveDate;
use csv::StringRecord;

use crate::audit::outcome::HistoryRow;

use super::summary::RunSummary;
use super::whole_file::{OutputError, WholeFile, shown};

/// The columns of the history file.
pub const COLUMNS: [&str; 11] = [
    "date",
    "circuits",
    "conforming",
    "majors",
    "minors",
    "waived",
    "not_assessed",
    "tool",
    "policy_hash",
    "in_service",
    "unsafe_in_service",
];
/// How many of them files of earlier versions have; the others are then not known.
const EARLIER: usize = 9;

/// The runs so far and this one.
#[derive(Debug)]
pub struct History {
    /// Oldest first; empty where the file is damaged.
    pub rows: Vec<HistoryRow>,
    /// Why the file is left alone, in a sentence; `None` where it is sound.
    pub warning: Option<String>,
}

impl History {
    /// Reads the file, if there is one, and adds this run; a run of the same date is replaced.
    /// A damaged file is no reason to stop: it is reported and left as it is.
    #[must_use]
    pub fn with(path: &Path, run: HistoryRow) -> Self {
        match read(path) {
            Ok(earlier) => {
                let mut by_date: BTreeMap<String, HistoryRow> =
                    earlier.into_iter().map(|row| (row.date.clone(), row)).collect();
                by_date.insert(run.date.clone(), run);
                Self { rows: by_date.into_values().collect(), warning: None }
            }
            Err(why) => {
                let warning =
                    format!("{}: {why} The history is left as it is and this run is not added to it.", shown(path));
                Self { rows: Vec::new(), warning: Some(warning) }
            }
        }
    }

    /// The whole file anew, to be committed with the other outputs; `None` where the file that
    /// stands there is damaged.
    ///
    /// # Errors
    /// Where it can't be written: a sentence.
    pub fn rewritten(&self, path: &Path) -> Result<Option<WholeFile>, OutputError> {
        if self.warning.is_some() {
            return Ok(None);
        }
        let mut file = WholeFile::create(path)?;
        match self.write(&mut file) {
            Ok(()) => Ok(Some(file)),
            Err(error) => Err(file.failure().unwrap_or_else(|| OutputError::from_io(path, error))),
        }
    }

    fn write(&self, writer: impl io::Write) -> io::Result<()> {
        let mut writer = csv::Writer::from_writer(writer);
        writer.write_record(COLUMNS)?;
        for row in &self.rows {
            writer.write_record(cells(row))?;
        }
        writer.flush()
    }
}

/// The row of a run. Majors, minors and waived are those of all kinds, purchasing included: the
/// rows of `findings.csv`. Conforming are the circuits that conform, with waivers or without.
#[must_use]
pub fn row_of<Pallets>(summary: &RunSummary<Pallets>) -> HistoryRow {
    HistoryRow {
        date: summary.date.clone(),
        circuits: summary.circuits.total,
        conforming: summary.circuits.conforming(),
        majors: summary.majors(),
        minors: summary.minors(),
        waived: summary.waived(),
        not_assessed: summary.circuits.not_assessed,
        tool: summary.tool.clone(),
        policy_hash: summary.policy_hash.clone(),
        in_service: Some(summary.in_service.total),
        unsafe_in_service: Some(summary.in_service.does_not_conform),
    }
}

fn cells(row: &HistoryRow) -> [String; 11] {
    let counts = [row.circuits, row.conforming, row.majors, row.minors, row.waived, row.not_assessed];
    let [circuits, conforming, majors, minors, waived, not_assessed] = counts.map(|count| count.to_string());
    let (tool, policy_hash) = (row.tool.clone(), row.policy_hash.clone());
    let [in_service, unsafe_in_service] =
        [row.in_service, row.unsafe_in_service].map(|count| count.map_or_else(String::new, |count| count.to_string()));
    let date = row.date.clone();
    [date, circuits, conforming, majors, minors, waived, not_assessed, tool, policy_hash, in_service, unsafe_in_service]
}

fn read(path: &Path) -> Result<Vec<HistoryRow>, String> {
    let bytes = match std::fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(format!("it can't be read ({error}).")),
    };
    if bytes.is_empty() {
        return Ok(Vec::new());
    }
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(bytes.as_slice());
    let mut records = reader.records().map(|record| record.map_err(|error| format!("it can't be read ({error}).")));
    let header = records.next().transpose()?.unwrap_or_default();
    let columns = header.len();
    if !COLUMNS.starts_with(&header.iter().collect::<Vec<_>>()) || columns < EARLIER {
        return Err(format!("its first row is not the columns of a history ({}).", COLUMNS.join(",")));
    }
    records.map(|record| parse(&record?, columns)).collect()
}

fn parse(record: &StringRecord, columns: usize) -> Result<HistoryRow, String> {
    let line = record.position().map_or(0, csv::Position::line);
    if record.len() != columns {
        return Err(format!("line {line} has {} cells. Expected {columns}.", record.len()));
    }
    let cell = |at: usize| record.get(at).unwrap_or_default();
    let count = |at: usize| {
        let wrong = |_| format!("line {line} ({}): found '{}'. Expected a whole number.", COLUMNS[at], cell(at));
        cell(at).parse::<u64>().map_err(wrong)
    };
    let known = |at: usize| if cell(at).is_empty() { Ok(None) } else { count(at).map(Some) };
    if cell(0).len() != 10 || cell(0).parse::<NaiveDate>().is_err() {
        return Err(format!("line {line} (date): found '{}'. Expected a date such as '2026-11-03'.", cell(0)));
    }
    Ok(HistoryRow {
        date: cell(0).to_owned(),
        circuits: count(1)?,
        conforming: count(2)?,
        majors: count(3)?,
        minors: count(4)?,
        waived: count(5)?,
        not_assessed: count(6)?,
        tool: cell(7).to_owned(),
        policy_hash: cell(8).to_owned(),
        in_service: known(9)?,
        unsafe_in_service: known(10)?,
    })
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    const HEADER: &str =
        "date,circuits,conforming,majors,minors,waived,not_assessed,tool,policy_hash,in_service,unsafe_in_service\n";

    fn run(date: &str, majors: u64) -> HistoryRow {
        HistoryRow {
            date: date.to_owned(),
            circuits: 412,
            conforming: 380,
            majors,
            minors: 30,
            waived: 3,
            not_assessed: 4,
            tool: "clampbook 0.1.0".to_owned(),
            policy_hash: "ab12".to_owned(),
            in_service: Some(300),
            unsafe_in_service: Some(7),
        }
    }

    fn appended(path: &Path, row: HistoryRow) -> History {
        let history = History::with(path, row);
        if let Some(file) = history.rewritten(path).unwrap() {
            file.commit().unwrap();
        }
        history
    }

    #[test]
    fn runs_are_kept_by_date_and_the_same_date_replaces() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("history.csv");
        appended(&path, run("2026-11-03", 12));
        appended(&path, run("2026-10-01", 20));
        let history = appended(&path, run("2026-11-03", 11));
        assert_eq!(history.warning, None);
        assert_eq!(history.rows, [run("2026-10-01", 20), run("2026-11-03", 11)]);
        let expected = "2026-10-01,412,380,20,30,3,4,clampbook 0.1.0,ab12,300,7\n\
             2026-11-03,412,380,11,30,3,4,clampbook 0.1.0,ab12,300,7\n";
        assert_eq!(fs::read_to_string(&path).unwrap(), format!("{HEADER}{expected}"));
    }

    /// A file of an earlier version goes on, and what it didn't keep stays blank.
    #[test]
    fn a_history_without_the_newer_columns_goes_on() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("history.csv");
        let earlier = "date,circuits,conforming,majors,minors,waived,not_assessed,tool,policy_hash\n\
                       2026-10-01,412,380,20,30,3,4,clampbook 0.0.9,ab12\n";
        fs::write(&path, earlier).unwrap();
        let history = appended(&path, run("2026-11-03", 11));
        assert_eq!((history.warning, history.rows[0].in_service), (None, None));
        let expected = "2026-10-01,412,380,20,30,3,4,clampbook 0.0.9,ab12,,\n\
                        2026-11-03,412,380,11,30,3,4,clampbook 0.1.0,ab12,300,7\n";
        assert_eq!(fs::read_to_string(&path).unwrap(), format!("{HEADER}{expected}"));
        assert_eq!(History::with(&path, run("2026-12-03", 9)).rows.len(), 3);
    }

    #[test]
    fn a_damaged_history_is_reported_and_left_alone() {
        let damaged = [
            ("date;circuits\n", "its first row"),
            (&format!("{HEADER}2026-11-03,412,380,12\n"), "line 2 has 4 cells"),
            (&format!("{HEADER}2026-11-03,412,380,many,30,3,4,t,h,3,1\n"), "line 2 (majors): found 'many'"),
            (&format!("{HEADER}3.11.2026,412,380,1,30,3,4,t,h,3,1\n"), "line 2 (date): found '3.11.2026'"),
            (&format!("{HEADER}2026-11-03,412,380,1,30,3,4,t,h,3,1\n\"2026"), "line 3 has 1 cells"),
        ];
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("history.csv");
        for (text, expected) in damaged {
            fs::write(&path, text).unwrap();
            let history = appended(&path, run("2026-12-01", 1));
            let warning = history.warning.unwrap();
            assert!(warning.contains(expected) && warning.contains("left as it is"), "{warning}");
            assert!(history.rows.is_empty());
            assert_eq!(fs::read_to_string(&path).unwrap(), text);
        }
        fs::write(&path, b"date,\xff\xfe\n").unwrap();
        assert!(appended(&path, run("2026-12-01", 1)).warning.unwrap().contains("can't be read"));
        assert_eq!(fs::read(&path).unwrap(), b"date,\xff\xfe\n");
    }
}
