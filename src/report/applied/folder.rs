//! The changed copy as a folder: touched tables written anew, every other file byte by byte.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;

use anyhow::{Context, Result, bail};

use crate::read::as_given::GivenTable;
use crate::read::{self, Lists};
use crate::tables::column::Table;
use crate::tables::origin::{Source, SourceId};
use crate::tables::plant::Plant;

use crate::report::whole_file::{settled, shown};

use super::rewriting::Rewriting;

/// Refuses a folder that can't take the copy.
///
/// # Errors
/// A sentence that says why.
pub fn refuse(target: &Path, plant: &Path, outputs: &[&Path]) -> Result<()> {
    let named = shown(target);
    // The copy takes the name by a rename: a link there would be lost, or lead elsewhere.
    if fs::symlink_metadata(target).is_ok_and(|found| !found.is_dir()) {
        bail!("{named}: this is a link or a file. Name a folder that is new or empty for --apply-remedies.");
    }
    if target.exists() {
        let is_empty = fs::read_dir(target).is_ok_and(|mut held| held.next().is_none());
        if !is_empty {
            bail!(
                "{named}: the changed copy needs a folder that is new or empty. Choose another one for --apply-remedies."
            );
        }
    }
    let (real, of_plant) = (settled(target), settled(plant));
    if real.starts_with(&of_plant) {
        bail!("{named}: the changed copy can't go into the plant itself. Choose another folder for --apply-remedies.");
    }
    if let Some(output) = outputs.iter().find(|output| settled(output).starts_with(&real)) {
        bail!(
            "{}: the folder of the changed copy holds the copy alone. Choose another place for this output.",
            shown(output)
        );
    }
    Ok(())
}

/// Writes the copy into an empty folder.
///
/// # Errors
/// Where a file can't be read any more or the disk refuses.
pub fn write(root: &Path, plant: &Plant, lists: &Lists, rewriting: &Rewriting, target: &Path) -> Result<()> {
    let touched = rewriting.sources();
    let sources: Vec<(SourceId, &Source)> = (0_u32..).zip(&plant.sources).collect();
    let files: BTreeSet<&str> =
        sources.iter().filter(|(id, _)| touched.contains(id)).map(|(_, source)| source.file.as_str()).collect();
    let tables = if sources.iter().any(|(id, source)| touched.contains(id) && source.table != Some(Table::Lists))
        || root.is_file()
        || is_whole_plant(&sources)
    {
        read::tables_as_given(root, plant)?
    } else {
        Vec::new()
    };
    copy_others(root, &sources, &files, target)?;
    let used = sources.iter().map(|(_, source)| source.file.to_lowercase()).collect();
    let mut names = Names { used, written: BTreeSet::new() };
    for (id, source) in sources.iter().filter(|(_, source)| files.contains(source.file.as_str())) {
        let mut table = match source.table {
            Some(Table::Lists) => lists.given(*id, &source.file, &source.sheet)?,
            Some(_) => tables.iter().find(|table| table.file == source.file && table.sheet == source.sheet).cloned(),
            None => None,
        };
        let Some(table) = &mut table else { continue };
        let of_file = sources.iter().filter(|(_, other)| other.file == source.file && other.table == source.table);
        let is_only = of_file.count() == 1;
        let name = names.of(source, is_only, root.is_file() || is_whole_plant(&sources));
        rewriting.apply(*id, plant, table);
        if source.table == Some(Table::Lists) && stem(&name) != stem(&source.file) {
            name_fixture(table, plant, &stem(&source.file));
        }
        write_table(&target.join(&name), &name, table)?;
    }
    Ok(())
}

/// Whether one workbook holds lists and tables.
fn is_whole_plant(sources: &[(SourceId, &Source)]) -> bool {
    sources.iter().any(|(_, source)| {
        source.table == Some(Table::Components)
            && sources.iter().any(|(_, other)| other.file == source.file && other.table == Some(Table::Lists))
    })
}

