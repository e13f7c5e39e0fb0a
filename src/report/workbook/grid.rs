//! A table on one sheet, or on several where it is longer than a sheet.

use rust_xlsxwriter::{Format, Formula, IgnoreError, Url, Worksheet};

use super::safe_text::cell_text;
use super::style::{LINE_HEIGHT, Look, bold_lines_of, lines_of};
use super::{Paper, Setup, WorkbookError};

/// First row with data: the row above is the header, the one above that says what the sheet is.
pub const FIRST_ROW: u32 = 2;
/// The header's row.
pub const HEADER_ROW: u32 = 1;

/// Links that a sheet may have; Excel refuses a file with more than 65,530.
const LINK_LIMIT: u32 = 65_000;
/// Tallest row in points that Excel shows.
const ROW_LIMIT_POINTS: f64 = 409.0;

/// A column of a table.
pub struct SheetColumn {
    pub header: String,
    pub width: f64,
    pub look: Look,
}

impl SheetColumn {
    #[must_use]
    pub fn new(header: impl Into<String>, width: f64, look: Look) -> Self {
        Self { header: header.into(), width, look }
    }
}

/// What a table looks like.
pub struct Layout {
    pub name: &'static str,
    /// Said above the header.
    pub note: String,
    pub columns: Vec<SheetColumn>,
    /// Columns that stay when scrolled, and that are repeated where a page is not wide enough.
    pub frozen: u16,
    /// Columns that are printed, from the left; 0 for all, more than there are for charts beside the table.
    pub printed: u16,
    /// Pages across.
    pub pages_wide: u16,
}

/// Where a row of a table stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// 0 for the first sheet of the table.
    pub sheet: u32,
    /// Zero-based.
    pub row: u32,
}

impl Place {
    /// Where the table's row of an index stands.
    #[must_use]
    pub const fn of(index: u32, row_limit: u32) -> Self {
        let per_sheet = row_limit - FIRST_ROW;
        Self { sheet: index / per_sheet, row: FIRST_ROW + index % per_sheet }
    }
}

/// A row of a table that a link leads to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Target {
    pub table: &'static str,
    pub place: Place,
}

impl Target {
    /// `'Lines 2'!A17`.
    #[must_use]
    pub fn cell(self) -> String {
        format!("'{}'!A{}", sheet_title(self.table, self.place.sheet), self.place.row + 1)
    }

    /// `Lines 2, row 17`.
    #[must_use]
    pub fn words(self) -> String {
        format!("{}, row {}", sheet_title(self.table, self.place.sheet), self.place.row + 1)
    }
}

/// `Lines`, `Lines 2`, ...
#[must_use]
pub fn sheet_title(table: &str, index: u32) -> String {
    if index == 0 { table.to_owned() } else { format!("{table} {}", index + 1) }
}

/// A table being written.
pub struct Grid<'a> {
    pub setup: &'a Setup<'a>,
    layout: &'a Layout,
    sheets: Vec<Worksheet>,
    sheet: Worksheet,
    /// Rows begun on all sheets.
    count: u32,
    /// Of the columns, narrowed where the printed ones would not be legible across a page.
    widths: Vec<f64>,
    /// Columns that are printed.
    printed: u16,
    /// Last printed row of the first sheet, where not all are printed.
    printed_until: Option<u32>,
    row: u32,
    lines: u32,
    links: u32,
}

impl<'a> Grid<'a> {
    /// With the header on its first sheet.
    ///
    /// # Errors
    ///
    /// Where the library refuses a name or a width.
    pub fn new(setup: &'a Setup<'a>, layout: &'a Layout) -> Result<Self, WorkbookError> {
        let (widths, printed) = legible(layout, setup.paper);
        let sheet = begun(setup, layout, &widths, 0)?;
        Ok(Self {
            setup,
            layout,
            sheets: Vec::new(),
            sheet,
            count: 0,
            widths,
            printed,
            printed_until: None,
            row: HEADER_ROW,
            lines: 1,
            links: 0,
        })
    }

    /// Rows after this one are for the screen: they are not printed.
    pub fn print_until_here(&mut self) {
        if self.sheets.is_empty() {
            self.printed_until = Some(self.row);
        }
    }

    /// Goes to the next row, on a new sheet where this one is full; its zero-based number.
    ///
    /// # Errors
    ///
    /// As [`Self::new`].
    pub fn begin_row(&mut self) -> Result<u32, WorkbookError> {
        self.end_row()?;
        let place = Place::of(self.count, self.setup.row_limit);
        if place.sheet as usize > self.sheets.len() {
            let next = begun(self.setup, self.layout, &self.widths, place.sheet)?;
            let full = std::mem::replace(&mut self.sheet, next);
            let until = self.last_printed();
            self.sheets.push(closed(full, self.layout, self.printed, self.row, until)?);
            self.links = 0;
        }
        self.count += 1;
        self.row = place.row;
        self.lines = 1;
        Ok(self.row)
    }

