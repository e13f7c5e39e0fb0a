//! The parts of a zipped workbook, looked over before they are read: how large they really are,
//! what is hidden, how far repeats reach.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Cursor, Read};
use std::sync::Arc;

use crate::tables::policy::Bounds;
use crate::tables::written_by::WRITTEN_BY;

use super::binary_sheet::{self, is_sheet};
use super::bounds::{at_most, grouped};
use super::document_styles::DocumentStyles;
use super::error::ReadError;
use super::markup::{Fault, LONGEST_TEXT, MOST_ATTRIBUTES, Markup, Tag, each, tags};
use super::number_format::NumberFormat;
use super::open_document::{self, LookBySheet, Merged, SheetLook};
use super::struck::{Runs, Strikes, place_of};

/// What a look at the parts tells.
#[derive(Clone, Debug, Default)]
pub(crate) struct Package {
    /// By the name of the sheet.
    pub looks: LookBySheet,
    /// The ending that its parts speak for: `xlsx`, `xlsb` or `ods`.
    pub ending: Option<&'static str>,
    /// Whether its properties say that it is a report of this program.
    pub is_report: bool,
    /// Bytes of the texts that cells share.
    pub shared_text: u64,
    /// Formats of an open document that show a text beside a number.
    pub formats: Arc<[NumberFormat]>,
}

/// Cells that the sheets of a workbook may come to, what repeats written out.
pub(crate) const MOST_CELLS: u64 = 20_000_000;
/// Texts that cells share.
const MOST_SHARED_TEXTS: u64 = 5_000_000;
/// Texts that a workbook may claim to have; some writers claim all uses of them.
const MOST_CLAIMED_TEXTS: u64 = 100_000_000;
/// Formats of cells; a spreadsheet takes some 65,000, and as many named ones.
const MOST_STYLES: u64 = 130_000;
/// Bytes of a number format or the name of a font; a spreadsheet takes 255 letters.
const LONGEST_STYLE: usize = 2048;
/// So few may have longer ones.
const FEW_STYLES: u64 = 100;
/// Bytes of a workbook's properties that are looked at.
const PROPERTIES: u64 = 8192;
/// A part that holds no rows: names, styles.
const LARGEST_OTHER_PART: u64 = 64 << 20;

/// What is known of the parts while they are looked over.
#[derive(Default)]
struct Look {
    /// Bytes of all parts so far, unpacked.
    inflated: u64,
    /// What is hidden, by the part of the sheet.
    sheets: BTreeMap<String, SheetLook>,
    /// Identifiers of the sheets by their names, and parts by identifiers.
    names: BTreeMap<String, String>,
    targets: BTreeMap<String, String>,
    package: Package,
    document_styles: DocumentStyles,
    strikes: Strikes,
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
        Fault::ManyAttributes => ReadError::new(format!(
            "{file}: a part of the workbook has a tag of more than {MOST_ATTRIBUTES} attributes, which none needs; save its tables in a new workbook."
        )),
    })
}

fn looked_over(file: &str, bytes: &[u8], bounds: &Bounds) -> Result<Package, Fault> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|_| Fault::Broken)?;
    at_most(file, "the workbook has", archive.len() as u64, 100_000, " parts", "inflated_mib")?;
    let most = bounds.inflated_mib << 20;
    let mut look = Look::default();
    // What cells stand on comes before them; where it can't be read they stand on nothing.
    if let Ok(styles) = archive.by_name("styles.xml") {
        let _ = each(&mut BufReader::new(styles.take(LARGEST_OTHER_PART)), |markup| look.document_styles.see(&markup));
    }
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
    // Seldom: the sheets are looked at once more, since what cells stand on may come behind them.
    for (name, look_of_sheet) in &mut look.sheets {
        if look.strikes.may_be_on(name)
            && let Ok(part) = archive.by_name(name)
        {
            look_of_sheet.struck = look.strikes.on_sheet(file, &mut BufReader::new(part))?;
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
            "xl/sharedStrings.xml" => {
                self.package.shared_text = shared_texts(file, part, &mut self.strikes)?;
                Ok(())
            }
            "xl/sharedStrings.bin" => few_texts(file, binary_sheet::shared_texts(part)),
            "docProps/core.xml" => {
                let mut head = Vec::new();
                part.take(PROPERTIES).read_to_end(&mut head).map_err(|_| Fault::Broken)?;
                self.package.is_report = memchr::memmem::find(&head, WRITTEN_BY.as_bytes()).is_some();
                Ok(())
            }
            "content.xml" => open_document::look_over(file, part, &mut self.document_styles, &mut self.package.looks),
            sheet if is_sheet(sheet) && has_ending(sheet, "xml") => {
                let (look, has_marks) = look_of_sheet(part)?;
                self.sheets.insert(name.to_owned(), look);
                if has_marks {
                    self.strikes.add_sheet(name);
                }
                Ok(())
            }
            "xl/styles.xml" => few_styles(file, part, &mut self.strikes),
            "META-INF/manifest.xml" => tags(part, |_| {}),
            _ => Ok(()),
        }
    }

    /// What is hidden by the names of the sheets.
    fn finish(mut self) -> Package {
        for (sheet, id) in self.names {
            if let Some(look) = self.targets.get(&id).and_then(|part| self.sheets.get(part)) {
                self.package.looks.insert(sheet, look.clone());
            }
        }
        self.package.formats = self.document_styles.finish();
        self.package
    }
}

