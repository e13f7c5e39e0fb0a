//! A list before its rows are scanned: one text file, or one sheet.

use crate::tables::column::Table;
use crate::tables::origin::Source;
use crate::tables::policy::Policy;

use crate::read::cell::GridRow;
use crate::read::collector::SheetForm;
use crate::read::error::ReadError;
use crate::read::header::Layout;
use crate::read::names::Names;
use crate::read::table::{self, Grid, Loaded, bare_source, of_sheet, take_head};
use crate::read::text_file::{TextFile, TextHead};

/// Where the rows of a list are.
#[derive(Debug)]
pub(crate) enum Body {
    Text {
        file: TextFile,
        delimiter: u8,
        /// Where the rows below the header start.
        from: u64,
        /// The row before that.
        row: u32,
    },
    Sheet(Vec<GridRow>),
}

/// A list: its columns and its rows.
#[derive(Debug)]
pub(crate) struct ListTable {
    pub layout: Layout,
    pub body: Body,
    /// The fixture where no cell names one.
    pub stem: String,
}

/// A list that is a text file.
pub(crate) fn of_text(file: TextFile, stem: &str, policy: &Policy) -> Result<Loaded<ListTable>, ReadError> {
    let names = Names::new(Table::Lists, policy);
    let mut loaded = Loaded { source: bare_source(&file.name, "", Some(Table::Lists)), notes: Vec::new(), body: None };
    loaded.source.sha256.clone_from(&file.sha256);
    loaded.source.remarks.clone_from(&file.remarks);
    let head = TextHead::find(&file.name, &file.sample()?, &names)?;
    let (layout, body, row) = take_head(&mut loaded, &head, &names)?;
    if policy.reading.fill_down.iter().any(|name| layout.has(name)) {
        // What a blank cell says stands far above it: read as a whole.
        let file = TextFile::in_memory(&file.name, &file.path, &policy.bounds)?;
        return Ok(of_rows(table::of_text(&file, Table::Lists, policy)?, stem));
    }
    let from = file.start + body as u64;
    let body = Body::Text { file, delimiter: head.dialect.delimiter, from, row };
    loaded.body = Some(ListTable { layout, body, stem: stem.to_owned() });
    Ok(loaded)
}

/// A list that is a sheet, whose header is in `rows[header]`.
pub(crate) fn on_sheet(
    source: Source,
    rows: Vec<GridRow>,
    form: &SheetForm,
    header: usize,
    stem: &str,
    names: &Names,
) -> Result<Loaded<ListTable>, ReadError> {
    Ok(of_rows(of_sheet(source, rows, form, header, names)?, stem))
}

/// A list whose rows are in memory.
pub(super) fn of_rows(loaded: Loaded<Grid>, stem: &str) -> Loaded<ListTable> {
    let mut source = loaded.source;
    // The scan counts the rows of every list.
    source.rows_read = source.rows_skipped;
    let body =
        loaded.body.map(|grid| ListTable { layout: grid.layout, body: Body::Sheet(grid.rows), stem: stem.to_owned() });
    Loaded { source, notes: loaded.notes, body }
}
