//! A folder of outputs that appear together: they are made in a folder beside it, which then takes its place
//! in one step where the file system knows how, else file by file.

use std::collections::BTreeSet;
use std::ffi::{OsStr, OsString};
use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

use super::error::{OutputError, folder_of};
use super::ours::{Mark, has_mark};
use super::place::resolved;
use super::{PREFIX, TRIES, WholeFile, live, sync_folder};

/// How the names of such folders begin.
const STAGE_PREFIX: &str = ".clampbook-data-";

/// A folder's next content, on its way.
#[derive(Debug)]
pub struct StagedFolder {
    /// The folder as the user named it, and where it really is.
    shown: PathBuf,
    real: PathBuf,
    /// Where the files are made.
    stage: PathBuf,
    /// Keeps other runs from sweeping it.
    _lock: Option<File>,
    /// Whether it can take the folder's place: it stands beside it, with the same owner and rights.
    is_alike: bool,
    /// Whether a file of the folder is one that a run of this program wrote, and goes with its run.
    is_own: fn(&Path) -> bool,
}

impl StagedFolder {
    /// Makes a folder beside one that exists, or within it where nothing can be made beside it, and removes
    /// what killed runs left.
    ///
    /// # Errors
    /// Where the folder can't be found or nothing can be made there.
    pub fn beside(folder: &Path, is_own: fn(&Path) -> bool) -> Result<Self, OutputError> {
        let fail = |error| OutputError::from_io(folder, error);
        let real = fs::canonicalize(folder).map_err(fail)?;
        let parent = folder_of(&real);
        for place in [&parent, &real] {
            sweep(place, is_own);
        }
        let beside = made_in(&parent).ok();
        let ((stage, lock), is_alike) = match beside {
            Some((stage, lock)) if is_alike(&stage, &real) => ((stage, lock), true),
            other => {
                if let Some((stage, _)) = other {
                    let _ = fs::remove_dir(stage);
                }
                (made_in(&real).map_err(fail)?, false)
            }
        };
        live::hold().add_folder(&stage);
        Ok(Self { shown: folder.to_owned(), real, stage, _lock: lock, is_alike, is_own })
    }

    /// The folder as the user named it.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.shown
    }

    /// Where files without a name may be made.
    #[must_use]
    pub fn stage(&self) -> &Path {
        &self.stage
    }

    /// Opens an output: among the staged files where it will stand in the folder, else in its own place.
    ///
    /// # Errors
    /// Where it could never be written: the reason, in a sentence.
    pub fn file(&self, path: &Path) -> Result<WholeFile, OutputError> {
        let target = resolved(path)?;
        match target.file_name().filter(|_| target.parent() == Some(&self.real)) {
            Some(name) => WholeFile::staged(path, &target, self.stage.join(name), &self.stage),
            None => WholeFile::create(path),
        }
    }

    /// Whether a file is one of the staged ones.
    pub(super) fn holds(&self, target: &Path) -> bool {
        target.parent() == Some(&self.stage)
    }

    /// Gives the files, which have their names in the stage, their place; `names` in their order.
    pub(super) fn put(&self, names: &[OsString], live: &live::Live) -> Result<(), OutputError> {
        debug_assert!(live.is_open());
        let fail = |error| OutputError::from_io(&self.shown, error);
        if self.is_alike && !holds_working_folder(&self.real) && self.carry_over(names) {
            sync_folder(&self.stage);
            if exchanged(&self.stage, &self.real).is_ok() {
                self.clear();
                sync_folder(&folder_of(&self.real));
                return Ok(());
            }
        }
        for name in names {
            fs::rename(self.stage.join(name), self.real.join(name)).map_err(fail)?;
        }
        // What an earlier run wrote and this one does not would be taken for this one's.
        for (name, path) in entries(&self.real) {
            if !names.contains(&name) && self.is_of_a_run(&path) {
                let _ = fs::remove_file(path);
            }
        }
        sync_folder(&self.real);
        Ok(())
    }

    /// Links what else stands in the folder into the stage; `false` where something can't be linked.
    fn carry_over(&self, names: &[OsString]) -> bool {
        entries(&self.real).into_iter().all(|(name, path)| {
            if names.contains(&name) || self.is_of_a_run(&path) {
                return true;
            }
            is_file(&path) && fs::hard_link(&path, self.stage.join(&name)).is_ok()
        })
    }

    /// Whether a file goes with its run; what a link leads to doesn't stand here.
    fn is_of_a_run(&self, path: &Path) -> bool {
        is_file(path) && (self.is_own)(path)
    }

    /// Removes the old content, now in the stage's place: what came into it at the last moment is kept.
    fn clear(&self) {
        for (name, path) in entries(&self.stage) {
            let place = self.real.join(&name);
            if self.is_of_a_run(&path) || fs::symlink_metadata(&place).is_ok() {
                let _ = fs::remove_file(path);
            } else {
                let _ = fs::rename(path, place);
            }
        }
        let _ = fs::remove_dir(&self.stage);
    }
}

