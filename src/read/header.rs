//! The header of a table: where it stands, what its cells name, which rows around it are none of
//! the table's.

use crate::model::column::{Column, DefaultUnit, Holds, Table};
use crate::model::origin::{column_letter, HeaderCell};
use crate::model::policy::Policy;
use crate::model::words::folded;
use crate::physics::unit::{Dimension, Unit, UnitSystem, Usage};

use super::cell::{clean, shortened, trimmed, Cells, Is};
use super::number::{Numeral, Rule};

/// A column of a table as it stands in a file.
#[derive(Clone, Debug)]
pub(crate) struct LayoutColumn {
    /// The header's text as given.
    pub text: String,
    /// As headers are compared.
    pub folded: String,
    pub known: Option<&'static Column>,
    /// Of a quantity: the header's, the units row's or the policy's.
    pub unit: Option<&'static Unit>,
    /// Whether the file itself says so.
    pub unit_is_given: bool,
    /// How unclear numbers are read.
    pub rule: Rule,
}

impl LayoutColumn {
    /// Whether numbers stand in it, whose style says something.
    pub(crate) fn is_numeric(&self) -> bool {
        self.known.is_some_and(|column| {
            matches!(column.holds, Holds::Number | Holds::Quantity(..) | Holds::Temperature | Holds::Share | Holds::Money)
        })
    }

    fn dimension(&self) -> Option<Dimension> {
        self.known.and_then(dimension_of)
    }
}

/// What a column's cells measure.
pub(crate) const fn dimension_of(column: &Column) -> Option<Dimension> {
    match column.holds {
        Holds::Quantity(dimension, _) => Some(dimension),
        Holds::Temperature => Some(Dimension::Temperature),
        _ => None,
    }
}

fn default_unit(column: &Column, system: UnitSystem) -> Option<&'static Unit> {
    let dimension = dimension_of(column)?;
    Some(match column.holds {
        Holds::Quantity(_, DefaultUnit::Seconds) => &crate::physics::unit::S,
        Holds::Quantity(_, DefaultUnit::LeakFlow) => Unit::default_for(dimension, system, Usage::Leak),
        Holds::Quantity(_, DefaultUnit::Fixed(symbol)) => Unit::find(symbol)?,
        _ => Unit::default_for(dimension, system, Usage::Usual),
    })
}

/// The columns of a table in one file or sheet.
#[derive(Clone, Debug)]
pub(crate) struct Layout {
    pub table: Table,
    /// The sheet column that the table starts in.
    pub first: usize,
    /// From the first column to the last one with a header.
    pub columns: Vec<LayoutColumn>,
    /// Places of the known columns, in the order of the table's columns.
    slots: Vec<Option<usize>>,
}

impl Layout {
    pub(crate) const fn width(&self) -> usize {
        self.columns.len()
    }

    /// The place of a known column in `columns`.
    pub(crate) fn slot(&self, name: &str) -> Option<usize> {
        let index = self.table.columns().iter().position(|column| column.name == name)?;
        self.slots.get(index).copied().flatten()
    }

    pub(crate) fn has(&self, name: &str) -> bool {
        self.slot(name).is_some()
    }

    /// The letter of a place in `columns`.
    pub(crate) fn letter(&self, slot: usize) -> String {
        u32::try_from(self.first + slot).map(column_letter).unwrap_or_default()
    }

    pub(crate) fn header_cells(&self) -> Vec<HeaderCell> {
        let cell = |(slot, column): (usize, &LayoutColumn)| HeaderCell {
            index: u32::try_from(self.first + slot).unwrap_or(u32::MAX),
            text: column.text.clone(),
            column: column.known.map(|known| known.name),
        };
        self.columns.iter().enumerate().map(cell).collect()
    }

    /// Whether a row has as many cells as the header; empty ones past its end don't count.
    pub(crate) fn fits(&self, row: &impl Cells) -> bool {
        let end = self.first + self.width();
        if row.is_text() && row.count() < end {
            return false;
        }
        (end..row.count()).all(|index| row.cell(index).is_blank())
    }

