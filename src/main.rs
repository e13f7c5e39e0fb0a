//! The command line.

use std::io::Write;
use std::process::ExitCode;

fn main() -> ExitCode {
    let mut out = std::io::stdout();
    let status = clampbook::cli::run(std::env::args_os(), &mut out);
    let _ = out.flush();
    ExitCode::from(status)
}
