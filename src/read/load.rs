//! Every file of a plant, loaded and put together.

use std::path::Path;

use chrono::NaiveDate;
use rayon::prelude::*;

use crate::tables::cell_edit::CellEdit;
use crate::tables::column::Table;
use crate::tables::origin::{InputNote, NoteKind, Origin, Source, SourceId};
use crate::tables::plant::Plant;
use crate::tables::policy::{NamedFile, Policy};

use super::as_given::{CellText, GivenTable, given_row};
use super::cell::{GridRow, clean};
use super::circuits::{self, ReadCircuits};
use super::collector::{Sheet, SheetForm};
use super::edited::EditedCells;
use super::error::{Problems, ReadError};
use super::folder::{Entry, Role, TEXT_ENDINGS, assigned, entries, entries_with, table_of};
use super::lists::matrix;
use super::lists::table::{ListTable, of_text as list_of_text, on_sheet};
use super::lists::{Lists, Scanned, first_pass_decoded};
use super::names::Names;
use super::note::row_note;
use super::parquet_file::{PARQUET_ENDING, read_parquet};
use super::part_number::PartIndex;
use super::shares::{Parting, Shares};
use super::sheet::read_workbook;
use super::table::{Grid, Loaded, bare_source, doubt_titles, header_on, of_sheet, of_text};
use super::text_file::{HEADER_ROWS, Room, TextFile, sha256, whole_file};
use super::{Reading, components, orders, policy, stations, waivers};

/// What a file or sheet turned out to hold.
#[derive(Debug)]
enum TableOrList {
    Table(Grid),
    /// Read already, since it may have very many rows.
    Circuits(Box<ReadCircuits>),
    List(Box<ListTable>),
}

/// The policy of a plant, and its files with what each is read as.
struct Opened {
    policy: Policy,
    source: Option<Source>,
    files: Vec<Entry>,
}

fn opened(
    path: &Path,
    policy_file: Option<&Path>,
    components: Option<&Path>,
    today: NaiveDate,
) -> Result<Opened, ReadError> {
    let files = entries_with(path, components);
    let own = files.as_ref().ok().and_then(|files| files.iter().find(|entry| entry.role == Role::Policy));
    let (policy, source) = match (policy_file, own) {
        (Some(file), _) => read_policy(&file.display().to_string(), file, today)?,
        (None, Some(entry)) => read_policy(&entry.name, &entry.path, today)?,
        (None, None) => (Policy::at(today), None),
    };
    let mut files = assigned(path, files?, &policy)?;
    if policy_file.is_some() {
        for entry in files.iter_mut().filter(|entry| entry.role == Role::Policy) {
            let why = "Another policy was named for this run; it was not read.".to_owned();
            entry.role = Role::PassedOver { why, may_belong: false };
        }
    }
    Ok(Opened { policy, source, files })
}

/// How the lists of a plant are shared among parts of a run.
pub(crate) fn parting(
    path: &Path,
    policy_file: Option<&Path>,
    components: Option<&Path>,
    today: NaiveDate,
    of: u32,
) -> Result<Parting, ReadError> {
    Parting::of(&opened(path, policy_file, components, today)?.files, of)
}

/// Reads a plant, of its lists those of one part where a share is named.
pub(crate) fn plant(
    path: &Path,
    policy_file: Option<&Path>,
    components: Option<&Path>,
    today: NaiveDate,
    edits: &[CellEdit],
    share: Option<(&Shares, u32)>,
) -> Result<Reading, ReadError> {
    let Opened { policy, source: policy_source, mut files } = opened(path, policy_file, components, today)?;
    if let Some((shares, part)) = share {
        files.retain(|entry| entry.role != Role::Table(Table::Lists) || shares.part_of(&entry.name) == Some(part));
    }
    let room = Room::default();
    let compare = may_hold_several_lists(&files);
    // Lists are scanned as soon as they are loaded, beside the loading of the other tables.
    let part = |entry: &Entry| -> Result<Vec<Part>, ReadError> {
        let loaded = match circuits_at_once(entry, &policy, !edits.is_empty())? {
            Some(circuits) => vec![circuits],
            None => load(entry, &policy, policy_source.as_ref(), &room)?,
        };
        Ok(loaded.into_par_iter().map(|part| Part::of(part, &policy, compare, !edits.is_empty())).collect())
    };
    let loaded: Vec<Result<Vec<Part>, ReadError>> = files.par_iter().map(part).collect();
    let mut problems = Problems::default();
    let mut parts: Vec<Part> = loaded.into_iter().filter_map(|result| problems.take(result)).flatten().collect();
    if let Some(source) = policy_source.filter(|_| policy_file.is_some()) {
        parts.push(Part::Small(Loaded { source, notes: Vec::new(), body: None }));
    }
    let mut reading = assemble(path, policy, parts, problems, edits)?;
    reading.lists.are_a_share = share.is_some();
    Ok(reading)
}

