//! What a plant folder holds: which file is which table, and what is passed over.

use std::path::{Path, PathBuf};

use crate::tables::column::Table;
use crate::tables::policy::Policy;
use crate::tables::words::folded;

use super::cell::clean;
use super::error::{Problems, ReadError};
use super::parquet_file::PARQUET_ENDING;
use super::sheet::WORKBOOK_ENDINGS;

/// Endings of text files.
pub(crate) const TEXT_ENDINGS: &[&str] = &["csv", "tsv", "txt"];

/// What a file is read as.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) enum Role {
    /// One table; of a workbook, the sheet that holds it.
    Table(Table),
    /// Quantities by part and circuit.
    Matrix,
    /// Every table, one a sheet.
    WholePlant,
    /// Every table but the components; where no sheet is named lists, each with their header is one.
    BesideComponents,
    Policy,
    /// Not read.
    PassedOver {
        why: String,
        may_belong: bool,
    },
}

/// A file of the plant.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Entry {
    /// Below the plant folder, with `/`.
    pub name: String,
    pub path: PathBuf,
    pub role: Role,
    /// The sheet that holds the table, where the policy names it.
    pub sheet: String,
}

impl Entry {
    pub(crate) fn ending(&self) -> String {
        ending(&self.path)
    }

    pub(crate) fn stem(&self) -> String {
        self.path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
    }
}

fn ending(path: &Path) -> String {
    path.extension().map(|ending| ending.to_string_lossy().to_lowercase()).unwrap_or_default()
}

fn is_text(ending: &str) -> bool {
    TEXT_ENDINGS.contains(&ending)
}

pub(crate) fn is_table(ending: &str) -> bool {
    is_text(ending) || is_workbook(ending) || ending == PARQUET_ENDING
}

pub(crate) fn is_workbook(ending: &str) -> bool {
    WORKBOOK_ENDINGS.contains(&ending)
}

/// Every file of a plant in name order, with the component table that a run names beside it; or why it
/// is none.
pub(crate) fn entries_with(plant: &Path, components: Option<&Path>) -> Result<Vec<Entry>, ReadError> {
    let Some(path) = components else { return entries(plant) };
    let entry = |path: &Path, role| Entry { name: file_name(path), path: path.to_owned(), role, sheet: String::new() };
    let shown = path.display().to_string();
    let metadata = std::fs::metadata(path).map_err(|error| ReadError::io(&shown, &error))?;
    if !metadata.is_file() || !is_table(&ending(path)) {
        return Err(ReadError::new(format!(
            "{shown}: by its ending it is no file of a table. Name one for --components."
        )));
    }
    let mut found = if std::fs::metadata(plant).is_ok_and(|found| found.is_file()) && is_table(&ending(plant)) {
        let is_book = is_workbook(&ending(plant));
        vec![entry(plant, if is_book { Role::BesideComponents } else { Role::Table(Table::Lists) })]
    } else {
        entries(plant)?
    };
    let mut own = entry(path, Role::Table(Table::Components));
    if found.iter().any(|other| other.name == own.name) {
        own.name = shown;
    }
    found.push(own);
    Ok(found)
}

/// Every file of a plant in name order, or why it is none.
pub(crate) fn entries(plant: &Path) -> Result<Vec<Entry>, ReadError> {
    let shown = plant.display().to_string();
    let metadata = std::fs::metadata(plant).map_err(|error| ReadError::io(&shown, &error))?;
    if metadata.is_file() {
        if is_table(&ending(plant)) && !is_workbook(&ending(plant)) {
            return Err(ReadError::new(format!(
                "{shown}: this is one file of a table, and the component table is missing. Give it with --components FILE, or name a folder with both."
            )));
        }
        if !is_workbook(&ending(plant)) {
            return Err(ReadError::new(format!(
                "{shown}: a plant is a folder or one workbook ({}), and this is neither.",
                WORKBOOK_ENDINGS.join(", ")
            )));
        }
        let name = plant.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
        return Ok(vec![Entry { name, path: plant.to_owned(), role: Role::WholePlant, sheet: String::new() }]);
    }
    if !metadata.is_dir() {
        return Err(ReadError::new(format!(
            "{shown}: a plant is a folder or one workbook, and this is a pipe or a device."
        )));
    }
    let mut found = Vec::new();
    let mut problems = Problems::default();
    walk(plant, "", 0, &mut found, &mut problems)?;
    problems.finish()?;
    Ok(found)
}

