//! Reading a journal from its first byte to its last, and judging it. Opening and `verify` both do this; nothing is
//! changed here.

use std::{error::Error, io, ops::Range, path::Path, sync::Arc, thread};

use super::{
    Damage, Disk,
    ahead::{self, Ahead, Leaves},
    frame::{HEADER_BYTES, Header, MAX_GROUP_BYTES, MAX_GROUP_LINES, NoHeader, SECTOR, first_set_byte, whole_sectors},
    index::Segment,
    merkle::{Hash, Tree},
    tail::{Fault, judge, lonely_bit},
};

/// What has been read so far; after an error, everything before it.
#[derive(Default)]
pub(super) struct Scan {
    /// How long a segment is as it is laid down, in bytes.
    laid_bytes: u32,
    /// The length of the file of the last segment with a good frame, in bytes.
    file_bytes: usize,
    pub(super) tree: Tree,
    /// Of so many entries the root is wanted, and has been read.
    pub(super) wanted: (Option<u64>, Option<Hash>),
    /// The segments with at least one good frame.
    pub(super) segments: Vec<Segment>,
    pub(super) frames: u64,
    pub(super) last: Option<LastFrame>,
    /// When the first group of the last segment was recorded, in milliseconds since 1970.
    pub(super) segment_began_ms: Option<i64>,
    /// How many of `tree`'s leaves are covered by a root that a later frame holds.
    pub(super) covered: u64,
    pub(super) torn: Option<Torn>,
    /// Segments that are laid down and never written.
    pub(super) spares: Vec<u32>,
}

#[derive(Debug, Clone)]
pub(super) struct LastFrame {
    pub(super) segment: u32,
    pub(super) bytes: Range<usize>,
    /// It holds no lines: its root covers all that was written.
    pub(super) is_rest: bool,
}

/// The last frame, if its write was torn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Torn {
    pub(super) segment: u32,
    pub(super) extent: Range<usize>,
    pub(super) bytes: Vec<u8>,
}

/// Hears of each segment its number, its bytes and how many of them are good frames.
pub(crate) type OnSegment<'a> = dyn FnMut(u32, &Arc<Vec<u8>>, u32) + 'a;

pub(super) enum ScanError {
    Damaged(Damage),
    Line { seq: u64, source: Box<dyn Error + Send + Sync> },
    Io { doing: String, source: io::Error },
}

/// The name of a segment's file.
pub(crate) fn file_name(segment: u32) -> String {
    format!("{segment:08}.log")
}

/// The number in the name of a segment's file.
pub(super) fn number(name: &str) -> Option<u32> {
    let number = name.strip_suffix(".log")?.parse().ok()?;
    (file_name(number) == name).then_some(number)
}

/// How long the file of a sealed segment is: no longer than its frames, or, if those fill it to the last byte, one empty
/// sector longer. So it never is as long as a segment that is still written, and whether it is sealed can be seen.
pub(crate) fn sealed_bytes(end: u32, laid_bytes: u32) -> u64 {
    let more = if end < laid_bytes { 0 } else { SECTOR as u64 };
    u64::from(end) + more
}

impl Scan {
    /// `laid_bytes`: the length of a segment as it is laid down.
    pub(super) fn new(laid_bytes: u32) -> Self {
        Self { laid_bytes, ..Self::default() }
    }

    /// Reads all segments in `folder` in order.
    pub(super) fn run<F>(&mut self, disk: &dyn Disk, folder: &Path, on_line: F) -> Result<(), ScanError>
    where
        F: FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
    {
        self.run_by_segment(disk, folder, on_line, &mut |_, _, _| ())
    }

