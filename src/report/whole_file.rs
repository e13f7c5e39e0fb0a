//! Output files that appear whole or not at all.
//!
//! What is written goes to a temporary file in the target's folder; only when all of it is on
//! the disk does the file take the target's name. A run that dies on the way leaves the old
//! file as it was, and a temporary file that the next run removes.

mod batch;
mod error;
mod inputs;
mod live;
mod lock;
mod ours;
mod place;
mod staged;
mod target;

#[cfg(test)]
mod tests;

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, BufWriter, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use sha2::{Digest, Sha256};
use tempfile::TempPath;

pub use batch::Batch;
pub(crate) use error::shown;
pub use error::{OutputError, Why};
pub use inputs::Inputs;
pub use live::abandon_all;
pub use lock::OutputLock;
pub use ours::{Mark, WRITTEN_BY, has_mark, refuse_foreign};
pub use place::settled;
pub use staged::StagedFolder;
pub use target::{check, ensure_folder};

/// How the names of temporary files begin.
pub const PREFIX: &str = ".clampbook-";

const BUFFER: usize = 1 << 17;
/// Tries to make a temporary file, should another run's sweep take it before it is locked.
const TRIES: u32 = 5;
/// Where files can't be locked, a stray file of this age has no run any more.
const STRAY_AGE: Duration = Duration::from_hours(24);

/// A file on its way. Dropped before [`WholeFile::commit`], it leaves nothing.
#[derive(Debug)]
pub struct WholeFile {
    path: PathBuf,
    target: PathBuf,
    folder: PathBuf,
    temporary: Temporary,
    file: BufWriter<File>,
    fault: Option<io::Error>,
}

/// A file with all its bytes on the disk, waiting for its name.
#[derive(Debug)]
struct Finished {
    path: PathBuf,
    target: PathBuf,
    folder: PathBuf,
    temporary: Temporary,
    /// Keeps the lock until the file has its name.
    _file: File,
}

/// A temporary file's path, known to [`abandon_all`] as long as it lives.
#[derive(Debug)]
struct Temporary(Option<TempPath>);

impl Drop for Temporary {
    fn drop(&mut self) {
        if let Some(path) = self.0.take() {
            let mut live = live::hold();
            live.forget(&path);
            drop(path);
        }
    }
}

impl WholeFile {
    /// Opens a temporary file beside `path` and removes what a killed run left there.
    ///
    /// # Errors
    /// Where the file could never be written: the reason, in a sentence.
    pub fn create(path: &Path) -> Result<Self, OutputError> {
        let target = place::resolved(path)?;
        let folder = error::folder_of(&target);
        let prefix = prefix_of(&target);
        sweep(&folder);
        Self::made(path, &target.clone(), target, folder, &prefix)
    }

    /// The same for a file that first stands in another folder; `place` is where it will in the end.
    fn staged(path: &Path, place: &Path, target: PathBuf, folder: &Path) -> Result<Self, OutputError> {
        let prefix = prefix_of(&target);
        Self::made(path, place, target, folder.to_owned(), &prefix)
    }

    fn made(path: &Path, place: &Path, target: PathBuf, folder: PathBuf, prefix: &str) -> Result<Self, OutputError> {
        let (file, temporary) = make(path, &folder, prefix)?;
        if let Ok(stands) = fs::metadata(place) {
            file.set_permissions(stands.permissions()).map_err(|error| OutputError::from_io(path, error))?;
        }
        let file = BufWriter::with_capacity(BUFFER, file);
        Ok(Self { path: path.to_owned(), target, folder, temporary, file, fault: None })
    }

    /// The output as the user named it.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Where the bytes are until then: for writers that want a path and for a second reading.
    ///
    /// # Errors
    /// Where what is buffered can't be written.
    pub fn temporary_path(&mut self) -> Result<&Path, OutputError> {
        self.file.flush().map_err(|error| OutputError::from_io(&self.path, error))?;
        Ok(self.temporary.0.as_deref().unwrap_or(&self.target))
    }

    /// SHA-256 of what is written so far, in hexadecimal.
    ///
    /// # Errors
    /// Where it can't be written or read again.
    pub fn sha256(&mut self) -> Result<String, OutputError> {
        let written = self.temporary_path()?.to_owned();
        let mut hasher = Sha256::new();
        let read = File::open(written).and_then(|mut file| io::copy(&mut file, &mut hasher));
        read.map_err(|error| OutputError::from_io(&self.path, error))?;
        Ok(format!("{:x}", hasher.finalize()))
    }

    /// The sentence for the first write that failed, where a library has made its own error of
    /// it; `None` where none failed.
    pub fn failure(&mut self) -> Option<OutputError> {
        self.fault.take().map(|error| OutputError::from_io(&self.path, error))
    }

    /// Completes the file and gives it its name.
    ///
    /// # Errors
    /// The reason, in a sentence; what stood there before still stands.
    pub fn commit(self) -> Result<(), OutputError> {
        let finished = self.finish()?;
        let folder = finished.folder.clone();
        finished.rename(&mut live::hold())?;
        sync_folder(&folder);
        Ok(())
    }