    /// What the rows of the table hold, for a fault of a whole row.
    pub(crate) fn width_fault(&self, row: &impl Cells) -> String {
        let mut found = row.count();
        while found > self.first + self.width() && row.cell(found - 1).is_blank() {
            found -= 1;
        }
        format!("{} as in the header, found {}", cells(self.width()), found.saturating_sub(self.first))
    }

    pub(crate) fn is_blank_row(&self, row: &impl Cells) -> bool {
        (0..row.count()).all(|index| row.cell(index).is_blank())
    }

    /// Whether the last row of a table is no line but a total: without a part number, it holds the
    /// word total or nothing but numbers.
    pub(crate) fn is_total(&self, row: &impl Cells) -> bool {
        let Some(part) = self.slot("part_no") else { return false };
        let says_total = |text: &str| {
            text.split(|letter: char| !letter.is_alphanumeric())
                .any(|word| matches!(word.to_ascii_lowercase().as_str(), "total" | "totals" | "subtotal" | "subtotals"))
        };
        let part_no = row.cell(self.first + part);
        let named = || (0..row.count()).any(|index| says_total(row.cell(index).text));
        if !self.fits(row) {
            return (0..row.count()).map(|index| row.cell(index)).find(|cell| !cell.is_blank()).is_some_and(|cell| says_total(cell.text));
        }
        if !part_no.is_blank() {
            return matches!(folded(part_no.text).trim_end_matches(':'), "total" | "totals");
        }
        named() || self.holds_only_sums(row)
    }

    fn holds_only_sums(&self, row: &impl Cells) -> bool {
        let is_sum = |(slot, column): (usize, &LayoutColumn)| {
            let cell = row.cell(self.first + slot);
            cell.is_blank()
                || (column.is_numeric() || column.known.is_none())
                    && (matches!(cell.is, Is::Number(_)) || cell.is == Is::Text && Numeral::scan(cell.text).is_some())
        };
        self.columns.iter().enumerate().all(is_sum)
    }

    /// Takes the units of a units row, where the row under the header is one.
    pub(crate) fn take_units(&mut self, row: &impl Cells, place: &str, number: u32) -> Result<bool, String> {
        let text_of = |index: usize| {
            let text = trimmed(row.cell(index).text);
            text.strip_prefix(['[', '(']).and_then(|inner| inner.strip_suffix([']', ')'])).unwrap_or(text).to_owned()
        };
        let mut found = Vec::new();
        let mut unknown = None;
        for (slot, column) in self.columns.iter().enumerate() {
            let text = text_of(self.first + slot);
            if text.is_empty() || matches!(text.as_str(), "-" | "–" | "—" | "/") {
                continue;
            }
            let is_number = Numeral::scan(&text).is_some();
            let Some(dimension) = column.dimension() else {
                if column.is_numeric() && is_number {
                    return Ok(false);
                }
                continue;
            };
            match Unit::find(&text).filter(|unit| unit.dimension == dimension) {
                Some(unit) => found.push((slot, unit)),
                None if is_number => return Ok(false),
                None => unknown = Some((slot, text, dimension)),
            }
        }
        if found.is_empty() {
            return Ok(false);
        }
        if let Some((slot, text, dimension)) = unknown {
            let name = self.columns.get(slot).map_or("", |column| column.text.as_str());
            return Err(unknown_unit(place, number, &self.letter(slot), name, &text, dimension));
        }
        for (slot, unit) in found {
            let letter = self.letter(slot);
            let Some(column) = self.columns.get_mut(slot) else { continue };
            if column.unit_is_given && column.unit != Some(unit) {
                let given = column.unit.map_or("", |unit| unit.name);
                return Err(format!(
                    "{place}, cell {letter}{number}: the units row says {} where the header '{}' says {given}.",
                    unit.name, column.text
                ));
            }
            column.unit = Some(unit);
            column.unit_is_given = true;
        }
        Ok(true)
    }
}

