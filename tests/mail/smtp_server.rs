//! A small SMTP server on loopback (RFC 5321, 3207, 4954), for tests of the sending side.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::Duration;

use rcgen::{BasicConstraints, CertificateParams, IsCa, Issuer, KeyPair};
use rustls::pki_types::{PrivateKeyDer, PrivatePkcs8KeyDer};
use rustls::{ServerConfig, ServerConnection, StreamOwned};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Security {
    None,
    StartTls,
    Tls,
}

/// Where the server drops the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Drop {
    /// After so many bytes of the message.
    MidData(usize),
    /// After the final dot, before the confirmation.
    BeforeConfirming,
}

/// What the server does.
#[derive(Clone)]
pub struct Behaviour {
    pub security: Security,
    pub offers_starttls: bool,
    /// User and password that it takes; `None` takes mail from anyone.
    pub account: Option<(&'static str, &'static str)>,
    pub refused: Vec<(&'static str, &'static str)>,
    pub drop: Option<Drop>,
    /// Connections on which `drop` happens; later ones go well.
    pub drops: usize,
    /// Connections that are turned away with 421 at the greeting.
    pub busy: usize,
}

impl Default for Behaviour {
    fn default() -> Self {
        let (refused, drop) = (Vec::new(), None);
        Self {
            security: Security::None,
            offers_starttls: true,
            account: None,
            refused,
            drop,
            drops: usize::MAX,
            busy: 0,
        }
    }
}

/// A mail that the server confirmed.
#[derive(Clone, Debug)]
pub struct Received {
    pub from: String,
    pub to: Vec<String>,
    pub data: Vec<u8>,
}

/// What the server saw.
#[derive(Debug, Default)]
pub struct Seen {
    pub received: Vec<Received>,
    pub connections: usize,
    /// Commands before TLS.
    pub in_the_clear: Vec<String>,
    /// Commands after TLS.
    pub under_tls: Vec<String>,
}

pub struct SmtpServer {
    pub port: u16,
    /// The root of its certificate, PEM.
    pub root: String,
    seen: Arc<Mutex<Seen>>,
}

impl SmtpServer {
    pub fn start(behaviour: Behaviour) -> Self {
        let (config, root) = certificates();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let seen = Arc::new(Mutex::new(Seen::default()));
        let shared = Arc::clone(&seen);
        thread::spawn(move || {
            for stream in listener.incoming() {
                let number = {
                    let mut seen = shared.lock().unwrap();
                    seen.connections += 1;
                    seen.connections
                };
                let (behaviour, config, seen) = (behaviour.clone(), Arc::clone(&config), Arc::clone(&shared));
                // A broken line ends the session, as it should.
                thread::spawn(move || _ = Session { behaviour, config, seen, number }.run(stream.unwrap()));
            }
        });
        Self { port, root, seen }
    }

    pub fn seen<T>(&self, look: impl FnOnce(&Seen) -> T) -> T {
        look(&self.seen.lock().unwrap())
    }
}

fn certificates() -> (Arc<ServerConfig>, String) {
    let root_key = KeyPair::generate().unwrap();
    let mut root = CertificateParams::new(Vec::new()).unwrap();
    root.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    let root_certificate = root.self_signed(&root_key).unwrap();
    let key = KeyPair::generate().unwrap();
    let leaf = CertificateParams::new(vec!["localhost".to_owned()]).unwrap();
    let leaf = leaf.signed_by(&key, &Issuer::new(root, root_key)).unwrap();
    let key = PrivateKeyDer::Pkcs8(PrivatePkcs8KeyDer::from(key.serialize_der()));
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![leaf.der().clone()], key)
        .unwrap();
    (Arc::new(config), root_certificate.pem())
}

trait Wire: Read + Write {}
impl<T: Read + Write> Wire for T {}

struct Session {
    behaviour: Behaviour,
    config: Arc<ServerConfig>,
    seen: Arc<Mutex<Seen>>,
    number: usize,
}

type Lines = BufReader<Box<dyn Wire>>;
type Io<T> = std::io::Result<T>;

fn reply(lines: &mut Lines, text: &str) -> Io<()> {
    lines.get_mut().write_all(format!("{text}\r\n").as_bytes())?;
    lines.get_mut().flush()
}

impl Session {
    fn run(&self, stream: TcpStream) -> Io<()> {
        stream.set_read_timeout(Some(Duration::from_secs(20)))?;
        let second = stream.try_clone()?;
        let is_tls = self.behaviour.security == Security::Tls;
        let wire: Box<dyn Wire> = if is_tls { self.tls(stream) } else { Box::new(stream) };
        let mut lines = BufReader::new(wire);
        if self.number <= self.behaviour.busy {
            return reply(&mut lines, "421 localhost busy, come back later");
        }
        reply(&mut lines, "220 localhost ESMTP")?;
        if self.converse(&mut lines, is_tls)? {
            let mut lines = BufReader::new(self.tls(second));
            self.converse(&mut lines, true)?;
        }
        Ok(())
    }

    fn tls(&self, stream: TcpStream) -> Box<dyn Wire> {
        Box::new(StreamOwned::new(ServerConnection::new(Arc::clone(&self.config)).unwrap(), stream))
    }