/// A file or sheet, its list scanned; the circuits table, which may have very many rows, is read at once.
#[derive(Debug)]
enum Part {
    Small(Loaded<Grid>),
    Circuits(Loaded<ReadCircuits>),
    List(Source, Box<Result<Scanned, ReadError>>),
}

impl Part {
    /// * `is_edited` – whether rows may be changed before they are read
    fn of(loaded: Loaded<TableOrList>, policy: &Policy, compare: bool, is_edited: bool) -> Self {
        let Loaded { source, mut notes, body } = loaded;
        match body {
            Some(TableOrList::List(list)) => {
                let list = Loaded { source: source.clone(), notes, body: Some(*list) };
                Self::List(source, Box::new(first_pass_decoded(list, policy, compare)))
            }
            Some(TableOrList::Circuits(read)) => Self::Circuits(Loaded { source, notes, body: Some(*read) }),
            Some(TableOrList::Table(grid)) if grid.layout.table == Table::Circuits && !is_edited => {
                let read = circuits::read(&grid.layout, grid.rows, 0, &mut notes);
                Self::Circuits(Loaded { source, notes, body: Some(read) })
            }
            Some(TableOrList::Table(grid)) => Self::Small(Loaded { source, notes, body: Some(grid) }),
            None => Self::Small(Loaded { source, notes, body: None }),
        }
    }
}

/// Whether a plant may have more than one list: then their lines are compared.
fn may_hold_several_lists(files: &[Entry]) -> bool {
    let is_list = |entry: &&Entry| {
        matches!(entry.role, Role::WholePlant | Role::BesideComponents | Role::Matrix | Role::Table(Table::Lists))
    };
    let mut lists = files.iter().filter(is_list);
    let is_text = |entry: &Entry| TEXT_ENDINGS.contains(&entry.ending().as_str());
    lists.next().is_some_and(|first| !is_text(first)) || lists.next().is_some()
}

const LARGEST_POLICY: u64 = 1 << 20;

pub(crate) fn read_policy(name: &str, path: &Path, today: NaiveDate) -> Result<(Policy, Option<Source>), ReadError> {
    let found = std::fs::metadata(path).map_err(|error| ReadError::io(name, &error))?;
    if found.is_file() && found.len() > LARGEST_POLICY {
        return Err(ReadError::new(format!("{name}: the file is larger than 1 MiB and no policy.")));
    }
    let bytes = whole_file(name, path, 1, "text_file_mib")?;
    let hash = sha256(&bytes);
    let text = String::from_utf8(bytes)
        .map_err(|_| ReadError::new(format!("{name}: the policy can't be decoded as UTF-8.")))?;
    let policy = policy::parse(name, &text, today)?;
    let mut source = bare_source(name, "", None);
    source.sha256 = hash;
    source.remarks.push("The policy.".to_owned());
    Ok((policy, Some(source)))
}

/// The circuits table where it is a text file, whose rows are read as they come: there may be very many.
///
/// * `is_edited` – whether rows may be changed before they are read
fn circuits_at_once(entry: &Entry, policy: &Policy, is_edited: bool) -> Result<Option<Loaded<TableOrList>>, ReadError> {
    if is_edited || entry.role != Role::Table(Table::Circuits) || !TEXT_ENDINGS.contains(&entry.ending().as_str()) {
        return Ok(None);
    }
    let open = |whole: bool| TextFile::open(&entry.name, &entry.path, &policy.bounds, &Room::default(), whole);
    let mut file = open(false)?;
    let mut read = None;
    // One that may not be held is refused as others are.
    if file.is_in_memory() || file.length.div_ceil(1 << 20) <= policy.bounds.memory_mib {
        read = circuits::in_stretches(&file, policy)?;
    }
    if read.is_none() && !file.is_in_memory() {
        file = open(true)?;
        read = circuits::in_stretches(&file, policy)?;
    }
    Ok(read.map(|read| held(read, |read| TableOrList::Circuits(Box::new(read)))))
}

