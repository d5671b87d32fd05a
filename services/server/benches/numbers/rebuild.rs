//! A start: the journal read, checked, decoded and put into a book. Beside it the same file read, its CRCs checked, its
//! lines hashed and decoded, and nothing kept.

use std::{
    fs,
    path::Path,
    time::{Duration, Instant as Timer},
};

use domain::Book;
use rustix::time::{ClockId, clock_gettime};
use server::{
    clock::{Clock, SystemClock},
    journal::leaf,
    yard::{Options, Yard},
};
use shared_types::{Entry, Instant};

use super::{
    fill::fill,
    history::History,
    paths,
    table::{Plan, Target, ratios, rounds, row},
};

const HEADER_BYTES: usize = 72;
const SECTOR: usize = 512;

pub(crate) fn run(plan: &Plan) -> bool {
    let end = SystemClock::new().now().minus_ms(60_000);
    let (entries, things) = if plan.quick { (100_000, 10_000) } else { (1_000_000, 100_000) };
    let mut met = memory(&History::new(entries, things, end));
    met &= growth(plan, end, entries);
    for (group, entries, least) in [(45, entries, 0.4), (1, entries / 4, 0.25)] {
        let folder = paths::folder();
        fill(folder.path(), &History::new(entries, things, end), group);
        let what = format!("rebuild, {entries} entries in groups of {group}");
        let base = || per_s(|| pass_over(&folder.path().join("journal")));
        let ours = || per_s(|| rebuild(folder.path()));
        let all = rounds(plan, &what, base, ours);
        let (rate, noise) = ratios(&all, |per_s| *per_s);
        met &= row(&format!("{what}: rate / nothing inserted"), Target::AtLeast(least), &rate, &noise);
        let mine: Vec<f64> = all.iter().map(|round| round.ours).collect();
        row(&format!("  {what}: rate"), Target::Stated("per s"), &mine, &[]);
    }
    met
}

fn per_s(work: impl FnOnce() -> u64) -> f64 {
    let begin = Timer::now();
    let entries = work();
    entries as f64 / begin.elapsed().as_secs_f64()
}

fn rebuild(folder: &Path) -> u64 {
    let yard = Yard::open(folder, Options { archive: false, ..Options::default() }).unwrap();
    let entries = yard.read().last_seq();
    // Letting go of the book again is no part of a start.
    std::mem::forget(std::mem::take(&mut *yard.book.write().unwrap()));
    yard.close();
    entries
}

/// Read, CRC, leaf, decode. The number of entries.
fn pass_over(journal: &Path) -> u64 {
    let mut files: Vec<_> = fs::read_dir(journal).unwrap().map(|item| item.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|ending| ending == "log"));
    files.sort();
    let mut entries = 0;
    for file in files {
        let bytes = fs::read(file).unwrap();
        let mut at = 0;
        while let Some(header) = bytes.get(at..at + HEADER_BYTES).filter(|header| header.starts_with(b"RbJ\n")) {
            let number = |at: usize| u32::from_le_bytes(header[at..at + 4].try_into().unwrap());
            assert_eq!(number(68), crc32c::crc32c(&header[..68]));
            let body = &bytes[at + HEADER_BYTES..][..number(12) as usize];
            assert_eq!(number(64), crc32c::crc32c(body));
            for line in body.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
                std::hint::black_box(leaf(line));
                std::hint::black_box(Entry::read(line).unwrap());
                entries += 1;
            }
            at += (HEADER_BYTES + body.len()).next_multiple_of(SECTOR);
        }
    }
    entries
}

/// What a million entries in the book take, in bytes per entry.
fn memory(history: &History) -> bool {
    let before = resident();
    let mut book = Book::default();
    history.entries().for_each(|entry| book.insert(&entry));
    let bytes = (resident() - before) / book.last_seq() as f64;
    row("memory of the book per entry", Target::Stated("bytes"), &[bytes], &[])
}

/// Resident memory of this process, in bytes.
fn resident() -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse::<f64>().unwrap() * 1_024.0
}

/// CPU for inserting an entry where a million are, against where none are: the first 10,000 of a small yard, and the
/// last tenth of a big one.
fn growth(plan: &Plan, end: Instant, entries: usize) -> bool {
    let small: Vec<Entry> = History::new(10_000, 1_000, end).entries().collect();
    let big: Vec<Entry> = History::new(entries, entries / 10, end).entries().collect();
    let (first, last) = big.split_at(big.len() / 10 * 9);
    let mut values = Vec::new();
    let mut stated = Vec::new();
    for _ in 0..plan.rounds {
        let at_small = {
            let mut books: Vec<Book> = (0..10).map(|_| Book::default()).collect();
            cpu(|| books.iter_mut().for_each(|book| small.iter().for_each(|entry| book.insert(entry)))) / 10.0
        };
        let mut book = Book::default();
        let whole = cpu(|| first.iter().for_each(|entry| book.insert(entry)));
        let at_end = cpu(|| last.iter().for_each(|entry| book.insert(entry)));
        let per_small = at_small / small.len() as f64;
        values.push(at_end / last.len() as f64 / per_small);
        stated.push((per_small, (whole + at_end) / big.len() as f64, at_end / last.len() as f64));
    }
    let what = format!("CPU per inserted entry at {entries} entries / at 10,000");
    let met = row(&what, Target::AtMost(3.0), &values, &[]);
    let of = |of: fn(&(f64, f64, f64)) -> f64| stated.iter().map(|one| of(one) * 1e6).collect::<Vec<_>>();
    row("  insert: up to 10,000 entries", Target::Stated("us"), &of(|one| one.0), &[]);
    row(&format!("  insert: up to {entries} entries, mean"), Target::Stated("us"), &of(|one| one.1), &[]);
    row(&format!("  insert: at {entries} entries"), Target::Stated("us"), &of(|one| one.2), &[]);
    met
}

/// Seconds of CPU that this thread spends on it.
fn cpu(work: impl FnOnce()) -> f64 {
    let now = || {
        let time = clock_gettime(ClockId::ThreadCPUTime);
        Duration::new(time.tv_sec as u64, time.tv_nsec as u32)
    };
    let begin = now();
    work();
    (now() - begin).as_secs_f64()
}
