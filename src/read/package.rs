//! The parts of a zipped workbook, looked over before they are read: how large they really are,
//! what is hidden, how far repeats reach.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Cursor, Read};

use crate::tables::policy::Bounds;

use super::binary_sheet;
use super::bounds::{at_most, grouped};
use super::error::ReadError;
use super::open_document;

/// What is hidden on a sheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Hidden {
    pub rows: u64,
    pub columns: u64,
}

/// Hidden rows and columns by sheet name.
pub(crate) type HiddenBySheet = BTreeMap<String, Hidden>;

/// What a look at the parts tells.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Package {
    pub hidden: HiddenBySheet,
    /// The ending that its parts speak for: `xlsx`, `xlsb` or `ods`.
    pub ending: Option<&'static str>,
}

/// Cells that the sheets of a workbook may come to, what repeats written out.
pub(crate) const MOST_CELLS: u64 = 20_000_000;
/// Texts that cells share.
const MOST_SHARED_TEXTS: u64 = 5_000_000;
/// Texts that a workbook may claim to have; some writers claim all uses of them.
const MOST_CLAIMED_TEXTS: u64 = 100_000_000;
/// A text of a part, from tag to tag; far more than a cell may hold.
const LONGEST_TEXT: u64 = 1 << 20;
/// A part that holds no rows: names, styles.
const LARGEST_OTHER_PART: u64 = 64 << 20;

/// What is known of the parts while they are looked over.
#[derive(Default)]
struct Look {
    /// Bytes of all parts so far, unpacked.
    inflated: u64,
    /// What is hidden, by the part of the sheet.
    sheets: BTreeMap<String, Hidden>,
    /// Identifiers of the sheets by their names, and parts by identifiers.
    names: BTreeMap<String, String>,
    targets: BTreeMap<String, String>,
    package: Package,
}

/// Why a part is not read.
pub(super) enum Fault {
    /// It can't be unpacked, or it breaks off.
    Broken,
    /// A text or a tag of it is far longer than a cell may hold.
    LongText,
    Refused(ReadError),
}

impl From<ReadError> for Fault {
    fn from(error: ReadError) -> Self {
        Self::Refused(error)
    }
}

/// Inflates every part once, counting, and looks at the sheets.
pub(crate) fn look_over(file: &str, bytes: &[u8], bounds: &Bounds) -> Result<Package, ReadError> {
    looked_over(file, bytes, bounds).map_err(|fault| match fault {
        Fault::Refused(error) => error,
        Fault::Broken => {
            ReadError::new(format!("{file}: the workbook is truncated or damaged: its parts can't be unpacked."))
        }
        Fault::LongText => ReadError::new(format!(
            "{file}: a part of the workbook has a text of more than {} MiB, which no cell can hold.",
            LONGEST_TEXT >> 20
        )),
    })
}

fn looked_over(file: &str, bytes: &[u8], bounds: &Bounds) -> Result<Package, Fault> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| Fault::Broken)?;
    at_most(file, "the workbook has", archive.len() as u64, 100_000, " parts", "inflated_mib")?;
    let most = bounds.inflated_mib << 20;
    let mut look = Look::default();
    for index in 0..archive.len() {
        let part = archive.by_index(index).map_err(|_| Fault::Broken)?;
        let name = part.name().map_err(|_| Fault::Broken)?.trim_start_matches('/').to_owned();
        look.package.ending = look.package.ending.or_else(|| ending_of(&name));
        let mut counted = BufReader::new(Counted { inner: part.take(most - look.inflated + 1), count: 0 });
        let seen = look.at_part(file, &name, &mut counted);
        let rest = std::io::copy(&mut counted, &mut std::io::sink());
        let length = counted.get_ref().count;
        look.inflated += length;
        if look.inflated > most {
            return Err(Fault::Refused(ReadError::new(format!(
                "{file}: unpacked, the workbook has more than the {} MiB that [bounds] inflated_mib of the policy allows.",
                grouped(bounds.inflated_mib)
            ))));
        }
        seen?;
        rest.map_err(|_| Fault::Broken)?;
        if !holds_rows(&name) && is_read(&name) && length > LARGEST_OTHER_PART {
            return Err(Fault::Refused(ReadError::new(format!(
                "{file}: its part {name} has more than {} MiB when unpacked, and is none of its tables; save the tables in a new workbook.",
                LARGEST_OTHER_PART >> 20
            ))));
        }
    }
    Ok(look.finish())
}

/// The kind of workbook that a part speaks for.
fn ending_of(part: &str) -> Option<&'static str> {
    match part {
        "xl/workbook.xml" => Some("xlsx"),
        "xl/workbook.bin" => Some("xlsb"),
        "content.xml" => Some("ods"),
        _ => None,
    }
}

/// Whether a part is a sheet.
pub(super) fn is_sheet(part: &str) -> bool {
    part.strip_prefix("xl/worksheets/").is_some_and(|part| !part.contains('/'))
}

/// Whether a part holds cells or the texts of cells.
fn holds_rows(part: &str) -> bool {
    is_sheet(part) || part.starts_with("xl/sharedStrings.") || part == "content.xml"
}

/// Whether a part is read at all; pictures and the like are not.
fn is_read(part: &str) -> bool {
    ["xml", "bin", "rels"].into_iter().any(|ending| has_ending(part, ending)) || part == "mimetype"
}

fn has_ending(part: &str, ending: &str) -> bool {
    part.rsplit('.').next().is_some_and(|last| last.eq_ignore_ascii_case(ending))
}

