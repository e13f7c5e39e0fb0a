//! The names that headers may have, and the header row that they lead to.

use std::sync::Arc;

use crate::physics::unit::{Dimension, Unit, UnitSystem, UnitUse};
use crate::tables::column::{Column, DefaultUnit, Holds, Table};
use crate::tables::policy::Policy;
use crate::tables::words::folded;

use super::bounds::at_most;
use super::cell::{Cells, shortened, trimmed};
use super::header::{
    Layout, LayoutColumn, dimension_of, is_other_size, is_other_unit, other_unit, unknown_unit, unsigned,
};
use super::header_text::{bracketed, fold};
use super::number::ColumnStyle;
use super::plant_words::PlantWords;

fn default_unit(column: &Column, system: UnitSystem) -> Option<&'static Unit> {
    let dimension = dimension_of(column)?;
    Some(match column.holds {
        Holds::Quantity(_, DefaultUnit::Seconds) => &crate::physics::unit::S,
        Holds::Quantity(_, DefaultUnit::LeakFlow) => Unit::default_for(dimension, system, UnitUse::Leak),
        Holds::Quantity(_, DefaultUnit::Fixed(symbol)) => Unit::find(symbol)?,
        _ => Unit::default_for(dimension, system, UnitUse::Usual),
    })
}

/// The names that the headers of one table may have.
pub(crate) struct Names {
    table: Table,
    by_folded: Vec<(String, &'static Column)>,
    system: UnitSystem,
    own: Arc<PlantWords>,
    most_columns: u64,
}

impl Names {
    pub(crate) fn new(table: Table, policy: &Policy) -> Self {
        let mut by_folded: Vec<(String, &'static Column)> =
            table.columns().iter().map(|column| (folded(column.name), column)).collect();
        // Those of the table come before those of every table.
        let of_table = policy.table_aliases.get(&table).into_iter().flatten();
        for (name, aliases) in of_table.chain(&policy.aliases) {
            if let Some(column) = table.column(name) {
                by_folded.extend(aliases.iter().map(|alias| (fold(alias), column)));
            }
        }
        Self {
            table,
            by_folded,
            system: policy.units,
            own: Arc::new(PlantWords::of(policy)),
            most_columns: policy.bounds.columns,
        }
    }

    fn column(&self, folded: &str) -> Option<&'static Column> {
        self.by_folded.iter().find(|(name, _)| name == folded).map(|(_, column)| *column)
    }

    /// The known column of a header's text, and the unit in its brackets.
    pub(crate) fn read<'a>(&self, text: &'a str) -> (Option<&'static Column>, Option<&'a str>) {
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

    /// The column of which a header states how far it is known, `leak ±`, and the unit in its brackets.
    fn read_spread<'a>(&self, text: &'a str) -> Option<(&'static Column, Option<&'a str>)> {
        let text = trimmed(text);
        // The sign stands behind the unit, or behind the name.
        let (name, unit) = match (unsigned(text), bracketed(text)) {
            (Some(named), _) => bracketed(named).map_or((named, None), |(name, unit)| (name, Some(unit))),
            (None, Some((name, unit))) => (unsigned(name)?, Some(unit)),
            (None, None) => return None,
        };
        let column = self.column(&fold(name)).filter(|column| column.may_state_spread())?;
        Some((column, unit.filter(|unit| *unit == PER_CENT || dimension_of(column).is_some())))
    }

    fn known_in(&self, row: &impl Cells) -> Vec<&'static str> {
        let mut names: Vec<&str> =
            (0..row.count()).filter_map(|index| self.read(row.cell(index).text).0).map(|column| column.name).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// Whether a row names columns of the table as a header does: two of them, a required one among them, or three.
    pub(crate) fn names_columns(&self, row: &impl Cells) -> bool {
        let names = self.known_in(row);
        names.len() > 2 || names.len() == 2 && self.required().any(|name| names.contains(&name))
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
            let is_better = best
                .as_ref()
                .is_none_or(|(_, others)| (has_all(&names), names.len()) > (has_all(others), others.len()));
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
        if let Some((index, names)) = self
            .best(rows)
            .filter(|(_, names)| names.len() >= 2 || required.len() == names.len() + 1 && required.len() > 1)
            && let Some(row) = rows.get(index)
        {
            let lacking: Vec<&str> = required.iter().copied().filter(|name| !names.contains(name)).collect();
            let (plural, verb) = if lacking.len() == 1 { ("column", "is") } else { ("columns", "are") };
            return format!(
                "{place}: the required {plural} {} {verb} missing. The header in row {} has {}. [columns.{}] of the policy takes other names of columns, and `clampbook headers` proposes them.",
                lacking.join(" and "),
                number(index),
                quoted(row),
                self.table
            );
        }
        let wanted = if required.is_empty() {
            let some: Vec<&str> = self.table.columns().iter().take(4).map(|column| column.name).collect();
            format!("at least two of its columns ({}, ...)", some.join(", "))
        } else {
            format!("{} {}", if required.len() == 1 { "the column" } else { "the columns" }, required.join(" and "))
        };
        let found = rows
            .first()
            .map_or_else(|| "It holds no rows".to_owned(), |row| format!("Row {} holds {}", number(0), quoted(row)));
        format!(
            "{place}: no header row was found, a row with {wanted}. {found}. [columns.{}] of the policy takes other names of columns, and `clampbook headers` proposes them.",
            self.table
        )
    }

