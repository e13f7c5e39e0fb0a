//! Files to tables, cell by cell, with the place that each came from.

pub mod as_given;
mod binary_sheet;
mod bounds;
mod cell;
pub mod cell_formats;
mod circuits;
pub mod claim;
mod collector;
mod column_sums;
mod components;
mod delimited;
mod document_styles;
mod edited;
mod encoding;
mod error;
mod folder;
mod header;
mod header_text;
pub mod headers;
mod lists;
mod load;
mod markup;
mod names;
mod note;
mod number;
mod number_format;
mod older_workbook;
mod open_document;
mod orders;
mod other_counts;
mod package;
mod parquet_file;
mod parquet_pages;
mod part_number;
mod place_form;
mod plant_words;
mod policy;
mod quantity;
mod quietly;
mod record;
mod repeats;
mod shares;
mod sheet;
mod shown_unit;
mod stations;
mod struck;
mod style_formats;
mod table;
mod text_file;
mod totals;
mod waivers;

#[cfg(test)]
#[path = "../tests/fuzz/reading.rs"]
mod fuzzing;

use std::path::Path;

use chrono::NaiveDate;

use crate::tables::cell_edit::CellEdit;
use crate::tables::plant::Plant;

pub use error::ReadError;
pub use lists::{ListedCircuit, Lists, Parsed};
pub use note::{rows_in_words, sentence};
pub use shares::{Parting, Shares};

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
    load::plant(plant_path, policy_file, None, today, &[], None)
}

/// Reads a plant, or one list, with a component table that lies elsewhere.
///
/// # Errors
/// As for [`open`].
pub fn open_with_components(
    plant_path: &Path,
    policy_file: Option<&Path>,
    components: Option<&Path>,
    today: NaiveDate,
) -> Result<Reading, ReadError> {
    load::plant(plant_path, policy_file, components, today, &[], None)
}

/// How the lists of a plant are shared among so many parts of a run; none of them is read.
///
/// # Errors
/// Where the plant's folder or its policy can't be used.
pub fn parting(
    plant_path: &Path,
    policy_file: Option<&Path>,
    components: Option<&Path>,
    today: NaiveDate,
    of: u32,
) -> Result<Parting, ReadError> {
    load::parting(plant_path, policy_file, components, today, of)
}

/// Reads a plant, of its lists those of one part alone.
///
/// # Errors
/// As for [`open`].
pub fn open_share(
    plant_path: &Path,
    policy_file: Option<&Path>,
    components: Option<&Path>,
    today: NaiveDate,
    share: (&Shares, u32),
) -> Result<Reading, ReadError> {
    load::plant(plant_path, policy_file, components, today, &[], Some(share))
}

/// The files of a plant: their names below its folder, and where they are.
///
/// # Errors
/// Where the folder can't be read.
pub fn files_of(plant_path: &Path) -> Result<Vec<(String, std::path::PathBuf)>, ReadError> {
    Ok(folder::entries(plant_path)?.into_iter().map(|entry| (entry.name, entry.path)).collect())
}

/// The same with other texts in some cells; the files stay as they are.
///
/// # Errors
/// As [`open`].
pub fn open_edited(
    plant_path: &Path,
    policy_file: Option<&Path>,
    today: NaiveDate,
    edits: &[CellEdit],
) -> Result<Reading, ReadError> {
    load::plant(plant_path, policy_file, None, today, edits, None)
}

/// Every table of a plant but the lists as given, read once more; the sources of their rows are not
/// numbered.
///
/// # Errors
/// Where a file can't be read any more.
pub fn tables_as_given(plant_path: &Path, plant: &Plant) -> Result<Vec<as_given::GivenTable>, ReadError> {
    load::tables_as_given(plant_path, plant)
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
