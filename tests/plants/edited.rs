//! A plant folder as text cells, for single edits.

#![allow(dead_code, reason = "each test uses a part of it")]

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Cells under one header row.
#[derive(Clone)]
pub struct Table {
    header: Vec<String>,
    rows: Vec<Vec<String>>,
}

/// The tables of a plant, by their path without ending, and its policy.
#[derive(Clone)]
pub struct Plant {
    tables: BTreeMap<String, Table>,
    policy: String,
}

fn read_table(path: &Path) -> Table {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_path(path).unwrap();
    let mut rows: Vec<Vec<String>> =
        reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect();
    let header = rows.remove(0);
    Table { header, rows }
}

impl Table {
    /// The column of a name, with or without its unit.
    fn column(&self, name: &str) -> usize {
        let bare = |title: &str| title.split('[').next().unwrap().to_owned();
        let found = self.header.iter().position(|title| title == name || bare(title) == name);
        found.unwrap_or_else(|| panic!("no column {name}"))
    }

    fn row_of(&self, key: &BTreeMap<String, String>) -> usize {
        let is_it = |row: &&Vec<String>| key.iter().all(|(name, text)| row[self.column(name)] == *text);
        let found: Vec<_> = self.rows.iter().filter(is_it).collect();
        assert_eq!(found.len(), 1, "{key:?} names {} rows", found.len());
        self.rows.iter().position(|row| is_it(&row)).unwrap()
    }
}

impl Plant {
    /// Reads a folder of CSV tables.
    pub fn read(folder: &Path) -> Self {
        let mut tables = BTreeMap::new();
        for (prefix, at) in [("", folder.to_owned()), ("lists/", folder.join("lists"))] {
            for entry in fs::read_dir(at).unwrap() {
                let path = entry.unwrap().path();
                if path.extension().is_some_and(|ending| ending == "csv") {
                    let name = format!("{prefix}{}", path.file_stem().unwrap().to_str().unwrap());
                    tables.insert(name, read_table(&path));
                }
            }
        }
        Self { tables, policy: fs::read_to_string(folder.join("policy.toml")).unwrap() }
    }

    /// The plant with the edit of a row of `mutants.csv`.
    pub fn mutated(&self, edit: &BTreeMap<String, String>) -> Self {
        let mut plant = self.clone();
        let (table, row, column, text) = (&edit["table"], &edit["row"], &edit["column"], &edit["text"]);
        if table == "policy" {
            plant.policy(column, text);
        } else if row == "appended" {
            let cells: BTreeMap<String, String> = serde_json::from_str(text).unwrap();
            plant.append(table, &cells);
        } else if row == "header" {
            plant.rename(table, column, text);
        } else if column == "deleted" {
            plant.delete(table, row.parse().unwrap());
        } else {
            plant.set(table, row.parse().unwrap(), column, text);
        }
        plant
    }

    fn table(&mut self, name: &str) -> &mut Table {
        self.tables.get_mut(name).unwrap_or_else(|| panic!("no table {name}"))
    }

    /// Puts a text into the cell of a row of the file (the header is row 1).
    pub fn set(&mut self, table: &str, row: usize, column: &str, text: &str) {
        let table = self.table(table);
        let column = table.column(column);
        let cell = &mut table.rows[row - 2][column];
        assert_ne!(cell, text, "the edit changes nothing");
        text.clone_into(cell);
    }

    /// Gives a column another header.
    pub fn rename(&mut self, table: &str, column: &str, text: &str) {
        let table = self.table(table);
        let column = table.column(column);
        text.clone_into(&mut table.header[column]);
    }

    /// The row of the file that holds these cells.
    pub fn row(&mut self, table: &str, key: &BTreeMap<String, String>) -> usize {
        self.table(table).row_of(key) + 2
    }

    /// Takes a row of the file away.
    pub fn delete(&mut self, table: &str, row: usize) {
        self.table(table).rows.remove(row - 2);
    }

    /// Adds a row with these cells.
    pub fn append(&mut self, table: &str, cells: &BTreeMap<String, String>) {
        let table = self.table(table);
        let mut row = vec![String::new(); table.header.len()];
        for (name, text) in cells {
            text.clone_into(&mut row[table.column(name)]);
        }
        table.rows.push(row);
    }

    /// Replaces what stands once in the policy.
    pub fn policy(&mut self, find: &str, replace: &str) {
        assert_eq!(self.policy.matches(find).count(), 1, "{find}");
        self.policy = self.policy.replace(find, replace);
    }

    /// Writes the folder.
    pub fn write(&self, folder: &Path) {
        fs::create_dir_all(folder.join("lists")).unwrap();
        for (name, table) in &self.tables {
            let mut writer = csv::Writer::from_path(folder.join(format!("{name}.csv"))).unwrap();
            writer.write_record(&table.header).unwrap();
            for row in &table.rows {
                writer.write_record(row).unwrap();
            }
            writer.flush().unwrap();
        }
        fs::write(folder.join("policy.toml"), &self.policy).unwrap();
    }
}