fn cells(count: usize) -> String {
    if count == 1 { "1 cell".to_owned() } else { format!("{count} cells") }
}

fn unknown_unit(place: &str, row: u32, letter: &str, header: &str, unit: &str, dimension: Dimension) -> String {
    let known: Vec<&str> =
        crate::physics::unit::UNITS.iter().filter(|unit| unit.dimension == dimension).map(|unit| unit.symbol).collect();
    format!(
        "{place}, cell {letter}{row} ('{}'): '{}' is no known unit of a {}; known are {}.",
        shortened(header),
        shortened(unit),
        dimension.name(),
        known.join(", ")
    )
}

/// The names that the headers of one table may have.
pub(crate) struct Names {
    table: Table,
    by_folded: Vec<(String, &'static Column)>,
    system: UnitSystem,
}

impl Names {
    pub(crate) fn new(table: Table, policy: &Policy) -> Self {
        let mut by_folded: Vec<(String, &'static Column)> =
            table.columns().iter().map(|column| (folded(column.name), column)).collect();
        for (name, aliases) in &policy.aliases {
            if let Some(column) = table.column(name) {
                by_folded.extend(aliases.iter().map(|alias| (fold(alias), column)));
            }
        }
        Self { table, by_folded, system: policy.units }
    }

    fn column(&self, folded: &str) -> Option<&'static Column> {
        self.by_folded.iter().find(|(name, _)| name == folded).map(|(_, column)| *column)
    }

    /// The known column of a header's text, and the unit in its brackets.
    fn read<'a>(&self, text: &'a str) -> (Option<&'static Column>, Option<&'a str>) {
        let text = trimmed(text);
        let whole = self.column(&fold(text));
        let Some((name, unit)) = bracketed(text) else { return (whole, None) };
        let named = self.column(&fold(name));
        match (named, whole) {
            (Some(column), _) if dimension_of(column).is_some() => (named, Some(unit)),
            (_, Some(column)) => (whole, dimension_of(column).map(|_| unit)),
            _ => (named, None),
        }
    }

