//! What a policy should say of a plant's way of writing, and how it gets there: never over a value
//! that is there.

use std::collections::{BTreeMap, BTreeSet};

use crate::tables::column::Table;
use crate::tables::policy::{Policy, TOTAL_WORDS};

use super::seen::{SeenHeader, SeenSheet};
use crate::read::header_text::bracketed;

/// What the policy should say.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Proposal {
    /// File and sheet; of the lists any number.
    files: BTreeMap<Table, Vec<(String, String)>>,
    /// File, sheet, row and place of a matrix.
    matrix: Option<(String, String, u32, String)>,
    columns: BTreeMap<Table, BTreeMap<&'static str, BTreeSet<String>>>,
    words: BTreeMap<&'static str, BTreeMap<String, BTreeSet<String>>>,
    units: BTreeMap<&'static str, BTreeSet<String>>,
    pub(super) totals: BTreeSet<String>,
    pub(super) fill_down: BTreeSet<&'static str>,
    /// Whether a date has a first or a second number above 12, or points between.
    day_first: bool,
    month_first: bool,
    odd_dates: usize,
    /// What can't be told, a sentence each.
    pub open: Vec<String>,
}

impl Proposal {
    /// Names the file of a table where `check` would not find it.
    pub(super) fn name_file(&mut self, sheet: &SeenSheet, role: Option<Table>, needs_sheet: bool, has_others: bool) {
        let place = sheet.place();
        let Some(table) = sheet.table else {
            let tables: Vec<String> = sheet.candidates.iter().map(ToString::to_string).collect();
            self.open.push(format!("{place} may be {}; name it in [files].", tables.join(" or ")));
            return;
        };
        if role == Some(table) && (!has_others || table == Table::Lists) {
            return;
        }
        let own = (sheet.file.clone(), if needs_sheet { sheet.sheet.clone() } else { String::new() });
        let named = self.files.entry(table).or_default();
        match named.first() {
            Some(_) if named.contains(&own) => {}
            Some(other) if table != Table::Lists => {
                self.open.push(format!("{place} seems to be {table} too; [files] has {} for it.", other.0));
            }
            _ => named.push(own),
        }
    }

    /// Names a folder in place of its lists where all its files are named; `files` are all of the plant's.
    pub(super) fn name_folders(&mut self, files: &[&str]) {
        let Some(lists) = self.files.get_mut(&Table::Lists) else { return };
        let folder_of = |file: &str| file.split_once('/').map(|(folder, _)| folder.to_owned());
        let folders: BTreeSet<String> = lists.iter().filter_map(|(file, _)| folder_of(file)).collect();
        for folder in folders {
            let is_in = |file: &str| folder_of(file).as_deref() == Some(&folder);
            let is_named = |file: &&&str| lists.iter().any(|(own, sheet)| own == **file && sheet.is_empty());
            if files.iter().filter(|file| is_in(file)).all(|file| is_named(&file)) {
                lists.retain(|(file, _)| !is_in(file));
                lists.push((folder, String::new()));
            }
        }
    }

    /// Names a sheet of quantities by part and circuit; a sentence where there is another one already.
    pub(super) fn name_matrix(&mut self, matrix: (String, String, u32, String), policy: &Policy) -> Option<String> {
        if policy.matrix.is_some() {
            return None;
        }
        if let Some(other) = &self.matrix {
            return Some(format!("[files.matrix]: {} seems to be one too; it has {}.", matrix.0, other.0));
        }
        self.matrix = Some(matrix);
        None
    }

    pub(super) fn add_header(&mut self, table: Table, place: &str, header: &SeenHeader) {
        let alias = bracketed(&header.text).map_or(header.text.as_str(), |(name, _)| name);
        match header.column {
            Some(_) if header.by == "name" => {}
            Some(column) => {
                let of_table = self.columns.entry(table).or_default();
                of_table.entry(column).or_default().insert(alias.to_owned());
            }
            None if !header.candidates.is_empty() => {
                let line = format!(
                    "[columns.{table}]: '{alias}' ({place}, column {}) may be {}.",
                    header.letter,
                    header.candidates.join(" or ")
                );
                self.open.push(line);
            }
            None => {}
        }
    }

    #[allow(clippy::too_many_arguments, reason = "one sentence of its parts")]
    pub(super) fn add_word(
        &mut self,
        set: &'static str,
        words: &[&str],
        word: &str,
        meant: &[&str],
        count: usize,
        place: &str,
        column: &str,
    ) {
        if let [only] = meant {
            self.words.entry(set).or_default().entry((*only).to_owned()).or_default().insert(word.to_owned());
        } else {
            let may = if meant.is_empty() { words } else { meant };
            self.open.push(format!(
                "[values.{set}]: '{word}' ({place}, {column}, {count} cells) may be {}.",
                may.join(" or ")
            ));
        }
    }

    pub(super) fn add_unit(
        &mut self,
        unit: &str,
        meant: Option<&'static str>,
        count: usize,
        place: &str,
        column: &str,
    ) {
        match meant {
            Some(meant) => {
                self.units.entry(meant).or_default().insert(unit.to_owned());
            }
            None => {
                self.open.push(format!("[values.unit]: '{unit}' ({place}, {column}, {count} cells) is no known unit."));
            }
        }
    }