fn load(
    entry: &Entry,
    policy: &Policy,
    policy_source: Option<&Source>,
    room: &Room,
) -> Result<Vec<Loaded<TableOrList>>, ReadError> {
    let only = |source: Source| vec![Loaded { source, notes: Vec::new(), body: None }];
    match &entry.role {
        Role::PassedOver { why, may_belong } => {
            let mut source = bare_source(&entry.name, "", None);
            source.is_left_out = *may_belong;
            source.remarks.push(why.clone());
            Ok(only(source))
        }
        Role::Policy => Ok(policy_source.cloned().map(only).unwrap_or_default()),
        Role::WholePlant | Role::BesideComponents => workbook(entry, policy, None),
        Role::Matrix => matrix_file(entry, policy),
        Role::Table(table) if !TEXT_ENDINGS.contains(&entry.ending().as_str()) => workbook(entry, policy, Some(*table)),
        Role::Table(Table::Lists) => {
            let file = TextFile::open(&entry.name, &entry.path, &policy.bounds, room, false)?;
            Ok(vec![held(list_of_text(file, &entry.stem(), policy)?, |list| TableOrList::List(Box::new(list)))])
        }
        Role::Table(table) => {
            let file = TextFile::open(&entry.name, &entry.path, &policy.bounds, room, true)?;
            Ok(vec![held(of_text(&file, *table, policy)?, TableOrList::Table)])
        }
    }
}

/// Every table of a plant but the lists as given, read once more.
///
/// # Errors
/// Where a file can't be read any more.
pub(crate) fn tables_as_given(path: &Path, plant: &Plant) -> Result<Vec<GivenTable>, ReadError> {
    let mut all = Vec::new();
    for entry in assigned(path, entries(path)?, &plant.policy)? {
        if !matches!(entry.role, Role::WholePlant | Role::Table(_)) || entry.role == Role::Table(Table::Lists) {
            continue;
        }
        for part in load(&entry, &plant.policy, None, &Room::default())? {
            let Some(TableOrList::Table(grid)) = part.body else { continue };
            let mut table = GivenTable::of(&part.source.file, &part.source.sheet, &grid.layout);
            let origin = |row: &GridRow| Origin { source: 0, row: row.number };
            let rows = grid.rows.iter();
            table.rows = rows.map(|row| given_row(&grid.layout, row, origin(row), CellText::ClearByItself)).collect();
            all.push(table);
        }
    }
    Ok(all)
}

fn held<T>(loaded: Loaded<T>, wrap: impl FnOnce(T) -> TableOrList) -> Loaded<TableOrList> {
    Loaded { source: loaded.source, notes: loaded.notes, body: loaded.body.map(wrap) }
}

/// The lists of a file that holds quantities by part and circuit, one for each circuit.
fn matrix_file(entry: &Entry, policy: &Policy) -> Result<Vec<Loaded<TableOrList>>, ReadError> {
    let Some(matrix) = &policy.matrix else { return Ok(Vec::new()) };
    if TEXT_ENDINGS.contains(&entry.ending().as_str()) {
        let file = TextFile::open(&entry.name, &entry.path, &policy.bounds, &Room::default(), true)?;
        let mut source = bare_source(&entry.name, "", Some(Table::Lists));
        source.sha256.clone_from(&file.sha256);
        source.remarks.clone_from(&file.remarks);
        let lists = matrix::of_text(&file, &source, matrix, &entry.stem(), policy)?;
        return Ok(lists.into_iter().map(|list| held(list, |list| TableOrList::List(Box::new(list)))).collect());
    }
    workbook(entry, policy, Some(Table::Lists))
}

