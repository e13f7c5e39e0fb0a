//! Several output files that appear together.

use std::collections::BTreeSet;
use std::io;
use std::path::PathBuf;
use std::thread::{self, JoinHandle};

use super::error::{OutputError, Why};
use super::{Finished, WholeFile, live, sync_folder};

/// Files that are renamed only after the last of them is complete on the disk.
#[derive(Debug, Default)]
pub struct Batch {
    files: Vec<Completing>,
}

/// A file that is brought to the disk while others are still made.
#[derive(Debug)]
struct Completing {
    path: PathBuf,
    target: PathBuf,
    thread: JoinHandle<Result<Finished, OutputError>>,
}

impl Completing {
    fn start(file: WholeFile) -> Result<Self, OutputError> {
        let (path, target) = (file.path.clone(), file.target.clone());
        let thread = thread::Builder::new().spawn(move || file.finish());
        let thread = thread.map_err(|error| OutputError::from_io(&path, error))?;
        Ok(Self { path, target, thread })
    }

    fn wait(self) -> Result<Finished, OutputError> {
        let lost = || io::Error::other("it was lost on its way to the disk");
        self.thread.join().unwrap_or_else(|_| Err(OutputError::from_io(&self.path, lost())))
    }
}

impl Batch {
    /// Nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { files: Vec::new() }
    }

    /// Takes a file that is written, and begins to complete it.
    ///
    /// # Errors
    /// Where another file of the batch has the same place.
    pub fn add(&mut self, file: WholeFile) -> Result<(), OutputError> {
        if self.files.iter().any(|other| other.target == file.target) {
            return Err(OutputError::new(&file.path, Why::Twice));
        }
        self.files.push(Completing::start(file)?);
        Ok(())
    }

    /// Completes every file, then gives each its name, in the order in which they were added.
    ///
    /// # Errors
    /// Where a file can't be completed nothing is renamed. Where a rename fails, the files
    /// before it are the new ones and whole, it and those after it the old ones.
    pub fn commit(mut self) -> Result<(), OutputError> {
        // All are waited for, also where one fails: what is left of them goes with them.
        let completed: Vec<_> = self.files.drain(..).map(Completing::wait).collect();
        let finished: Vec<Finished> = completed.into_iter().collect::<Result<_, _>>()?;
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

impl Drop for Batch {
    /// Without a commit nothing is left on the disk.
    fn drop(&mut self) {
        self.files.drain(..).for_each(|file| drop(file.wait()));
    }
}