    /// The layout that a header row makes.
    pub(crate) fn layout(&self, row: &impl Cells, place: &str, number: u32) -> Result<Layout, String> {
        let held: Vec<usize> = (0..row.count()).filter(|index| !row.cell(*index).is_blank()).collect();
        let end = held.last().map_or(0, |last| last + 1);
        at_most(place, "the header has", end as u64, self.most_columns, " columns", "columns")
            .map_err(|error| error.to_string())?;
        let first = if row.is_text() { 0 } else { held.first().copied().unwrap_or(0) };
        let mut layout = Layout {
            table: self.table,
            header_row: number,
            first,
            sheet_columns: Vec::new(),
            most_cells: row.count(),
            columns: Vec::new(),
            slots: vec![None; self.table.columns().len()],
            slot_of_part: None,
            spreads: Vec::new(),
            own: Arc::clone(&self.own),
            added: 0,
        };
        for index in first..end {
            self.add_column(&mut layout, row.cell(index).text, place, number)?;
        }
        layout.drop_spreads_of_nothing();
        layout.slot_of_part = layout.slot("part_no");
        if let Some(file) = own_output(|name| layout.columns.iter().any(|column| column.folded == name)) {
            return Err(format!(
                "{place}: by its header it is {file} that this program wrote, and no table of a plant; keep it outside the plant."
            ));
        }
        Ok(layout)
    }

    /// Adds a known column that the table lacks, behind those that it has.
    pub(crate) fn add_lacking(&self, layout: &mut Layout, name: &str) -> Result<(), String> {
        self.add_column(layout, name, "", 0)?;
        layout.added += 1;
        layout.most_cells = layout.most_cells.max(layout.first + layout.columns.len());
        Ok(())
    }

    /// Adds the column of the next header cell.
    fn add_column(&self, layout: &mut Layout, text: &str, place: &str, number: u32) -> Result<(), String> {
        let at = layout.columns.len();
        let letter = layout.letter(at);
        let spread = self.read_spread(text);
        let (known, unit_text) = spread.map_or_else(|| self.read(text), |(_, unit)| (None, unit));
        let spread = spread.map(|(column, _)| column);
        // No share of a temperature is an uncertainty of it.
        let may_be_share = |column: &Column| dimension_of(column) != Some(Dimension::Temperature);
        let is_share = unit_text == Some(PER_CENT) && spread.is_some_and(may_be_share);
        let unit = match (known.or(spread), unit_text) {
            (Some(column), Some(unit)) if !is_share => {
                let dimension = dimension_of(column).unwrap_or(Dimension::Length);
                let found = self.own.unit(unit, dimension);
                Some(found.ok_or_else(|| unknown_unit(place, number, &letter, text, unit, dimension))?)
            }
            (Some(column), None) => default_unit(column, self.system),
            (_, _) => None,
        };
        if let Some(column) = spread
            && let Some(earlier) = layout.spreads.iter().copied().find(|slot| layout.states_spread(*slot, column))
        {
            let name = format!("{} ±", column.name);
            return Err(duplicate(place, number, layout, earlier, text, &letter, Some(&name)));
        }
        if let Some(column) = known
            && let Some(slot) = self.table.columns().iter().position(|other| other.name == column.name)
            && let Some(place_of) = layout.slots.get_mut(slot)
            && let Some(earlier) = place_of.replace(at)
        {
            return Err(duplicate(place, number, layout, earlier, text, &letter, Some(column.name)));
        }
        let folded = fold(text);
        if !folded.is_empty()
            && let Some(earlier) = layout.columns.iter().position(|column| column.folded == folded)
        {
            return Err(duplicate(place, number, layout, earlier, text, &letter, None));
        }
        let per = known.filter(|column| column.holds == Holds::PerLength);
        let per = per.map(|_| Unit::default_for(Dimension::Length, self.system, UnitUse::Usual));
        // Who has an alias for the header with its bracket says what it means, but for what is another size to everybody.
        let is_alias = self.column(&folded).is_some();
        if let (Some(column), Some((_, unit))) = (known, bracketed(trimmed(text)))
            && (is_other_size(column, unit, per) || !is_alias && is_other_unit(column, unit, per, &self.own))
        {
            return Err(other_unit(place, number, &letter, text, unit, column));
        }
        let unit_is_given = unit_text.is_some();
        let text = trimmed(text).to_owned();
        layout.spreads.extend(spread.map(|_| at));
        layout.columns.push(LayoutColumn {
            text,
            folded,
            known,
            spread,
            is_share,
            unit,
            unit_is_given,
            usual: known.or(spread).and_then(|column| default_unit(column, self.system)),
            per,
            numbers: ColumnStyle::default(),
        });
        Ok(())
    }
}

