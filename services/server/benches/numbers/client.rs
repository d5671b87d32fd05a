//! One thread that keeps some connections busy, as little of a client as can be: the servers share the cores with it.
//! It waits for all connections at a time; one that waits for them in turn measures its own waking up.

use std::{
    io::{Read, Write},
    net::{SocketAddr, TcpStream},
    sync::Arc,
    time::{Duration, Instant},
};

use rustix::{
    buffer::spare_capacity,
    event::{
        Timespec,
        epoll::{self, CreateFlags, EventData, EventFlags},
    },
    time::{ClockId, clock_gettime},
};
use rustls::{ClientConfig, ClientConnection, StreamOwned};

/// As many as a busy yard has at once.
pub(crate) const SIXTEEN: usize = 16;
/// One person, whose wait is what counts.
pub(crate) const ONE: usize = 1;
const PATIENCE: Timespec = Timespec { tv_sec: 10, tv_nsec: 0 };

pub(crate) struct Asked {
    pub(crate) per_s: f64,
    pub(crate) p50_us: f64,
    pub(crate) p95_us: f64,
    pub(crate) p99_us: f64,
    /// Processor time of all other threads for one answer: the server's, which runs in this process.
    pub(crate) server_us: f64,
    /// Mean length of an answer's body.
    pub(crate) bytes: f64,
}

/// A server as it is reached.
pub(crate) struct Door {
    pub(crate) at: SocketAddr,
    pub(crate) tls: Option<Arc<ClientConfig>>,
    /// Lines of every request's head.
    pub(crate) headers: String,
}

enum Wire {
    Plain(TcpStream),
    Secure(Box<StreamOwned<ClientConnection, TcpStream>>),
}

impl Wire {
    fn socket(&self) -> &TcpStream {
        match self {
            Wire::Plain(socket) => socket,
            Wire::Secure(stream) => &stream.sock,
        }
    }

    fn read(&mut self, into: &mut [u8]) -> usize {
        match self {
            Wire::Plain(socket) => socket.read(into).unwrap(),
            Wire::Secure(stream) => stream.read(into).unwrap(),
        }
    }

    fn write(&mut self, bytes: &[u8]) {
        match self {
            Wire::Plain(socket) => socket.write_all(bytes).unwrap(),
            Wire::Secure(stream) => {
                stream.write_all(bytes).unwrap();
                stream.flush().unwrap();
            }
        }
    }
}

struct Connection {
    wire: Wire,
    sent: Instant,
    buffer: Vec<u8>,
    filled: usize,
}

/// Asks on every connection again as soon as it has its answer, for so long; `path` gives the next address to ask for.
pub(crate) fn ask(server: SocketAddr, connections: usize, time: Duration, path: impl FnMut(&mut Vec<u8>)) -> Asked {
    ask_at(&Door { at: server, tls: None, headers: String::new() }, connections, time, path)
}

/// The same of a server that is reached in another way.
pub(crate) fn ask_at(door: &Door, connections: usize, time: Duration, mut path: impl FnMut(&mut Vec<u8>)) -> Asked {
    let mut request = Vec::new();
    let mut connections: Vec<Connection> = (0..connections).map(|_| connect(door)).collect();
    let poll = epoll::create(CreateFlags::CLOEXEC).unwrap();
    for (number, connection) in (0..).zip(&connections) {
        epoll::add(&poll, connection.wire.socket(), EventData::new_u64(number), EventFlags::IN).unwrap();
    }
    let (begin, server) = (Instant::now(), others_us());
    for connection in &mut connections {
        send(connection, door, &mut request, &mut path);
    }
    let (mut took, mut bytes, mut waiting) = (Vec::with_capacity(1 << 20), 0, connections.len());
    let mut events = Vec::with_capacity(connections.len());
    while waiting > 0 {
        epoll::wait(&poll, spare_capacity(&mut events), Some(&PATIENCE)).unwrap();
        assert!(!events.is_empty(), "the server does not answer");
        let open = begin.elapsed() < time;
        for event in events.drain(..) {
            let connection = &mut connections[event.data.u64() as usize];
            let Some(body) = receive(connection) else { continue };
            bytes += body;
            took.push(connection.sent.elapsed().as_nanos() as u64);
            match open {
                true => send(connection, door, &mut request, &mut path),
                false => waiting -= 1,
            }
        }
    }
    let (elapsed, server) = (begin.elapsed().as_secs_f64(), others_us() - server);
    took.sort_unstable();
    let us = |of: f64| super::table::share(&took, of) as f64 / 1_000.0;
    let per_s = took.len() as f64 / elapsed;
    let mean = |sum: f64| sum / took.len() as f64;
    let (server_us, bytes) = (mean(server), mean(bytes as f64));
    Asked { per_s, p50_us: us(0.5), p95_us: us(0.95), p99_us: us(0.99), server_us, bytes }
}

