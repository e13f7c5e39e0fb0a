//! The files that a check writes, opened before the long work and named when all are whole.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};

use crate::audit::circuits_swept::Rows;
use crate::audit::counts::PalletRows;
use crate::audit::decided::apart;
use crate::audit::input_causes::input_causes;
use crate::audit::outcome::Audit;
use crate::audit::sweep::RunError;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::side::{CircuitInputs, USUAL_TEMPERATURE};
use crate::circuit::trapped::{self, GaugeReading};
use crate::physics::quantity::{Pressure, Temperature};
use crate::remedy::bearing::Bearing;
use crate::report::buying_words;
use crate::report::calendar::{PRODUCT, calendar};
use crate::report::cards::{GaugeRow, GaugeRows, write_cards};
use crate::report::data_rows::{
    CAUSE_COLUMNS, CircuitRows, DUE_COLUMNS, FINDING_COLUMNS, INPUT_COLUMNS, PURCHASE_COLUMNS, cause_row,
    circuit_columns, due_row, finding_row, header, input_row, purchase_row,
};
use crate::report::history::{History, row_of};
use crate::report::remedy_rows::{REMEDY_COLUMNS, remedy_row};
use crate::report::run_folder::RunFolder;
use crate::report::run_json::run_json;
use crate::report::shard::{KeptRemedy, SHARD_FILE, ShardState, gathered, join_rows, sort_kept};
use crate::report::summary::RunSummary;
use crate::report::whole_file::{
    Batch, Inputs, Mark, OutputError, OutputLock, StagedFolder, WholeFile, check as check_place, ensure_folder,
    has_mark, refuse_foreign, settled, shown,
};
use crate::report::workbook;
use crate::tables::escaped::escaped;
use crate::tables::plant::Plant;
use crate::tables::words::{PLACE, Zone};

use crate::cli::told::complain;

use super::{CheckArgs, Only};

/// Data files, and the columns by which one of an earlier run is told from somebody else's.
const DATA_FILES: [(&str, &[&str]); 8] = [
    ("causes.csv", CAUSE_COLUMNS),
    ("due.csv", DUE_COLUMNS),
    ("circuits.csv", &["plant", "pallet", "fixture", "circuit", "verdict"]),
    ("findings.csv", &["rule", "severity", "state"]),
    ("cleared.csv", &["rule", "severity", "state"]),
    ("purchase.csv", &["part_no", "description", "kind", "uom", "needed", "ordered", "order_qty"]),
    ("input.csv", &["what", "file", "sheet"]),
    ("remedies.csv", &["change", "part_from", "part_to"]),
];

/// The data folder's files that grow while circuits are audited.
struct DataFiles {
    folder: StagedFolder,
    circuits: WholeFile,
    /// Rows of findings on circuits; those on parts, stations and the rest go before them.
    finding_rows: File,
}

/// All outputs of a run.
pub struct Outputs {
    data: Option<DataFiles>,
    workbook: Option<WholeFile>,
    cards: Option<WholeFile>,
    calendar: Option<WholeFile>,
    history: Option<PathBuf>,
    has_previous: bool,
    /// The run's id.
    run: String,
    /// Remedies that parts of the run kept.
    kept_remedies: Vec<KeptRemedy>,
    /// Rows of findings on circuits, where they are printed.
    printed: Option<Vec<u8>>,
    /// Whether circuits have columns on how sure their verdicts are.
    with_sureness: bool,
}

/// What came of the outputs besides the files.
pub struct Written {
    /// A sentence where the history is damaged.
    pub warning: Option<String>,
    /// Summary and findings, where they are printed.
    pub json: Option<Vec<u8>>,
}

