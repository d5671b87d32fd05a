//! What is wrong with the files, in words, each with its line: all of it, not only the first.

use std::fmt;

/// A line of a file, counted from 1; line 0 is the file as a whole.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(crate) struct Spot {
    pub(crate) file: String,
    pub(crate) line: u64,
}

/// One problem and where it stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub(crate) struct Problem {
    pub(crate) spot: Spot,
    pub(crate) say: String,
}

/// Collects problems, so that one run shows them all.
#[derive(Default, Debug)]
pub(crate) struct Problems(Vec<Problem>);

impl Problems {
    pub(crate) fn add(&mut self, spot: &Spot, say: impl fmt::Display) {
        self.0.push(Problem { spot: spot.clone(), say: say.to_string() });
    }

    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// By file and line, in the order in which a person goes through them. What two entries of one line say alike is
    /// said once.
    pub(crate) fn sorted(mut self) -> Vec<Problem> {
        self.0.sort_by(|a, b| a.spot.cmp(&b.spot));
        self.0.dedup();
        self.0
    }
}

impl fmt::Display for Spot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            0 => f.write_str(&self.file),
            line => write!(f, "{}, line {line}", self.file),
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.spot, self.say)
    }
}
