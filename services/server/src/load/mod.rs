//! `rimebook load`: a history that has its own recorded times, into an empty folder, offline. Line n becomes entry
//! n + 1, because the first entry says that the log was loaded; what stands instead of a struck entry is the next
//! entry. Decisions are written as they stand, without asking the rules. Everything is checked before anything is
//! written.

mod line;

use std::{
    collections::HashSet,
    fs::{self, File},
    io::{self, BufRead, BufReader},
    path::Path,
    sync::Arc,
};

use shared_types::{Body, Entry, Instant, LogLoaded};
use uuid::Uuid;

use crate::{
    committer::{OwnEntryError, own_entry},
    journal::{self, AppendError, Disk, Journal, MAX_GROUP_BYTES, MAX_GROUP_LINES, MAX_LINE_BYTES, RealDisk},
};
use line::Lines;

/// So many problems are listed; the rest is only counted.
const MOST_PROBLEMS: usize = 100;
/// Progress is told every so many lines.
const EVERY: u64 = 1_000;

/// How far it is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Progress {
    /// So many lines were checked.
    Checked(u64),
    /// So many of all entries were written.
    Written { entries: u64, of: u64 },
}

/// What was loaded.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Loaded {
    /// Entries in the log now, the first included.
    pub entries: u64,
}

/// What is wrong with a line, counted from 1.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct LineProblem {
    pub line: u64,
    pub detail: String,
}

