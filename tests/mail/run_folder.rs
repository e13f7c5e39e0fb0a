//! A report with its data folder, as a run leaves them, and a policy for a server.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use clampbook::audit::counts::{
    ChangeCounts, PalletCounts, ReachCounts, SeverityCounts, UnassessedCircuit, UnsafeCircuit, VerdictCounts,
};
use clampbook::audit::outcome::HistoryRow;
use clampbook::audit::previous::FINDING_COLUMNS;
use clampbook::cli::mail::MailArgs;
use clampbook::report::summary::{EarlierRun, MissingCell, RunSummary};
use clampbook::tables::policy::Mail;
use sha2::{Digest, Sha256};
use tempfile::TempDir;

/// The id of the run.
pub const RUN: &str = "0011223344556677";

pub struct RunFolder {
    pub folder: TempDir,
}

const CIRCUITS: &str = "plant,pallet,fixture,circuit,verdict,not_assessed\n\
    North,P1,F1,1,does not conform,\n\
    North,P1,F2,1,does not conform,H02 H03\n\
    South,P9,F1,1,not assessed,V01 V02\n";

/// Rule, severity, state, fixture, position and reason of a finding.
type Row = (&'static str, &'static str, &'static str, &'static str, &'static str, &'static str);

const FINDINGS: [Row; 5] = [
    ("P05", "major", "new", "F1", "C3", "Rated 250 bar, sees 310 bar."),
    ("H02", "major", "standing", "F2", "", "Falls to 82 bar, at least 120 bar is wanted."),
    ("T01", "minor", "new", "F1", "", "Takes 4.2 s, at most 3.0 s is wanted."),
    ("P06", "major", "new", "F2", "C1", "A <reason> with ümlauts & \"quotes\""),
    // A waiver's row has the place that the waiver has: no further major of the circuit.
    ("W01", "major", "standing", "F2", "", "Expired on 2026-10-30."),
];
const REMEDIES: &str = "change,part_from,part_to,setting,unit,plant,pallet,fixture,circuit,position,rules,cleared,price,currency,applied\n\
    part,4711,4712,,,North,P1,F1,1,C3,P05 P14,2,325,EUR,\n\
    setting,4713,,90,bar,North,P1,F1,1,C3,P05,1,,,\n\
    part,4711,4714,,,South,P9,F1,1,C3,P05,1,99,EUR,\n";
const CLEARED: [Row; 3] = [
    // Its place is the waiver's: no circuit of that name was ever on the lists.
    ("W01", "major", "standing", "*", "", "Expired on 2026-10-31."),
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
    workbook_of(RUN, 300_000)
}

/// A package that says which run wrote it, and holds so many further bytes.
pub fn workbook_of(run: &str, count: u32) -> Vec<u8> {
    let mut package = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let stored = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Stored);
    package.start_file("docProps/core.xml", stored).unwrap();
    write!(package, "<dc:description>Written by clampbook 0.1.0, run {run}</dc:description>").unwrap();
    package.start_file("xl/workbook.xml", stored).unwrap();
    let bytes = (0..count).map(|number| (number.wrapping_mul(2_654_435_761) >> 13).to_le_bytes()[0]);
    package.write_all(&b"\r\n.\r\n".iter().copied().chain(bytes).collect::<Vec<u8>>()).unwrap();
    package.finish().unwrap().into_inner()
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
        fs::write(run.data().join("remedies.csv"), REMEDIES).unwrap();
        run.write_summary(&summary());
        run
    }

    pub fn write_summary(&self, summary: &RunSummary) {
        let mut bytes = Vec::new();
        let hashed = |name: &str| {
            let bytes = fs::read(self.data().join(name)).ok()?;
            Some((name.to_owned(), format!("{:x}", Sha256::digest(bytes))))
        };
        let files = ["circuits.csv", "cleared.csv", "findings.csv", "purchase.csv", "remedies.csv"]
            .into_iter()
            .filter_map(hashed)
            .collect();
        let summary = RunSummary { run: RUN.to_owned(), files, ..summary.clone() };
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
        MailArgs {
            report: self.report(),
            data: self.data(),
            to,
            from: None,
            eml: None,
            again: false,
            replace: false,
            policy: None,
        }
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
        waivers: SeverityCounts { majors: 1, ..SeverityCounts::default() },
        // Of two changes that clear P05 of F1 the second row is the alternative.
        changes_apart: vec![1],
        // By hand: F1 has a change for P05 and none for T01, F2 has none.
        reach_in_service: ReachCounts { some: 1, none: 1, ..ReachCounts::default() },
        missing: vec![MissingCell {
            cell: "circuits.csv, row 7, hold_time".to_owned(),
            circuits: 9,
            ..MissingCell::default()
        }],
        not_assessed: vec![unassessed("components.csv, row 90, leak")],
        has_previous: true,
        changes: ChangeCounts { new: 3, standing: 2, cleared: 3, new_majors: 2, standing_majors: 2 },
        in_service: VerdictCounts { total: 2, does_not_conform: 2, ..VerdictCounts::default() },
        unsafe_in_service: ["F1", "F2"].map(unsafe_circuit).to_vec(),
        earlier: Some(EarlierRun {
            date: "2026-10-03".to_owned(),
            in_service: VerdictCounts { total: 2, does_not_conform: 1, ..VerdictCounts::default() },
            ..EarlierRun::default()
        }),
        by_pallet: vec![pallet("North", "P1", 2, 2, 3), pallet("South", "P9", 1, 0, 0)],
        history: (1..=12).map(month).collect(),
        ..RunSummary::default()
    }
}

fn unassessed(cell: &str) -> UnassessedCircuit {
    let [plant, pallet, fixture, circuit] = ["South", "P9", "F1", "1"].map(str::to_owned);
    UnassessedCircuit { plant, pallet, fixture, circuit, cell: cell.to_owned() }
}

pub fn unsafe_circuit(fixture: &str) -> UnsafeCircuit {
    let [plant, pallet, fixture, circuit] = ["North", "P1", fixture, "1"].map(str::to_owned);
    UnsafeCircuit { plant, pallet, fixture, circuit }
}

fn pallet(plant: &str, pallet: &str, total: u64, in_service: u64, majors: u64) -> PalletCounts {
    let of = |total, does_not_conform| VerdictCounts { total, does_not_conform, ..VerdictCounts::default() };
    PalletCounts {
        plant: plant.to_owned(),
        pallet: pallet.to_owned(),
        circuits: of(total, in_service),
        in_service: of(in_service, in_service),
        may_be_in_service: VerdictCounts::default(),
        majors,
        minors: 0,
    }
}

fn month(number: u64) -> HistoryRow {
    HistoryRow {
        date: format!("2026-{number:02}-03"),
        circuits: 40,
        conforming: 20 + number,
        majors: 50 - 3 * number,
        not_assessed: number % 4,
        ..HistoryRow::default()
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
