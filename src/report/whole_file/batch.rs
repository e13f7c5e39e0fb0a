//! Several output files that appear together.

use std::collections::BTreeSet;
use std::path::PathBuf;

use super::error::{OutputError, Why};
use super::{Finished, WholeFile, live, sync_folder};

/// Files that are renamed only after the last of them is complete on the disk.
#[derive(Debug, Default)]
pub struct Batch {
    files: Vec<WholeFile>,
}

impl Batch {
    /// Nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { files: Vec::new() }
    }

    /// Takes a file that is written, to be completed with the others.
    ///
    /// # Errors
    /// Where another file of the batch has the same place.
    pub fn add(&mut self, file: WholeFile) -> Result<(), OutputError> {
        if self.files.iter().any(|other| other.target == file.target) {
            return Err(OutputError::new(&file.path, Why::Twice));
        }
        self.files.push(file);
        Ok(())
    }

    /// Completes every file, then gives each its name, in the order in which they were added.
    ///
    /// # Errors
    /// Where a file can't be completed nothing is renamed. Where a rename fails, the files
    /// before it are the new ones and whole, it and those after it the old ones.
    pub fn commit(self) -> Result<(), OutputError> {
        let finished: Vec<Finished> = self.files.into_iter().map(WholeFile::finish).collect::<Result<_, _>>()?;
        let folders: BTreeSet<PathBuf> = finished.iter().map(|file| file.folder.clone()).collect();
        let mut files = finished.into_iter();
        // The guard goes before the files that a failure leaves: dropping them asks for it.
        let renamed = {
            let mut live = live::hold();
            files.try_for_each(|file| file.rename(&mut live))
        };
        renamed?;
        for folder in folders {
            sync_folder(&folder);
        }
        Ok(())
    }
}
