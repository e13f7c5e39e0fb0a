//! Writes a bench plant, circuit by circuit: memory does not grow with it.

#[path = "catalogue.rs"]
mod catalogue;
#[path = "circuit.rs"]
mod circuit;
#[path = "fault.rs"]
mod fault;
#[path = "kind.rs"]
mod kind;
#[path = "numbers.rs"]
mod numbers;

use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use catalogue::{Catalogue, LEVELS};
use circuit::{Circuit, Length, Row, Spoilt, Wish};
use fault::Fault;
pub use kind::Kind;
use numbers::Numbers;

/// Circuits that one load station charges.
const PER_STATION: u64 = 200;
/// Of so many stations one charges through couplers.
const COUPLED: u64 = 8;
const PER_PLANT: u64 = 4_000;
const NAMES: [&str; 8] = ["Tarnholm", "Skelby", "Quarrow", "Merrow", "Aldwick", "Brantby", "Corran", "Dunleth"];
/// With fewer lines a circuit has no room for its parts.
pub const SMALLEST: usize = 14;

/// What to write.
pub struct Order<'a> {
    pub folder: &'a Path,
    pub lines: u64,
    pub seed: u64,
    pub files: u64,
    pub lines_per_circuit: usize,
    pub kind: Kind,
}

/// What was written.
#[derive(Default, Debug, Clone, Copy)]
pub struct Written {
    pub lines: u64,
    pub circuits: u64,
    pub planted: u64,
}

/// Where the planted findings stand: beside the plant, which the audit reads whole.
#[must_use]
pub fn planted_file(folder: &Path) -> PathBuf {
    let mut name = folder.file_name().unwrap_or_default().to_owned();
    name.push("-planted.csv");
    folder.with_file_name(name)
}

/// Writes the plant.
///
/// # Errors
/// Where the folder has lists already, or the disk refuses.
pub fn write(order: &Order) -> io::Result<Written> {
    let lists = order.folder.join("lists");
    if lists.exists() {
        return Err(io::Error::other(format!("{}: it is there already. Name a new folder.", lists.display())));
    }
    fs::create_dir_all(&lists)?;
    let catalogue = Catalogue::new(order.kind);
    catalogue.write(&mut open(&order.folder.join("components.csv"))?)?;
    fs::write(order.folder.join("policy.toml"), "date = \"2026-03-02\"\n[asked]\nuncoupled = []\n")?;
    let written = Writer::open(order)?.circuits(order, &catalogue)?;
    stations(order, written.circuits)?;
    Ok(written)
}

fn open(path: &Path) -> io::Result<BufWriter<File>> {
    Ok(BufWriter::with_capacity(1 << 18, File::create(path)?))
}

fn stations(order: &Order, circuits: u64) -> io::Result<()> {
    let mut out = open(&order.folder.join("stations.csv"))?;
    writeln!(out, "station,pump,drive_ram,pump_setting")?;
    if order.kind == Kind::LowStation {
        // A tenth below what the circuits want.
        let driving = LEVELS[0].driving.0 * 0.9;
        writeln!(out, "LS-0000,DRIVE{}-0001,RAM-0001,{driving}", LEVELS[0].charge)?;
        return out.flush();
    }
    for station in 0..circuits.div_ceil(PER_STATION) {
        let level = &LEVELS[level_of(station)];
        if is_coupled(station) && !order.kind.fails() {
            writeln!(out, "LS-{station:04},PUMP{}-0001,,{}", level.charge, level.coupled.0)?;
        } else {
            writeln!(out, "LS-{station:04},DRIVE{}-0001,RAM-0001,{}", level.charge, level.driving.0)?;
        }
    }
    out.flush()
}

const fn level_of(station: u64) -> usize {
    (station % 3 % 2) as usize
}

const fn is_coupled(station: u64) -> bool {
    station % COUPLED == COUPLED - 1
}

/// The place columns of a circuit.
struct Place {
    text: String,
}

impl Place {
    fn set(&mut self, index: u64, kind: Kind) {
        use std::fmt::Write as _;
        if kind == Kind::OneFixture {
            self.text.clear();
            let _ = write!(self.text, "{} 00,PALLET-000-000,FIX-1,{}", NAMES[0], index + 1);
            return;
        }
        let plant = index / PER_PLANT;
        let name = NAMES[(plant % 8) as usize];
        self.text.clear();
        let pallet = index % PER_PLANT / 8;
        let _ = write!(
            self.text,
            "{name} {:02},PALLET-{plant:03}-{pallet:03},FIX-{},{}",
            plant / 8,
            index / 2 % 4 + 1,
            index % 2 + 1
        );
    }
}

struct Writer {
    list: BufWriter<File>,
    rows: BufWriter<File>,
    planted: BufWriter<File>,
    line: Vec<u8>,
    /// Rows that are to be shuffled.
    kept: Option<Vec<Vec<u8>>>,
}

impl Writer {
    fn open(order: &Order) -> io::Result<Self> {
        let mut rows = open(&order.folder.join("circuits.csv"))?;
        writeln!(
            rows,
            "plant,pallet,fixture,circuit,acting,charging,station,pressure_set,pressure_min,temp_min,temp_max,hold_time,\
             clamp_time_max,unclamp_time_max"
        )?;
        let mut planted = open(&planted_file(order.folder))?;
        writeln!(planted, "rule,plant,pallet,fixture,circuit")?;
        Ok(Self {
            list: list(order.folder, 0)?,
            rows,
            planted,
            line: Vec::with_capacity(128),
            kept: (order.kind == Kind::Shuffled).then(Vec::new),
        })
    }