/// The sheets of a workbook: of one table, or of a whole plant.
fn workbook(entry: &Entry, policy: &Policy, table: Option<Table>) -> Result<Vec<Loaded<TableOrList>>, ReadError> {
    let bytes = whole_file(&entry.name, &entry.path, policy.bounds.workbook_mib, "workbook_mib")?;
    let hash = sha256(&bytes);
    let sheets = if entry.ending() == PARQUET_ENDING {
        read_parquet(&entry.name, &bytes, &policy.bounds)?
    } else {
        read_workbook(&entry.name, &entry.ending(), bytes, &policy.bounds)?
    };
    // A report that another program saved again has lost its properties, and still its sheets.
    if OWN_SHEETS.iter().all(|name| sheets.iter().any(|sheet| sheet.name == *name)) {
        return Err(ReadError::new(format!(
            "{}: by its sheets it is a report that this program wrote, and no table of a plant; keep it outside the plant.",
            entry.name
        )));
    }
    let is_matrix = |sheet: &Sheet| is_matrix(entry, sheet, policy);
    if let Some(matrix) = &policy.matrix
        && entry.role == Role::Matrix
        && !sheets.iter().any(is_matrix)
    {
        let names: Vec<String> = sheets.iter().map(|sheet| format!("'{}'", sheet.name)).collect();
        return Err(ReadError::new(format!(
            "{}: [files.matrix] of the policy names the sheet '{}', which is not there. The workbook has the sheets {}.",
            entry.name,
            matrix.sheet,
            names.join(", ")
        )));
    }
    let is_lists = |sheet: &Sheet| table_of(&sheet.name) == Some(Table::Lists) || is_matrix(sheet);
    // A sheet without the header of a list is none.
    let any_may_be_list = entry.role == Role::BesideComponents && !sheets.iter().any(is_lists);
    let roles = match table {
        _ if entry.role == Role::Matrix => vec![None; sheets.len()],
        None if any_may_be_list => sheets.iter().map(|sheet| table_of(&sheet.name).or(Some(Table::Lists))).collect(),
        None => plant_roles(entry, &sheets, policy)?,
        Some(table) if !entry.sheet.is_empty() => named_sheet(entry, &sheets, table)?,
        Some(Table::Lists) => sheets.iter().map(|_| Some(Table::Lists)).collect(),
        Some(table) => one_sheet(entry, &sheets, table, policy)?,
    };
    let is_of_lists = table == Some(Table::Lists) || any_may_be_list;
    let mut loaded = Vec::new();
    let mut problems = Problems::default();
    let mut headless = Vec::new();
    for (sheet, role) in sheets.into_iter().zip(roles) {
        let mut source = bare_source(&entry.name, &sheet.name, None);
        source.sha256.clone_from(&hash);
        if let Some(matrix) = policy.matrix.as_ref().filter(|_| is_matrix(&sheet)) {
            source.remarks.clone_from(&sheet.remarks);
            source.table = Some(Table::Lists);
            let lists = matrix::on_sheet(&source, sheet.rows, &sheet.form, matrix, &entry.stem(), policy);
            for list in problems.take(lists).unwrap_or_default() {
                loaded.push(held(list, |list| TableOrList::List(Box::new(list))));
            }
            continue;
        }
        if role.is_none() && is_told_elsewhere(entry, &sheet, policy) {
            continue;
        }
        source.remarks = sheet.remarks;
        source.hidden.clone_from(&sheet.hidden);
        match on_one_sheet(source, sheet.rows, &sheet.form, role, entry, policy) {
            Ok(OneSheet::Read(part)) => loaded.push(*part),
            Ok(OneSheet::NoHeader(_, sentence)) if !is_of_lists => problems.add(sentence),
            Ok(OneSheet::NoHeader(mut source, sentence)) => {
                headless.push(sentence);
                source.remarks.push(NO_LIST.to_owned());
                loaded.push(Loaded { source: *source, notes: Vec::new(), body: None });
            }
            Err(error) => {
                problems.take::<()>(Err(error));
            }
        }
    }
    if is_of_lists && loaded.iter().all(|part| part.body.is_none()) {
        for sentence in headless {
            problems.add(sentence);
        }
    }
    problems.finish()?;
    Ok(loaded)
}

/// What a sheet gives: its table, if it has a role, or that its header is missing.
enum OneSheet {
    Read(Box<Loaded<TableOrList>>),
    NoHeader(Box<Source>, String),
}