impl Outputs {
    /// Opens everything that will be written, and refuses what is an input.
    ///
    /// # Errors
    /// Where something can't be written: a sentence.
    pub fn open(args: &CheckArgs, inputs: &Inputs, has_previous: bool, run: String) -> Result<Self> {
        if let Some(folder) = &args.data {
            inputs.refuse_folder(folder)?;
            // Others may stand in it.
            ensure_folder(folder)?;
        }
        refuse_twice(args)?;
        for path in [&args.out, &args.cards].into_iter().flatten() {
            inputs.refuse(path)?;
            refuse_ending(path)?;
            refuse_foreign(path, Mark::Workbook, args.replace)?;
        }
        if let Some(path) = &args.ical {
            inputs.refuse(path)?;
            refuse_other_ending(path)?;
            refuse_foreign(path, Mark::Near(PRODUCT), args.replace)?;
        }
        if let Some(path) = &args.history {
            // Found out now, not after the long work.
            check_place(path, inputs)?;
        }
        let data = args.data.as_deref().map(|folder| DataFiles::open(folder, inputs, args)).transpose()?;
        let made = |path: &PathBuf| match &data {
            Some(data) => data.folder.file(path),
            None => WholeFile::create(path),
        };
        let workbook = args.out.as_ref().map(made).transpose()?;
        let cards = args.cards.as_ref().map(made).transpose()?;
        let calendar = args.ical.as_ref().map(made).transpose()?;
        let printed = args.json.then(Vec::new);
        let (history, kept_remedies) = (args.history.clone(), Vec::new());
        Ok(Self {
            data,
            workbook,
            cards,
            calendar,
            history,
            has_previous,
            run,
            kept_remedies,
            printed,
            with_sureness: args.sure,
        })
    }

    /// No outputs, for an audit of which only the totals are wanted.
    #[must_use]
    pub const fn none() -> Self {
        Self {
            data: None,
            workbook: None,
            cards: None,
            calendar: None,
            history: None,
            has_previous: false,
            run: String::new(),
            kept_remedies: Vec::new(),
            printed: None,
            with_sureness: false,
        }
    }

    /// The run's id.
    #[must_use]
    pub fn run(&self) -> &str {
        &self.run
    }

    /// Whether the run is compared with an earlier one.
    #[must_use]
    pub const fn has_previous(&self) -> bool {
        self.has_previous
    }

    /// Waits until no other run completes outputs in the same folders.
    fn lock(&self) -> Result<OutputLock> {
        let files = [self.workbook.as_ref(), self.cards.as_ref(), self.calendar.as_ref()]
            .into_iter()
            .flatten()
            .map(WholeFile::path);
        let folder = self.data.as_ref().map(|data| data.folder.path());
        let outputs = files.chain(folder).chain(self.history.as_deref());
        let mut say =
            |folder: &Path| complain(&format!("{}: another run writes to this folder. Waiting for it.", shown(folder)));
        Ok(OutputLock::of(outputs, &mut say)?)
    }

    /// Whether audited circuits are kept for a workbook or cards.
    #[must_use]
    pub const fn keeps_audits(&self) -> bool {
        self.workbook.is_some() || self.cards.is_some()
    }

