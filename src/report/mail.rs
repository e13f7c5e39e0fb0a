//! The periodic report by mail: what changed, in words, with the workbook attached.

pub mod body;
pub mod digest;
pub mod journal;
pub mod message;
pub mod naming;
pub mod smtp;
pub mod subject;
pub mod trend;

pub use digest::Digest;
pub use journal::Journal;
pub use message::{ComposeError, Report, compose, mailbox};
pub use smtp::{Patience, Receipt, SendError, Server, send};