/// The files with the tables that the policy names them, complete as a plant.
pub(crate) fn assigned(plant: &Path, mut found: Vec<Entry>, policy: &Policy) -> Result<Vec<Entry>, ReadError> {
    let shown = plant.display().to_string();
    if found.iter().any(|entry| entry.role == Role::WholePlant) {
        return Ok(found);
    }
    let mut problems = Problems::default();
    let mut named_before: Vec<String> = Vec::new();
    let held_there = held(&found);
    let all = policy.files.iter().flat_map(|(table, files)| files.iter().map(move |named| (table, named)));
    for (table, named) in all {
        if named.file.is_empty() {
            for entry in found.iter_mut().filter(|entry| entry.role == Role::Table(*table)) {
                entry.sheet.clone_from(&named.sheet);
            }
            continue;
        }
        let wanted = clean(named.file.trim_end_matches('/')).into_owned();
        let key = format!("[files] {table} of the policy names '{}'", named.file);
        let Some(at) = found.iter().position(|entry| clean(&entry.name) == wanted) else {
            problems.add(format!("{shown}: {key}, which is not there. {held_there}"));
            continue;
        };
        let Some(entry) = found.get_mut(at) else { continue };
        if *table == Table::Lists && is_own_folder(&entry.path) {
            let (path, name) = (entry.path.clone(), entry.name.clone());
            found.remove(at);
            walk(&path, &name, 1, &mut found, &mut problems)?;
            continue;
        }
        if !is_table(&entry.ending()) || !entry.path.is_file() {
            problems.add(format!("{shown}: {key}, which is no file of a table by its ending."));
            continue;
        }
        // Several tables may be sheets of one workbook.
        if named_before.contains(&entry.name) {
            let again = Entry { role: Role::Table(*table), sheet: named.sheet.clone(), ..entry.clone() };
            found.push(again);
        } else {
            entry.role = Role::Table(*table);
            entry.sheet.clone_from(&named.sheet);
            named_before.push(entry.name.clone());
        }
    }
    if let Some(matrix) = policy.matrix.as_ref().filter(|matrix| !matrix.file.is_empty()) {
        match found.iter_mut().find(|entry| clean(&entry.name) == clean(&matrix.file)) {
            Some(entry) if is_table(&entry.ending()) && entry.path.is_file() => {
                if named_before.contains(&entry.name) {
                    let again = Entry { role: Role::Matrix, sheet: matrix.sheet.clone(), ..entry.clone() };
                    found.push(again);
                } else {
                    entry.role = Role::Matrix;
                    entry.sheet.clone_from(&matrix.sheet);
                }
            }
            Some(_) => problems.add(format!(
                "{shown}: [files.matrix] of the policy names '{}', which is no file of a table by its ending.",
                matrix.file
            )),
            None => problems.add(format!(
                "{shown}: [files.matrix] of the policy names '{}', which is not there. {held_there}",
                matrix.file
            )),
        }
    }
    problems.finish()?;
    if !found.iter().any(|entry| matches!(entry.role, Role::Table(_) | Role::Matrix)) {
        whole_plant(&shown, &mut found)?;
    }
    complete(&shown, &found)?;
    Ok(found)
}

/// A folder without tables may hold one workbook that stands for all of them.
fn whole_plant(shown: &str, found: &mut [Entry]) -> Result<(), ReadError> {
    let is_candidate = |entry: &&mut Entry| {
        !entry.name.contains('/') && is_workbook(&entry.ending()) && is_plain(&file_name(&entry.path))
    };
    let mut candidates: Vec<&mut Entry> = found.iter_mut().filter(is_candidate).collect();
    match candidates.as_mut_slice() {
        [] => Ok(()),
        [only] => {
            only.role = Role::WholePlant;
            Ok(())
        }
        several => {
            let names: Vec<&str> = several.iter().map(|entry| entry.name.as_str()).collect();
            Err(ReadError::new(format!(
                "{shown}: the folder holds no table and more than one workbook that may stand for the plant: {}.",
                names.join(", ")
            )))
        }
    }
}

