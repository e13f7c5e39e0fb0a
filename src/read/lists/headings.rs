//! Rows of a list with places and nothing else: headings, or lines whose cells stand under other columns.

use hashbrown::HashSet;

use crate::read::cell::clean;
use crate::read::header::{HEADING, Layout};
use crate::read::number::Numeral;
use crate::read::part_number::PartIndex;
use crate::tables::column::Table;
use crate::tables::origin::HEADING_WITH_NUMBER;
use crate::tables::words::{PLACE, folded};

use super::keys::{PART, SeenKeys};
use super::scan::NoLine;

/// What such a row is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Heading {
    /// A heading, and what is said of it.
    Heading(&'static str),
    /// A line, or the header of lines, that stands under columns of places.
    Line,
}

/// What the lines of a list say where such rows name a place.
pub(super) struct Headings {
    /// By column of the place, the names that lines have there.
    names: [HashSet<String>; 4],
}

/// Letters from which a word in a cell may be a part number; shorter ones are numbers of fixtures, too.
const SHORTEST_PART: usize = 4;

impl Headings {
    /// Of the lines of a list; nothing is made of it where it has no such rows.
    pub(super) fn of(seen: &SeenKeys, no_lines: &[NoLine]) -> Self {
        let mut names: [HashSet<String>; 4] = Default::default();
        if !no_lines.is_empty() {
            for key in seen.all() {
                for (names, number) in names.iter_mut().zip(key.0) {
                    let name = seen.names.name(number);
                    if !names.contains(name) {
                        names.insert(name.to_owned());
                    }
                }
            }
        }
        Self { names }
    }

    /// What a row is. One that names places as lines do is a heading, whatever they are called.
    pub(super) fn kind(&self, row: &NoLine, parts: &PartIndex) -> Heading {
        let cells = row.key.split(|byte| *byte == PART).map(String::from_utf8_lossy);
        let cells: Vec<String> = cells.take(PLACE.len()).map(|cell| clean(&cell).into_owned()).collect();
        let filled = cells.iter().filter(|cell| !cell.is_empty()).count();
        let is_foreign = |(cell, names): &(&String, &HashSet<String>)| !cell.is_empty() && !names.contains(*cell);
        let foreign: Vec<&String> = cells.iter().zip(&self.names).filter(is_foreign).map(|(cell, _)| cell).collect();
        let is_part = |text: &str| parts.get(text).is_some();
        let holds_part = |cell: &&String| {
            let mut words =
                cell.split(|letter: char| letter.is_whitespace() || matches!(letter, '(' | ')' | ',' | ';'));
            // A sentence in a cell of its own names parts as it likes; a line begins with its part.
            let looked_at = if filled > 1 { usize::MAX } else { 1 };
            is_part(cell) || words.by_ref().take(looked_at).filter(|word| word.len() >= SHORTEST_PART).any(is_part)
        };
        // Words for places alone are a heading: `Pallet P01 Fixture F1`.
        let names = |cell: &str, is_wanted: fn(&str) -> bool| {
            let mut columns = Table::Lists.columns().iter().filter(|column| is_wanted(column.name));
            columns.any(|column| folded(column.name) == folded(cell))
        };
        let is_header = |cell: &&String| names(cell, |_| true);
        let is_of_lines = |cell: &&String| names(cell, |name| !PLACE.contains(&name) && name != "position");
        let heads = foreign.iter().filter(|cell| is_header(cell)).count() > 1 && foreign.iter().any(is_of_lines);
        if foreign.iter().any(holds_part) || heads {
            return Heading::Line;
        }
        let is_number = |cell: &&String| Numeral::scan(cell).is_some_and(|numeral| numeral.rest.is_empty());
        Heading::Heading(if filled > 1 && foreign.iter().any(is_number) { HEADING_WITH_NUMBER } else { "" })
    }
}

/// What Input says of a heading.
pub(super) fn message(said: &str) -> String {
    if said.is_empty() { format!("{HEADING} It was read and not checked.") } else { said.to_owned() }
}

/// The two unknown columns that hold the part numbers and the numbers of lines: the header of the first.
pub(super) fn parts_under_unknown(layout: &Layout, first: &[Option<Box<str>>], parts: &PartIndex) -> Option<usize> {
    /// Columns behind a part number among which its quantity stands.
    const BEHIND: usize = 4;
    let slots = layout.unknown_slots();
    let is_number = |text: &Option<Box<str>>| {
        text.as_ref().and_then(|text| Numeral::scan(text)).is_some_and(|numeral| numeral.rest.is_empty())
    };
    let at = |index: &usize| {
        let part = first.get(*index).and_then(Option::as_deref).is_some_and(|text| parts.get(&clean(text)).is_some());
        part && first.iter().skip(index + 1).take(BEHIND).any(is_number)
    };
    (0..first.len()).find(at).and_then(|index| slots.get(index).copied())
}