    fn circuits(mut self, order: &Order, catalogue: &Catalogue) -> io::Result<Written> {
        let per_file = order.lines.div_ceil(order.files.max(1));
        let mean = order.lines_per_circuit.max(SMALLEST + 2);
        let spread = (mean / 6).min(mean - SMALLEST).max(1);
        let mut circuit = Circuit::empty(catalogue);
        let mut place = Place { text: String::new() };
        let mut written = Written::default();
        let mut file = 0;
        while written.lines < order.lines {
            let index = written.circuits;
            let mut numbers = Numbers(order.seed ^ (index + 1).wrapping_mul(0xD134_2543_DE82_EF95));
            let left = usize::try_from(order.lines - written.lines).unwrap_or(usize::MAX);
            // The last one takes what is left, so that the count is the one that was asked for.
            let size = match order.kind {
                Kind::OneCircuit => left,
                Kind::ThreeLines => 3,
                _ if left < 2 * mean + 2 * spread => left,
                _ => mean - spread + numbers.below(2 * spread + 1),
            };
            let station = if order.kind == Kind::LowStation { 0 } else { index / PER_STATION };
            // What a kind is about needs a charging cylinder.
            let is_coupled = is_coupled(station) && !order.kind.fails();
            let fault = if order.kind == Kind::Mixed { Fault::of(order.seed, index, is_coupled) } else { None };
            let wish = Wish { size, level: level_of(station), is_coupled, fault, kind: order.kind };
            circuit.fill(catalogue, &mut numbers, &wish);
            place.set(index, order.kind);
            if written.lines >= (file + 1) * per_file {
                file += 1;
                self.list.flush()?;
                self.list = list(order.folder, file)?;
            }
            self.lines(&circuit, &place)?;
            if let Some(fault) = circuit.fault {
                for rule in fault.rules() {
                    writeln!(self.planted, "{rule},{}", place.text)?;
                }
                written.planted += 1;
            }
            for rule in circuit.rules() {
                writeln!(self.planted, "{rule},{}", place.text)?;
            }
            written.planted += u64::from(order.kind.fails());
            if circuit.fault != Some(Fault::NoRow) {
                self.row(&circuit.row, &place, station)?;
            }
            written.circuits += 1;
            written.lines += circuit.lines.len() as u64;
        }
        self.shuffled(order)?;
        self.list.flush()?;
        self.rows.flush()?;
        self.planted.flush()?;
        Ok(written)
    }

    /// Writes the rows that were kept, in the order of a seed.
    fn shuffled(&mut self, order: &Order) -> io::Result<()> {
        let Some(mut kept) = self.kept.take() else { return Ok(()) };
        let mut numbers = Numbers(order.seed);
        for last in (1..kept.len()).rev() {
            kept.swap(last, numbers.below(last + 1));
        }
        kept.iter().try_for_each(|row| self.list.write_all(row))
    }

    fn lines(&mut self, circuit: &Circuit, place: &Place) -> io::Result<()> {
        for line in &circuit.lines {
            let out = &mut self.line;
            out.clear();
            out.extend_from_slice(place.text.as_bytes());
            out.push(b',');
            digits(out, line.position);
            out.push(b',');
            match line.spoilt {
                Spoilt::No => out.extend_from_slice(line.part.part_no.as_bytes()),
                Spoilt::Unknown => {
                    out.extend_from_slice(line.part.part_no.as_bytes());
                    out.extend_from_slice(b"-Q");
                }
                Spoilt::Altered => out.extend_from_slice(b"1.2E+05"),
            }
            out.push(b',');
            digits(out, line.qty);
            out.push(b',');
            match line.length {
                Length::Blank => {}
                Length::Of(millimetres) => digits(out, millimetres),
                Length::Unreadable => out.extend_from_slice(b"6OO"),
            }
            out.push(b'\n');
            if let Some(kept) = &mut self.kept {
                kept.push(out.clone());
            } else {
                self.list.write_all(out)?;
            }
        }
        Ok(())
    }

    fn row(&mut self, row: &Row, place: &Place, station: u64) -> io::Result<()> {
        let charging = if row.is_coupled { "coupler" } else { "cylinder" };
        let out = &mut self.rows;
        write!(out, "{},single,{charging},LS-{station:04},{},{}", place.text, row.pressure_set, row.pressure_min)?;
        match row.holding {
            Some((cold, hot, minutes)) => write!(out, ",{cold},{hot},{minutes}")?,
            None => write!(out, ",,,")?,
        }
        for limit in [row.clamp_time_max, row.unclamp_time_max] {
            match limit {
                Some(seconds) => write!(out, ",{seconds}")?,
                None => write!(out, ",")?,
            }
        }
        writeln!(out)
    }
}

fn list(folder: &Path, number: u64) -> io::Result<BufWriter<File>> {
    let mut out = open(&folder.join("lists").join(format!("lines-{:04}.csv", number + 1)))?;
    writeln!(out, "plant,pallet,fixture,circuit,position,part_no,qty,length")?;
    Ok(out)
}

/// Appends a number: ten million lines have no time for a formatter.
fn digits(out: &mut Vec<u8>, number: usize) {
    if number >= 10 {
        digits(out, number / 10);
    }
    out.push(b"0123456789"[number % 10]);
}
