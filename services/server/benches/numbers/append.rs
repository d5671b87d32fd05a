//! Durable append through the whole path: posted bytes, intake, fingerprint, committer, journal, book, answer; with the
//! archive behind it, drained within the time. Beside it the floor of `raw`.

use std::{
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicUsize, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use server::{
    committer::Outcome,
    intake,
    journal::Disk,
    yard::{Options, Yard},
};

use super::{
    counting::{Counting, Counts},
    paths, raw,
    table::{Plan, Target, ratios, rounds, row, share},
    work::{self, Mix, Posted, Work},
};

/// What an answer says.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Asked {
    /// That it is written.
    Written,
    /// And what it made not add up.
    Mismatches,
}

/// One run of ours or of the floor.
pub(crate) struct Run {
    pub(crate) per_s: f64,
    pub(crate) p50_us: f64,
    pub(crate) p99_us: f64,
    /// Of ours alone.
    seen: Option<Seen>,
}

struct Seen {
    counts: Counts,
    line_bytes: u64,
    sealed: usize,
    refused: usize,
    waited_for_archive: f64,
}

impl Run {
    pub(crate) fn new(mut took: Vec<u64>, elapsed: Duration) -> Run {
        took.sort_unstable();
        let us = |of: f64| share(&took, of) as f64 / 1_000.0;
        let per_s = took.len() as f64 / elapsed.as_secs_f64();
        Run { per_s, p50_us: us(0.5), p99_us: us(0.99), seen: None }
    }
}

/// How much is prepared for a second, more than is ever used up.
const PREPARED_PER_S: usize = 160_000;

pub(crate) fn run(plan: &Plan) -> bool {
    let lines = Arc::new(sample());
    let cases = [
        ("append, 64 writers", 64, Mix::Facts, Asked::Written, Target::AtLeast(0.55)),
        ("append, 64 writers, 5 % decisions", 64, Mix::Decisions, Asked::Written, Target::AtLeast(0.5)),
        ("append, 1 writer", 1, Mix::Facts, Asked::Written, Target::AtLeast(0.8)),
        // Over HTTP every answer also says what does not add up: the rolls' histories folded again, each time.
        ("append, 64 writers, mismatches looked for", 64, Mix::Facts, Asked::Mismatches, Target::Stated("ratio")),
    ];
    let mut met = true;
    for (what, writers, mix, asked, target) in cases {
        let base = || {
            let folder = paths::folder();
            raw::run(folder.path(), &lines, writers, plan.round)
        };
        let all = rounds(plan, what, base, || ours(writers, mix, asked, plan.round));
        let (rate, noise) = ratios(&all, |run| run.per_s);
        met &= row(&format!("{what}: rate / raw"), target, &rate, &noise);
        let (p99, noise) = ratios(&all, |run| run.p99_us);
        let most = match (writers, asked) {
            (64, Asked::Written) => Target::AtMost(3.5),
            _ => Target::Stated("ratio"),
        };
        // The latency of the floor is not what tells whether the machine was quiet: its rate is.
        met &= row(&format!("{what}: p99 / raw"), most, &p99, &[]);
        row("  raw p99 against itself", Target::Stated("ratio"), &noise, &[]);
        state(what, &all);
        met &= shape(plan, what, &all);
    }
    met
}

fn state(what: &str, all: &[super::table::Round<Run>]) {
    let stated = |name: &str, unit, of: &dyn Fn(&Run) -> f64| {
        let ours: Vec<f64> = all.iter().map(|round| of(&round.ours)).collect();
        let raw: Vec<f64> = all.iter().flat_map(|round| [of(&round.before), of(&round.after)]).collect();
        row(&format!("  {what}: {name}, ours"), Target::Stated(unit), &ours, &[]);
        row(&format!("  {what}: {name}, raw"), Target::Stated(unit), &raw, &[]);
    };
    stated("rate", "per s", &|run| run.per_s);
    stated("p50", "us", &|run| run.p50_us);
    stated("p99", "us", &|run| run.p99_us);
}

/// What the descriptor of the journal saw.
fn shape(plan: &Plan, what: &str, all: &[super::table::Round<Run>]) -> bool {
    let of = |of: &dyn Fn(&Seen) -> f64| -> Vec<f64> {
        all.iter().filter_map(|round| round.ours.seen.as_ref()).map(of).collect()
    };
    let barriers = of(&|seen| seen.counts.barriers as f64 / seen.counts.writes as f64);
    let mut met = row(&format!("  {what}: barriers per group"), Target::AtMost(1.0), &barriers, &[]);
    let beyond = of(&|seen| seen.counts.most_beyond);
    met &=
        row(&format!("  {what}: bytes of a group beyond 1.1 x its lines, most"), Target::AtMost(512.0), &beyond, &[]);
    let bytes = of(&|seen| seen.counts.bytes as f64 / seen.line_bytes as f64);
    row(&format!("  {what}: bytes written / bytes of lines"), Target::Stated("ratio"), &bytes, &[]);
    let sealed = of(&|seen| seen.sealed as f64);
    let least = if plan.quick { Target::Stated("segments") } else { Target::AtLeast(3.0) };
    met &= row(&format!("  {what}: segments sealed"), least, &sealed, &[]);
    let waited = of(&|seen| seen.waited_for_archive * 1_000.0);
    row(&format!("  {what}: archive drained after the last answer"), Target::Stated("ms"), &waited, &[]);
    let refused = of(&|seen| seen.refused as f64);
    met & row(&format!("  {what}: decisions refused"), Target::AtMost(100.0), &refused, &[])
}

