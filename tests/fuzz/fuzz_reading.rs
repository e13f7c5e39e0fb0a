//! Feeds parts of the reader with inputs that are wrong by chance:
//! `cargo run --release --example fuzz_reading -- TARGET RUNS SEED`, with `all` for every target.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

mod mutation;
mod targets;

use std::process::ExitCode;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (Some(name), Some(runs)) = (arguments.first(), arguments.get(1).and_then(|text| text.parse().ok())) else {
        eprintln!("usage: fuzz_reading TARGET RUNS [SEED]");
        return ExitCode::from(2);
    };
    let seed = arguments.get(2).and_then(|text| text.parse().ok()).unwrap_or(1);
    let chosen: Vec<_> = targets::TARGETS.iter().filter(|target| name == "all" || target.name == name).collect();
    if chosen.is_empty() {
        eprintln!("no target is named {name}; there are csv, quantity, header, policy and all");
        return ExitCode::from(2);
    }
    for target in chosen {
        match mutation::run(target, runs, seed) {
            Ok(time) => {
                println!("{}: {runs} runs with seed {seed}, {:.1} s, nothing found", target.name, time.as_secs_f64());
            }
            Err(found) => {
                println!("{found}");
                return ExitCode::FAILURE;
            }
        }
    }
    ExitCode::SUCCESS
}
