//! Workbooks to rows of cells, through calamine.

use std::io::Cursor;
use std::sync::Arc;

use calamine::{
    Data, DataRef, Ods, OdsError, Range, Reader, SheetType, SheetVisible, Xls, XlsError, Xlsb, XlsbError, Xlsx,
    XlsxError, XlsxFormulaMetadata,
};

use crate::tables::origin::STRUCK_OUT;
use crate::tables::policy::Bounds;

use super::binary_sheet::with_plain_cells;
use super::cell::{GridRow, Is, SheetCell};
use super::collector::{Collector, Sheet, number_text};
use super::error::ReadError;
use super::number_format::NumberFormat;
use super::older_workbook;
use super::open_document::{LookBySheet, Merged, ShownCells};
use super::package::{self, Package};
use super::quantity::iso_date;
use super::quietly::quietly;
use super::style_formats::StyleFormats;

/// Endings of workbooks.
pub(crate) const WORKBOOK_ENDINGS: &[&str] = &["xlsx", "xlsm", "xls", "xlsb", "ods"];

type Bytes = Cursor<Vec<u8>>;

/// Every worksheet of a workbook, in its order.
pub(crate) fn read_workbook(
    file: &str,
    ending: &str,
    bytes: Vec<u8>,
    bounds: &Bounds,
) -> Result<Vec<Sheet>, ReadError> {
    let package = checked_package(file, ending, &bytes, bounds)?;
    let (looks, formats) = (package.looks, package.formats);
    let held = bytes.len() as u64 + package.shared_text;
    let read = || -> Result<Vec<Sheet>, Failure> {
        let cursor = Cursor::new(bytes);
        let mut collector = Collector::new(file, bounds, held);
        match ending {
            "xls" => xls(Xls::new(cursor)?, &mut collector)?,
            "xlsb" => xlsb(Xlsb::new(Cursor::new(with_plain_cells(cursor.into_inner())))?, &mut collector)?,
            "ods" => ods(Ods::new(cursor)?, &mut collector)?,
            _ => xlsx(Xlsx::new(cursor)?, &mut collector)?,
        }
        Ok(collector.finish())
    };
    let mut sheets = match quietly(read) {
        Some(Ok(sheets)) => sheets,
        Some(Err(Failure::Refused(error))) => return Err(error),
        Some(Err(Failure::Password)) => return Err(protected(file)),
        Some(Err(Failure::Damaged)) | None => return Err(ReadError::damaged_workbook(file)),
    };
    for sheet in &mut sheets {
        take_look(sheet, ending, &looks, &formats);
    }
    Ok(sheets)
}

fn protected(file: &str) -> ReadError {
    ReadError::new(format!("{file}: the workbook is protected by a password; save it without one."))
}

enum Failure {
    Password,
    Damaged,
    Refused(ReadError),
}

impl From<ReadError> for Failure {
    fn from(error: ReadError) -> Self {
        Self::Refused(error)
    }
}

macro_rules! failures {
    ($($error:ident),+) => { $(
        impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                if matches!(error, $error::Password) { Self::Password } else { Self::Damaged }
            }
        }
    )+ };
}

failures!(XlsxError, XlsbError, XlsError, OdsError);

/// What the first bytes say against what the ending says.
fn checked_package(file: &str, ending: &str, bytes: &[u8], bounds: &Bounds) -> Result<Package, ReadError> {
    const OLE: &[u8] = &[0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];
    let is = |what: &str| {
        Err(ReadError::new(format!("{file}: by its content the file is {what}, not what its ending .{ending} says.")))
    };
    let encrypted: Vec<u8> = "EncryptedPackage".encode_utf16().flat_map(u16::to_le_bytes).collect();
    if bytes.is_empty() {
        return is("empty");
    }
    if bytes.starts_with(OLE) {
        if memchr::memmem::find(bytes, &encrypted).is_some() {
            return Err(protected(file));
        }
        if ending != "xls" {
            return is("an older workbook (.xls)");
        }
        return older_workbook::look_over(file, bytes).map(|()| Package::default());
    }
    if !bytes.starts_with(b"PK") {
        return is(content_name(bytes));
    }
    let package = package::look_over(file, bytes, bounds)?;
    if package.is_report {
        return Err(ReadError::new(format!(
            "{file}: by its properties it is a report that this program wrote, and no table of a plant; keep it outside the plant."
        )));
    }
    match (package.ending, ending) {
        (Some("xlsx"), "xlsx" | "xlsm") | (Some("xlsb"), "xlsb") | (Some("ods"), "ods") => Ok(package),
        (Some(other), _) => is(&format!("a workbook of the kind .{other}")),
        (None, _) => is("an archive without a workbook in it"),
    }
}

