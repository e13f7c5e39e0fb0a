//! Delimited text: where rows end, where cells end, which sign parts them.

use memchr::{memchr, memchr2, memrchr, memrchr2};

use super::cell::{CellRef, Cells, Is, is_plain};

/// The signs that may part cells, the likeliest first.
pub(crate) const DELIMITERS: [u8; 4] = [b',', b';', b'\t', b'|'];

/// The name of a delimiter in a sentence.
pub(crate) const fn delimiter_name(delimiter: u8) -> &'static str {
    match delimiter {
        b';' => "semicolons",
        b'\t' => "tabs",
        b'|' => "vertical bars",
        _ => "commas",
    }
}

/// The row that starts at `from`: where its content ends and where the next one starts.
/// `None` where the bytes end within a quoted cell.
pub(crate) fn row_end(bytes: &[u8], from: usize, delimiter: u8) -> Option<(usize, usize)> {
    let rest = bytes.get(from..).unwrap_or_default();
    let line = memchr2(b'\n', b'\r', rest).unwrap_or(rest.len());
    if memchr(b'"', rest.get(..line).unwrap_or_default()).is_none() {
        return Some(after_line(bytes, from + line));
    }
    quoted_row_end(bytes, from, delimiter)
}

/// The end of a row at `end` and the start of the next: CR, LF and CRLF are one line break.
fn after_line(bytes: &[u8], end: usize) -> (usize, usize) {
    match (bytes.get(end), bytes.get(end + 1)) {
        (None, _) => (end, end),
        (Some(b'\r'), Some(b'\n')) => (end, end + 2),
        _ => (end, end + 1),
    }
}

fn quoted_row_end(bytes: &[u8], from: usize, delimiter: u8) -> Option<(usize, usize)> {
    let mut at = from;
    loop {
        if bytes.get(at) == Some(&b'"') {
            at = after_quotes(bytes, at + 1)?;
        }
        let rest = bytes.get(at..).unwrap_or_default();
        match memchr::memchr3(delimiter, b'\n', b'\r', rest) {
            Some(found) if bytes.get(at + found) == Some(&delimiter) => at += found + 1,
            Some(found) => return Some(after_line(bytes, at + found)),
            None => return Some((bytes.len(), bytes.len())),
        }
    }
}

/// The place after the quote that ends a quoted cell.
fn after_quotes(bytes: &[u8], mut at: usize) -> Option<usize> {
    loop {
        at += memchr(b'"', bytes.get(at..)?)? + 1;
        if bytes.get(at) != Some(&b'"') {
            return Some(at);
        }
        at += 1;
    }
}

/// How many of the bytes, which start at a row, are whole rows; more bytes follow them.
pub(crate) fn whole_rows(bytes: &[u8], delimiter: u8) -> usize {
    let mut done = 0;
    while let Some(quote) = memchr(b'"', bytes.get(done..).unwrap_or_default()) {
        let before = bytes.get(..done + quote).unwrap_or_default();
        let start = memrchr2(b'\n', b'\r', before).map_or(0, |at| at + 1).max(done);
        match quoted_row_end(bytes, start, delimiter) {
            // A CR at the very end may be half of a CRLF.
            Some((_, next)) if next < bytes.len() => done = next,
            _ => return start,
        }
    }
    let rest = bytes.get(done..).unwrap_or_default();
    if let Some(at) = memrchr(b'\n', rest) {
        return done + at + 1;
    }
    let most = rest.len().saturating_sub(1);
    memrchr(b'\r', rest.get(..most).unwrap_or_default()).map_or(done, |at| done + at + 1)
}

#[derive(Clone, Copy, Debug)]
struct Span {
    start: usize,
    end: usize,
    in_scratch: bool,
}

/// The cells of one row, with room that is used again for the next.
#[derive(Clone, Debug, Default)]
pub(crate) struct RowSplit {
    spans: Vec<Span>,
    scratch: String,
}

impl RowSplit {
    pub(crate) fn clear(&mut self) {
        self.spans.clear();
        self.scratch.clear();
    }

    pub(crate) fn push(&mut self, start: usize, end: usize) {
        self.spans.push(Span { start, end, in_scratch: false });
    }

    pub(crate) fn count(&self) -> usize {
        self.spans.len()
    }

