//! Units that stand in the number formats of a sheet's cells: a cell that holds 12.5 and shows `12.5 kN` is read as the
//! text `12.5 kN` would be. What is no unit is passed over, and told where it could be one.

use std::collections::{BTreeMap, HashMap};

use crate::physics::unit::{Dimension, Unit};
use crate::tables::column::{Column, Holds, Table};
use crate::tables::origin::{InputNote, NoteKind, Origin, SHOWN_IN_FRONT};

use super::cell::{GridRow, Is, SheetCell, shortened};
use super::collector::number_text;
use super::header::{Layout, LayoutColumn, dimension_of, is_other_size, is_other_unit};
use super::note::row_note;
use super::number_format::{NumberFormat, ShownBeside};
use super::plant_words::PlantWords;

/// Units of measure that are not converted: a number beside one is not what the column holds, whatever its name.
const NOT_CONVERTED: [&str; 45] = [
    "dan", "kgf", "kp", "p", "mn", "dyn", "ozf", "tf", "tonf", "kip", "kips", "kg", "g", "t", "to", "lb", "lbs", "oz",
    "mbar", "hpa", "at", "atm", "torr", "mmhg", "inhg", "ksi", "psia", "psig", "bara", "barg", "kg/cm2", "kgf/cm2",
    "kp/cm2", "nm", "µm", "um", "dm", "yd", "mil", "cc", "ccm", "l/s", "gpm", "lpm", "ms",
];

/// What a text beside a number says of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Meaning {
    /// Nothing: a sign of money, a word for pieces, the unit that the header says.
    Nothing,
    /// No known unit, and perhaps one.
    Doubtful,
    /// This unit.
    Unit(String),
    /// What no number of the column can have, as the same text in the cell could not.
    Other(String),
}

/// The unit that a text is, of the quantity or of any other.
fn unit_named<'a>(text: &'a str, dimension: Dimension, own: &PlantWords) -> Option<(&'a str, bool)> {
    let inner = text.strip_prefix(['[', '(']).and_then(|inner| inner.strip_suffix([']', ')'])).unwrap_or(text).trim();
    let is_sign = matches!(inner, "\"" | "″" | "''" | "”" | "'" | "′" | "’");
    if is_sign {
        return Some((inner, dimension == Dimension::Length));
    }
    [inner, inner.trim_end_matches('.')].into_iter().find_map(|name| {
        let is_own = own.unit(name, dimension).is_some();
        (is_own || own.any_unit(name).is_some()).then_some((name, is_own))
    })
}

/// Whether a text has a unit in it that is not converted, or a known one beside other words.
fn has_unit_in_it(text: &str, dimension: Dimension, own: &PlantWords) -> bool {
    let words =
        text.split(|letter: char| letter.is_whitespace() || matches!(letter, '[' | ']' | '(' | ')' | ',' | ';'));
    words.map(|word| word.trim_end_matches('.')).filter(|word| !word.is_empty()).any(|word| {
        let plain = word.to_lowercase().replace('²', "2").replace('μ', "µ");
        NOT_CONVERTED.contains(&plain.as_str()) || unit_named(word, dimension, own).is_some()
    })
}

/// Whether a text beside a number could be a unit.
fn may_be_unit(text: &str, own: &PlantWords) -> bool {
    let is_count = matches!(text.to_lowercase().trim_end_matches('.'), "x" | "pc" | "ea") || own.counts_pieces(text);
    !is_count
        && text.chars().any(|letter| letter.is_alphabetic() || matches!(letter, '°' | '″' | '′' | '"' | '%' | '‰'))
}

/// What stands beside a number of a quantity.
pub(super) fn of_quantity(beside: &ShownBeside, dimension: Dimension, own: &PlantWords) -> Meaning {
    if beside.is_percent {
        return Meaning::Other(format!("% {}", beside.after).trim().to_owned());
    }
    let texts = [(&beside.after, true), (&beside.before, false)];
    for (text, is_behind) in texts.into_iter().filter(|(text, _)| !text.is_empty()) {
        match unit_named(text, dimension, own) {
            Some((unit, true)) => return Meaning::Unit(unit.to_owned()),
            Some((_, false)) => return Meaning::Other(text.clone()),
            None => {}
        }
        // In front stands what the number is called: `F = 12.5 kN`.
        if is_behind && has_unit_in_it(text, dimension, own) || text == "%" || text == "‰" {
            return Meaning::Other(text.clone());
        }
    }
    // The same text in the cell is no number of the column; in front may stand what it is called.
    if may_be_unit(&beside.after, own) {
        return Meaning::Other(beside.after.clone());
    }
    doubtful(beside, own)
}

