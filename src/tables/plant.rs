//! All tables of a plant folder but the lines, which come circuit by circuit.

use hashbrown::HashMap;

use super::circuit_key::{CircuitKey, Name};
use super::column::Table;
use super::component::{Component, RepeatedPart};
use super::order::{Order, Waiver};
use super::origin::{
    FIRST_COUNTS, HEADING_WITH_NUMBER, InputNote, NOT_YET_DONE, Origin, PARTS_UNDER_UNKNOWN, SAME_DATA, SHOWN_IN_FRONT,
    STRUCK_OUT, STYLE_OF_FILE, Source, TITLE_LIKE_LINE, TOTAL_THAT_IS_NONE, UnknownHeader,
};
use super::part_names::PartNames;
use super::policy::Policy;
use super::services::{ServiceOf, Services};
use super::station::Station;
use super::words::Kind;

/// What the tables say.
#[derive(Clone, Debug)]
pub struct Plant {
    pub policy: Policy,
    /// In the order of the table, first rows of repeated part numbers only.
    pub components: Vec<Component>,
    /// Clean part number to index.
    pub part_index: PartNames,
    pub repeated_parts: Vec<RepeatedPart>,
    /// Whether there is a circuits table.
    pub has_circuits: bool,
    /// Rows of the circuits table.
    pub services: Services,
    /// Whether there is a stations table.
    pub has_stations: bool,
    pub stations: Vec<Station>,
    /// Name to index.
    pub station_index: HashMap<Name, usize>,
    /// `None` where there is no orders table.
    pub orders: Option<Vec<Order>>,
    pub waivers: Vec<Waiver>,
    pub sources: Vec<Source>,
    pub notes: Vec<InputNote>,
}

impl Plant {
    /// A plant with no tables.
    #[must_use]
    pub fn empty(policy: Policy) -> Self {
        Self {
            policy,
            components: Vec::new(),
            part_index: PartNames::default(),
            repeated_parts: Vec::new(),
            has_circuits: false,
            services: Services::default(),
            has_stations: false,
            stations: Vec::new(),
            station_index: HashMap::new(),
            orders: None,
            waivers: Vec::new(),
            sources: Vec::new(),
            notes: Vec::new(),
        }
    }