/// A name for what a file holds, from its first bytes.
pub(crate) fn content_name(bytes: &[u8]) -> &'static str {
    let start: String = String::from_utf8_lossy(bytes.get(..512).unwrap_or(bytes))
        .trim_start_matches('\u{feff}')
        .trim_start()
        .to_ascii_lowercase();
    if bytes.starts_with(b"PK\x03\x04") {
        "a zipped workbook or archive"
    } else if bytes.starts_with(&[0xd0, 0xcf, 0x11, 0xe0]) {
        "an older workbook (.xls) or a protected one"
    } else if bytes.starts_with(b"%PDF") {
        "a PDF document"
    } else if start.starts_with("<!doctype html") || start.starts_with("<html") {
        "a web page"
    } else if start.starts_with("<?xml") {
        "an XML document"
    } else if std::str::from_utf8(bytes.get(..512).unwrap_or(bytes)).is_ok() {
        "text"
    } else {
        "something else"
    }
}

fn worksheets<R: Reader<Bytes>>(workbook: &R) -> Vec<calamine::Sheet> {
    workbook.sheets_metadata().iter().filter(|sheet| sheet.typ == SheetType::WorkSheet).cloned().collect()
}

fn xlsx(mut workbook: Xlsx<Bytes>, into: &mut Collector) -> Result<(), Failure> {
    let sheets = worksheets(&workbook);
    let formats = match sheets.first() {
        Some(sheet) => StyleFormats::of(workbook.worksheet_cells_reader(&sheet.name)?.styles()),
        None => StyleFormats::default(),
    };
    if formats.show_something() {
        shown_xlsx(&mut workbook, &sheets, &formats, into)?;
        into.take_formats(&formats.finish());
        return Ok(());
    }
    for sheet in sheets {
        into.begin(&sheet.name, sheet.visible != SheetVisible::Visible);
        let mut cells = workbook.worksheet_cells_reader(&sheet.name)?;
        while let Some(record) = cells.next_cell_with_formula_metadata()? {
            let (row, column) = record.pos;
            let cell = match (&record.value, &record.formula) {
                (DataRef::Empty, Some(formula)) => no_result(formula_text(formula)),
                (value, _) => sheet_cell(&Data::from(value.clone())),
            };
            into.put(row, column, cell)?;
        }
    }
    Ok(())
}

/// Sheets of which some cells show a text beside their number. Formulas without a result are looked for by themselves:
/// the reader gives either the formula of a cell or its format.
fn shown_xlsx(
    workbook: &mut Xlsx<Bytes>,
    sheets: &[calamine::Sheet],
    formats: &StyleFormats,
    into: &mut Collector,
) -> Result<(), Failure> {
    for sheet in sheets {
        into.begin(&sheet.name, sheet.visible != SheetVisible::Visible);
        let mut cells = workbook.worksheet_cells_reader(&sheet.name)?;
        let mut has_blank = false;
        while let Some((record, style)) = cells.next_cell_with_style_id()? {
            let (row, column) = record.get_position();
            let mut cell = sheet_cell(&Data::from(record.get_value().clone()));
            has_blank |= cell.text.is_empty();
            if let Is::Number(number) = cell.is {
                cell.is = formats.is(number, style);
            }
            into.put(row, column, cell)?;
        }
        drop(cells);
        if !has_blank {
            continue;
        }
        let mut cells = workbook.worksheet_cells_reader(&sheet.name)?;
        while let Some(record) = cells.next_cell_with_formula_metadata()? {
            if let (DataRef::Empty, Some(formula)) = (&record.value, &record.formula) {
                into.put(record.pos.0, record.pos.1, no_result(formula_text(formula)))?;
            }
        }
    }
    Ok(())
}

/// The formula of a cell as far as the cell itself holds it.
fn formula_text(formula: &XlsxFormulaMetadata) -> &str {
    match formula {
        XlsxFormulaMetadata::Normal { formula } | XlsxFormulaMetadata::Shared { formula, .. } => formula,
        _ => "",
    }
}

