//! A history written straight into a journal, on a disk without barriers: it is only read afterwards.

use std::{path::Path, sync::Arc};

use server::journal::{Journal, Options};

use super::{counting::Counting, history::History};

/// Makes a journal that holds the history, in groups of so many lines.
pub(crate) fn fill(folder: &Path, history: &History, group: usize) {
    let disk = Arc::new(Counting::without_barriers());
    let (mut journal, _) = Journal::open(disk, folder, Options::default(), |_, _| Ok(())).unwrap();
    let mut lines: Vec<Vec<u8>> = Vec::new();
    let mut last = 0;
    for entry in history.entries() {
        let mut line = Vec::with_capacity(400);
        entry.write(&mut line).unwrap();
        last = entry.recorded_at.0;
        lines.push(line);
        if lines.len() == group {
            journal.append(&lines, last).unwrap();
            lines.clear();
        }
    }
    if !lines.is_empty() {
        journal.append(&lines, last).unwrap();
    }
    journal.rest(last).unwrap();
}
