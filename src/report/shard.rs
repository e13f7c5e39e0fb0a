//! Parts of a run, audited side by side, and how they are joined.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap, HashMap};
use std::fs::File;
use std::io::{BufReader, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};
use csv::ByteRecord;
use serde::{Deserialize, Serialize};

use crate::audit::counts::Counts;
use crate::audit::due::Due;
use crate::audit::usage_book::KeptUsage;
use crate::circuit::waiving::Matches;
use crate::remedy::bearing::Bearing;
use crate::remedy::edit::Edit;
use crate::remedy::remedy_row::RemedyRow;
use crate::rules::catalogue::place_of;
use crate::tables::circuit::{CircuitKey, Name};
use crate::tables::origin::{InputNote, SourceId};

use super::data_rows::CsvRow;
use super::remedy_rows::{REMEDY_COLUMNS, remedy_row};
use super::run_folder::{RunFolderError, regular, verified};
use super::whole_file::shown;

/// Name of the file that a part of a run leaves beside its data files.
pub const SHARD_FILE: &str = "shard.json";

/// What a part of a run knows besides its rows.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShardState {
    pub part: u32,
    pub of: u32,
    /// The plant as it was named, made absolute.
    pub plant: PathBuf,
    pub policy: Option<PathBuf>,
    /// Date and hash of the policy, hashes of all sources, those of the lists left out where each part reads its own:
    /// parts of one run share them.
    pub date: String,
    pub policy_hash: String,
    pub sources: Vec<String>,
    pub has_previous: bool,
    pub searches_remedies: bool,
    /// Where each part reads its own lists.
    pub by_file: Option<ByFile>,
    /// The run's id: that of the whole run, but for `by_file`.
    pub run: String,
    /// SHA-256 of the part's other files, by name.
    pub files: BTreeMap<String, String>,
    pub usage: Vec<KeptUsage>,
    pub matches: Matches,
    pub counts: Counts,
    #[serde(default)]
    pub due: Vec<Due>,
    pub set_aside: Vec<(SourceId, u64)>,
    /// Obsolete parts, each with the first circuit of a fixture that uses it.
    pub obsolete: Vec<(String, CircuitKey)>,
    pub remedies: Vec<KeptRemedy>,
    /// On lines of the lists.
    pub notes: Vec<InputNote>,
}

/// What a part of a run knows of the lists, where the parts are told apart by files.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ByFile {
    /// Of the shares of all parts.
    pub identity: String,
    /// Whether the part read all lists after all, and audited the pallets of its own.
    pub reads_all: bool,
    /// Hashes of all sources that it read, by their numbers.
    pub sources: Vec<String>,
    /// Plant and pallet of those that it left aside, since lists of other parts may go on with them.
    pub left: Vec<[Name; 2]>,
}

impl ByFile {
    /// Whether the part left a pallet aside.
    #[must_use]
    pub fn has_left(&self, plant: &Name, pallet: &Name) -> bool {
        self.left.iter().any(|[own_plant, own_pallet]| own_plant == plant && own_pallet == pallet)
    }
}

/// A remedy's row with what it is sorted by.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptRemedy {
    pub cleared: u64,
    pub place: CircuitKey,
    pub position: String,
    pub part_from: String,
    pub part_to: String,
    /// Rules that a change of a load station clears, to which parts of a run may come each by itself.
    #[serde(default)]
    pub of_station: Option<Vec<String>>,
    #[serde(default)]
    pub bearing: Bearing,
    pub row: String,
}

impl KeptRemedy {
    /// Of a remedy.
    #[must_use]
    pub fn of(remedy: &RemedyRow) -> Self {
        let mut row = Vec::new();
        remedy_row(&mut row, remedy);
        Self {
            cleared: remedy.cleared,
            place: CircuitKey::clone(&remedy.place),
            position: remedy.position.to_string(),
            part_from: remedy.part_from.to_string(),
            part_to: remedy.part_to.to_string(),
            of_station: is_of_station(remedy).then(|| remedy.rules.iter().map(ToString::to_string).collect()),
            bearing: Bearing::of(remedy),
            row: String::from_utf8_lossy(&row).into_owned(),
        }
    }
}

