//! Delimited text: where rows end, where cells end, which sign parts them.

use memchr::{memchr, memchr2, memrchr, memrchr2};

use super::cell::{CellRef, Cells, Is, is_blank, is_plain};

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

/// The high bit of each of eight bytes that is a sign, and of no other.
const fn places(word: u64, sign: u8) -> u64 {
    const LOW: u64 = 0x7f7f_7f7f_7f7f_7f7f;
    let word = word ^ u64::from_le_bytes([sign; 8]);
    !((word & LOW).wrapping_add(LOW) | word | LOW)
}

/// The first of eight bytes whose high bit is set.
const fn byte_of(places: u64) -> usize {
    (places.trailing_zeros() / 8) as usize
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
    /// Whether something stands between a closing quote and the next separator.
    has_stray_text: bool,
}

impl RowSplit {
    fn clear(&mut self) {
        self.spans.clear();
        self.scratch.clear();
        self.has_stray_text = false;
    }

    fn push(&mut self, start: usize, end: usize) {
        self.spans.push(Span { start, end, in_scratch: false });
    }

    /// Keeps the first cells of a row without quotes.
    fn keep(&mut self, cells: usize) {
        self.spans.truncate(cells);
        self.has_stray_text = false;
    }

    /// Adds the cells from `cell` on up to the line feed that ends their row, none of them quoted;
    /// gives the place where the next row starts.
    fn push_to_end(&mut self, bytes: &[u8], mut cell: usize, delimiter: u8) -> usize {
        // Cells are so short that a search from each sign to the next costs more than looking at
        // eight bytes at a time.
        let (words, rest) = bytes.get(cell..).unwrap_or_default().as_chunks::<8>();
        let mut at = cell;
        for word in words {
            let word = u64::from_le_bytes(*word);
            let end = places(word, b'\n');
            // Those before the first line feed.
            let mut parts = places(word, delimiter) & (end & end.wrapping_neg()).wrapping_sub(1);
            while parts != 0 {
                let place = at + byte_of(parts);
                self.push(cell, place);
                cell = place + 1;
                parts &= parts - 1;
            }
            if end != 0 {
                return self.push_last(bytes, cell, at + byte_of(end));
            }
            at += 8;
        }
        for (place, byte) in (at..).zip(rest) {
            if *byte == b'\n' {
                return self.push_last(bytes, cell, place);
            }
            if *byte == delimiter {
                self.push(cell, place);
                cell = place + 1;
            }
        }
        self.push(cell, bytes.len());
        bytes.len()
    }

    /// Adds the last cell of a row, which a line feed at `end` ends.
    fn push_last(&mut self, bytes: &[u8], cell: usize, end: usize) -> usize {
        let is_crlf = end > cell && bytes.get(end - 1) == Some(&b'\r');
        self.push(cell, end - usize::from(is_crlf));
        end + 1
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
            self.has_stray_text |= !is_blank(tail);
            self.spans.push(Span { start: from, end: self.scratch.len(), in_scratch: true });
        }
        cell_end
    }

    pub(crate) const fn has_stray_text(&self) -> bool {
        self.has_stray_text
    }

    /// Whether its cells are what stands in the text from `start` on, one sign between two of them.
    pub(crate) fn is_as_it_stands(&self, mut start: usize) -> bool {
        self.spans.iter().all(|span| {
            let follows = !span.in_scratch && span.start == start;
            start = span.end + 1;
            follows
        })
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
    /// Whether its first cells, as many as [`each_row`] was told, are those of the row before, byte
    /// for byte, and hold something; where that is not known, `false`.
    pub repeats_head: bool,
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

    fn has_stray_text(&self) -> bool {
        self.split.has_stray_text()
    }

    fn repeats_head(&self) -> bool {
        self.repeats_head
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
///
/// * `head` – how many cells at the start of a row mostly repeat those of the row before: they are
///   then compared at once and not split again
pub(crate) fn each_row<E>(
    text: &str,
    split: &mut RowSplit,
    delimiter: u8,
    head: usize,
    mut see: impl FnMut(&TextRow, usize, usize) -> Result<(), E>,
) -> Result<(), RowsStop<E>> {
    let bytes = text.as_bytes();
    let is_plain = is_plain(text);
    let mut from = 0;
    let lone_cr = || memchr::memchr_iter(b'\r', bytes).any(|at| bytes.get(at + 1) != Some(&b'\n'));
    if memchr(b'"', bytes).is_some() || lone_cr() {
        while from < bytes.len() {
            let (end, next) = row_end(bytes, from, delimiter).ok_or(RowsStop::Quote)?;
            split.split(text, from, end, delimiter);
            see(&TextRow { split, text, is_plain, repeats_head: false }, from, next).map_err(RowsStop::Seen)?;
            from = next;
        }
        return Ok(());
    }
    // Rows without quotes, which end with LF or CRLF.
    let mut before: &[u8] = &[];
    while let Some(rest) = bytes.get(from..).filter(|rest| !rest.is_empty()) {
        let repeats_head = !before.is_empty() && rest.starts_with(before);
        split.keep(if repeats_head { head } else { 0 });
        let next = split.push_to_end(bytes, from + if repeats_head { before.len() } else { 0 }, delimiter);
        see(&TextRow { split, text, is_plain, repeats_head }, from, next).map_err(RowsStop::Seen)?;
        if !repeats_head {
            let after = split.spans.get(head).filter(|_| head > 0).map_or(from, |cell| cell.start);
            let cells = bytes.get(from..after).unwrap_or_default();
            let holds = |byte: &u8| byte.is_ascii_graphic() && *byte != delimiter;
            before = if cells.iter().any(holds) { cells } else { &[] };
        }
        from = next;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(text: &str, delimiter: u8) -> Vec<Vec<String>> {
        rows_with_head(text, delimiter, 0)
    }

    fn rows_with_head(text: &str, delimiter: u8, head: usize) -> Vec<Vec<String>> {
        let (mut split, mut rows) = (RowSplit::default(), Vec::new());
        let seen: Result<(), RowsStop<()>> = each_row(text, &mut split, delimiter, head, |row, _, _| {
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
        let bytes: Vec<u8> = (0..=255).filter(|byte| *byte != b'\n').chain([b',', b'-', b'\x0b', 0x80, b',']).collect();
        for from in 0..bytes.len() {
            let row = &bytes[from..];
            let mut split = RowSplit::default();
            let next = split.push_to_end(&[row, b"\n,x\n"].concat(), 0, b',');
            assert_eq!(next, row.len() + 1);
            let ends: Vec<usize> = split.spans.iter().map(|span| span.end).collect();
            let wanted: Vec<usize> = memchr::memchr_iter(b',', row).chain([row.len()]).collect();
            assert_eq!(ends, wanted);
        }
    }

    #[test]
    fn rows_that_repeat_a_head_are_split_as_if_they_did_not() {
        let text = "p,1,x,2\np,1,yy,3\r\np,1\np,1,\np,12,z\n,,a\n,,b\n\n\np,1,,,\np,1,last";
        let mut repeated = Vec::new();
        let seen: Result<(), RowsStop<()>> = each_row(text, &mut RowSplit::default(), b',', 2, |row, _, _| {
            repeated.push(row.repeats_head);
            Ok(())
        });
        assert!(seen.is_ok());
        let repeats = [1, 10];
        assert_eq!(repeated, (0..11).map(|row| repeats.contains(&row)).collect::<Vec<bool>>());
        assert_eq!(rows_with_head(text, b',', 2), rows(text, b','));
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