/// The output of this program that a header is of: its columns, folded, and what it is called.
const OWN_OUTPUTS: [(&[&str], &str); 6] = [
    (&["verdict", "clampsweptcm3", "clampdemandcm3"], "a file of circuits"),
    (&["rule", "severity", "state", "measured", "limit", "reason"], "a file of findings"),
    (&["needed", "ordered", "orderqty", "extended"], "a file of purchases"),
    (&["rule", "severity", "findings", "pieces", "firstplace"], "a file of causes"),
    (&["change", "partfrom", "partto", "applied"], "a file of remedies"),
    (&["what", "partno", "position", "date", "days"], "a file of what is due"),
];

/// Whether a row is the header of a file that this program wrote.
pub(crate) fn is_own_output(row: &impl Cells) -> bool {
    let names: Vec<String> = (0..row.count()).map(|cell| fold(row.cell(cell).text)).collect();
    own_output(|column| names.iter().any(|name| name == column)).is_some()
}

/// The output that has all of its columns among those that there are.
fn own_output(has: impl Fn(&str) -> bool) -> Option<&'static str> {
    OWN_OUTPUTS.iter().find(|(columns, _)| columns.iter().all(|column| has(column))).map(|(_, called)| *called)
}

fn duplicate(
    place: &str,
    row: u32,
    layout: &Layout,
    earlier: usize,
    text: &str,
    letter: &str,
    name: Option<&str>,
) -> String {
    let first = layout.columns.get(earlier).map_or("", |column| column.text.as_str());
    let same = name.map_or_else(|| "the same column".to_owned(), |name| format!("the column {name}"));
    format!(
        "{place}, row {row}: two headers name {same}: '{}' in cell {}{row} and '{}' in cell {letter}{row}.",
        shortened(first),
        layout.letter(earlier),
        shortened(trimmed(text))
    )
}

/// The unit of an uncertainty that is a share of its figure.
const PER_CENT: &str = "%";

/// Rows and names of headers, for the tests of headers and layouts.
#[cfg(test)]
pub(crate) mod sample {
    use super::Names;
    use crate::read::cell::GridRow;
    use crate::tables::column::Table;
    use crate::tables::policy::Policy;

    pub(crate) fn row(texts: &[&str]) -> GridRow {
        GridRow::of_texts(1, texts.iter().copied())
    }

    pub(crate) fn names(table: Table) -> Names {
        let mut policy = Policy::at(chrono::NaiveDate::default());
        policy.aliases.insert("part_no".to_owned(), vec!["Item No".to_owned(), "Material".to_owned()]);
        Names::new(table, &policy)
    }
}

#[cfg(test)]
mod tests {
    use super::sample::{names, row};
    use super::*;

    #[test]
    fn headers_match_without_case_blanks_and_marks() {
        let row = row(&["ITEM-NO.", "Qty", "Length [m]", "Stroke used (in)", "note (internal)", "Colour", ""]);
        let layout = names(Table::Lists).layout(&row, "x", 1).unwrap();
        assert_eq!(layout.width(), 6);
        let known: Vec<Option<&str>> =
            layout.columns.iter().map(|column| column.known.map(|known| known.name)).collect();
        assert_eq!(known, [Some("part_no"), Some("qty"), Some("length"), Some("stroke_used"), Some("note"), None]);
        let units: Vec<Option<&str>> =
            layout.columns.iter().map(|column| column.unit.map(|unit| unit.symbol)).collect();
        assert_eq!(units, [None, None, Some("m"), Some("in"), None, None]);
    }

