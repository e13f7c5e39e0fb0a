//! Arguments, progress, exit status.

pub mod check;
pub mod columns;
pub mod explain;
pub mod find;
pub mod headers;
pub mod interrupt;
pub mod mail;
pub mod merge;
pub mod progress;
pub mod rules;
pub mod screen;
pub mod shell;
pub mod starter;
pub mod told;

use std::ffi::OsString;
use std::io::Write;

use clap::{CommandFactory, Parser, Subcommand};

use crate::audit::sweep::RunError;

use told::{Told, complain};

/// Audits clamping circuits that hold trapped pressure: lists of clamps against a component
/// table.
#[derive(Parser, Debug)]
#[command(name = "clampbook", version, about, arg_required_else_help = true, color = clap::ColorChoice::Never)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand, Debug)]
enum Command {
    /// Audit a plant and write what is found
    Check(Box<check::CheckArgs>),
    /// Show the calculation of one circuit as it is worked by hand
    Explain(explain::ExplainArgs),
    /// Say where a part, a position, a circuit or a load station is named
    Find(find::FindArgs),
    /// Write an empty plant folder with an example to start from
    Starter(starter::StarterArgs),
    /// Say which file is which table and which header which column, for the policy
    Headers(headers::HeadersArgs),
    /// Print the columns of the tables: meaning, units, what a blank counts as
    Columns(columns::ColumnsArgs),
    /// Print the rules, those about a word, or all about one
    Rules(rules::RulesArgs),
    /// Join the parts of a run with --shard
    Merge(merge::MergeArgs),
    /// Send a report, or write it as a message file
    Mail(mail::MailArgs),
    /// Print what completes commands and options in a shell
    Completions(shell::CompletionsArgs),
    /// Print the manual page, for `man`
    Manual,
}

/// Runs the command line and gives the exit status: 0 all conform, 1 something doesn't or could
/// not be assessed, 2 inputs, policy or command can't be used, 130 interrupted.
pub fn run(arguments: impl IntoIterator<Item = OsString>, out: &mut dyn Write) -> u8 {
    let out = &mut Told(out);
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(error) => {
            // It repeats what was given.
            let text = error.render().to_string();
            let _ = if error.use_stderr() {
                Told(&mut std::io::stderr()).write_all(text.as_bytes())
            } else {
                out.write_all(text.as_bytes())
            };
            return u8::try_from(error.exit_code()).unwrap_or(check::UNUSABLE);
        }
    };
    let result = interrupt::install().and_then(|()| dispatch(&arguments.command, out));
    match result {
        Ok(status) => status,
        Err(error) => {
            crate::report::whole_file::abandon_all();
            if matches!(error.downcast_ref::<RunError>(), Some(RunError::Interrupted)) || interrupt::interrupted() {
                return interrupt::EXIT;
            }
            complain(&format!("{error:#}"));
            check::UNUSABLE
        }
    }
}

fn dispatch(command: &Command, out: &mut dyn Write) -> anyhow::Result<u8> {
    match command {
        Command::Check(args) => check::run(args, out),
        Command::Explain(args) => explain::run(args, out),
        Command::Find(args) => find::run(args, out),
        Command::Merge(args) => merge::run(args, out),
        Command::Starter(args) => starter::run(args, out),
        Command::Headers(args) => headers::run(args, out),
        Command::Columns(args) => columns::run(args, out),
        Command::Rules(args) => rules::run(args, out),
        Command::Completions(args) => shell::completions(args, Arguments::command(), out),
        Command::Manual => shell::manual(Arguments::command(), out),
        Command::Mail(args) => mail_with_policy(args, out),
    }
}

fn mail_with_policy(args: &mail::MailArgs, out: &mut dyn Write) -> anyhow::Result<u8> {
    let file = args.policy_file();
    let today = chrono::Local::now().date_naive();
    let policy = crate::read::policy_file(file.as_deref(), today)?;
    let base = file.as_deref().and_then(std::path::Path::parent).unwrap_or(std::path::Path::new("."));
    mail::run(args, &policy.mail, base, out)
}