impl Drop for StagedFolder {
    fn drop(&mut self) {
        let mut live = live::hold();
        live.forget_folder(&self.stage);
        remove_stage(&self.stage, self.is_own);
    }
}

/// Removes a stage with the files that may be lost with it: those of runs, and further names of others.
pub(super) fn remove_stage(stage: &Path, is_own: fn(&Path) -> bool) {
    for (name, path) in entries(stage) {
        let is_temporary = name.as_encoded_bytes().starts_with(PREFIX.as_bytes());
        if is_file(&path) && (is_temporary || is_own(&path) || has_other_name(&path) || has_mark(&path, Mark::Workbook))
        {
            let _ = fs::remove_file(path);
        }
    }
    let _ = fs::remove_dir(stage);
}

/// Removes stages of killed runs: a lock ends with its process.
fn sweep(folder: &Path, is_own: fn(&Path) -> bool) {
    for (name, path) in entries(folder) {
        if name.as_encoded_bytes().starts_with(STAGE_PREFIX.as_bytes())
            && let Ok(opened) = File::open(&path)
            && opened.try_lock().is_ok()
        {
            remove_stage(&path, is_own);
        }
    }
}

fn is_file(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok_and(|found| found.is_file())
}

fn entries(folder: &Path) -> BTreeSet<(OsString, PathBuf)> {
    let found = fs::read_dir(folder).into_iter().flatten().flatten();
    found.map(|entry| (entry.file_name(), entry.path())).collect()
}

/// A stage and its lock, where the system knows such locks.
fn made_in(folder: &Path) -> io::Result<(PathBuf, Option<File>)> {
    for _ in 0..TRIES {
        let stage = tempfile::Builder::new().prefix(STAGE_PREFIX).tempdir_in(folder)?.keep();
        // Another run's sweep may take it before it is locked.
        let Ok(opened) = File::open(&stage) else { continue };
        match opened.try_lock() {
            Ok(()) if stage.exists() => return Ok((stage, Some(opened))),
            Err(TryLockError::Error(_)) => return Ok((stage, None)),
            Ok(()) | Err(TryLockError::WouldBlock) => {}
        }
    }
    Err(io::ErrorKind::ResourceBusy.into())
}

/// Whether the process works in a folder or below it: it would be left in the old one.
fn holds_working_folder(folder: &Path) -> bool {
    std::env::current_dir().and_then(fs::canonicalize).map_or(true, |here| here.starts_with(folder))
}

/// Whether a new folder is like one that stands: it then gets the same rights.
#[cfg(unix)]
fn is_alike(stage: &Path, real: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let (Ok(new), Ok(old)) = (fs::metadata(stage), fs::metadata(real)) else { return false };
    (new.dev(), new.uid(), new.gid()) == (old.dev(), old.uid(), old.gid())
        && !has_own_rules(real)
        && fs::set_permissions(stage, old.permissions()).is_ok()
}

#[cfg(not(unix))]
const fn is_alike(_stage: &Path, _real: &Path) -> bool {
    false
}

/// Whether a folder has rights of its own beside those of its mode.
#[cfg(target_os = "linux")]
fn has_own_rules(folder: &Path) -> bool {
    let mut names = vec![0_u8; 1 << 16];
    match rustix::fs::listxattr(folder, &mut names) {
        Ok(length) => memchr::memmem::find(names.get(..length).unwrap_or_default(), b"posix_acl").is_some(),
        Err(rustix::io::Errno::NOTSUP) => false,
        Err(_) => true,
    }
}

#[cfg(all(unix, not(target_os = "linux")))]
const fn has_own_rules(_folder: &Path) -> bool {
    false
}

/// Has two folders change places in one step.
#[cfg(any(target_os = "linux", target_vendor = "apple"))]
fn exchanged(one: &Path, other: &Path) -> io::Result<()> {
    use rustix::fs::{CWD, RenameFlags, renameat_with};
    Ok(renameat_with(CWD, one, CWD, other, RenameFlags::EXCHANGE)?)
}

#[cfg(not(any(target_os = "linux", target_vendor = "apple")))]
fn exchanged(_one: &Path, _other: &Path) -> io::Result<()> {
    Err(io::ErrorKind::Unsupported.into())
}

#[cfg(unix)]
fn has_other_name(path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    fs::symlink_metadata(path).is_ok_and(|found| found.is_file() && found.nlink() > 1)
}

#[cfg(not(unix))]
const fn has_other_name(_path: &Path) -> bool {
    false
}

/// The name under which a staged file will stand.
pub(super) fn name_of(target: &Path) -> OsString {
    target.file_name().map(OsStr::to_owned).unwrap_or_default()
}