    /// Writes what a part of a run leaves for the others.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn write_part(mut self, mut state: ShardState) -> Result<()> {
        let _lock = self.lock()?;
        let Some(data) = self.data.take() else { return Ok(()) };
        let DataFiles { folder, circuits, mut finding_rows } = data;
        let mut set = FileSet::in_folder(&folder, false);
        set.add(circuits)?;
        let mut head = Vec::new();
        header(&mut head, FINDING_COLUMNS);
        set.add(with_spool(file_in(&folder, "findings.csv")?, &head, &mut finding_rows)?)?;
        let FileSet { mut batch, hashes, .. } = set;
        state.files = hashes;
        let json = serde_json::to_vec(&state).context("the part's state can't be made")?;
        batch.add(whole_with(file_in(&folder, SHARD_FILE)?, &json)?)?;
        batch.stand_in(folder);
        batch.commit()?;
        Ok(())
    }

    /// Calls `work` with what takes rows as they come: the data files, where they are written.
    ///
    /// # Errors
    /// Those of `work`; where the disk refuses.
    pub fn with_rows<T>(&mut self, work: impl FnOnce(Rows<CircuitRows>) -> Result<T, RunError>) -> Result<T, RunError> {
        let Self { data, printed, .. } = self;
        if data.is_none() && printed.is_none() {
            return work(Rows { add: |_, _, _| (), take: &mut Ok });
        }
        let mut take = |mut rows: CircuitRows| {
            if let Some(data) = &mut *data {
                data.take(&rows).map_err(|error| RunError::Output(format!("{error:#}")))?;
            }
            if let Some(printed) = &mut *printed {
                printed.extend_from_slice(&rows.findings);
            }
            rows.circuits.clear();
            rows.findings.clear();
            Ok(rows)
        };
        let add = if self.with_sureness { CircuitRows::add_with_sureness } else { CircuitRows::add };
        work(Rows { add, take: &mut take })
    }

    /// Joins the rows that the parts of a run wrote; `seen` is told every finding's row.
    ///
    /// # Errors
    /// Where a part's file can't be read or the disk refuses.
    pub fn join_parts(
        &mut self,
        folders: &[PathBuf],
        remedies: Vec<KeptRemedy>,
        seen: &mut dyn FnMut(&csv::ByteRecord),
    ) -> Result<()> {
        self.kept_remedies = remedies;
        let Some(data) = &mut self.data else { return Ok(()) };
        let paths = |name: &str| folders.iter().map(|folder| folder.join(name)).collect::<Vec<PathBuf>>();
        let (mut last, mut twice) = (Vec::new(), None);
        join_rows(&paths("circuits.csv"), 0, &mut data.circuits, &mut |row| {
            let place: Vec<Vec<u8>> = row.iter().take(PLACE.len()).map(<[u8]>::to_vec).collect();
            if place == last {
                twice = Some(place.iter().map(|name| String::from_utf8_lossy(name)).collect::<Vec<_>>().join(" / "));
            }
            last = place;
        })?;
        if let Some(twice) = twice {
            bail!("Circuit {} stands in two parts, and in neither with all its lines.", escaped(&twice));
        }
        let mut spool = io::BufWriter::new(&mut data.finding_rows);
        join_rows(&paths("findings.csv"), 3, &mut spool, seen)?;
        spool.flush().map_err(|error| OutputError::from_io(data.folder.path(), error).into())
    }

    /// Writes everything else and gives all files their names.
    ///
    /// # Errors
    /// Where the disk refuses: a sentence, and nothing has changed its name.
    pub fn write(mut self, args: &CheckArgs, audit: &mut Audit) -> Result<Written> {
        // Until all have their names: what this run reads of the history must not change under it.
        let _lock = self.lock()?;
        let mut summary = RunSummary::from_counts(&audit.plant.policy, &audit.counts, self.has_previous);
        summary.purchasing_not_assessed = audit.buying.lacks.len() as u64;
        summary.changes_apart = apart(&audit.remedies.iter().map(Bearing::of).collect::<Vec<Bearing>>());
        summary.buying = buying_words::in_short(audit);
        summary.run.clone_from(&self.run);
        summary.not_read = audit.plant.not_read();
        summary.beside.extend(audit.plant.rests_on());
        summary.only = audit.limit.as_ref().map(|limit| limit.words.clone());
        if let Some(folder) = &args.previous {
            summary.compare_with(&RunFolder::open(folder).context("--previous")?.summary);
        }
        let options = workbook_options(args, &self.run);
        let mut batch = Batch::new();
        let mut warning = None;
        if let Some(path) = &self.history {
            let history = History::with(path, row_of(&summary));
            warning.clone_from(&history.warning);
            if let Some(file) = history.rewritten(path)? {
                batch.add(file)?;
            }
            summary.keep_year(&history.rows);
            if self.workbook.is_some() {
                audit.history = history.rows;
            }
        }
        if let Some(mut file) = self.workbook.take() {
            let written = workbook::write(audit, &options, &mut file);
            whole(&mut file, written.map_err(anyhow::Error::from))?;
            batch.add(file)?;
        }
        if let Some(mut file) = self.cards.take() {
            let plant = &audit.plant;
            let gauges_of = |circuit: &CircuitAudit, at: &[Temperature]| gauges_of(plant, circuit, at);
            let written = write_cards(audit, &options, &gauges_of, &mut file);
            whole(&mut file, written.map_err(anyhow::Error::from))?;
            batch.add(file)?;
        }
        if let Some(mut file) = self.calendar.take() {
            write_to(&mut file, calendar(audit).as_bytes())?;
            batch.add(file)?;
        }
        if let Some(data) = self.data.take() {
            let kept = std::mem::take(&mut self.kept_remedies);
            let remedies = remedy_rows(audit, kept, &mut summary.changes_apart)?;
            batch = data.write(args, audit, &mut summary, &remedies, batch)?;
        }
        batch.commit()?;
        let json = self.printed.take().map(|rows| {
            let mut all = Vec::new();
            header(&mut all, FINDING_COLUMNS);
            audit.elsewhere.iter().for_each(|finding| finding_row(&mut all, &audit.plant, finding));
            all.extend(rows);
            run_json(&summary, &all)
        });
        Ok(Written { warning, json: json.transpose()? })
    }
}

