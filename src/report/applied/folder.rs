//! The changed copy as a folder: changed cells in place where that can be, every other file byte by byte.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook};

use crate::read::as_given::{GivenCell, GivenSheet, GivenTable, sheets_as_given, text_as_given};
use crate::read::cell_formats::CellFormats;
use crate::read::{self, Lists};
use crate::tables::column::Table;
use crate::tables::origin::{Source, SourceId};
use crate::tables::plant::Plant;

use crate::report::whole_file::{settled, shown};

use super::cell_edits::{CellChange, CellContent, SheetEdits};
use super::rewriting::Rewriting;
use super::{text_in_place, workbook_in_place};

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

/// Writes the copy into an empty folder: files in which nothing changes byte by byte, the others with the
/// changed cells in them, and `changes.csv` that names each of these.
///
/// # Errors
/// Where a file can't be read any more or the disk refuses.
pub fn write(root: &Path, plant: &Plant, lists: &Lists, rewriting: &Rewriting, target: &Path) -> Result<()> {
    let touched = rewriting.sources();
    let sources: Vec<(SourceId, &Source)> = (0_u32..).zip(&plant.sources).collect();
    let files: BTreeSet<&str> =
        sources.iter().filter(|(id, _)| touched.contains(id)).map(|(_, source)| source.file.as_str()).collect();
    let has_tables = sources.iter().any(|(id, source)| touched.contains(id) && source.table != Some(Table::Lists));
    let tables = if has_tables { read::tables_as_given(root, plant)? } else { Vec::new() };
    copy_others(root, &sources, &files, target)?;
    let mut changes = Changes::default();
    let paths: BTreeMap<String, PathBuf> =
        if root.is_file() { BTreeMap::new() } else { read::files_of(root)?.into_iter().collect() };
    for file in files {
        let mut given = Vec::new();
        for (id, source) in sources.iter().filter(|(id, source)| source.file == file && touched.contains(id)) {
            let table = match source.table {
                Some(Table::Lists) => lists.given(*id, &source.file, &source.sheet)?,
                Some(_) => {
                    tables.iter().find(|table| table.file == source.file && table.sheet == source.sheet).cloned()
                }
                None => None,
            };
            given.extend(table.map(|table| (*id, table)));
        }
        // By its path: a name that is no UTF-8 is a source under another.
        let below = || if root.is_file() { root.to_owned() } else { root.join(file) };
        let from = paths.get(file).cloned().unwrap_or_else(below);
        let changing = Changing { plant, rewriting, file, from: &from, given };
        changes.join(changing.write(target)?);
    }
    changes.write(target)
}

/// What `changes.csv` tells.
#[derive(Default)]
struct Changes {
    cells: Vec<CellChange>,
    /// Files that could not be changed in place: old name, new name, and what was done.
    files: Vec<(String, String, String)>,
}

impl Changes {
    fn join(&mut self, mut other: Self) {
        self.cells.append(&mut other.cells);
        self.files.append(&mut other.files);
    }

    fn write(&self, target: &Path) -> Result<()> {
        let said = || format!("{CHANGES}: the list of changes can't be written");
        let mut out = csv::Writer::from_path(target.join(CHANGES)).with_context(said)?;
        out.write_record(["what", "file", "sheet", "row", "column", "header", "before", "after"]).with_context(said)?;
        for (old, new, how) in &self.files {
            out.write_record(["file", new, "", "", "", "", old, how]).with_context(said)?;
            rename_in_policy(target, old, new)?;
        }
        for change in &self.cells {
            let row = change.row.to_string();
            let CellChange { file, sheet, letter, header, before, after, .. } = change;
            out.write_record(["cell", file, sheet, &row, letter, header, before, after]).with_context(said)?;
        }
        out.flush().with_context(said)
    }
}

const CHANGES: &str = "changes.csv";