fn is_of_station(remedy: &RemedyRow) -> bool {
    matches!(remedy.edit, Some(Edit::StationSetting { .. } | Edit::StationPart { .. }))
}

/// Cells of a remedy's row in which the same change of a load station may differ from part to part.
const DIFFERING: [&str; 6] = ["plant", "pallet", "fixture", "circuit", "rules", "cleared"];

/// The same change of a load station once, with all that it clears in any part of a run.
///
/// # Errors
/// Where a row is not as a run writes it.
pub fn gathered(remedies: Vec<KeptRemedy>) -> Result<Vec<KeptRemedy>> {
    let mut all: Vec<KeptRemedy> = Vec::with_capacity(remedies.len());
    let mut known: HashMap<Vec<String>, usize> = HashMap::new();
    for remedy in remedies {
        if remedy.of_station.is_none() {
            all.push(remedy);
            continue;
        }
        let cells = cells_of(&remedy.row)?;
        let kept = cells.iter().zip(REMEDY_COLUMNS).filter(|(_, column)| !DIFFERING.contains(column));
        let key: Vec<String> = kept.map(|(cell, _)| cell.clone()).collect();
        match known.get(&key) {
            Some(place) => join(&mut all[*place], remedy, &cells),
            None => {
                known.insert(key, all.len());
                all.push(remedy);
            }
        }
    }
    Ok(all)
}

fn cells_of(row: &str) -> Result<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(row.as_bytes());
    let record = reader.records().next().context("A part of the run holds an empty remedy.")??;
    Ok(record.iter().map(str::to_owned).collect())
}

/// Adds what the same change clears in another part.
fn join(own: &mut KeptRemedy, other: KeptRemedy, cells: &[String]) {
    let (Some(rules), Some(more)) = (&mut own.of_station, other.of_station) else { return };
    rules.extend(more);
    rules.sort_by_key(|code| place_of(code));
    rules.dedup();
    own.cleared += other.cleared;
    own.bearing.add(other.bearing);
    own.place = CircuitKey::default();
    let cleared = own.cleared.to_string();
    let rules = rules.join(" ");
    let mut out = Vec::new();
    let mut row = CsvRow::new(&mut out);
    for (cell, column) in cells.iter().zip(REMEDY_COLUMNS) {
        row.text(match *column {
            "rules" => &rules,
            "cleared" => &cleared,
            column if DIFFERING.contains(&column) => "",
            _ => cell,
        });
    }
    row.end();
    own.row = String::from_utf8_lossy(&out).into_owned();
}

/// Most findings cleared first, then by place: as the rows of a whole run.
pub fn sort_kept(remedies: &mut [KeptRemedy]) {
    remedies.sort_by(|a, b| in_order(a).cmp(&in_order(b)));
}

fn in_order(one: &KeptRemedy) -> (Reverse<u64>, &CircuitKey, &str, &str, &str) {
    (Reverse(one.cleared), &one.place, &one.position, &one.part_from, &one.part_to)
}

impl ShardState {
    /// What all parts of one run share.
    #[must_use]
    pub fn identity(&self) -> impl PartialEq + '_ {
        let options = (self.has_previous, self.searches_remedies, self.counts.sure.is_some());
        let shares = self.by_file.as_ref().map(|own| own.identity.as_str());
        (&self.run, &self.date, &self.policy_hash, &self.sources, self.of, options, shares)
    }

    /// Gives what stands in sources the numbers that these have among others.
    ///
    /// # Errors
    /// Where a source is not among them.
    pub fn renumber(&mut self, all: &[String]) -> Result<()> {
        let Some(own) = &self.by_file else { return Ok(()) };
        let places: HashMap<&str, SourceId> = all.iter().map(String::as_str).zip(0..).collect();
        let numbers: Option<Vec<SourceId>> =
            own.sources.iter().map(|source| places.get(source.as_str()).copied()).collect();
        let Some(numbers) = numbers else {
            bail!("The files of the plant are not those that part {}/{} read.", self.part, self.of);
        };
        let number = |old: SourceId| numbers.get(old as usize).copied().unwrap_or_default();
        self.set_aside.iter_mut().for_each(|(source, _)| *source = number(*source));
        self.notes.iter_mut().for_each(|note| note.origin.source = number(note.origin.source));
        Ok(())
    }

    /// Reads the state that a part of a run left in a folder.
    ///
    /// # Errors
    /// Where the folder holds none, or one that can't be read.
    pub fn load(folder: &Path) -> Result<Self> {
        let path = folder.join(SHARD_FILE);
        let file = match regular(&path) {
            Err(RunFolderError::Missing(_)) => bail!(
                "{}: the folder holds no {SHARD_FILE}. Expected the data folder of a run with --shard.",
                shown(folder)
            ),
            other => other?,
        };
        let state: Self = serde_json::from_reader(BufReader::new(file))
            .with_context(|| format!("{}: the file is not as a run with --shard writes it", shown(&path)))?;
        for name in ["circuits.csv", "findings.csv"] {
            verified(folder, name, &state.files, SHARD_FILE)?;
        }
        Ok(state)
    }
}

