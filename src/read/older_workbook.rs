//! Workbooks of the older kind (.xls), looked over before they are read: calamine takes room for
//! what a sheet claims and for the whole rectangle of its cells, so one far cell or one wrong
//! claim would take the machine. It also reads on where sectors are missing, with zeros in their place;
//! what can't be followed here is therefore refused: its cells would not be known, and some may be lost.
//!
//! Source: [MS-CFB] 2.2 to 2.6 (header, sector chains, directory), [MS-XLS] 2.1.4, 2.4.28 and 2.4.90.

use super::bounds::grouped;
use super::error::ReadError;

/// Cells that the sheets may come to; the reader holds the cells of a sheet twice.
const MOST_CELLS: u64 = 10_000_000;
/// Bytes of text that the cells may come to; a text that cells share is copied into each.
const MOST_TEXT: u64 = 512 << 20;
/// Rows and columns that a sheet of this kind may have.
const LARGEST_SHEET: u64 = 65_536 * 256;
/// Ends a chain of sectors, or marks one that is none.
const LAST_SECTOR: u32 = 0xffff_fffa;
/// A shorter stream is kept in small sectors.
const SMALL_STREAM: u64 = 4096;
const SMALL_SECTOR: usize = 64;
const DIRECTORY_ENTRY: usize = 128;
/// The kind of a directory entry that is a stream.
const STREAM: u8 = 2;

/// Kinds of records.
const BEGIN: u16 = 0x0809;
const END: u16 = 0x000a;
const SHEET: u16 = 0x0085;
const DIMENSIONS: u16 = 0x0200;
const SHARED_TEXTS: u16 = 0x00fc;
const CONTINUE: u16 = 0x003c;
const SHARED_TEXT_CELL: u16 = 0x00fd;
const FORMULA: u16 = 0x0006;
/// What a formula came to, in the cell of the formula before it.
const TEXT_OF_FORMULA: u16 = 0x0207;
/// Formula, array of numbers, text, number, label, truth or error, number in short.
const CELLS: [u16; 8] = [FORMULA, 0x00bd, 0x00d6, 0x00fd, 0x0203, 0x0204, 0x0205, 0x027e];

fn short(bytes: &[u8], at: usize) -> Option<u16> {
    bytes.get(at..)?.first_chunk().map(|two| u16::from_le_bytes(*two))
}

fn long(bytes: &[u8], at: usize) -> Option<u32> {
    bytes.get(at..)?.first_chunk().map(|four| u32::from_le_bytes(*four))
}

/// Why a file's sectors are not followed.
#[derive(Debug, PartialEq, Eq)]
enum Fault {
    /// They break off or lead out of the file.
    Broken,
    /// They come back to themselves: the reader would follow them until the memory is full.
    Circle,
}

/// Sectors of a compound file. Written by hand since files of common writers leave their tables
/// filled in other ways than a strict reader of such files takes.
struct Compound<'a> {
    bytes: &'a [u8],
    sector: usize,
    /// The sector after each.
    next: Vec<u32>,
}

impl<'a> Compound<'a> {
    fn new(bytes: &'a [u8]) -> Result<Self, Fault> {
        let shift = short(bytes, 30).filter(|shift| (9..=12).contains(shift)).ok_or(Fault::Broken)?;
        let mut file = Self { bytes, sector: 1 << shift, next: Vec::new() };
        let mut tables: Vec<u32> = (0..109).filter_map(|index| long(bytes, 76 + 4 * index)).collect();
        let mut further = long(bytes, 68).ok_or(Fault::Broken)?;
        while further < LAST_SECTOR {
            if tables.len() > bytes.len() / 4 {
                return Err(Fault::Circle);
            }
            let sector = file.at(further).ok_or(Fault::Broken)?;
            tables.extend((0..file.sector / 4 - 1).filter_map(|index| long(sector, 4 * index)));
            further = long(sector, file.sector - 4).ok_or(Fault::Broken)?;
        }
        for table in tables.into_iter().filter(|table| *table < LAST_SECTOR) {
            let sector = file.at(table).ok_or(Fault::Broken)?;
            file.next.extend(sector.as_chunks().0.iter().map(|four| u32::from_le_bytes(*four)));
        }
        Ok(file)
    }

