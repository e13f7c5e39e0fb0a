//! The temporary files that this process has open, so that an interrupt can remove them.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Temporary files, and whether the process has given up writing.
#[derive(Debug)]
pub(super) struct Live {
    files: BTreeSet<PathBuf>,
    /// Folders in which files stand before they have their place.
    folders: BTreeSet<PathBuf>,
    is_closed: bool,
}

static LIVE: Mutex<Live> = Mutex::new(Live { files: BTreeSet::new(), folders: BTreeSet::new(), is_closed: false });

/// Keeps an interrupt away while it is held: between two renames of a batch, say.
pub(super) fn hold() -> MutexGuard<'static, Live> {
    LIVE.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Live {
    /// Whether files may still be made and renamed.
    pub(super) const fn is_open(&self) -> bool {
        !self.is_closed
    }

    pub(super) fn add(&mut self, file: &Path) {
        self.files.insert(file.to_owned());
    }

    pub(super) fn forget(&mut self, file: &Path) {
        self.files.remove(file);
    }

    pub(super) fn add_folder(&mut self, folder: &Path) {
        self.folders.insert(folder.to_owned());
    }

    pub(super) fn forget_folder(&mut self, folder: &Path) {
        self.folders.remove(folder);
    }
}

/// Removes every temporary file of this process; from now on nothing is created or renamed.
/// For the last moments of an interrupted run.
pub fn abandon_all() {
    let mut live = hold();
    live.is_closed = true;
    for file in std::mem::take(&mut live.files) {
        // The process is about to end: a file that can't be removed is removed by the next run.
        let _ = std::fs::remove_file(file);
    }
    for folder in std::mem::take(&mut live.folders) {
        let _ = std::fs::remove_dir(folder);
    }
}
