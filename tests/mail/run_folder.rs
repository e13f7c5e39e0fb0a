//! A report with its data folder, as a run leaves them, and a policy for a server.

use std::fs;
use std::path::{Path, PathBuf};

use clampbook::audit::counts::{ChangeCounts, SeverityCounts, VerdictCounts};
use clampbook::audit::previous::FINDING_COLUMNS;
use clampbook::cli::mail::MailArgs;
use clampbook::report::summary::RunSummary;
use clampbook::tables::policy::Mail;
use tempfile::TempDir;

pub struct RunFolder {
    pub folder: TempDir,
}

const CIRCUITS: &str = "plant,pallet,fixture,circuit,verdict,not_assessed\n\
    North,P1,F1,1,does not conform,\n\
    North,P1,F2,1,does not conform,H02 H03\n\
    South,P9,F1,1,not assessed,V01 V02\n";

/// Rule, severity, state, fixture, position and reason of a finding.
type Row = (&'static str, &'static str, &'static str, &'static str, &'static str, &'static str);

const FINDINGS: [Row; 4] = [
    ("P05", "major", "new", "F1", "C3", "Rated 250 bar, sees 310 bar."),
    ("H02", "major", "standing", "F2", "", "Falls to 82 bar, at least 120 bar is wanted."),
    ("T01", "minor", "new", "F1", "", "Takes 4.2 s, at most 3.0 s is wanted."),
    ("P06", "major", "new", "F2", "C1", "A <reason> with ümlauts & \"quotes\""),
];
const CLEARED: [Row; 2] = [
    ("H03", "major", "standing", "F2", "", "Fell to 90 bar."),
    ("V01", "major", "standing", "F8", "", "Filled to 0.95."),
];

fn csv(rows: &[Row]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(FINDING_COLUMNS).unwrap();
    for (rule, severity, state, fixture, position, reason) in rows {
        let mut record =
            vec![*rule, severity, state, "North", "P1", fixture, "1", "clamp", position, "4711", "", "", ""];
        record.push(reason);
        record.resize(FINDING_COLUMNS.len(), "");
        writer.write_record(record).unwrap();
    }
    String::from_utf8(writer.into_inner().unwrap()).unwrap()
}

/// Bytes of every value that only look like a workbook from the outside; lines of dots among
/// them would end a mail early if they were not stuffed.
pub fn workbook() -> Vec<u8> {
    let mut bytes = b"PK\x03\x04\r\n.\r\n".to_vec();
    bytes.extend((0..300_000u32).map(|number| (number.wrapping_mul(2_654_435_761) >> 13).to_le_bytes()[0]));
    bytes
}

impl RunFolder {
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let run = Self { folder };
        fs::create_dir(run.data()).unwrap();
        fs::write(run.report(), workbook()).unwrap();
        fs::write(run.data().join("findings.csv"), csv(&FINDINGS)).unwrap();
        fs::write(run.data().join("cleared.csv"), csv(&CLEARED)).unwrap();
        fs::write(run.data().join("circuits.csv"), CIRCUITS).unwrap();
        run.write_summary(&summary());
        run
    }

    pub fn write_summary(&self, summary: &RunSummary) {
        let mut bytes = Vec::new();
        summary.write(&mut bytes).unwrap();
        fs::write(self.data().join("summary.json"), bytes).unwrap();
    }

    pub fn path(&self) -> &Path {
        self.folder.path()
    }

    pub fn report(&self) -> PathBuf {
        self.path().join("report.xlsx")
    }

    pub fn data(&self) -> PathBuf {
        self.path().join("data")
    }

    pub fn journal(&self) -> PathBuf {
        self.path().join("report.xlsx.sent.json")
    }

    pub fn args(&self, to: &[&str]) -> MailArgs {
        let to = to.iter().map(|to| (*to).to_owned()).collect();
        MailArgs { report: self.report(), data: self.data(), to, eml: None, again: false, policy: None }
    }
}

pub fn summary() -> RunSummary {
    RunSummary {
        tool: "clampbook 0.1.0".to_owned(),
        date: "2026-11-03".to_owned(),
        policy_hash: "0123456789abcdef".to_owned(),
        plants: vec!["North".to_owned(), "South".to_owned()],
        circuits: VerdictCounts { total: 3, does_not_conform: 2, not_assessed: 1, ..VerdictCounts::default() },
        findings: SeverityCounts { majors: 3, minors: 1, ..SeverityCounts::default() },
        has_previous: true,
        changes: ChangeCounts { new: 3, standing: 1, cleared: 2, new_majors: 2, standing_majors: 1 },
        ..RunSummary::default()
    }
}

pub fn policy(port: u16, security: &str) -> Mail {
    Mail {
        host: "localhost".to_owned(),
        port: Some(port),
        security: security.to_owned(),
        from: "Clamping audit <audit@example.com>".to_owned(),
        ..Mail::default()
    }
}
