//! The data folder of a run, as others read it: only files that belong together are taken.
//!
//! `summary.json` names the run and holds the SHA-256 of every other file. A folder in which a
//! killed run or two runs at once left files of different runs is thus told from a whole one.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::tables::plant::Plant;

use super::policy_hash::policy_hash;
use super::summary::{RunSummary, TOOL};
use super::whole_file::shown;

/// Why files of a run can't be used.
#[derive(Debug, thiserror::Error)]
pub enum RunFolderError {
    #[error("{}: there is no folder of this name. Expected the --data folder of a run.", shown(.0))]
    NoFolder(PathBuf),
    #[error("{}: there is no such file. Expected the --data folder of a run.", shown(.0))]
    Missing(PathBuf),
    #[error("{}: this is not a file. Expected the --data folder of a run.", shown(.0))]
    NotAFile(PathBuf),
    #[error("{}: it can't be read: {why}.", shown(.path))]
    Unreadable { path: PathBuf, why: String },
    #[error(
        "{}: the file is not of the run that {named_by} in its folder tells of. The folder holds files of different \
         runs; run the check again.", shown(.path)
    )]
    Mixed { path: PathBuf, named_by: &'static str },
}

/// The id of a run: the same for the same inputs, policy, date, version and earlier run, so that
/// the same run gives the same bytes. 16 hexadecimal digits.
///
/// * `sources` – hashes of the plant's sources, or of those that all parts of a run read
#[must_use]
pub fn run_id(sources: &[String], plant: &Plant, previous: Option<&str>, searches_remedies: bool) -> String {
    let (date, policy) = policy_of(plant);
    let mut hasher = Sha256::new();
    let remedies = if searches_remedies { "remedies" } else { "" };
    for text in [TOOL, &date, &policy, previous.unwrap_or_default(), remedies] {
        hasher.update(text);
        hasher.update([0]);
    }
    for source in sources {
        hasher.update(source);
        hasher.update([0]);
    }
    let mut id = format!("{:x}", hasher.finalize());
    id.truncate(16);
    id
}

/// Hashes of a plant's sources, in order.
#[must_use]
pub fn source_hashes(plant: &Plant) -> Vec<String> {
    plant.sources.iter().map(|source| format!("{} {} {}", source.file, source.sheet, source.sha256)).collect()
}

/// Date and policy hash of a plant.
#[must_use]
pub fn policy_of(plant: &Plant) -> (String, String) {
    (plant.policy.date.to_string(), policy_hash(&plant.policy))
}

/// A `--data` folder with what its `summary.json` says.
#[derive(Debug)]
pub struct RunFolder {
    folder: PathBuf,
    pub summary: RunSummary,
}

impl RunFolder {
    /// Reads `summary.json`.
    ///
    /// # Errors
    /// Where there is none, or it can't be read: a sentence.
    pub fn open(folder: &Path) -> Result<Self, RunFolderError> {
        if !folder.is_dir() {
            return Err(RunFolderError::NoFolder(folder.to_owned()));
        }
        let path = folder.join("summary.json");
        let file = regular(&path)?;
        let summary = serde_json::from_reader(BufReader::new(file))
            .map_err(|error| RunFolderError::Unreadable { path, why: error.to_string() })?;
        Ok(Self { folder: folder.to_owned(), summary })
    }

    /// Opens a file of the run, at its start.
    ///
    /// # Errors
    /// Where it is missing or of another run: a sentence.
    pub fn file(&self, name: &str) -> Result<File, RunFolderError> {
        verified(&self.folder, name, &self.summary.files, "summary.json")
    }
}

/// Opens a file and holds it against the hash that its run wrote down.
///
/// # Errors
/// Where it is missing or of another run: a sentence.
pub fn verified(
    folder: &Path,
    name: &str,
    files: &BTreeMap<String, String>,
    named_by: &'static str,
) -> Result<File, RunFolderError> {
    let path = folder.join(name);
    let mut file = regular(&path)?;
    let found = sha256_of(&mut file)
        .and_then(|found| file.seek(SeekFrom::Start(0)).map(|_| found))
        .map_err(|error| RunFolderError::Unreadable { path: path.clone(), why: error.to_string() })?;
    if files.get(name) == Some(&found) { Ok(file) } else { Err(RunFolderError::Mixed { path, named_by }) }
}

fn sha256_of(file: &mut impl Read) -> io::Result<String> {
    let mut hasher = Sha256::new();
    io::copy(file, &mut hasher)?;
    Ok(format!("{:x}", hasher.finalize()))
}

/// Opens what is a file; a pipe would keep the run waiting for ever.
pub(super) fn regular(path: &Path) -> Result<File, RunFolderError> {
    let unreadable = |error: &io::Error| match error.kind() {
        io::ErrorKind::NotFound => RunFolderError::Missing(path.to_owned()),
        _ => RunFolderError::Unreadable { path: path.to_owned(), why: error.to_string() },
    };
    let found = std::fs::metadata(path).map_err(|error| unreadable(&error))?;
    if !found.is_file() {
        return Err(RunFolderError::NotAFile(path.to_owned()));
    }
    File::open(path).map_err(|error| unreadable(&error))
}
