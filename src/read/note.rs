//! Notes on the input, as sentences.

use crate::tables::origin::{InputNote, NoteKind, Origin, Source};

/// A note on a whole row.
pub(crate) fn row_note(kind: NoteKind, origin: Origin, found: String, message: impl Into<String>) -> InputNote {
    InputNote { kind, origin, letter: String::new(), column: String::new(), found, message: message.into() }
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
    format!("{place}, {cell}: found '{}'. {}", note.found, note.message)
}