fn copy_others(root: &Path, sources: &[(SourceId, &Source)], files: &BTreeSet<&str>, target: &Path) -> Result<()> {
    let names: BTreeSet<&str> = sources.iter().map(|(_, source)| source.file.as_str()).collect();
    // By their paths: names that are no UTF-8 are sources under another.
    for (name, from) in read::files_of(root)? {
        // What is no file was not read.
        if !names.contains(name.as_str()) || files.contains(name.as_str()) || !from.is_file() {
            continue;
        }
        let below = from.strip_prefix(root).ok().filter(|below| !below.as_os_str().is_empty());
        let to = below.map_or_else(|| target.join(&name), |below| target.join(below));
        make_folder(&to)?;
        fs::copy(&from, &to).with_context(|| format!("{}: the file can't be copied", shown(&from)))?;
    }
    Ok(())
}

fn make_folder(of: &Path) -> Result<()> {
    let folder = of.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder).with_context(|| format!("{}: the folder can't be made", shown(folder)))
}

fn stem(name: &str) -> String {
    Path::new(name).file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
}

/// Names of files that are written anew.
struct Names {
    /// In lower case.
    used: BTreeSet<String>,
    /// Those of them that a table was written to; two names that are no UTF-8 may look the same.
    written: BTreeSet<String>,
}

impl Names {
    fn of(&mut self, source: &Source, is_only: bool, is_whole_plant: bool) -> String {
        let folder = source.file.rsplit_once('/').map(|(folder, _)| folder);
        let name = match source.table {
            Some(table) if table != Table::Lists => return format!("{table}.csv"),
            _ if is_whole_plant => "lists".to_owned(),
            _ if is_only => stem(&source.file),
            _ => format!("{}-{}", stem(&source.file), plain(&source.sheet)),
        };
        let folder = folder.unwrap_or("lists");
        let is_text = source.sheet.is_empty();
        let free = |name: &String, all: &Self| {
            let name = name.to_lowercase();
            let is_own = is_text && name == source.file.to_lowercase();
            !all.used.contains(&name) || is_own && !all.written.contains(&name)
        };
        let mut whole = format!("{folder}/{name}.csv");
        let mut number = 2;
        while !free(&whole, self) {
            whole = format!("{folder}/{name}-{number}.csv");
            number += 1;
        }
        self.used.insert(whole.to_lowercase());
        self.written.insert(whole.to_lowercase());
        whole
    }
}

/// A sheet's name as part of a file's.
fn plain(sheet: &str) -> String {
    let sign = |letter: char| if letter.is_alphanumeric() || matches!(letter, '-' | '_' | ' ') { letter } else { '_' };
    sheet.trim().chars().map(sign).collect()
}

/// Writes down the fixture that the old file's name gave.
fn name_fixture(table: &mut GivenTable, plant: &Plant, stem: &str) {
    let place = table.place_of("fixture", plant.policy.units);
    for row in &mut table.rows {
        if let Some(cell) = row.cells.get_mut(place).filter(|cell| cell.trim().is_empty()) {
            stem.clone_into(cell);
        }
    }
}

fn write_table(path: &Path, name: &str, table: &GivenTable) -> Result<()> {
    make_folder(path)?;
    let said = || format!("{name}: the changed table can't be written");
    let mut out = csv::WriterBuilder::new().flexible(true).from_path(path).with_context(said)?;
    out.write_record(table.columns.iter().map(|column| column.text.as_str())).with_context(said)?;
    for row in &table.rows {
        out.write_record(&row.cells).with_context(said)?;
    }
    out.flush().with_context(said)
}

/// Places of the circuits that a split made, each with the circuit that it was.
#[must_use]
pub fn groups_of<'a>(
    rows: impl Iterator<Item = &'a crate::remedy::remedy_row::RemedyRow>,
) -> BTreeMap<crate::tables::circuit::CircuitKey, crate::tables::circuit::CircuitKey> {
    let mut all = BTreeMap::new();
    for row in rows {
        if let Some(crate::remedy::edit::Edit::Split { groups, .. }) = &row.edit {
            for group in groups {
                let mut place = row.place.clone();
                place.circuit = group.name.as_str().into();
                all.insert(place, row.place.clone());
            }
        }
    }
    all
}