fn doubtful(beside: &ShownBeside, own: &PlantWords) -> Meaning {
    let may_be = [&beside.after, &beside.before].into_iter().any(|text| may_be_unit(text, own));
    if may_be { Meaning::Doubtful } else { Meaning::Nothing }
}

/// What stands beside the numbers of a known column.
fn meaning_of(known: &Column, is_spread: bool, per: Option<&Unit>, beside: &ShownBeside, own: &PlantWords) -> Meaning {
    let (after, before) = (beside.after.as_str(), beside.before.as_str());
    if is_spread && (beside.is_percent || [after, before].contains(&"%")) {
        return Meaning::Unit("%".to_owned());
    }
    match (dimension_of(known), known.holds) {
        (Some(dimension), _) => of_quantity(beside, dimension, own),
        // What is stored is meant: 0.15 shown as 15 %, 1 200 000 as 1.2 M.
        (None, Holds::Money) if beside.thousands > 0 => Meaning::Nothing,
        (None, Holds::Number | Holds::Share | Holds::PerLength | Holds::Money) => {
            let is_other = may_be_unit(after, own) && is_other_unit(known, after, per, own);
            let is_other_before = !before.is_empty() && is_other_size(known, before, per);
            let other = if is_other || is_other_size(known, after, per) { Some(after) } else { None };
            match other.or_else(|| is_other_before.then_some(before)) {
                Some(text) => Meaning::Other(text.to_owned()),
                None if known.holds == Holds::Money || is_counted(known, &beside.after) => Meaning::Nothing,
                None => doubtful(beside, own),
            }
        }
        _ => Meaning::Nothing,
    }
}

fn is_counted(known: &Column, text: &str) -> bool {
    known.counted_in.iter().any(|own| own.eq_ignore_ascii_case(text))
}

fn meaning(column: &LayoutColumn, beside: &ShownBeside, own: &PlantWords) -> Meaning {
    let Some(known) = column.known.or(column.spread) else { return Meaning::Nothing };
    let found = meaning_of(known, column.spread.is_some(), column.per, beside, own);
    let dimension = dimension_of(known);
    let is_said = |unit: &str| {
        let unit = dimension.and_then(|dimension| own.unit(unit, dimension));
        unit.is_some() && unit == column.unit && beside.thousands == 0
    };
    match found {
        Meaning::Unit(unit) if column.unit_is_given && is_said(&unit) => Meaning::Nothing,
        other => other,
    }
}

/// A number with a unit that can be read in one way.
fn with_unit(number: f64, unit: &str) -> String {
    let text = number_text(number);
    let is_open = text.rsplit_once('.').is_some_and(|(_, decimals)| decimals.len() == 3);
    format!("{text}{} {unit}", if is_open { "0" } else { "" })
}

/// What is told of a column: the first row, what its cell shows, how many cells, and whether others show another text.
#[derive(Debug)]
struct Told {
    row: u32,
    found: String,
    text: String,
    cells: u64,
    others: bool,
}