/// Lines as the journal holds them, for the floor to write.
fn sample() -> Vec<Vec<u8>> {
    let folder = paths::folder();
    let yard = Yard::open(folder.path(), Options { archive: false, ..Options::default() }).unwrap();
    work::receive(&yard);
    let before = yard.reader.last_seq();
    let work = Work::new(4_096, Mix::Facts, yard.now(), 50);
    let next = AtomicUsize::new(0);
    thread::scope(|scope| {
        for _ in 0..64 {
            scope.spawn(|| write(&yard, &work, Asked::Written, &next, &AtomicBool::new(false)));
        }
    });
    yard.reader.lines(before + 1, 4_096).unwrap()
}

fn ours(writers: usize, mix: Mix, asked: Asked, time: Duration) -> Run {
    let folder = paths::folder();
    let disk = Counting::new();
    let counts = disk.counts();
    let disk: Arc<dyn Disk> = Arc::new(disk);
    let yard = Yard::open(folder.path(), Options { disk, ..Options::default() }).unwrap();
    work::receive(&yard);
    yard.archive.drained();
    *counts.lock().unwrap() = Counts::default();
    let (before, sealed_before) = (yard.reader.last_seq(), yard.reader.segments().len());
    let (prepared, per_ms) = if writers > 1 { (PREPARED_PER_S, 50) } else { (PREPARED_PER_S / 8, 6) };
    let work = Work::new(prepared * time.as_secs() as usize, mix, yard.now(), per_ms);

    let (next, stop) = (AtomicUsize::new(0), AtomicBool::new(false));
    let begin = Instant::now();
    let mut took = Vec::new();
    let mut refused = 0;
    thread::scope(|scope| {
        let threads: Vec<_> = (0..writers)
            .map(|_| {
                let named = thread::Builder::new().name("writer".into());
                named.spawn_scoped(scope, || write(&yard, &work, asked, &next, &stop)).unwrap()
            })
            .collect();
        while begin.elapsed() < time {
            thread::park_timeout(time.saturating_sub(begin.elapsed()));
        }
        stop.store(true, Ordering::Relaxed);
        for thread in threads {
            let (more, refusals) = thread.join().unwrap();
            took.extend(more);
            refused += refusals;
        }
    });
    let answered = begin.elapsed();
    yard.archive.drained();
    let elapsed = begin.elapsed();
    let sealed = yard.reader.segments().iter().filter(|segment| segment.sealed).map(|segment| segment.last_seq).max();
    assert_eq!(yard.archive.entries(), sealed.unwrap_or(0), "the archive holds what is sealed");
    assert!(work.get(next.load(Ordering::Relaxed)).is_some(), "more was written than was prepared");
    let seen = Seen {
        counts: *counts.lock().unwrap(),
        line_bytes: line_bytes(&yard, before),
        sealed: yard.reader.segments().len() - sealed_before,
        refused,
        waited_for_archive: (elapsed - answered).as_secs_f64(),
    };
    yard.close();
    Run { seen: Some(seen), ..Run::new(took, elapsed) }
}

/// One writer: the next item is handed in once the one before it is answered. Nanoseconds of each that was written.
fn write(yard: &Yard, work: &Work, asked: Asked, next: &AtomicUsize, stop: &AtomicBool) -> (Vec<u64>, usize) {
    let mut took = Vec::with_capacity(1 << 14);
    let (mut refused, mut text) = (0, String::new());
    while !stop.load(Ordering::Relaxed) {
        let Some(posted) = work.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
        let begin = Instant::now();
        let outcome = match posted {
            Posted::Fact(raw) => yard.committer.submit_blocking(intake::fact(raw).unwrap()),
            Posted::Decision(raw) => {
                text.clear();
                text.push_str(raw);
                text.push_str(&yard.reader.last_seq().to_string());
                text.push('}');
                yard.committer.submit_blocking(intake::decision(&text).unwrap())
            }
        };
        match outcome {
            Outcome::Written(written) => {
                if asked == Asked::Mismatches {
                    assert_eq!(yard.mismatches(written.seq), []);
                }
                took.push(begin.elapsed().as_nanos() as u64);
            }
            Outcome::Refused(_) => refused += 1,
            other => panic!("{other:?}"),
        }
    }
    (took, refused)
}

fn line_bytes(yard: &Yard, after: u64) -> u64 {
    let (mut bytes, mut next, last) = (0, after + 1, yard.reader.last_seq());
    while next <= last {
        let lines = yard.reader.lines(next, 2_048).unwrap();
        next += lines.len() as u64;
        bytes += lines.iter().map(|line| line.len() as u64 + 1).sum::<u64>();
    }
    bytes
}