/// Processor time of this process without this thread.
fn others_us() -> f64 {
    let us = |clock: ClockId| {
        let time = clock_gettime(clock);
        time.tv_sec as f64 * 1e6 + time.tv_nsec as f64 / 1e3
    };
    us(ClockId::ProcessCPUTime) - us(ClockId::ThreadCPUTime)
}

fn connect(door: &Door) -> Connection {
    let socket = TcpStream::connect(door.at).unwrap();
    socket.set_nodelay(true).unwrap();
    let wire = match &door.tls {
        None => Wire::Plain(socket),
        Some(config) => {
            let name = "localhost".try_into().unwrap();
            let mut stream = StreamOwned::new(ClientConnection::new(Arc::clone(config), name).unwrap(), socket);
            // What the server says after the handshake would wake whoever waits for an answer.
            while stream.conn.is_handshaking() {
                stream.conn.complete_io(&mut stream.sock).unwrap();
            }
            Wire::Secure(Box::new(stream))
        }
    };
    Connection { wire, sent: Instant::now(), buffer: vec![0; 4 << 20], filled: 0 }
}

fn send(connection: &mut Connection, door: &Door, request: &mut Vec<u8>, path: &mut impl FnMut(&mut Vec<u8>)) {
    request.clear();
    request.extend_from_slice(b"GET ");
    path(request);
    request.extend_from_slice(b" HTTP/1.1\r\nHost: 127.0.0.1\r\n");
    request.extend_from_slice(door.headers.as_bytes());
    request.extend_from_slice(b"\r\n");
    connection.filled = 0;
    connection.sent = Instant::now();
    connection.wire.write(request);
}

/// Reads what has come. The length of the answer's body, once it is whole.
fn receive(connection: &mut Connection) -> Option<usize> {
    let Connection { wire, buffer, filled, .. } = connection;
    loop {
        let read = wire.read(&mut buffer[*filled..]);
        assert!(read > 0, "the server closed the connection");
        *filled += read;
        let whole = head(&buffer[..*filled]).and_then(|(head, body)| {
            assert!(*filled <= head + body, "more came than was asked for");
            (*filled == head + body).then_some(body)
        });
        // What TLS has decrypted already wakes nobody, so the answer is read to its end.
        match (whole, &wire) {
            (None, Wire::Secure(_)) => {}
            (whole, _) => return whole,
        }
    }
}

/// The lengths of head and body, once the head is there.
fn head(bytes: &[u8]) -> Option<(usize, usize)> {
    let end = bytes.windows(4).position(|four| four == b"\r\n\r\n")?;
    let text = std::str::from_utf8(&bytes[..end]).unwrap().to_ascii_lowercase();
    assert!(text.starts_with("http/1.1 200"), "{}", String::from_utf8_lossy(bytes));
    let length = text.split("content-length:").nth(1)?.split("\r\n").next()?.trim().parse().unwrap();
    Some((end + 4, length))
}