/// Counts the texts that cells share; gives their bytes.
fn shared_texts(file: &str, part: &mut impl BufRead, strikes: &mut Strikes) -> Result<u64, Fault> {
    let (mut texts, mut claimed): (u64, u64) = (0, 0);
    let mut lengths = Lengths::of("si");
    let mut runs = Runs::default();
    each(part, |markup| {
        lengths.see(&markup);
        if runs.see(&markup) {
            strikes.add_text(texts.saturating_sub(1));
        }
        let Markup::Start(tag) = markup else { return };
        match tag.name() {
            "si" => texts += 1,
            // Room is taken for as many as are claimed, and costs nothing until it is used.
            "sst" => {
                claimed = tag.attribute("uniqueCount").map_or(0, |text| text.parse::<u64>().unwrap_or(u64::MAX));
            }
            _ => {}
        }
    })?;
    lengths.refuse_long()?;
    few_texts(file, if claimed > MOST_CLAIMED_TEXTS { claimed } else { texts })?;
    Ok(lengths.all)
}

/// Refuses styles that would take more room than any cells need: the reader keeps the format and the font of each by
/// themselves.
fn few_styles(file: &str, part: &mut impl BufRead, strikes: &mut Strikes) -> Result<(), Fault> {
    let (mut styles, mut longest) = (0_u64, 0);
    each(part, |markup| {
        strikes.see_style(&markup);
        let Markup::Start(tag) = markup else { return };
        match tag.name() {
            "xf" => styles += 1,
            "numFmt" | "name" => longest = longest.max(tag.length()),
            _ => {}
        }
    })?;
    let refused = |what: String| {
        Err(Fault::Refused(ReadError::new(format!("{file}: {what}; save its tables in a new workbook."))))
    };
    if styles > MOST_STYLES {
        return refused(format!("the workbook has more than {} formats of cells", grouped(MOST_STYLES)));
    }
    if longest > LONGEST_STYLE && styles > FEW_STYLES {
        return refused(format!(
            "a number format or a font of the workbook has a name of more than {LONGEST_STYLE} bytes"
        ));
    }
    Ok(())
}

/// Bytes of text of an element, put together from its runs: one of a sheet's cells, or a text that they share.
struct Lengths {
    element: &'static str,
    here: u64,
    longest: u64,
    all: u64,
}

impl Lengths {
    const fn of(element: &'static str) -> Self {
        Self { element, here: 0, longest: 0, all: 0 }
    }

    fn see(&mut self, markup: &Markup) {
        match markup {
            Markup::Start(tag) if tag.name() == self.element => self.here = 0,
            Markup::Text(text) => {
                self.here += text.len() as u64;
                self.all += text.len() as u64;
                self.longest = self.longest.max(self.here);
            }
            Markup::Start(_) | Markup::End(_) => {}
        }
    }

    const fn refuse_long(&self) -> Result<(), Fault> {
        if self.longest > LONGEST_TEXT { Err(Fault::LongText) } else { Ok(()) }
    }
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

fn workbook_sheets(reader: &mut impl BufRead, names: &mut BTreeMap<String, String>) -> Result<(), Fault> {
    tags(reader, |tag| {
        if tag.name() == "sheet"
            && let (Some(name), Some(id)) = (tag.attribute("name"), tag.attribute("r:id"))
        {
            names.insert(name.into_owned(), id.into_owned());
        }
    })
}

fn relations(reader: &mut impl BufRead, targets: &mut BTreeMap<String, String>) -> Result<(), Fault> {
    tags(reader, |tag| {
        if let (Some(id), Some(target)) = (tag.attribute("Id"), tag.attribute("Target")) {
            let part = target.strip_prefix('/').map_or_else(|| format!("xl/{target}"), str::to_owned);
            targets.insert(id.into_owned(), part);
        }
    })
}

fn is_hidden(tag: &Tag) -> bool {
    matches!(tag.attribute("hidden").as_deref(), Some("1" | "true"))
}

/// What a sheet is besides its cells, and whether texts of its own have letters struck out or raised.
fn look_of_sheet(reader: &mut impl BufRead) -> Result<(SheetLook, bool), Fault> {
    let mut look = SheetLook::default();
    let mut has_marks = false;
    let mut lengths = Lengths::of("c");
    each(reader, |markup| {
        lengths.see(&markup);
        let Markup::Start(tag) = markup else { return };
        match tag.name() {
            "row" if is_hidden(tag) => look.hidden_rows += 1,
            "col" if is_hidden(tag) => {
                let end = |name| tag.number(name).unwrap_or(1).min(16_384);
                look.hidden_columns += (end("max") + 1).saturating_sub(end("min"));
            }
            "strike" | "vertAlign" => has_marks = true,
            "mergeCell" => look.merged.extend(tag.attribute("ref").as_deref().and_then(merged_over_rows)),
            _ => {}
        }
    })?;
    lengths.refuse_long()?;
    Ok((look, has_marks))
}

/// `A3:B7` as a cell that is merged over rows.
fn merged_over_rows(range: &str) -> Option<Merged> {
    let (first, last) = range.split_once(':')?;
    let ((first_row, column), (last_row, _)) = (place_of(first)?, place_of(last)?);
    (last_row > first_row).then_some(Merged { rows: (first_row, last_row), column })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_over_rows_are_merged_cells() {
        assert_eq!(merged_over_rows("A3:A7"), Some(Merged { rows: (3, 7), column: 0 }));
        assert_eq!(merged_over_rows("AB10:AC12"), Some(Merged { rows: (10, 12), column: 27 }));
        for range in ["A3:C3", "A3", "", ":", "3:4", "a1:a2"] {
            assert_eq!(merged_over_rows(range), None, "{range}");
        }
    }
}
