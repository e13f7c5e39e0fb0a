//! The command line.

use std::io::Write;
use std::process::ExitCode;

/// Circuits are made on one thread and what they add up to is dropped on another: here that
/// takes no lock and gives memory back sooner.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let mut out = std::io::stdout();
    let status = clampbook::cli::run(std::env::args_os(), &mut out);
    let _ = out.flush();
    ExitCode::from(status)
}
