//! The files that a check writes, opened before the long work and named when all are whole.

use std::fs::File;
use std::io::{self, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use anyhow::{Context, Result, bail};

use crate::audit::harvest::Harvest;
use crate::audit::outcome::Audit;
use crate::circuit::audited::CircuitAudit;
use crate::circuit::side::Scope;
use crate::circuit::trapped;
use crate::physics::quantity::{Pressure, Temperature};
use crate::report::data_rows::{
    FINDING_COLUMNS, INPUT_COLUMNS, PURCHASE_COLUMNS, circuit_columns, finding_row, header, input_row, purchase_row,
};
use crate::report::history::{History, row_of};
use crate::report::remedy_rows::REMEDY_COLUMNS;
use crate::report::shard::{KeptRemedy, SHARD_FILE, ShardState, join_rows, sort_kept};
use crate::report::summary::RunSummary;
use crate::report::whole_file::{Batch, WholeFile, ensure_folder, refuse_inputs};
use crate::report::workbook;
use crate::tables::plant::Plant;

use super::{CheckArgs, Only};

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
    history: Option<PathBuf>,
    has_previous: bool,
    /// Remedies that parts of the run kept.
    kept_remedies: Vec<KeptRemedy>,
}

impl Outputs {
    /// Opens everything that will be written, and refuses what is an input.
    ///
    /// # Errors
    /// Where something can't be written: a sentence.
    pub fn open(args: &CheckArgs, inputs: &[PathBuf], has_previous: bool) -> Result<Self> {
        let single = [&args.out, &args.cards, &args.history];
        for path in single.into_iter().flatten() {
            refuse_inputs(path, inputs)?;
        }
        if let Some(folder) = &args.data {
            refuse_plant_folder(folder, args)?;
        }
        let data = args.data.as_deref().map(|folder| DataFiles::open(folder, inputs)).transpose()?;
        let workbook = args.out.as_deref().map(WholeFile::create).transpose()?;
        let cards = args.cards.as_deref().map(WholeFile::create).transpose()?;
        Ok(Self { data, workbook, cards, history: args.history.clone(), has_previous, kept_remedies: Vec::new() })
    }

    /// No outputs, for an audit of which only the totals are wanted.
    #[must_use]
    pub const fn none() -> Self {
        Self { data: None, workbook: None, cards: None, history: None, has_previous: false, kept_remedies: Vec::new() }
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
    pub fn write_part(mut self, state: &ShardState) -> Result<()> {
        let Some(mut data) = self.data.take() else { return Ok(()) };
        let mut batch = Batch::new();
        batch.add(data.circuits)?;
        let mut head = Vec::new();
        header(&mut head, FINDING_COLUMNS);
        batch.add(with_spool(&data.folder.join("findings.csv"), &head, &mut data.finding_rows)?)?;
        let json = serde_json::to_vec(state).context("the part's state can't be made")?;
        batch.add(whole_with(&data.folder.join(SHARD_FILE), &json)?)?;
        batch.commit()?;
        Ok(())
    }

    /// Writes the rows that a chunk of circuits brought in, and drops them.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn take_rows(&mut self, harvest: &mut Harvest) -> Result<()> {
        if let Some(data) = &mut self.data {
            write_to(&mut data.circuits, &harvest.circuit_rows)?;
            data.finding_rows.write_all(&harvest.finding_rows).context(spool_sentence(&data.folder))?;
        }
        harvest.circuit_rows.clear();
        harvest.finding_rows.clear();
        Ok(())
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
        spool.flush().with_context(|| spool_sentence(&data.folder))
    }

    /// Writes everything else and gives all files their names; a sentence where the history is
    /// damaged.
    ///
    /// # Errors
    /// Where the disk refuses: a sentence, and nothing has changed its name.
    pub fn write(mut self, args: &CheckArgs, audit: &Audit) -> Result<Option<String>> {
        let summary = RunSummary::from_counts(
            &audit.plant.policy,
            &audit.counts,
            audit.tally.lines_read,
            self.has_previous,
            audit.cleared.len() as u64,
        );
        let mut batch = Batch::new();
        let mut audit = std::borrow::Cow::Borrowed(audit);
        let mut warning = None;
        if let Some(path) = &self.history {
            let history = History::with(path, row_of(&summary));
            warning.clone_from(&history.warning);
            if let Some(file) = history.rewritten(path)? {
                batch.add(file)?;
            }
            if self.workbook.is_some() {
                audit.to_mut().history = history.rows;
            }
        }
        if let Some(mut file) = self.workbook.take() {
            let written = workbook::write(&audit, &workbook_options(args), &mut file);
            whole(&mut file, written.map_err(anyhow::Error::from))?;
            batch.add(file)?;
        }
        if let Some(mut file) = self.cards.take() {
            let plant = &audit.plant;
            let pressure_at = |circuit: &CircuitAudit, temperature| pressure_at(plant, circuit, temperature);
            let written = crate::report::cards::write_cards(&audit, &workbook_options(args), &pressure_at, &mut file);
            whole(&mut file, written.map_err(anyhow::Error::from))?;
            batch.add(file)?;
        }
        if let Some(data) = self.data.take() {
            let mut remedies: Vec<KeptRemedy> = audit.remedies.iter().map(KeptRemedy::of).collect();
            remedies.append(&mut self.kept_remedies);
            sort_kept(&mut remedies);
            data.write(args, &audit, &summary, &remedies, &mut batch)?;
        }
        batch.commit()?;
        Ok(warning)
    }
}

