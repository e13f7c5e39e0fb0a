//! What stands on Input, each cause once: 37 rows with the same fault in a column are one line.

use std::collections::BTreeMap;

use crate::read::rows_in_words;
use crate::tables::origin::{InputNote, NoteKind, SourceId};

/// Notes of one kind on one column of a file or sheet, for the same reason.
#[derive(Clone, Debug, PartialEq)]
pub struct InputCause {
    /// The first of them; its message names the rows where there are more.
    pub note: InputNote,
    /// How many cells or rows they are.
    pub cells: u64,
}

/// What tells one cause from another.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct CauseKey<'a> {
    kind: NoteKind,
    source: SourceId,
    letter: &'a str,
    column: &'a str,
    message: &'a str,
    /// Empty where the cell's text is no part of the cause.
    found: &'a str,
}

impl<'a> CauseKey<'a> {
    fn of(note: &'a InputNote) -> Self {
        // A word or a unit needs an entry of its own; dates and numbers of one column have one remedy.
        let names_its_text = note.message.contains("[values.") || note.kind != NoteKind::SetAside;
        Self {
            kind: note.kind,
            source: note.origin.source,
            letter: &note.letter,
            column: &note.column,
            message: &note.message,
            found: if names_its_text { &note.found } else { "" },
        }
    }
}

/// Rows and texts that are told one by one.
const TOLD: usize = 3;

/// Every note once for its cause, in the order of the first ones.
#[must_use]
pub fn input_causes(notes: &[InputNote]) -> Vec<InputCause> {
    let mut of_cause: BTreeMap<CauseKey, usize> = BTreeMap::new();
    let mut groups: Vec<Vec<&InputNote>> = Vec::new();
    for note in notes {
        let index = *of_cause.entry(CauseKey::of(note)).or_insert(groups.len());
        match groups.get_mut(index) {
            Some(group) => group.push(note),
            None => groups.push(vec![note]),
        }
    }
    groups.iter().filter_map(|group| joined(group)).collect()
}

fn joined(group: &[&InputNote]) -> Option<InputCause> {
    let first = *group.first()?;
    let mut note = first.clone();
    if group.len() > 1 {
        let mut rows: Vec<u32> = group.iter().map(|note| note.origin.row).collect();
        rows.sort_unstable();
        let told = if note.kind == NoteKind::SetAside && rows.len() > TOLD {
            let first: Vec<String> = rows.iter().take(TOLD).map(u32::to_string).collect();
            format!("rows {} and {} more", first.join(", "), rows.len() - TOLD)
        } else {
            rows_in_words(&rows)
        };
        note.message = format!("{} The same in {} cells or rows: {told}.", note.message, rows.len());
        let mut texts: Vec<&str> = Vec::new();
        for text in group.iter().map(|note| note.found.as_str()) {
            if !texts.contains(&text) && texts.len() <= TOLD {
                texts.push(text);
            }
        }
        let more = if texts.len() > TOLD { " | …" } else { "" };
        note.found = format!("{}{more}", texts.get(..TOLD.min(texts.len())).unwrap_or_default().join(" | "));
    }
    Some(InputCause { note, cells: group.len() as u64 })
}

/// The causes that matter most: lines that do not count, then what looks wrong; the most cells first.
#[must_use]
pub fn gravest(causes: &[InputCause]) -> Vec<&InputCause> {
    let rank = |cause: &&InputCause| match cause.note.kind {
        NoteKind::SetAside => 0,
        NoteKind::Suspected => 1,
        NoteKind::Repaired | NoteKind::Skipped => 2,
    };
    let mut all: Vec<&InputCause> = causes.iter().filter(|cause| rank(cause) < 2).collect();
    all.sort_by_key(|cause| (rank(cause), std::cmp::Reverse(cause.cells)));
    all
}

/// The key of the policy that a message names as its remedy.
#[must_use]
pub fn policy_key(message: &str) -> Option<&str> {
    let before = message.split(" of the policy").next().filter(|before| before.len() < message.len())?;
    before.rfind('[').and_then(|from| before.get(from..))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::origin::Origin;

    fn note(row: u32, found: &str, message: &str) -> InputNote {
        InputNote {
            kind: NoteKind::SetAside,
            origin: Origin { source: 1, row },
            letter: "E".to_owned(),
            column: "charging".to_owned(),
            found: found.to_owned(),
            message: message.to_owned(),
        }
    }

    #[test]
    fn a_cause_stands_once_with_its_count_and_first_rows() {
        let word = "Expected 'cylinder'; [values.charging] of the policy takes other words for them.";
        let mut notes: Vec<InputNote> = (2..39).map(|row| note(row, "Zylinder", word)).collect();
        notes.push(note(39, "Kuppler", word));
        let date = "Expected a date; [reading] dates = \"dmy\" of the policy says how such dates are read.";
        notes.extend((40..42).map(|row| note(row, &format!("1.{row}.2027"), date)));
        let causes = input_causes(&notes);
        assert_eq!(causes.iter().map(|cause| cause.cells).collect::<Vec<_>>(), [37, 1, 2]);
        assert!(causes[0].note.message.ends_with("The same in 37 cells or rows: rows 2, 3, 4 and 34 more."));
        assert_eq!(causes[2].note.found, "1.40.2027 | 1.41.2027");
        assert_eq!(policy_key(word), Some("[values.charging]"));
        assert_eq!(policy_key(date), Some("[reading] dates = \"dmy\""));
        assert_eq!(policy_key("Expected a number."), None);
    }

    #[test]
    fn what_was_repaired_names_every_row() {
        let mut notes =
            vec![note(3, "A", "Read."), note(4, "A", "Read."), note(5, "A", "Read."), note(9, "A", "Read.")];
        notes.iter_mut().for_each(|note| note.kind = NoteKind::Repaired);
        assert!(input_causes(&notes)[0].note.message.ends_with("rows 3 to 5 and 9."), "{notes:?}");
    }
}
