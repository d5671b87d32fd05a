//! How far long work has come, in lines on standard error: where that is a terminal, or where somebody asked for them.

use std::io::{self, IsTerminal, Write};

/// Lines between two that are said, where nobody knows how many there are.
const UNKNOWN_STEP: u64 = 10_000;

/// Whether anybody wants to know.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Progress {
    Said,
    Silent,
}

impl Progress {
    /// Said where it was asked for, and where a person looks on.
    pub(crate) fn wanted(asked: bool) -> Progress {
        if asked || io::stderr().is_terminal() { Progress::Said } else { Progress::Silent }
    }
}

/// One stretch of work: what is counted, and how far it has come.
pub(crate) struct Steps<'a> {
    progress: Progress,
    doing: &'static str,
    counted: &'static str,
    done: u64,
    next: u64,
    err: &'a mut dyn Write,
}

impl<'a> Steps<'a> {
    /// `Steps::new(.., "Written", "entries", err)` says `Written: 400 of 4000 entries`.
    pub(crate) fn new(progress: Progress, doing: &'static str, counted: &'static str, err: &'a mut dyn Write) -> Self {
        Steps { progress, doing, counted, done: 0, next: 0, err }
    }

    /// Now this is what is done and counted; where it was something else, it is counted from the start.
    pub(crate) fn stretch(&mut self, doing: &'static str, counted: &'static str) -> &mut Self {
        if self.doing != doing {
            (self.doing, self.counted, self.done, self.next) = (doing, counted, 0, 0);
        }
        self
    }

    /// So much more is done.
    pub(crate) fn more(&mut self, by: u64, of: usize) {
        self.done = self.done.saturating_add(by);
        self.at(self.done, Some(u64::try_from(of).unwrap_or(u64::MAX)));
    }

    /// So much is done: said about ten times, the end included, or now and then where no end is known.
    pub(crate) fn at(&mut self, done: u64, of: Option<u64>) {
        if self.progress == Progress::Silent || done < self.next && Some(done) != of {
            return;
        }
        let (doing, counted) = (self.doing, self.counted);
        // Who can't be told is not: the work goes on.
        let _ = match of {
            Some(of) => writeln!(self.err, "{doing}: {done} of {of} {counted}"),
            None => writeln!(self.err, "{doing}: {done} {counted}"),
        };
        self.next = done.saturating_add(of.map_or(UNKNOWN_STEP, |of| of.div_ceil(10).max(1)));
    }
}

#[cfg(test)]
mod tests {
    use super::{Progress, Steps};

    fn said(progress: Progress, steps: &[(u64, Option<u64>)]) -> Vec<String> {
        let mut err = Vec::new();
        let mut counting = Steps::new(progress, "Written", "entries", &mut err);
        for (done, of) in steps {
            counting.at(*done, *of);
        }
        String::from_utf8(err).unwrap().lines().map(str::to_owned).collect()
    }

    #[test]
    fn about_ten_lines_are_said_and_the_last_one_is_the_end() {
        let steps: Vec<(u64, Option<u64>)> = (0..=4_321).map(|done| (done, Some(4_321))).collect();
        let lines = said(Progress::Said, &steps);
        assert_eq!((lines.len(), lines.first().unwrap().as_str()), (11, "Written: 0 of 4321 entries"));
        assert_eq!(lines.last().unwrap(), "Written: 4321 of 4321 entries");
        let open: Vec<(u64, Option<u64>)> = (1..=25_000).map(|done| (done, None)).collect();
        assert_eq!(
            said(Progress::Said, &open),
            ["Written: 1 entries", "Written: 10001 entries", "Written: 20001 entries"]
        );
    }

    #[test]
    fn another_stretch_is_counted_from_its_start() {
        let mut err = Vec::new();
        let mut steps = Steps::new(Progress::Said, "Checked", "lines", &mut err);
        steps.at(3_000, None);
        steps.stretch("Written", "entries").more(2, 2);
        assert_eq!(String::from_utf8(err).unwrap(), "Checked: 3000 lines\nWritten: 2 of 2 entries\n");
    }

    #[test]
    fn nobody_who_did_not_ask_is_told() {
        assert_eq!(said(Progress::Silent, &[(1, Some(1)), (9, None)]), [""; 0]);
        assert_eq!(Progress::wanted(true), Progress::Said);
    }
}