    /// Splits `text[start..end]`, a row without its line break.
    pub(crate) fn split(&mut self, text: &str, start: usize, end: usize, delimiter: u8) {
        self.clear();
        let bytes = text.as_bytes().get(..end).unwrap_or_default();
        let is_quoted = memchr(b'"', bytes.get(start..).unwrap_or_default()).is_some();
        let mut at = start;
        loop {
            if is_quoted && bytes.get(at) == Some(&b'"') {
                at = self.push_quoted(text, bytes, at + 1, delimiter);
            } else {
                let cell_end = memchr(delimiter, bytes.get(at..).unwrap_or_default()).map_or(end, |found| at + found);
                self.push(at, cell_end);
                at = cell_end;
            }
            if at >= end {
                return;
            }
            at += 1;
        }
    }

    /// Takes a quoted cell, from after its first quote; gives the place of the delimiter after it.
    fn push_quoted(&mut self, text: &str, bytes: &[u8], start: usize, delimiter: u8) -> usize {
        let close = after_quotes(bytes, start).unwrap_or(bytes.len() + 1);
        let cell_end =
            memchr(delimiter, bytes.get(close..).unwrap_or_default()).map_or(bytes.len(), |found| close + found);
        let inner = text.get(start..close.saturating_sub(1).max(start)).unwrap_or_default();
        let tail = text.get(close..cell_end).unwrap_or_default();
        if tail.is_empty() && !inner.contains('"') {
            self.push(start, start + inner.len());
        } else {
            let from = self.scratch.len();
            let mut pieces = inner.split("\"\"");
            self.scratch.push_str(pieces.next().unwrap_or_default());
            for piece in pieces {
                self.scratch.push('"');
                self.scratch.push_str(piece);
            }
            self.scratch.push_str(tail);
            self.spans.push(Span { start: from, end: self.scratch.len(), in_scratch: true });
        }
        cell_end
    }

    /// The texts of all cells; `text` is what was split.
    pub(crate) fn all<'a>(&'a self, text: &'a str) -> impl Iterator<Item = &'a str> + Clone {
        (0..self.count()).map(|index| self.get(text, index))
    }

    /// The text of a cell; `text` is what was split.
    pub(crate) fn get<'a>(&'a self, text: &'a str, index: usize) -> &'a str {
        let Some(span) = self.spans.get(index) else { return "" };
        let text = if span.in_scratch { &self.scratch } else { text };
        text.get(span.start..span.end).unwrap_or_default()
    }
}

/// A split row with the text it was split from.
#[derive(Clone, Copy)]
pub(crate) struct TextRow<'a> {
    pub split: &'a RowSplit,
    pub text: &'a str,
    /// Whether the text is known to be ASCII without NUL.
    pub is_plain: bool,
}

/// Calls `see` for each delimiter and line feed in bytes, in order, with its place and whether it
/// is a line feed. Cells are so short that a search from each sign to the next costs more than
/// looking at eight bytes at a time.
fn each_sign<E>(bytes: &[u8], delimiter: u8, mut see: impl FnMut(usize, bool) -> Result<(), E>) -> Result<(), E> {
    const LOW: u64 = 0x7f7f_7f7f_7f7f_7f7f;
    let [parts, ends] = [delimiter, b'\n'].map(|sign| u64::from_le_bytes([sign; 8]));
    // The high bit of each byte that is 0, and of no other.
    let zeros = |word: u64| !(((word & LOW) + LOW) | word | LOW);
    let (words, rest) = bytes.as_chunks::<8>();
    let mut from = 0;
    for word in words {
        let word = u64::from_le_bytes(*word);
        let ends = zeros(word ^ ends);
        let mut found = zeros(word ^ parts) | ends;
        while found != 0 {
            let lowest = found & found.wrapping_neg();
            see(from + found.trailing_zeros() as usize / 8, ends & lowest != 0)?;
            found ^= lowest;
        }
        from += 8;
    }
    let mut found = rest.iter().enumerate().filter(|(_, byte)| **byte == delimiter || **byte == b'\n');
    found.try_for_each(|(at, byte)| see(from + at, *byte == b'\n'))
}

impl Cells for TextRow<'_> {
    fn count(&self) -> usize {
        self.split.count()
    }

    fn cell(&self, index: usize) -> CellRef<'_> {
        CellRef { text: self.split.get(self.text, index), is: Is::Text }
    }

    fn is_text(&self) -> bool {
        true
    }

    fn is_plain(&self) -> bool {
        self.is_plain
    }
}