    /// The same, handing out of each segment with a good frame its number, its bytes and how many of them are good frames.
    pub(super) fn run_by_segment<F>(
        &mut self,
        disk: &dyn Disk,
        folder: &Path,
        mut on_line: F,
        on_segment: &mut OnSegment<'_>,
    ) -> Result<(), ScanError>
    where
        F: FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
    {
        let names = disk.list(folder).map_err(io_error(|| "listing the journal's folder".to_owned()))?;
        let mut numbers: Vec<u32> = names.iter().filter_map(|name| number(name)).collect();
        numbers.sort_unstable();
        thread::scope(|scope| {
            let coming = ahead::read(scope, disk, folder, numbers.clone());
            for ((segment, expected), ahead) in numbers.into_iter().zip(1..).zip(coming) {
                if segment != expected {
                    return self.damaged(expected, 0, Fault::Missing);
                }
                let Some(Ahead { bytes, mut leaves }) = ahead? else {
                    return self.damaged(segment, 0, Fault::FileTooLong);
                };
                if self.torn.is_some() || !self.spares.is_empty() {
                    self.space(segment, &bytes)?;
                } else {
                    self.segment(segment, &bytes, &mut leaves, &mut on_line)?;
                    if let Some(read) = self.segments.last().filter(|read| read.number == segment) {
                        on_segment(read.number, &bytes, read.end);
                    }
                }
            }
            Ok(())
        })?;
        self.nothing_is_lost(disk, folder)
    }

    /// A segment is sealed once the first group of the next one is on the disk. So if the last one with a good frame is
    /// sealed, the newest entries were lost, and with them whatever they would have told.
    fn nothing_is_lost(&self, disk: &dyn Disk, folder: &Path) -> Result<(), ScanError> {
        let Some(last) = self.segments.last() else { return Ok(()) };
        if self.file_bytes as u64 != sealed_bytes(last.end, self.laid_bytes) {
            return Ok(());
        }
        let next = last.number + 1;
        if self.torn.is_some() || !self.spares.is_empty() {
            return self.damaged(next, 0, Fault::Lost);
        }
        match disk.open_to_read(&folder.join(file_name(next))) {
            // A server at work began it after the folder was listed.
            Ok(_) => Ok(()),
            Err(error) if error.kind() == io::ErrorKind::NotFound => self.damaged(next, 0, Fault::Missing),
            Err(error) => Err(io_error(|| format!("looking for {}", file_name(next)))(error)),
        }
    }

    fn damaged<T>(&self, segment: u32, offset: usize, fault: Fault) -> Result<T, ScanError> {
        let seq = self.tree.size() + 1;
        Err(ScanError::Damaged(Damage { segment, offset: offset as u64, seq, fault }))
    }

    /// A segment behind the end of what was written.
    fn space(&mut self, segment: u32, bytes: &[u8]) -> Result<(), ScanError> {
        match (first_set_byte(bytes), lonely_bit(bytes), &self.torn) {
            (None, ..) => self.spares.push(segment),
            (_, Some(offset), _) => return self.damaged(segment, offset, Fault::SetBit),
            (.., Some(torn)) => return self.damaged(torn.segment, torn.extent.start, Fault::Followed),
            (Some(offset), ..) => return self.damaged(segment, offset, Fault::Stray),
        }
        Ok(())
    }

    fn segment<F>(&mut self, segment: u32, bytes: &[u8], leaves: &mut Leaves, on_line: &mut F) -> Result<(), ScanError>
    where
        F: FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
    {
        let mut at = 0;
        while let Some(rest) = bytes.get(at..).filter(|rest| !rest.is_empty()) {
            match self.frame(segment, rest, at, leaves, on_line) {
                Ok(Some(after)) => at = after,
                Ok(None) => break,
                Err(Stop::Scan(error)) => return Err(error),
                Err(Stop::Bad { fault, body_bytes }) => match judge(bytes, at, body_bytes, fault) {
                    Ok(extent) => {
                        let bytes = bytes.get(extent.clone()).unwrap_or_default().to_vec();
                        self.torn = Some(Torn { segment, extent, bytes });
                        break;
                    }
                    Err((offset, fault)) => return self.damaged(segment, offset, fault),
                },
            }
        }
        if at > 0 {
            self.file_bytes = bytes.len();
        } else if self.torn.is_none() {
            self.spares.push(segment);
        }
        Ok(())
    }