    fn known_in(&self, row: &impl Cells) -> Vec<&'static str> {
        let mut names: Vec<&str> =
            (0..row.count()).filter_map(|index| self.read(row.cell(index).text).0).map(|column| column.name).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    fn required(&self) -> impl Iterator<Item = &'static str> {
        self.table.columns().iter().filter(|column| column.required).map(|column| column.name)
    }

    /// The row that looks most like the header: its index and how many columns it names.
    fn best<R: Cells>(&self, rows: &[R]) -> Option<(usize, Vec<&'static str>)> {
        let mut best: Option<(usize, Vec<&'static str>)> = None;
        for (index, row) in rows.iter().enumerate() {
            let names = self.known_in(row);
            let has_all = |names: &[&str]| self.required().all(|name| names.contains(&name));
            let is_better = best.as_ref().is_none_or(|(_, others)| {
                (has_all(&names), names.len()) > (has_all(others), others.len())
            });
            if !names.is_empty() && is_better {
                best = Some((index, names));
            }
        }
        best
    }

    /// The row of the header, where one has every required column.
    pub(crate) fn find<R: Cells>(&self, rows: &[R]) -> Option<(usize, usize)> {
        let (index, names) = self.best(rows)?;
        let is_enough = names.len() >= self.least_columns();
        (is_enough && self.required().all(|name| names.contains(&name))).then_some((index, names.len()))
    }

    /// A table without required columns is known by two of its own.
    fn least_columns(&self) -> usize {
        if self.required().next().is_some() { 1 } else { 2 }
    }

    /// Why there is no header, with what was found instead.
    pub(crate) fn missing<R: Cells>(&self, place: &str, rows: &[R], number: impl Fn(usize) -> u32) -> String {
        let required: Vec<&str> = self.required().collect();
        let quoted = |row: &R| {
            let texts: Vec<String> = (0..row.count())
                .map(|index| trimmed(row.cell(index).text))
                .filter(|text| !text.is_empty())
                .take(12)
                .map(|text| format!("'{}'", text.chars().take(40).collect::<String>()))
                .collect();
            texts.join(", ")
        };
        if let Some((index, names)) = self.best(rows).filter(|(_, names)| names.len() >= 2 || required.len() == names.len() + 1 && required.len() > 1)
            && let Some(row) = rows.get(index)
        {
            let lacking: Vec<&str> = required.iter().copied().filter(|name| !names.contains(name)).collect();
            let plural = if lacking.len() == 1 { "column" } else { "columns" };
            return format!("{place}: the required {plural} {} is missing. The header in row {} has {}.", lacking.join(" and "), number(index), quoted(row))
                .replace("columns part_no and qty is", "columns part_no and qty are");
        }
        let wanted = if required.is_empty() {
            let some: Vec<&str> = self.table.columns().iter().take(4).map(|column| column.name).collect();
            format!("at least two of its columns ({}, ...)", some.join(", "))
        } else {
            format!("{} {}", if required.len() == 1 { "the column" } else { "the columns" }, required.join(", "))
        };
        let found = rows.first().map_or_else(|| "It holds no rows".to_owned(), |row| format!("Row {} holds {}", number(0), quoted(row)));
        format!("{place}: no header row was found, a row with {wanted}. {found}.")
    }

    /// The layout that a header row makes.
    pub(crate) fn layout(&self, row: &impl Cells, place: &str, number: u32) -> Result<Layout, String> {
        let held: Vec<usize> = (0..row.count()).filter(|index| !row.cell(*index).is_blank()).collect();
        let end = held.last().map_or(0, |last| last + 1);
        let first = if row.is_text() { 0 } else { held.first().copied().unwrap_or(0) };
        let mut layout = Layout { table: self.table, first, columns: Vec::new(), slots: vec![None; self.table.columns().len()] };
        for index in first..end {
            let text = row.cell(index).text;
            let (known, unit_text) = self.read(text);
            let letter = layout.letter(index - first);
            let unit = match (known, unit_text) {
                (Some(column), Some(unit)) => {
                    let dimension = dimension_of(column).unwrap_or(Dimension::Length);
                    let found = Unit::find(unit).filter(|unit| unit.dimension == dimension);
                    Some(found.ok_or_else(|| unknown_unit(place, number, &letter, text, unit, dimension))?)
                }
                (Some(column), None) => default_unit(column, self.system),
                (None, _) => None,
            };
            if let Some(column) = known
                && let Some(slot) = self.table.columns().iter().position(|other| other.name == column.name)
            {
                let place_of = layout.slots.get_mut(slot);
                if let Some(Some(earlier)) = place_of {
                    let earlier = *earlier;
                    return Err(duplicate(place, number, &layout, earlier, text, &letter, Some(column.name)));
                }
                if let Some(place_of) = place_of {
                    *place_of = Some(index - first);
                }
            }
            let folded = fold(text);
            if !folded.is_empty()
                && let Some(earlier) = layout.columns.iter().position(|column| column.folded == folded)
            {
                return Err(duplicate(place, number, &layout, earlier, text, &letter, None));
            }
            layout.columns.push(LayoutColumn {
                text: trimmed(text).to_owned(),
                folded,
                known,
                unit,
                unit_is_given: unit_text.is_some(),
                rule: Rule::default(),
            });
        }
        Ok(layout)
    }
}

fn duplicate(place: &str, row: u32, layout: &Layout, earlier: usize, text: &str, letter: &str, name: Option<&str>) -> String {
    let first = layout.columns.get(earlier).map_or("", |column| column.text.as_str());
    let same = name.map_or_else(|| "the same column".to_owned(), |name| format!("the column {name}"));
    format!(
        "{place}, row {row}: two headers name {same}: '{}' in cell {}{row} and '{}' in cell {letter}{row}.",
        shortened(first),
        layout.letter(earlier),
        shortened(trimmed(text))
    )
}

