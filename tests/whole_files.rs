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
use nix::sys::resource::{RLIM_INFINITY, Resource, UsageWho, getrusage, setrlimit};
use nix::sys::signal::Signal;

/// Memory that the child may hold while it reads any of its files, and addresses that it may ask for.
const MOST_MIB: u64 = 1024;
const MOST_ADDRESSES: u64 = 3 << 29;
/// Of the processor, for one file.
const MOST_SECONDS: u64 = 10;
/// A child that stands still without use of the processor is ended, too.
const LONGEST_STANDSTILL: Duration = Duration::from_mins(10);

/// Seed, first run, the run after the last, and MiB that the child may hold.
const CHILD: &str = "WHOLE_FILES_CHILD";
const COMPONENTS: &str = "part_no,kind,rated_pressure [bar]\nCL-1,clamp,350\nCL-2,clamp,350\n";

/// Runs of a seed, in a child that notes each before it reads it.
struct Watched {
    folder: tempfile::TempDir,
    seed: u64,
    last: u64,
    most_mib: u64,
    found: Found,
}

#[derive(Default)]
struct Found {
    /// What was found, and the run that gives it again.
    faults: Vec<String>,
    most: Held,
}

/// What a child held at its most while it read one file, and before it.
#[derive(Clone, Copy, Default, PartialEq, PartialOrd)]
struct Held {
    mib: u64,
    before_mib: u64,
    run: u64,
}

impl Held {
    fn words(&self, seed: u64) -> String {
        let Self { mib, before_mib, run } = self;
        format!("{mib} MiB were held for .{}, seed {seed}, run {run}, {before_mib} MiB before it", format_of(*run))
    }
}

fn format_of(run: u64) -> &'static str {
    FORMATS[usize::try_from(run).unwrap() % FORMATS.len()]
}

impl Watched {
    fn noted(&self) -> u64 {
        let text = fs::read_to_string(self.folder.path().join("run")).unwrap_or_default();
        text.trim().parse().unwrap_or(0)
    }

    /// The file for which a child held the most so far.
    fn held(&self) -> Held {
        let text = fs::read_to_string(self.folder.path().join("held")).unwrap_or_default();
        let numbers: Vec<u64> = text.split(' ').map_while(|number| number.parse().ok()).collect();
        let [mib, before_mib, run] = numbers[..] else { return Held::default() };
        Held { mib, before_mib, run }
    }