/// Takes the units that the formats of a table's cells show, each into its cell as text; says of which columns.
pub(crate) fn take_shown_units(layout: &Layout, rows: &mut [GridRow], formats: &[NumberFormat]) -> Vec<InputNote> {
    // Units by their names, all texts that may be one together.
    let mut told: BTreeMap<(usize, Option<String>), Told> = BTreeMap::new();
    let mut parts: BTreeMap<usize, Told> = BTreeMap::new();
    let mut meanings: HashMap<(usize, u32, usize), Meaning> = HashMap::new();
    if formats.is_empty() {
        return Vec::new();
    }
    for row in rows {
        let number = row.number;
        let Some(cells) = row.on_sheet_mut() else { continue };
        for ((slot, column), cell) in layout.columns.iter().enumerate().zip(cells.iter_mut().skip(layout.first)) {
            let Is::Shown(value, format) = cell.is else { continue };
            cell.is = Is::Number(value);
            if column.known.is_some_and(|known| known.holds == Holds::PartNo) {
                let shown = formats.get(format as usize).and_then(|format| format.shown_whole(value));
                // In powers of ten a number may stand for many: of lists that is L05.
                let shown =
                    shown.filter(|(text, is_power)| *text != *cell.text && (!is_power || layout.table == Table::Lists));
                if let Some((shown, _)) = shown {
                    let first = Told {
                        row: number,
                        found: shown.clone(),
                        text: cell.text.to_string(),
                        cells: 0,
                        others: false,
                    };
                    parts.entry(slot).or_insert(first).cells += 1;
                    *cell = SheetCell { text: shown.as_str().into(), is: Is::Text };
                }
                continue;
            }
            let Some((section, beside)) = formats.get(format as usize).and_then(|format| format.beside(value)) else {
                continue;
            };
            let found = meanings.entry((slot, format, section)).or_insert_with(|| meaning(column, beside, &layout.own));
            let shown = match found {
                Meaning::Nothing => continue,
                Meaning::Doubtful => format!("{} {} {}", beside.before, cell.text, beside.after).trim().to_owned(),
                Meaning::Unit(unit) | Meaning::Other(unit) => {
                    let text = with_unit(beside.shown(value), unit);
                    *cell = SheetCell { text: text.as_str().into(), is: Is::Text };
                    text
                }
            };
            let (key, text) = match found {
                Meaning::Unit(unit) => ((slot, Some(unit.clone())), unit.clone()),
                Meaning::Doubtful => ((slot, None), format!("{} {}", beside.before, beside.after).trim().to_owned()),
                // Told with the cell, as the text is.
                _ => continue,
            };
            let first = Told { row: number, found: shown, text: text.clone(), cells: 0, others: false };
            let own = told.entry(key).or_insert(first);
            own.cells += 1;
            own.others |= own.text != text;
        }
    }
    let units = told.into_iter().map(|((slot, unit), told)| note(layout, slot, unit.is_some(), &told));
    parts.into_iter().map(|(slot, told)| part_note(layout, slot, &told)).chain(units).collect()
}

/// That part numbers were read as their cells show them.
fn part_note(layout: &Layout, slot: usize, told: &Told) -> InputNote {
    let others = match told.cells {
        1 => String::new(),
        2 => " So does 1 more cell of the column.".to_owned(),
        cells => format!(" So do {} more cells of the column.", cells - 1),
    };
    let message = format!(
        "The cell holds {} and shows it otherwise by its number format; the part number was read as it is shown.{others}",
        shortened(&told.text)
    );
    let name = layout.columns.get(slot).and_then(|column| column.known).map_or("", |known| known.name);
    InputNote {
        letter: layout.letter(slot),
        column: name.to_owned(),
        ..row_note(NoteKind::Repaired, Origin { source: 0, row: told.row }, shortened(&told.found), message)
    }
}

fn note(layout: &Layout, slot: usize, is_taken: bool, told: &Told) -> InputNote {
    let text = told.text.as_str();
    let column = layout.columns.get(slot);
    let (cells, numbers, were) = match told.cells {
        1 => ("the cell".to_owned(), "its number", "was"),
        many => (format!("{many} cells of the column"), "their numbers", "were"),
    };
    let (kind, message) = if is_taken {
        let unit = if text == "%" { "per cent" } else { text };
        (NoteKind::Repaired, format!("The number format of {cells} shows {unit}; {numbers} {were} read in it."))
    } else {
        let unit = column.and_then(|column| column.unit).map_or_else(String::new, |unit| format!(", in {}", unit.name));
        (
            NoteKind::Suspected,
            format!(
                "The number format of {cells} shows '{}'{}, which is no known unit; {numbers} {were} read as if nothing stood there{unit}. {SHOWN_IN_FRONT}",
                shortened(text),
                if told.others { " or another text" } else { "" }
            ),
        )
    };
    let name = column.and_then(|column| column.known.or(column.spread)).map_or("", |known| known.name);
    InputNote {
        letter: layout.letter(slot),
        column: name.to_owned(),
        ..row_note(kind, Origin { source: 0, row: told.row }, shortened(&told.found), message)
    }
}