fn xlsb(mut workbook: Xlsb<Bytes>, into: &mut Collector) -> Result<(), Failure> {
    for sheet in worksheets(&workbook) {
        into.begin(&sheet.name, sheet.visible != SheetVisible::Visible);
        let mut cells = workbook.worksheet_cells_reader(&sheet.name)?;
        while let Some(cell) = cells.next_cell()? {
            let (row, column) = cell.get_position();
            into.put(row, column, sheet_cell(&Data::from(cell.get_value().clone())))?;
        }
    }
    Ok(())
}

fn xls(mut workbook: Xls<Bytes>, into: &mut Collector) -> Result<(), Failure> {
    for sheet in worksheets(&workbook) {
        into.begin(&sheet.name, sheet.visible != SheetVisible::Visible);
        put_range(&workbook.worksheet_range(&sheet.name)?, into)?;
        let merged = workbook.merge_cells_by_sheet_name(&sheet.name)?;
        into.merge(merged.iter().filter(|cells| cells.end.0 > cells.start.0).map(|cells| Merged {
            rows: (cells.start.0.saturating_add(1), cells.end.0.saturating_add(1)),
            column: cells.start.1,
        }));
    }
    Ok(())
}

fn put_range(range: &Range<Data>, into: &mut Collector) -> Result<(), Failure> {
    let (first_row, first_column) = range.start().unwrap_or_default();
    for (row, column, value) in range.used_cells() {
        let place = |first: u32, offset: usize| u32::try_from(offset).unwrap_or(u32::MAX).saturating_add(first);
        into.put(place(first_row, row), place(first_column, column), sheet_cell(value))?;
    }
    Ok(())
}

fn ods(mut workbook: Ods<Bytes>, into: &mut Collector) -> Result<(), Failure> {
    for sheet in worksheets(&workbook) {
        into.begin(&sheet.name, sheet.visible != SheetVisible::Visible);
        let range = workbook.worksheet_range(&sheet.name)?;
        put_range(&range, into)?;
        let formulas = workbook.worksheet_formula(&sheet.name)?;
        let (first_row, first_column) = formulas.start().unwrap_or_default();
        for (row, column, formula) in formulas.used_cells() {
            let place = |first: u32, offset: usize| u32::try_from(offset).unwrap_or(u32::MAX).saturating_add(first);
            let (row, column) = (place(first_row, row), place(first_column, column));
            if range.get_value((row, column)).is_none_or(|value| *value == Data::Empty) {
                into.put(row, column, no_result(formula.trim_start_matches("of:")))?;
            }
        }
    }
    Ok(())
}

fn no_result(formula: &str) -> SheetCell {
    let text = if formula.starts_with('=') { formula.to_owned() } else { format!("={formula}") };
    SheetCell { text: text.into(), is: Is::NoResult }
}

fn sheet_cell(value: &Data) -> SheetCell {
    let of = |text: String, is: Is| SheetCell { text: text.into(), is };
    match value {
        Data::Empty => SheetCell::default(),
        #[allow(clippy::cast_precision_loss, reason = "a sheet's whole numbers are floats to begin with")]
        Data::Int(number) => of(number.to_string(), Is::Number(*number as f64)),
        Data::Float(number) => of(number_text(*number), Is::Number(*number)),
        Data::String(text) => of(text.clone(), Is::Text),
        Data::Bool(truth) => of(if *truth { "TRUE" } else { "FALSE" }.to_owned(), Is::Other),
        Data::DateTime(moment) => match moment.as_datetime().filter(|_| moment.is_datetime() && moment.as_f64() >= 1.0)
        {
            Some(moment) if moment.time() == chrono::NaiveTime::MIN => {
                of(moment.date().to_string(), Is::Date(moment.date()))
            }
            Some(moment) => of(moment.to_string(), Is::Date(moment.date())),
            None => of(clock_text(moment.as_f64()), Is::Span(moment.as_f64())),
        },
        Data::DateTimeIso(text) => of(text.clone(), iso_date(text).map_or(Is::Other, Is::Date)),
        Data::DurationIso(text) => of(text.clone(), Is::Other),
        Data::Error(error) => of(error.to_string(), Is::Error),
    }
}