    fn at(&self, sector: u32) -> Option<&'a [u8]> {
        let from = (sector as usize).checked_add(1)?.checked_mul(self.sector)?;
        let rest = self.bytes.get(from..)?;
        rest.get(..self.sector.min(rest.len()))
    }

    /// The bytes of a chain of sectors; only the last may be short, as where a writer leaves the file's end off.
    fn chain(&self, first: u32) -> Result<Vec<u8>, Fault> {
        let mut bytes = Vec::new();
        let mut sector = first;
        let mut steps = 0;
        while sector < LAST_SECTOR {
            let found = self.at(sector).ok_or(Fault::Broken)?;
            steps += 1;
            if steps > self.next.len() {
                return Err(Fault::Circle);
            }
            if !bytes.len().is_multiple_of(self.sector) {
                return Err(Fault::Broken);
            }
            bytes.extend_from_slice(found);
            sector = self.next.get(sector as usize).copied().ok_or(Fault::Broken)?;
        }
        Ok(bytes)
    }

    /// The stream with the sheets; every chain is followed, also of streams that are not read.
    fn workbook(&self) -> Result<Vec<u8>, Fault> {
        let first = |at: usize| long(self.bytes, at).ok_or(Fault::Broken);
        let directory = self.chain(first(48)?)?;
        let (entries, _) = directory.as_chunks::<DIRECTORY_ENTRY>();
        let named = |entry: &[u8; DIRECTORY_ENTRY], name: &str| {
            let letters = entry.as_chunks::<2>().0.iter().map(|two| u16::from_le_bytes(*two));
            letters.map(|letter| letter | 0x20).take(name.len() + 1).eq(name.encode_utf16().chain([0x20]))
        };
        let of = |entry: &[u8; DIRECTORY_ENTRY]| {
            (long(entry, 116).unwrap_or(LAST_SECTOR), u64::from(long(entry, 120).unwrap_or_default()))
        };
        let root = entries.first().map(of).ok_or(Fault::Broken)?;
        let (small, table) = (self.chain(root.0), self.chain(first(60)?));
        if [&small, &table].contains(&&Err(Fault::Circle)) {
            return Err(Fault::Circle);
        }
        let stream = |(first, length): (u32, u64)| {
            if length >= SMALL_STREAM {
                return self.chain(first);
            }
            let (Ok(small), Ok(table)) = (&small, &table) else { return Err(Fault::Broken) };
            small_chain(small, table, first, length)
        };
        for other in entries.iter().filter(|entry| entry[66] == STREAM) {
            stream(of(other)).map(drop).or_else(|fault| if fault == Fault::Circle { Err(fault) } else { Ok(()) })?;
        }
        let sheets = ["workbook", "book"].iter().find_map(|name| entries.iter().find(|entry| named(entry, name)));
        let (first, length) = sheets.map(of).ok_or(Fault::Broken)?;
        let mut bytes = stream((first, length))?;
        bytes.truncate(usize::try_from(length).unwrap_or(usize::MAX));
        Ok(bytes)
    }
}

/// The bytes of a chain of small sectors, `length` of them at most.
fn small_chain(small: &[u8], table: &[u8], first: u32, length: u64) -> Result<Vec<u8>, Fault> {
    let mut stream = Vec::new();
    let (mut sector, mut steps) = (first, 0);
    while sector < LAST_SECTOR && (stream.len() as u64) < length.max(1) {
        steps += 1;
        if steps > table.len() / 4 {
            return Err(Fault::Circle);
        }
        let from = (sector as usize).checked_mul(SMALL_SECTOR).ok_or(Fault::Broken)?;
        let found = small.get(from..).filter(|rest| !rest.is_empty()).ok_or(Fault::Broken)?;
        stream.extend_from_slice(found.get(..SMALL_SECTOR).unwrap_or(found));
        sector = long(table, 4 * sector as usize).ok_or(Fault::Broken)?;
    }
    Ok(stream)
}

/// The rectangle around the cells of a sheet.
#[derive(Clone, Copy)]
struct Extent {
    rows: (u16, u16),
    columns: (u16, u16),
}

impl Extent {
    fn cells(self) -> u64 {
        let count = |(from, to): (u16, u16)| u64::from(to) - u64::from(from) + 1;
        count(self.rows) * count(self.columns)
    }

    /// With one more cell, or around the first.
    fn around(before: Option<Self>, row: u16, column: u16) -> Self {
        before.unwrap_or(Self { rows: (row, row), columns: (column, column) }).with(row, column)
    }

    fn with(self, row: u16, column: u16) -> Self {
        let wide = |(from, to): (u16, u16), at: u16| (from.min(at), to.max(at));
        Self { rows: wide(self.rows, row), columns: wide(self.columns, column) }
    }
}