    fn finish(mut self) -> Result<Finished, OutputError> {
        if let Some(failure) = self.failure() {
            return Err(failure);
        }
        let Self { path, target, folder, temporary, file, .. } = self;
        let flushed = file.into_inner().map_err(io::IntoInnerError::into_error);
        let file = flushed.and_then(|file| file.sync_all().map(|()| file));
        let file = file.map_err(|error| OutputError::from_io(&path, error))?;
        Ok(Finished { path, target, folder, temporary, _file: file })
    }

    fn remembered<T>(&mut self, result: io::Result<T>) -> io::Result<T> {
        result.inspect_err(|error| {
            if self.fault.is_none() && error.kind() != io::ErrorKind::Interrupted {
                self.fault = Some(again(error));
            }
        })
    }
}

/// The same error once more, for the one who asks later.
fn again(error: &io::Error) -> io::Error {
    error.raw_os_error().map_or_else(|| io::Error::new(error.kind(), error.to_string()), io::Error::from_raw_os_error)
}

impl Write for WholeFile {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let result = self.file.write(bytes);
        self.remembered(result)
    }

    fn flush(&mut self) -> io::Result<()> {
        let result = self.file.flush();
        self.remembered(result)
    }
}

impl Seek for WholeFile {
    fn seek(&mut self, position: SeekFrom) -> io::Result<u64> {
        let result = self.file.seek(position);
        self.remembered(result)
    }
}

impl Finished {
    fn rename(mut self, live: &mut live::Live) -> Result<(), OutputError> {
        let Some(temporary) = self.temporary.0.take() else { return Ok(()) };
        if !live.is_open() {
            return Err(OutputError::new(&self.path, Why::Interrupted));
        }
        live.forget(&temporary);
        temporary.persist(&self.target).map_err(|error| OutputError::from_io(&self.path, error.error))
    }
}

/// What the temporary files of one target share. The target's name goes in as a hash: with the
/// name itself a long one would grow too long.
fn prefix_of(target: &Path) -> String {
    let name = target.file_name().unwrap_or_default();
    let hash = format!("{:x}", Sha256::digest(name.as_encoded_bytes()));
    format!("{PREFIX}{}-", &hash[..16])
}

/// Makes a temporary file and locks it, so that another run's sweep leaves it alone.
fn make(path: &Path, folder: &Path, prefix: &str) -> Result<(File, Temporary), OutputError> {
    let mut live = live::hold();
    if !live.is_open() {
        return Err(OutputError::new(path, Why::Interrupted));
    }
    for _ in 0..TRIES {
        // Unlike tempfile's own, the file gets the permissions that any new file gets.
        let made = tempfile::Builder::new()
            .prefix(prefix)
            .make_in(folder, |name| OpenOptions::new().read(true).write(true).create_new(true).open(name));
        let (file, temporary) = made.map_err(|error| OutputError::from_io(path, error))?.into_parts();
        let is_taken = matches!(file.try_lock(), Err(TryLockError::WouldBlock));
        if !is_taken && temporary.exists() {
            live.add(&temporary);
            return Ok((file, Temporary(Some(temporary))));
        }
    }
    Err(OutputError::new(path, Why::Busy))
}

/// Removes what killed runs left in a folder, whatever it was meant for. Never fails: a file
/// that can't be removed harms no one.
fn sweep(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    for entry in entries.flatten() {
        let is_temporary = entry.file_name().as_encoded_bytes().starts_with(PREFIX.as_bytes());
        if is_temporary && entry.file_type().is_ok_and(|kind| kind.is_file()) && is_stray(&entry.path()) {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// A folder beside `parent`'s others for files under way, and its lock: both last until they are
/// dropped. What killed runs left is swept before.
///
/// # Errors
/// Where nothing can be made there.
pub fn temporary_folder(parent: &Path) -> io::Result<(tempfile::TempDir, Option<File>)> {
    for entry in fs::read_dir(parent)?.flatten() {
        let is_temporary = entry.file_name().as_encoded_bytes().starts_with(PREFIX.as_bytes());
        if is_temporary && entry.file_type().is_ok_and(|kind| kind.is_dir()) {
            // A folder that can't be opened or locked may be another run's.
            let held = File::open(entry.path());
            if held.is_ok_and(|held| held.try_lock().is_ok()) {
                let _ = fs::remove_dir_all(entry.path());
            }
        }
    }
    let folder = tempfile::Builder::new().prefix(PREFIX).tempdir_in(parent)?;
    let held = File::open(folder.path()).ok().filter(|held| held.try_lock().is_ok());
    Ok((folder, held))
}

/// Whether no run holds the file any more: a lock ends with its process.
fn is_stray(file: &Path) -> bool {
    let Ok(opened) = OpenOptions::new().write(true).open(file) else { return false };
    match opened.try_lock() {
        Ok(()) => true,
        Err(TryLockError::WouldBlock) => false,
        Err(TryLockError::Error(_)) => {
            let modified = opened.metadata().and_then(|metadata| metadata.modified());
            modified.is_ok_and(|then| SystemTime::now().duration_since(then).is_ok_and(|age| age > STRAY_AGE))
        }
    }
}

/// Makes the new names last through a power cut. Some file systems can't; the file itself is
/// on the disk by then.
fn sync_folder(folder: &Path) {
    if cfg!(unix) {
        let _ = File::open(folder).and_then(|folder| folder.sync_all());
    }
}