    /// The last row to be printed of the sheet that is written now. A later sheet prints its
    /// header alone where printing ended on the first.
    fn last_printed(&self) -> u32 {
        match self.printed_until {
            Some(row) if self.sheets.is_empty() => row,
            Some(_) => HEADER_ROW,
            None => self.row,
        }
    }

    fn end_row(&mut self) -> Result<(), WorkbookError> {
        if self.lines > 1 && self.row >= FIRST_ROW {
            self.sheet.set_row_height(self.row, height_of(self.lines))?;
        }
        Ok(())
    }

    /// Text, in the column's look.
    ///
    /// # Errors
    ///
    /// Where the library refuses the cell.
    pub fn text(&mut self, column: u16, text: &str) -> Result<(), WorkbookError> {
        if text.is_empty() {
            return Ok(());
        }
        self.measure(column, text);
        self.sheet.write_string(self.row, column, cell_text(text))?;
        Ok(())
    }

    /// Text, in a look of its own.
    ///
    /// # Errors
    ///
    /// Where the library refuses the cell.
    pub fn text_as(&mut self, column: u16, text: &str, format: &Format) -> Result<(), WorkbookError> {
        self.measure(column, text);
        self.sheet.write_string_with_format(self.row, column, cell_text(text), format)?;
        Ok(())
    }

    fn measure(&mut self, column: u16, text: &str) {
        let at = usize::from(column);
        if let Some(column) = self.layout.columns.get(at)
            && column.look == Look::Wrapped
        {
            self.lines = self.lines.max(lines_of(text, self.widths.get(at).copied().unwrap_or(column.width)));
        }
    }

    /// A number; what is not finite leaves the cell empty.
    ///
    /// # Errors
    ///
    /// Where the library refuses the cell.
    pub fn number(&mut self, column: u16, number: f64) -> Result<(), WorkbookError> {
        if number.is_finite() {
            self.sheet.write_number(self.row, column, number)?;
        }
        Ok(())
    }

    /// A number, or an empty cell where it is unknown.
    ///
    /// # Errors
    ///
    /// Where the library refuses the cell.
    pub fn optional(&mut self, column: u16, number: Option<f64>) -> Result<(), WorkbookError> {
        number.map_or(Ok(()), |number| self.number(column, number))
    }

    /// A number in a look of its own.
    ///
    /// # Errors
    ///
    /// Where the library refuses the cell.
    pub fn number_as(&mut self, column: u16, number: f64, format: &Format) -> Result<(), WorkbookError> {
        if number.is_finite() {
            self.sheet.write_number_with_format(self.row, column, number, format)?;
        }
        Ok(())
    }

    /// A live formula with the number or text that it gives now.
    ///
    /// # Errors
    ///
    /// Where the library refuses the cell.
    pub fn formula(&mut self, column: u16, formula: &str, result: impl Into<String>) -> Result<(), WorkbookError> {
        self.sheet.write_formula(self.row, column, Formula::new(formula).set_result(result))?;
        Ok(())
    }

    /// Words that lead to a row of another table, in plain type; nothing where there is no such row.
    ///
    /// Links stand in columns that are not printed: some programs show them in a colour of their own and never break
    /// them into lines.
    ///
    /// # Errors
    ///
    /// Where the library refuses the cell.
    pub fn link(&mut self, column: u16, target: Option<Target>) -> Result<(), WorkbookError> {
        let Some(target) = target else { return Ok(()) };
        let words = target.words();
        if self.links >= LINK_LIMIT {
            return self.text(column, &words);
        }
        self.links += 1;
        let url = Url::new(format!("internal:{}", target.cell())).set_text(words);
        self.sheet.write_url_with_format(self.row, column, &url, &self.setup.styles.text)?;
        Ok(())
    }

    /// The sheet that is written now, for charts.
    pub fn sheet(&mut self) -> &mut Worksheet {
        &mut self.sheet
    }

    /// Name of the sheet that is written now.
    #[must_use]
    pub fn sheet_name(&self) -> String {
        self.sheet.name()
    }

    /// All its sheets.
    ///
    /// # Errors
    ///
    /// Where the library refuses the print area.
    pub fn finish(mut self) -> Result<Vec<Worksheet>, WorkbookError> {
        self.end_row()?;
        let until = self.last_printed();
        let last = closed(self.sheet, self.layout, self.printed, self.row, until)?;
        self.sheets.push(last);
        Ok(self.sheets)
    }
}

/// Height of a row with so many lines of text.
#[must_use]
pub fn height_of(lines: u32) -> f64 {
    (f64::from(lines) * LINE_HEIGHT + 2.0).min(ROW_LIMIT_POINTS)
}