/// The records of a stream from a place on, up to where it breaks off.
fn records(stream: &[u8], from: usize) -> impl Iterator<Item = (u16, &[u8])> {
    let mut rest = stream.get(from..).unwrap_or_default();
    std::iter::from_fn(move || {
        let (kind, length) = (short(rest, 0)?, short(rest, 2)?);
        let (body, next) = rest.get(4..)?.split_at_checked(usize::from(length))?;
        rest = next;
        Some((kind, body))
    })
}

/// Cells that calamine would make room for: of the sheets, and of the largest claim of one. Sheets are looked for
/// where it does: at the places that the head of the stream tells.
fn room_for(stream: &[u8]) -> (u64, u64) {
    let head = records(stream, 0).take_while(|(kind, _)| *kind != END);
    let places = head.filter(|(kind, _)| *kind == SHEET).filter_map(|(_, body)| long(body, 0));
    places.fold((0, 0), |(cells, claimed), place| {
        let (of_sheet, claim) = room_for_sheet(records(stream, usize::try_from(place).unwrap_or(usize::MAX)));
        (of_sheet.saturating_add(cells), claim.max(claimed))
    })
}

fn room_for_sheet<'a>(records: impl Iterator<Item = (u16, &'a [u8])>) -> (u64, u64) {
    let (mut extent, mut claimed) = (None::<Extent>, 0);
    // Charts lie in the sheet and have cells of their own, which are passed over.
    let mut depth = 0_u64;
    let mut formula = (0, 0);
    for (kind, body) in records {
        let place = short(body, 0).zip(short(body, 2));
        match kind {
            BEGIN => depth += 1,
            END if depth <= 1 => break,
            END => depth -= 1,
            _ if depth > 1 => {}
            DIMENSIONS => claimed = claimed.max(claim_of(body)),
            TEXT_OF_FORMULA => extent = Some(Extent::around(extent, formula.0, formula.1)),
            cell if CELLS.contains(&cell) => {
                let Some((row, column)) = place else { continue };
                if cell == FORMULA {
                    formula = (row, column);
                }
                let wider = Extent::around(extent, row, column);
                // An array of numbers ends with its last column.
                let last = (cell == 0x00bd).then(|| short(body, body.len().saturating_sub(2))).flatten();
                extent = Some(last.map_or(wider, |last| wider.with(row, last)));
            }
            _ => {}
        }
    }
    (extent.map_or(0, Extent::cells), claimed)
}

/// Cells that a sheet says it has, in the older or the newer of two forms.
fn claim_of(body: &[u8]) -> u64 {
    let rows_and_columns = if body.len() < 14 {
        let rows = short(body, 0).zip(short(body, 2)).map(|(from, to)| (u64::from(from), u64::from(to)));
        rows.zip(short(body, 6))
    } else {
        let rows = long(body, 0).zip(long(body, 4)).map(|(from, to)| (u64::from(from), u64::from(to)));
        rows.zip(short(body, 10))
    };
    rows_and_columns.map_or(0, |((from, to), columns)| to.saturating_sub(from).saturating_mul(u64::from(columns)))
}

/// Reads on over records that continue one another.
struct Continued<'a> {
    pieces: std::vec::IntoIter<&'a [u8]>,
    piece: &'a [u8],
}

impl<'a> Continued<'a> {
    /// Up to so many bytes of the piece in work; of the next one where it is used up.
    fn take(&mut self, most: usize) -> Option<&'a [u8]> {
        while self.piece.is_empty() {
            self.piece = self.pieces.next()?;
        }
        let (taken, rest) = self.piece.split_at(most.min(self.piece.len()));
        self.piece = rest;
        Some(taken)
    }

    fn number(&mut self, bytes: usize) -> Option<u32> {
        let mut number = 0;
        for place in 0..bytes {
            number |= u32::from(*self.take(1)?.first()?) << (8 * place);
        }
        Some(number)
    }

    fn skip(&mut self, mut bytes: usize) -> Option<()> {
        while bytes > 0 {
            bytes -= self.take(bytes)?.len();
        }
        Some(())
    }

    /// The characters of the next text ([MS-XLS] 2.5.293, broken over records as in 2.4.265).
    fn text(&mut self) -> Option<u32> {
        let count = self.number(2)?;
        let flags = self.number(1)?;
        let runs = if flags & 8 == 0 { 0 } else { self.number(2)? };
        let further = if flags & 4 == 0 { 0 } else { self.number(4)? };
        let (mut left, mut width) = (count as usize, if flags & 1 == 0 { 1 } else { 2 });
        while left > 0 {
            if self.piece.is_empty() {
                width = if self.number(1)? & 1 == 0 { 1 } else { 2 };
            }
            left -= self.take(left * width)?.len().div_ceil(width);
        }
        self.skip(runs as usize * 4 + further as usize)?;
        Some(count)
    }
}