    pub(super) fn add_date(&mut self, text: &str) {
        let numbers: Vec<u32> = text.trim().split(['.', '/', '-']).filter_map(|part| part.parse().ok()).collect();
        let [first, second, year] = numbers.as_slice() else { return };
        if *year < 1000 || *first > 31 {
            return;
        }
        self.odd_dates += 1;
        self.day_first |= *first > 12 || text.contains('.');
        self.month_first |= *second > 12;
    }

    /// Sections of the policy with their keys and values.
    fn sections(&self) -> Vec<(String, Vec<(String, String)>)> {
        let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
        let list = |texts: &mut dyn Iterator<Item = String>| {
            let texts: Vec<String> = texts.map(|text| quoted(&text)).collect();
            format!("[{}]", texts.join(", "))
        };
        let key = |text: &str| {
            let is_bare = text.bytes().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'_' | b'-'));
            if is_bare { text.to_owned() } else { quoted(text) }
        };
        let mut all = Vec::new();
        let named = |(file, sheet): &(String, String)| match sheet.as_str() {
            "" => quoted(file),
            sheet => format!("{{ file = {}, sheet = {} }}", quoted(file), quoted(sheet)),
        };
        let files = self.files.iter().map(|(table, files)| {
            let value = match files.as_slice() {
                [only] => named(only),
                several => format!("[{}]", several.iter().map(named).collect::<Vec<_>>().join(", ")),
            };
            (table.to_string(), value)
        });
        all.push(("files".to_owned(), files.collect()));
        if let Some((file, sheet, row, place)) = &self.matrix {
            let mut keys = vec![("file".to_owned(), quoted(file))];
            if !sheet.is_empty() {
                keys.push(("sheet".to_owned(), quoted(sheet)));
            }
            keys.push(("row".to_owned(), row.to_string()));
            keys.push(("place".to_owned(), quoted(place)));
            all.push(("files.matrix".to_owned(), keys));
        }
        for (table, columns) in &self.columns {
            let keys = columns.iter().map(|(column, texts)| ((*column).to_owned(), list(&mut texts.iter().cloned())));
            all.push((format!("columns.{table}"), keys.collect()));
        }
        for (set, words) in &self.words {
            let keys = words.iter().map(|(word, texts)| (key(word), list(&mut texts.iter().cloned())));
            all.push((format!("values.{set}"), keys.collect()));
        }
        let units = self.units.iter().map(|(unit, texts)| (key(unit), list(&mut texts.iter().cloned())));
        all.push(("values.unit".to_owned(), units.collect()));
        let mut reading = Vec::new();
        if !self.fill_down.is_empty() {
            reading.push(("fill_down".to_owned(), list(&mut self.fill_down.iter().map(|name| (*name).to_owned()))));
        }
        if !self.totals.is_empty() {
            let words = TOTAL_WORDS.iter().map(|word| (*word).to_owned()).chain(self.totals.iter().cloned());
            reading.push(("total_words".to_owned(), list(&mut words.into_iter())));
        }
        if self.day_first != self.month_first {
            reading.push(("dates".to_owned(), quoted(if self.day_first { "dmy" } else { "mdy" })));
        }
        all.push(("reading".to_owned(), reading));
        all.retain(|(_, keys)| !keys.is_empty());
        all
    }

    /// What can't be told, a line each.
    fn open_lines(&self) -> Vec<String> {
        let mut lines: Vec<String> =
            self.open.iter().map(|line| crate::tables::escaped::escaped(line).into_owned()).collect();
        if self.odd_dates > 0 && self.day_first == self.month_first {
            lines.push(format!("[reading] dates: {} dates may be \"dmy\" or \"mdy\".", self.odd_dates));
        }
        lines
    }

    /// The block of the policy, what can't be told as comments.
    #[must_use]
    pub fn to_toml(&self) -> String {
        self.written_into("")
    }

    /// A policy's text with what it lacks; keys that are there stay as they are.
    #[must_use]
    pub fn written_into(&self, policy: &str) -> String {
        let there: toml::Table = policy.parse().unwrap_or_default();
        let mut lines: Vec<String> = policy.lines().map(str::to_owned).collect();
        let mut left = Vec::new();
        for (section, keys) in self.sections() {
            let mut at = Some(&there);
            for part in section.split('.') {
                at = at.and_then(|table| table.get(part)).and_then(toml::Value::as_table);
            }
            let is_there = |key: &str| at.is_some_and(|table| table.contains_key(key.trim_matches('"')));
            let header = lines
                .iter()
                .position(|line| line.split('#').next().is_some_and(|line| line.trim() == format!("[{section}]")));
            let (kept, new): (Vec<_>, Vec<_>) = keys.into_iter().partition(|(key, _)| is_there(key));
            left.extend(
                kept.into_iter()
                    .map(|(key, value)| format!("[{section}] {key} is there already; not written: {value}.")),
            );
            let new = new.into_iter().map(|(key, value)| format!("{key} = {value}"));
            match (header, at) {
                (Some(header), _) => {
                    lines.splice((header + 1)..=header, new);
                }
                // Written in another way than as a section: a second one would be refused.
                (None, Some(_)) => left.extend(new.map(|line| format!("[{section}]: {line}"))),
                (None, None) => {
                    lines.push(format!("[{section}]"));
                    lines.extend(new);
                }
            }
        }
        lines.extend(left.into_iter().chain(self.open_lines()).map(|line| format!("# {line}")));
        lines.join("\n") + "\n"
    }
}