/// Rows of remedies, with those of the parts of a run.
///
/// * `changes_apart` – rows that do not count beside the others
fn remedy_rows(audit: &Audit, of_parts: Vec<KeptRemedy>, changes_apart: &mut Vec<u64>) -> Result<Vec<u8>> {
    let mut rows = Vec::new();
    header(&mut rows, REMEDY_COLUMNS);
    if of_parts.is_empty() {
        // Each change of a load station once, in order, already.
        audit.remedies.iter().for_each(|remedy| remedy_row(&mut rows, remedy));
        return Ok(rows);
    }
    let of_run = audit.remedies.iter().map(KeptRemedy::of);
    let mut all = gathered(of_run.chain(of_parts).collect())?;
    sort_kept(&mut all);
    *changes_apart = apart(&all.iter().map(|remedy| remedy.bearing.clone()).collect::<Vec<Bearing>>());
    all.iter().for_each(|remedy| rows.extend_from_slice(remedy.row.as_bytes()));
    Ok(rows)
}

fn workbook_options(args: &CheckArgs, run: &str) -> workbook::WorkbookOptions {
    workbook::WorkbookOptions {
        run: run.to_owned(),
        only: if args.only == Some(Only::Purchase) { workbook::Sheets::Purchase } else { workbook::Sheets::All },
        remedies_searched: !args.no_remedies,
        ..workbook::WorkbookOptions::default()
    }
}

/// What the gauges of a circuit may read at temperatures; its test point where it has none.
fn gauges_of(plant: &Plant, audit: &CircuitAudit, temperatures: &[Temperature]) -> Vec<GaugeRows> {
    let service = audit.circuit.service();
    let inputs = CircuitInputs::of(plant, &audit.circuit, &service);
    let charge = inputs.charge_temperature().unwrap_or(USUAL_TEMPERATURE);
    let coldest = service.temp_min.map_or(charge, |lowest| lowest.min(charge));
    let hottest = service.temp_max.map_or(charge, |highest| highest.max(charge));
    // A pallet's card has the temperatures of all its circuits.
    let is_within = |at: Temperature| (coldest.si() - 1e-6..=hottest.si() + 1e-6).contains(&at.si());
    let with_charge: Vec<Temperature> = temperatures.iter().copied().chain([charge]).collect();
    let readings = |zone: Zone, accuracy: Option<Pressure>| {
        let accuracy = accuracy.unwrap_or(Pressure::ZERO);
        let known = trapped::gauge_readings(&inputs, &audit.figures, zone, accuracy, &with_charge);
        let known = known.unwrap_or_else(|| vec![GaugeReading::default(); with_charge.len()]);
        let row = |(reading, at): (GaugeReading, &Temperature)| GaugeRow {
            lowest: reading.lowest,
            highest: reading.highest,
            settled: reading.settled,
            is_within: is_within(*at),
        };
        let mut rows: Vec<GaugeRow> = known.into_iter().zip(&with_charge).map(row).collect();
        // The temperature at which it is charged, whether it has a column or not.
        let at_charge = rows.pop().unwrap_or_default();
        (rows, at_charge)
    };
    let clamp_zone = audit.figures.clamp.clamp_zone();
    let settled = |zone: Zone| audit.figures.holding.settled.filter(|_| zone == clamp_zone);
    let chain = &audit.figures.clamp.chain;
    let gauges = trapped::trapped_gauges(&inputs, &audit.figures);
    if gauges.is_empty() {
        let is_test_point = trapped::has_trapped_test_point(&inputs, &audit.figures);
        let (readings, at_charge) = readings(Zone::Full, None);
        let (charged, settled) = (chain.full, settled(Zone::Full));
        return vec![GaugeRows { is_test_point, charged, settled, at_charge, readings, ..GaugeRows::default() }];
    }
    let rows = |gauge: &trapped::TrappedGauge| {
        let (readings, at_charge) = readings(gauge.zone, gauge.accuracy);
        GaugeRows {
            settled: settled(gauge.zone),
            at_charge,
            readings,
            position: audit.circuit.lines.get(gauge.line).map_or_else(String::new, |line| line.position.to_string()),
            is_gauge: true,
            has_accuracy: gauge.accuracy.is_some(),
            charged: if gauge.zone == Zone::Reduced { chain.charge } else { chain.full },
            ..GaugeRows::default()
        }
    };
    gauges.iter().map(rows).collect()
}

/// A library's failure to write, as the sentence of the file where the disk is the cause.
fn whole(file: &mut WholeFile, written: Result<()>) -> Result<()> {
    match (written, file.failure()) {
        (_, Some(failure)) => Err(failure.into()),
        (result, None) => result,
    }
}

fn write_to(file: &mut WholeFile, bytes: &[u8]) -> Result<()> {
    let written = file.write_all(bytes).map_err(anyhow::Error::from);
    whole(file, written)
}

