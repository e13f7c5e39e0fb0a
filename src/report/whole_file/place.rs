//! Where an output will stand.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::error::{OutputError, Why, folder_of};

/// Where a file will stand in the end: links followed, and checked as far as can be without
/// writing.
pub(super) fn resolved(path: &Path) -> Result<PathBuf, OutputError> {
    let fail = |why| OutputError::new(path, why);
    let bytes = path.as_os_str().as_encoded_bytes();
    if bytes.contains(&0) {
        return Err(fail(Why::OddName));
    }
    if bytes.is_empty() {
        return Err(fail(Why::NoName));
    }
    match fs::metadata(path) {
        Ok(found) if found.is_dir() => Err(fail(Why::IsFolder)),
        Ok(found) if !found.is_file() => Err(fail(Why::NotAFile)),
        Ok(found) if found.permissions().readonly() => Err(fail(Why::MarkedReadOnly)),
        Ok(_) => fs::canonicalize(path).map_err(|error| OutputError::from_io(path, error)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => fresh(path),
        Err(error) => Err(OutputError::from_io(path, error)),
    }
}

/// The place of a file that isn't there yet.
fn fresh(path: &Path) -> Result<PathBuf, OutputError> {
    let ends_in_separator =
        path.as_os_str().as_encoded_bytes().last().is_some_and(|byte| std::path::is_separator(char::from(*byte)));
    let Some(name) = path.file_name().filter(|_| !ends_in_separator) else {
        return Err(OutputError::new(path, Why::NoName));
    };
    let folder = fs::canonicalize(folder_of(path)).map_err(|error| OutputError::from_io(path, error))?;
    if !folder.is_dir() {
        return Err(OutputError::new(path, Why::FolderIsFile(folder_of(path))));
    }
    Ok(folder.join(name))
}

/// A path without links and dots, as far as it stands.
#[must_use]
pub fn settled(path: &Path) -> PathBuf {
    let path = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    for stands in path.ancestors() {
        if let Ok(real) = stands.canonicalize() {
            return real.join(path.strip_prefix(stands).unwrap_or(Path::new("")));
        }
    }
    path
}
