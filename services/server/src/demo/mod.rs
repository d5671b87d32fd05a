//! The demo: an invented yard with a year behind it, written by the same library as everything else, under a clock
//! that walks through the year.

mod lately;
mod rng;
mod stock;
mod story;
mod work;
mod write;
mod yard;
mod year;

use crate::cli::progress::{Progress, Steps};
use shared_types::Instant;
use std::{
    io::{self, Write},
    path::PathBuf,
};

use self::{
    stock::Stock,
    story::{Step, Story},
    work::Shop,
};

/// What is asked for.
#[derive(Debug)]
pub(crate) struct Request {
    pub(crate) data: PathBuf,
    pub(crate) seed: u64,
    /// The end of the year, which is *now* for whoever looks at it.
    pub(crate) until: Instant,
}

/// A year, made up: what is posted when, and what there is to try.
struct Year {
    steps: Vec<Step>,
    to_try: Vec<String>,
    /// Stages for which there was no material: none, if the year is well made.
    missed: u32,
}

fn make_up(seed: u64, until: Instant) -> Year {
    let mut story = Story::new(seed, until);
    let (mut stock, mut shop) = (Stock::default(), Shop::default());
    yard::declare(&mut story);
    let missed = year::write(&mut story, &mut stock, &mut shop);
    let to_try = lately::write(&mut story, &mut stock, &mut shop);
    Year { steps: story.into_steps(), to_try, missed }
}

/// Writes the year into an empty folder. True if it is there.
pub(crate) fn run(request: &Request, told: Progress, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<bool> {
    let year = make_up(request.seed, request.until);
    match write::write(request, &year.steps, &mut Steps::new(told, "Written", "entries", err)) {
        Ok(entries) => {
            writeln!(
                out,
                "Skarvnes Composite Hall, an invented yard: {entries} entries in {}.",
                request.data.display()
            )?;
            for line in &year.to_try {
                writeln!(out, "  {line}")?;
            }
            if 0 < year.missed {
                writeln!(out, "  {} stages were not made: there was no material for them", year.missed)?;
            }
            Ok(true)
        }
        Err(say) => {
            writeln!(err, "{say}")?;
            Ok(false)
        }
    }
}

#[cfg(test)]
mod tests;
