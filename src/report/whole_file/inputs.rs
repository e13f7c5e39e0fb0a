//! What a run reads: no output may take its place.

use std::collections::BTreeMap;
use std::fs::{self, Metadata};
use std::path::{Path, PathBuf};

use crate::read::claim::{claim_on, is_workbook_file, lists_folders};

use super::error::{OutputError, Why};
use super::place::{resolved, settled};

/// Real files and folders that a run reads, whatever names and links led to them.
#[derive(Debug, Default)]
pub struct Inputs {
    /// By real path.
    files: BTreeMap<PathBuf, PathBuf>,
    /// By device and inode: a hard link is another name of the same file.
    nodes: BTreeMap<(u64, u64), PathBuf>,
    /// Real paths of folders in which nothing may be written, with the names that the user gave.
    folders: Vec<(PathBuf, PathBuf)>,
    /// Real path of the plant's folder.
    plant: Option<PathBuf>,
    /// Whether one workbook in it stands for the plant.
    is_one_workbook: bool,
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

    /// The plant's folder, and whether it stands for the plant by the one workbook that it holds: nothing
    /// may stand there that the next run would read.
    pub fn set_plant(&mut self, folder: &Path, is_one_workbook: bool) {
        self.plant = fs::canonicalize(folder).ok();
        self.is_one_workbook = is_one_workbook;
        lists_folders(folder).iter().for_each(|lists| self.add_folder(lists));
    }

    /// Refuses an output that is an input, lies in a folder of inputs, or would be read the next time.
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
        self.refuse_within(output, &target)?;
        self.refuse_claimed(output, &target)
    }

    /// Refuses a folder for outputs that is, or lies in, a folder of inputs.
    ///
    /// # Errors
    /// Names the folder of inputs.
    pub fn refuse_folder(&self, output: &Path) -> Result<(), OutputError> {
        let real = settled(output);
        self.refuse_within(output, &real)?;
        // A name that stands for all tables of a run.
        self.refuse_claimed(output, &real.join("circuits.csv"))
    }

    fn refuse_claimed(&self, output: &Path, target: &Path) -> Result<(), OutputError> {
        if let Some(claim) = claim_on(target, self.plant.as_deref()) {
            return Err(OutputError::new(output, Why::WouldBeRead { plant: claim.plant, table: claim.table }));
        }
        match &self.plant {
            Some(plant) if self.is_one_workbook && target.parent() == Some(plant) && is_workbook_file(target) => {
                Err(OutputError::new(output, Why::SecondWorkbook(plant.clone())))
            }
            _ => Ok(()),
        }
    }

    fn refuse_within(&self, output: &Path, target: &Path) -> Result<(), OutputError> {
        match self.folders.iter().find(|(real, _)| target.starts_with(real)) {
            Some((_, folder)) => Err(OutputError::new(output, Why::WithinInputs(folder.clone()))),
            None => Ok(()),
        }
    }
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
