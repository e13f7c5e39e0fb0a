//! Text files: their bytes, wherever they are kept, and how they are to be split.

use std::fs::{File, Metadata};
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::SystemTime;

use rayon::prelude::*;
use sha2::{Digest, Sha256};

use crate::tables::policy::Bounds;

use super::bounds::{at_most, file_size, grouped};
use super::cell::{Cells, GridRow, TextRowsMade, is_blank_row};
use super::delimited::{DELIMITERS, RowSplit, row_end, whole_rows};
use super::encoding::{BOM, Encoding, decoded};
use super::error::ReadError;
use super::names::Names;
use super::sheet::content_name;

/// Where the bytes of a text file are.
#[derive(Debug)]
pub(crate) enum Store {
    /// Decoded, or small.
    Memory(Arc<String>),
    /// UTF-8 on disk, kept open.
    Open(File),
    /// UTF-8 on disk, opened for each reading.
    Closed,
}

/// A text file.
#[derive(Debug)]
pub(crate) struct TextFile {
    /// Below the plant folder.
    pub name: String,
    pub path: PathBuf,
    pub store: Store,
    /// Length of the bytes in the store.
    pub length: u64,
    /// Where the text starts, after a byte order mark.
    pub start: u64,
    /// Of the whole file; known from the start for what is in memory.
    pub sha256: String,
    /// What a reader should know of its encoding.
    pub remarks: Vec<String>,
    /// When it was last written, as it was opened.
    modified: Option<SystemTime>,
}

/// Files up to here are kept in memory while there is room in [`Room`].
const SMALL: u64 = 1 << 20;
/// How much of a file is looked at to find its header.
const SAMPLE: usize = 256 << 10;
/// Files that are kept open at most.
const MOST_OPEN: u64 = 64;

/// What small files may take together, and how many large ones are open.
#[derive(Debug, Default)]
pub(crate) struct Room {
    bytes: AtomicU64,
    open: AtomicU64,
}

impl Room {
    const BYTES: u64 = 64 << 20;

    fn takes(&self, length: u64) -> bool {
        length <= SMALL && self.bytes.fetch_add(length, Ordering::Relaxed) + length <= Self::BYTES
    }

    fn opens(&self) -> bool {
        self.open.fetch_add(1, Ordering::Relaxed) < MOST_OPEN
    }
}

