//! A start: the journal read, checked, decoded and put into a book. Beside it the same file read, its CRCs checked, its
//! lines hashed and decoded, and nothing kept.

use std::{
    fs,
    io::Read,
    path::Path,
    time::{Duration, Instant as Timer},
};

use domain::Book;
use rustix::time::{ClockId, clock_gettime};
use server::{
    clock::{Clock, SystemClock},
    intake,
    journal::leaf,
    yard::{Options, Yard},
};
use shared_types::{Entry, Instant, Stamp};

use super::{
    fill::fill,
    history::History,
    paths,
    table::{Plan, Target, ratios, rounds, row},
    work::must_be_written,
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
        let base = || pass_over(&folder.path().join("journal"));
        let ours = || rebuild(folder.path());
        let all = rounds(plan, &what, base, ours);
        let (rate, noise) = ratios(&all, |per_s| *per_s);
        met &= row(&format!("{what}: rate / nothing inserted"), Target::AtLeast(least), &rate, &noise);
        let mine: Vec<f64> = all.iter().map(|round| round.ours).collect();
        row(&format!("  {what}: rate"), Target::Stated("per s"), &mine, &[]);
    }
    met
}

/// A start after the plug was pulled: no root covers the last group. Beside it a start after a stop.
pub(crate) fn unclean(plan: &Plan) -> bool {
    let end = SystemClock::new().now().minus_ms(60_000);
    let (stopped, at_work) = (paths::folder(), paths::folder());
    for folder in [&stopped, &at_work] {
        fill(folder.path(), &History::new(100_000, 10_000, end), 45);
    }
    let options = Options { archive: false, rest_after: Duration::from_secs(3_600), ..Options::default() };
    let yard = Yard::open(at_work.path(), options).unwrap();
    let (id, at) = (yard.clock.new_id(), Stamp::utc(yard.clock.now()));
    let (roll, place) = (History::roll(1), History::freezer(1));
    let fact = format!(
        r#"{{"id":"{id}","kind":"seen","thing":"roll/{roll}","occurred_at":"{at}","by":"B-7","body":{{"in":"{place}"}}}}"#
    );
    must_be_written(&yard.committer.submit_blocking(intake::fact(&fact).unwrap()));
    let ours = || {
        let copy = paths::folder();
        fs::create_dir(copy.path().join("journal")).unwrap();
        for file in fs::read_dir(at_work.path().join("journal")).unwrap().map(|file| file.unwrap().path()) {
            fs::copy(&file, copy.path().join("journal").join(file.file_name().unwrap())).unwrap();
        }
        rebuild(copy.path())
    };
    let what = "start after a pulled plug, 100000 entries";
    let all = rounds(plan, what, || rebuild(stopped.path()), ours);
    let (rate, noise) = ratios(&all, |per_s| *per_s);
    row(&format!("{what}: rate / after a stop"), Target::AtLeast(0.83), &rate, &noise)
}

/// A start. Entries per second.
fn rebuild(folder: &Path) -> f64 {
    let begin = Timer::now();
    let yard = Yard::open(folder, Options { archive: false, ..Options::default() }).unwrap();
    let took = begin.elapsed();
    let entries = yard.read().last_seq();
    yard.close();
    entries as f64 / took.as_secs_f64()
}

/// Read, CRC, leaf, decode. Entries per second.
fn pass_over(journal: &Path) -> f64 {
    let begin = Timer::now();
    let mut files: Vec<_> = fs::read_dir(journal).unwrap().map(|item| item.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|ending| ending == "log"));
    files.sort();
    let (mut entries, mut bytes) = (0, Vec::new());
    for file in files {
        bytes.clear();
        fs::File::open(file).unwrap().read_to_end(&mut bytes).unwrap();
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
    f64::from(entries) / begin.elapsed().as_secs_f64()
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

/// CPU for rebuilding an entry, decoded and inserted, while a book grows to a million of them, against one that grows
/// to 10,000; what inserting alone costs is stated beside it.
fn growth(plan: &Plan, end: Instant, entries: usize) -> bool {
    let small = lines(History::new(10_000, 1_000, end).entries());
    let big = lines(History::new(entries, entries / 10, end).entries());
    let (mut ratios, mut stated) = (Vec::new(), Vec::new());
    for _ in 0..plan.rounds {
        let at_small = per_entry(&small, 10);
        let at_big = per_entry(&big, 1);
        ratios.push(at_big.0 / at_small.0);
        stated.push([at_small.0, at_big.0, at_small.1, at_big.1]);
    }
    let met = row(&format!("CPU per rebuilt entry, {entries} entries / 10,000"), Target::AtMost(3.0), &ratios, &[]);
    let of = |what: &str, count: usize| format!("  CPU per {what} entry, {count} entries");
    let names = [of("rebuilt", 10_000), of("rebuilt", entries), of("inserted", 10_000), of("inserted", entries)];
    for (at, name) in names.iter().enumerate() {
        let us: Vec<f64> = stated.iter().map(|one| one[at] * 1e6).collect();
        row(name, Target::Stated("us"), &us, &[]);
    }
    met
}

fn lines(entries: impl Iterator<Item = Entry>) -> Vec<Vec<u8>> {
    let line = |entry: Entry| {
        let mut line = Vec::new();
        entry.write(&mut line).unwrap();
        line
    };
    entries.map(line).collect()
}

/// Seconds of CPU per entry for decoding and inserting, and for inserting alone, over so many new books.
fn per_entry(lines: &[Vec<u8>], books: usize) -> (f64, f64) {
    let (mut decoding, mut inserting) = (0.0, 0.0);
    for _ in 0..books {
        let mut book = Book::default();
        for some in lines.chunks(4_096) {
            let mut entries = Vec::new();
            decoding += cpu(|| entries = some.iter().map(|line| Entry::read(line).unwrap()).collect());
            inserting += cpu(|| entries.iter().for_each(|entry| book.insert(entry)));
        }
    }
    let count = (books * lines.len()) as f64;
    ((decoding + inserting) / count, inserting / count)
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
