//! Reading back what is durable, while the writer goes on.

use std::{
    io::{self, BufRead},
    ops::Range,
    path::PathBuf,
    sync::{Arc, PoisonError, RwLock},
};

use super::{
    Disk, SegmentInfo,
    frame::{MAX_GROUP_BYTES, MAX_LINE_BYTES},
    index::{Index, Place},
    merkle::Hash,
    scan::file_name,
};

/// A handle on the journal for reading. Clones are cheap and share nothing but the index.
#[derive(Clone)]
pub struct Reader {
    pub(super) disk: Arc<dyn Disk>,
    pub(super) folder: PathBuf,
    pub(super) index: Arc<RwLock<Index>>,
}

impl Reader {
    /// The line of this entry, byte for byte, without newline. `NotFound` if there is none.
    pub fn line(&self, seq: u64) -> io::Result<Vec<u8>> {
        let missing = || io::Error::new(io::ErrorKind::NotFound, format!("the journal has no entry {seq}"));
        self.lines(seq, 1)?.pop().ok_or_else(missing)
    }

    /// The lines of up to `count` entries from `first` on; fewer at the end of the journal, or of about 1 MiB.
    pub fn lines(&self, first: u64, count: usize) -> io::Result<Vec<Vec<u8>>> {
        let mut lines = Vec::new();
        let (mut next, mut bytes) = (first, 0);
        while lines.len() < count && next <= self.last_seq() && bytes < MAX_GROUP_BYTES {
            // So few at a time that a question for very many does not read whole segments of long lines.
            let place = self.read_index(|index| index.find(next, (count - lines.len()).min(64)))?;
            let found = self.read(&place)?;
            let before = lines.len();
            lines.extend(found.iter().map(<[u8]>::to_vec));
            next += (lines.len() - before) as u64;
            bytes += found.iter().map(<[u8]>::len).sum::<usize>();
        }
        Ok(lines)
    }

    /// The `seq` of the last durable entry; 0 if there is none.
    pub fn last_seq(&self) -> u64 {
        self.read_index(|index| index.last_seq)
    }

    /// The root over all durable entries.
    pub fn root(&self) -> Hash {
        self.read_index(|index| index.root)
    }

    /// The last `seq` and the root over all entries up to it, of the same moment.
    pub fn head(&self) -> (u64, Hash) {
        self.read_index(|index| (index.last_seq, index.root))
    }

    /// All segments in order.
    pub fn segments(&self) -> Vec<SegmentInfo> {
        self.read_index(Index::segments)
    }

    /// All entries of a segment that are durable now. `NotFound` if there is no such segment.
    pub fn segment_lines(&self, number: u32) -> io::Result<Vec<(u64, Vec<u8>)>> {
        let (first_seq, lines) = self.segment(number)?;
        Ok((first_seq..).zip(lines.iter().map(<[u8]>::to_vec)).collect())
    }

    /// The same in one piece, and the first entry's number.
    pub(crate) fn segment(&self, number: u32) -> io::Result<(u64, Lines)> {
        let missing = || io::Error::new(io::ErrorKind::NotFound, format!("the journal has no segment {number}"));
        let segment = self.segments().into_iter().find(|segment| segment.number == number).ok_or_else(missing)?;
        if segment.last_seq < segment.first_seq {
            return Ok((segment.first_seq, Lines::default()));
        }
        let count = usize::try_from(segment.last_seq - segment.first_seq + 1).map_err(io::Error::other)?;
        let place = self.read_index(|index| index.find(segment.first_seq, count))?;
        Ok((segment.first_seq, self.read(&place)?))
    }

    fn read_index<T>(&self, read: impl FnOnce(&Index) -> T) -> T {
        read(&self.index.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// No lock is held here.
    fn read(&self, place: &Place) -> io::Result<Lines> {
        let mut bytes = vec![0; place.bytes.len()];
        let read = match &place.file {
            Some(file) => file.pread(&mut bytes, u64::from(place.bytes.start))?,
            None => {
                let file = self.disk.open_to_read(&self.folder.join(file_name(place.segment)))?;
                file.pread(&mut bytes, u64::from(place.bytes.start))?
            }
        };
        bytes.truncate(read);
        let line = |start: &u32| {
            let at = (*start - place.bytes.start) as usize;
            let behind = bytes.get(at..).unwrap_or_default();
            let mut behind = behind.get(..behind.len().min(MAX_LINE_BYTES + 1)).unwrap_or_default();
            // `skip_until` on a slice is the standard library's fast search for a byte; it cannot fail.
            let whole = behind;
            match behind.skip_until(b'\n') {
                Ok(length @ 1..) if whole.get(length - 1) == Some(&b'\n') => Ok(at..at + length - 1),
                _ => Err(io::Error::from(io::ErrorKind::UnexpectedEof)),
            }
        };
        let ranges = place.starts.iter().map(line).collect::<io::Result<_>>()?;
        Ok(Lines { bytes, ranges })
    }
}

/// Lines as they stand in the journal, without newlines, in one piece of memory.
#[derive(Default)]
pub(crate) struct Lines {
    bytes: Vec<u8>,
    ranges: Vec<Range<usize>>,
}

impl Lines {
    pub(crate) fn iter(&self) -> impl Iterator<Item = &[u8]> {
        self.ranges.iter().filter_map(|range| self.bytes.get(range.clone()))
    }
}
