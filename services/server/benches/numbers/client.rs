//! One thread that keeps some connections busy, as little of a client as can be: the servers share the cores with it.
//! It waits for all connections at a time; one that waits for them in turn measures its own waking up.

use std::{
    io::{Read, Write},
    net::{SocketAddr, TcpStream},
    time::{Duration, Instant},
};

use rustix::{
    buffer::spare_capacity,
    event::{
        Timespec,
        epoll::{self, CreateFlags, EventData, EventFlags},
    },
};

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
    /// Mean length of an answer's body.
    pub(crate) bytes: f64,
}

struct Connection {
    stream: TcpStream,
    sent: Instant,
    buffer: Vec<u8>,
    filled: usize,
}

/// Asks on every connection again as soon as it has its answer, for so long; `path` gives the next address to ask for.
pub(crate) fn ask(server: SocketAddr, connections: usize, time: Duration, mut path: impl FnMut(&mut Vec<u8>)) -> Asked {
    let mut request = Vec::new();
    let mut connections: Vec<Connection> = (0..connections).map(|_| connect(server)).collect();
    let poll = epoll::create(CreateFlags::CLOEXEC).unwrap();
    for (number, connection) in (0..).zip(&connections) {
        epoll::add(&poll, &connection.stream, EventData::new_u64(number), EventFlags::IN).unwrap();
    }
    let begin = Instant::now();
    for connection in &mut connections {
        send(connection, &mut request, &mut path);
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
                true => send(connection, &mut request, &mut path),
                false => waiting -= 1,
            }
        }
    }
    let elapsed = begin.elapsed().as_secs_f64();
    took.sort_unstable();
    let us = |of: f64| super::table::share(&took, of) as f64 / 1_000.0;
    let per_s = took.len() as f64 / elapsed;
    Asked { per_s, p50_us: us(0.5), p95_us: us(0.95), p99_us: us(0.99), bytes: bytes as f64 / took.len() as f64 }
}

fn connect(server: SocketAddr) -> Connection {
    let stream = TcpStream::connect(server).unwrap();
    stream.set_nodelay(true).unwrap();
    Connection { stream, sent: Instant::now(), buffer: vec![0; 4 << 20], filled: 0 }
}

fn send(connection: &mut Connection, request: &mut Vec<u8>, path: &mut impl FnMut(&mut Vec<u8>)) {
    request.clear();
    request.extend_from_slice(b"GET ");
    path(request);
    request.extend_from_slice(b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n");
    connection.filled = 0;
    connection.sent = Instant::now();
    connection.stream.write_all(request).unwrap();
}

/// Reads what has come. The length of the answer's body, once it is whole.
fn receive(connection: &mut Connection) -> Option<usize> {
    let Connection { stream, buffer, filled, .. } = connection;
    let read = stream.read(&mut buffer[*filled..]).unwrap();
    assert!(read > 0, "the server closed the connection");
    *filled += read;
    let (head, body) = head(&buffer[..*filled])?;
    assert!(*filled <= head + body, "more came than was asked for");
    (*filled == head + body).then_some(body)
}

/// The lengths of head and body, once the head is there.
fn head(bytes: &[u8]) -> Option<(usize, usize)> {
    let end = bytes.windows(4).position(|four| four == b"\r\n\r\n")?;
    let text = std::str::from_utf8(&bytes[..end]).unwrap().to_ascii_lowercase();
    assert!(text.starts_with("http/1.1 200"), "{}", String::from_utf8_lossy(bytes));
    let length = text.split("content-length:").nth(1)?.split("\r\n").next()?.trim().parse().unwrap();
    Some((end + 4, length))
}
