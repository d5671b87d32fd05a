//! What is done to a data folder beside any server: loading a log into it, looking whether it is sound, keeping a
//! second copy of it, and printing it.

use std::{
    fs,
    io::{self, Write},
    path::Path,
};

use super::{
    Restore, people,
    printed::{Pages, Printed},
    progress::{Progress as Told, Steps},
    whole,
};
use crate::{
    backup,
    journal::{self, RealDisk},
    load::{self, LoadError, Progress},
    yard::Options,
};
use shared_types::{BesideServer, DoneBeside, Instant};

/// Says what the journal holds and whether anything is wrong. True if it is sound, and all pages came from it.
pub(super) fn verify(
    data: &Path,
    printed: &[Printed],
    told: Told,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> io::Result<bool> {
    let mut pages = Pages::new(printed);
    match backup::looked_at(data, &mut |seq, line| pages.line(seq, line)) {
        Ok(None) => {}
        Ok(Some((report, taken_at))) => {
            writeln!(out, "A backup, taken {taken_at}.")?;
            write!(out, "{report}")?;
            return pages.say(out);
        }
        Err(error) => {
            writeln!(err, "The backup {} is not to be relied on: {}", data.display(), whole(&error))?;
            return Ok(false);
        }
    }
    if !data.join("journal").is_dir() {
        writeln!(err, "{} is no data folder: it has no folder named journal", data.display())?;
        return Ok(false);
    }
    let mut steps = Steps::new(told, "Read", "entries", err);
    let mut each = |seq, line: &[u8]| {
        steps.at(seq, None);
        pages.line(seq, line);
    };
    match journal::verify_lines(&RealDisk, data, &mut each) {
        Ok(report) => {
            write!(out, "{report}")?;
            Ok(pages.say(out)? && report.is_sound())
        }
        Err(error) => {
            writeln!(err, "{} can't be read: {}", data.display(), whole(&error))?;
            Ok(false)
        }
    }
}

/// Brings a backup up to the end of the log. True if it now holds all of it.
pub(super) fn backup(
    data: &Path,
    to: &Path,
    now: Instant,
    told: Told,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> io::Result<bool> {
    let mut steps = Steps::new(told, "Read", "entries", err);
    match backup::backup(data, to, now, &mut |entries| steps.at(entries, None)) {
        Ok(done) => {
            writeln!(out, "{}", backed_up(&done, to))?;
            Ok(true)
        }
        Err(error) => {
            writeln!(err, "{} was not backed up into {}: {}", data.display(), to.display(), whole(&error))?;
            Ok(false)
        }
    }
}

fn backed_up(done: &backup::BackedUp, to: &Path) -> String {
    let of = |count: usize, word: &str| format!("{count} {word}{}", if count == 1 { "" } else { "s" });
    let root: String = done.root.iter().map(|byte| format!("{byte:02x}")).collect();
    format!(
        "{} holds entries 1 to {}, {} of them new: {} written and read back, {} compared and the same.\nRoot over all of \
         them: {root}",
        to.display(),
        done.entries,
        done.new,
        of(done.written, "file"),
        of(done.same, "file")
    )
}

/// Makes a data folder of a backup. True if it is in place.
pub(super) fn restore(asked: &Restore, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let Restore { from, data, seen, behind_is_known } = asked;
    let mut checkpoints = Vec::new();
    for file in seen {
        match fs::read_to_string(file) {
            Ok(note) => checkpoints.push(note),
            Err(error) => {
                writeln!(err, "{} can't be read: {error}", file.display())?;
                return Ok(false);
            }
        }
    }
    match backup::restore_as(from, data, &backup::Seen { checkpoints, behind_is_known: *behind_is_known }) {
        Ok(done) => {
            writeln!(out, "{} holds entries 1 to {}, as they were {}.", data.display(), done.entries, done.taken_at)?;
            writeln!(out, "What was written after that is not in it: whoever sent it has to send it again.")?;
            let Some(seen) = done.behind else { return Ok(true) };
            let beside = DoneBeside { what: BesideServer::WentOn, seen: Some(seen) };
            match people::beside(data, Options::default(), beside) {
                Ok(yard) => {
                    yard.close();
                    writeln!(out, "Entry {} says that it goes on with less than others have seen.", done.entries + 1)?;
                    Ok(true)
                }
                Err(why) => {
                    writeln!(err, "It is in place, and its log does not say that newer entries are lost: {why}")?;
                    Ok(false)
                }
            }
        }
        Err(error) => {
            writeln!(err, "{} was not restored into {}: {}", from.display(), data.display(), whole(&error))?;
            Ok(false)
        }
    }
}

/// Prints the entries behind one of them. True if the log is sound to its end.
pub(super) fn export(data: &Path, after: u64, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let mut printed = Ok(());
    let read = journal::verify_lines(&RealDisk, data, &mut |seq, line| {
        if after < seq && printed.is_ok() {
            printed = out.write_all(line).and_then(|()| out.write_all(b"\n"));
        }
    });
    printed?;
    match read {
        Ok(report) if report.is_sound() => Ok(true),
        Ok(report) => {
            write!(err, "Not all of it was printed.\n{report}")?;
            Ok(false)
        }
        Err(error) => {
            writeln!(err, "{} can't be read: {}", data.display(), whole(&error))?;
            Ok(false)
        }
    }
}

/// Loads the lines of a file into an empty folder. True if all of them are in.
pub(super) fn load(file: &Path, data: &Path, told: Told, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let mut steps = Steps::new(told, "Checked", "lines", err);
    let loaded = load::load(file, data, &mut |progress| match progress {
        Progress::Checked(lines) => steps.stretch("Checked", "lines").at(lines, None),
        Progress::Written { entries, of } => steps.stretch("Written", "entries").at(entries, Some(of)),
    });
    match loaded {
        Ok(loaded) => {
            let lines = loaded.entries.saturating_sub(1);
            writeln!(out, "Loaded: {lines} lines of {}, as entries 2 to {}.", file.display(), loaded.entries)?;
            writeln!(out, "Entry 1 says that the log was loaded. Look at it with rimebook verify, then serve it.")?;
            Ok(true)
        }
        Err(error) => {
            if let LoadError::Lines { problems, more } = &error {
                for problem in problems {
                    writeln!(err, "{}, line {}: {}", file.display(), problem.line, problem.detail)?;
                }
                if 0 < *more {
                    writeln!(err, "... and {more} more")?;
                }
            }
            writeln!(err, "{} was not loaded into {}: {}", file.display(), data.display(), whole(&error))?;
            Ok(false)
        }
    }
}