fn on_one_sheet(
    mut source: Source,
    rows: Vec<GridRow>,
    form: &SheetForm,
    role: Option<Table>,
    entry: &Entry,
    policy: &Policy,
) -> Result<OneSheet, ReadError> {
    let Some(role) = role else {
        let of_table = rows_of_a_table(&rows, policy);
        source.is_left_out = of_table.is_some();
        source.remarks.push(of_table.map_or_else(
            || SKIPPED.to_owned(),
            |table| format!("The sheet has a header of the table {table}, and another was taken or none has its name; it was not read."),
        ));
        return Ok(OneSheet::Read(Box::new(Loaded { source, notes: Vec::new(), body: None })));
    };
    let names = Names::new(role, policy);
    let Some(header) = header_on(&rows, &names) else {
        let sentence = missing_header(&source.place(), &rows, &names);
        source.is_left_out = !rows.is_empty();
        return Ok(OneSheet::NoHeader(Box::new(source), sentence));
    };
    source.table = Some(role);
    let hidden = hidden_note(&source);
    let mut part = if role == Table::Lists {
        held(on_sheet(source, rows, form, header, &entry.stem(), &names)?, |list| TableOrList::List(Box::new(list)))
    } else {
        held(of_sheet(source, rows, form, header, &names)?, TableOrList::Table)
    };
    part.notes.extend(hidden);
    Ok(OneSheet::Read(Box::new(part)))
}

/// That what nobody sees on the sheet counts.
fn hidden_note(source: &Source) -> Option<InputNote> {
    let origin = Origin { source: 0, row: 1 };
    let note = |message: String| row_note(NoteKind::Suspected, origin, String::new(), message);
    (!source.hidden.is_empty()).then(|| note(source.hidden.join(" ")))
}

/// Sheets that every report of this program has.
const OWN_SHEETS: [&str; 4] = ["Summary", "Findings", "Basis", "Sources"];
/// The table whose header a sheet has, where rows stand below it: it may be the one that was meant.
fn rows_of_a_table(rows: &[GridRow], policy: &Policy) -> Option<Table> {
    let has_header = |table: &Table| header_on(rows, &Names::new(*table, policy)).is_some_and(|at| at + 1 < rows.len());
    // Headers of fewer columns are those of more tables: the one with the most is told.
    let known = |table: &Table| {
        let head = rows.get(..HEADER_ROWS.min(rows.len())).unwrap_or_default();
        Names::new(*table, policy).find(head).map_or(0, |(_, known)| known)
    };
    Table::ALL.iter().copied().filter(has_header).max_by_key(known)
}

const NO_LIST: &str = "It has no header with part_no and qty and is no list; it was not read.";
const SKIPPED: &str = "The sheet is none of the plant's tables; it was not read.";

fn missing_header(place: &str, rows: &[GridRow], names: &Names) -> String {
    names.missing(place, rows.get(..rows.len().min(64)).unwrap_or_default(), |index| {
        rows.get(index).map_or(1, |row| row.number)
    })
}

/// Whether a sheet that a table does not use is read as another table of its file, or named as unread
/// with the first of these.
fn is_told_elsewhere(entry: &Entry, sheet: &Sheet, policy: &Policy) -> bool {
    let of_file = |named: &&NamedFile| is_same_name(&named.file, &entry.name) && !named.sheet.is_empty();
    let named = policy.files.iter().flat_map(|(table, files)| {
        files.iter().filter(of_file).map(move |named| (Role::Table(*table), named.sheet.as_str()))
    });
    let matrix = policy.matrix.iter().filter(|matrix| is_same_name(&matrix.file, &entry.name));
    let mut all: Vec<(Role, &str)> = named.collect();
    all.extend(matrix.map(|matrix| (Role::Matrix, matrix.sheet.as_str())));
    let is_first = all.first().is_none_or(|(role, own)| *role == entry.role && is_same_name(own, &entry.sheet));
    !is_first || all.iter().any(|(_, own)| is_same_name(own, &sheet.name))
}

/// Whether a sheet holds quantities by part and circuit, as the policy says.
fn is_matrix(entry: &Entry, sheet: &Sheet, policy: &Policy) -> bool {
    let Some(matrix) = &policy.matrix else { return false };
    let is_here = match entry.role {
        Role::Matrix => true,
        Role::WholePlant | Role::BesideComponents => matrix.file.is_empty() || is_same_name(&matrix.file, &entry.name),
        _ => false,
    };
    is_here && (matrix.sheet.is_empty() && entry.role == Role::Matrix || is_same_name(&matrix.sheet, &sheet.name))
}

