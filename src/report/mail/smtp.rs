//! Sending over SMTP (RFC 5321), by STARTTLS (RFC 3207), implicit TLS (RFC 8314) or, to this
//! machine alone, without.
//!
//! A mail counts as sent when the server has confirmed the whole of it for every recipient. One
//! refused recipient, and nobody gets it.

mod failure;
mod relay;
mod server;
mod session;

use std::time::Duration;

use lettre::Message;

use failure::Failure;
pub use failure::SendError;
pub use server::Server;

/// How long and how often it is tried.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// At least 1.
    pub tries: u32,
    /// Before the second try; each further wait is three times as long.
    pub first_wait: Duration,
    /// For an answer of the server.
    pub timeout: Duration,
    /// For the answer to the whole message.
    pub message_timeout: Duration,
    /// For all of one try, however lively the server is.
    pub deadline: Duration,
}

impl Default for Patience {
    fn default() -> Self {
        Self {
            tries: 3,
            first_wait: Duration::from_secs(5),
            timeout: Duration::from_mins(1),
            message_timeout: Duration::from_mins(10),
            deadline: Duration::from_mins(15),
        }
    }
}

/// The server's confirmation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Receipt {
    /// What the server said, on one line.
    pub answer: String,
    pub tries: u32,
}

/// Sends a message: a failure that may pass is tried again after a wait, which `wait` is told
/// of and does.
///
/// # Errors
/// Where no server confirmed the message: a sentence. It then counts as not sent.
pub fn send(
    message: &Message,
    server: &Server,
    pace: &Patience,
    wait: &mut dyn FnMut(&SendError, Duration),
) -> Result<Receipt, SendError> {
    let bytes = message.formatted();
    let mut pause = pace.first_wait;
    let mut tries = 1;
    loop {
        match session::deliver(message.envelope(), &bytes, server, pace) {
            Ok(answer) => return Ok(Receipt { answer, tries }),
            Err(Failure { error, may_pass }) => {
                if !may_pass || tries >= pace.tries {
                    return Err(error.after(tries));
                }
                wait(&error, pause);
                pause = pause.saturating_mul(3);
                tries += 1;
            }
        }
    }
}