impl Look {
    fn at_part(&mut self, file: &str, name: &str, part: &mut impl BufRead) -> Result<(), Fault> {
        match name {
            "xl/workbook.xml" => workbook_sheets(part, &mut self.names),
            "xl/_rels/workbook.xml.rels" => relations(part, &mut self.targets),
            "xl/sharedStrings.xml" => shared_texts(file, part),
            "xl/sharedStrings.bin" => few_texts(file, binary_sheet::shared_texts(part)),
            "content.xml" => open_document::look_over(file, part, &mut self.package.hidden),
            sheet if is_sheet(sheet) && has_ending(sheet, "xml") => {
                self.sheets.insert(name.to_owned(), hidden_of_sheet(part)?);
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// What is hidden by the names of the sheets.
    fn finish(mut self) -> Package {
        for (sheet, id) in self.names {
            if let Some(hidden) = self.targets.get(&id).and_then(|part| self.sheets.get(part)) {
                self.package.hidden.insert(sheet, *hidden);
            }
        }
        self.package
    }
}

/// Counts the texts that cells share.
fn shared_texts(file: &str, part: &mut impl BufRead) -> Result<(), Fault> {
    let (mut texts, mut claimed): (u64, u64) = (0, 0);
    tags(part, |tag| match element(tag) {
        "si" => texts += 1,
        // Room is taken for as many as are claimed, and costs nothing until it is used.
        "sst" => {
            claimed = attribute(tag, "uniqueCount").map_or(0, |text| text.parse::<u64>().unwrap_or(u64::MAX));
        }
        _ => {}
    })?;
    few_texts(file, if claimed > MOST_CLAIMED_TEXTS { claimed } else { texts })
}

fn few_texts(file: &str, texts: u64) -> Result<(), Fault> {
    if texts <= MOST_SHARED_TEXTS {
        return Ok(());
    }
    Err(Fault::Refused(ReadError::new(format!(
        "{file}: the workbook has more than {} different texts; save its lists as CSV.",
        grouped(MOST_SHARED_TEXTS)
    ))))
}

struct Counted<R> {
    inner: R,
    count: u64,
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let count = self.inner.read(buffer)?;
        self.count += count as u64;
        Ok(count)
    }
}

/// Calls `see` with the text of each tag, without its brackets.
pub(super) fn tags(reader: &mut impl BufRead, mut see: impl FnMut(&str)) -> Result<(), Fault> {
    let mut tag = Vec::new();
    loop {
        let text = reader.skip_until(b'<').map_err(|_| Fault::Broken)?;
        if text == 0 {
            return Ok(());
        }
        tag.clear();
        let length = reader.by_ref().take(LONGEST_TEXT).read_until(b'>', &mut tag).map_err(|_| Fault::Broken)?;
        if text as u64 > LONGEST_TEXT || length as u64 == LONGEST_TEXT {
            return Err(Fault::LongText);
        }
        if tag.pop() == Some(b'>') {
            see(&String::from_utf8_lossy(&tag));
        }
    }
}

pub(super) fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
    let mut rest = tag;
    loop {
        let at = rest.find(name)?;
        let before = rest.get(..at)?.chars().next_back();
        let after = rest.get(at + name.len()..)?;
        rest = after;
        if before.is_some_and(char::is_whitespace)
            && let Some(value) = after.trim_start().strip_prefix('=').map(str::trim_start)
        {
            let quote = value.chars().next().filter(|quote| matches!(quote, '"' | '\''))?;
            return value.get(1..)?.split(quote).next();
        }
    }
}

pub(super) fn element(tag: &str) -> &str {
    let name = tag.split(|letter: char| letter.is_whitespace() || letter == '/').next().unwrap_or_default();
    name.rsplit(':').next().unwrap_or(name)
}

pub(super) fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&apos;", "'")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

fn workbook_sheets(reader: &mut impl BufRead, names: &mut BTreeMap<String, String>) -> Result<(), Fault> {
    tags(reader, |tag| {
        if element(tag) == "sheet"
            && let (Some(name), Some(id)) = (attribute(tag, "name"), attribute(tag, "r:id"))
        {
            names.insert(unescaped(name), id.to_owned());
        }
    })
}

fn relations(reader: &mut impl BufRead, targets: &mut BTreeMap<String, String>) -> Result<(), Fault> {
    tags(reader, |tag| {
        if let (Some(id), Some(target)) = (attribute(tag, "Id"), attribute(tag, "Target")) {
            let part = target.strip_prefix('/').map_or_else(|| format!("xl/{target}"), str::to_owned);
            targets.insert(id.to_owned(), part);
        }
    })
}

fn is_true(value: Option<&str>) -> bool {
    matches!(value, Some("1" | "true"))
}

fn hidden_of_sheet(reader: &mut impl BufRead) -> Result<Hidden, Fault> {
    let mut hidden = Hidden::default();
    tags(reader, |tag| match element(tag) {
        "row" if is_true(attribute(tag, "hidden")) => hidden.rows += 1,
        "col" if is_true(attribute(tag, "hidden")) => {
            let end = |name| attribute(tag, name).and_then(|text| text.parse::<u64>().ok()).unwrap_or(1).min(16_384);
            hidden.columns += (end("max") + 1).saturating_sub(end("min"));
        }
        _ => {}
    })?;
    Ok(hidden)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn attributes_are_found_by_their_whole_name() {
        let tag = "row r=\"3\" customHidden='0' hidden=\"1\" ht = '12'";
        assert_eq!(attribute(tag, "hidden"), Some("1"));
        assert_eq!(attribute(tag, "ht"), Some("12"));
        assert_eq!(attribute(tag, "r"), Some("3"));
        assert_eq!(attribute(tag, "x"), None);
    }
}