/// Bytes of text of all cells, each text that cells share as often as it is used.
fn text_of(stream: &[u8]) -> u64 {
    let (mut pieces, mut uses, mut own) = (Vec::new(), Vec::new(), 0_u64);
    let mut before = 0;
    for (kind, body) in records(stream, 0) {
        match kind {
            SHARED_TEXTS => pieces.push(body),
            CONTINUE if before == SHARED_TEXTS => pieces.push(body),
            SHARED_TEXT_CELL => uses.extend(long(body, 6)),
            0x0204 | 0x00d6 => own += body.len() as u64,
            _ => {}
        }
        if kind != CONTINUE {
            before = kind;
        }
    }
    let mut texts = Continued { pieces: pieces.into_iter(), piece: &[] };
    // How many there are of each comes first.
    let _ = texts.skip(8);
    let lengths: Vec<u32> = std::iter::from_fn(|| texts.text()).collect();
    let length = |index: &u32| lengths.get(*index as usize).copied().map_or(0, |count| u64::from(count) * 2);
    own + uses.iter().map(length).sum::<u64>()
}

/// Refuses a workbook whose sheets would take more room than their cells are worth.
pub(crate) fn look_over(file: &str, bytes: &[u8]) -> Result<(), ReadError> {
    let stream = match Compound::new(bytes).and_then(|compound| compound.workbook()) {
        Ok(stream) => stream,
        Err(Fault::Broken) => return Err(ReadError::damaged_workbook(file)),
        Err(Fault::Circle) => {
            return Err(ReadError::new(format!(
                "{file}: the workbook is damaged: parts of it follow each other in a circle."
            )));
        }
    };
    if text_of(&stream) > MOST_TEXT {
        return Err(ReadError::new(format!(
            "{file}: the texts of its cells come to more than {} MiB; save the lists as CSV.",
            MOST_TEXT >> 20
        )));
    }
    let (cells, claimed) = room_for(&stream);
    if cells <= MOST_CELLS && claimed <= LARGEST_SHEET {
        return Ok(());
    }
    Err(ReadError::new(format!(
        "{file}: its sheets come to more than {} cells from their first to their last, blank ones too; clear what stands far from the tables, or save them as .xlsx.",
        grouped(MOST_CELLS)
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn record(kind: u16, body: &[u8]) -> Vec<u8> {
        let length = u16::try_from(body.len()).unwrap();
        [kind.to_le_bytes().as_slice(), &length.to_le_bytes(), body].concat()
    }

    /// `sheet.py` beside the file gives it 11 rows of 7 columns, and a sheet of 1 row of 2.
    #[test]
    fn the_sheets_of_a_file_of_elsewhere_are_found() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/foreign/libreoffice/days-1900.xls");
        let bytes = std::fs::read(file).unwrap();
        let stream = Compound::new(&bytes).and_then(|compound| compound.workbook()).unwrap();
        assert_eq!(room_for(&stream).0, 11 * 7 + 2);
        assert!(look_over("a.xls", &bytes).is_ok());
    }

    #[test]
    fn a_text_that_cells_share_counts_in_each() {
        // [MS-XLS] 2.4.265: two texts, the first of five letters broken after two of one byte and
        // going on with two bytes a letter, the second of three with one run of formatting.
        let shared = [2_u32.to_le_bytes(), 2_u32.to_le_bytes()].concat();
        let first = [shared, vec![5, 0, 0, b'a', b'b']].concat();
        let second = [vec![1, b'c', 0, b'd', 0, b'e', 0], vec![3, 0, 8, 1, 0, b'x', b'y', b'z', 0, 0, 0, 0]].concat();
        let cell = |row: u16, index: u32| {
            let body = [row.to_le_bytes().as_slice(), &[0, 0, 0, 0], &index.to_le_bytes()].concat();
            record(SHARED_TEXT_CELL, &body)
        };
        let stream =
            [record(SHARED_TEXTS, &first), record(CONTINUE, &second), cell(0, 0), cell(1, 0), cell(2, 1)].concat();
        assert_eq!(text_of(&stream), 2 * (5 + 5 + 3));
    }

    #[test]
    fn sectors_in_a_circle_are_told() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/foreign/libreoffice/days-1900.xls");
        let mut bytes = std::fs::read(file).unwrap();
        // The first sector of the directory is made to follow itself ([MS-CFB] 2.3).
        let (table, directory) = (long(&bytes, 76).unwrap() as usize, long(&bytes, 48).unwrap());
        let at = 512 * (table + 1) + 4 * directory as usize;
        bytes[at..at + 4].copy_from_slice(&directory.to_le_bytes());
        assert_eq!(
            look_over("a.xls", &bytes).unwrap_err().to_string(),
            "a.xls: the workbook is damaged: parts of it follow each other in a circle."
        );
    }

    /// A stream whose head names sheets of these records.
    fn stream_of(sheets: &[Vec<u8>]) -> Vec<u8> {
        let head = |places: &[u32]| {
            let sheets = places.iter().flat_map(|place| record(SHEET, &[&place.to_le_bytes()[..], &[0; 4]].concat()));
            record(BEGIN, &[0; 16]).into_iter().chain(sheets).chain(record(END, &[])).collect::<Vec<u8>>()
        };
        let first = head(&vec![0; sheets.len()]).len();
        let places = (0..sheets.len()).map(|at| first + sheets[..at].iter().map(Vec::len).sum::<usize>());
        let places: Vec<u32> = places.map(|place| u32::try_from(place).unwrap()).collect();
        [head(&places), sheets.concat()].concat()
    }

    fn sheet(records: &[Vec<u8>]) -> Vec<u8> {
        [record(BEGIN, &[0; 16]), records.concat(), record(END, &[])].concat()
    }

    fn cell(row: u16, column: u16) -> Vec<u8> {
        [row.to_le_bytes(), column.to_le_bytes(), [0, 0]].concat()
    }

    #[test]
    fn each_sheet_takes_the_rectangle_around_its_cells() {
        let array = record(0x00bd, &[cell(2, 1), vec![6, 0]].concat());
        let chart = sheet(&[record(0x0203, &cell(900, 0))]);
        let two = [sheet(&[record(0x0203, &cell(9, 0)), chart, record(0x00fd, &cell(0, 4))]), sheet(&[array])];
        assert_eq!(room_for(&stream_of(&two)), (10 * 5 + 6, 0));
        // The text of a formula stands in the formula's cell, and in the first where there is none before it.
        let texts = [record(TEXT_OF_FORMULA, &[0; 4]), record(FORMULA, &cell(4, 4)), record(TEXT_OF_FORMULA, &[0; 4])];
        assert_eq!(room_for(&stream_of(&[sheet(&texts)])).0, 5 * 5);
        let claim = [0_u32.to_le_bytes().as_slice(), &u32::MAX.to_le_bytes(), &[0, 0, 0, 1, 0, 0]].concat();
        assert_eq!(room_for(&stream_of(&[sheet(&[record(DIMENSIONS, &claim)])])).1, u64::from(u32::MAX) * 256);
        let older = [[0, 0], [0xff, 0xff], [0, 0], [0xff, 0xff], [0, 0]].concat();
        assert_eq!(room_for(&stream_of(&[sheet(&[record(DIMENSIONS, &older)])])).1, 0xffff * 0xffff);
    }

    /// The head may name a place between two records: what calamine takes for cells there is what counts.
    #[test]
    fn a_sheet_is_looked_for_where_the_head_says() {
        let hidden = record(0x0203, &cell(65_535, 255));
        let mut stream = stream_of(&[sheet(&[record(0x1234, &hidden), record(0x0203, &cell(0, 0))])]);
        assert_eq!(room_for(&stream).0, 1);
        let at = stream.windows(hidden.len()).position(|found| found == hidden).unwrap();
        // Behind the first record and the head of the one that names the sheet.
        stream[20 + 4..20 + 8].copy_from_slice(&u32::try_from(at).unwrap().to_le_bytes());
        assert_eq!(room_for(&stream).0, 65_536 * 256);
    }

    /// calamine reads on with zeros in the place of sectors that the file lacks.
    #[test]
    fn sectors_that_are_missing_are_told() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/foreign/npm-xlsx/far-corner.xls");
        let bytes = std::fs::read(file).unwrap();
        let told = "a.xls: the workbook is truncated, damaged or not what its ending says.";
        // The small sectors end early; or one of them leads out of the file.
        let cut = bytes[..0xc70].to_vec();
        assert_eq!(look_over("a.xls", &cut).unwrap_err().to_string(), told);
        let mut led_out = bytes;
        // The stream begins with the second small sector; the table of what follows it is a sector itself.
        let follows = 512 * (long(&led_out, 60).unwrap() as usize + 1) + 4;
        led_out[follows..follows + 4].copy_from_slice(&0x00ff_ffff_u32.to_le_bytes());
        assert_eq!(look_over("a.xls", &led_out).unwrap_err().to_string(), told);
    }
}