/// Why the rows of a text can't all be seen.
#[derive(Debug)]
pub(crate) enum RowsStop<E> {
    /// A quoted cell does not end.
    Quote,
    Seen(E),
}

/// Calls `see` for every row of a text with the places where it and the next one start.
pub(crate) fn each_row<E>(
    text: &str,
    split: &mut RowSplit,
    delimiter: u8,
    mut see: impl FnMut(&TextRow, usize, usize) -> Result<(), E>,
) -> Result<(), RowsStop<E>> {
    let bytes = text.as_bytes();
    let is_plain = is_plain(text);
    let lone_cr = || memchr::memchr_iter(b'\r', bytes).any(|at| bytes.get(at + 1) != Some(&b'\n'));
    if memchr(b'"', bytes).is_some() || lone_cr() {
        let mut from = 0;
        while from < bytes.len() {
            let (end, next) = row_end(bytes, from, delimiter).ok_or(RowsStop::Quote)?;
            split.split(text, from, end, delimiter);
            see(&TextRow { split, text, is_plain }, from, next).map_err(RowsStop::Seen)?;
            from = next;
        }
        return Ok(());
    }
    // Rows without quotes, which end with LF or CRLF.
    let (mut row, mut cell) = (0, 0);
    split.clear();
    each_sign(bytes, delimiter, |at, is_end| {
        if !is_end {
            split.push(cell, at);
            cell = at + 1;
            return Ok(());
        }
        let end = if at > cell && bytes.get(at - 1) == Some(&b'\r') { at - 1 } else { at };
        split.push(cell, end);
        see(&TextRow { split, text, is_plain }, row, at + 1).map_err(RowsStop::Seen)?;
        split.clear();
        (row, cell) = (at + 1, at + 1);
        Ok(())
    })?;
    if row < bytes.len() {
        split.push(cell, bytes.len());
        see(&TextRow { split, text, is_plain }, row, bytes.len()).map_err(RowsStop::Seen)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str, delimiter: u8) -> Vec<Vec<String>> {
        let (mut split, mut rows) = (RowSplit::default(), Vec::new());
        let seen: Result<(), RowsStop<()>> = each_row(text, &mut split, delimiter, |row, _, _| {
            rows.push((0..row.count()).map(|index| row.cell(index).text.to_owned()).collect());
            Ok(())
        });
        assert!(seen.is_ok());
        rows
    }

    #[test]
    fn cells_split_as_the_csv_crate_splits_them() {
        for text in [
            "a,b,c\n1,2,3\n",
            "a,b\r\n1,\"x,y\"\r\n",
            "\"a\"\"b\",c\n",
            "\"two\nlines\",x\ny,z",
            "a,\"\",c\n",
            ",,\n",
            "x\n",
            "a,1/4\" tube,b\nc,d,e\n",
            "\"a\"tail,b\n",
            "\"a\"\"\",b",
            "ä,\"ö,ü\"\n",
            "a,b\rc,d\r",
            "\"q\",\"r\"\n",
        ] {
            let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
            let wanted: Vec<Vec<String>> =
                reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
            assert_eq!(rows(text, b','), wanted, "{text:?}");
        }
    }

    #[test]
    fn every_sign_is_found_wherever_it_stands() {
        let bytes: Vec<u8> = (0..=255).chain([b',', b'\n', b',', b'-', b'\x0b', b'\n', 0x80, b',']).collect();
        for from in 0..bytes.len() {
            let bytes = &bytes[from..];
            let mut found = Vec::new();
            let seen: Result<(), ()> = each_sign(bytes, b',', |at, is_end| {
                assert_eq!(is_end, bytes[at] == b'\n');
                found.push(at);
                Ok(())
            });
            assert!(seen.is_ok());
            assert_eq!(found, memchr::memchr2_iter(b',', b'\n', bytes).collect::<Vec<usize>>());
        }
    }

    #[test]
    fn only_whole_rows_are_taken() {
        for (text, wanted) in [
            ("a,b\nc", 4),
            ("a,b", 0),
            ("a\r", 0),
            ("a\rb", 2),
            ("a\r\n", 3),
            ("\"a\nb\",c\nd", 8),
            ("\"a\nb", 0),
            ("x\n\"a\nb", 2),
            ("x,1/4\" y\nz", 9),
            ("x\n\"a\"\n", 2),
            ("x\n\"a\"\ny", 6),
        ] {
            assert_eq!(whole_rows(text.as_bytes(), b','), wanted, "{text:?}");
        }
    }
}
