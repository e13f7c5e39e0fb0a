//! Where mail goes out: the policy's `[mail]`, checked.

use std::fs;
use std::net::{SocketAddr, ToSocketAddrs};
use std::path::Path;

use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, TlsParameters};

use crate::report::whole_file::shown;
use crate::tables::policy::Mail;
use crate::tables::system_words::system_words;

use super::failure::{Failure, SendError};

/// How the line is kept from being read.
#[derive(Clone)]
pub(super) enum Security {
    StartTls(TlsParameters),
    Tls(TlsParameters),
    /// To this machine alone.
    None,
}

/// A mail server and how to sign in.
#[derive(Clone)]
pub struct Server {
    host: String,
    port: u16,
    pub(super) security: Security,
    pub(super) user: String,
    pub(super) credentials: Option<Credentials>,
}

impl Server {
    /// From the policy; `password` from the environment, `base` is the folder of the policy.
    ///
    /// # Errors
    /// Where something is missing or can't be used: a sentence.
    pub fn of(mail: &Mail, password: Option<&str>, base: &Path) -> Result<Self, SendError> {
        let policy = |what: String| SendError::new("policy, [mail]", what);
        if mail.host.is_empty() {
            return Err(policy("host is missing. Name the server that takes your mail.".to_owned()));
        }
        let (security, usual_port) = match mail.security.as_str() {
            "" | "starttls" => (Security::StartTls(tls(mail, base)?), 587),
            "tls" => (Security::Tls(tls(mail, base)?), 465),
            "none" => (Security::None, 25),
            other => {
                let found = other.escape_debug();
                return Err(policy(format!("security is '{found}'. Expected 'starttls', 'tls' or 'none'.")));
            }
        };
        if matches!(security, Security::None) && !mail.user.is_empty() {
            let what = "user is given with security 'none': the password would cross an open line. Use 'starttls' or \
                        'tls', or leave user out.";
            return Err(policy(what.to_owned()));
        }
        let credentials = match password {
            _ if mail.user.is_empty() => None,
            Some(password) if !password.is_empty() => Some(Credentials::new(mail.user.clone(), password.to_owned())),
            _ => {
                let what = "user is given, and the environment variable CLAMPBOOK_MAIL_PASSWORD holds no password.";
                return Err(policy(what.to_owned()));
            }
        };
        let port = mail.port.unwrap_or(usual_port);
        Ok(Self { host: mail.host.clone(), port, security, user: mail.user.clone(), credentials })
    }

    /// `mail.example.com:587`.
    #[must_use]
    pub fn place(&self) -> String {
        format!("{}:{}", self.host.escape_debug(), self.port)
    }

    /// The addresses of the host; without TLS only this machine's own will do.
    pub(super) fn addresses(&self) -> Result<Vec<SocketAddr>, Failure> {
        let found = (self.host.as_str(), self.port).to_socket_addrs();
        let addresses: Vec<SocketAddr> = found.map(Iterator::collect).map_err(|error| Failure {
            error: SendError::new(self.place(), format!("the host has no address ({error}). Nothing was sent.")),
            may_pass: true,
        })?;
        if matches!(self.security, Security::None) && !addresses.iter().all(|address| address.ip().is_loopback()) {
            let what = "security 'none' is for a server on this machine only: the line to another could be read. \
                        Nothing was sent. Use 'starttls' or 'tls' in the policy's [mail].";
            return Err(Failure::lasting(&self.place(), what));
        }
        Ok(addresses)
    }
}

fn tls(mail: &Mail, base: &Path) -> Result<TlsParameters, SendError> {
    let policy = |what: String| SendError::new("policy, [mail]", what);
    let mut builder = TlsParameters::builder(mail.host.clone());
    if !mail.ca_file.is_empty() {
        let path = base.join(&mail.ca_file);
        let said = |why: &str| policy(format!("ca_file {}: the file can't be read: {why}.", shown(&path)));
        if fs::metadata(&path).is_ok_and(|found| !found.is_file()) {
            return Err(said("it is a pipe, a device or a folder"));
        }
        let pem = fs::read(&path).map_err(|error| said(&system_words(&error)))?;
        let no_pem = || policy(format!("ca_file {}: no certificate in PEM form was found in it.", shown(&path)));
        if !pem.windows(27).any(|window| window == b"-----BEGIN CERTIFICATE-----") {
            return Err(no_pem());
        }
        builder = builder.add_root_certificate(Certificate::from_pem(&pem).map_err(|_| no_pem())?);
    }
    builder.build().map_err(|error| policy(format!("TLS can't be set up ({error}).")))
}
