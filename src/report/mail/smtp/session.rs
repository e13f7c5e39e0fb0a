//! One try: from the greeting to the confirmation.

use lettre::address::Envelope;
use lettre::transport::smtp::authentication::Mechanism;
use lettre::transport::smtp::client::SmtpConnection;
use lettre::transport::smtp::commands::{Data, Mail, Rcpt};
use lettre::transport::smtp::extension::{ClientId, Extension, MailParameter};

use super::Patience;
use super::failure::{Failure, SendError, Step, answer, one_line};
use super::relay::Relay;
use super::server::{Security, Server};

/// Hands the message over. `Ok` is the server's confirmation of all of it.
pub(super) fn deliver(envelope: &Envelope, bytes: &[u8], server: &Server, pace: &Patience) -> Result<String, Failure> {
    let name = server.place();
    let addresses = server.addresses()?;
    let relay =
        Relay::to(&addresses, pace.timeout, pace.deadline).map_err(|error| Failure::unreachable(&name, &error))?;
    handed_over(envelope, bytes, server, pace, &relay).map_err(|failure| match relay.broken() {
        Some(bound) => Failure::beyond(&name, bound),
        None => failure,
    })
}

fn handed_over(
    envelope: &Envelope,
    bytes: &[u8],
    server: &Server,
    pace: &Patience,
    relay: &Relay,
) -> Result<String, Failure> {
    let name = server.place();
    let mut line = connect(server, pace, relay)?;
    sign_in(&mut line, server)?;
    sender(&mut line, envelope, &name)?;
    recipients(&mut line, envelope, &name)?;
    let failed = |error| Failure::at(&name, Step::Message, &error);
    line.command(Data).map_err(failed)?;
    line.set_timeout(Some(pace.message_timeout))
        .map_err(|error| Failure::lasting(&name, format!("{error}. The message does not count as sent.")))?;
    let confirmed = line.message(bytes).map_err(failed)?;
    let said: Vec<&str> = confirmed.message().collect();
    // The mail is the server's now; how the line ends no longer matters.
    let _ = line.set_timeout(Some(pace.timeout));
    let _ = line.quit();
    Ok(one_line(&format!("{} {}", confirmed.code(), said.join(" "))))
}

fn connect(server: &Server, pace: &Patience, relay: &Relay) -> Result<SmtpConnection, Failure> {
    let name = server.place();
    let hello = ClientId::default();
    let from_the_start = if let Security::Tls(tls) = &server.security { Some(tls) } else { None };
    let mut line = SmtpConnection::connect(relay.address(), Some(pace.timeout), &hello, from_the_start, None)
        .map_err(|error| Failure::at(&name, Step::Connect, &error))?;
    if let Security::StartTls(tls) = &server.security {
        if !line.can_starttls() {
            let _ = line.quit();
            let what = "the server offers no STARTTLS, and the line would be open to be read. Nothing was sent.";
            return Err(Failure::lasting(&name, what));
        }
        line.starttls(tls, &hello).map_err(|error| Failure::at(&name, Step::StartTls, &error))?;
    }
    Ok(line)
}

fn sign_in(line: &mut SmtpConnection, server: &Server) -> Result<(), Failure> {
    let Some(credentials) = &server.credentials else { return Ok(()) };
    let mechanisms = [Mechanism::Plain, Mechanism::Login];
    if line.server_info().get_auth_mechanism(&mechanisms).is_none() {
        let what = "the server offers no sign-in by password, and the policy's [mail] names a user. Nothing was sent.";
        return Err(Failure::lasting(&server.place(), what));
    }
    let signed_in = line.auth(&mechanisms, credentials);
    signed_in.map(drop).map_err(|error| Failure::at(&server.place(), Step::SignIn(&server.user), &error))
}

fn sender(line: &mut SmtpConnection, envelope: &Envelope, name: &str) -> Result<(), Failure> {
    let mut parameters = Vec::new();
    let from = envelope.from().cloned();
    let sender = from.as_ref().map_or_else(String::new, ToString::to_string);
    let addresses = envelope.to().iter().chain(&from);
    if let Some(wide) = addresses.map(ToString::to_string).find(|address| !address.is_ascii()) {
        if !line.server_info().supports_feature(Extension::SmtpUtfEight) {
            let what = format!("the server takes no address outside ASCII such as {wide}. Nothing was sent.");
            return Err(Failure::lasting(name, what));
        }
        parameters.push(MailParameter::SmtpUtfEight);
    }
    let accepted = line.command(Mail::new(from, parameters));
    accepted.map(drop).map_err(|error| Failure::at(name, Step::Sender(&sender), &error))
}

/// Names every recipient. Where the server refuses one, none gets the mail.
fn recipients(line: &mut SmtpConnection, envelope: &Envelope, name: &str) -> Result<(), Failure> {
    let mut refused = Vec::new();
    let mut may_pass = true;
    for recipient in envelope.to() {
        if let Err(error) = line.command(Rcpt::new(recipient.clone(), Vec::new())) {
            if error.status().is_none() {
                return Err(Failure::at(name, Step::Sender(""), &error));
            }
            may_pass &= error.is_transient();
            refused.push(format!("{recipient} ({})", answer(&error)));
        }
    }
    if refused.is_empty() {
        return Ok(());
    }
    let _ = line.quit();
    let word = if refused.len() == 1 { "recipient" } else { "recipients" };
    let what = format!("the server refused the {word} {}. Nothing was sent to anyone.", refused.join(", "));
    Err(Failure { error: SendError::new(name, what), may_pass })
}
