//! "May I use it?" over HTTP on loopback, out of a million entries, while one person posts a thousand facts a second.
//! Beside it a handler that does nothing but answer as many bytes, under the same posting.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU64, Ordering},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use actix_web::rt::System;
use server::{
    clock::{Clock, SystemClock},
    committer::Committer,
    http, intake,
    yard::{Options, Yard},
};
use shared_types::Stamp;

use super::{
    client::{Asked, SIXTEEN, ask},
    fill::fill,
    history::{History, mix},
    paths,
    serving::{Serving, trivial},
    table::{Plan, Target, ratios, rounds, row},
    work::must_be_written,
};

const PER_S: u64 = 1_000;

pub(crate) fn run(plan: &Plan) -> bool {
    let (entries, things) = if plan.quick { (100_000, 10_000) } else { (1_000_000, 100_000) };
    let folder = paths::folder();
    let history = History::new(entries, things, SystemClock::new().now().minus_ms(60_000));
    fill(folder.path(), &history, 45);
    let yard = Yard::open(folder.path(), Options::default()).unwrap();
    yard.archive.drained();
    let committer = yard.committer.clone();
    let ours = Serving::start(move |listener, stop| System::new().block_on(http::serve(yard, listener, stop)).unwrap());
    let mut path = paths_of(things);
    let bytes = ask(ours.at, SIXTEEN, Duration::from_millis(500), &mut path).bytes as usize;
    let trivial = Serving::start(move |listener, stop| System::new().block_on(trivial(listener, bytes, stop)));

    let what = "may-use over HTTP beside 1,000 facts/s";
    let writer = Writer::start(committer, history.inside);
    let begin = Instant::now();
    let base = |path: &mut dyn FnMut(&mut Vec<u8>)| ask(trivial.at, SIXTEEN, plan.round, path);
    let mut base_path = paths_of(things);
    let all = rounds(plan, what, || base(&mut base_path), || ask(ours.at, SIXTEEN, plan.round, &mut path));
    let seconds = begin.elapsed().as_secs_f64();
    let written = writer.stop();
    trivial.stop();
    ours.stop();

    let (rate, noise) = ratios(&all, |asked| asked.per_s);
    let met = row(&format!("{what}: rate / trivial handler"), Target::AtLeast(0.7), &rate, &noise);
    let stated = |name: &str, unit, of: &dyn Fn(&Asked) -> f64| {
        let mine: Vec<f64> = all.iter().map(|round| of(&round.ours)).collect();
        let base: Vec<f64> = all.iter().flat_map(|round| [of(&round.before), of(&round.after)]).collect();
        row(&format!("  may-use: {name}, ours"), Target::Stated(unit), &mine, &[]);
        row(&format!("  may-use: {name}, trivial"), Target::Stated(unit), &base, &[]);
    };
    stated("rate", "per s", &|asked| asked.per_s);
    stated("p50", "us", &|asked| asked.p50_us);
    stated("p99", "us", &|asked| asked.p99_us);
    stated("body", "bytes", &|asked| asked.bytes);
    let kept = [written as f64 / seconds / PER_S as f64];
    met & row("  may-use: facts written meanwhile / wanted", Target::AtLeast(0.9), &kept, &[])
}

/// Addresses to ask for, of rolls picked as if by chance.
pub(crate) fn paths_of(things: usize) -> impl FnMut(&mut Vec<u8>) {
    let mut asked = 0;
    move |to| {
        asked += 1;
        let roll = History::roll((mix(asked) % things as u64) as usize);
        to.extend_from_slice(b"/api/v1/things/roll/");
        to.extend_from_slice(roll.as_bytes());
        to.extend_from_slice(b"/may-use?act=cut");
    }
}

/// One person who posts a thousand facts a second, each after the answer to the one before.
struct Writer {
    stop: Arc<AtomicBool>,
    written: Arc<AtomicU64>,
    thread: JoinHandle<()>,
}

impl Writer {
    fn start(committer: Committer, inside: Vec<u32>) -> Writer {
        let (stop, written) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU64::new(0)));
        let (stopped, count) = (stop.clone(), written.clone());
        let thread = thread::spawn(move || {
            let clock = SystemClock::new();
            let begin = Instant::now();
            while !stopped.load(Ordering::Relaxed) {
                let number = count.load(Ordering::Relaxed);
                let due = Duration::from_micros(number * 1_000_000 / PER_S);
                while let Some(early) = due.checked_sub(begin.elapsed()).filter(|early| !early.is_zero()) {
                    thread::park_timeout(early);
                }
                // Seen where it is: nothing that doesn't add up.
                let roll = inside[(mix(number ^ 0xabcd) % inside.len() as u64) as usize] as usize;
                let (roll, place) = (History::roll(roll), History::freezer(roll));
                let (id, at) = (clock.new_id(), Stamp::utc(clock.now()));
                let fact = format!(
                    r#"{{"id":"{id}","kind":"seen","thing":"roll/{roll}","occurred_at":"{at}","by":"B-7","body":{{"in":"{place}"}}}}"#
                );
                must_be_written(&committer.submit_blocking(intake::fact(&fact).unwrap()));
                count.fetch_add(1, Ordering::Relaxed);
            }
        });
        Writer { stop, written, thread }
    }

    fn stop(self) -> u64 {
        self.stop.store(true, Ordering::Relaxed);
        self.thread.join().unwrap();
        self.written.load(Ordering::Relaxed)
    }
}