/// Has the copy's policy name a file by its new name.
fn rename_in_policy(target: &Path, old: &str, new: &str) -> Result<()> {
    let path = target.join("policy.toml");
    if old == new || !path.is_file() {
        return Ok(());
    }
    let said = || format!("{}: the policy can't be changed", path.display());
    let text = fs::read_to_string(&path).with_context(said)?;
    let quoted = |sign: char, name: &str| format!("{sign}{name}{sign}");
    let text = text.replace(&quoted('"', old), &quoted('"', new)).replace(&quoted('\'', old), &quoted('\'', new));
    fs::write(&path, text).with_context(said)
}

/// A file in which something changes.
struct Changing<'a> {
    plant: &'a Plant,
    rewriting: &'a Rewriting,
    file: &'a str,
    from: &'a Path,
    given: Vec<(SourceId, GivenTable)>,
}

impl Changing<'_> {
    fn write(&self, target: &Path) -> Result<Changes> {
        let ending = Path::new(self.file).extension().map(|ending| ending.to_string_lossy().to_lowercase());
        match ending.as_deref() {
            Some("csv" | "tsv" | "txt") => self.write_text(target),
            Some("parquet") => self.write_table(target),
            ending => self.write_workbook(target, matches!(ending, Some("xlsx" | "xlsm"))),
        }
    }

    /// The tables before and after.
    fn changed(&self) -> Vec<(&GivenTable, GivenTable)> {
        let after = |(id, table): &(SourceId, GivenTable)| {
            let mut after = table.clone();
            self.rewriting.apply(*id, self.plant, &mut after);
            after
        };
        self.given.iter().map(|given| (&given.1, after(given))).collect()
    }

    fn write_text(&self, target: &Path) -> Result<Changes> {
        let Some((_, first)) = self.given.first() else { return Ok(Changes::default()) };
        let text = text_as_given(first, self.from, &self.plant.policy.bounds)?;
        let changed = self.changed();
        let last = changed.iter().flat_map(|(table, _)| &table.rows).map(|row| row.origin.row).max();
        let mut next_row = last.unwrap_or(first.header_row) + 1;
        let mut edits = SheetEdits::default();
        changed.iter().for_each(|(before, after)| edits.add(before, after, &mut next_row));
        let out = text_in_place::changed(&text, &edits)?;
        let is_utf8 = std::str::from_utf8(&fs::read(self.from)?).is_ok();
        let mut changes = Changes { cells: edits.changes, files: Vec::new() };
        let mut bytes = out.into_bytes();
        if !is_utf8 {
            bytes.splice(0..0, *b"\xef\xbb\xbf");
            let how = "Its text is UTF-8 now; it was in another encoding.".to_owned();
            changes.files.push((self.file.to_owned(), self.file.to_owned(), how));
        }
        put(target, self.file, &bytes)?;
        Ok(changes)
    }

    /// A table of a file that is no text and no workbook, as CSV.
    fn write_table(&self, target: &Path) -> Result<Changes> {
        let mut changes = Changes::default();
        let name = with_ending(self.file, "csv");
        for (before, after) in self.changed() {
            let mut edits = SheetEdits::default();
            let mut next_row = before.rows.iter().map(|row| row.origin.row).max().unwrap_or(before.header_row) + 1;
            edits.add(before, &after, &mut next_row);
            changes.cells.extend(edits.changes.into_iter().map(|change| CellChange { file: name.clone(), ..change }));
            write_table(&target.join(&name), &name, &after)?;
        }
        changes.files.push((self.file.to_owned(), name, "A CSV file of the same rows.".to_owned()));
        Ok(changes)
    }

    fn write_workbook(&self, target: &Path, may_stay: bool) -> Result<Changes> {
        let sheets = sheets_as_given(self.file, self.from, &self.plant.policy.bounds)?;
        let mut edits: BTreeMap<String, SheetEdits> = BTreeMap::new();
        let mut next_rows: BTreeMap<String, u32> = BTreeMap::new();
        for (before, after) in self.changed() {
            let last = || sheets.iter().find(|sheet| sheet.name == before.sheet).map_or(0, GivenSheet::last_row);
            let next_row = next_rows.entry(before.sheet.clone()).or_insert_with(|| last() + 1);
            edits.entry(before.sheet.clone()).or_default().add(before, &after, next_row);
        }
        let cells = || edits.values().flat_map(|edits| edits.changes.iter().cloned());
        let in_place = if may_stay {
            let bytes = fs::read(self.from)?;
            let formats = CellFormats::of(&bytes, &self.plant.policy);
            Some(workbook_in_place::changed(&bytes, &edits, &formats))
        } else {
            None
        };
        let why = match in_place {
            Some(Ok(bytes)) => {
                put(target, self.file, &bytes)?;
                return Ok(Changes { cells: cells().collect(), files: Vec::new() });
            }
            Some(Err(why)) => format!(", since {why}"),
            None => String::new(),
        };
        let name = with_ending(self.file, "xlsx");
        put(target, &name, &same_cells(&sheets, &edits)?)?;
        let how = format!("A workbook of the same sheets and cells, without formulas and formats{why}.");
        Ok(Changes {
            cells: cells().map(|change| CellChange { file: name.clone(), ..change }).collect(),
            files: vec![(self.file.to_owned(), name.clone(), how)],
        })
    }
}

