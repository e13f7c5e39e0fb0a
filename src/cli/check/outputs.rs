//! The files that a check writes, opened before the long work and named when all are whole.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};

use crate::audit::circuits_swept::Rows;
use crate::audit::outcome::Audit;
use crate::audit::sweep::RunError;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::side::CircuitInputs;
use crate::circuit::trapped;
use crate::physics::quantity::{Pressure, Temperature};
use crate::report::calendar::{PRODUCT, calendar};
use crate::report::data_rows::{
    CAUSE_COLUMNS, CircuitRows, DUE_COLUMNS, FINDING_COLUMNS, INPUT_COLUMNS, PURCHASE_COLUMNS, cause_row,
    circuit_columns, due_row, finding_row, header, input_row, purchase_row,
};
use crate::report::history::{History, row_of};
use crate::report::remedy_rows::REMEDY_COLUMNS;
use crate::report::shard::{KeptRemedy, SHARD_FILE, ShardState, gathered, join_rows, sort_kept};
use crate::report::summary::RunSummary;
use crate::report::whole_file::{
    Batch, Inputs, Mark, OutputError, OutputLock, WholeFile, check as check_place, ensure_folder, refuse_foreign, shown,
};
use crate::report::workbook;
use crate::tables::plant::Plant;

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
    folder: PathBuf,
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
    /// Whether circuits have columns on how sure their verdicts are.
    with_sureness: bool,
}

impl Outputs {
    /// Opens everything that will be written, and refuses what is an input.
    ///
    /// # Errors
    /// Where something can't be written: a sentence.
    pub fn open(args: &CheckArgs, inputs: &Inputs, has_previous: bool, run: String) -> Result<Self> {
        for path in [&args.out, &args.cards].into_iter().flatten() {
            inputs.refuse(path)?;
            refuse_table_name(path, args)?;
            refuse_ending(path)?;
            refuse_foreign(path, Mark::Workbook, args.replace)?;
        }
        if let Some(path) = &args.ical {
            inputs.refuse(path)?;
            refuse_table_name(path, args)?;
            refuse_other_ending(path)?;
            refuse_foreign(path, Mark::Near(PRODUCT), args.replace)?;
        }
        if let Some(path) = &args.history {
            refuse_table_name(path, args)?;
            // Found out now, not after the long work.
            check_place(path, inputs)?;
        }
        if let Some(folder) = &args.data {
            refuse_plant_folder(folder, args)?;
            inputs.refuse_folder(folder)?;
        }
        let data = args.data.as_deref().map(|folder| DataFiles::open(folder, inputs, args)).transpose()?;
        let workbook = args.out.as_deref().map(WholeFile::create).transpose()?;
        let cards = args.cards.as_deref().map(WholeFile::create).transpose()?;
        let calendar = args.ical.as_deref().map(WholeFile::create).transpose()?;
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
        let folder = self.data.as_ref().map(|data| data.folder.as_path());
        let outputs = files.chain(folder).chain(self.history.as_deref());
        let mut say =
            |folder: &Path| eprintln!("{}: another run writes to this folder. Waiting for it.", shown(folder));
        Ok(OutputLock::of(outputs, &mut say)?)
    }

    /// Whether data files are written.
    #[must_use]
    pub const fn has_data(&self) -> bool {
        self.data.is_some()
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
        let Some(mut data) = self.data.take() else { return Ok(()) };
        let mut set = FileSet::new(false);
        set.add(data.circuits)?;
        let mut head = Vec::new();
        header(&mut head, FINDING_COLUMNS);
        set.add(with_spool(&data.folder.join("findings.csv"), &head, &mut data.finding_rows)?)?;
        state.files = set.hashes;
        let mut batch = set.batch;
        let json = serde_json::to_vec(&state).context("the part's state can't be made")?;
        batch.add(whole_with(&data.folder.join(SHARD_FILE), &json)?)?;
        batch.commit()?;
        Ok(())
    }

