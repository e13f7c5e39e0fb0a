//! The message: headers, both texts and the workbook (RFC 5322, RFC 2045 to 2049).

use std::fs;
use std::io::{Cursor, Read};
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

use lettre::Message;
use lettre::message::header::{ContentType, Header, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, MultiPart, SinglePart};
use sha2::{Digest as _, Sha256};

use crate::report::whole_file::{WRITTEN_BY, shown};

use crate::report::summary::TOOL;
use crate::report::workbook::REPORT;

use super::body::{PICTURE, blocks, html, plain};
use super::digest::Digest;
use super::subject::subject;
use super::trend;

/// Bytes of a workbook's properties that are read.
const PROPERTIES: u64 = 1 << 16;

const WORKBOOK: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// Why there is no message.
#[derive(Debug, thiserror::Error)]
pub enum ComposeError {
    #[error("{what}: found '{}'. Expected an address such as 'audit@example.com' or 'Audit <audit@example.com>'.", .found.escape_debug())]
    Address { what: &'static str, found: String },
    #[error("{}: it can't be read: {why}.", shown(.path))]
    Report { path: PathBuf, why: String },
    #[error("{}: this is not a workbook (.xlsx). Name the report that the check wrote.", shown(.0))]
    NotAWorkbook(PathBuf),
    #[error("{}: this workbook is not the report on the whole plant; its title is '{}'. Name the workbook that --out of a check without --only wrote.", shown(.path), .title.escape_debug())]
    NoReport { path: PathBuf, title: String },
    #[error("{}: this workbook and the data folder are of different runs. Name the two that one run wrote.", shown(.0))]
    OtherRun(PathBuf),
    #[error(
        "A message needs a sender. Say --from ADDRESS, or set from in the section [mail] of the policy; {}.", .0
    )]
    Sender(String),
    #[error("The message can't be built: {0}.")]
    Build(String),
}

/// The workbook to attach, and what tells it from others.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    pub name: String,
    pub bytes: Vec<u8>,
    /// In hexadecimal.
    pub sha256: String,
    /// The id of the run that wrote it; empty where the workbook doesn't say.
    pub run: String,
}

impl Report {
    /// Reads a report.
    ///
    /// # Errors
    /// Where it can't be read or is no workbook: a sentence.
    pub fn load(path: &Path) -> Result<Self, ComposeError> {
        if fs::metadata(path).is_ok_and(|found| !found.is_file()) {
            return Err(ComposeError::NotAWorkbook(path.to_owned()));
        }
        let bytes =
            fs::read(path).map_err(|error| ComposeError::Report { path: path.to_owned(), why: error.to_string() })?;
        // A workbook is a ZIP file, and these four bytes open one.
        if !bytes.starts_with(b"PK\x03\x04") {
            return Err(ComposeError::NotAWorkbook(path.to_owned()));
        }
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let name = name.chars().map(|c| if c.is_control() { '_' } else { c }).collect();
        let sha256 = format!("{:x}", Sha256::digest(&bytes));
        let (run, title) = properties_of(&bytes);
        // The buyer's workbook and load cards of the same run bear its id, too.
        if !title.is_empty() && !title.starts_with(REPORT) {
            return Err(ComposeError::NoReport { path: path.to_owned(), title });
        }
        Ok(Self { name, bytes, sha256, run })
    }
}

/// The run's id and the title from a workbook's properties.
fn properties_of(bytes: &[u8]) -> (String, String) {
    let Ok(mut package) = zip::ZipArchive::new(Cursor::new(bytes)) else { return Default::default() };
    let Ok(part) = package.by_name("docProps/core.xml") else { return Default::default() };
    let mut text = String::new();
    let _ = part.take(PROPERTIES).read_to_string(&mut text);
    let after = text.split_once(WRITTEN_BY).and_then(|(_, rest)| rest.split_once(", run "));
    let run = after.map_or_else(String::new, |(_, id)| id.chars().take_while(char::is_ascii_hexdigit).collect());
    let after = text.split_once("<dc:title>").and_then(|(_, rest)| rest.split_once("</dc:title>"));
    (run, after.map_or_else(String::new, |(title, _)| title.to_owned()))
}

/// An address, with or without a name; `what` says where it stands.
///
/// # Errors
/// Where it isn't one, or holds a control character: a sentence.
pub fn mailbox(what: &'static str, text: &str) -> Result<Mailbox, ComposeError> {
    let wrong = || ComposeError::Address { what, found: text.to_owned() };
    if text.chars().any(char::is_control) {
        return Err(wrong());
    }
    text.trim().parse().map_err(|_| wrong())
}

/// Says that no person sent it, so that no vacation note comes back (RFC 3834).
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}

/// Says which program made the message, so that it may replace its own file later.
#[derive(Clone)]
struct WrittenBy;

impl Header for WrittenBy {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("User-Agent")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), TOOL.to_owned())
    }
}

/// Builds the message. `now` gives its date and, with report and addresses, its identity.
///
/// # Errors
/// Where the message can't be built: a sentence.
pub fn compose(
    digest: &Digest,
    report: &Report,
    from: &Mailbox,
    to: &[Mailbox],
    now: SystemTime,
) -> Result<Message, ComposeError> {
    let build = |error: &dyn std::error::Error| ComposeError::Build(error.to_string());
    let subject = subject(digest);
    let blocks = blocks(digest);
    let texts = match trend::picture(&digest.summary.history) {
        None => MultiPart::alternative_plain_html(plain(&blocks), html(&subject, &blocks)),
        Some(picture) => {
            let kind = ContentType::parse("image/png").map_err(|error| build(&error))?;
            let page = SinglePart::html(html(&subject, &blocks));
            let shown = MultiPart::related()
                .singlepart(page)
                .singlepart(Attachment::new_inline(PICTURE.to_owned()).body(picture, kind));
            MultiPart::alternative().singlepart(SinglePart::plain(plain(&blocks))).multipart(shown)
        }
    };
    let kind = ContentType::parse(WORKBOOK).map_err(|error| build(&error))?;
    let attached = Attachment::new(report.name.clone()).body(report.bytes.clone(), kind);
    let mut builder = Message::builder()
        .date(now)
        .from(from.clone())
        .message_id(Some(message_id(report, from, to, now)))
        .header(WrittenBy)
        .subject(subject)
        .header(AutoSubmitted);
    for mailbox in to {
        builder = builder.to(mailbox.clone());
    }
    builder.multipart(MultiPart::mixed().multipart(texts).singlepart(attached)).map_err(|error| build(&error))
}

fn message_id(report: &Report, from: &Mailbox, to: &[Mailbox], now: SystemTime) -> String {
    let mut hasher = Sha256::new();
    hasher.update(&report.sha256);
    for mailbox in to {
        hasher.update(mailbox.email.to_string());
        hasher.update([0]);
    }
    let moment = now.duration_since(UNIX_EPOCH).unwrap_or_default().as_nanos();
    hasher.update(moment.to_be_bytes());
    hasher.update(std::process::id().to_be_bytes());
    let start = &format!("{:x}", hasher.finalize())[..32];
    let domain = from.email.domain();
    // A domain outside ASCII has no place in this header (RFC 5322, 3.6.4).
    let domain = if domain.is_ascii() { domain } else { "localhost" };
    format!("<{start}@{domain}>")
}
