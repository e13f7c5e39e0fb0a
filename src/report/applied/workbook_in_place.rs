//! Cells changed in a workbook's own file: every other part, and all of a sheet but these cells, stays
//! byte for byte. Writers of whole workbooks lose what they don't know.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Cursor, Read, Write};

use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipArchive, ZipWriter};

use crate::read::cell_formats::{CellFormats, InCell};
use crate::tables::origin::column_letter;

use super::cell_edits::{CellContent, SheetEdits};

/// Why a workbook can't be changed in place.
#[derive(Debug, thiserror::Error)]
pub enum Unkept {
    #[error("its package can't be taken apart")]
    Package(#[from] zip::result::ZipError),
    #[error("its package can't be taken apart")]
    Io(#[from] std::io::Error),
    #[error("its markup can't be read")]
    Markup(#[from] quick_xml::Error),
    #[error("the sheet '{0}' is not found in it")]
    NoSheet(String),
    #[error("cell {0} holds a formula that other cells share")]
    SharedFormula(String),
}

/// The workbook with its cells changed, by the names of its sheets.
///
/// # Errors
/// Why it can't be changed in place.
pub fn changed(bytes: &[u8], edits: &BTreeMap<String, SheetEdits>, formats: &CellFormats) -> Result<Vec<u8>, Unkept> {
    let mut archive = ZipArchive::new(Cursor::new(bytes))?;
    let book = part(&mut archive, "xl/workbook.xml")?;
    let relations = part(&mut archive, "xl/_rels/workbook.xml.rels")?;
    let files = sheet_files(&book, &relations)?;
    let mut parts: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    let mut has_lost_formula = false;
    for (name, edits) in edits {
        let file = files.get(name).ok_or_else(|| Unkept::NoSheet(name.clone()))?;
        let xml = part(&mut archive, file)?;
        let (sheet, lost) = changed_sheet(&xml, edits, formats)?;
        has_lost_formula |= lost;
        parts.insert(file.clone(), sheet);
    }
    // Results of formulas are stored: they are worked out anew when the workbook is opened.
    parts.insert("xl/workbook.xml".to_owned(), calculated_on_load(&book));
    let mut left_out = BTreeSet::new();
    if has_lost_formula {
        left_out.insert("xl/calcChain.xml");
        let without = |xml: &[u8]| without_element_about(xml, "calcChain");
        parts.insert("xl/_rels/workbook.xml.rels".to_owned(), without(&relations));
        let types = part(&mut archive, "[Content_Types].xml")?;
        parts.insert("[Content_Types].xml".to_owned(), without(&types));
    }
    let mut writer = ZipWriter::new(Cursor::new(Vec::with_capacity(bytes.len())));
    for index in 0..archive.len() {
        let file = archive.by_index_raw(index)?;
        let name = file.name()?.into_owned();
        if left_out.contains(name.as_str()) {
            continue;
        }
        match parts.get(&name) {
            Some(content) => {
                drop(file);
                writer
                    .start_file(name, SimpleFileOptions::default().compression_method(CompressionMethod::Deflated))?;
                writer.write_all(content)?;
            }
            None => writer.raw_copy_file(file)?,
        }
    }
    Ok(writer.finish()?.into_inner())
}

fn part(archive: &mut ZipArchive<Cursor<&[u8]>>, name: &str) -> Result<Vec<u8>, Unkept> {
    let mut content = Vec::new();
    archive.by_name(name)?.read_to_end(&mut content)?;
    Ok(content)
}

fn attribute(tag: &BytesStart, name: &str) -> Option<String> {
    let mut all = tag.attributes();
    let mut own =
        all.with_checks(false).flatten().filter(|attribute| attribute.key.local_name().as_ref() == name.as_bytes());
    own.next().and_then(|attribute| Some(attribute.normalized_value(XmlVersion::Implicit1_0).ok()?.into_owned()))
}

/// The parts of the sheets by their names.
fn sheet_files(book: &[u8], relations: &[u8]) -> Result<BTreeMap<String, String>, Unkept> {
    let mut targets = BTreeMap::new();
    each_tag(relations, &mut |tag| {
        if tag.local_name().as_ref() == b"Relationship"
            && let (Some(id), Some(target)) = (attribute(tag, "Id"), attribute(tag, "Target"))
        {
            let path = target.strip_prefix('/').map_or_else(|| format!("xl/{target}"), str::to_owned);
            targets.insert(id, path);
        }
    })?;
    let mut files = BTreeMap::new();
    each_tag(book, &mut |tag| {
        if tag.local_name().as_ref() == b"sheet" {
            let id = tag.attributes().with_checks(false).flatten().find(|own| own.key.as_ref().ends_with(b":id"));
            let id = id.and_then(|own| Some(own.normalized_value(XmlVersion::Implicit1_0).ok()?.into_owned()));
            if let (Some(name), Some(file)) = (attribute(tag, "name"), id.and_then(|id| targets.get(&id))) {
                files.insert(name, file.clone());
            }
        }
    })?;
    Ok(files)
}

fn each_tag(xml: &[u8], see: &mut impl FnMut(&BytesStart)) -> Result<(), Unkept> {
    let mut reader = Reader::from_reader(xml);
    loop {
        match reader.read_event()? {
            Event::Start(tag) | Event::Empty(tag) => see(&tag),
            Event::Eof => return Ok(()),
            _ => {}
        }
    }
}

/// Text with every empty element left out that names something.
fn without_element_about(xml: &[u8], what: &str) -> Vec<u8> {
    let text = String::from_utf8_lossy(xml);
    let mut rest = text.as_ref();
    let mut kept = String::with_capacity(rest.len());
    while let Some(end) = rest.find('>') {
        let (element, after) = rest.split_at(end + 1);
        let start = element.rfind('<').unwrap_or_default();
        kept.push_str(element.get(..start).unwrap_or_default());
        let tag = element.get(start..).unwrap_or_default();
        if !(tag.contains(what) && tag.ends_with("/>")) {
            kept.push_str(tag);
        }
        rest = after;
    }
    kept.push_str(rest);
    kept.into_bytes()
}

/// The workbook's own part, asking for its formulas to be worked out anew.
fn calculated_on_load(book: &[u8]) -> Vec<u8> {
    let text = String::from_utf8_lossy(book).into_owned();
    let Some(at) = text.find("calcPr").map(|at| at + "calcPr".len()) else { return book.to_vec() };
    if text.contains("fullCalcOnLoad") {
        return book.to_vec();
    }
    let (head, tail) = text.split_at(at);
    format!("{head} fullCalcOnLoad=\"1\"{tail}").into_bytes()
}

/// A column from 0 on, of a place such as `AB12`.
fn column_of(place: &str) -> Option<u32> {
    let letters = place.bytes().take_while(u8::is_ascii_alphabetic);
    letters
        .map(|letter| u32::from(letter.to_ascii_uppercase() - b'A') + 1)
        .reduce(|all, next| all * 26 + next)?
        .checked_sub(1)
}

fn row_of(place: &str) -> Option<u32> {
    place.trim_start_matches(|letter: char| letter.is_ascii_alphabetic()).parse().ok()
}

/// Cells that a row still gets: what, and whether only where nothing stands.
type Due = BTreeMap<u32, (CellContent, bool)>;

/// A sheet on its way.
struct ChangingSheet<'a> {
    xml: &'a [u8],
    edits: &'a SheetEdits,
    formats: &'a CellFormats,
    due: BTreeMap<u32, Due>,
    out: Vec<u8>,
    /// What stands before the names of elements, such as `x:`.
    prefix: String,
    /// Styles of the table's last row by column, for rows that come.
    styles: BTreeMap<u32, String>,
    has_lost_formula: bool,
}

fn changed_sheet(xml: &[u8], edits: &SheetEdits, formats: &CellFormats) -> Result<(Vec<u8>, bool), Unkept> {
    let mut due: BTreeMap<u32, Due> = BTreeMap::new();
    for ((row, column), content) in &edits.fills {
        due.entry(*row).or_default().insert(*column, (content.clone(), true));
    }
    for ((row, column), content) in &edits.cells {
        due.entry(*row).or_default().insert(*column, (content.clone(), false));
    }
    let mut changing = ChangingSheet {
        xml,
        edits,
        formats,
        due,
        out: Vec::with_capacity(xml.len() + 1024),
        prefix: String::new(),
        styles: BTreeMap::new(),
        has_lost_formula: false,
    };
    changing.whole()?;
    Ok((changing.out, changing.has_lost_formula))
}

impl<'a> ChangingSheet<'a> {
    fn raw(&mut self, from: u64, to: u64) {
        let range = usize::try_from(from).unwrap_or(usize::MAX)..usize::try_from(to).unwrap_or(usize::MAX);
        self.out.extend_from_slice(self.xml.get(range).unwrap_or_default());
    }

    fn whole(&mut self) -> Result<(), Unkept> {
        let mut reader = Reader::from_reader(self.xml);
        let (mut row, mut column) = (0_u32, 0_u32);
        loop {
            let from = reader.buffer_position();
            let event = reader.read_event()?;
            let to = reader.buffer_position();
            match &event {
                Event::Eof => return Ok(()),
                Event::Start(tag) if tag.local_name().as_ref() == b"sheetData" => {
                    self.take_prefix(tag);
                    self.raw(from, to);
                }
                Event::Empty(tag) if tag.local_name().as_ref() == b"sheetData" => {
                    self.take_prefix(tag);
                    self.start_of(tag);
                    self.rows_before(u32::MAX);
                    self.end_of("sheetData");
                }
                Event::End(tag) if tag.local_name().as_ref() == b"sheetData" => {
                    self.rows_before(u32::MAX);
                    self.raw(from, to);
                }
                Event::Start(tag) if tag.local_name().as_ref() == b"row" => {
                    row = attribute(tag, "r").and_then(|text| text.parse().ok()).unwrap_or(row + 1);
                    column = 0;
                    self.rows_before(row);
                    self.start_of(tag);
                }
                Event::Empty(tag) if tag.local_name().as_ref() == b"row" => {
                    row = attribute(tag, "r").and_then(|text| text.parse().ok()).unwrap_or(row + 1);
                    self.rows_before(row);
                    if self.due.contains_key(&row) {
                        self.start_of(tag);
                        self.cells_before(row, u32::MAX);
                        self.end_of("row");
                    } else {
                        self.raw(from, to);
                    }
                }
                Event::End(tag) if tag.local_name().as_ref() == b"row" => {
                    self.cells_before(row, u32::MAX);
                    self.raw(from, to);
                }
                Event::Start(tag) | Event::Empty(tag) if tag.local_name().as_ref() == b"c" => {
                    column = attribute(tag, "r").as_deref().and_then(column_of).unwrap_or(column);
                    let is_empty = matches!(event, Event::Empty(_));
                    self.cell(&mut reader, tag, (row, column), from, is_empty)?;
                    column += 1;
                }
                Event::Start(tag) if tag.local_name().as_ref() == b"mergeCells" && !self.edits.columns.is_empty() => {
                    let name = String::from_utf8_lossy(tag.name().as_ref()).into_owned();
                    self.merged(&mut reader, &name)?;
                }
                // It tells the size before, and may be left out.
                Event::Empty(tag) if tag.local_name().as_ref() == b"dimension" => {}
                _ => self.raw(from, to),
            }
        }
    }

    fn take_prefix(&mut self, tag: &BytesStart) {
        let name = String::from_utf8_lossy(tag.name().as_ref()).into_owned();
        name.strip_suffix("sheetData").unwrap_or_default().clone_into(&mut self.prefix);
    }

    /// The start of an element; what it says of its width no longer holds.
    fn start_of(&mut self, tag: &BytesStart) {
        let mut own = BytesStart::new(String::from_utf8_lossy(tag.name().as_ref()).into_owned());
        let mut all = tag.attributes();
        let kept = all.with_checks(false).flatten().filter(|own| own.key.as_ref() != b"spans");
        own.extend_attributes(kept);
        self.out.push(b'<');
        self.out.extend_from_slice(&own);
        self.out.push(b'>');
    }

    fn end_of(&mut self, name: &str) {
        self.out.extend_from_slice(format!("</{}{name}>", self.prefix).as_bytes());
    }

    /// Rows that are due before one.
    fn rows_before(&mut self, row: u32) {
        while let Some(first) = self.due.keys().next().copied().filter(|first| *first < row) {
            self.out.extend_from_slice(format!("<{}row r=\"{first}\">", self.prefix).as_bytes());
            self.cells_before(first, u32::MAX);
            self.end_of("row");
        }
    }

    /// Cells of a row that are due before a column.
    fn cells_before(&mut self, row: u32, column: u32) {
        let Some(mut due) = self.due.remove(&row) else { return };
        let later = due.split_off(&column);
        for (column, (content, _)) in due {
            let is_new = self.edits.new_rows.contains(&row);
            let style = if is_new { self.styles.get(&column).cloned() } else { None };
            self.write(row, column, style.as_deref(), &content);
        }
        if !later.is_empty() {
            self.due.insert(row, later);
        }
    }

    /// Writes a cell; a number as its style shows it, or without a style that would make it another one.
    fn write(&mut self, row: u32, column: u32, style: Option<&str>, content: &CellContent) {
        let stored = match (style, content) {
            (Some(own), CellContent::Number(number, unit)) => self.formats.number(own, *number, *unit),
            (Some(own), CellContent::Text(text)) => {
                self.formats.number_of_text(own, text).map_or(InCell::AsItIs, InCell::Stored)
            }
            _ => InCell::AsItIs,
        };
        let style = style.filter(|_| stored != InCell::NotInStyle);
        let as_stored = match stored {
            InCell::Stored(number) => Some(CellContent::Number(number, None)),
            InCell::AsItIs | InCell::NotInStyle => None,
        };
        let content = as_stored.as_ref().unwrap_or(content);
        let p = &self.prefix;
        let style = style.map_or_else(String::new, |style| format!(" s=\"{style}\""));
        let place = format!("{}{row}", column_letter(column));
        let text = match content {
            CellContent::Blank => format!("<{p}c r=\"{place}\"{style}/>"),
            CellContent::Number(number, _) => format!("<{p}c r=\"{place}\"{style}><{p}v>{number}</{p}v></{p}c>"),
            CellContent::Text(text) => {
                let text = quick_xml::escape::escape(text.as_str());
                format!(
                    "<{p}c r=\"{place}\"{style} t=\"inlineStr\"><{p}is><{p}t xml:space=\"preserve\">{text}</{p}t></{p}is></{p}c>"
                )
            }
        };
        self.out.extend_from_slice(text.as_bytes());
    }

    /// A cell as it stands, or changed.
    fn cell(
        &mut self,
        reader: &mut Reader<&'a [u8]>,
        tag: &BytesStart,
        (row, column): (u32, u32),
        from: u64,
        is_empty: bool,
    ) -> Result<(), Unkept> {
        self.cells_before(row, column);
        let style = attribute(tag, "s");
        if row == self.edits.last_row
            && let Some(style) = &style
        {
            self.styles.insert(column, style.clone());
        }
        let (mut holds, mut has_formula, mut is_shared) = (false, false, false);
        if !is_empty {
            let mut depth = 1_u32;
            while depth > 0 {
                match reader.read_event()? {
                    Event::Start(inner) => {
                        depth += 1;
                        let is_formula = inner.local_name().as_ref() == b"f";
                        has_formula |= is_formula;
                        is_shared |= is_formula && attribute(&inner, "ref").is_some();
                    }
                    Event::Empty(inner) => {
                        let is_formula = inner.local_name().as_ref() == b"f";
                        has_formula |= is_formula;
                        is_shared |= is_formula && attribute(&inner, "ref").is_some();
                    }
                    Event::End(_) => depth -= 1,
                    Event::Text(text) => holds |= !text.iter().all(u8::is_ascii_whitespace),
                    Event::CData(_) | Event::GeneralRef(_) => holds = true,
                    Event::Eof => break,
                    _ => {}
                }
            }
        }
        let to = reader.buffer_position();
        let due = self.due.get_mut(&row).and_then(|due| due.remove(&column));
        if self.due.get(&row).is_some_and(BTreeMap::is_empty) {
            self.due.remove(&row);
        }
        match due {
            Some((content, only_blank)) if !(only_blank && (holds || has_formula)) => {
                if is_shared {
                    return Err(Unkept::SharedFormula(format!("{}{row}", column_letter(column))));
                }
                self.has_lost_formula |= has_formula;
                self.write(row, column, style.as_deref(), &content);
            }
            _ => self.raw(from, to),
        }
        Ok(())
    }

    /// Cells that stay merged: none over rows in a column that changes.
    fn merged(&mut self, reader: &mut Reader<&'a [u8]>, name: &str) -> Result<(), Unkept> {
        let mut kept: Vec<String> = Vec::new();
        loop {
            match reader.read_event()? {
                Event::Start(tag) | Event::Empty(tag) => {
                    let Some(range) = attribute(&tag, "ref") else { continue };
                    let (first, last) = range.split_once(':').unwrap_or((&range, &range));
                    let is_over_rows = row_of(first) != row_of(last);
                    let columns = column_of(first).unwrap_or_default()..=column_of(last).unwrap_or_default();
                    let is_below = row_of(first) > Some(self.edits.header_row);
                    let changes = self.edits.columns.iter().any(|column| columns.contains(column));
                    if !(is_over_rows && is_below && changes) {
                        kept.push(range);
                    }
                }
                Event::End(tag) if tag.name().as_ref() == name.as_bytes() => break,
                Event::Eof => break,
                _ => {}
            }
        }
        if !kept.is_empty() {
            let prefix = name.strip_suffix("mergeCells").unwrap_or_default();
            let cells: String = kept.iter().map(|range| format!("<{prefix}mergeCell ref=\"{range}\"/>")).collect();
            self.out.extend_from_slice(format!("<{name} count=\"{}\">{cells}</{name}>", kept.len()).as_bytes());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;
    use rust_xlsxwriter::{Format, Workbook};

    use super::*;
    use crate::physics::unit::{self, Unit};
    use crate::read::as_given::{GivenCell, sheets_as_given};
    use crate::tables::policy::{Bounds, Policy};

    /// A cell that holds nothing, or a row that comes, has a format too: what is written there reads back as what is meant.
    #[test]
    fn a_number_is_written_as_the_format_of_its_cell_shows_it() {
        let mut book = Workbook::new();
        let sheet = book.add_worksheet();
        for (column, code) in
            (0..).zip(["0\" psi\"", "0.0\" kN\"", "0\" mm\"", "0.0,\" kN\"", "[>=1000]0\" N\";0.0\" kN\"", "0.0", "0%"])
        {
            sheet.write_blank(0, column, &Format::new().set_num_format(code)).unwrap();
            sheet.write_blank(1, column, &Format::new().set_num_format(code)).unwrap();
        }
        let bytes = book.save_to_buffer().unwrap();
        let number = |number: f64, unit: Option<&'static Unit>| CellContent::Number(number, unit);
        // 10 bar = 1e6 Pa = 145.038 psi; 1500 N = 1.5 kN; 0.5 in = 12.7 mm (NIST SP 811); pieces are no millimetres.
        let contents = [
            (number(10.0, Some(&unit::BAR)), "145.0377", Some("psi")),
            (number(1500.0, Some(&unit::N)), "1.5", Some("kN")),
            (number(4.0, None), "4", None),
            (number(1500.0, Some(&unit::N)), "1500", Some("kN")),
            (number(1500.0, Some(&unit::N)), "1500", Some("N")),
            (number(1500.0, Some(&unit::N)), "1500", None),
            (number(1500.0, Some(&unit::N)), "1500", None),
        ];
        let mut edits = SheetEdits { header_row: 1, last_row: 2, ..SheetEdits::default() };
        edits.new_rows.insert(3);
        for (column, (content, ..)) in (0..).zip(&contents) {
            edits.cells.insert((2, column), content.clone());
            edits.cells.insert((3, column), content.clone());
        }
        edits.cells.insert((2, 1), CellContent::Text("1.5 kN".to_owned()));
        let policy = Policy::at(NaiveDate::default());
        let formats = CellFormats::of(&bytes, &policy);
        let all = std::iter::once(("Sheet1".to_owned(), edits)).collect();
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("a.xlsx"), changed(&bytes, &all, &formats).unwrap()).unwrap();
        let sheets = sheets_as_given("a.xlsx", &folder.path().join("a.xlsx"), &Bounds::default()).unwrap();
        for row in [2, 3] {
            for (column, (_, stored, unit)) in (0..).zip(&contents) {
                let cell = sheets[0].cells.iter().find(|cell| (cell.0, cell.1) == (row, column)).unwrap();
                let (number, code) = match &cell.2 {
                    GivenCell::Number(number) => (number, None),
                    GivenCell::Shown(number, code) => (number, Some(code.replace('\\', ""))),
                    other => panic!("{other:?}"),
                };
                assert!(number.to_string().starts_with(stored), "{cell:?}");
                assert_eq!(code.as_deref().and_then(|code| code.split(' ').nth(1)), *unit, "{cell:?}");
            }
        }
    }
}