pub(crate) fn hexadecimal(hash: &[u8]) -> String {
    use std::fmt::Write as _;
    hash.iter().fold(String::with_capacity(64), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

pub(crate) fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// Opens what is a file; a pipe would keep the run waiting for ever.
fn regular_file(name: &str, path: &Path) -> Result<File, ReadError> {
    let io = |error: std::io::Error| ReadError::io(name, &error);
    let found = std::fs::metadata(path).map_err(io)?;
    if !found.is_file() && !found.is_dir() {
        return Err(ReadError::new(format!("{name}: this is a pipe, a device or a socket, and no file.")));
    }
    File::open(path).map_err(io)
}

/// The bytes of a whole file, if they are not more than so many MiB.
pub(crate) fn whole_file(name: &str, path: &Path, most_mib: u64, key: &str) -> Result<Vec<u8>, ReadError> {
    let io = |error: std::io::Error| ReadError::io(name, &error);
    let file = regular_file(name, path)?;
    let length = file.metadata().map_err(io)?.len();
    file_size(name, length, most_mib, key)?;
    // One byte more tells that the file has grown since.
    let mut bytes = Vec::with_capacity(usize::try_from(length + 1).unwrap_or_default());
    file.take((most_mib << 20) + 1).read_to_end(&mut bytes).map_err(io)?;
    file_size(name, bytes.len() as u64, most_mib, key)?;
    Ok(bytes)
}

impl TextFile {
    /// Opens a text file; `whole` keeps it in memory whatever its length.
    pub(crate) fn open(name: &str, path: &Path, bounds: &Bounds, room: &Room, whole: bool) -> Result<Self, ReadError> {
        let io = |error: std::io::Error| ReadError::io(name, &error);
        let mut file = regular_file(name, path)?;
        let metadata = file.metadata().map_err(io)?;
        let length = metadata.len();
        file_size(name, length, bounds.text_file_mib, "text_file_mib")?;
        let mut start = Vec::new();
        file.by_ref().take(4096).read_to_end(&mut start).map_err(io)?;
        refuse_other_kinds(name, path, &start)?;
        if whole || Encoding::of_start(&start).is_some() || room.takes(length) {
            return Self::in_memory(name, path, bounds);
        }
        Ok(Self {
            name: name.to_owned(),
            path: path.to_owned(),
            store: if room.opens() { Store::Open(file) } else { Store::Closed },
            length,
            start: if start.starts_with(BOM) { BOM.len() as u64 } else { 0 },
            sha256: String::new(),
            remarks: Vec::new(),
            modified: metadata.modified().ok(),
        })
    }

    /// Whether the file still is what was read from it: its length, its time and the hash of its
    /// bytes. What is in memory was read once.
    ///
    /// # Errors
    /// Where it is not, or can't be read any more.
    pub(crate) fn unchanged(&self, sha256: &str) -> Result<(), ReadError> {
        const PIECE: u64 = 1 << 20;
        if matches!(self.store, Store::Memory(_)) {
            return Ok(());
        }
        let metadata = self.metadata().map_err(|error| ReadError::io(&self.name, &error))?;
        let changed = || ReadError::new(format!("{}: the file changed while it was read.", self.name));
        if metadata.len() != self.length || metadata.modified().ok() != self.modified {
            return Err(changed());
        }
        let (mut hasher, mut buffer, mut from) = (Sha256::new(), Vec::new(), 0);
        while from < self.length {
            let length = PIECE.min(self.length - from);
            self.read(from, usize::try_from(length).unwrap_or(usize::MAX), &mut buffer)?;
            hasher.update(&buffer);
            from += length;
        }
        if hexadecimal(&hasher.finalize()) == sha256 { Ok(()) } else { Err(changed()) }
    }

    fn metadata(&self) -> std::io::Result<Metadata> {
        if let Store::Open(file) = &self.store { file.metadata() } else { std::fs::metadata(&self.path) }
    }

    /// Whether a file on disk has the length and the time that it had when it was opened.
    fn is_as_opened(&self) -> bool {
        let is_same = |now: Metadata| now.len() == self.length && now.modified().ok() == self.modified;
        self.metadata().is_ok_and(is_same)
    }

    /// Whether its bytes are in memory.
    pub(crate) const fn is_in_memory(&self) -> bool {
        matches!(self.store, Store::Memory(_))
    }

    /// Reads and decodes a whole file.
    pub(crate) fn in_memory(name: &str, path: &Path, bounds: &Bounds) -> Result<Self, ReadError> {
        let length = std::fs::metadata(path).map_err(|error| ReadError::io(name, &error))?.len();
        if length.div_ceil(1 << 20) > bounds.memory_mib {
            return Err(ReadError::new(format!(
                "{name}: the file has {} MiB and is read as a whole, for which [bounds] memory_mib of the policy allows {} MiB; save a list of that size as UTF-8.",
                grouped(length.div_ceil(1 << 20)),
                grouped(bounds.memory_mib)
            )));
        }
        let bytes = whole_file(name, path, bounds.memory_mib.min(bounds.text_file_mib), "memory_mib")?;
        let sha256 = sha256(&bytes);
        let encoding = Encoding::of_whole(&bytes);
        if encoding != Encoding::Utf8 && bytes.len() as u64 > bounds.memory_mib << 19 {
            return Err(ReadError::new(format!(
                "{name}: the file has {} MiB of {}, which take twice that while they are decoded, more than the {} MiB that [bounds] memory_mib of the policy allows; save it as UTF-8.",
                grouped((bytes.len() as u64).div_ceil(1 << 20)),
                encoding.name(),
                grouped(bounds.memory_mib)
            )));
        }
        let mut remarks = Vec::new();
        if encoding != Encoding::Utf8 {
            remarks.push(format!("Read as {}.", encoding.name()));
        }
        let mut text = decoded(bytes, encoding);
        if text.contains('\u{fffd}') {
            remarks.push("Some bytes can't be decoded; a sign stands in their place.".to_owned());
        }
        text.shrink_to_fit();
        Ok(Self {
            name: name.to_owned(),
            path: path.to_owned(),
            length: text.len() as u64,
            store: Store::Memory(Arc::new(text)),
            start: 0,
            sha256,
            remarks,
            modified: None,
        })
    }

    /// Fills `buffer` with a range of the bytes; what has gone since is an error.
    pub(crate) fn read(&self, from: u64, length: usize, buffer: &mut Vec<u8>) -> Result<(), ReadError> {
        // What it held is written over, not cleared first.
        buffer.resize(length, 0);
        self.read_over(from, buffer)
    }

    /// Writes the bytes from a place on over `buffer`; what has gone since is an error.
    pub(crate) fn read_over(&self, from: u64, buffer: &mut [u8]) -> Result<(), ReadError> {
        let shorter = || ReadError::new(format!("{}: the file became shorter while it was read.", self.name));
        if let Store::Memory(text) = &self.store {
            let start = usize::try_from(from).unwrap_or(usize::MAX);
            let range = text.as_bytes().get(start..start.saturating_add(buffer.len())).ok_or_else(shorter)?;
            buffer.copy_from_slice(range);
            return Ok(());
        }
        self.read_at(buffer, from).map_err(|error| match error.kind() {
            std::io::ErrorKind::UnexpectedEof => shorter(),
            _ => ReadError::io(&self.name, &error),
        })
    }

    #[cfg(unix)]
    fn read_at(&self, buffer: &mut [u8], from: u64) -> std::io::Result<()> {
        use std::os::unix::fs::FileExt;
        match &self.store {
            Store::Open(file) => file.read_exact_at(buffer, from),
            _ => File::open(&self.path)?.read_exact_at(buffer, from),
        }
    }

    #[cfg(not(unix))]
    fn read_at(&self, buffer: &mut [u8], from: u64) -> std::io::Result<()> {
        use std::io::{Seek, SeekFrom};
        let mut file = File::open(&self.path)?;
        file.seek(SeekFrom::Start(from))?;
        file.read_exact(buffer)
    }

    /// The text's first rows; a letter or row that is cut off at the end is left out.
    pub(crate) fn sample(&self) -> Result<String, ReadError> {
        let rest = usize::try_from(self.length - self.start).unwrap_or(usize::MAX);
        let mut bytes = Vec::new();
        self.read(self.start, rest.min(SAMPLE), &mut bytes)?;
        let text = match std::str::from_utf8(&bytes) {
            Ok(text) => text,
            Err(error) => {
                bytes.get(..error.valid_up_to()).and_then(|valid| std::str::from_utf8(valid).ok()).unwrap_or_default()
            }
        };
        if rest <= SAMPLE {
            return Ok(text.to_owned());
        }
        match text.rfind(['\n', '\r']) {
            Some(end) => Ok(text.get(..=end).unwrap_or_default().to_owned()),
            None => Err(ReadError::new(format!(
                "{}: its first row goes on for more than {} KiB, with at least {} cells, and is no header of a table.",
                self.name,
                SAMPLE >> 10,
                grouped(most_cells(text))
            ))),
        }
    }

    /// The whole text of a file that is in memory.
    pub(crate) fn text(&self) -> &str {
        if let Store::Memory(text) = &self.store { text } else { "" }
    }

    fn shared_text(&self) -> Arc<String> {
        if let Store::Memory(text) = &self.store { Arc::clone(text) } else { Arc::default() }
    }
}

/// Cells of a text by the separator that makes most of them.
fn most_cells(text: &str) -> u64 {
    let cells = |delimiter: &u8| memchr::memchr_iter(*delimiter, text.as_bytes()).count() as u64 + 1;
    DELIMITERS.iter().map(cells).max().unwrap_or(1)
}

fn refuse_other_kinds(name: &str, path: &Path, start: &[u8]) -> Result<(), ReadError> {
    let ending = path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default();
    let kind = content_name(start);
    let is_other = start.starts_with(b"PK\x03\x04")
        || start.starts_with(&[0xd0, 0xcf, 0x11, 0xe0])
        || start.starts_with(b"%PDF")
        || matches!(kind, "a web page" | "an XML document");
    if is_other {
        return Err(ReadError::new(format!(
            "{name}: by its content the file is {kind}, not what its ending .{ending} says."
        )));
    }
    Ok(())
}

/// A row of a sample, with the place where the next one starts.
struct SampleRow {
    row: GridRow,
    next: usize,
}

/// How a text table is split and where its header is.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Dialect {
    pub delimiter: u8,
    /// Where rows start, after a `sep=` line.
    pub first: usize,
    /// Rows before that.
    pub rows_before: u32,
}

impl Dialect {
    /// Whether cells are parted by semicolons, as where the comma stands before decimals.
    pub(crate) const fn has_semicolons(self) -> bool {
        self.delimiter == b';'
    }
}

/// `sep=;` as a file's first line.
pub(crate) fn separator_line(sample: &str) -> Option<Dialect> {
    let (end, next) = row_end(sample.as_bytes(), 0, 0)?;
    let line = sample.get(..end)?.trim().trim_matches('"');
    let sign = line.strip_prefix("sep=").or_else(|| line.strip_prefix("SEP=")).or_else(|| line.strip_prefix("Sep="))?;
    let delimiter = if sign.is_empty() && sample.starts_with("sep=\t") {
        b'\t'
    } else {
        *sign.as_bytes().first().filter(|_| sign.len() == 1)?
    };
    Some(Dialect { delimiter, first: next, rows_before: 1 })
}

/// Rows that are looked at for a header.
pub(crate) const HEADER_ROWS: usize = 64;

fn sample_rows(sample: &str, dialect: Dialect) -> Vec<SampleRow> {
    let (mut from, mut number) = (dialect.first, dialect.rows_before);
    let mut split = RowSplit::default();
    let mut rows = Vec::new();
    while from < sample.len() && rows.len() < HEADER_ROWS {
        let Some((end, next)) = row_end(sample.as_bytes(), from, dialect.delimiter) else { break };
        split.split(sample, from, end, dialect.delimiter);
        number += 1;
        let row = GridRow::of_texts(number, split.all(sample));
        if !is_blank_row(&row) {
            rows.push(SampleRow { row, next });
        }
        from = next;
    }
    rows
}

/// The head of a text table.
pub(crate) struct TextHead {
    pub dialect: Dialect,
    /// Rows above the header.
    pub titles: Vec<GridRow>,
    pub header: GridRow,
    /// Where the rows below the header start, after the byte order mark.
    pub body: usize,
    /// The row below the header, and where rows start after it.
    pub below: Option<(GridRow, usize)>,
}

impl TextHead {
    /// Finds delimiter and header: the split that makes most known headers.
    pub(crate) fn find(name: &str, sample: &str, names: &Names) -> Result<Self, ReadError> {
        let dialects: Vec<Dialect> = match separator_line(sample) {
            Some(dialect) => vec![dialect],
            None => {
                DELIMITERS.iter().map(|delimiter| Dialect { delimiter: *delimiter, first: 0, rows_before: 0 }).collect()
            }
        };
        let mut best: Option<(usize, Self)> = None;
        let mut widest: Vec<GridRow> = Vec::new();
        for dialect in dialects {
            let sampled = sample_rows(sample, dialect);
            let nexts: Vec<usize> = sampled.iter().map(|row| row.next).collect();
            let mut rows: Vec<GridRow> = sampled.into_iter().map(|row| row.row).collect();
            let Some((at, known)) = names.find(&rows) else {
                let width = |rows: &[GridRow]| rows.iter().map(Cells::count).max();
                if widest.is_empty() || width(&rows) > width(&widest) {
                    widest = rows;
                }
                continue;
            };
            if best.as_ref().is_none_or(|(most, _)| known > *most) {
                let below = rows.get(at + 1).cloned().zip(nexts.get(at + 1).copied());
                let body = nexts.get(at).copied().unwrap_or(sample.len());
                rows.truncate(at + 1);
                if let Some(header) = rows.pop() {
                    best = Some((known, Self { dialect, titles: rows, header, body, below }));
                }
            }
        }
        let number = |index: usize| widest.get(index).map_or(1, |row| row.number);
        best.map(|(_, head)| head).ok_or_else(|| ReadError::new(names.missing(name, &widest, number)))
    }
}

/// Where a row stands in a text.
#[derive(Clone, Copy)]
struct RowPlace {
    number: u32,
    from: usize,
    end: usize,
}

/// Rows whose cells a thread splits at a time.
const ROWS: usize = 4096;
/// Rows that are found before they are split.
const WAVE: usize = 32 * ROWS;

/// What a row of a table takes besides its cells, as it is read and as what is made of it.
pub(crate) const ROW_ROOM: u64 = 256;
/// The same of the circuits table, which has a row for each of very many circuits.
pub(crate) const CIRCUIT_ROOM: u64 = 96;

/// A file in memory that is parted into rows, and how.
struct Parted<'a> {
    file: &'a str,
    text: Arc<String>,
    delimiter: u8,
    bounds: &'a Bounds,
}

