//! The starter as one workbook, with lists to choose from where a column takes words of a set.

use rust_xlsxwriter::{
    DataValidation, DataValidationErrorStyle, DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError,
};

use crate::physics::unit::UnitSystem;
use crate::report::workbook::style::Styles;
use crate::report::workbook::{WorkbookError, theme};
use crate::tables::column::{Column, Holds, Table};

use super::table::StarterTable;

const LAST_ROW: u32 = 1_048_575;

/// The workbook's bytes.
///
/// # Errors
/// Where it can't be written.
pub fn workbook(units: UnitSystem) -> Result<Vec<u8>, WorkbookError> {
    let styles = Styles::new();
    let mut workbook = Workbook::new();
    workbook.set_default_format(&styles.base, 17, 64)?;
    theme::apply(&mut workbook)?;
    // The same every day, so that two starters are the same bytes.
    let created = ExcelDateTime::from_ymd(2000, 1, 1)?;
    workbook.set_properties(&DocProperties::new().set_title("Plant folder").set_creation_datetime(&created));
    for table in Table::ALL {
        workbook.push_worksheet(sheet(&StarterTable::new(*table, units), &styles)?);
    }
    Ok(workbook.save_to_buffer()?)
}

fn sheet(table: &StarterTable, styles: &Styles) -> Result<Worksheet, XlsxError> {
    let mut sheet = Worksheet::new();
    sheet.set_default_format(&styles.base, 17, 64)?;
    sheet.set_name(table.table.word())?;
    sheet.set_freeze_panes(1, 0)?;
    sheet.set_landscape();
    sheet.set_print_fit_to_pages(1, 0);
    sheet.set_repeat_rows(0, 0)?;
    for (at, (header, column)) in (0..).zip(table.headers.iter().zip(table.table.columns())) {
        sheet.write_string_with_format(0, at, header, &styles.header)?;
        sheet.set_column_width(at, width(header, table.rows.iter().filter_map(|row| row.get(usize::from(at)))))?;
        if let Some(choice) = choice(column)? {
            sheet.add_data_validation(1, at, LAST_ROW, at, &choice)?;
        }
    }
    let date = styles.text.clone().set_num_format("yyyy-mm-dd");
    for (row, cells) in (1..).zip(&table.rows) {
        for (at, (cell, column)) in (0..).zip(cells.iter().zip(table.table.columns())) {
            write_cell(&mut sheet, row, at, cell, column, &styles.text, &date)?;
        }
    }
    Ok(sheet)
}

/// The words to choose from, where a column takes words of a set. An order may be in any unit of
/// the part's dimension, so there the list is an offer only.
fn choice(column: &Column) -> Result<Option<DataValidation>, XlsxError> {
    let (words, style) = match column.holds {
        Holds::Word(words) => (words, DataValidationErrorStyle::Stop),
        Holds::Text if column.name == "uom" => (&["each", "m", "ft"][..], DataValidationErrorStyle::Information),
        _ => return Ok(None),
    };
    Ok(Some(DataValidation::new().allow_list_strings(words)?.set_error_style(style)))
}

/// As wide as the longest word of the header, which wraps, and as the cells.
fn width<'a>(header: &str, cells: impl Iterator<Item = &'a &'static str>) -> f64 {
    let header = header.split(' ').map(|word| word.chars().count()).max().unwrap_or(0);
    let cells = cells.map(|cell| cell.chars().count()).max().unwrap_or(0);
    f64::from(u32::try_from(header.max(cells)).unwrap_or(40).clamp(7, 40)) + 2.0
}

/// Numbers and dates as such, so that a spreadsheet counts with them.
fn write_cell(
    sheet: &mut Worksheet,
    row: u32,
    at: u16,
    cell: &str,
    column: &Column,
    text: &Format,
    date: &Format,
) -> Result<(), XlsxError> {
    if cell.is_empty() {
        return Ok(());
    }
    let is_text = matches!(column.holds, Holds::Text | Holds::PartNo | Holds::Word(_) | Holds::Words(_));
    match cell.parse::<f64>() {
        // A place such as circuit 1 is text that reads the same as a number, without a spreadsheet's warning.
        Ok(number) if !is_text || column.name == "circuit" => sheet.write_number_with_format(row, at, number, text)?,
        _ if column.holds == Holds::Date => {
            sheet.write_datetime_with_format(row, at, ExcelDateTime::parse_from_str(cell)?, date)?
        }
        _ => sheet.write_string_with_format(row, at, cell, text)?,
    };
    Ok(())
}