/// The tables that the sheets of a whole plant hold, by their names.
fn plant_roles(entry: &Entry, sheets: &[Sheet], policy: &Policy) -> Result<Vec<Option<Table>>, ReadError> {
    let named = |sheet: &Sheet| {
        let is_named = |named: &NamedFile| !named.sheet.is_empty() && is_same_name(&named.sheet, &sheet.name);
        policy.files.iter().find(|(_, named)| named.iter().any(is_named)).map(|(table, _)| *table)
    };
    let roles: Vec<Option<Table>> = sheets.iter().map(|sheet| named(sheet).or_else(|| table_of(&sheet.name))).collect();
    let mut problems = Problems::default();
    let names: Vec<String> = sheets.iter().map(|sheet| format!("'{}'", sheet.name)).collect();
    for table in Table::ALL {
        let count = roles.iter().filter(|role| **role == Some(*table)).count();
        // Lists that the policy names may be any number.
        let may_be_several =
            *table == Table::Lists && sheets.iter().filter(|sheet| named(sheet) == Some(*table)).count() == count;
        if count > 1 && !may_be_several {
            problems.add(format!("{}: there are {count} sheets for the table {table}; keep one.", entry.name));
        }
        let is_elsewhere = *table == Table::Lists && sheets.iter().any(|sheet| is_matrix(entry, sheet, policy));
        let is_given = *table == Table::Components && entry.role == Role::BesideComponents;
        if count == 0 && matches!(table, Table::Lists | Table::Components) && !is_elsewhere && !is_given {
            let way = if *table == Table::Components {
                " Give a component table of its own with --components FILE."
            } else {
                " [files] of the policy takes other names of sheets."
            };
            problems.add(format!(
                "{}: the sheet '{table}' is missing. The workbook has the sheets {}.{way}",
                entry.name,
                names.join(", ")
            ));
        }
    }
    problems.finish()?;
    Ok(roles)
}

fn is_same_name(one: &str, other: &str) -> bool {
    clean(one).to_lowercase() == clean(other).to_lowercase()
}

/// The sheet of a workbook that the policy names.
fn named_sheet(entry: &Entry, sheets: &[Sheet], table: Table) -> Result<Vec<Option<Table>>, ReadError> {
    let is_named = |sheet: &Sheet| is_same_name(&sheet.name, &entry.sheet);
    if sheets.iter().any(is_named) {
        return Ok(sheets.iter().map(|sheet| is_named(sheet).then_some(table)).collect());
    }
    let names: Vec<String> = sheets.iter().map(|sheet| format!("'{}'", sheet.name)).collect();
    Err(ReadError::new(format!(
        "{}: [files] {table} of the policy names the sheet '{}', which is not there. The workbook has the sheets {}.",
        entry.name,
        entry.sheet,
        names.join(", ")
    )))
}

/// The one sheet of a workbook that holds a table: the one with its name, else the only one with
/// its header.
fn one_sheet(entry: &Entry, sheets: &[Sheet], table: Table, policy: &Policy) -> Result<Vec<Option<Table>>, ReadError> {
    let names = Names::new(table, policy);
    let only = |wanted: usize| (0..sheets.len()).map(|index| (index == wanted).then_some(table)).collect();
    if let Some(named) = sheets.iter().position(|sheet| table_of(&sheet.name) == Some(table)) {
        return Ok(only(named));
    }
    let fitting: Vec<usize> = (0..sheets.len())
        .filter(|index| sheets.get(*index).is_some_and(|sheet| header_on(&sheet.rows, &names).is_some()))
        .collect();
    let quoted = |indices: &[usize]| {
        let names: Vec<String> =
            indices.iter().filter_map(|index| sheets.get(*index)).map(|sheet| format!("'{}'", sheet.name)).collect();
        names.join(", ")
    };
    match fitting.as_slice() {
        [one] => Ok(only(*one)),
        [] => Err(match sheets {
            [sheet] => ReadError::new(missing_header(
                &bare_source(&entry.name, &sheet.name, None).place(),
                &sheet.rows,
                &names,
            )),
            _ => ReadError::new(format!(
                "{}: no sheet has the header of the table {table}. The workbook has the sheets {}.",
                entry.name,
                quoted(&(0..sheets.len()).collect::<Vec<_>>())
            )),
        }),
        several => Err(ReadError::new(format!(
            "{}: more than one sheet has the header of the table {table}: {}; name one of them '{table}', or name it in [files] of the policy.",
            entry.name,
            quoted(several)
        ))),
    }
}

