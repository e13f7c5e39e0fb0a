//! What can go wrong on the way to the server, a sentence each.

use std::error::Error as _;

use lettre::transport::smtp::Error as SmtpError;

use super::relay::Bound;

/// Why a mail was not sent. Whatever it says, the mail doesn't count as sent.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {what}{}", told(*.tries))]
pub struct SendError {
    /// Host and port, or the part of the policy.
    place: String,
    what: String,
    tries: u32,
}

impl SendError {
    pub(super) fn new(place: impl Into<String>, what: impl Into<String>) -> Self {
        Self { place: place.into(), what: what.into(), tries: 1 }
    }

    pub(super) fn after(mut self, tries: u32) -> Self {
        self.tries = tries;
        self
    }
}

fn told(tries: u32) -> String {
    if tries > 1 { format!(" It was tried {tries} times.") } else { String::new() }
}

/// A failed try, and whether the next one may do better.
#[derive(Debug)]
pub(super) struct Failure {
    pub error: SendError,
    pub may_pass: bool,
}

/// Where on the way it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step<'a> {
    Connect,
    StartTls,
    SignIn(&'a str),
    Sender(&'a str),
    Message,
}

impl Step<'_> {
    fn refused(self, answer: &str) -> String {
        match self {
            Self::Connect => format!("the server takes no mail now ({answer}). Nothing was sent."),
            Self::StartTls => format!("the server did not start TLS ({answer}). Nothing was sent."),
            Self::SignIn(user) => format!(
                "the server refused the user '{user}' or the password ({answer}). Nothing was sent. Correct user in \
                 the policy's [mail] or the environment variable CLAMPBOOK_MAIL_PASSWORD."
            ),
            Self::Sender(from) => {
                format!(
                    "the server refused the sender {from} ({answer}). Nothing was sent. Correct from in the policy's [mail]."
                )
            }
            Self::Message => format!("the server refused the message ({answer}). Nothing was sent to anyone."),
        }
    }

    const fn broken(self) -> &'static str {
        match self {
            Self::Connect => "the server closed the line before it took a mail",
            Self::StartTls => "the line broke while TLS was being started",
            Self::SignIn(_) => "the line broke while signing in",
            Self::Sender(_) => "the line broke before the message",
            Self::Message => "the line broke before the server had confirmed the message",
        }
    }
}

impl Failure {
    pub(super) fn lasting(place: &str, what: impl Into<String>) -> Self {
        Self { error: SendError::new(place, what), may_pass: false }
    }

    pub(super) fn unreachable(place: &str, error: &std::io::Error) -> Self {
        let what = format!("the server can't be reached ({}). Nothing was sent.", one_line(&error.to_string()));
        Self { error: SendError::new(place, what), may_pass: true }
    }

    /// The server went beyond what one may: trying again would only take longer.
    pub(super) fn beyond(place: &str, bound: Bound) -> Self {
        Self::lasting(
            place,
            match bound {
                Bound::Time => "the server did not come to an end in time. The message does not count as sent.",
                Bound::Length => {
                    "the server says more than a mail server may, without an end of line. The message does not count \
                     as sent."
                }
            },
        )
    }

    /// The sentence for what the server or the line did at a step.
    pub(super) fn at(place: &str, step: Step, error: &SmtpError) -> Self {
        let (what, may_pass) = if error.status().is_some() {
            (step.refused(&answer(error)), error.is_transient())
        } else if let Some(why) = certificate_fault(error) {
            (untrusted(&why), false)
        } else if let Some(what) = not_tls(error) {
            (what.to_owned(), false)
        } else if error.is_timeout() {
            ("the server did not answer in time. The message does not count as sent.".to_owned(), true)
        } else if step == Step::Connect && !error.is_response() {
            (format!("the server can't be reached ({}). Nothing was sent.", cause(error)), true)
        } else if error.is_client() {
            (format!("{}. Nothing was sent.", cause(error)), false)
        } else {
            (format!("{}. The message does not count as sent.", step.broken()), true)
        };
        Self { error: SendError::new(place, what), may_pass }
    }
}

fn untrusted(why: &str) -> String {
    format!(
        "the server's certificate is not trusted ({why}). Nothing was sent. If the server has a certificate of your \
         own, name its root in ca_file of the policy's [mail]."
    )
}

/// What a server said: code and text, on one line.
pub(super) fn answer(error: &SmtpError) -> String {
    let code = error.status().map_or_else(String::new, |code| code.to_string());
    let text = error.source().map_or_else(String::new, ToString::to_string);
    one_line(&format!("{code} {text}"))
}

/// Control characters of a server's answer have no place in a sentence.
pub(super) fn one_line(text: &str) -> String {
    let words: Vec<&str> = text.split(|c: char| c.is_control() || c == ' ').filter(|word| !word.is_empty()).collect();
    words.join(" ")
}

/// The innermost cause.
fn cause(error: &SmtpError) -> String {
    let mut inner: &dyn std::error::Error = error;
    while let Some(source) = inner.source() {
        inner = source;
    }
    one_line(&inner.to_string())
}

/// What is wrong with the server's certificate, where that is what went wrong. TLS comes as an
/// input/output error whose text is all that the mail library passes on.
fn certificate_fault(error: &SmtpError) -> Option<String> {
    let text = cause(error);
    text.split_once("invalid peer certificate: ").map(|(_, why)| why.to_owned())
}

fn not_tls(error: &SmtpError) -> Option<&'static str> {
    cause(error).contains("corrupt message").then_some(
        "the server does not speak TLS on this port. Nothing was sent. Correct port or security in the policy's [mail].",
    )
}
