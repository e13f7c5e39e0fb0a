//! What a run reads: no output may take its place.

use std::collections::BTreeMap;
use std::fs::{self, Metadata};
use std::path::{Path, PathBuf};

use super::error::{OutputError, Why};
use super::place::resolved;

/// Real files and folders that a run reads, whatever names and links led to them.
#[derive(Debug, Default)]
pub struct Inputs {
    /// By real path.
    files: BTreeMap<PathBuf, PathBuf>,
    /// By device and inode: a hard link is another name of the same file.
    nodes: BTreeMap<(u64, u64), PathBuf>,
    /// Real paths of folders in which nothing may be written, with the names that the user gave.
    folders: Vec<(PathBuf, PathBuf)>,
}

impl Inputs {
    /// Files alone.
    #[must_use]
    pub fn of(files: impl IntoIterator<Item = PathBuf>) -> Self {
        let mut inputs = Self::default();
        files.into_iter().for_each(|file| inputs.add_file(&file));
        inputs
    }

    /// A file that is read. What is not there can't be harmed, and is left out.
    pub fn add_file(&mut self, file: &Path) {
        let (Ok(real), Ok(found)) = (fs::canonicalize(file), fs::metadata(file)) else { return };
        if let Some(node) = node_of(&found) {
            self.nodes.insert(node, file.to_owned());
        }
        self.files.insert(real, file.to_owned());
    }

    /// A folder of inputs: no output may stand in it, and none may be one of its files by
    /// another name. Names need not be UTF-8.
    pub fn add_folder(&mut self, folder: &Path) {
        let Ok(real) = fs::canonicalize(folder) else { return };
        self.folders.push((real, folder.to_owned()));
        self.add_files_below(folder);
    }

    fn add_files_below(&mut self, folder: &Path) {
        let Ok(entries) = fs::read_dir(folder) else { return };
        for entry in entries.flatten() {
            // Links to folders are not followed: reading doesn't follow them either.
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                self.add_files_below(&entry.path());
            } else {
                self.add_file(&entry.path());
            }
        }
    }

    /// Refuses an output that is an input, or lies in a folder of inputs.
    ///
    /// # Errors
    /// Names the input.
    pub fn refuse(&self, output: &Path) -> Result<(), OutputError> {
        let target = resolved(output)?;
        let node = fs::metadata(&target).ok().and_then(|found| node_of(&found));
        let same = self.files.get(&target).or_else(|| self.nodes.get(&node?));
        if let Some(input) = same {
            return Err(OutputError::new(output, Why::IsInput(input.clone())));
        }
        self.refuse_within(output, &target)
    }

    /// Refuses a folder for outputs that is, or lies in, a folder of inputs.
    ///
    /// # Errors
    /// Names the folder of inputs.
    pub fn refuse_folder(&self, output: &Path) -> Result<(), OutputError> {
        self.refuse_within(output, &settled(output))
    }

    fn refuse_within(&self, output: &Path, target: &Path) -> Result<(), OutputError> {
        match self.folders.iter().find(|(real, _)| target.starts_with(real)) {
            Some((_, folder)) => Err(OutputError::new(output, Why::WithinInputs(folder.clone()))),
            None => Ok(()),
        }
    }
}

/// A path without links and dots, as far as it stands.
fn settled(path: &Path) -> PathBuf {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    for stands in path.ancestors() {
        if let Ok(real) = stands.canonicalize() {
            return real.join(path.strip_prefix(stands).unwrap_or(Path::new("")));
        }
    }
    path
}

#[cfg(unix)]
#[allow(clippy::unnecessary_wraps, reason = "other systems have no such number")]
fn node_of(found: &Metadata) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    Some((found.dev(), found.ino()))
}

#[cfg(not(unix))]
const fn node_of(_found: &Metadata) -> Option<(u64, u64)> {
    None
}