/// Numbers the sources, reads the tables and scans the lists.
fn assemble(
    path: &Path,
    policy: Policy,
    loaded: Vec<Part>,
    mut problems: Problems,
    edits: &[CellEdit],
) -> Result<Reading, ReadError> {
    let mut plant = Plant::empty(policy);
    let mut grids: Vec<(SourceId, Grid)> = Vec::new();
    let mut lists: Vec<(SourceId, Result<Scanned, ReadError>)> = Vec::new();
    let mut circuits = None;
    for (id, part) in (0_u32..).zip(loaded) {
        let here = |note: InputNote| InputNote { origin: Origin { source: id, ..note.origin }, ..note };
        match part {
            Part::List(source, scanned) => {
                plant.sources.push(source);
                lists.push((id, *scanned));
            }
            Part::Small(Loaded { source, notes, body }) => {
                plant.sources.push(source);
                plant.notes.extend(notes.into_iter().map(here));
                grids.extend(body.map(|grid| (id, grid)));
            }
            Part::Circuits(Loaded { source, notes, body }) => {
                plant.sources.push(source);
                plant.notes.extend(notes.into_iter().map(here));
                circuits = body.map(|read| read.of_source(id));
            }
        }
    }
    if lists.is_empty() && problems.is_empty() {
        problems.add(format!("{}: no list was found among its files.", path.display()));
    }
    grids.sort_by_key(|(_, grid)| grid.layout.table != Table::Components);
    let mut parts = PartIndex::default();
    for (source, grid) in &mut grids {
        let edited = EditedCells::of(*source, &mut grid.layout, edits, &plant.policy)?;
        if !edited.is_empty() {
            edited.put_into(grid);
            if let Some(own) = plant.sources.get_mut(*source as usize) {
                own.header = grid.layout.header_cells();
            }
        }
        if grid.layout.table == Table::Circuits {
            circuits = Some(circuits::read(&grid.layout, std::mem::take(&mut grid.rows), *source, &mut plant.notes));
        } else {
            read_table(&mut plant, *source, grid, &mut parts);
        }
    }
    if let Some(read) = &circuits {
        plant.has_circuits = true;
        if let Some(place) = plant.sources.get_mut(read.source as usize) {
            place.rows_set_aside += read.set_aside;
        }
    }
    // Many rows: given back beside what follows.
    rayon::spawn(move || drop(grids));
    let lists = Lists::build(lists, parts, &mut plant, &mut problems, edits, circuits);
    problems.finish()?;
    let mut notes = std::mem::take(&mut plant.notes);
    doubt_titles(&mut notes, |text| plant.component(text).is_some());
    notes.sort_by_key(|note| note.origin);
    plant.notes = notes;
    Ok(Reading { plant, lists })
}

fn read_table(plant: &mut Plant, source: SourceId, grid: &Grid, parts: &mut PartIndex) {
    let notes = &mut plant.notes;
    let set_aside = match grid.layout.table {
        Table::Components => {
            let read = components::read(grid, source, notes);
            *parts = PartIndex::new(&read.components);
            (plant.components, plant.part_index, plant.repeated_parts) =
                (read.components, read.index.into(), read.repeated);
            read.set_aside
        }
        Table::Stations => {
            plant.has_stations = true;
            let (stations, set_aside) = stations::read(grid, source, parts, notes);
            plant.station_index =
                stations.iter().enumerate().map(|(index, station)| (station.station.as_str().into(), index)).collect();
            plant.stations = stations;
            set_aside
        }
        Table::Orders => {
            let (orders, set_aside) = orders::read(grid, source, parts, notes);
            plant.orders = Some(orders);
            set_aside
        }
        Table::Waivers => {
            let (waivers, set_aside) = waivers::read(grid, source, notes);
            plant.waivers = waivers;
            set_aside
        }
        Table::Circuits | Table::Lists => 0,
    };
    if let Some(place) = plant.sources.get_mut(source as usize) {
        place.rows_set_aside += set_aside;
    }
}
