//! Whether an output may be written where the user wants it.

use std::fs;
use std::io;
use std::path::Path;

use super::WholeFile;
use super::error::{OutputError, Why};
use super::inputs::Inputs;

/// Checks at the start of a run that an output can be written and is none of the inputs.
///
/// # Errors
/// The reason, in a sentence.
pub fn check(path: &Path, inputs: &Inputs) -> Result<(), OutputError> {
    inputs.refuse(path)?;
    // Only a file that was really made proves folder, disk and permission.
    WholeFile::create(path).map(drop)
}

/// Makes sure of a folder for outputs: creates it where it is missing, and checks that files can
/// be made in it.
///
/// # Errors
/// The reason, in a sentence.
pub fn ensure_folder(folder: &Path) -> Result<(), OutputError> {
    let fail = |why| OutputError::new(folder, why);
    if folder.as_os_str().is_empty() {
        return Err(fail(Why::NoName));
    }
    match fs::metadata(folder) {
        Ok(found) if found.is_dir() => {}
        Ok(_) => return Err(fail(Why::IsFile)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            fs::create_dir_all(folder).map_err(|error| OutputError::from_io(folder, error))?;
        }
        Err(error) => return Err(OutputError::from_io(folder, error)),
    }
    WholeFile::create(&folder.join("summary.json"))
        .map(drop)
        .map_err(|error| OutputError { path: folder.to_owned(), why: error.why })
}
