//! Where every line stands: four bytes of memory per entry, and what is durable.

use std::{io, ops::Range, sync::Arc};

use super::{DiskFile, merkle::Hash};

/// A segment that holds at least one frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SegmentInfo {
    pub number: u32,
    pub first_seq: u64,
    /// One less than `first_seq` if it holds no entry yet.
    pub last_seq: u64,
    /// Nothing is added any more.
    pub sealed: bool,
}

pub(super) struct Segment {
    pub(super) number: u32,
    pub(super) first_seq: u64,
    /// Where each line starts, in bytes.
    pub(super) starts: Vec<u32>,
    /// Where the next frame would start.
    pub(super) end: u32,
    /// Open as long as it is written.
    pub(super) file: Option<Arc<dyn DiskFile>>,
}

impl Segment {
    pub(super) fn last_seq(&self) -> u64 {
        self.first_seq + self.starts.len() as u64 - 1
    }
}

/// The durable part of the journal. Held under a lock that nobody keeps while the disk works.
pub(super) struct Index {
    pub(super) segments: Vec<Segment>,
    pub(super) last_seq: u64,
    pub(super) root: Hash,
}

/// Where some lines of one segment stand.
pub(super) struct Place {
    pub(super) segment: u32,
    pub(super) file: Option<Arc<dyn DiskFile>>,
    /// The starts of the lines.
    pub(super) starts: Vec<u32>,
    /// The bytes they stand in; headers of frames may be among them.
    pub(super) bytes: Range<u32>,
}

impl Index {
    pub(super) fn segments(&self) -> Vec<SegmentInfo> {
        let last = self.segments.last().map(|segment| segment.number);
        let info = |segment: &Segment| SegmentInfo {
            number: segment.number,
            first_seq: segment.first_seq,
            last_seq: segment.last_seq(),
            sealed: Some(segment.number) != last,
        };
        self.segments.iter().map(info).collect()
    }

    /// Up to `count` lines from `first` on, as many as stand in the same segment.
    pub(super) fn find(&self, first: u64, count: usize) -> io::Result<Place> {
        let missing = || io::Error::new(io::ErrorKind::NotFound, format!("the journal has no entry {first}"));
        let after = self.segments.partition_point(|segment| segment.first_seq <= first);
        // A segment may hold no entry yet, so the one that starts here need not be the last that starts by here.
        let segment = self.segments.iter().take(after).rev().find(|segment| !segment.starts.is_empty());
        let segment = segment.ok_or_else(missing)?;
        let skipped = usize::try_from(first - segment.first_seq).map_err(io::Error::other)?;
        let starts: Vec<u32> = segment.starts.iter().skip(skipped).take(count).copied().collect();
        let from = *starts.first().ok_or_else(missing)?;
        let to = segment.starts.get(skipped + starts.len()).copied().unwrap_or(segment.end);
        Ok(Place { segment: segment.number, file: segment.file.clone(), starts, bytes: from..to })
    }
}