/// Every row of a file in memory that holds something, from a place on.
///
/// * `row_room` – what a row takes besides its cells
pub(crate) fn grid(
    file: &TextFile,
    dialect: Dialect,
    bounds: &Bounds,
    row_room: u64,
) -> Result<Vec<GridRow>, ReadError> {
    let mut all = Vec::new();
    each_wave(file, dialect, bounds, row_room, |mut rows| all.append(&mut rows))?;
    Ok(all)
}

/// Shows every such row, wave after wave, of which one is held at a time.
///
/// * `row_room` – what a row would take besides its cells, were all of them held
pub(crate) fn each_wave(
    file: &TextFile,
    dialect: Dialect,
    bounds: &Bounds,
    row_room: u64,
    mut take: impl FnMut(Vec<GridRow>),
) -> Result<(), ReadError> {
    RowWaves::of(file, dialect, bounds, row_room).each(&file.shared_text(), dialect.first, &mut take)
}

/// The same of a UTF-8 file on disk, of which a stretch is held at a time; the hash of its bytes. Nothing where that
/// does not do: what is amiss is for who reads the whole file to tell.
pub(crate) fn each_wave_on_disk(
    file: &TextFile,
    dialect: Dialect,
    bounds: &Bounds,
    row_room: u64,
    mut take: impl FnMut(Vec<GridRow>),
) -> Option<String> {
    /// Bytes that are read at a time; a row that is longer is looked at in the whole file.
    const STRETCH: usize = 4 << 20;
    let mut waves = RowWaves::of(file, dialect, bounds, row_room);
    let mut hasher = Sha256::new();
    let (mut at, mut rest) = (0, Vec::new());
    while at < file.length {
        let mut bytes = std::mem::take(&mut rest);
        let (held, left) = (bytes.len(), usize::try_from(file.length - at).unwrap_or(usize::MAX));
        bytes.resize(held + left.min(STRETCH), 0);
        let fresh = bytes.get_mut(held..)?;
        file.read_over(at, fresh).ok()?;
        hasher.update(&*fresh);
        let from = if at == 0 { usize::try_from(file.start).ok()? + dialect.first } else { 0 };
        at += fresh.len() as u64;
        if at < file.length {
            rest = bytes.split_off(whole_rows(&bytes, dialect.delimiter));
        }
        let text = String::from_utf8(bytes).ok().filter(|text| rest.len() <= STRETCH && !text.contains('\u{fffd}'))?;
        waves.each(&Arc::new(text), from, &mut take).ok()?;
    }
    file.is_as_opened().then(|| hexadecimal(&hasher.finalize()))
}

