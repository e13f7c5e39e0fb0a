//! A run of the program, and what it wrote.

use std::collections::BTreeMap;
use std::env;
use std::fs;
use std::path::PathBuf;
use std::process::{Command, Stdio};
use std::time::Duration;

use crate::ended::ended;
use crate::tables::Plant;

/// Some hundred times what a run of a dozen lines takes; the status of one that takes more is -1.
const PATIENCE: Duration = Duration::from_secs(20);

/// The program; another one than Cargo built where the variable names it.
fn program() -> PathBuf {
    env::var_os("CLAMPBOOK_BIN").map_or_else(|| PathBuf::from(env!("CARGO_BIN_EXE_clampbook")), PathBuf::from)
}

pub type Record = BTreeMap<String, String>;

/// What a run said and wrote.
pub struct Report {
    pub status: i32,
    pub files: BTreeMap<String, Vec<u8>>,
}

impl Report {
    pub fn of(plant: &Plant, threads: &str, with_workbook: bool) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let (root, data) = (folder.path().join("plant"), folder.path().join("data"));
        plant.write(&root);
        let mut command = Command::new(program());
        command.arg("check").arg(&root).arg("--data").arg(&data).args(["--quiet", "--threads", threads]);
        if with_workbook {
            command.arg("--out").arg(data.with_file_name("report.xlsx"));
        }
        let complaints = folder.path().join("complaints");
        let mut child = command.stdout(Stdio::null()).stderr(fs::File::create(&complaints).unwrap()).spawn().unwrap();
        let status = ended(&mut child, PATIENCE).and_then(|status| status.code()).unwrap_or(-1);
        let said = fs::read_to_string(&complaints).unwrap();
        assert!(matches!(status, 0 | 1) && said.is_empty(), "status {status}: {said}");
        let mut files: BTreeMap<_, _> = fs::read_dir(&data)
            .unwrap()
            .map(|entry| entry.unwrap())
            .map(|entry| (entry.file_name().into_string().unwrap(), fs::read(entry.path()).unwrap()))
            .collect();
        if with_workbook {
            files.insert("report.xlsx".to_owned(), fs::read(data.with_file_name("report.xlsx")).unwrap());
        }
        Self { status, files }
    }

    pub fn table(&self, name: &str) -> Vec<Record> {
        let mut reader = csv::Reader::from_reader(self.files[name].as_slice());
        reader.deserialize().map(Result::unwrap).collect()
    }

    pub fn summary(&self) -> serde_json::Value {
        serde_json::from_slice(&self.files["summary.json"]).unwrap()
    }
}

/// The circuit that a row of a data file is about.
pub fn key_of(record: &Record) -> Vec<String> {
    ["plant", "pallet", "fixture", "circuit"].map(|column| record[column].clone()).to_vec()
}
