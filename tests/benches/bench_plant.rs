//! Writes a plant of any size and kind whose findings are known, to measure and to check runs with.
//!
//! `cargo run --release --example bench_plant -- DIR --lines N --seed S --kind quiet` makes DIR, and
//! `DIR-planted.csv` beside it with all that an audit must find, and nothing else.

#![allow(clippy::print_stdout, reason = "says what it wrote")]

#[path = "bench_plant/plant.rs"]
mod plant;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::Parser;

/// Writes a plant folder with known findings.
#[derive(Parser)]
struct Arguments {
    /// The folder to make
    folder: PathBuf,
    /// Lines over all lists
    #[arg(long, default_value_t = 100_000)]
    lines: u64,
    /// The same seed makes the same plant
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Files that the lines are spread over
    #[arg(long, default_value_t = 1)]
    files: u64,
    /// Lines of a circuit, on average
    #[arg(long, default_value_t = 20)]
    lines_per_circuit: usize,
    /// What its circuits have in common
    #[arg(long, value_enum, default_value_t = plant::Kind::Mixed)]
    kind: plant::Kind,
}

fn main() -> ExitCode {
    let Arguments { folder, lines, seed, files, lines_per_circuit, kind } = Arguments::parse();
    if lines < plant::SMALLEST as u64 {
        eprintln!("{lines} lines are no circuit. Expected {} or more.", plant::SMALLEST);
        return ExitCode::from(2);
    }
    match plant::write(&plant::Order { folder: &folder, lines, seed, files, lines_per_circuit, kind }) {
        Ok(written) => {
            println!(
                "{} lines, {} circuits, {} of them with a planted fault.",
                written.lines, written.circuits, written.planted
            );
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{}: {error}", folder.display());
            ExitCode::from(2)
        }
    }
}
