//! The parts of a zipped workbook, looked over before they are read: how large they really are,
//! what is hidden, how far repeats reach.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Cursor, Read};

use crate::model::policy::Bounds;

use super::bounds::{at_most, grouped};
use super::error::ReadError;

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

/// Cells that an open document sheet may come to when its repeats are written out.
const MOST_REPEATED_CELLS: u64 = 20_000_000;

/// Inflates every part once, counting, and looks at the sheets.
pub(crate) fn look_over(file: &str, bytes: &[u8], bounds: &Bounds) -> Result<Package, ReadError> {
    let broken =
        || ReadError::new(format!("{file}: the workbook is truncated or damaged: its parts can't be unpacked."));
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| broken())?;
    at_most(file, "the workbook has", archive.len() as u64, 100_000, " parts", "inflated_mib")?;
    let most = bounds.inflated_mib << 20;
    let mut inflated: u64 = 0;
    let mut sheets: BTreeMap<String, Hidden> = BTreeMap::new();
    let mut names: BTreeMap<String, String> = BTreeMap::new();
    let mut targets: BTreeMap<String, String> = BTreeMap::new();
    let mut by_name = HiddenBySheet::new();
    let mut ending = None;
    for index in 0..archive.len() {
        let part = archive.by_index(index).map_err(|_| broken())?;
        let name = part.name().map(|name| name.trim_start_matches('/').to_owned()).map_err(|_| broken())?;
        ending = ending.or(match name.as_str() {
            "xl/workbook.xml" => Some("xlsx"),
            "xl/workbook.bin" => Some("xlsb"),
            "content.xml" => Some("ods"),
            _ => None,
        });
        let mut counted = BufReader::new(Counted { inner: part.take(most - inflated + 1), count: 0 });
        let seen = match name.as_str() {
            "xl/workbook.xml" => workbook_sheets(&mut counted, &mut names),
            "xl/_rels/workbook.xml.rels" => relations(&mut counted, &mut targets),
            "content.xml" => open_document(file, &mut counted, &mut by_name)?,
            sheet if sheet.strip_prefix("xl/worksheets/").is_some_and(|part| !part.contains('/')) => {
                hidden_of_sheet(&mut counted).map(|hidden| {
                    sheets.insert(name.clone(), hidden);
                })
            }
            _ => Some(()),
        };
        let rest = std::io::copy(&mut counted, &mut std::io::sink());
        inflated += counted.get_ref().count;
        if inflated > most {
            return Err(ReadError::new(format!(
                "{file}: unpacked, the workbook has more than the {} MiB that [bounds] inflated_mib of the policy allows.",
                grouped(bounds.inflated_mib)
            )));
        }
        if seen.is_none() || rest.is_err() {
            return Err(broken());
        }
    }
    for (sheet, id) in names {
        if let Some(hidden) = targets.get(&id).and_then(|part| sheets.get(part)) {
            by_name.insert(sheet, *hidden);
        }
    }
    Ok(Package { hidden: by_name, ending })
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

/// Calls `see` with the text of each tag, without its brackets; `None` where the part breaks off.
fn tags(reader: &mut impl BufRead, mut see: impl FnMut(&str)) -> Option<()> {
    const LONGEST: u64 = 1 << 20;
    let mut tag = Vec::new();
    loop {
        if reader.skip_until(b'<').ok()? == 0 {
            return Some(());
        }
        tag.clear();
        reader.by_ref().take(LONGEST).read_until(b'>', &mut tag).ok()?;
        if tag.pop() == Some(b'>') {
            see(&String::from_utf8_lossy(&tag));
        }
    }
}

fn attribute<'a>(tag: &'a str, name: &str) -> Option<&'a str> {
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

fn element(tag: &str) -> &str {
    let name = tag.split(|letter: char| letter.is_whitespace() || letter == '/').next().unwrap_or_default();
    name.rsplit(':').next().unwrap_or(name)
}