    #[test]
    fn a_header_with_a_sign_states_how_far_its_column_is_known() {
        let headers = [
            "part_no",
            "qty",
            "length [m]",
            "length ± [mm]",
            "set_pressure (bar) +/-",
            "note ±",
            "set_pressure",
            "stroke_used",
            "stroke_used [%] ±",
            "precharge ±",
        ];
        let layout = names(Table::Lists).layout(&row(&headers), "x", 1).unwrap();
        let spread = |at: usize| layout.columns.get(at).and_then(|column| column.spread).map(|column| column.name);
        assert_eq!((spread(2), spread(3), spread(4), spread(5)), (None, Some("length"), Some("set_pressure"), None));
        assert_eq!(layout.spreads, [3, 4, 8]);
        assert!(layout.columns[8].is_share && !layout.columns[4].is_share);
        // A table without the column has nothing that could be uncertain.
        assert_eq!(layout.unknown_slots(), [5, 9]);
        let unit = |at: usize| layout.columns.get(at).and_then(|column| column.unit).map(|unit| unit.symbol);
        assert_eq!((unit(3), unit(4)), (Some("mm"), Some("bar")));
    }

    /// 82 under `force_ratio [%]` is no 82, and 6 under `lead_time (weeks)` no 6 days.
    #[test]
    fn a_plain_number_takes_no_unit_of_another_size() {
        let read = |header: &str| names(Table::Components).layout(&row(&["part_no", "kind", header]), "x", 1);
        for header in [
            "force_ratio [%]",
            "lead_time (wks)",
            "Lead Time [h]",
            "service_life (years)",
            "pack_qty [dozen]",
            "unit_price (per 100)",
            "kv [gal/min]",
            "arm_factor [1/in]",
            "cycle_life (1000)",
            "accuracy [%]",
            "accuracy [% FS]",
            "pack_qty [pairs]",
            "lead_time [Wochen]",
            "lead_time [working days]",
            "service_life [Jahre]",
            "kv [Cv]",
            "kv [gpm]",
        ] {
            let sentence = read(header).unwrap_err();
            assert!(sentence.starts_with("x, cell C1 ('") && sentence.contains("plain number"), "{sentence}");
        }
        for header in [
            "force_ratio [-]",
            "lead_time (days)",
            "lead_time [d]",
            "kv [m³/h]",
            "arm_factor [1/mm]",
            "unit_price (EUR)",
            "pack_qty [pcs]",
            "pack_qty (Stk.)",
            "lead_time [Tage]",
            "accuracy [FS]",
            "cycle_life (cycles)",
        ] {
            assert!(read(header).is_ok(), "{header}: {:?}", read(header).err());
        }
    }

    /// 8 under `qty [pairs]` are 16. Whoever has the whole header as an alias says what it means.
    #[test]
    fn pieces_are_counted_in_no_other_word() {
        let mut policy = Policy::at(chrono::NaiveDate::default());
        let read = |policy: &Policy, header: &str| {
            Names::new(Table::Lists, policy).layout(&row(&["part_no", header]), "x", 1).map(|_| ())
        };
        for header in ["qty [pairs]", "qty (sets of 2)", "qty [x2]", "qty [per fixture]", "qty (packs)", "qty [%]"] {
            let sentence = read(&policy, header).unwrap_err();
            assert!(sentence.starts_with("x, cell B1 ('") && sentence.contains("plain number of pieces"), "{sentence}");
        }
        for header in
            ["qty [pcs]", "qty (Stück)", "qty [St.]", "qty (-)", "qty [ ]", "qty (total)", "qty (per circuit)", "qty"]
        {
            assert_eq!(read(&policy, header), Ok(()), "{header}");
        }
        policy.aliases.insert("qty".to_owned(), vec!["qty (net)".to_owned(), "qty [dozen]".to_owned()]);
        policy.unit_aliases.insert("kos".to_owned(), "each".to_owned());
        assert_eq!((read(&policy, "qty (net)"), read(&policy, "qty [kos]")), (Ok(()), Ok(())));
        assert!(read(&policy, "qty [dozen]").is_err());
    }

    /// The same in a row of units under the header.
    #[test]
    fn a_units_row_is_held_to_it_too() {
        let mut layout =
            names(Table::Components).layout(&row(&["part_no", "kind", "stroke", "force_ratio"]), "x", 1).unwrap();
        let sentence = layout.take_units(&row(&["", "", "mm", "%"]), "x", 2).unwrap_err();
        assert!(sentence.starts_with("x, cell D2 ('force_ratio')"), "{sentence}");
        assert_eq!(layout.take_units(&row(&["", "", "mm", "-"]), "x", 2), Ok(true));
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
            "lists/a.csv, cell C3 ('stroke_used [furlong]'): 'furlong' is no known unit of a length; known are mm, cm, m, in, ft. [values.unit] of the policy takes other names of them."
        );
    }
}
