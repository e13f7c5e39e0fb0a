//! Whether a file in an output's place was written by this program: anything else is somebody's
//! work and is not replaced unasked.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use super::error::{OutputError, Why};

/// What tells an output of this program from other files.
#[derive(Clone, Copy, Debug)]
pub enum Mark<'a> {
    /// A workbook whose properties say who wrote it.
    Workbook,
    /// Text that begins like this.
    Start(&'a str),
    /// A text near the file's start.
    Near(&'a str),
    /// A Parquet file whose columns, listed at its end, are these.
    Parquet(&'a [&'a str]),
}

pub use crate::tables::written_by::WRITTEN_BY;

/// Bytes in which a mark is looked for.
const NEAR: u64 = 8192;
/// Bytes at the end of a Parquet file that hold the first columns' names.
const FOOTER: u64 = 1 << 16;

/// Refuses to replace a file that this program didn't write.
///
/// # Errors
/// Names `--replace`, with which this is not asked.
pub fn refuse_foreign(path: &Path, mark: Mark, replaces: bool) -> Result<(), OutputError> {
    let Ok(found) = std::fs::metadata(path) else { return Ok(()) };
    // What is no file is refused where the output is opened; an empty file is no loss.
    if replaces || !found.is_file() || found.len() == 0 || has_mark(path, mark) {
        return Ok(());
    }
    Err(OutputError::new(path, Why::NotOurs))
}

/// Whether a file has a mark of this program.
#[must_use]
pub fn has_mark(path: &Path, mark: Mark) -> bool {
    if !std::fs::metadata(path).is_ok_and(|found| found.is_file()) {
        return false;
    }
    let Ok(mut file) = File::open(path) else { return false };
    match mark {
        Mark::Workbook => workbook_has_mark(file),
        Mark::Start(text) => head_of(&mut file).starts_with(text.as_bytes()),
        Mark::Near(text) => holds(&head_of(&mut file), text),
        Mark::Parquet(columns) => parquet_has(&mut file, columns),
    }
}

fn head_of(file: &mut File) -> Vec<u8> {
    let mut head = Vec::new();
    // What can't be read has no mark.
    let _ = file.take(NEAR).read_to_end(&mut head);
    head
}

fn holds(bytes: &[u8], text: &str) -> bool {
    memchr::memmem::find(bytes, text.as_bytes()).is_some()
}

fn workbook_has_mark(file: File) -> bool {
    let Ok(mut package) = zip::ZipArchive::new(file) else { return false };
    let Ok(part) = package.by_name("docProps/core.xml") else { return false };
    let mut text = Vec::new();
    let _ = part.take(NEAR).read_to_end(&mut text);
    holds(&text, WRITTEN_BY)
}

fn parquet_has(file: &mut File, columns: &[&str]) -> bool {
    let is_parquet = head_of(file).starts_with(b"PAR1");
    let Ok(length) = file.seek(SeekFrom::End(0)) else { return false };
    let mut end = Vec::new();
    let read =
        file.seek(SeekFrom::Start(length.saturating_sub(FOOTER))).and_then(|_| file.take(FOOTER).read_to_end(&mut end));
    is_parquet && read.is_ok() && columns.iter().all(|column| holds(&end, column))
}
