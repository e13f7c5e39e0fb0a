//! Bounds on what a mail server may do: a last moment for the whole session, and a most for one
//! line and for all that it says. The mail library has neither, so that its line runs through a
//! relay on this machine's loopback that has.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Bytes of one line; RFC 5321 allows 512, and encrypted bytes hold a line feed in every 256.
const LINE: usize = 1 << 16;
/// Bytes of all that a server says in one session.
const ALL: usize = 1 << 22;
const BUFFER: usize = 1 << 14;

/// What the server went beyond.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bound {
    Time,
    Length,
}

/// A line to a server, by way of this machine.
pub(super) struct Relay {
    address: SocketAddr,
    broken: Arc<Mutex<Option<Bound>>>,
}

impl Relay {
    /// Connects to the first of the addresses that answers.
    pub(super) fn to(addresses: &[SocketAddr], timeout: Duration, deadline: Duration) -> io::Result<Self> {
        let end = Instant::now() + deadline;
        let server = connected(addresses, timeout.min(deadline))?;
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0))?;
        let relay = Self { address: listener.local_addr()?, broken: Arc::default() };
        let broken = Arc::clone(&relay.broken);
        thread::Builder::new().spawn(move || {
            // Where a line can't be served the client sees it closed, and says so.
            let _ = serve(&listener, &server, end, &broken);
        })?;
        Ok(relay)
    }

    pub(super) const fn address(&self) -> SocketAddr {
        self.address
    }

    /// The bound that the server went beyond, if it did.
    pub(super) fn broken(&self) -> Option<Bound> {
        *self.broken.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn connected(addresses: &[SocketAddr], timeout: Duration) -> io::Result<TcpStream> {
    let mut last = io::Error::new(io::ErrorKind::NotFound, "the host has no address");
    for address in addresses {
        match TcpStream::connect_timeout(address, timeout) {
            Ok(stream) => return Ok(stream),
            Err(error) => last = error,
        }
    }
    Err(last)
}

fn serve(listener: &TcpListener, server: &TcpStream, end: Instant, broken: &Mutex<Option<Bound>>) -> io::Result<()> {
    let (client, _) = listener.accept()?;
    for stream in [&client, server] {
        stream.set_nodelay(true)?;
    }
    let (from, to) = (client.try_clone()?, server.try_clone()?);
    thread::Builder::new().spawn(move || {
        let _ = io::copy(&mut &from, &mut &to);
        let _ = to.shutdown(Shutdown::Write);
    })?;
    let bound = answers(server, &client, end);
    if let Ok(Some(bound)) = bound {
        *broken.lock().unwrap_or_else(PoisonError::into_inner) = Some(bound);
    }
    let _ = client.shutdown(Shutdown::Both);
    let _ = server.shutdown(Shutdown::Both);
    bound.map(drop)
}

/// Passes on what the server says until it ends or goes too far.
fn answers(mut server: &TcpStream, mut client: &TcpStream, end: Instant) -> io::Result<Option<Bound>> {
    let (mut line, mut all) = (0, 0);
    let mut bytes = vec![0; BUFFER];
    loop {
        let left = end.saturating_duration_since(Instant::now());
        if left.is_zero() {
            return Ok(Some(Bound::Time));
        }
        server.set_read_timeout(Some(left))?;
        let count = match server.read(&mut bytes) {
            Ok(0) => return Ok(None),
            Ok(count) => count,
            Err(error) if matches!(error.kind(), io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut) => continue,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => continue,
            Err(error) => return Err(error),
        };
        all += count;
        line = match memchr::memrchr(b'\n', &bytes[..count]) {
            Some(at) => count - at - 1,
            None => line + count,
        };
        if line > LINE || all > ALL {
            return Ok(Some(Bound::Length));
        }
        client.write_all(&bytes[..count])?;
    }
}