    /// Reads the frame that starts at `at`, where the `rest` of the segment's bytes starts. The answer is where the
    /// next one would, or none if all the rest was never written.
    fn frame<F>(
        &mut self,
        segment: u32,
        rest: &[u8],
        at: usize,
        leaves: &mut Leaves,
        on_line: &mut F,
    ) -> Result<Option<usize>, Stop>
    where
        F: FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
    {
        let header = match Header::decode(rest) {
            Ok(header) => header,
            Err(NoHeader::OtherVersion(version)) => return Ok(self.damaged(segment, at, Fault::Version(version))?),
            Err(NoHeader::Unreadable) if first_set_byte(rest).is_none() => return Ok(None),
            Err(NoHeader::Unreadable) => return Err(Stop::Bad { fault: Fault::Header, body_bytes: None }),
        };
        if let Some(fault) = self.misfit(segment, &header) {
            return Ok(self.damaged(segment, at, fault)?);
        }
        let body_bytes = header.body_bytes as usize;
        let end = HEADER_BYTES + body_bytes;
        let Some(body) = rest.get(HEADER_BYTES..end) else {
            return Ok(self.damaged(segment, at, Fault::FileTooShort)?);
        };
        if crc32c::crc32c(body) != header.body_crc {
            return Err(Stop::Bad { fault: Fault::Lines(header.lines), body_bytes: Some(body_bytes) });
        }
        let after = whole_sectors(end);
        let padding = rest.get(end..after.min(rest.len())).unwrap_or_default();
        self.begin_frame(segment, at, end, &header);
        self.lines(at + HEADER_BYTES, body, leaves, on_line)?;
        if self.tree.size() + 1 != header.first_seq + u64::from(header.lines)
            || (!body.is_empty() && !body.ends_with(b"\n"))
        {
            return Ok(self.damaged(segment, at, Fault::Shape)?);
        }
        if let Some(offset) = first_set_byte(padding) {
            return Ok(self.damaged(segment, at + end + offset, Fault::SetBit)?);
        }
        if let Some(current) = self.segments.last_mut() {
            current.end = u32::try_from(at + after).unwrap_or(u32::MAX);
        }
        Ok(Some(at + after))
    }

    /// Why this header cannot stand here, although it is what was written.
    fn misfit(&self, segment: u32, header: &Header) -> Option<Fault> {
        if header.segment != segment {
            Some(Fault::OtherSegment(header.segment))
        } else if header.first_seq != self.tree.size() + 1 {
            Some(Fault::OtherSeq(header.first_seq))
        } else if header.root_before != self.tree.root() {
            Some(Fault::Root)
        } else if usize::from(header.lines) > MAX_GROUP_LINES || header.body_bytes as usize > MAX_GROUP_BYTES {
            Some(Fault::Shape)
        } else {
            None
        }
    }

    fn begin_frame(&mut self, segment: u32, at: usize, bytes: usize, header: &Header) {
        if self.segments.last().is_none_or(|last| last.number != segment) {
            let first_seq = header.first_seq;
            self.segments.push(Segment { number: segment, first_seq, starts: Vec::new(), end: 0, file: None });
            self.segment_began_ms = Some(header.recorded_ms);
        }
        self.frames += 1;
        self.covered = self.tree.size();
        self.last = Some(LastFrame { segment, bytes: at..at + bytes, is_rest: header.lines == 0 });
    }

    fn lines<F>(&mut self, at: usize, body: &[u8], leaves: &mut Leaves, on_line: &mut F) -> Result<(), ScanError>
    where
        F: FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
    {
        for (start, line) in ahead::lines(at, body) {
            self.tree.push(leaves.of(start, line));
            if let Some(current) = self.segments.last_mut() {
                current.starts.push(u32::try_from(start).unwrap_or(u32::MAX));
            }
            let seq = self.tree.size();
            if self.wanted.0 == Some(seq) {
                self.wanted.1 = Some(self.tree.root());
            }
            on_line(seq, line).map_err(|source| ScanError::Line { seq, source })?;
        }
        Ok(())
    }
}

/// Why a frame was not read.
enum Stop {
    Scan(ScanError),
    /// To be judged: torn or damaged.
    Bad {
        fault: Fault,
        body_bytes: Option<usize>,
    },
}

impl From<ScanError> for Stop {
    fn from(error: ScanError) -> Self {
        Self::Scan(error)
    }
}

pub(super) fn io_error(doing: impl FnOnce() -> String) -> impl FnOnce(io::Error) -> ScanError {
    |source| ScanError::Io { doing: doing(), source }
}
