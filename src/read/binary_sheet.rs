//! Sheets of a binary workbook (.xlsb), made ready for the reader: calamine passes over cells that are
//! written short, over faults of formulas and over formatted text, so these are written out as
//! the plain cells that they stand for.
//!
//! Source: [MS-XLSB] Excel Binary File Format, 2.1.4 (records) and 2.5.9 (Cell).

use std::io::{BufReader, Cursor, Read, Write};

use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

/// Kinds of records, by the names of the source.
mod kind {
    pub(super) const ROW_HEAD: u16 = 0;
    pub(super) const CELL_BLANK: u16 = 1;
    pub(super) const CELL_ERROR: u16 = 3;
    pub(super) const CELL_TEXT: u16 = 6;
    pub(super) const FORMULA_ERROR: u16 = 11;
    pub(super) const SHORT_BLANK: u16 = 12;
    pub(super) const SHORT_SHARED_TEXT: u16 = 18;
    pub(super) const SHARED_TEXT: u16 = 19;
    pub(super) const CELL_RICH_TEXT: u16 = 62;
}

/// Bytes of a cell's column and format, before its value.
const CELL_HEAD: usize = 8;

struct BinaryRecord {
    kind: u16,
    body: Vec<u8>,
}

/// Reads the next record; `None` at the end, or where the part breaks off.
fn next_record(part: &mut impl Read) -> Option<BinaryRecord> {
    let mut byte = || {
        let mut one = [0_u8];
        part.read_exact(&mut one).ok().map(|()| u32::from(one[0]))
    };
    let first = byte()?;
    let kind = if first & 0x80 == 0 { first } else { (first & 0x7f) | ((byte()? & 0x7f) << 7) };
    let mut length = 0;
    for place in 0..4 {
        let digit = byte()?;
        length |= (digit & 0x7f) << (7 * place);
        if digit & 0x80 == 0 {
            break;
        }
    }
    let mut body = Vec::new();
    part.take(u64::from(length)).read_to_end(&mut body).ok()?;
    (body.len() as u64 == u64::from(length)).then_some(BinaryRecord { kind: u16::try_from(kind).ok()?, body })
}

fn write_record(to: &mut impl Write, record: &BinaryRecord) -> std::io::Result<()> {
    let digit = |number: usize| u8::try_from(number & 0x7f).unwrap_or_default();
    let kind = usize::from(record.kind);
    if kind < 0x80 {
        to.write_all(&[digit(kind)])?;
    } else {
        to.write_all(&[digit(kind) | 0x80, digit(kind >> 7)])?;
    }
    let mut length = record.body.len();
    while length >= 0x80 {
        to.write_all(&[digit(length) | 0x80])?;
        length >>= 7;
    }
    to.write_all(&[digit(length)])?;
    to.write_all(&record.body)
}

/// Whether calamine would pass over a record that holds something.
const fn is_passed_over(kind: u16) -> bool {
    matches!(kind, kind::FORMULA_ERROR | kind::SHORT_BLANK..=kind::SHORT_SHARED_TEXT | kind::CELL_RICH_TEXT)
}

/// A record as a plain cell where it is one; `column` is that of the cell before it.
fn plain(mut record: BinaryRecord, column: &mut Option<u32>) -> BinaryRecord {
    match record.kind {
        kind::ROW_HEAD => *column = None,
        short @ kind::SHORT_BLANK..=kind::SHORT_SHARED_TEXT => {
            let at = column.map_or(0, |before| before.saturating_add(1));
            *column = Some(at);
            record.body.splice(0..0, at.to_le_bytes());
            record.kind = short - kind::SHORT_BLANK + kind::CELL_BLANK;
        }
        kind::CELL_BLANK..=kind::FORMULA_ERROR | kind::CELL_RICH_TEXT => {
            *column = record.body.first_chunk().map(|bytes| u32::from_le_bytes(*bytes));
            if record.kind == kind::FORMULA_ERROR {
                record.kind = kind::CELL_ERROR;
            } else if record.kind == kind::CELL_RICH_TEXT && record.body.len() > CELL_HEAD {
                // A byte says what follows the text.
                record.body.remove(CELL_HEAD);
                record.kind = kind::CELL_TEXT;
            }
        }
        _ => {}
    }
    record
}

/// Whether a part of a workbook is a sheet.
pub(super) fn is_sheet(part: &str) -> bool {
    part.strip_prefix("xl/worksheets/").is_some_and(|part| !part.contains('/'))
}

