//! `clampbook completions` and `clampbook manual`: made from the definition of the arguments.

use std::io::Write;

use anyhow::Result;
use clap::{Args, Command};
use clap_complete::Shell;

/// Print what completes commands and options in a shell.
#[derive(Args, Clone, Debug)]
pub struct CompletionsArgs {
    /// The shell to write it for
    #[arg(value_name = "SHELL")]
    pub shell: Shell,
}

/// Prints the completions; gives back the exit status.
///
/// # Errors
/// Where `out` takes no more.
pub fn completions(args: &CompletionsArgs, mut command: Command, out: &mut dyn Write) -> Result<u8> {
    let name = command.get_name().to_owned();
    // The crate that makes the text panics where a pipe is closed: so it writes to memory.
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut command, name, &mut text);
    out.write_all(&text)?;
    Ok(0)
}

/// Prints the manual page, in the form that `man` shows, of all commands one behind the other; gives back the exit status.
///
/// # Errors
/// Where `out` takes no more.
pub fn manual(command: Command, out: &mut dyn Write) -> Result<u8> {
    let mut command = command.disable_help_subcommand(true);
    command.build();
    let mut page = Vec::new();
    let whole = clap_mangen::Man::new(command.clone());
    whole.render(&mut page)?;
    for part in command.get_subcommands() {
        let name = part.get_name().to_owned();
        page.extend_from_slice(format!(".SH \"CLAMPBOOK {}\"\n", name.to_uppercase()).as_bytes());
        let of_part = clap_mangen::Man::new(part.clone().bin_name(format!("clampbook {name}")));
        of_part.render_description_section(&mut page)?;
        of_part.render_synopsis_section(&mut page)?;
        of_part.render_options_section(&mut page)?;
    }
    out.write_all(&page)?;
    Ok(0)
}