fn with_ending(file: &str, ending: &str) -> String {
    format!("{}.{ending}", file.rsplit_once('.').map_or(file, |(stem, _)| stem))
}

fn put(target: &Path, name: &str, bytes: &[u8]) -> Result<()> {
    let path = target.join(name);
    make_folder(&path)?;
    fs::write(&path, bytes).with_context(|| format!("{name}: the changed file can't be written"))
}

/// A workbook of the same sheets and cells, with some of them changed.
fn same_cells(sheets: &[GivenSheet], edits: &BTreeMap<String, SheetEdits>) -> Result<Vec<u8>> {
    let mut workbook = Workbook::new();
    // The same at any time, so that two copies are the same bytes.
    workbook.set_properties(&DocProperties::new().set_creation_datetime(&ExcelDateTime::from_ymd(2000, 1, 1)?));
    let date = Format::new().set_num_format("yyyy-mm-dd");
    for given in sheets {
        let sheet = workbook.add_worksheet();
        sheet.set_name(&given.name)?;
        for (row, column, cell) in &given.cells {
            let (row, column) = (row.saturating_sub(1), u16::try_from(*column)?);
            match cell {
                GivenCell::Text(text) => sheet.write_string(row, column, text)?,
                GivenCell::Number(number) => sheet.write_number(row, column, *number)?,
                GivenCell::Shown(number, code) => {
                    sheet.write_number_with_format(row, column, *number, &Format::new().set_num_format(code))?
                }
                GivenCell::Date(day) => {
                    let own = ExcelDateTime::parse_from_str(&day.to_string())?;
                    sheet.write_datetime_with_format(row, column, &own, &date)?
                }
            };
        }
        for ((row, column), content) in edits.get(&given.name).into_iter().flat_map(|edits| &edits.cells) {
            let (row, column) = (row.saturating_sub(1), u16::try_from(*column)?);
            match content {
                CellContent::Blank => sheet.clear_cell(row, column),
                CellContent::Text(text) => sheet.write_string(row, column, text)?,
                CellContent::Number(number, _) => sheet.write_number(row, column, *number)?,
            };
        }
    }
    Ok(workbook.save_to_buffer()?)
}

fn copy_others(root: &Path, sources: &[(SourceId, &Source)], files: &BTreeSet<&str>, target: &Path) -> Result<()> {
    let names: BTreeSet<&str> = sources.iter().map(|(_, source)| source.file.as_str()).collect();
    // By their paths: names that are no UTF-8 are sources under another. The policy may name folders of its own.
    let mut all = read::files_of(root)?;
    let known: BTreeSet<String> = all.iter().map(|(name, _)| name.clone()).collect();
    let further = names.iter().filter(|name| !known.contains(**name) && root.is_dir());
    all.extend(further.map(|name| ((*name).to_owned(), root.join(name))).collect::<Vec<_>>());
    for (name, from) in all {
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
                let whole = crate::tables::circuit::CircuitKey::clone(&row.place);
                let mut place = whole.clone();
                place.circuit = group.name.as_str().into();
                all.insert(place, whole);
            }
        }
    }
    all
}