/// Why nothing was loaded.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    #[error("the folder has something in it; a log is loaded into an empty folder or a new one")]
    NotEmpty,
    #[error("the file has no lines")]
    NoLines,
    #[error("{} of its lines can't be loaded; nothing was written", problems.len() as u64 + more)]
    Lines { problems: Vec<LineProblem>, more: u64 },
    #[error("the file can't be read")]
    File(#[source] io::Error),
    #[error("the file changed while it was loaded; delete the folder and load it again")]
    Changed,
    #[error("the folder can't be made a data folder")]
    Folder(#[from] journal::OpenError),
    #[error("writing ended before entry {seq}; delete the folder and load the file again")]
    Write {
        seq: u64,
        #[source]
        source: AppendError,
    },
    #[error("the log's first entry can't be written")]
    First(#[source] Box<dyn std::error::Error + Send + Sync>),
}

impl From<OwnEntryError> for LoadError {
    fn from(error: OwnEntryError) -> LoadError {
        LoadError::First(Box::new(error))
    }
}

/// Loads the file into the folder, which is made if it is not there.
pub fn load(file: &Path, data_dir: &Path, progress: &mut dyn FnMut(Progress)) -> Result<Loaded, LoadError> {
    if !is_empty(data_dir).map_err(LoadError::File)? {
        return Err(LoadError::NotEmpty);
    }
    let first = check(file, progress)?;
    let disk: Arc<dyn Disk> = Arc::new(RealDisk);
    let (journal, _) =
        Journal::open(disk, data_dir, journal::Options::default(), |_, _| Err("it holds entries".into()))?;
    let of = first.entries + 1;
    let mut writer = Writer { journal, lines: Vec::new(), bytes: 0, recorded_at: first.recorded_at, of };
    // It follows from the first line, so that the same file always makes the same log.
    let id = Uuid::new_v5(&first.id, b"log_loaded");
    let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let said = Body::LogLoaded(LogLoaded { file: name, entries: first.entries });
    writer.add(vec![own_entry(id, first.recorded_at, said)?], progress)?;

    let mut lines = Lines::default();
    each_line(file, |_, text| {
        let entries = text.and_then(|text| lines.read(text)).map_err(|_| LoadError::Changed)?;
        writer.add(entries, progress)
    })?;
    writer.flush(progress)?;
    let seq = writer.journal.next_seq();
    writer.journal.rest(writer.recorded_at.0).map_err(|source| LoadError::Write { seq, source })?;
    match seq == of + 1 {
        true => Ok(Loaded { entries: of }),
        false => Err(LoadError::Changed),
    }
}

fn is_empty(folder: &Path) -> io::Result<bool> {
    match fs::read_dir(folder) {
        Ok(mut names) => Ok(names.next().is_none()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(true),
        Err(error) => Err(error),
    }
}

/// What is known once everything was checked.
struct First {
    id: Uuid,
    recorded_at: Instant,
    /// All entries of the file.
    entries: u64,
}

fn check(file: &Path, progress: &mut dyn FnMut(Progress)) -> Result<First, LoadError> {
    let mut lines = Lines::default();
    let mut ids = HashSet::new();
    let mut first: Option<First> = None;
    let (mut problems, mut more) = (Vec::new(), 0);
    let mut buffer = Vec::new();
    each_line(file, |number, text| {
        let read = text.and_then(|text| lines.read(text));
        let checked = read.and_then(|entries| {
            for entry in &entries {
                if !ids.insert(entry.id) {
                    return Err(format!("its id {} stands in an earlier line", entry.id));
                }
                buffer.clear();
                let fits = entry.write(&mut buffer).is_ok() && buffer.len() <= MAX_LINE_BYTES;
                if !fits {
                    return Err(format!("it is longer than {} KiB", MAX_LINE_BYTES >> 10));
                }
            }
            Ok(entries)
        });
        match checked {
            Ok(entries) => {
                let begin = |entry: &Entry| First { id: entry.id, recorded_at: entry.recorded_at, entries: 0 };
                if first.is_none() {
                    first = entries.first().map(begin);
                }
                if let Some(first) = &mut first {
                    first.entries += entries.len() as u64;
                }
            }
            Err(detail) if problems.len() < MOST_PROBLEMS => problems.push(LineProblem { line: number, detail }),
            Err(_) => more += 1,
        }
        if number % EVERY == 0 {
            progress(Progress::Checked(number));
        }
        Ok(())
    })?;
    match problems.is_empty() {
        true => first.ok_or(LoadError::NoLines),
        false => Err(LoadError::Lines { problems, more }),
    }
}

/// Calls for every line with its number, from 1; the text comes without its newline.
fn each_line(
    file: &Path,
    mut call: impl FnMut(u64, Result<&str, String>) -> Result<(), LoadError>,
) -> Result<(), LoadError> {
    let mut file = BufReader::with_capacity(1 << 20, File::open(file).map_err(LoadError::File)?);
    let mut line = Vec::new();
    for number in 1.. {
        line.clear();
        if file.read_until(b'\n', &mut line).map_err(LoadError::File)? == 0 {
            break;
        }
        let text = std::str::from_utf8(&line).map(|text| text.trim_end_matches(['\n', '\r']));
        call(number, text.map_err(|_| "it is not UTF-8 text".to_owned()))?;
    }
    Ok(())
}

/// Puts lines with one `recorded_at` into one frame, as far as they fit.
struct Writer {
    journal: Journal,
    lines: Vec<Vec<u8>>,
    bytes: usize,
    recorded_at: Instant,
    of: u64,
}

impl Writer {
    /// Adds entries that belong into one frame.
    fn add(&mut self, entries: Vec<Entry>, progress: &mut dyn FnMut(Progress)) -> Result<(), LoadError> {
        let Some(recorded_at) = entries.first().map(|entry| entry.recorded_at) else { return Ok(()) };
        let mut written = Vec::with_capacity(entries.len());
        for (entry, seq) in entries.into_iter().zip(self.journal.next_seq() + self.lines.len() as u64..) {
            let mut line = Vec::with_capacity(512);
            Entry { seq, ..entry }.write(&mut line).map_err(|_| LoadError::Changed)?;
            written.push(line);
        }
        let bytes: usize = written.iter().map(|line| line.len() + 1).sum();
        let full = self.lines.len() + written.len() > MAX_GROUP_LINES || self.bytes + bytes > MAX_GROUP_BYTES;
        if full || recorded_at != self.recorded_at {
            self.flush(progress)?;
        }
        self.recorded_at = recorded_at;
        self.bytes += bytes;
        self.lines.append(&mut written);
        Ok(())
    }

    fn flush(&mut self, progress: &mut dyn FnMut(Progress)) -> Result<(), LoadError> {
        if self.lines.is_empty() {
            return Ok(());
        }
        let seq = self.journal.next_seq();
        self.journal.append(&self.lines, self.recorded_at.0).map_err(|source| LoadError::Write { seq, source })?;
        let written = self.journal.next_seq() - 1;
        if written / EVERY != (seq - 1) / EVERY || written == self.of {
            progress(Progress::Written { entries: written, of: self.of });
        }
        self.lines.clear();
        self.bytes = 0;
        Ok(())
    }
}

#[cfg(test)]
mod tests;