    /// Calls `work` with what takes rows as they come: the data files, where they are written.
    ///
    /// # Errors
    /// Those of `work`; where the disk refuses.
    pub fn with_rows<T>(&mut self, work: impl FnOnce(Rows<CircuitRows>) -> Result<T, RunError>) -> Result<T, RunError> {
        let Some(data) = &mut self.data else { return work(Rows { add: |_, _, _| (), take: &mut Ok }) };
        let mut take = |mut rows: CircuitRows| {
            data.take(&rows).map_err(|error| RunError::Output(format!("{error:#}")))?;
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
        join_rows(&paths("circuits.csv"), 0, &mut data.circuits, &mut |_| ())?;
        let mut spool = io::BufWriter::new(&mut data.finding_rows);
        join_rows(&paths("findings.csv"), 3, &mut spool, seen)?;
        spool.flush().map_err(|error| OutputError::from_io(&data.folder, error).into())
    }

    /// Writes everything else and gives all files their names; a sentence where the history is
    /// damaged.
    ///
    /// # Errors
    /// Where the disk refuses: a sentence, and nothing has changed its name.
    pub fn write(mut self, args: &CheckArgs, audit: &mut Audit) -> Result<Option<String>> {
        // Until all have their names: what this run reads of the history must not change under it.
        let _lock = self.lock()?;
        let mut summary = RunSummary::from_counts(&audit.plant.policy, &audit.counts, self.has_previous);
        summary.run.clone_from(&self.run);
        let options = workbook_options(args, &self.run);
        let mut batch = Batch::new();
        let mut warning = None;
        if let Some(path) = &self.history {
            let history = History::with(path, row_of(&summary));
            warning.clone_from(&history.warning);
            if let Some(file) = history.rewritten(path)? {
                batch.add(file)?;
            }
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
            let pressure_at = |circuit: &CircuitAudit, temperature| pressure_at(plant, circuit, temperature);
            let written = crate::report::cards::write_cards(audit, &options, &pressure_at, &mut file);
            whole(&mut file, written.map_err(anyhow::Error::from))?;
            batch.add(file)?;
        }
        if let Some(mut file) = self.calendar.take() {
            write_to(&mut file, calendar(audit).as_bytes())?;
            batch.add(file)?;
        }
        if let Some(data) = self.data.take() {
            let mut remedies: Vec<KeptRemedy> = audit.remedies.iter().map(KeptRemedy::of).collect();
            remedies.append(&mut self.kept_remedies);
            let mut remedies = gathered(remedies)?;
            sort_kept(&mut remedies);
            batch = data.write(args, audit, summary, &remedies, batch)?;
        }
        batch.commit()?;
        Ok(warning)
    }
}

fn workbook_options(args: &CheckArgs, run: &str) -> workbook::WorkbookOptions {
    workbook::WorkbookOptions {
        run: run.to_owned(),
        only: if args.only == Some(Only::Purchase) { workbook::Sheets::Purchase } else { workbook::Sheets::All },
        remedies_searched: !args.no_remedies,
        ..workbook::WorkbookOptions::default()
    }
}

/// What a gauge on a circuit reads at a temperature, nothing leaked.
fn pressure_at(plant: &Plant, audit: &CircuitAudit, temperature: Temperature) -> Option<Pressure> {
    let service = audit.circuit.service();
    let inputs = CircuitInputs::of(plant, &audit.circuit, &service);
    trapped::pressure_at(&inputs, &audit.figures, temperature)
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

/// An output in the plant folder under the name of a table or the policy would be read as one next
/// time.
fn refuse_table_name(path: &Path, args: &CheckArgs) -> Result<()> {
    let folder = path.parent().filter(|folder| *folder != Path::new("")).unwrap_or(Path::new("."));
    let is_in_plant = matches!((folder.canonicalize(), args.plant.canonicalize()), (Ok(a), Ok(b)) if a == b);
    let stem = path.file_stem().unwrap_or_default().to_string_lossy().to_lowercase();
    if is_in_plant && ["components", "circuits", "stations", "orders", "waivers", "lists", "policy"].contains(&&*stem) {
        bail!(
            "{}: under this name it would be read as the plant's {stem} next time. Choose another name.",
            shown(path)
        );
    }
    Ok(())
}

/// The data folder may not be the plant's: its files would be read as tables next time.
fn refuse_plant_folder(folder: &Path, args: &CheckArgs) -> Result<()> {
    let same = |a: &Path, b: &Path| matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b);
    if same(folder, &args.plant) || same(folder, &args.plant.join("lists")) {
        bail!("{}: the data files can't go into the plant folder. Choose another folder for --data.", folder.display());
    }
    Ok(())
}

impl DataFiles {
    /// Writes the rows of some circuits.
    fn take(&mut self, rows: &CircuitRows) -> Result<()> {
        write_to(&mut self.circuits, &rows.circuits)?;
        let written = self.finding_rows.write_all(&rows.findings);
        written.map_err(|error| OutputError::from_io(&self.folder, error).into())
    }

    fn open(folder: &Path, inputs: &Inputs, args: &CheckArgs) -> Result<Self> {
        ensure_folder(folder)?;
        for (name, columns) in DATA_FILES {
            let path = folder.join(name);
            inputs.refuse(&path)?;
            refuse_foreign(&path, Mark::Start(&columns.join(",")), args.replace)?;
            if args.parquet {
                let path = path.with_extension("parquet");
                inputs.refuse(&path)?;
                refuse_foreign(&path, Mark::Parquet(columns), args.replace)?;
            }
        }
        for (name, mark) in [("summary.json", "{\n  \"tool\": \"clampbook "), (SHARD_FILE, "{\"part\":")] {
            inputs.refuse(&folder.join(name))?;
            refuse_foreign(&folder.join(name), Mark::Start(mark), args.replace)?;
        }
        let mut circuits = WholeFile::create(&folder.join("circuits.csv"))?;
        let mut head = Vec::new();
        header(&mut head, &circuit_columns(args.sure));
        write_to(&mut circuits, &head)?;
        let spool = tempfile::tempfile_in(folder).map_err(|error| OutputError::from_io(folder, error))?;
        Ok(Self { folder: folder.to_owned(), circuits, finding_rows: spool })
    }

