//! What is done to a data folder that nobody serves: loading a log into it, and looking whether it is sound.

use std::{
    io::{self, Write},
    path::Path,
};

use super::{
    progress::{Progress as Told, Steps},
    whole,
};
use crate::{
    journal::{self, RealDisk},
    load::{self, LoadError, Progress},
};

/// Says what the journal holds and whether anything is wrong. True if it is sound.
pub(super) fn verify(data: &Path, told: Told, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    if !data.join("journal").is_dir() {
        writeln!(err, "{} is no data folder: it has no folder named journal", data.display())?;
        return Ok(false);
    }
    let mut steps = Steps::new(told, "Read", "entries", err);
    match journal::verify_told(&RealDisk, data, &mut |entries| steps.at(entries, None)) {
        Ok(report) => {
            write!(out, "{report}")?;
            Ok(report.is_sound())
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
