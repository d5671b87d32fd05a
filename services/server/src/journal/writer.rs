//! The one writer: a group in, one write, one barrier, its first `seq` out.

use std::{error::Error, path::Path, sync::{Arc, mpsc::Sender}};

use super::{AppendError, Disk, Hash, OpenError, Options, Reader, Recovery};

/// The open journal. There is one per data folder; it holds the folder's lock until it is dropped.
pub struct Journal {}

impl Journal {
    /// Opens the journal in `dir/journal`, making both if they are not there, and calls `on_line(seq, line)` for every
    /// entry in order. An error from `on_line` ends it with `OpenError::Line`, before anything on the disk is touched.
    pub fn open(
        disk: Arc<dyn Disk>,
        dir: &Path,
        options: Options,
        on_line: impl FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
    ) -> Result<(Self, Recovery), OpenError>;

    /// The `seq` that the next line will get.
    pub fn next_seq(&self) -> u64;

    /// Writes the lines as one group and waits for the barrier. Returns the first line's `seq`. Lines come without
    /// newline. `now_ms`, milliseconds since 1970, only decides when a segment is a day old.
    pub fn append<L: AsRef<[u8]>>(&mut self, lines: &[L], now_ms: i64) -> Result<u64, AppendError>;

    /// Writes a frame without lines, so that a root covers the last group. Does nothing if there is one already.
    pub fn rest(&mut self, now_ms: i64) -> Result<(), AppendError>;

    /// A handle for reading back: clone it freely, it never waits for a write.
    pub fn reader(&self) -> Reader;

    /// From now on sends the number of every segment that is sealed.
    pub fn tell_sealed(&mut self, to: Sender<u32>);

    /// Lays down and shortens what is due, now and on this thread; tries again what failed.
    /// True if nothing is missing afterwards.
    pub fn upkeep(&self) -> bool;
}

// Reader (reader.rs), Clone + Send + Sync:
//   line(seq: u64) -> io::Result<Vec<u8>>                            NotFound beyond the end
//   lines(first: u64, count: usize) -> io::Result<Vec<Vec<u8>>>      fewer at the end
//   last_seq() -> u64      root() -> Hash (= [u8; 32])               of what is durable
//   segments() -> Vec<SegmentInfo { number: u32, first_seq: u64, last_seq: u64, sealed: bool }>
//   segment_lines(number: u32) -> io::Result<Vec<(u64, Vec<u8>)>>
