//! One run at a time completes its outputs in a folder.

use std::collections::BTreeSet;
use std::fs::{File, TryLockError};
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use super::error::{OutputError, Why, folder_of};
use super::live;

/// How often a folder in use is asked for again.
const PAUSE: Duration = Duration::from_millis(50);

/// Folders that only this run completes outputs in, until it is dropped. The lock is the
/// system's: it ends with the process, however that ends.
#[derive(Debug, Default)]
pub struct OutputLock {
    _folders: Vec<File>,
}

impl OutputLock {
    /// Waits for the folders of all outputs; `waiting` is told once of each folder in use. All
    /// runs take them in the same order, so that no two wait for each other.
    ///
    /// # Errors
    /// Where the run is interrupted while it waits.
    pub fn of<'a>(
        outputs: impl IntoIterator<Item = &'a Path>,
        waiting: &mut dyn FnMut(&Path),
    ) -> Result<Self, OutputError> {
        let real = |path: &Path| {
            // An output that is a link is completed where it leads.
            let target = path.canonicalize().unwrap_or_else(|_| path.to_owned());
            let folder = if target.is_dir() { target } else { folder_of(&target) };
            folder.canonicalize().ok()
        };
        let folders: BTreeSet<PathBuf> = outputs.into_iter().filter_map(real).collect();
        let mut held = Vec::new();
        for folder in folders {
            // Where a folder can't be opened or locked the system knows no such lock.
            while let Ok(opened) = File::open(&folder) {
                if !locked(&opened, &folder, waiting)? {
                    break;
                }
                // The run that was waited for may have put another folder in its place.
                if is_still(&opened, &folder) {
                    held.push(opened);
                    break;
                }
            }
        }
        Ok(Self { _folders: held })
    }
}

#[cfg(unix)]
fn is_still(opened: &File, folder: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let node = |found: std::fs::Metadata| (found.dev(), found.ino());
    let (held, stands) = (opened.metadata().map(node), std::fs::metadata(folder).map(node));
    // A folder that is gone can't be held by anyone else.
    stands.is_err() || held.ok() == stands.ok()
}

#[cfg(not(unix))]
const fn is_still(_opened: &File, _folder: &Path) -> bool {
    true
}

fn locked(opened: &File, folder: &Path, waiting: &mut dyn FnMut(&Path)) -> Result<bool, OutputError> {
    let mut is_told = false;
    loop {
        match opened.try_lock() {
            Ok(()) => return Ok(true),
            Err(TryLockError::Error(_)) => return Ok(false),
            Err(TryLockError::WouldBlock) => {}
        }
        if !live::hold().is_open() {
            return Err(OutputError::new(folder, Why::Interrupted));
        }
        if !is_told {
            waiting(folder);
            is_told = true;
        }
        thread::sleep(PAUSE);
    }
}