/// The rows of a text, wave after wave.
struct RowWaves<'a> {
    file: &'a str,
    delimiter: u8,
    bounds: &'a Bounds,
    row_room: u64,
    /// What all rows so far would take, and the text.
    room: u64,
    /// The row before.
    number: u32,
}

impl<'a> RowWaves<'a> {
    fn of(file: &'a TextFile, dialect: Dialect, bounds: &'a Bounds, row_room: u64) -> Self {
        let Dialect { delimiter, rows_before: number, .. } = dialect;
        Self { file: &file.name, delimiter, bounds, row_room, room: file.length - file.start, number }
    }

    /// Shows the rows of a text from a place on.
    fn each(
        &mut self,
        text: &Arc<String>,
        mut from: usize,
        take: &mut impl FnMut(Vec<GridRow>),
    ) -> Result<(), ReadError> {
        let Self { file, delimiter, bounds, row_room, .. } = *self;
        let parted = Parted { file, text: Arc::clone(text), delimiter, bounds };
        let mut places = Vec::new();
        let mut stop = Ok(());
        while from < text.len() && stop.is_ok() {
            self.number += 1;
            let number = self.number;
            let Some((end, next)) = row_end(text.as_bytes(), from, delimiter) else {
                let sentence = format!("{file}, row {number}: a quoted cell starts there and does not end.");
                stop = Err(ReadError::new(sentence));
                break;
            };
            if end > from {
                places.push(RowPlace { number, from, end });
                let row = text.as_bytes().get(from..end).unwrap_or_default();
                let cells = memchr::memchr_iter(delimiter, row).count() as u64 + 1;
                // A row with quotes is kept beside the text.
                let beside = if memchr::memchr(b'"', row).is_some() { row.len() as u64 } else { 0 };
                self.room += row_room + beside + cells * GridRow::room_of_cell(row);
            }
            if self.room > bounds.memory_mib << 20 {
                return Err(ReadError::new(format!(
                    "{file}: up to row {} the table takes the {} MiB of memory that [bounds] memory_mib of the policy allows for one.",
                    grouped(u64::from(number)),
                    grouped(bounds.memory_mib)
                )));
            }
            stop = at_most(file, "the file has at least", u64::from(number), bounds.rows, " rows", "rows");
            from = next;
            if places.len() == WAVE {
                take(parted.rows(&mut places)?);
            }
        }
        take(parted.rows(&mut places)?);
        stop
    }
}

