//! Whole files of every format, altered by chance, read in a child process with a bound on its memory and a
//! watch on its time: whatever a file does costs a table or one sentence.

#![cfg(unix)]
#![allow(clippy::unwrap_used, reason = "a test stops where it fails")]
#![allow(clippy::print_stdout, reason = "tells how a long run went")]

#[path = "fuzz/altered.rs"]
mod altered;
#[path = "fuzz/chance.rs"]
mod chance;

use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

use altered::{FORMATS, Seeds};
use nix::sys::resource::{Resource, UsageWho, getrusage, setrlimit};

/// Memory that the child may hold, and addresses that it may ask for.
const MOST_BYTES: i64 = 1 << 30;
const MOST_ADDRESSES: u64 = 3 << 29;
/// For one file.
const MOST_TIME: Duration = Duration::from_secs(10);

const CHILD: &str = "WHOLE_FILES_CHILD";
const COMPONENTS: &str = "part_no,kind,rated_pressure [bar]\nCL-1,clamp,350\nCL-2,clamp,350\n";

/// Runs from `first` on of a seed, in a child that notes each before it reads it.
struct Watched {
    folder: tempfile::TempDir,
    seed: u64,
    last: u64,
    /// What was found, and the run that gives it again.
    faults: Vec<String>,
}

impl Watched {
    fn noted(&self) -> u64 {
        let text = fs::read_to_string(self.folder.path().join("run")).unwrap_or_default();
        text.trim().parse().unwrap_or(0)
    }

    fn spawn(&self, first: u64) -> Child {
        // The child is this test, told by the variable to do the reading.
        Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "the_child_that_reads", "--nocapture", "--test-threads=1", "--ignored"])
            .env(CHILD, format!("{} {} {}", self.seed, first, self.last))
            .env("RAYON_NUM_THREADS", "2")
            .current_dir(self.folder.path())
            .stdout(Stdio::null())
            .stderr(fs::File::create(self.folder.path().join("stderr")).unwrap())
            .spawn()
            .unwrap()
    }

    /// How the child ended; `None` where one file took too long.
    fn wait(&self, child: &mut Child) -> Option<ExitStatus> {
        let (mut at, mut since) = (u64::MAX, Instant::now());
        loop {
            if let Some(status) = child.try_wait().unwrap() {
                return Some(status);
            }
            let now = self.noted();
            if now != at {
                (at, since) = (now, Instant::now());
            } else if since.elapsed() > MOST_TIME {
                child.kill().unwrap();
                child.wait().unwrap();
                return None;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn run(seed: u64, runs: u64) -> Vec<String> {
        // In memory, where there is such a place: every file is written once.
        let place = Path::new("/dev/shm");
        let place = if place.is_dir() { place.to_owned() } else { std::env::temp_dir() };
        let folder = tempfile::tempdir_in(place).unwrap();
        let mut watched = Self { folder, seed, last: runs, faults: Vec::new() };
        let mut first = 0;
        while first < runs {
            let mut child = watched.spawn(first);
            let status = watched.wait(&mut child);
            let at = watched.noted();
            let said = fs::read_to_string(watched.folder.path().join("stderr")).unwrap();
            let why = match status {
                Some(status) if status.success() => return watched.faults,
                None => format!("took more than {MOST_TIME:?}"),
                Some(status) => match status.signal() {
                    Some(signal) => format!("ended the process by signal {signal}"),
                    None => format!("ended the process with {status}"),
                },
            };
            let format = FORMATS[usize::try_from(at).unwrap() % FORMATS.len()];
            watched.faults.push(format!(".{format}, seed {seed}, run {at} {why}: {}", said.trim()));
            assert!(watched.faults.len() < 20, "{}", watched.faults.join("\n"));
            first = at + 1;
        }
        watched.faults
    }
}

/// Not a test by itself: what the others start.
#[test]
#[ignore = "the child of the other tests"]
fn the_child_that_reads() {
    let Ok(told) = std::env::var(CHILD) else { return };
    let numbers: Vec<u64> = told.split(' ').map(|number| number.parse().unwrap()).collect();
    let (seed, first, last) = (numbers[0], numbers[1], numbers[2]);
    setrlimit(Resource::RLIMIT_AS, MOST_ADDRESSES, MOST_ADDRESSES).unwrap();
    let seeds = Seeds::load();
    // What the child before this one left when it was ended.
    let _ = fs::remove_dir_all("plant/lists");
    fs::create_dir_all("plant/lists").unwrap();
    fs::write("plant/components.csv", COMPONENTS).unwrap();
    let day = chrono::NaiveDate::default();
    for run in first..last {
        fs::write("run", run.to_string()).unwrap();
        let format = FORMATS[usize::try_from(run).unwrap() % FORMATS.len()];
        let list = PathBuf::from(format!("plant/lists/x.{format}"));
        fs::write(&list, seeds.altered(format, seed, run)).unwrap();
        match clampbook::read::open(Path::new("plant"), None, day) {
            Ok(reading) => {
                for index in 0..reading.lists.circuits().len().min(50) {
                    reading.lists.lines(index).unwrap();
                }
            }
            Err(error) => error.sentences.iter().for_each(|sentence| {
                assert!(sentence.ends_with('.'), "no sentence: {sentence:?}");
                assert!(!sentence.contains(char::is_control), "a sign that steers: {sentence:?}");
                assert!(!sentence.contains("os error"), "a number of the system: {sentence:?}");
            }),
        }
        fs::remove_file(&list).unwrap();
    }
    let unit = if cfg!(target_os = "macos") { 1 } else { 1024 };
    let held = getrusage(UsageWho::RUSAGE_SELF).unwrap().max_rss() * unit;
    assert!(held < MOST_BYTES, "the files up to here took {} MiB", held >> 20);
}

#[test]
fn nothing_is_found_in_a_short_run() {
    let runs = if cfg!(debug_assertions) { 800 } else { 8_000 };
    let faults = Watched::run(7, runs);
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

/// A long run, its length and seed from `FUZZ_RUNS` and `FUZZ_SEED`.
#[test]
#[ignore = "it takes as long as it is told to"]
fn nothing_is_found_in_a_long_run() {
    let number = |name: &str, default: u64| std::env::var(name).map_or(default, |text| text.parse().unwrap());
    let (runs, seed) = (number("FUZZ_RUNS", 1_000_000), number("FUZZ_SEED", 1));
    let begun = Instant::now();
    let faults = Watched::run(seed, runs);
    println!("{runs} files with seed {seed}, {:.0} s, {} faults", begun.elapsed().as_secs_f64(), faults.len());
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}
