//! Why an output can't be written, one sentence or two each.

pub(crate) use crate::tables::shown::path_shown as shown;
use crate::tables::system_words::system_words;

use std::io;
use std::path::{Path, PathBuf};

/// An output that can't be written. Nothing was damaged: what stood there before still stands.
#[derive(Debug, thiserror::Error)]
#[error("{}: {why}", shown(.path))]
pub struct OutputError {
    /// The output as the user named it.
    pub path: PathBuf,
    pub why: Why,
}

/// What is wrong with it.
#[derive(Debug, thiserror::Error)]
pub enum Why {
    #[error("this is not the name of a file. Name a file to write, such as 'report.xlsx'.")]
    NoName,
    #[error("the name holds a character that a file name can't have (NUL). Choose another name.")]
    OddName,
    #[error("the name is longer than the disk allows (often 255 bytes). Choose a shorter one.")]
    NameTooLong,
    #[error("this is a folder. Name a file to write, such as 'report.xlsx' in it.")]
    IsFolder,
    #[error("this is a file. Name a folder to write to.")]
    IsFile,
    #[error("this is a device, a pipe or a socket, not a file. Name a file to write.")]
    NotAFile,
    #[error("the folder '{}' does not exist. Create it or name another.", shown(.0))]
    FolderMissing(PathBuf),
    #[error("'{}' is not a folder. Name a file in a folder that exists.", shown(.0))]
    FolderIsFile(PathBuf),
    #[error("there is no permission to write in the folder '{}'.", shown(.0))]
    NoPermission(PathBuf),
    #[error("the file that stands there is marked read-only. Remove the mark or name another file.")]
    MarkedReadOnly,
    #[error("the disk is read-only. Name a file on another disk.")]
    ReadOnlyDisk,
    #[error("the disk is full or its quota is used up. Nothing was written; make room and run again.")]
    DiskFull,
    #[error("the file grew larger than the system allows. Nothing was written.")]
    TooLarge,
    #[error("the file that stands there is open in another program. Close it and run again.")]
    Busy,
    #[error("this is the input '{}'. Inputs are never written to; name another file.", shown(.0))]
    IsInput(PathBuf),
    #[error("this lies in '{}', which this run reads. Nothing is written among inputs; name another place.", shown(.0))]
    WithinInputs(PathBuf),
    #[error("the plant '{}' would read this as its {table} next time. Name another place.", shown(.plant))]
    WouldBeRead { plant: PathBuf, table: String },
    #[error(
        "the plant '{}' is one workbook, and with a second one beside it the next run could not tell which. Name another place.",
        shown(.0)
    )]
    SecondWorkbook(PathBuf),
    #[error(
        "the file that stands there was not written by clampbook. Move it away, name another file, or add --replace to write over it."
    )]
    NotOurs,
    #[error("two outputs have this name. Give each its own.")]
    Twice,
    #[error("the run was interrupted. Nothing was written.")]
    Interrupted,
    #[error("it can't be written: {}. Nothing was written.", system_words(.0))]
    Other(io::Error),
}

impl OutputError {
    pub(super) fn new(path: &Path, why: Why) -> Self {
        Self { path: path.to_owned(), why }
    }

    /// The sentence for what the system says of an output.
    #[must_use]
    pub fn from_io(path: &Path, error: io::Error) -> Self {
        Self::new(path, Why::from_io(path, error))
    }
}

impl Why {
    fn from_io(path: &Path, error: io::Error) -> Self {
        use io::ErrorKind as Kind;
        let folder = || folder_of(path);
        match error.kind() {
            // A system's own folder takes no files, and says so in this way.
            Kind::NotFound if folder().is_dir() => Self::NoPermission(folder()),
            Kind::NotFound => Self::FolderMissing(folder()),
            Kind::NotADirectory => Self::FolderIsFile(folder()),
            Kind::IsADirectory => Self::IsFolder,
            Kind::PermissionDenied => Self::NoPermission(folder()),
            Kind::ReadOnlyFilesystem => Self::ReadOnlyDisk,
            Kind::StorageFull | Kind::QuotaExceeded => Self::DiskFull,
            Kind::FileTooLarge => Self::TooLarge,
            Kind::InvalidFilename => Self::NameTooLong,
            Kind::InvalidInput => Self::OddName,
            Kind::ResourceBusy | Kind::ExecutableFileBusy => Self::Busy,
            _ => Self::Other(error),
        }
    }
}

/// The folder that a file stands in; `.` where the path is a bare name.
pub(super) fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    }
}
