//! Several output files that appear together.

use std::collections::BTreeSet;
use std::io;
use std::path::PathBuf;
use std::thread::{self, JoinHandle};

use super::error::{OutputError, Why};
use super::staged::{StagedFolder, name_of};
use super::{Finished, WholeFile, live, sync_folder};

/// Files that are renamed only after the last of them is complete on the disk.
#[derive(Debug, Default)]
pub struct Batch {
    files: Vec<Completing>,
    /// The folder that some of them stand in first.
    folder: Option<StagedFolder>,
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
        Self { files: Vec::new(), folder: None }
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

    /// The folder whose files stand elsewhere until all have their names.
    pub fn stand_in(&mut self, folder: StagedFolder) {
        self.folder = Some(folder);
    }

    /// Completes every file, then gives each its name, in the order in which they were added; the
    /// staged ones get their place last, together where the file system knows how.
    ///
    /// # Errors
    /// Where a file can't be completed nothing is renamed. Where a rename fails, the files
    /// before it are the new ones and whole, it and those after it the old ones.
    pub fn commit(mut self) -> Result<(), OutputError> {
        // All are waited for, also where one fails: what is left of them goes with them.
        let completed: Vec<_> = self.files.drain(..).map(Completing::wait).collect();
        let finished: Vec<Finished> = completed.into_iter().collect::<Result<_, _>>()?;
        let is_staged = |file: &Finished| self.folder.as_ref().is_some_and(|folder| folder.holds(&file.target));
        let (staged, others): (Vec<Finished>, Vec<Finished>) = finished.into_iter().partition(is_staged);
        let folders: BTreeSet<PathBuf> = others.iter().map(|file| file.folder.clone()).collect();
        let names: Vec<_> = staged.iter().map(|file| name_of(&file.target)).collect();
        let mut files = staged.into_iter().chain(others);
        // The guard goes before the files that a failure leaves: dropping them asks for it.
        let renamed = {
            let mut live = live::hold();
            let named = files.try_for_each(|file| file.rename(&mut live));
            named.and_then(|()| self.folder.as_ref().map_or(Ok(()), |folder| folder.put(&names, &live)))
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