/// Smallest print of a sheet, as a share of its 10 points: 8 points.
const SMALLEST: f64 = 0.8;
/// Narrowest that a column of running text may become: in digits, and as a share of what it is meant to have.
const NARROWEST: f64 = 7.0;
const NARROWEST_SHARE: f64 = 0.8;

/// Pixels across a page at the smallest print. A rounding of the scale to whole percents must not go below.
#[must_use]
pub fn pixels_at_smallest(paper: Paper) -> f64 {
    paper.pixels_across() / (SMALLEST + 0.01)
}

/// Widths at which what is printed can be read across a page, and the columns that are printed:
/// running text breaks into more lines, and what still finds no room stays beside the page, on
/// the screen.
fn legible(layout: &Layout, paper: Paper) -> (Vec<f64>, u16) {
    let mut widths: Vec<f64> = layout.columns.iter().map(|column| column.width).collect();
    let columns = u16::try_from(widths.len()).unwrap_or(u16::MAX).max(1);
    let mut printed = if layout.printed == 0 { columns } else { layout.printed };
    if layout.pages_wide != 1 || printed > columns {
        return (widths, printed);
    }
    let room = pixels_at_smallest(paper);
    let across =
        |widths: &[f64], printed: u16| widths.iter().take(printed.into()).map(|width| pixels(*width)).sum::<f64>();
    let spare = |at: usize, width: f64| match layout.columns.get(at) {
        Some(column) if column.look == Look::Wrapped => (width - NARROWEST.max(width * NARROWEST_SHARE)).max(0.0),
        _ => 0.0,
    };
    let spare_of = |printed: u16| {
        let columns = widths.iter().take(printed.into()).enumerate();
        columns.map(|(at, width)| spare(at, *width)).sum::<f64>() * PIXELS_A_DIGIT
    };
    while printed > 1 && across(&widths, printed) - spare_of(printed) > room {
        printed -= 1;
    }
    let excess = across(&widths, printed) - room;
    if excess > 0.0 {
        let share = (excess / spare_of(printed)).min(1.0);
        for (at, width) in widths.iter_mut().take(printed.into()).enumerate() {
            *width -= spare(at, *width) * share;
        }
    }
    (widths, printed)
}

/// Pixels of a digit of the default font, and of a column's edges. Some programs take 7 whole pixels for a digit, some
/// what the font says: 0.556 of its height of 13.3.
const PIXELS_A_DIGIT: f64 = 7.41;
const EDGES: f64 = 5.0;

/// Width of a column of links.
pub const LINK_WIDTH: f64 = 15.0;

/// Pixels of a column.
#[must_use]
pub fn pixels(width: f64) -> f64 {
    width * PIXELS_A_DIGIT + EDGES
}

fn begun(setup: &Setup, layout: &Layout, widths: &[f64], index: u32) -> Result<Worksheet, WorkbookError> {
    let mut sheet = setup.sheet(&sheet_title(layout.name, index))?;
    sheet.write_string_with_format(0, 0, cell_text(&layout.note), &setup.styles.note)?;
    let mut lines = 1;
    for ((column, spec), width) in (0_u16..).zip(&layout.columns).zip(widths) {
        sheet.set_column_width(column, *width)?;
        // Plain text looks as the workbook's default does; a column format costs every cell a look-up.
        if spec.look != Look::Text {
            sheet.set_column_format(column, &setup.styles.of(spec.look))?;
        }
        sheet.write_string_with_format(HEADER_ROW, column, cell_text(&spec.header), &setup.styles.header)?;
        lines = lines.max(bold_lines_of(&spec.header, *width));
    }
    sheet.set_row_height(HEADER_ROW, height_of(lines))?;
    sheet.set_freeze_panes(FIRST_ROW, layout.frozen)?;
    sheet.set_repeat_rows(0, HEADER_ROW)?;
    if layout.frozen > 0 && layout.pages_wide != 1 {
        sheet.set_repeat_columns(0, layout.frozen - 1)?;
    }
    sheet.set_landscape();
    sheet.set_print_gridlines(true);
    sheet.set_print_fit_to_pages(layout.pages_wide, 0);
    Ok(sheet)
}

fn closed(
    mut sheet: Worksheet,
    layout: &Layout,
    printed: u16,
    last_row: u32,
    until: u32,
) -> Result<Worksheet, WorkbookError> {
    let columns = u16::try_from(layout.columns.len()).unwrap_or(u16::MAX).max(1);
    sheet.autofilter(HEADER_ROW, 0, last_row, columns - 1)?;
    // A circuit or quantity is kept as the text it was given as; no coloured corner shall mark it.
    sheet.ignore_error_range(FIRST_ROW, 0, last_row.max(FIRST_ROW), columns - 1, IgnoreError::NumberStoredAsText)?;
    sheet.set_print_area(0, 0, until, printed - 1)?;
    Ok(sheet)
}