    /// One conversation; `true` where TLS is to be started.
    fn converse(&self, lines: &mut Lines, is_tls: bool) -> Io<bool> {
        let mut is_signed_in = self.behaviour.account.is_none();
        let mut mail: Option<Received> = None;
        let mut line = String::new();
        loop {
            line.clear();
            if lines.read_line(&mut line)? == 0 {
                return Ok(false);
            }
            let command = line.trim_end().to_owned();
            self.note(&command, is_tls);
            let (verb, rest) = command.split_once(' ').unwrap_or((&command, ""));
            match (verb.to_ascii_uppercase().as_str(), &mut mail) {
                ("EHLO", _) => self.greet(lines, is_tls)?,
                ("STARTTLS", _) if self.can_start_tls(is_tls) => {
                    reply(lines, "220 go ahead")?;
                    return Ok(true);
                }
                ("AUTH", _) => {
                    is_signed_in = self.sign_in(rest);
                    reply(lines, if is_signed_in { "235 2.7.0 accepted" } else { "535 5.7.8 wrong user or password" })?;
                }
                ("MAIL", _) if !is_signed_in => reply(lines, "530 5.7.0 sign in first")?,
                ("MAIL", _) => {
                    mail = Some(Received { from: bracketed(rest), to: Vec::new(), data: Vec::new() });
                    reply(lines, "250 2.1.0 sender fine")?;
                }
                ("RCPT", Some(mail)) => self.recipient(lines, mail, &bracketed(rest))?,
                ("DATA", Some(open)) if !open.to.is_empty() => {
                    reply(lines, "354 end with a dot")?;
                    let Some(data) = self.data(lines)? else { return Ok(false) };
                    open.data = data;
                    self.seen.lock().unwrap().received.extend(mail.take());
                    reply(lines, "250 2.0.0 queued as 42")?;
                }
                ("QUIT", _) => {
                    reply(lines, "221 bye")?;
                    return Ok(false);
                }
                _ => reply(lines, "503 5.5.1 bad sequence of commands")?,
            }
        }
    }

    fn note(&self, command: &str, is_tls: bool) {
        let mut seen = self.seen.lock().unwrap();
        let list = if is_tls { &mut seen.under_tls } else { &mut seen.in_the_clear };
        list.push(command.to_owned());
    }

    fn can_start_tls(&self, is_tls: bool) -> bool {
        self.behaviour.security == Security::StartTls && self.behaviour.offers_starttls && !is_tls
    }

    fn greet(&self, lines: &mut Lines, is_tls: bool) -> Io<()> {
        let starttls = if self.can_start_tls(is_tls) { "250-STARTTLS\r\n" } else { "" };
        let auth = if self.behaviour.account.is_some() { "250-AUTH PLAIN LOGIN\r\n" } else { "" };
        reply(lines, &format!("250-localhost\r\n{starttls}{auth}250 8BITMIME"))
    }

    fn sign_in(&self, rest: &str) -> bool {
        let Some((user, password)) = self.behaviour.account else { return true };
        rest == format!("PLAIN {}", base64(format!("\0{user}\0{password}").as_bytes()))
    }

    fn recipient(&self, lines: &mut Lines, mail: &mut Received, address: &str) -> Io<()> {
        if let Some((_, answer)) = self.behaviour.refused.iter().find(|(refused, _)| *refused == address) {
            return reply(lines, answer);
        }
        mail.to.push(address.to_owned());
        reply(lines, "250 2.1.5 recipient fine")
    }

    /// The message without its dots (RFC 5321, 4.5.2); `None` where the line is dropped.
    fn data(&self, lines: &mut Lines) -> Io<Option<Vec<u8>>> {
        let drop = self.behaviour.drop.filter(|_| self.number <= self.behaviour.drops);
        let mut data = Vec::new();
        loop {
            let mut line = Vec::new();
            if lines.read_until(b'\n', &mut line)? == 0 {
                return Ok(None);
            }
            if line == b".\r\n" {
                return Ok((drop != Some(Drop::BeforeConfirming)).then_some(data));
            }
            data.extend_from_slice(line.strip_prefix(b".").unwrap_or(&line));
            if matches!(drop, Some(Drop::MidData(bytes)) if data.len() >= bytes) {
                return Ok(None);
            }
        }
    }
}

/// What stands between `<` and `>`.
fn bracketed(text: &str) -> String {
    text.split_once('<').and_then(|(_, rest)| rest.split_once('>')).map_or("", |(inside, _)| inside).to_owned()
}

/// RFC 4648, section 4.
pub fn base64(bytes: &[u8]) -> String {
    const ALPHABET: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for chunk in bytes.chunks(3) {
        let bits = chunk.iter().enumerate().fold(0u32, |bits, (at, byte)| bits | u32::from(*byte) << (16 - 8 * at));
        for at in 0..4 {
            let index = (bits >> (18 - 6 * at)) & 63;
            text.push(if at <= chunk.len() { char::from(ALPHABET[index as usize]) } else { '=' });
        }
    }
    text
}