fn file_name(path: &Path) -> String {
    path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// A folder that is no link.
fn is_own_folder(path: &Path) -> bool {
    std::fs::symlink_metadata(path).is_ok_and(|found| found.is_dir())
}

/// The files of a folder that is no part of a plant, as lists in their name order.
pub(crate) fn files_in(entry: &Entry) -> Result<Vec<Entry>, ReadError> {
    let mut found = Vec::new();
    if is_own_folder(&entry.path) && is_plain(&file_name(&entry.path)) {
        walk(&entry.path, &entry.name, 1, &mut found, &mut Problems::default())?;
    }
    Ok(found)
}

/// Neither hidden nor the lock file of a spreadsheet that is open.
fn is_plain(name: &str) -> bool {
    !name.starts_with('.') && !name.starts_with("~$")
}

/// Whether a folder holds a file that may be a table by its ending.
fn holds_tables(folder: &Path) -> bool {
    let files = std::fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path());
    let mut plain = files.filter(|path| is_plain(&file_name(path)));
    plain.any(|path| is_table(&ending(&path)))
}

/// How deep folders below `lists` are searched.
const DEEPEST: usize = 32;

fn walk(
    folder: &Path,
    below: &str,
    depth: usize,
    found: &mut Vec<Entry>,
    problems: &mut Problems,
) -> Result<(), ReadError> {
    let shown = if below.is_empty() { folder.display().to_string() } else { below.to_owned() };
    let read = std::fs::read_dir(folder).map_err(|error| ReadError::io(&shown, &error))?;
    let mut paths = read
        .map(|entry| entry.map(|entry| entry.path()))
        .collect::<Result<Vec<_>, _>>()
        .map_err(|error| ReadError::io(&shown, &error))?;
    paths.sort();
    for path in paths {
        let file = file_name(&path);
        let name = if below.is_empty() { file.clone() } else { format!("{below}/{file}") };
        let metadata = std::fs::symlink_metadata(&path).map_err(|error| ReadError::io(&name, &error))?;
        let is_link = metadata.file_type().is_symlink();
        let target = std::fs::metadata(&path).ok();
        let is_folder = target.as_ref().is_some_and(std::fs::Metadata::is_dir);
        let role = if is_folder
            && !is_link
            && is_plain(&file)
            && depth < DEEPEST
            && (below.is_empty() && table_of(&file) == Some(Table::Lists)
                || !below.is_empty() && !is_table(&ending(&path)))
        {
            walk(&path, &name, depth + 1, found, problems)?;
            continue;
        } else if let Some(fault) = unreadable(&file, &ending(&path), below, target.as_ref(), is_link) {
            problems.add(format!("{name}: {fault}"));
            continue;
        } else if is_folder {
            let is_hidden_list = !below.is_empty() && !is_link && !is_plain(&file) && holds_tables(&path);
            let why = if is_link {
                "A link to a folder; it is not followed."
            } else if is_hidden_list {
                "A hidden folder that holds tables; it was not searched."
            } else {
                "A folder that is not part of a plant; it was not searched."
            };
            Role::PassedOver { why: why.to_owned(), may_belong: is_plain(&file) || is_hidden_list }
        } else if target.is_some_and(|target| target.is_file()) {
            role_of(&file, &ending(&path), below)
        } else {
            Role::PassedOver { why: "Not a regular file; it was not read.".to_owned(), may_belong: is_plain(&file) }
        };
        found.push(Entry { name, path, role, sheet: String::new() });
    }
    Ok(())
}

/// Why what stands under the name of a table, the policy or a list is none of them.
fn unreadable(
    file: &str,
    ending: &str,
    below: &str,
    target: Option<&std::fs::Metadata>,
    is_link: bool,
) -> Option<String> {
    if target.is_some_and(std::fs::Metadata::is_file) {
        return None;
    }
    let name = match role_of(file, ending, below) {
        Role::Policy => "the policy".to_owned(),
        Role::Table(Table::Lists) => "a list".to_owned(),
        Role::Table(table) => format!("the table {table}"),
        // The folder of the lists itself.
        _ if below.is_empty() && table_of(file) == Some(Table::Lists) => "the lists".to_owned(),
        _ => return None,
    };
    let what = match target {
        None if is_link => "a link that leads to nothing that can be read",
        None => "nothing that can be read",
        Some(target) if target.is_dir() && is_link => "a link to a folder, which is not followed",
        Some(target) if target.is_dir() => "a folder",
        Some(_) => "a pipe or a device",
    };
    Some(format!("under the name of {name} stands {what}; put the file in its place or give it another name."))
}