fn workbook_options(args: &CheckArgs) -> workbook::WorkbookOptions {
    workbook::WorkbookOptions {
        only: if args.only == Some(Only::Purchase) { workbook::Only::Purchase } else { workbook::Only::All },
        remedies_searched: !args.no_remedies,
        ..workbook::WorkbookOptions::default()
    }
}

/// What a gauge on a circuit reads at a temperature, nothing leaked.
fn pressure_at(plant: &Plant, audit: &CircuitAudit, temperature: Temperature) -> Option<Pressure> {
    let service = audit.circuit.service();
    let scope = Scope::of(plant, &audit.circuit, &service);
    trapped::pressure_at(&scope, &audit.figures.clamp, temperature)
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

fn spool_sentence(folder: &Path) -> String {
    format!("{}: rows under way can't be kept in this folder", folder.display())
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
    fn open(folder: &Path, inputs: &[PathBuf]) -> Result<Self> {
        ensure_folder(folder)?;
        for name in ["circuits.csv", "findings.csv", "purchase.csv", "input.csv", "remedies.csv", "summary.json"] {
            refuse_inputs(&folder.join(name), inputs)?;
        }
        let mut circuits = WholeFile::create(&folder.join("circuits.csv"))?;
        let mut head = Vec::new();
        header(&mut head, &circuit_columns());
        write_to(&mut circuits, &head)?;
        let spool = || tempfile::tempfile_in(folder).with_context(|| spool_sentence(folder));
        Ok(Self { folder: folder.to_owned(), circuits, finding_rows: spool()? })
    }

    fn write(
        mut self,
        args: &CheckArgs,
        audit: &Audit,
        summary: &RunSummary,
        remedies: &[KeptRemedy],
        batch: &mut Batch,
    ) -> Result<()> {
        let plant = &audit.plant;
        let parquet = args.parquet;
        add(batch, self.circuits, parquet)?;
        let mut head = Vec::new();
        header(&mut head, FINDING_COLUMNS);
        let elsewhere = audit.findings.iter().filter(|finding| !finding.is_on_circuit());
        elsewhere.for_each(|finding| finding_row(&mut head, plant, finding));
        add(batch, with_spool(&self.folder.join("findings.csv"), &head, &mut self.finding_rows)?, parquet)?;
        let mut input = Vec::new();
        header(&mut input, INPUT_COLUMNS);
        plant.notes.iter().for_each(|note| input_row(&mut input, plant, note));
        add(batch, whole_with(&self.folder.join("input.csv"), &input)?, parquet)?;
        let mut bill = Vec::new();
        header(&mut bill, PURCHASE_COLUMNS);
        audit.purchase.iter().for_each(|row| purchase_row(&mut bill, plant, row));
        add(batch, whole_with(&self.folder.join("purchase.csv"), &bill)?, parquet)?;
        let mut changes = Vec::new();
        header(&mut changes, REMEDY_COLUMNS);
        remedies.iter().for_each(|remedy| changes.extend(remedy.row.bytes()));
        add(batch, whole_with(&self.folder.join("remedies.csv"), &changes)?, parquet)?;
        if summary.has_previous {
            let mut cleared = Vec::new();
            header(&mut cleared, FINDING_COLUMNS);
            audit.cleared.iter().for_each(|row| header(&mut cleared, row));
            add(batch, whole_with(&self.folder.join("cleared.csv"), &cleared)?, parquet)?;
        }
        let mut json = Vec::new();
        summary.write(&mut json).context("summary.json can't be made")?;
        batch.add(whole_with(&self.folder.join("summary.json"), &json)?)?;
        Ok(())
    }
}

/// Takes a data file into the batch, and its Parquet twin where one is wanted.
fn add(batch: &mut Batch, mut file: WholeFile, parquet: bool) -> Result<()> {
    if parquet {
        let path = file.path().with_extension("parquet");
        let mut csv = File::open(file.temporary_path()?)?;
        let mut twin = WholeFile::create(&path)?;
        let written = crate::report::parquet::from_csv(&mut csv, &mut twin);
        whole(&mut twin, written)?;
        batch.add(file)?;
        batch.add(twin)?;
        return Ok(());
    }
    batch.add(file)?;
    Ok(())
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