    fn write(
        mut self,
        args: &CheckArgs,
        audit: &Audit,
        mut summary: RunSummary,
        remedies: &[KeptRemedy],
        batch: Batch,
    ) -> Result<Batch> {
        let plant = &audit.plant;
        let mut set = FileSet { batch, ..FileSet::new(args.parquet) };
        set.add(self.circuits)?;
        let mut head = Vec::new();
        header(&mut head, FINDING_COLUMNS);
        audit.elsewhere.iter().for_each(|finding| finding_row(&mut head, plant, finding));
        set.add(with_spool(&self.folder.join("findings.csv"), &head, &mut self.finding_rows)?)?;
        let mut input = Vec::new();
        header(&mut input, INPUT_COLUMNS);
        plant.notes.iter().for_each(|note| input_row(&mut input, plant, note));
        set.add(whole_with(&self.folder.join("input.csv"), &input)?)?;
        let mut bill = Vec::new();
        header(&mut bill, PURCHASE_COLUMNS);
        audit.purchase.iter().for_each(|row| purchase_row(&mut bill, plant, row));
        set.add(whole_with(&self.folder.join("purchase.csv"), &bill)?)?;
        let mut causes = Vec::new();
        header(&mut causes, CAUSE_COLUMNS);
        audit.counts.causes.in_order().into_iter().for_each(|cause| cause_row(&mut causes, cause));
        set.add(whole_with(&self.folder.join("causes.csv"), &causes)?)?;
        let mut due = Vec::new();
        header(&mut due, DUE_COLUMNS);
        audit.due.iter().for_each(|one| due_row(&mut due, plant, one));
        set.add(whole_with(&self.folder.join("due.csv"), &due)?)?;
        let mut changes = Vec::new();
        header(&mut changes, REMEDY_COLUMNS);
        remedies.iter().for_each(|remedy| changes.extend(remedy.row.bytes()));
        set.add(whole_with(&self.folder.join("remedies.csv"), &changes)?)?;
        if summary.has_previous {
            let mut cleared = Vec::new();
            header(&mut cleared, FINDING_COLUMNS);
            audit.cleared.iter().for_each(|row| header(&mut cleared, row));
            set.add(whole_with(&self.folder.join("cleared.csv"), &cleared)?)?;
        }
        let mut json = Vec::new();
        summary.files = set.hashes;
        summary.write(&mut json).context("summary.json can't be made")?;
        let mut batch = set.batch;
        // The last to get its name: until then the folder's files are not taken for a run's.
        batch.add(whole_with(&self.folder.join("summary.json"), &json)?)?;
        Ok(batch)
    }
}

/// Data files of one run on their way, with their hashes.
struct FileSet {
    batch: Batch,
    hashes: BTreeMap<String, String>,
    /// Whether each gets a Parquet twin.
    with_parquet: bool,
}

impl FileSet {
    fn new(with_parquet: bool) -> Self {
        Self { batch: Batch::new(), hashes: BTreeMap::new(), with_parquet }
    }

    fn add(&mut self, mut file: WholeFile) -> Result<()> {
        let twin = if self.with_parquet { Some(parquet_twin(&mut file)?) } else { None };
        for mut file in [Some(file), twin].into_iter().flatten() {
            let name = file.path().file_name().unwrap_or_default().to_string_lossy().into_owned();
            self.hashes.insert(name, file.sha256()?);
            self.batch.add(file)?;
        }
        Ok(())
    }
}

fn parquet_twin(file: &mut WholeFile) -> Result<WholeFile> {
    let path = file.path().with_extension("parquet");
    let mut csv = File::open(file.temporary_path()?)?;
    let mut twin = WholeFile::create(&path)?;
    let written = crate::report::parquet::from_csv(&mut csv, &mut twin);
    whole(&mut twin, written)?;
    Ok(twin)
}

fn whole_with(path: &Path, bytes: &[u8]) -> Result<WholeFile> {
    let mut file = WholeFile::create(path)?;
    write_to(&mut file, bytes)?;
    Ok(file)
}

fn with_spool(path: &Path, head: &[u8], spool: &mut File) -> Result<WholeFile> {
    let mut file = whole_with(path, head)?;
    spool.seek(SeekFrom::Start(0))?;
    let copied = io::copy(spool, &mut file).map(|_| ()).map_err(anyhow::Error::from);
    whole(&mut file, copied)?;
    Ok(file)
}
