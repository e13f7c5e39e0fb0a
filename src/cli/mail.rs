//! `clampbook mail`: sends a report, or writes the message to a file.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::{Duration, SystemTime};

use anyhow::{Context, Result};
use chrono::{DateTime, SecondsFormat, Utc};
use clap::Args;
use lettre::Message;
use lettre::message::Mailbox;
use lettre::message::header::MessageId;

use crate::report::mail::{ComposeError, Digest, Journal, Patience, Report, SendError, Server, compose, mailbox, send};
use crate::report::whole_file::{Inputs, Mark, OutputError, WholeFile, refuse_foreign, shown};
use crate::tables::policy::Mail;

/// The only place that a password may stand in.
pub const PASSWORD: &str = "CLAMPBOOK_MAIL_PASSWORD";

/// Send a report by mail.
#[derive(Args, Clone, Debug)]
pub struct MailArgs {
    /// The workbook that the check wrote
    pub report: PathBuf,
    /// The --data folder of the same run
    #[arg(long, value_name = "DIR")]
    pub data: PathBuf,
    /// Who gets it; may be given several times
    #[arg(long, value_name = "ADDRESS", required = true)]
    pub to: Vec<String>,
    /// Who it is from; else `from` of the policy's [mail] section
    #[arg(long, value_name = "ADDRESS")]
    pub from: Option<String>,
    /// Write the message to a file instead of sending it; needs no server settings
    #[arg(long, value_name = "FILE")]
    pub eml: Option<PathBuf>,
    /// Send it once more to those who have it
    #[arg(long)]
    pub again: bool,
    /// Write --eml over a file that clampbook did not write, too
    #[arg(long)]
    pub replace: bool,
    /// The policy with the [mail] section; else policy.toml beside the report, beside or in the
    /// --data folder, or in the current folder
    #[arg(long, value_name = "FILE")]
    pub policy: Option<PathBuf>,
}

impl MailArgs {
    /// The policy file to read `[mail]` from, the first that there is.
    #[must_use]
    pub fn policy_file(&self) -> Option<PathBuf> {
        if let Some(named) = &self.policy {
            return Some(named.clone());
        }
        // What stands there and is no file is said when it is read, not passed over.
        self.policy_places().into_iter().find(|file| file.symlink_metadata().is_ok())
    }

    /// Where a policy is looked for that isn't named.
    fn policy_places(&self) -> Vec<PathBuf> {
        let beside = |path: &Path| path.parent().map(Path::to_owned);
        let folders = [beside(&self.report), Some(self.data.clone()), beside(&self.data), Some(PathBuf::new())];
        let mut places: Vec<PathBuf> = Vec::new();
        for place in folders.into_iter().flatten().map(|folder| folder.join("policy.toml")) {
            if !places.contains(&place) {
                places.push(place);
            }
        }
        places
    }

    /// Which policy was read, or where one was looked for.
    fn policy_in_words(&self) -> String {
        if let Some(file) = self.policy_file() {
            return format!("the policy read is {}", shown(&file));
        }
        let places: Vec<String> = self.policy_places().iter().map(|place| shown(place).clone()).collect();
        format!("no policy was found, looked for were {}", places.join(", "))
    }

    fn sender(&self, mail: &Mail) -> Result<Mailbox, ComposeError> {
        match &self.from {
            Some(from) => mailbox("--from", from),
            None if mail.from.trim().is_empty() => Err(ComposeError::Sender(self.policy_in_words())),
            None => mailbox("policy, [mail] from", &mail.from),
        }
    }
}

/// Runs the command. `base` is the folder of the policy; what happens is told on `out`.
///
/// # Errors
/// Where nothing was written or sent, exit status 2: a sentence.
pub fn run(args: &MailArgs, mail: &Mail, base: &Path, out: &mut dyn Write) -> Result<u8> {
    let password = std::env::var(PASSWORD).ok();
    let tries = mail.tries.unwrap_or(Patience::default().tries);
    run_with(args, mail, base, password.as_deref(), &Patience { tries, ..Patience::default() }, out)
}

/// The same with password and pace given.
///
/// # Errors
/// As of [`run`].
pub fn run_with(
    args: &MailArgs,
    mail: &Mail,
    base: &Path,
    password: Option<&str>,
    pace: &Patience,
    out: &mut dyn Write,
) -> Result<u8> {
    let from = args.sender(mail)?;
    let to = args.to.iter().map(|text| mailbox("--to", text)).collect::<Result<Vec<Mailbox>, _>>()?;
    let report = Report::load(&args.report)?;
    let digest = Digest::load(&args.data)?;
    if report.run != digest.summary.run {
        return Err(ComposeError::OtherRun(args.report.clone()).into());
    }
    let now = SystemTime::now();
    let message = compose(&digest, &report, &from, &to, now)?;
    match &args.eml {
        Some(file) => write_eml(args, file, &message, (mail, base), out),
        None => deliver(args, &report, &to, &message, now, &Line { mail, base, password, pace }, out),
    }
}

fn write_eml(
    args: &MailArgs,
    file: &Path,
    message: &Message,
    (mail, base): (&Mail, &Path),
    out: &mut dyn Write,
) -> Result<u8> {
    let mut inputs = Inputs::of([args.report.clone(), Journal::path_of(&args.report)]);
    inputs.add_folder(&args.data);
    args.policy_file().iter().for_each(|policy| inputs.add_file(policy));
    if !mail.ca_file.is_empty() {
        inputs.add_file(&base.join(&mail.ca_file));
    }
    inputs.refuse(file)?;
    refuse_foreign(file, Mark::Near("User-Agent: clampbook "), args.replace)?;
    let mut eml = WholeFile::create(file)?;
    eml.write_all(&message.formatted()).map_err(|error| OutputError::from_io(file, error))?;
    eml.commit()?;
    let policy = args.policy_in_words();
    let _ = writeln!(out, "{}: the message was written. Nothing was sent. Settings: {policy}.", shown(file));
    Ok(0)
}

/// What leads to the server.
struct Line<'a> {
    mail: &'a Mail,
    base: &'a Path,
    password: Option<&'a str>,
    pace: &'a Patience,
}

fn deliver(
    args: &MailArgs,
    report: &Report,
    to: &[Mailbox],
    message: &Message,
    now: SystemTime,
    line: &Line,
    out: &mut dyn Write,
) -> Result<u8> {
    let server = Server::of(line.mail, line.password, line.base)?;
    let mut journal = Journal::open(&args.report, args.again)?;
    if !args.again {
        journal.refuse_again(report, to)?;
    }
    let mut wait = |error: &SendError, pause: Duration| {
        // Not being able to tell is no reason to give up.
        let _ = writeln!(out, "{error} The next try is in {} s.", pause.as_secs());
        thread::sleep(pause);
    };
    let id = message.headers().get::<MessageId>().map_or_else(String::new, |id| id.as_ref().to_owned());
    let sent_at = DateTime::<Utc>::from(now).to_rfc3339_opts(SecondsFormat::Secs, true);
    journal.begin(report, to, sent_at, id)?;
    let receipt = match send(message, &server, line.pace, &mut wait) {
        Ok(receipt) => receipt,
        Err(error) => {
            // Where this can't be noted the next run says that it may have arrived.
            let _ = journal.end(false);
            return Err(error.into());
        }
    };
    journal.end(true).context("The mail was sent, but that could not be noted: a second send will not be refused")?;
    let names: Vec<String> = to.iter().map(|mailbox| mailbox.email.to_string()).collect();
    let _ = writeln!(out, "Sent to {} ({}).", names.join(", "), receipt.answer);
    Ok(0)
}