/// A workbook under another ending than its own would not open.
fn refuse_ending(path: &Path) -> Result<()> {
    if path.extension().is_none_or(|ending| !ending.eq_ignore_ascii_case("xlsx")) {
        bail!("{}: a workbook is written here, whose name ends in .xlsx. Choose another name.", shown(path));
    }
    Ok(())
}

/// A calendar under another ending than its own would not be taken for one.
fn refuse_other_ending(path: &Path) -> Result<()> {
    if path.extension().is_none_or(|ending| !ending.eq_ignore_ascii_case("ics")) {
        bail!("{}: a calendar is written here, whose name ends in .ics. Choose another name.", shown(path));
    }
    Ok(())
}

impl DataFiles {
    /// Writes the rows of some circuits.
    fn take(&mut self, rows: &CircuitRows) -> Result<()> {
        write_to(&mut self.circuits, &rows.circuits)?;
        let written = self.finding_rows.write_all(&rows.findings);
        written.map_err(|error| OutputError::from_io(self.folder.path(), error).into())
    }

    fn open(folder: &Path, inputs: &Inputs, args: &CheckArgs) -> Result<Self> {
        for name in names() {
            let path = folder.join(&name);
            inputs.refuse(&path)?;
            // Twins that this run doesn't write are left alone where they are somebody else's.
            if args.parquet || !name.ends_with(".parquet") {
                with_mark(&name, |mark| refuse_foreign(&path, mark, args.replace)).transpose()?;
            }
        }
        let folder = StagedFolder::beside(folder, is_of_a_run)?;
        let mut circuits = file_in(&folder, "circuits.csv")?;
        let mut head = Vec::new();
        header(&mut head, &circuit_columns(args.sure));
        write_to(&mut circuits, &head)?;
        let spool =
            tempfile::tempfile_in(folder.stage()).map_err(|error| OutputError::from_io(folder.path(), error))?;
        Ok(Self { folder, circuits, finding_rows: spool })
    }

    fn write(
        self,
        args: &CheckArgs,
        audit: &Audit,
        summary: &mut RunSummary<PalletRows>,
        remedies: &[u8],
        batch: Batch,
    ) -> Result<Batch> {
        let plant = &audit.plant;
        let Self { folder, circuits, mut finding_rows } = self;
        let mut set = FileSet { batch, ..FileSet::in_folder(&folder, args.parquet) };
        set.add(circuits)?;
        let mut head = Vec::new();
        header(&mut head, FINDING_COLUMNS);
        audit.elsewhere.iter().for_each(|finding| finding_row(&mut head, plant, finding));
        set.add(with_spool(file_in(&folder, "findings.csv")?, &head, &mut finding_rows)?)?;
        let mut input = Vec::new();
        header(&mut input, INPUT_COLUMNS);
        input_causes(&plant.notes).iter().for_each(|cause| input_row(&mut input, plant, cause));
        set.add_rows("input.csv", &input)?;
        let mut bill = Vec::new();
        header(&mut bill, PURCHASE_COLUMNS);
        audit.purchase.iter().for_each(|row| purchase_row(&mut bill, plant, row));
        set.add_rows("purchase.csv", &bill)?;
        let mut causes = Vec::new();
        header(&mut causes, CAUSE_COLUMNS);
        audit.counts.causes.in_order().into_iter().for_each(|cause| cause_row(&mut causes, cause));
        set.add_rows("causes.csv", &causes)?;
        let mut due = Vec::new();
        header(&mut due, DUE_COLUMNS);
        audit.due.iter().for_each(|one| due_row(&mut due, plant, one));
        set.add_rows("due.csv", &due)?;
        set.add_rows("remedies.csv", remedies)?;
        if summary.has_previous {
            let mut cleared = Vec::new();
            header(&mut cleared, FINDING_COLUMNS);
            audit.cleared.iter().for_each(|row| header(&mut cleared, row));
            set.add_rows("cleared.csv", &cleared)?;
        }
        let FileSet { mut batch, hashes, .. } = set;
        summary.files = hashes;
        let mut file = file_in(&folder, "summary.json")?;
        let written = summary.write(&mut file).context("summary.json can't be made");
        whole(&mut file, written)?;
        // The last to get its name: until then the folder's files are not taken for a run's.
        batch.add(file)?;
        batch.stand_in(folder);
        Ok(batch)
    }
}

