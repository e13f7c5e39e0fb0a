//! Remedies as changes of rows: cells with another content, and further rows.

use std::collections::{BTreeMap, BTreeSet};

use crate::read::as_given::{GivenRow, GivenTable, unit_in};
use crate::read::{Lists, ReadError};
use crate::remedy::edit::{Edit, EditGroup};
use crate::remedy::remedy_row::RemedyRow;
use crate::tables::line::{Line, PartRef};
use crate::tables::origin::{Origin, SourceId};
use crate::tables::plant::Plant;
use crate::tables::policy::Policy;
use crate::tables::words::{PLACE, Side};

/// What a cell is to hold.
#[derive(Clone, Debug, PartialEq)]
enum Content {
    Text(String),
    /// A quantity in SI, written in the column's unit.
    Quantity(f64),
}

type Cells = Vec<(&'static str, Content)>;

/// A further row: another one's cells, changed.
#[derive(Clone, Debug)]
struct Further {
    like: u32,
    /// Whether only the place is taken over.
    only_place: bool,
    cells: Cells,
}

/// Everything that the remedies change, by source.
#[derive(Clone, Debug, Default)]
pub struct Rewriting {
    changed: BTreeMap<Origin, Cells>,
    further: BTreeMap<SourceId, Vec<Further>>,
}

impl Rewriting {
    /// What the remedies given change.
    ///
    /// # Errors
    /// Where a list can't be read any more.
    pub fn of<'a>(plant: &Plant, lists: &Lists, rows: impl Iterator<Item = &'a RemedyRow>) -> Result<Self, ReadError> {
        let mut all = Self::default();
        let mut successions: BTreeMap<u32, u32> = BTreeMap::new();
        for row in rows {
            match &row.edit {
                Some(Edit::Succession { from, to }) => {
                    successions.insert(*from, *to);
                }
                Some(Edit::Split { cylinder, groups }) => all.split(plant, lists, row, *cylinder, groups)?,
                Some(edit) => all.add(plant, edit),
                None => {}
            }
        }
        all.succeed(plant, lists, &successions)?;
        Ok(all)
    }

    /// Sources of which rows change or come.
    #[must_use]
    pub fn sources(&self) -> BTreeSet<SourceId> {
        self.changed.keys().map(|origin| origin.source).chain(self.further.keys().copied()).collect()
    }

    fn change(&mut self, at: Origin, column: &'static str, content: Content) {
        self.changed.entry(at).or_default().push((column, content));
    }

    fn add(&mut self, plant: &Plant, edit: &Edit) {
        match edit {
            Edit::Part { line, to, .. } => self.change(*line, "part_no", part(plant, *to)),
            Edit::Setting { line, column, to, .. } => self.change(*line, column, Content::Quantity(to.si())),
            Edit::Addition { beside, part: added, side, setting } => {
                let mut cells = vec![("part_no", part(plant, *added)), ("qty", Content::Text("1".to_owned()))];
                if *side != Side::Clamp {
                    cells.push(("side", Content::Text(side.word().to_owned())));
                }
                cells.extend(setting.map(|(column, to)| (column, Content::Quantity(to.si()))));
                let further = Further { like: beside.row, only_place: true, cells };
                self.further.entry(beside.source).or_default().push(further);
            }
            Edit::StationSetting { station, to } => {
                self.change(plant.stations[*station].origin, "pump_setting", Content::Quantity(to.si()));
            }
            Edit::StationPart { station, column, to, .. } => {
                self.change(plant.stations[*station].origin, column, part(plant, *to));
            }
            Edit::Succession { .. } | Edit::Split { .. } => {}
        }
    }

    /// Other parts on every line and station that has them.
    fn succeed(&mut self, plant: &Plant, lists: &Lists, parts: &BTreeMap<u32, u32>) -> Result<(), ReadError> {
        if parts.is_empty() {
            return Ok(());
        }
        for index in 0..lists.circuits().len() {
            for line in lists.lines(index)?.lines {
                if let PartRef::Known(from) = line.part
                    && let Some(to) = parts.get(&from)
                {
                    self.change(line.origin, "part_no", part(plant, *to));
                }
            }
        }
        for station in &plant.stations {
            for (column, known) in [("pump", &station.pump), ("drive_ram", &station.drive_ram)] {
                if let Some(to) = known.index().and_then(|from| parts.get(&from)) {
                    self.change(station.origin, column, part(plant, *to));
                }
            }
        }
        Ok(())
    }

    /// A circuit's lines and its row of the circuits table, once for each group.
    fn split(
        &mut self,
        plant: &Plant,
        lists: &Lists,
        row: &RemedyRow,
        cylinder: Origin,
        groups: &[EditGroup],
    ) -> Result<(), ReadError> {
        let lines = lists.find(&row.place).map(|index| lists.lines(index)).transpose()?.unwrap_or_default().lines;
        for line in &lines {
            if let Some(own) = groups.iter().find(|group| group.lines.contains(&line.origin)) {
                self.change(line.origin, "circuit", Content::Text(own.name.clone()));
                continue;
            }
            for (number, group) in groups.iter().enumerate() {
                self.once_more(line.origin, number, shared(plant, line, group, line.origin == cylinder));
            }
        }
        if let Some(service) = plant.service(&row.place) {
            for (number, group) in groups.iter().enumerate() {
                let cells = vec![("circuit", Content::Text(group.name.clone()))];
                self.once_more(service.origin, number, cells);
            }
        }
        Ok(())
    }

    /// A row changed for the first group, repeated for the others.
    fn once_more(&mut self, at: Origin, number: usize, cells: Cells) {
        if number == 0 {
            self.changed.entry(at).or_default().extend(cells);
        } else {
            let further = Further { like: at.row, only_place: false, cells };
            self.further.entry(at.source).or_default().push(further);
        }
    }

    /// Changes a table as given.
    pub fn apply(&self, source: SourceId, plant: &Plant, table: &mut GivenTable) {
        let units = plant.policy.units;
        let changed = || self.changed.iter().filter(|(origin, _)| origin.source == source);
        let further = self.further.get(&source).map_or(&[][..], Vec::as_slice);
        let names = changed().flat_map(|(_, cells)| cells).chain(further.iter().flat_map(|further| &further.cells));
        let names: BTreeSet<&'static str> = names.map(|(name, _)| *name).collect();
        let places: BTreeMap<&'static str, usize> =
            names.into_iter().map(|name| (name, table.place_of(name, units))).collect();
        let index: BTreeMap<u32, usize> =
            table.rows.iter().enumerate().map(|(index, row)| (row.origin.row, index)).collect();
        let mut coming: Vec<GivenRow> = Vec::new();
        for further in further {
            let Some(like) = index.get(&further.like).map(|index| &table.rows[*index]) else { continue };
            let mut cells = like.cells.clone();
            cells.resize(table.columns.len(), String::new());
            for (cell, column) in cells.iter_mut().zip(&table.columns) {
                if further.only_place && !column.name.is_some_and(|name| PLACE.contains(&name)) {
                    cell.clear();
                }
            }
            set(table, &mut cells, &places, &further.cells, &plant.policy);
            coming.push(GivenRow { origin: Origin::default(), cells });
        }
        for (origin, content) in changed() {
            let Some(at) = index.get(&origin.row).copied() else { continue };
            let mut cells = std::mem::take(&mut table.rows[at].cells);
            set(table, &mut cells, &places, content, &plant.policy);
            table.rows[at].cells = cells;
        }
        table.rows.append(&mut coming);
    }
}