impl Parted<'_> {
    /// Splits rows.
    fn rows(&self, places: &mut Vec<RowPlace>) -> Result<Vec<GridRow>, ReadError> {
        let mut rows = Vec::with_capacity(places.len());
        let split = |places: &[RowPlace]| {
            let base = places.first().map_or(0, |place| place.from);
            let (mut split, mut made) = (RowSplit::default(), TextRowsMade::of(Arc::clone(&self.text), base));
            places.iter().try_for_each(|place| self.add_row(&mut made, *place, &mut split))?;
            Ok(made.finish())
        };
        let parts: Vec<Result<Vec<GridRow>, ReadError>> = places.par_chunks(ROWS).map(split).collect();
        for part in parts {
            rows.append(&mut part?);
        }
        places.clear();
        Ok(rows)
    }

    fn add_row(&self, made: &mut TextRowsMade, place: RowPlace, split: &mut RowSplit) -> Result<(), ReadError> {
        let RowPlace { number, from, end } = place;
        let (text, bounds) = (self.text.as_str(), self.bounds);
        split.split(text, from, end, self.delimiter);
        let count = split.count() as u64;
        if count > bounds.columns || (end - from) as u64 > bounds.cell_chars {
            let place = format!("{}, row {number}", self.file);
            at_most(&place, "the row has", count, bounds.columns, " cells", "columns")?;
            let longest = split.all(text).map(|cell| cell.chars().count() as u64).max().unwrap_or_default();
            at_most(&place, "a cell has", longest, bounds.cell_chars, " characters", "cell_chars")?;
        }
        let as_it_stands = split.is_as_it_stands(from).then_some(from);
        made.add(number, as_it_stands, split.all(text), split.has_stray_text());
        Ok(())
    }
}
