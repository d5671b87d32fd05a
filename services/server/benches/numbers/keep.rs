//! Keeping a log: a whole backup beside copying the same bytes with a barrier for each file, and reading a log to say
//! whether it is sound beside reading it to serve it.

use std::{
    fs::{self, File},
    path::Path,
    time::Instant as Timer,
};

use server::{
    backup,
    clock::{Clock, SystemClock},
    journal::{RealDisk, verify},
    yard::{Options, Yard},
};

use rustix::fs::{Advice, fadvise};

use super::{
    fill::fill,
    history::History,
    paths,
    table::{Plan, Target, ratios, rounds, row},
};

pub(crate) fn run(plan: &Plan) -> bool {
    let end = SystemClock::new().now().minus_ms(60_000);
    let entries = if plan.quick { 200_000 } else { 1_000_000 };
    let folder = paths::folder();
    let data = folder.path().join("data");
    fill(&data, &History::new(entries, entries / 10, end), 45);
    // Sealed segments are shortened at a start, as they are beside a server at work.
    Yard::open(&data, Options { archive: false, ..Options::default() }).unwrap().close();
    let mut met = beside(
        plan,
        &format!("backup of {entries} entries: time / cp and fsync"),
        1.3,
        || copy(&data.join("journal"), folder.path()),
        || back_up(&data, folder.path()),
    );
    // What any copy costs at least that is read back from the disk before it is believed, as a backup is.
    let back = rounds(
        plan,
        "cp, fsync and reading back",
        || copy(&data.join("journal"), folder.path()),
        || copy(&data.join("journal"), folder.path()) + read_back(&data.join("journal"), folder.path()),
    );
    let (ratio, _) = ratios(&back, |seconds| *seconds);
    row("  cp, fsync and reading back from the disk / cp and fsync", Target::Stated("x"), &ratio, &[]);
    met &= beside(
        plan,
        &format!("verify of {entries} entries: time / rebuild"),
        1.5,
        || rebuild(&data),
        || looked_at(&data),
    );
    met
}

fn beside(plan: &Plan, what: &str, most: f64, base: impl FnMut() -> f64, ours: impl FnMut() -> f64) -> bool {
    let all = rounds(plan, what, base, ours);
    let (ratio, noise) = ratios(&all, |seconds| *seconds);
    let met = row(what, Target::AtMost(most), &ratio, &noise);
    let mine: Vec<f64> = all.iter().map(|round| round.ours).collect();
    row(&format!("  {what}: time"), Target::Stated("s"), &mine, &[]);
    met
}

/// Every file of the journal into a new folder, each with its barrier.
fn copy(journal: &Path, folder: &Path) -> f64 {
    let to = folder.join("copy");
    let _ = fs::remove_dir_all(&to);
    let begin = Timer::now();
    fs::create_dir(&to).unwrap();
    for item in fs::read_dir(journal).unwrap() {
        let from = item.unwrap().path();
        let copied = to.join(from.file_name().unwrap());
        fs::copy(from, &copied).unwrap();
        File::open(copied).unwrap().sync_all().unwrap();
    }
    File::open(&to).unwrap().sync_all().unwrap();
    begin.elapsed().as_secs_f64()
}

/// The copies once more from the disk, and not from memory, beside what they are of.
fn read_back(journal: &Path, folder: &Path) -> f64 {
    let begin = Timer::now();
    for item in fs::read_dir(folder.join("copy")).unwrap() {
        let copied = item.unwrap().path();
        fadvise(File::open(&copied).unwrap(), 0, None, Advice::DontNeed).unwrap();
        let same = fs::read(&copied).unwrap() == fs::read(journal.join(copied.file_name().unwrap())).unwrap();
        assert!(same, "{} is not what was copied", copied.display());
    }
    begin.elapsed().as_secs_f64()
}

fn back_up(data: &Path, folder: &Path) -> f64 {
    let to = folder.join("backup");
    let _ = fs::remove_dir_all(&to);
    let begin = Timer::now();
    backup::backup(data, &to, SystemClock::new().now(), &mut |_| ()).unwrap();
    begin.elapsed().as_secs_f64()
}

fn looked_at(data: &Path) -> f64 {
    let begin = Timer::now();
    assert!(verify(&RealDisk, data).unwrap().is_sound());
    begin.elapsed().as_secs_f64()
}

fn rebuild(data: &Path) -> f64 {
    let begin = Timer::now();
    let yard = Yard::open(data, Options { archive: false, ..Options::default() }).unwrap();
    let took = begin.elapsed().as_secs_f64();
    yard.close();
    took
}
