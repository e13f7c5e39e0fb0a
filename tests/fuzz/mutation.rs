//! Inputs made from seeds by chance, the same in every run, and the loop over them.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use super::chance::Chance;
use super::targets::Target;

/// Inputs stay below this, so that a run is short.
const LONGEST: usize = 400;

/// The input of one run; seed and run give it again.
pub fn input(target: &Target, seed: u64, run: u64) -> Vec<u8> {
    let mut chance = Chance::of(seed, run);
    let mut bytes = target.seeds[chance.below(target.seeds.len())].as_bytes().to_vec();
    for _ in 0..=chance.below(8) {
        let at = chance.below(bytes.len() + 1);
        let end = (at + chance.below(12)).min(bytes.len());
        match chance.below(8) {
            0 => drop(bytes.drain(at..end)),
            1 => {
                let again = bytes[at..end].to_vec();
                bytes.splice(at..at, again);
            }
            2 if at < bytes.len() => bytes[at] ^= 1 << chance.below(8),
            3 => {
                let other = target.seeds[chance.below(target.seeds.len())].as_bytes();
                bytes.truncate(at);
                bytes.extend_from_slice(&other[chance.below(other.len())..]);
            }
            4 => {
                let byte = u8::try_from(chance.below(256)).unwrap();
                bytes.insert(at, byte);
            }
            _ => {
                let word = target.words[chance.below(target.words.len())];
                bytes.splice(at..at, word.bytes());
            }
        }
        bytes.truncate(LONGEST);
    }
    bytes
}

/// Runs a target; what is wrong with its first input that fails, or the time that it took.
pub fn run(target: &'static Target, runs: u64, seed: u64) -> Result<Duration, String> {
    let (begun, done, over) = (Instant::now(), AtomicU64::new(0), AtomicBool::new(false));
    let quiet = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    let result = std::thread::scope(|scope| {
        scope.spawn(|| watch(target, seed, &done, &over));
        let mut result = Ok(());
        for run in 0..runs {
            done.store(run, Ordering::Relaxed);
            let bytes = input(target, seed, run);
            if let Err(panic) = catch_unwind(AssertUnwindSafe(|| (target.check)(&bytes))) {
                let what = panic.downcast_ref::<String>().cloned();
                let what = what.or_else(|| panic.downcast_ref::<&str>().map(|text| (*text).to_owned()));
                let shown = String::from_utf8_lossy(&bytes).into_owned();
                result = Err(format!(
                    "{}, seed {seed}, run {run}: {shown:?} ({bytes:?}): {}",
                    target.name,
                    what.unwrap_or_default()
                ));
                break;
            }
        }
        over.store(true, Ordering::Relaxed);
        result
    });
    std::panic::set_hook(quiet);
    result.map(|()| begun.elapsed())
}

/// Ends the process where one input takes longer than ten seconds.
fn watch(target: &Target, seed: u64, done: &AtomicU64, over: &AtomicBool) {
    let (mut last, mut since) = (u64::MAX, Instant::now());
    while !over.load(Ordering::Relaxed) {
        std::thread::sleep(Duration::from_millis(20));
        let now = done.load(Ordering::Relaxed);
        if now != last {
            (last, since) = (now, Instant::now());
        } else if since.elapsed() > Duration::from_secs(10) {
            let bytes = input(target, seed, now);
            eprintln!("{}, seed {seed}, run {now} hangs: {:?}", target.name, String::from_utf8_lossy(&bytes));
            std::process::exit(1);
        }
    }
}