/// The number of texts that cells share.
pub(crate) fn shared_texts(part: &mut impl Read) -> u64 {
    std::iter::from_fn(|| next_record(part)).map(|record| u64::from(record.kind == kind::SHARED_TEXT)).sum()
}

/// The workbook with every cell in a form that the reader takes; as it was where it needs nothing
/// or can't be unpacked.
pub(crate) fn with_plain_cells(bytes: Vec<u8>) -> Vec<u8> {
    match rewritten(&bytes) {
        Ok(Some(plain)) => plain,
        Ok(None) | Err(_) => bytes,
    }
}

fn rewritten(bytes: &[u8]) -> zip::result::ZipResult<Option<Vec<u8>>> {
    let mut archive = ZipArchive::new(Cursor::new(bytes))?;
    let mut wanting = Vec::new();
    for index in 0..archive.len() {
        let part = archive.by_index(index)?;
        if is_sheet(part.name()?.trim_start_matches('/')) {
            let mut part = BufReader::new(part);
            let found = std::iter::from_fn(|| next_record(&mut part)).any(|record| is_passed_over(record.kind));
            wanting.extend(found.then_some(index));
        }
    }
    if wanting.is_empty() {
        return Ok(None);
    }
    let mut written = ZipWriter::new(Cursor::new(Vec::new()));
    for index in 0..archive.len() {
        if !wanting.contains(&index) {
            written.raw_copy_file(archive.by_index_raw(index)?)?;
            continue;
        }
        let part = archive.by_index(index)?;
        written.start_file(part.name()?.into_owned(), SimpleFileOptions::default())?;
        let mut part = BufReader::new(part);
        let mut column = None;
        // Where a part breaks off it is left off there, and the reader says so.
        while let Some(record) = next_record(&mut part) {
            write_record(&mut written, &plain(record, &mut column))?;
        }
    }
    Ok(Some(written.finish()?.into_inner()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn there_and_back(record: &BinaryRecord) -> BinaryRecord {
        let mut bytes = Vec::new();
        write_record(&mut bytes, record).unwrap();
        next_record(&mut bytes.as_slice()).unwrap()
    }

    #[test]
    fn records_are_written_as_they_are_read() {
        for (kind, length) in [(0, 0), (7, 12), (0x7f, 0x7f), (0x80, 0x80), (0x186, 20_000), (0x3fff, 70_000)] {
            let record = there_and_back(&BinaryRecord { kind, body: vec![5; length] });
            assert_eq!((record.kind, record.body), (kind, vec![5; length]));
        }
        assert!(next_record(&mut [7_u8, 12, 0].as_slice()).is_none());
    }

    #[test]
    fn short_cells_stand_right_of_the_cell_before_them() {
        let mut column = None;
        let mut cell = |kind: u16, body: &[u8]| {
            let record = plain(BinaryRecord { kind, body: body.to_vec() }, &mut column);
            (record.kind, record.body)
        };
        assert_eq!(cell(7, &[2, 0, 0, 0, 1, 0, 0, 0, 9, 0, 0, 0]).0, 7);
        // [MS-XLSB] 2.4: BrtShortIsst to BrtCellIsst, with the style and the string as they were.
        assert_eq!(cell(18, &[1, 0, 0, 0, 8, 0, 0, 0]), (7, vec![3, 0, 0, 0, 1, 0, 0, 0, 8, 0, 0, 0]));
        assert_eq!(cell(12, &[1, 0, 0, 0]), (1, vec![4, 0, 0, 0, 1, 0, 0, 0]));
        assert_eq!(cell(14, &[0, 0, 0, 0, 0x2a]), (3, vec![5, 0, 0, 0, 0, 0, 0, 0, 0x2a]));
        assert_eq!(cell(0, &[0; 17]).0, 0);
        assert_eq!(cell(13, &[0, 0, 0, 0, 2, 0, 0, 0]), (2, vec![0, 0, 0, 0, 0, 0, 0, 0, 2, 0, 0, 0]));
    }

    #[test]
    fn faults_of_formulas_and_formatted_text_are_plain_cells() {
        let fault = plain(BinaryRecord { kind: 11, body: vec![4, 0, 0, 0, 0, 0, 0, 0, 0x07, 0, 0] }, &mut None);
        assert_eq!((fault.kind, fault.body[8]), (3, 0x07));
        let rich =
            plain(BinaryRecord { kind: 62, body: vec![4, 0, 0, 0, 0, 0, 0, 0, 1, 1, 0, 0, 0, 65, 0] }, &mut None);
        assert_eq!((rich.kind, rich.body), (6, vec![4, 0, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 65, 0]));
    }
}