fn role_of(file: &str, ending: &str, below: &str) -> Role {
    let passed = |why: &str, may_belong: bool| Role::PassedOver { why: why.to_owned(), may_belong };
    if file.starts_with("~$") {
        return passed("A lock file of a spreadsheet that is open; it was not read.", false);
    }
    if file.starts_with('.') {
        // Other systems and programs leave such files of their own beside a table.
        let is_foreign = file.starts_with("._") || file.starts_with(".~");
        return passed("A hidden file; it was not read.", is_table(ending) && !is_foreign);
    }
    if below.is_empty() && file == "changes.csv" {
        return passed("The list of what was changed in this copy; it was not read.", false);
    }
    if below.is_empty() && file.eq_ignore_ascii_case("policy.toml") {
        return Role::Policy;
    }
    if !is_table(ending) {
        // Another policy than the one that counts may be the one that was meant.
        let may_belong = !below.is_empty() || ending.eq_ignore_ascii_case("toml") || is_named_like_a_part(file);
        return passed("Its ending is none of a table; it was not read.", may_belong);
    }
    if !below.is_empty() {
        return Role::Table(Table::Lists);
    }
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    table_of(stem)
        .map_or_else(|| passed("Its name is none of a table of a plant folder; it was not read.", true), Role::Table)
}

/// Whether a name begins with that of a table or of the policy: `policy.toml.bak`, `circuits.csv~`.
fn is_named_like_a_part(file: &str) -> bool {
    let name = folded(file);
    name.starts_with("policy") || Table::ALL.iter().any(|table| name.starts_with(&folded(&table.to_string())))
}

/// The table that a file, folder or sheet is named after.
pub(crate) fn table_of(name: &str) -> Option<Table> {
    Table::find(name)
}

/// Two files for one table, or a table that must be there and is not.
fn complete(shown: &str, found: &[Entry]) -> Result<(), ReadError> {
    let mut problems = Problems::default();
    for table in Table::ALL.iter().copied().filter(|table| *table != Table::Lists) {
        let files: Vec<&str> =
            found.iter().filter(|entry| entry.role == Role::Table(table)).map(|entry| entry.name.as_str()).collect();
        if files.len() > 1 {
            problems.add(format!(
                "{shown}: there are {} files for the table {table}: {}; keep one.",
                files.len(),
                files.join(" and ")
            ));
        }
    }
    if !found.iter().any(|entry| entry.role == Role::WholePlant) {
        let has = |table| found.iter().any(|entry| entry.role == Role::Table(table));
        let held = held(found);
        if !has(Table::Components) {
            problems.add(format!(
                "{shown}: the component table is missing, a file such as components.csv or components.xlsx, or one that [files] of the policy names; `clampbook headers` says which file it may be, and --components names one for a run. {held}"
            ));
        }
        let may_hold = |entry: &Entry| matches!(entry.role, Role::Matrix | Role::BesideComponents);
        if !has(Table::Lists) && !found.iter().any(may_hold) {
            problems.add(format!("{shown}: the lists are missing, a folder lists with at least one .csv, .tsv, .txt, .xlsx, .xlsm, .xls, .xlsb, .ods or .parquet file, or one that [files] of the policy names; `clampbook headers` says which file it may be. {held}"));
        }
    }
    problems.finish()
}

fn held(found: &[Entry]) -> String {
    if found.is_empty() {
        return "The folder is empty.".to_owned();
    }
    let mut all: Vec<&str> = found.iter().map(|entry| entry.name.as_str()).collect();
    // One workbook may be several tables.
    all.sort_unstable();
    all.dedup();
    let names: Vec<&str> = all.iter().take(10).copied().collect();
    let more = if all.len() > 10 { format!(" and {} more", all.len() - 10) } else { String::new() };
    format!("The folder holds {}{more}.", names.join(", "))
}
