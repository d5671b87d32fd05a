//! What it costs to be listened to: the same work, written while nobody and while two hundred read the log as it comes.

use std::{
    io::{Read, Write},
    net::{SocketAddr, TcpStream},
    sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering},
    thread,
    time::{Duration, Instant},
};

use actix_web::rt::System;
use rustix::{
    buffer::spare_capacity,
    event::{
        Timespec,
        epoll::{self, CreateFlags, EventData, EventFlags},
    },
};
use server::{
    committer::{Committer, Outcome},
    http, intake,
    yard::{Options, Yard},
};

use super::{
    paths,
    serving::Serving,
    table::{Plan, Target, ratios, rounds, row, share},
    work::{self, Mix, Posted, Work},
};

const LISTENERS: usize = 200;
const WRITERS: usize = 16;
/// Each writer comes this often: two hundred entries a second, many times what a yard scans.
const EACH: Duration = Duration::from_millis(80);
const A_MOMENT: Timespec = Timespec { tv_sec: 0, tv_nsec: 20_000_000 };

struct Run {
    per_s: f64,
    p50_us: f64,
    /// Bytes of events that all listeners got together, for each entry that was written.
    read: f64,
}

pub(crate) fn run(plan: &Plan) -> bool {
    let paced = rounds(plan, "a yard's work", || one(plan, 0, Some(EACH)), || one(plan, LISTENERS, Some(EACH)));
    let (rate, noise) = ratios(&paced, |run| run.per_s);
    let mut met =
        row("200 entries a second, 200 listeners: rate / nobody listens", Target::AtLeast(0.9), &rate, &noise);
    let (wait, noise) = ratios(&paced, |run| run.p50_us);
    row("  the same: p50 / nobody listens", Target::Stated("ratio"), &wait, &noise);
    // Every listener gets every entry: less than a line's bytes for each would be one that does not read.
    let read: Vec<f64> = paced.iter().map(|round| round.ours.read / LISTENERS as f64).collect();
    met &= row("  the same: bytes read by each listener for an entry", Target::AtLeast(100.0), &read, &[]);
    let flood = rounds(plan, "as fast as it goes", || one(plan, 0, None), || one(plan, LISTENERS, None));
    let (rate, noise) = ratios(&flood, |run| run.per_s);
    row("as fast as it goes, 200 listeners: rate / nobody listens", Target::Stated("ratio"), &rate, &noise);
    met
}

fn one(plan: &Plan, listeners: usize, each: Option<Duration>) -> Run {
    let folder = paths::folder();
    let yard = Yard::open(folder.path(), Options::default()).unwrap();
    work::receive(&yard);
    yard.archive.drained();
    let (committer, after, now) = (yard.committer.clone(), yard.reader.last_seq(), yard.now());
    let prepared = if each.is_some() { 1_000 } else { 100_000 };
    let work = Work::new(prepared * plan.round.as_secs() as usize, Mix::Facts, now, 50);
    let ours = Serving::start(move |listener, stop| System::new().block_on(http::serve(yard, listener, stop)).unwrap());
    let (stop, read) = (AtomicBool::new(false), AtomicU64::new(0));
    let streams: Vec<TcpStream> = (0..listeners).map(|_| listen(ours.at, after)).collect();
    let begin = Instant::now();
    let (mut took, next) = (Vec::new(), AtomicUsize::new(0));
    thread::scope(|scope| {
        scope.spawn(|| reading(&streams, &read, &stop));
        let (next, work, committer) = (&next, &work, &committer);
        let writers: Vec<_> =
            (0..WRITERS).map(|_| scope.spawn(move || write(committer, work, next, each, plan.round))).collect();
        took.extend(writers.into_iter().flat_map(|writer| writer.join().unwrap()));
        // What is still on its way may arrive.
        thread::park_timeout(Duration::from_millis(300));
        stop.store(true, Ordering::Relaxed);
    });
    drop(streams);
    ours.stop();
    took.sort_unstable();
    let written = took.len() as f64;
    let per_s = written / (begin.elapsed() - Duration::from_millis(300)).as_secs_f64();
    Run { per_s, p50_us: share(&took, 0.5) as f64 / 1_000.0, read: read.into_inner() as f64 / written }
}

/// Writes for so long, at its pace or as fast as it goes. Nanoseconds of each.
fn write(to: &Committer, work: &Work, next: &AtomicUsize, each: Option<Duration>, time: Duration) -> Vec<u64> {
    let (begin, mut took, mut due) = (Instant::now(), Vec::new(), Duration::ZERO);
    while begin.elapsed() < time {
        let Some(Posted::Fact(raw)) = work.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
        let sent = Instant::now();
        let outcome = to.submit_blocking(intake::fact(raw).unwrap());
        assert!(matches!(outcome, Outcome::Written(_)), "{outcome:?}");
        took.push(sent.elapsed().as_nanos() as u64);
        if let Some(each) = each {
            due += each;
            thread::park_timeout(due.saturating_sub(begin.elapsed()));
        }
    }
    took
}

fn listen(server: SocketAddr, after: u64) -> TcpStream {
    let mut stream = TcpStream::connect(server).unwrap();
    let ask =
        format!("GET /api/v1/entries?after={after} HTTP/1.1\r\nHost: 127.0.0.1\r\nAccept: text/event-stream\r\n\r\n");
    stream.write_all(ask.as_bytes()).unwrap();
    let mut head = [0; 1_024];
    let came = stream.read(&mut head).unwrap();
    assert!(head[..came].starts_with(b"HTTP/1.1 200"), "{}", String::from_utf8_lossy(&head[..came]));
    stream
}

/// One thread that takes whatever has come to any of them, and looks at none of it.
fn reading(streams: &[TcpStream], read: &AtomicU64, stop: &AtomicBool) {
    let poll = epoll::create(CreateFlags::CLOEXEC).unwrap();
    for (number, stream) in (0..).zip(streams) {
        epoll::add(&poll, stream, EventData::new_u64(number), EventFlags::IN).unwrap();
    }
    let (mut events, mut piece) = (Vec::with_capacity(LISTENERS), vec![0; 1 << 16]);
    while !stop.load(Ordering::Relaxed) {
        epoll::wait(&poll, spare_capacity(&mut events), Some(&A_MOMENT)).unwrap();
        for event in events.drain(..) {
            let came = (&streams[event.data.u64() as usize]).read(&mut piece).unwrap();
            assert!(came > 0, "the server ended a listener");
            read.fetch_add(came as u64, Ordering::Relaxed);
        }
    }
}
