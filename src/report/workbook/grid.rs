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
    /// Whether it may stay beside the page where there is no room, so that names need not break into lines for it.
    may_stay_beside: bool,
}

impl SheetColumn {
    #[must_use]
    pub fn new(header: impl Into<String>, width: f64, look: Look) -> Self {
        Self { header: header.into(), width, look, may_stay_beside: false }
    }

    /// The column where it may stay beside the page.
    #[must_use]
    pub fn beside_where_full(self) -> Self {
        Self { may_stay_beside: true, ..self }
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
    across: Across,
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
        let across = legible(layout, setup.paper);
        let sheet = begun(setup, layout, &across, 0)?;
        Ok(Self {
            setup,
            layout,
            sheets: Vec::new(),
            sheet,
            count: 0,
            across,
            printed_until: None,
            row: HEADER_ROW,
            lines: 1,
            links: 0,
        })
    }

    /// Whether a column is on paper.
    #[must_use]
    pub const fn prints(&self, column: u16) -> bool {
        column < self.across.printed
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
            let next = begun(self.setup, self.layout, &self.across, place.sheet)?;
            let full = std::mem::replace(&mut self.sheet, next);
            let until = self.last_printed();
            self.sheets.push(closed(full, self.layout, self.across.printed, self.row, until)?);
            self.links = 0;
        }
        self.count += 1;
        self.row = place.row;
        self.lines = 1;
        Ok(self.row)
    }

    /// The last row to be printed of the sheet that is written now. Where no row is, and on a later sheet where printing
    /// ended on the first, that is the sentence above the header: a header without rows tells nothing.
    fn last_printed(&self) -> u32 {
        match self.printed_until {
            Some(row) if self.sheets.is_empty() && row > HEADER_ROW => row,
            Some(_) => 0,
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
        // What stands beside the page must not stretch the rows that are on it.
        if self.prints(column)
            && let Some(column) = self.across.columns.get(usize::from(column))
            && column.wraps
        {
            self.lines = self.lines.max(lines_of(text, column.width));
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
        let result = result.into();
        self.measure(column, &result);
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
        let last = closed(self.sheet, self.layout, self.across.printed, self.row, until)?;
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
/// Narrowest that a column of names or words may become, in digits, where what is printed would not fit otherwise.
const NARROWEST_NAME: f64 = 10.0;
/// A column of names as wide as names may make it: longer ones break into lines.
const WIDEST_NAME: f64 = 42.0;

/// Pixels across a page at the smallest print. A rounding of the scale to whole percents must not go below.
#[must_use]
pub fn pixels_at_smallest(paper: Paper) -> f64 {
    paper.pixels_across() / (SMALLEST + 0.01)
}

/// How a table stands across a page.
struct Across {
    columns: Vec<ColumnAcross>,
    /// Columns that are printed.
    printed: u16,
    /// Columns that the layout would print and that are not.
    left_out: u16,
}

#[derive(Clone, Copy)]
struct ColumnAcross {
    width: f64,
    /// Whether its texts break into lines.
    wraps: bool,
    /// The narrowest that it may become.
    least: f64,
}

impl Across {
    /// Pixels of what is printed, and how many of them could be spared.
    fn pixels(&self) -> (f64, f64) {
        let columns = self.columns.iter().take(self.printed.into());
        columns.fold((0.0, 0.0), |(across, spare), column| {
            (across + pixels(column.width), spare + (column.width - column.least) * PIXELS_A_DIGIT)
        })
    }

    /// Leaves out columns, from the right, until the rest fits a page.
    fn cut(&mut self, room: f64) {
        while self.printed > 1 {
            let (across, spare) = self.pixels();
            if across - spare <= room {
                break;
            }
            self.printed -= 1;
        }
    }

    /// Narrows running text, all of it by the same share of what it can spare.
    fn narrow_by_share(&mut self, room: f64, layout: &Layout) {
        let excess = self.pixels().0 - room;
        let is_running = |spec: &SheetColumn| spec.look == Look::Wrapped;
        let printed = usize::from(self.printed);
        let columns = || self.columns.iter().zip(&layout.columns).take(printed);
        let spare: f64 = columns()
            .filter(|(_, spec)| is_running(spec))
            .map(|(column, _)| (column.width - column.least) * PIXELS_A_DIGIT)
            .sum();
        if excess <= 0.0 || spare <= 0.0 {
            return;
        }
        let share = (excess / spare).min(1.0);
        for (column, _) in
            self.columns.iter_mut().zip(&layout.columns).take(printed).filter(|(_, spec)| is_running(spec))
        {
            column.width -= (column.width - column.least) * share;
        }
    }

    /// Narrows what may still be narrowed to one width, the greatest at which all fits: short names keep their room.
    fn narrow_the_widest(&mut self, room: f64) {
        const STEPS: u32 = 40;
        if self.pixels().0 <= room {
            return;
        }
        let printed = usize::from(self.printed);
        let at = |column: &ColumnAcross, most: f64| column.width.min(most).max(column.least);
        let across = |most: f64| self.columns.iter().take(printed).map(|column| pixels(at(column, most))).sum::<f64>();
        let (mut least, mut most) = (0.0, self.columns.iter().map(|column| column.width).fold(0.0, f64::max));
        for _ in 0..STEPS {
            let middle = f64::midpoint(least, most);
            if across(middle) <= room {
                least = middle;
            } else {
                most = middle;
            }
        }
        for column in self.columns.iter_mut().take(printed) {
            column.width = at(column, least);
        }
    }
}

/// How what is printed can be read across a page: running text breaks into more lines; where that is not enough, names
/// break, too; and what still finds no room stays beside the page, on the screen, which the head says.
fn legible(layout: &Layout, paper: Paper) -> Across {
    let all = u16::try_from(layout.columns.len()).unwrap_or(u16::MAX).max(1);
    let wanted = if layout.printed == 0 { all } else { layout.printed };
    let column = |column: &SheetColumn| {
        let wraps = column.look == Look::Wrapped;
        let least = if wraps { NARROWEST.max(column.width * NARROWEST_SHARE).min(column.width) } else { column.width };
        ColumnAcross { width: column.width, wraps: wraps || is_widest(column), least }
    };
    let mut across = Across { columns: layout.columns.iter().map(column).collect(), printed: wanted, left_out: 0 };
    if layout.pages_wide != 1 || wanted > all {
        return across;
    }
    let room = pixels_at_smallest(paper);
    across.cut(room);
    let needed = layout.columns.iter().take(wanted.into()).rposition(|column| !column.may_stay_beside);
    let needed = needed.and_then(|at| u16::try_from(at + 1).ok()).unwrap_or(wanted);
    if across.printed < needed {
        for (column, spec) in across.columns.iter_mut().zip(&layout.columns) {
            if spec.look == Look::Text {
                *column = ColumnAcross { wraps: true, least: column.width.min(NARROWEST_NAME), ..*column };
            }
        }
        across.printed = needed;
        across.cut(room);
    }
    across.left_out = wanted - across.printed;
    across.narrow_by_share(room, layout);
    across.narrow_the_widest(room);
    across
}

fn is_widest(column: &SheetColumn) -> bool {
    column.look == Look::Text && column.width >= WIDEST_NAME
}

/// What is said above the header, with the columns that are not on paper though they would be wanted there.
fn note(layout: &Layout, across: &Across) -> String {
    let from = usize::from(across.printed);
    let Some(first) = layout.columns.get(from).filter(|_| across.left_out > 0) else { return layout.note.clone() };
    let columns = match across.left_out {
        1 => format!("the column {}", first.header),
        2 => format!("the columns {} and {}", first.header, layout.columns.get(from + 1).map_or("", |own| &own.header)),
        more => format!("{more} columns from {} on", first.header),
    };
    format!("{} Not on paper for want of room: {columns}.", layout.note)
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

fn begun(setup: &Setup, layout: &Layout, across: &Across, index: u32) -> Result<Worksheet, WorkbookError> {
    let mut sheet = setup.sheet(&sheet_title(layout.name, index))?;
    write_note(&mut sheet, setup, &note(layout, across), layout, across)?;
    let mut lines = 1;
    for ((column, spec), own) in (0_u16..).zip(&layout.columns).zip(&across.columns) {
        sheet.set_column_width(column, own.width)?;
        // Plain text looks as the workbook's default does; a column format costs every cell a look-up.
        let look = if own.wraps { Look::Wrapped } else { spec.look };
        if look != Look::Text {
            sheet.set_column_format(column, &setup.styles.of(look))?;
        }
        sheet.write_string_with_format(HEADER_ROW, column, cell_text(&spec.header), &setup.styles.header)?;
        lines = lines.max(bold_lines_of(&spec.header, own.width));
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

/// What is said above the header: a text longer than the page is wide breaks into lines.
fn write_note(
    sheet: &mut Worksheet,
    setup: &Setup,
    text: &str,
    layout: &Layout,
    across: &Across,
) -> Result<(), WorkbookError> {
    let style = &setup.styles.note;
    let printed = usize::from(across.printed).min(layout.columns.len());
    let room: f64 = across.columns.iter().take(printed).map(|column| column.width).sum();
    let lines = lines_of(text, room);
    let last = u16::try_from(printed).unwrap_or(u16::MAX).max(1) - 1;
    if lines == 1 || layout.pages_wide != 1 || last == 0 {
        sheet.write_string_with_format(0, 0, cell_text(text), style)?;
        return Ok(());
    }
    sheet.merge_range(0, 0, 0, last, &cell_text(text), &style.clone().set_text_wrap())?;
    sheet.set_row_height(0, height_of(lines))?;
    Ok(())
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