    /// The service data of a circuit.
    #[must_use]
    pub fn service(&self, key: &CircuitKey) -> Option<ServiceOf<'_>> {
        self.services.get(key)
    }

    /// The station of a name.
    #[must_use]
    pub fn station(&self, name: &str) -> Option<&Station> {
        self.station_index.get(name).and_then(|index| self.stations.get(*index))
    }

    /// The component of a clean part number.
    #[must_use]
    pub fn component(&self, part_no: &str) -> Option<&Component> {
        self.part_index.get(part_no).and_then(|index| self.components.get(*index as usize))
    }

    /// The component of an index.
    #[must_use]
    pub fn component_at(&self, index: Option<u32>) -> Option<&Component> {
        index.and_then(|index| self.components.get(index as usize))
    }

    /// The pump of a station, where its part is known to be one, or to have one built in.
    #[must_use]
    pub fn pump_of(&self, station: &Station) -> Option<&Component> {
        self.component_at(station.pump.index()).filter(|part| part.provides(Kind::Pump))
    }

    /// How much more the oil has than the air of a station whose pump air drives, where no pump setting is stated: what
    /// is set there is the air.
    #[must_use]
    pub fn air_ratio_of(&self, station: &Station) -> Option<f64> {
        let is_set_by_air = station.pump_setting.is_none() && station.air_pressure.is_some();
        self.pump_of(station).and_then(|pump| pump.air_ratio).filter(|ratio| is_set_by_air && *ratio > 0.0)
    }

    /// The drive ram of a station, where its part is known to be one, or to have one built in.
    #[must_use]
    pub fn drive_ram_of(&self, station: &Station) -> Option<&Component> {
        self.component_at(station.drive_ram.index()).filter(|part| part.provides(Kind::DriveRam))
    }

    /// Every header that names no known column, with where it stands and the table's file or sheet.
    pub fn unknown_headers(&self) -> impl Iterator<Item = (Origin, &Source, &UnknownHeader)> {
        (0..).zip(&self.sources).flat_map(|(index, source)| {
            source.unknown_headers.iter().map(move |header| (Origin { source: index, row: header.row }, source, header))
        })
    }

    /// Files and sheets that were not read though they may hold a part of the plant, and lists without a line: no
    /// verdict rests on them.
    #[must_use]
    pub fn not_read(&self) -> Vec<String> {
        let is_empty_list =
            |source: &Source| source.table == Some(Table::Lists) && source.rows_read == 0 && !source.is_matrix();
        let said = self.sources.iter().filter_map(|source| {
            if source.is_left_out {
                Some(source.place())
            } else {
                is_empty_list(source).then(|| format!("{} (a list without a line)", source.place()))
            }
        });
        said.collect()
    }

    /// The same in a sentence that names the first.
    #[must_use]
    pub fn not_read_in_words(&self) -> Option<String> {
        not_read_in_words(&self.not_read())
    }

    /// What else of the input every verdict rests on, a sentence each: waivers that reach further than was meant,
    /// dates that can't be, hidden parts.
    #[must_use]
    pub fn rests_on(&self) -> Vec<String> {
        let sentences =
            [self.as_of(), self.stricter_rows(), self.waivers_for_all(), self.not_yet_done(), self.hidden_in_words()];
        sentences
            .into_iter()
            .flatten()
            .chain(self.rows_passed_over())
            .chain(self.parts_under_unknown())
            .chain(self.read_as_others())
            .collect()
    }

    /// Rows that were skipped though they may be lines, and numbers of which not all that their cells show was read.
    fn rows_passed_over(&self) -> impl Iterator<Item = String> {
        /// Letters of a row that stand in a sentence.
        const LONGEST_FOUND: usize = 60;
        const TOLD: [(&str, &str, &str); 4] = [
            (TITLE_LIKE_LINE, "taken for a title above a header", "looks like a row of the table"),
            (HEADING_WITH_NUMBER, "read as a heading", "has a number where no line has it"),
            (TOTAL_THAT_IS_NONE, "taken for totals by its words", "is not what the lines above it come to"),
            (SHOWN_IN_FRONT, "read as its number alone", "shows a text beside it that is no known unit"),
        ];
        TOLD.into_iter().filter_map(|(message, taken, though)| {
            let mut all = self.notes.iter().filter(|note| note.message.ends_with(message));
            let first = all.next()?;
            let place = self.source_place(first.origin);
            let (what, cell) = if first.letter.is_empty() {
                ("row", format!("row {}", first.origin.row))
            } else {
                ("cell", format!("cell {}{}", first.letter, first.origin.row))
            };
            let others = match all.count() {
                0 => String::new(),
                1 => format!(" So was another {what}."),
                more => format!(" So were {more} other {what}s."),
            };
            let found: String = first.found.chars().take(LONGEST_FOUND).collect();
            let cut = if found.len() < first.found.len() { "…" } else { "" };
            Some(format!("{place}, {cell} ('{found}{cut}') was {taken}, though it {though}; see Input.{others}"))
        })
    }

    /// Columns whose unclear numbers are read as other columns of their file are written.
    fn read_as_others(&self) -> Option<String> {
        let all = self.notes.iter().filter(|note| note.message.ends_with(STYLE_OF_FILE));
        let places: Vec<String> = all
            .map(|note| format!("{}, column {} ({})", self.source_place(note.origin), note.letter, note.column))
            .collect();
        (!places.is_empty()).then(|| {
            format!(
                "Whether a number such as 9.000 is nine or nine thousand no cell of its own column says, so that other columns of the file decide: {}. Input says how.",
                first_named(&places)
            )
        })
    }

    /// Columns beside those of a list that may hold lines of another one.
    fn parts_under_unknown(&self) -> Option<String> {
        let all = self.notes.iter().filter(|note| note.message == PARTS_UNDER_UNKNOWN);
        let places: Vec<String> = all
            .map(|note| format!("{}, column {} ('{}')", self.source_place(note.origin), note.letter, note.found))
            .collect();
        (!places.is_empty()).then(|| {
            format!(
                "Not checked, though it holds part numbers and numbers as a list does, and may hold a part of the plant: {}. Input says more.",
                first_named(&places)
            )
        })
    }

    /// A fixed date keeps waivers in force.
    fn as_of(&self) -> Option<String> {
        let date = self.policy.date;
        let in_force = self.waivers.iter().filter(|waiver| waiver.faults.is_empty());
        let expires = in_force.filter_map(|waiver| waiver.expires).filter(|expires| *expires >= date).min()?;
        self.policy
            .date_is_fixed
            .then(|| format!("The audit is of {date}, the date in the policy; the first waiver expires on {expires}."))
    }

    /// A second row of a circuit or load station does not count, whatever it asks for.
    fn stricter_rows(&self) -> Option<String> {
        let mut all = self.notes.iter().filter(|note| {
            let table = self.source(note.origin).and_then(|source| source.table);
            note.message.ends_with(FIRST_COUNTS)
                && !note.message.contains(SAME_DATA)
                && matches!(table, Some(Table::Circuits | Table::Stations))
        });
        let first = all.next()?;
        let place = format!("{} row {}", self.source_place(first.origin), first.origin.row);
        let others = match all.count() {
            0 => String::new(),
            1 => ", and another row".to_owned(),
            more => format!(", and {more} other rows"),
        };
        Some(format!(
            "Of two rows for one circuit or load station the first counts, whatever the second asks for: {place}{others} \
             {} not looked at.",
            if others.is_empty() { "is" } else { "are" }
        ))
    }

    /// Waivers whose place may stand under a header that nobody knows cover every place.
    fn waivers_for_all(&self) -> Option<String> {
        let (index, source) = (0..).zip(&self.sources).find(|(_, source)| source.table == Some(Table::Waivers))?;
        let unknown: Vec<String> = source
            .unknown_headers
            .iter()
            .filter(|header| header.cells > 0)
            .map(|header| format!("'{}' in column {}", header.text, header.letter()))
            .collect();
        let has = |name: &&str| source.header.iter().any(|cell| cell.column == Some(*name));
        let lacking: Vec<&str> = ["pallet", "fixture", "circuit"].into_iter().filter(|name| !has(name)).collect();
        let rows: Vec<String> = self
            .waivers
            .iter()
            .filter(|waiver| waiver.origin.source == index && waiver.faults.is_empty())
            .map(|waiver| waiver.origin.row.to_string())
            .collect();
        if unknown.is_empty() || lacking.is_empty() || rows.is_empty() {
            return None;
        }
        let word = if rows.len() == 1 { "row" } else { "rows" };
        let headers = if unknown.len() == 1 { "the header" } else { "the headers" };
        let verb = if unknown.len() == 1 { "names" } else { "name" };
        Some(format!(
            "{}: {headers} {} {verb} no known column, and no header names {}: the waivers of {word} {} cover every {}.",
            source.place(),
            first_named(&unknown),
            lacking.join(", "),
            first_named(&rows),
            lacking.join(", every ")
        ))
    }

    /// Dates of things done that lie ahead: what is due since can't be told.
    fn not_yet_done(&self) -> Option<String> {
        let mut all = self.notes.iter().filter(|note| note.message == NOT_YET_DONE);
        let first = all.next()?;
        let place = format!("{} {}{}", self.source_place(first.origin), first.letter, first.origin.row);
        let others = match all.count() {
            0 => String::new(),
            1 => " So is another date.".to_owned(),
            more => format!(" So are {more} other dates."),
        };
        Some(format!(
            "{} '{}' ({place}) lies after the day of the report, so that what is due since is not told.{others}",
            first.column, first.found
        ))
    }

    /// Hidden rows, columns and sheets that were read.
    fn hidden_in_words(&self) -> Option<String> {
        let told = self.sources.iter().filter(|source| source.table.is_some() && !source.hidden.is_empty());
        let told: Vec<String> = told
            .map(|source| format!("{} ({})", source.place(), source.hidden.join(" ").trim_end_matches('.')))
            .collect();
        let is_struck = self.sources.iter().any(|source| source.hidden.iter().any(|said| said.contains(STRUCK_OUT)));
        let what = if is_struck { "Hidden or struck-out parts" } else { "Hidden parts" };
        (!told.is_empty()).then(|| format!("{what} were read and count: {}.", first_named(&told)))
    }

    /// The source of an origin.
    #[must_use]
    pub fn source(&self, origin: Origin) -> Option<&Source> {
        self.sources.get(origin.source as usize)
    }

    /// The file and sheet of an origin, in words; empty where it is of none.
    #[must_use]
    pub fn source_place(&self, origin: Origin) -> String {
        self.source(origin).map(Source::place).unwrap_or_default()
    }
}

/// The first of some names, and how many more there are.
fn first_named(names: &[String]) -> String {
    const NAMED: usize = 3;
    let more = names.len().saturating_sub(NAMED);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{more}", names.get(..NAMED).unwrap_or(names).join(", "))
}

/// `Not read, though it may hold a part of the plant: lists/a.numbers. Sources says why.`
#[must_use]
pub fn not_read_in_words(places: &[String]) -> Option<String> {
    let named = first_named(places);
    (!places.is_empty())
        .then(|| format!("Not read, though it may hold a part of the plant: {named}. Sources says why."))
}