/// A header as headers are compared.
pub(crate) fn fold(text: &str) -> String {
    folded(&clean(text))
}

/// `stroke [mm]` is `stroke` and `mm`.
fn bracketed(text: &str) -> Option<(&str, &str)> {
    let (open, close) = if text.ends_with(']') { ('[', ']') } else { ('(', ')') };
    let inner = text.strip_suffix(close)?;
    let (name, unit) = inner.rsplit_once(open)?;
    Some((trimmed(name), trimmed(unit)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::read::cell::{GridRow, SheetCell};

    fn row(texts: &[&str]) -> GridRow {
        GridRow { number: 1, cells: texts.iter().map(|text| SheetCell::of_text(text)).collect(), of_text: true }
    }

    fn names(table: Table) -> Names {
        let mut policy = Policy::at(chrono::NaiveDate::default());
        policy.aliases.insert("part_no".to_owned(), vec!["Item No".to_owned(), "Material".to_owned()]);
        Names::new(table, &policy)
    }

    #[test]
    fn headers_match_without_case_blanks_and_marks() {
        let row = row(&["ITEM-NO.", "Qty", "Length [m]", "Stroke used (in)", "note (internal)", "Colour", ""]);
        let layout = names(Table::Lists).layout(&row, "x", 1).unwrap();
        assert_eq!(layout.width(), 6);
        let known: Vec<Option<&str>> = layout.columns.iter().map(|column| column.known.map(|known| known.name)).collect();
        assert_eq!(known, [Some("part_no"), Some("qty"), Some("length"), Some("stroke_used"), Some("note"), None]);
        let units: Vec<Option<&str>> = layout.columns.iter().map(|column| column.unit.map(|unit| unit.symbol)).collect();
        assert_eq!(units, [None, None, Some("m"), Some("in"), None, None]);
    }

    #[test]
    fn what_a_header_may_not_be_is_said() {
        let error = |texts: &[&str]| names(Table::Lists).layout(&row(texts), "lists/a.csv", 3).unwrap_err();
        assert_eq!(
            error(&["part_no", "qty", "Item no"]),
            "lists/a.csv, row 3: two headers name the column part_no: 'part_no' in cell A3 and 'Item no' in cell C3."
        );
        assert_eq!(
            error(&["part_no", "qty", "stroke_used [furlong]"]),
            "lists/a.csv, cell C3 ('stroke_used [furlong]'): 'furlong' is no known unit of a length; known are mm, cm, m, in, ft."
        );
    }

    #[test]
    fn a_units_row_gives_the_units() {
        let names = names(Table::Lists);
        let mut layout = names.layout(&row(&["part_no", "qty", "length", "set_pressure"]), "x", 1).unwrap();
        assert_eq!(layout.take_units(&row(&["", "", "3", "bar"]), "x", 2), Ok(false));
        assert_eq!(layout.take_units(&row(&["A1", "2", "", ""]), "x", 2), Ok(false));
        assert_eq!(layout.take_units(&row(&["", "pcs", "[m]", "psi"]), "x", 2), Ok(true));
        assert_eq!(layout.columns.get(2).and_then(|column| column.unit).map(|unit| unit.symbol), Some("m"));
    }

    #[test]
    fn totals_are_told_from_lines() {
        let layout = names(Table::Lists).layout(&row(&["fixture", "part_no", "qty", "note"]), "x", 1).unwrap();
        for (texts, is_total) in [
            (["", "", "48", ""], true), (["Total", "", "48", ""], true), (["", "Total:", "48", ""], true),
            (["F1", "", "4", ""], false), (["F1", "A", "4", "total"], false), (["", "", "4", "Grand total"], true),
            (["", "", "4", "spare"], false),
        ] {
            assert_eq!(layout.is_total(&row(&texts)), is_total, "{texts:?}");
        }
    }
}
