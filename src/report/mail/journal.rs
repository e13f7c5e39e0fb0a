//! What was sent to whom, kept beside the report, so that nobody gets it twice by mistake.

use std::ffi::OsString;
use std::fs::{self, File, TryLockError};
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
    #[error(
        "On {at} sending this report to {to} was begun, and how it ended is not known: it may have arrived. Nothing \
         was sent. Ask {to}; to send it all the same, add --again."
    )]
    Begun { to: String, at: String },
    #[error("{}: another run is sending this report now. Nothing was sent.", shown(.0))]
    Locked(PathBuf),
    #[error(transparent)]
    Output(#[from] OutputError),
}

/// How far a mail came.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum MailProgress {
    /// It was about to be handed to a server. An entry that stays like this is of a run that was
    /// ended before it knew.
    Begun,
    /// A server took it.
    #[default]
    Sent,
}

/// One mail.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MailEntry {
    /// Of the report, in hexadecimal.
    pub sha256: String,
    pub to: Vec<String>,
    /// Date and time, RFC 3339.
    pub sent_at: String,
    pub message_id: String,
    #[serde(default)]
    pub progress: MailProgress,
}

/// The journal of one report file.
#[derive(Debug)]
pub struct Journal {
    path: PathBuf,
    entries: Vec<MailEntry>,
    /// The report, locked: two runs must not send it at once.
    _report: File,
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
        let locked = File::open(report).map_err(|error| OutputError::from_io(report, error))?;
        if matches!(locked.try_lock(), Err(TryLockError::WouldBlock)) {
            return Err(JournalError::Locked(report.to_owned()));
        }
        let entries = match read(&path) {
            Ok(entries) => entries,
            Err(_) if again => Vec::new(),
            Err(why) => return Err(JournalError::Damaged { path, why }),
        };
        Ok(Self { path, entries, _report: locked })
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
                let (to, at) = (who.join(", "), entry.sent_at.clone());
                return Err(match entry.progress {
                    MailProgress::Sent => JournalError::Sent { to, at },
                    MailProgress::Begun => JournalError::Begun { to, at },
                });
            }
        }
        Ok(())
    }

    /// Notes that a mail is about to be handed to a server.
    ///
    /// # Errors
    /// Where the journal can't be written; nothing may be sent then.
    pub fn begin(
        &mut self,
        report: &Report,
        to: &[Mailbox],
        sent_at: String,
        message_id: String,
    ) -> Result<(), JournalError> {
        let to = to.iter().map(address).collect();
        self.entries.push(MailEntry {
            sha256: report.sha256.clone(),
            to,
            sent_at,
            message_id,
            progress: MailProgress::Begun,
        });
        self.write()
    }

    /// Notes how it ended: a mail that no server took leaves no entry.
    ///
    /// # Errors
    /// Where the journal can't be written; the entry then stays as one begun.
    pub fn end(mut self, is_sent: bool) -> Result<(), JournalError> {
        if is_sent {
            self.entries.iter_mut().rev().take(1).for_each(|entry| entry.progress = MailProgress::Sent);
        } else {
            self.entries.pop();
        }
        if self.entries.is_empty() {
            return fs::remove_file(&self.path).map_err(|error| OutputError::from_io(&self.path, error).into());
        }
        self.write()
    }

    fn write(&self) -> Result<(), JournalError> {
        let mut file = WholeFile::create(&self.path)?;
        let written = serde_json::to_writer_pretty(&mut file, &self.entries)
            .map_err(io::Error::from)
            .and_then(|()| file.write_all(b"\n"));
        written.map_err(|error| OutputError::from_io(&self.path, error))?;
        Ok(file.commit()?)
    }
}

/// An address as it is compared: servers treat both halves without regard to case.
fn address(mailbox: &Mailbox) -> String {
    mailbox.email.to_string().to_lowercase()
}

fn read(path: &Path) -> Result<Vec<MailEntry>, String> {
    if fs::metadata(path).is_ok_and(|found| !found.is_file()) {
        return Err("this is not a file".to_owned());
    }
    match fs::read(path) {
        Ok(bytes) => serde_json::from_slice(&bytes).map_err(|error| error.to_string()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(Vec::new()),
        Err(error) => Err(error.to_string()),
    }
}