/// Days as a spreadsheet shows a span: `8:00`, `30:00`, `0:00:15`.
fn clock_text(days: f64) -> String {
    let seconds = (days * 86_400.0).round();
    if !(0.0..1e9).contains(&seconds) {
        return number_text(days);
    }
    let (minutes, rest) = ((seconds / 60.0).floor(), seconds % 60.0);
    let text = format!("{}:{:02}", (minutes / 60.0).floor(), minutes % 60.0);
    if rest > 0.0 { format!("{text}:{rest:02}") } else { text }
}

/// Marks the numbers of some cells as shown with a text beside them.
fn mark_shown(rows: &mut [GridRow], cells: ShownCells, formats: &[NumberFormat]) {
    let Some(format) = formats.get(cells.format as usize) else { return };
    let from = rows.partition_point(|row| row.number < cells.rows.0);
    for row in rows.iter_mut().skip(from).take_while(|row| row.number <= cells.rows.1) {
        let Some(own) = row.on_sheet_mut() else { continue };
        let count = cells.columns.1 as usize - cells.columns.0 as usize + 1;
        for cell in own.iter_mut().skip(cells.columns.0 as usize).take(count) {
            if let Is::Number(number) = cell.is
                && format.shows_more(number)
            {
                cell.is = Is::Shown(number, cells.format);
            }
        }
    }
}

/// Takes what a sheet is besides its cells, and says what is hidden of it.
fn take_look(sheet: &mut Sheet, ending: &str, looks: &LookBySheet, formats: &Arc<[NumberFormat]>) {
    if ending == "xlsb" {
        sheet
            .remarks
            .push("Cells merged over rows count in their first row; this kind of file is not asked which.".to_owned());
    }
    if matches!(ending, "xls" | "xlsb") {
        sheet.remarks.push("Hidden rows and columns are read; this kind of file is not asked which.".to_owned());
        sheet
            .remarks
            .push("Units that the number formats of its cells show are not seen in this kind of file.".to_owned());
        sheet.remarks.push("Letters struck out or raised are read as the others in this kind of file.".to_owned());
        return;
    }
    let Some(found) = looks.get(&sheet.name) else { return };
    sheet.form.merged.clone_from(&found.merged);
    if !found.shown.is_empty() {
        sheet.form.formats = Arc::clone(formats);
        found.shown.iter().for_each(|cells| mark_shown(&mut sheet.rows, *cells, formats));
    }
    for (number, column) in &found.struck.cells {
        let Ok(at) = sheet.rows.binary_search_by_key(number, |row| row.number) else { continue };
        let cells = sheet.rows.get_mut(at).and_then(GridRow::on_sheet_mut);
        if let Some(cell) = cells.and_then(|cells| cells.get_mut(*column as usize)).filter(|cell| !cell.text.is_empty())
        {
            cell.is = Is::Marked;
        }
    }
    if found.struck.rows > 0 {
        let (word, verb) = if found.struck.rows == 1 { ("row", "was") } else { ("rows", "were") };
        let read = format!("{} {word} {STRUCK_OUT} {verb} read.", found.struck.rows);
        sheet.hidden.push(read.clone());
        sheet.remarks.push(read);
    }
    let (rows, columns) = (found.hidden_rows, found.hidden_columns);
    if rows + columns == 0 {
        return;
    }
    let count = |count: u64, what: &str| format!("{count} hidden {what}{}", if count == 1 { "" } else { "s" });
    let parts: Vec<String> = [(rows, "row"), (columns, "column")]
        .into_iter()
        .filter(|(found, _)| *found > 0)
        .map(|(found, what)| count(found, what))
        .collect();
    let verb = if rows + columns == 1 { "was" } else { "were" };
    let read = format!("{} {verb} read.", parts.join(" and "));
    sheet.hidden.push(read.clone());
    sheet.remarks.push(read);
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 8 h are a third of a day; 30 h are a day and a quarter.
    #[test]
    fn spans_read_as_a_spreadsheet_shows_them() {
        for (days, text) in [(8.0 / 24.0, "8:00"), (1.25, "30:00"), (15.0 / 86_400.0, "0:00:15"), (0.0, "0:00")] {
            assert_eq!(clock_text(days), text);
        }
    }

    #[test]
    fn whole_numbers_and_sums_read_as_a_spreadsheet_shows_them() {
        for (number, text) in
            [(1.0, "1"), (63.5, "63.5"), (0.1 + 0.2, "0.3"), (-0.0, "0"), (1.2e5, "120000"), (-2.5, "-2.5")]
        {
            assert_eq!(number_text(number), text);
        }
    }
}
