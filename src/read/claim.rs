//! Whether a plant would read a file as one of its own the next time: no output may stand there.

use std::path::{Path, PathBuf};

use crate::tables::column::Table;

use super::folder::{is_table, is_workbook, table_of};

/// What a file would be read as.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlantClaim {
    /// The folder of the plant.
    pub plant: PathBuf,
    /// Such as `lists`.
    pub table: String,
}

/// The plant that would read a file of this name, and as what; the path has no links and dots.
///
/// * `plant` – a folder that is one of a plant whatever it holds
#[must_use]
pub fn claim_on(path: &Path, plant: Option<&Path>) -> Option<PlantClaim> {
    let folder = path.parent()?;
    let is_plant = |folder: &Path| plant == Some(folder) || is_plant_folder(folder);
    let claim = |plant: &Path, table: &str| PlantClaim { plant: plant.to_owned(), table: table.to_owned() };
    if path.file_name().is_some_and(|name| name.eq_ignore_ascii_case("policy.toml")) && is_plant(folder) {
        return Some(claim(folder, "policy"));
    }
    if !is_table(&ending_of(path)) {
        return None;
    }
    // Lists are searched in folders below theirs, too.
    let is_of_lists = |above: &&Path| is_named(above.file_name(), Table::Lists) && above.parent().is_some_and(is_plant);
    if let Some(plant) = folder.ancestors().find(is_of_lists).and_then(Path::parent) {
        return Some(claim(plant, &Table::Lists.to_string()));
    }
    let table = table_of(&path.file_stem()?.to_string_lossy())?;
    is_plant(folder).then(|| claim(folder, &table.to_string()))
}

/// Whether a folder holds a component table or lists. Other tables are no sign: some of a run's data
/// files have their names.
fn is_plant_folder(folder: &Path) -> bool {
    let Ok(entries) = std::fs::read_dir(folder) else { return false };
    entries.flatten().map(|entry| entry.path()).any(|path| {
        if path.is_dir() {
            return is_named(path.file_name(), Table::Lists);
        }
        let stem = path.file_stem();
        is_table(&ending_of(&path)) && (is_named(stem, Table::Components) || is_named(stem, Table::Lists))
    })
}

fn is_named(name: Option<&std::ffi::OsStr>, table: Table) -> bool {
    name.is_some_and(|name| table_of(&name.to_string_lossy()) == Some(table))
}

fn ending_of(path: &Path) -> String {
    path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default()
}

/// Whether a file has the ending of a workbook that is read.
#[must_use]
pub fn is_workbook_file(path: &Path) -> bool {
    is_workbook(&ending_of(path))
}

/// The folders of a plant's lists, whatever the case of their names.
#[must_use]
pub fn lists_folders(plant: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(plant).into_iter().flatten().flatten().map(|entry| entry.path());
    entries.filter(|path| path.is_dir() && is_named(path.file_name(), Table::Lists)).collect()
}