fn set(
    table: &GivenTable,
    cells: &mut [String],
    places: &BTreeMap<&'static str, usize>,
    contents: &Cells,
    policy: &Policy,
) {
    for (name, content) in contents {
        let Some(place) = places.get(name).copied() else { continue };
        let Some(cell) = cells.get_mut(place) else { continue };
        *cell = match content {
            Content::Text(text) => text.clone(),
            Content::Quantity(si) => {
                let unit = table.columns[place].unit;
                // A cell that names its own unit goes on in it.
                match unit.and_then(|unit| unit_in(cell, unit.dimension, policy)) {
                    Some((own, name)) => format!("{} {name}", number(own.from_si(*si))),
                    None => number(unit.map_or(*si, |unit| unit.from_si(*si))),
                }
            }
        };
    }
}

/// A number that no style of numbers can make another: never three digits after the point.
pub(super) fn number(value: f64) -> String {
    let text = value.to_string();
    let is_open = text.rsplit_once('.').is_some_and(|(_, decimals)| decimals.len() == 3);
    if is_open { text + "0" } else { text }
}

fn part(plant: &Plant, index: u32) -> Content {
    Content::Text(plant.component_at(Some(index)).map(|part| part.part_no.clone()).unwrap_or_default())
}

/// What a line that every group has holds in one of them.
fn shared(plant: &Plant, line: &Line, group: &EditGroup, is_cylinder: bool) -> Cells {
    let mut cells = vec![("circuit", Content::Text(group.name.clone()))];
    let is_conductor = line.component(&plant.components).is_some_and(crate::tables::component::Component::is_conductor);
    if let Some(length) = line.length.value().filter(|_| is_conductor) {
        cells.push(("length", Content::Quantity(length.si() * group.share)));
    }
    if is_cylinder {
        cells.push(("part_no", part(plant, group.cylinder)));
    }
    cells
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn numbers_are_clear_in_any_style() {
        assert_eq!(number(157.0), "157");
        assert_eq!(number(1.234), "1.2340");
        assert_eq!(number(0.5), "0.5");
        assert_eq!(number(12.3456), "12.3456");
    }
}
