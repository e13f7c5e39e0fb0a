//! A run of the program, and what it wrote.

use std::collections::BTreeMap;
use std::env;
use std::fs;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use crate::tables::Plant;

/// Some hundred times what a run of a dozen lines takes.
const PATIENCE: Duration = Duration::from_secs(20);

/// The program; another one than Cargo built where the variable names it.
fn program() -> PathBuf {
    env::var_os("CLAMPBOOK_BIN").map_or_else(|| PathBuf::from(env!("CARGO_BIN_EXE_clampbook")), PathBuf::from)
}

pub type Record = BTreeMap<String, String>;

/// The exit status, -1 for none; a run that doesn't end is ended after [`PATIENCE`].
fn ended(child: &mut Child) -> i32 {
    let start = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return status.code().unwrap_or(-1);
        }
        if start.elapsed() > PATIENCE {
            child.kill().unwrap();
            child.wait().unwrap();
            return -1;
        }
        thread::sleep(Duration::from_millis(2));
    }
}

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
        let status = ended(&mut child);
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
