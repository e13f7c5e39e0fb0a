//! What was sent to whom, kept beside the report, so that nobody gets it twice by mistake.

use std::ffi::OsString;
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use lettre::message::Mailbox;
use serde::{Deserialize, Serialize};

use crate::report::whole_file::{OutputError, WholeFile, shown};

use super::message::Report;

/// Why the report isn't sent, or why that isn't noted.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    #[error("{}: it can't be read ({why}), so that it can't be told who has the report. Repair or remove it, or send with --again.", shown(.path))]
    Damaged { path: PathBuf, why: String },
    #[error("{to} got this report on {at}. Nothing was sent. To send it once more, add --again.")]
    Sent { to: String, at: String },
    #[error(transparent)]
    Output(#[from] OutputError),
}

/// One mail that a server took.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// Of the report, in hexadecimal.
    pub sha256: String,
    pub to: Vec<String>,
    /// Date and time, RFC 3339.
    pub sent_at: String,
    pub message_id: String,
}

/// The journal of one report file.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    entries: Vec<Entry>,
    /// Opened before the mail is sent, so that a journal that can't be written stops it.
    file: WholeFile,
}

impl Journal {
    /// `report.xlsx.sent.json` beside `report.xlsx`.
    #[must_use]
    pub fn path_of(report: &Path) -> PathBuf {
        let mut name = report.file_name().map_or_else(OsString::new, OsString::from);
        name.push(".sent.json");
        report.with_file_name(name)
    }

    /// Opens the journal of a report; with `again` a damaged one starts anew.
    ///
    /// # Errors
    /// Where it is damaged or can't be written.
    pub fn open(report: &Path, again: bool) -> Result<Self, JournalError> {
        let path = Self::path_of(report);
        let entries = match read(&path) {
            Ok(entries) => entries,
            Err(_) if again => Vec::new(),
            Err(why) => return Err(JournalError::Damaged { path, why }),
        };
        let file = WholeFile::create(&path)?;
        Ok(Self { path, entries, file })
    }

    /// Refuses where one of the addresses has this report.
    ///
    /// # Errors
    /// Names who has it and since when.
    pub fn refuse_again(&self, report: &Report, to: &[Mailbox]) -> Result<(), JournalError> {
        for entry in self.entries.iter().filter(|entry| entry.sha256 == report.sha256) {
            let has_it = |mailbox: &&Mailbox| entry.to.contains(&address(mailbox));
            let who: Vec<String> = to.iter().filter(has_it).map(|mailbox| mailbox.email.to_string()).collect();
            if !who.is_empty() {
                return Err(JournalError::Sent { to: who.join(", "), at: entry.sent_at.clone() });
            }
        }
        Ok(())
    }

    /// Notes that a server took the mail.
    ///
    /// # Errors
    /// Where the journal can't be written; the mail is sent all the same.
    pub fn note(
        mut self,
        report: &Report,
        to: &[Mailbox],
        sent_at: String,
        message_id: String,
    ) -> Result<(), JournalError> {
        let to = to.iter().map(address).collect();
        self.entries.push(Entry { sha256: report.sha256.clone(), to, sent_at, message_id });
        let written = serde_json::to_writer_pretty(&mut self.file, &self.entries)
            .map_err(io::Error::from)
            .and_then(|()| self.file.write_all(b"\n"));
        written.map_err(|error| OutputError::from_io(&self.path, error))?;
        Ok(self.file.commit()?)
    }
}

/// An address as it is compared: servers treat both halves without regard to case.
fn address(mailbox: &Mailbox) -> String {
    mailbox.email.to_string().to_lowercase()
}

fn read(path: &Path) -> Result<Vec<Entry>, String> {
    match fs::read(path) {
        Ok(bytes) => serde_json::from_slice(&bytes).map_err(|error| error.to_string()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        Err(error) => Err(error.to_string()),
    }
}
