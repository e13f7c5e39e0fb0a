//! Notes on the input, as sentences.

use crate::tables::escaped::escaped;
use crate::tables::origin::{InputNote, NoteKind, Origin, Source};

/// A note on a whole row.
pub(crate) fn row_note(kind: NoteKind, origin: Origin, found: String, message: impl Into<String>) -> InputNote {
    InputNote { kind, origin, letter: String::new(), column: String::new(), found, message: message.into() }
}

/// Rows in their order as a text: `rows 3 to 7, 9 and 12`.
#[must_use]
pub fn rows_in_words(rows: &[u32]) -> String {
    let mut ranges: Vec<(u32, u32)> = Vec::new();
    for row in rows {
        match ranges.last_mut() {
            Some((_, last)) if *row == last.saturating_add(1) || *row == *last => *last = *row,
            _ => ranges.push((*row, *row)),
        }
    }
    let one = |(first, last): &(u32, u32)| match last - first {
        0 => first.to_string(),
        1 => format!("{first}, {last}"),
        _ => format!("{first} to {last}"),
    };
    let texts: Vec<String> = ranges.iter().map(one).collect();
    let word = if rows.len() == 1 { "row" } else { "rows" };
    format!("{word} {}", listed(&texts))
}

/// `a`, `a and b`, `a, b and c`.
fn listed(texts: &[String]) -> String {
    match texts.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, earlier)) => format!("{} and {last}", earlier.join(", ")),
        None => String::new(),
    }
}

/// A note in one sentence after another: where, what was found, what was expected, what was done.
#[must_use]
pub fn sentence(note: &InputNote, sources: &[Source]) -> String {
    let place = sources.get(note.origin.source as usize).map(Source::place).unwrap_or_default();
    let row = note.origin.row;
    let cell = match (note.letter.is_empty(), note.column.is_empty()) {
        (false, false) => format!("cell {}{row} ({})", note.letter, note.column),
        (false, true) => format!("cell {}{row}", note.letter),
        (true, false) => format!("row {row} ({})", note.column),
        (true, true) => format!("row {row}"),
    };
    escaped(&format!("{place}, {cell}: found '{}'. {}", note.found, note.message)).into_owned()
}

/// What a second row of the same key has, for a sentence.
///
/// * `differing` – names of the columns in which it differs from the first
pub(super) fn repeated_with(differing: &[&str]) -> String {
    if differing.is_empty() { "the same data".to_owned() } else { format!("another {}", differing.join(", ")) }
}
