//! Audits a plant from Rust and prints each circuit with its verdict.
//!
//! ```sh
//! cargo run --release --example audit_a_plant -- sample-data/plant
//! ```

#![allow(clippy::print_stdout, reason = "an example prints what it found")]

use anyhow::{Context, Result};
use clampbook::audit::{Wanted, whole_without_rows};

fn main() -> Result<()> {
    let plant = std::env::args().nth(1).context("name a plant folder")?;
    let today = "2026-11-25".parse()?;
    let reading = clampbook::read::open(plant.as_ref(), None, today)?;
    let audit = whole_without_rows(reading, &Wanted::default())?;
    for circuit in &audit.circuits {
        println!("{}: {}", circuit.circuit.key, circuit.verdict.word());
        for finding in circuit.findings.iter().filter(|finding| finding.counts()) {
            println!("    {} {}", finding.rule, finding.position);
        }
    }
    Ok(())
}