/// Checks that states are the parts 1 to N of one run.
///
/// # Errors
/// Names what is missing, double or of another run.
pub fn check_parts(states: &[ShardState]) -> Result<()> {
    let Some(first) = states.first() else { bail!("No folder is given to merge.") };
    if let Some(other) = states.iter().find(|state| state.identity() != first.identity()) {
        bail!(
            "Part {}/{} is of another run than part {}/{}: inputs, policy, date or options differ.",
            other.part,
            other.of,
            first.part,
            first.of
        );
    }
    for part in 1..=first.of {
        match states.iter().filter(|state| state.part == part).count() {
            1 => {}
            0 => bail!("Part {part}/{} is missing.", first.of),
            _ => bail!("Part {part}/{} is given twice.", first.of),
        }
    }
    Ok(())
}

/// A row waiting for its turn: the heap gives the greatest, so the order is turned round.
struct Waiting {
    key: Vec<Vec<u8>>,
    file: usize,
    record: ByteRecord,
}

impl PartialEq for Waiting {
    fn eq(&self, other: &Self) -> bool {
        self.key == other.key && self.file == other.file
    }
}
impl Eq for Waiting {}
impl PartialOrd for Waiting {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Waiting {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        other.key.cmp(&self.key).then_with(|| other.file.cmp(&self.file))
    }
}

/// Joins sorted files with one header by four key columns from `first` on; calls `seen` with
/// every row.
///
/// # Errors
/// Where a file can't be read or the output can't be written.
pub fn join_rows(
    paths: &[PathBuf],
    first: usize,
    out: &mut dyn Write,
    seen: &mut dyn FnMut(&ByteRecord),
) -> Result<()> {
    let mut readers = Vec::new();
    for path in paths {
        let file = File::open(path).with_context(|| format!("{}: the file can't be read", shown(path)))?;
        readers.push(csv::Reader::from_reader(file));
    }
    let mut heap = BinaryHeap::new();
    for file in 0..readers.len() {
        push_next(&mut readers, &mut heap, file, first, paths)?;
    }
    let mut row = Vec::new();
    while let Some(Waiting { file, record, .. }) = heap.pop() {
        row.clear();
        let mut cells = CsvRow::new(&mut row);
        record.iter().for_each(|cell| {
            cells.text(&String::from_utf8_lossy(cell));
        });
        cells.end();
        out.write_all(&row)?;
        seen(&record);
        push_next(&mut readers, &mut heap, file, first, paths)?;
    }
    Ok(())
}

fn push_next(
    readers: &mut [csv::Reader<File>],
    heap: &mut BinaryHeap<Waiting>,
    file: usize,
    first: usize,
    paths: &[PathBuf],
) -> Result<()> {
    let mut record = ByteRecord::new();
    let more = readers[file].read_byte_record(&mut record);
    if more.with_context(|| format!("{}: the file is not as a run writes it", shown(&paths[file])))? {
        let key = (first..first + 4).map(|column| record.get(column).unwrap_or_default().to_vec()).collect();
        heap.push(Waiting { key, file, record });
    }
    Ok(())
}