fn unescaped(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&apos;", "'")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

fn workbook_sheets(reader: &mut impl BufRead, names: &mut BTreeMap<String, String>) -> Option<()> {
    tags(reader, |tag| {
        if element(tag) == "sheet"
            && let (Some(name), Some(id)) = (attribute(tag, "name"), attribute(tag, "r:id"))
        {
            names.insert(unescaped(name), id.to_owned());
        }
    })
}

fn relations(reader: &mut impl BufRead, targets: &mut BTreeMap<String, String>) -> Option<()> {
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

fn hidden_of_sheet(reader: &mut impl BufRead) -> Option<Hidden> {
    let mut hidden = Hidden::default();
    tags(reader, |tag| match element(tag) {
        "row" if is_true(attribute(tag, "hidden")) => hidden.rows += 1,
        "col" if is_true(attribute(tag, "hidden")) => {
            let end = |name| attribute(tag, name).and_then(|text| text.parse::<u64>().ok()).unwrap_or(1).min(16_384);
            hidden.columns += (end("max") + 1).saturating_sub(end("min"));
        }
        _ => {}
    })?;
    Some(hidden)
}

/// What has been seen of an open document sheet.
#[derive(Default)]
struct Expansion {
    name: String,
    hidden: Hidden,
    rows: u64,
    blank_rows: u64,
    row_repeat: u64,
    width: u64,
    blank_width: u64,
    widest: u64,
}

impl Expansion {
    fn end_row(&mut self) {
        if self.width == 0 {
            self.blank_rows = self.blank_rows.saturating_add(self.row_repeat);
        } else {
            self.rows = self.rows.saturating_add(self.blank_rows).saturating_add(self.row_repeat);
            self.blank_rows = 0;
            self.widest = self.widest.max(self.width);
        }
    }

    fn cells(&self) -> u64 {
        self.rows.saturating_mul(self.widest)
    }
}

fn open_document(file: &str, reader: &mut impl BufRead, by_name: &mut HiddenBySheet) -> Result<Option<()>, ReadError> {
    let mut sheet = Expansion::default();
    let mut refused = None;
    let mut cells: u64 = 0;
    let repeat = |tag: &str, name: &str| attribute(tag, name).and_then(|text| text.parse::<u64>().ok()).unwrap_or(1);
    let is_hidden = |tag: &str| matches!(attribute(tag, "table:visibility"), Some("collapse" | "filter"));
    let seen = tags(reader, |tag| match element(tag) {
        "table" if !tag.starts_with('/') => {
            sheet =
                Expansion { name: unescaped(attribute(tag, "table:name").unwrap_or_default()), ..Expansion::default() };
        }
        "table-column" if is_hidden(tag) => {
            sheet.hidden.columns += repeat(tag, "table:number-columns-repeated").min(16_384);
        }
        "table-row" => {
            sheet.row_repeat = repeat(tag, "table:number-rows-repeated").min(1 << 20);
            (sheet.width, sheet.blank_width) = (0, 0);
            if is_hidden(tag) {
                sheet.hidden.rows += sheet.row_repeat;
            }
            if tag.ends_with('/') {
                sheet.end_row();
            }
        }
        "table-cell" | "covered-table-cell" => {
            let count = repeat(tag, "table:number-columns-repeated").min(16_384);
            let holds = tag.contains("office:") || tag.contains("table:formula");
            if holds {
                sheet.width += sheet.blank_width + count;
                sheet.blank_width = 0;
            } else {
                sheet.blank_width += count;
            }
            cells = cells.saturating_add(count);
        }
        "s" if repeat(tag, "text:c") > 32_767 => refused = Some("a run of blanks"),
        "" if tag == "/table:table-row" => sheet.end_row(),
        "" if tag == "/table:table" => {
            if sheet.hidden != Hidden::default() {
                by_name.insert(std::mem::take(&mut sheet.name), sheet.hidden);
            }
            if sheet.cells() > MOST_REPEATED_CELLS {
                refused = Some("repeated rows or columns");
            }
        }
        _ => {}
    });
    if cells > MOST_REPEATED_CELLS.saturating_mul(5) {
        refused = refused.or(Some("repeated columns"));
    }
    refused.map_or(Ok(seen), |what| {
        Err(ReadError::new(format!(
            "{file}: {what} on a sheet come to more than {} cells when written out; clear what repeats outside the table.",
            grouped(MOST_REPEATED_CELLS)
        )))
    })
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

    #[test]
    fn trailing_repeats_cost_nothing() {
        let mut names = HiddenBySheet::new();
        let sheet = |rows: &str| format!("<table:table table:name=\"A\">{rows}</table:table>");
        let cell = "<table:table-cell office:value-type=\"string\"><text:p>x</text:p></table:table-cell>";
        let trailing = sheet(&format!(
            "<table:table-row>{cell}<table:table-cell table:number-columns-repeated=\"16383\"/></table:table-row>\
             <table:table-row table:number-rows-repeated=\"1048575\"><table:table-cell table:number-columns-repeated=\"16384\"/></table:table-row>"
        ));
        assert_eq!(open_document("a.ods", &mut trailing.as_bytes(), &mut names), Ok(Some(())));
        let wide = sheet(&format!(
            "<table:table-row table:number-rows-repeated=\"1000000\">{}</table:table-row>",
            cell.repeat(30)
        ));
        assert!(open_document("a.ods", &mut wide.as_bytes(), &mut names).is_err());
    }
}
