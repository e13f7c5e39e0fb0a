//! Files to tables, cell by cell, with the place that each came from.

pub mod as_given;
mod binary_sheet;
mod bounds;
mod cell;
mod circuits;
mod collector;
mod components;
mod delimited;
mod encoding;
mod error;
mod folder;
#[doc(hidden)]
pub mod fuzzing;
mod header;
mod lists;
mod load;
mod names;
mod note;
mod number;
mod older_workbook;
mod open_document;
mod orders;
mod package;
mod part_number;
mod policy;
mod quantity;
mod record;
mod repeats;
mod sheet;
mod stations;
mod table;
mod text_file;
mod waivers;

use std::path::Path;

use chrono::NaiveDate;

use crate::tables::plant::Plant;

pub use error::ReadError;
pub use lists::{ListedCircuit, Lists, Parsed, RawRow};
pub use note::sentence;

/// A plant as read: its tables, and its lists ready to be read circuit by circuit.
#[derive(Debug)]
pub struct Reading {
    /// All tables but the lists; sources and notes of the lists are in it too, as far as the
    /// first pass tells them.
    pub plant: Plant,
    pub lists: Lists,
}

/// Reads a plant: a folder, or one workbook. `policy_file` stands in for the folder's own.
///
/// # Errors
/// What ends a run before anything is checked, all files at fault at once.
pub fn open(plant_path: &Path, policy_file: Option<&Path>, today: NaiveDate) -> Result<Reading, ReadError> {
    load::plant(plant_path, policy_file, today)
}

/// Reads a policy by itself; the defaults where no file is given.
///
/// # Errors
/// Where the file can't be read, or a key or value of it can't be used.
pub fn policy_file(file: Option<&Path>, today: NaiveDate) -> Result<crate::tables::policy::Policy, ReadError> {
    match file {
        None => Ok(crate::tables::policy::Policy::at(today)),
        Some(file) => Ok(load::read_policy(&file.display().to_string(), file, today)?.0),
    }
}