    fn spawn(&self, first: u64) -> Child {
        // The child is this test, told by the variable to do the reading.
        Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "the_child_that_reads", "--nocapture", "--test-threads=1", "--ignored"])
            .env(CHILD, format!("{} {} {} {}", self.seed, first, self.last, self.most_mib))
            .env("RAYON_NUM_THREADS", "2")
            .current_dir(self.folder.path())
            .stdout(Stdio::null())
            .stderr(fs::File::create(self.folder.path().join("stderr")).unwrap())
            .spawn()
            .unwrap()
    }

    /// How the child ended; `None` where it stood still.
    fn wait(&self, child: &mut Child) -> Option<ExitStatus> {
        let (mut at, mut since) = (u64::MAX, Instant::now());
        loop {
            if let Some(status) = child.try_wait().unwrap() {
                return Some(status);
            }
            let now = self.noted();
            if now != at {
                (at, since) = (now, Instant::now());
            } else if since.elapsed() > LONGEST_STANDSTILL {
                child.kill().unwrap();
                child.wait().unwrap();
                return None;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Reads the files from `first` to before `last` of a seed.
    fn run(seed: u64, mut first: u64, last: u64, most_mib: u64) -> Found {
        // In memory, where there is such a place: every file is written once.
        let place = Path::new("/dev/shm");
        let place = if place.is_dir() { place.to_owned() } else { std::env::temp_dir() };
        let folder = tempfile::tempdir_in(place).unwrap();
        let mut watched = Self { folder, seed, last, most_mib, found: Found::default() };
        while first < last {
            let mut child = watched.spawn(first);
            let status = watched.wait(&mut child);
            let at = watched.noted();
            let said = fs::read_to_string(watched.folder.path().join("stderr")).unwrap();
            let held = watched.held();
            if held > watched.found.most {
                watched.found.most = held;
            }
            let why = match status {
                Some(status) if status.success() => break,
                None => format!("stood still for {LONGEST_STANDSTILL:?}"),
                Some(status) => match status.signal() {
                    Some(signal) if signal == Signal::SIGXCPU as i32 => {
                        format!("took more than {MOST_SECONDS} s of the processor")
                    }
                    Some(signal) => format!("ended the process by signal {signal}"),
                    None => format!("ended the process with {status}"),
                },
            };
            let faults = &mut watched.found.faults;
            faults.push(format!(".{}, seed {seed}, run {at} {why}: {}", format_of(at), said.trim()));
            assert!(faults.len() < 20, "{}", faults.join("\n"));
            first = at + 1;
        }
        watched.found
    }
}

/// The system ends this process where it takes more of the processor than one file may.
fn allow_the_processor_for_one_file() {
    let used = getrusage(UsageWho::RUSAGE_SELF).unwrap();
    let seconds = used.user_time().tv_sec() + used.system_time().tv_sec();
    let most = u64::try_from(seconds).unwrap() + MOST_SECONDS + 1;
    setrlimit(Resource::RLIMIT_CPU, most, RLIM_INFINITY).unwrap();
}

/// Forgets the most memory that was held so far, where the system can; elsewhere it is that of all files.
fn forget_the_most_held() {
    #[cfg(target_os = "linux")]
    fs::write("/proc/self/clear_refs", "5").unwrap();
}

/// What this process holds now and held at its most, in MiB.
fn held_now_and_at_most() -> (u64, u64) {
    #[cfg(target_os = "linux")]
    {
        let status = fs::read_to_string("/proc/self/status").unwrap();
        let kib = |name: &str| -> u64 {
            let line = status.lines().find_map(|line| line.strip_prefix(name)).unwrap();
            line.trim().trim_end_matches(" kB").parse().unwrap()
        };
        (kib("VmRSS:") >> 10, kib("VmHWM:") >> 10)
    }
    #[cfg(not(target_os = "linux"))]
    {
        let unit = if cfg!(target_os = "macos") { 1 } else { 1024 };
        let most = getrusage(UsageWho::RUSAGE_SELF).unwrap().max_rss() * unit;
        let most = u64::try_from(most).unwrap() >> 20;
        (most, most)
    }
}

/// Not a test by itself: what the others start.
#[test]
#[ignore = "the child of the other tests"]
fn the_child_that_reads() {
    let Ok(told) = std::env::var(CHILD) else { return };
    let numbers: Vec<u64> = told.split(' ').map(|number| number.parse().unwrap()).collect();
    let [seed, first, last, most_mib] = numbers[..] else { panic!("{CHILD}={told}") };
    setrlimit(Resource::RLIMIT_AS, MOST_ADDRESSES, MOST_ADDRESSES).unwrap();
    let seeds = Seeds::load();
    // What the child before this one left when it was ended.
    let _ = fs::remove_dir_all("plant/lists");
    fs::create_dir_all("plant/lists").unwrap();
    fs::write("plant/components.csv", COMPONENTS).unwrap();
    let day = chrono::NaiveDate::default();
    let mut most = Held::default();
    for run in first..last {
        fs::write("run", run.to_string()).unwrap();
        let format = format_of(run);
        let list = PathBuf::from(format!("plant/lists/x.{format}"));
        fs::write(&list, seeds.altered(format, seed, run)).unwrap();
        allow_the_processor_for_one_file();
        forget_the_most_held();
        let (before_mib, _) = held_now_and_at_most();
        read(day);
        let (_, mib) = held_now_and_at_most();
        let held = Held { mib, before_mib, run };
        if held.mib > most.mib {
            most = held;
            fs::write("held", format!("{mib} {before_mib} {run}")).unwrap();
        }
        assert!(mib < most_mib, "{}", held.words(seed));
        fs::remove_file(&list).unwrap();
    }
}

/// Reads the plant as a check would, and looks at what it says where it can't be read.
fn read(day: chrono::NaiveDate) {
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
}

#[test]
fn nothing_is_found_in_a_short_run() {
    let runs = if cfg!(debug_assertions) { 800 } else { 8_000 };
    let found = Watched::run(7, 0, runs, MOST_MIB);
    assert!(found.faults.is_empty(), "{}", found.faults.join("\n"));
    assert!(found.most.mib > 0, "the system tells nothing of memory");
}

/// A bound that no file can keep: each file is named as a fault, and the next child carries on behind it.
#[test]
fn a_file_above_the_bound_is_named() {
    let found = Watched::run(7, 3, 6, 1);
    let faults = found.faults.join("\n");
    assert_eq!(found.faults.len(), 3, "{faults}");
    for (run, fault) in (3..).zip(&found.faults) {
        assert!(fault.contains(&format!("MiB were held for .{}, seed 7, run {run},", format_of(run))), "{faults}");
    }
}

/// A long run, its length and seed from `FUZZ_RUNS` and `FUZZ_SEED`, begun at `FUZZ_FIRST`.
#[test]
#[ignore = "it takes as long as it is told to"]
fn nothing_is_found_in_a_long_run() {
    let number = |name: &str, default: u64| std::env::var(name).map_or(default, |text| text.parse().unwrap());
    let (runs, seed, first) = (number("FUZZ_RUNS", 1_000_000), number("FUZZ_SEED", 1), number("FUZZ_FIRST", 0));
    let begun = Instant::now();
    let found = Watched::run(seed, first, first + runs, MOST_MIB);
    let seconds = begun.elapsed().as_secs_f64();
    println!("{runs} files with seed {seed}, {seconds:.0} s, {} faults", found.faults.len());
    println!("The most: {}.", found.most.words(seed));
    assert!(found.faults.is_empty(), "{}", found.faults.join("\n"));
}