/// Every name that a data file may have.
fn names() -> Vec<String> {
    let twins = DATA_FILES.iter().map(|(name, _)| name.replace(".csv", ".parquet"));
    let tables = DATA_FILES.iter().map(|(name, _)| (*name).to_owned());
    tables.chain(twins).chain(["summary.json", SHARD_FILE].map(str::to_owned)).collect()
}

/// Calls `see` with what tells a data file of this name from other files; `None` where none has that name.
fn with_mark<T>(name: &str, see: impl FnOnce(Mark) -> T) -> Option<T> {
    match name {
        "summary.json" => return Some(see(Mark::Start("{\n  \"tool\": \"clampbook "))),
        SHARD_FILE => return Some(see(Mark::Start("{\"part\":"))),
        _ => {}
    }
    let columns = |ending: &str| {
        let stem = name.strip_suffix(ending)?;
        let file = DATA_FILES.iter().find(|(file, _)| file.strip_suffix(".csv") == Some(stem));
        file.map(|(_, columns)| *columns)
    };
    if let Some(columns) = columns(".csv") {
        return Some(see(Mark::Start(&columns.join(","))));
    }
    columns(".parquet").map(|columns| see(Mark::Parquet(columns)))
}

/// Whether a file is a data file that a run of this program wrote.
fn is_of_a_run(path: &Path) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    with_mark(&name, |mark| has_mark(path, mark)).unwrap_or(false)
}

fn file_in(folder: &StagedFolder, name: &str) -> Result<WholeFile> {
    Ok(folder.file(&folder.path().join(name))?)
}

/// Two outputs can't have one place, which shows before the long work.
fn refuse_twice(args: &CheckArgs) -> Result<()> {
    let files: Vec<&PathBuf> = [&args.out, &args.cards, &args.ical, &args.history].into_iter().flatten().collect();
    let places: Vec<PathBuf> = files.iter().map(|path| settled(path)).collect();
    for (index, place) in places.iter().enumerate() {
        if places[..index].contains(place) {
            bail!("{}: two outputs have this name. Give each its own.", shown(files[index]));
        }
    }
    let of_data = |path: &&PathBuf| {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        args.data
            .as_ref()
            .is_some_and(|folder| names().contains(&name) && settled(path).parent() == Some(&settled(folder)))
    };
    match files.iter().find(|path| of_data(path)) {
        Some(path) => bail!("{}: a data file has this name. Give this output another.", shown(path)),
        None => Ok(()),
    }
}

/// Data files of one run on their way, with their hashes.
struct FileSet<'a> {
    folder: &'a StagedFolder,
    batch: Batch,
    hashes: BTreeMap<String, String>,
    /// Whether each gets a Parquet twin.
    with_parquet: bool,
}

impl<'a> FileSet<'a> {
    const fn in_folder(folder: &'a StagedFolder, with_parquet: bool) -> Self {
        Self { folder, batch: Batch::new(), hashes: BTreeMap::new(), with_parquet }
    }

    fn add_rows(&mut self, name: &str, rows: &[u8]) -> Result<()> {
        self.add(whole_with(file_in(self.folder, name)?, rows)?)
    }

    fn add(&mut self, mut file: WholeFile) -> Result<()> {
        let twin = if self.with_parquet { Some(self.parquet_twin(&mut file)?) } else { None };
        for mut file in [Some(file), twin].into_iter().flatten() {
            let name = file.path().file_name().unwrap_or_default().to_string_lossy().into_owned();
            self.hashes.insert(name, file.sha256()?);
            self.batch.add(file)?;
        }
        Ok(())
    }

    fn parquet_twin(&self, file: &mut WholeFile) -> Result<WholeFile> {
        let path = file.path().with_extension("parquet");
        let mut csv = File::open(file.temporary_path()?)?;
        let mut twin = self.folder.file(&path)?;
        let written = crate::report::parquet::from_csv(&mut csv, &mut twin);
        whole(&mut twin, written)?;
        Ok(twin)
    }
}

fn whole_with(mut file: WholeFile, bytes: &[u8]) -> Result<WholeFile> {
    write_to(&mut file, bytes)?;
    Ok(file)
}

fn with_spool(file: WholeFile, head: &[u8], spool: &mut File) -> Result<WholeFile> {
    let mut file = whole_with(file, head)?;
    spool.seek(SeekFrom::Start(0))?;
    let copied = io::copy(spool, &mut file).map(|_| ()).map_err(anyhow::Error::from);
    whole(&mut file, copied)?;
    Ok(file)
}
