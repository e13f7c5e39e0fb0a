//! A plant folder to begin with: every table with headers, units and the rows of one circuit
//! that conforms.

pub mod example;
pub mod policy_file;
mod sheets;
pub mod table;

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, ensure};

use crate::physics::unit::UnitSystem;
use crate::tables::column::Table;

use super::whole_file::{Batch, OutputError, WholeFile, ensure_folder, shown};
use table::StarterTable;

/// How the tables are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Form {
    /// One CSV file for each table.
    #[default]
    Csv,
    /// One workbook with a sheet for each table.
    Workbook,
}

/// A file of the starter: its path below the folder, and its bytes.
pub type StarterFile = (PathBuf, Vec<u8>);

/// The files of the starter.
///
/// # Errors
/// Where a table can't be written in its form.
pub fn files(form: Form, units: UnitSystem) -> Result<Vec<StarterFile>> {
    let mut files = match form {
        Form::Csv => Table::ALL
            .iter()
            .map(|table| Ok((csv_path(*table), StarterTable::new(*table, units).csv()?)))
            .collect::<Result<Vec<_>>>()?,
        Form::Workbook => vec![(PathBuf::from("plant.xlsx"), sheets::workbook(units)?)],
    };
    files.push((PathBuf::from("policy.toml"), policy_file::policy_toml(units).into_bytes()));
    Ok(files)
}

fn csv_path(table: Table) -> PathBuf {
    match table {
        Table::Lists => PathBuf::from("lists/example.csv"),
        other => PathBuf::from(format!("{other}.csv")),
    }
}

/// Writes the starter into a folder that is empty or not there yet, and gives back what it wrote.
///
/// # Errors
/// A sentence; nothing is written into a folder that holds anything.
pub fn write(folder: &Path, form: Form, units: UnitSystem) -> Result<Vec<PathBuf>> {
    let files = files(form, units)?;
    refuse_full(folder)?;
    ensure_folder(folder)?;
    let mut batch = Batch::new();
    let mut written = Vec::new();
    for (name, bytes) in files {
        let path = folder.join(name);
        if let Some(parent) = path.parent().filter(|parent| *parent != folder) {
            fs::create_dir_all(parent).map_err(|error| OutputError::from_io(&path, error))?;
        }
        let mut file = WholeFile::create(&path)?;
        file.write_all(&bytes).map_err(|error| OutputError::from_io(&path, error))?;
        batch.add(file)?;
        written.push(path);
    }
    batch.commit()?;
    Ok(written)
}

/// Refuses a folder that holds anything.
///
/// # Errors
/// A sentence that names what it holds first.
pub fn refuse_full(folder: &Path) -> Result<()> {
    if !folder.is_dir() {
        return Ok(());
    }
    let mut entries = fs::read_dir(folder).with_context(|| format!("{}: the folder can't be read.", shown(folder)))?;
    let first = entries.next().and_then(std::result::Result::ok);
    ensure!(
        first.is_none(),
        "{}: the folder is not empty, it holds '{}'. Name an empty folder or one that does not exist yet.",
        shown(folder),
        first.map(|entry| shown(Path::new(&entry.file_name()))).unwrap_or_default()
    );
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_writes_every_table_and_the_policy() {
        let folder = tempfile::tempdir().unwrap();
        let plant = folder.path().join("plant");
        let written = write(&plant, Form::Csv, UnitSystem::Metric).unwrap();
        assert_eq!(written.len(), Table::ALL.len() + 1);
        for path in &written {
            assert!(fs::metadata(path).unwrap().len() > 0, "{}", path.display());
        }
        let all = fs::read_dir(&plant).unwrap().count() + fs::read_dir(plant.join("lists")).unwrap().count() - 1;
        assert_eq!(all, written.len());
    }

    #[test]
    fn a_folder_that_holds_something_is_left_alone() {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("orders.csv"), "mine").unwrap();
        let error = write(folder.path(), Form::Csv, UnitSystem::Us).unwrap_err().to_string();
        assert!(
            error.ends_with(
                "the folder is not empty, it holds 'orders.csv'. Name an empty folder or one that does not exist yet."
            ),
            "{error}"
        );
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        let file = folder.path().join("orders.csv");
        assert!(write(&file, Form::Workbook, UnitSystem::Metric).is_err());
        assert_eq!(fs::read(&file).unwrap(), b"mine");
    }

    #[test]
    fn two_workbooks_are_the_same_bytes() {
        let bytes = || files(Form::Workbook, UnitSystem::Metric).unwrap();
        assert_eq!(bytes(), bytes());
    }
}
