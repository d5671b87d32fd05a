//! The one writer: a group in, one write, one barrier, its first `seq` out.

use std::{
    any::Any,
    error::Error,
    mem,
    path::Path,
    sync::{Arc, PoisonError, RwLock, mpsc::Sender},
    thread::{self, JoinHandle},
};

use super::{
    AppendError, Disk, DiskFile, OpenError, Options, Reader, Recovery, Unfit, Upkeep,
    frame::{HEADER_BYTES, Header, body_bytes, whole_sectors},
    index::{Index, Segment},
    merkle::{Hash, Tree, leaf},
    opening, upkeep,
};

/// The open journal. There is one per data folder; it holds the folder's lock until it is dropped.
pub struct Journal {
    options: Options,
    current: Current,
    tree: Tree,
    root: Hash,
    /// The last frame has no lines, or there is none: a root covers everything.
    at_rest: bool,
    /// Why writing stopped, for ever.
    stopped: Option<String>,
    /// The frame that is being written, and where its lines start. Kept because they are long.
    frame: Vec<u8>,
    starts: Vec<u32>,
    reader: Reader,
    tell_sealed: Option<Sender<u32>>,
    upkeep: Arc<upkeep::Upkeep>,
    thread: Option<JoinHandle<()>>,
    _lock: Box<dyn Any + Send + Sync>,
}

/// Whether the disk has room for the next segment.
#[derive(Clone)]
pub(crate) struct Room(Arc<upkeep::Upkeep>);

impl Room {
    /// Why the next segment could not be laid down, if it could not.
    pub(crate) fn missing(&self) -> Option<String> {
        self.0.missing()
    }
}

/// The segment that is being written.
struct Current {
    number: u32,
    file: Arc<dyn DiskFile>,
    /// Where the next frame goes, in bytes.
    end: u32,
    entries: u32,
    /// When its first group was recorded.
    began_ms: Option<i64>,
}

impl Journal {
    /// Opens the journal in `dir/journal`, making both if they are not there, and calls `on_line(seq, line)` for every
    /// entry in order. An error from `on_line` ends it with `OpenError::Line`, before anything on the disk is touched.
    pub fn open<F>(disk: Arc<dyn Disk>, dir: &Path, options: Options, on_line: F) -> Result<(Self, Recovery), OpenError>
    where
        F: FnMut(u64, &[u8]) -> Result<(), Box<dyn Error + Send + Sync>>,
    {
        let opening::Opened { folder, lock, mut scan, current: file, upkeep, recovery } =
            opening::open(&disk, dir, &options, on_line)?;
        let current = match scan.segments.last_mut() {
            Some(last) => {
                last.file = Some(file.clone());
                let entries = u32::try_from(last.starts.len()).unwrap_or(u32::MAX);
                Current { number: last.number, file, end: last.end, entries, began_ms: scan.segment_began_ms }
            }
            None => Current { number: 1, file, end: 0, entries: 0, began_ms: None },
        };
        let root = scan.tree.root();
        let index = Index { segments: scan.segments, last_seq: scan.tree.size(), root };
        let upkeep = Arc::new(upkeep);
        let thread = match options.upkeep {
            Upkeep::InBackground => Some(start(&upkeep, &options)?),
            Upkeep::ByHand => None,
        };
        let journal = Self {
            current,
            tree: scan.tree,
            root,
            at_rest: scan.last.is_none_or(|last| last.is_rest),
            stopped: None,
            frame: Vec::new(),
            starts: Vec::new(),
            reader: Reader { disk, folder, index: Arc::new(RwLock::new(index)) },
            tell_sealed: None,
            upkeep,
            thread,
            options,
            _lock: lock,
        };
        journal.look_ahead();
        Ok((journal, recovery))
    }

    /// The `seq` that the next line will get.
    pub fn next_seq(&self) -> u64 {
        self.tree.size() + 1
    }

    /// Writes the lines as one group and waits for the barrier. Returns the first line's `seq`. Lines come without
    /// newline. `now_ms`, milliseconds since 1970, only decides when a segment is a day old.
    pub fn append<L: AsRef<[u8]>>(&mut self, lines: &[L], now_ms: i64) -> Result<u64, AppendError> {
        self.write(body_bytes(lines)?, lines, now_ms)
    }

    /// Writes a frame without lines, so that a root covers the last group. Does nothing if there is one already.
    pub fn rest(&mut self, now_ms: i64) -> Result<(), AppendError> {
        if !self.at_rest {
            self.write::<&[u8]>(0, &[], now_ms)?;
        }
        Ok(())
    }

    /// A handle for reading back: clone it freely, it never waits for a write.
    pub fn reader(&self) -> Reader {
        self.reader.clone()
    }

    /// A handle for asking whether the disk has room for what comes next.
    pub(crate) fn room(&self) -> Room {
        Room(self.upkeep.clone())
    }

    /// From now on sends the number of every segment that is sealed.
    pub fn tell_sealed(&mut self, to: Sender<u32>) {
        self.tell_sealed = Some(to);
    }

    /// Lays down and shortens what is due, now and on this thread; tries again what failed.
    /// True if nothing is missing afterwards.
    pub fn upkeep(&self) -> bool {
        self.upkeep.try_again()
    }

    fn write<L: AsRef<[u8]>>(&mut self, body_bytes: usize, lines: &[L], now_ms: i64) -> Result<u64, AppendError> {
        let first_seq = self.next_seq();
        if let Some(why) = &self.stopped {
            return Err(AppendError::Stopped { seq: first_seq, why: why.clone() });
        }
        let next = self.next_segment(body_bytes, lines.len(), now_ms)?;
        let into = next.as_ref().unwrap_or(&self.current);
        let (number, file, at) = (into.number, into.file.clone(), into.end);

        self.fill(number, at, lines, first_seq, now_ms)?;
        if let Err(error) = file.pwrite(&self.frame, u64::from(at)).and_then(|()| file.sync_data()) {
            // What the disk holds now is unknown, and asking again may get a lie for an answer.
            self.stopped = Some(error.to_string());
            return Err(AppendError::Stopped { seq: first_seq, why: error.to_string() });
        }
        let sealed = next.map(|next| mem::replace(&mut self.current, next));
        self.written(lines, now_ms);
        if let Some(sealed) = sealed {
            self.upkeep.shorten(sealed.number, sealed.end);
            if let Some(to) = &self.tell_sealed {
                // Nobody listens any more: then nobody misses it.
                let _ = to.send(sealed.number);
            }
        }
        self.look_ahead();
        Ok(first_seq)
    }

    /// The segment to seal the current one for, if it is full, or has enough entries, or is old enough. Only when it
    /// is full does this wait for the next one: otherwise what is laid down already is used up first.
    fn next_segment(&self, body: usize, lines: usize, now_ms: i64) -> Result<Option<Current>, AppendError> {
        let Current { number, end, entries, began_ms, .. } = self.current;
        let bytes = whole_sectors(HEADER_BYTES + body);
        let segment_bytes = self.options.segment_bytes as usize;
        if bytes > segment_bytes {
            return Err(Unfit::TooLong.into());
        }
        let next = number + 1;
        let file = if end as usize + bytes > segment_bytes {
            self.upkeep.take_or_lay(next).map_err(|why| AppendError::NoSpace { why })?
        } else if lines > 0 && entries > 0 && (self.has_enough(lines) || self.is_old(began_ms, now_ms)) {
            match self.upkeep.take(next) {
                Some(file) => file,
                None => {
                    self.upkeep.want(next);
                    return Ok(None);
                }
            }
        } else {
            return Ok(None);
        };
        Ok(Some(Current { number: next, file, end: 0, entries: 0, began_ms: None }))
    }

    fn has_enough(&self, lines: usize) -> bool {
        self.current.entries as usize + lines > self.options.segment_entries as usize
    }

    fn is_old(&self, began_ms: Option<i64>, now_ms: i64) -> bool {
        began_ms.is_some_and(|began| now_ms.saturating_sub(began) >= self.options.segment_ms)
    }

    /// Puts the frame together.
    fn fill<L: AsRef<[u8]>>(
        &mut self,
        segment: u32,
        at: u32,
        lines: &[L],
        first_seq: u64,
        now_ms: i64,
    ) -> Result<(), Unfit> {
        self.starts.clear();
        self.frame.clear();
        self.frame.resize(HEADER_BYTES, 0);
        for line in lines {
            let start = u32::try_from(self.frame.len()).map_err(|_| Unfit::TooLong)?;
            self.starts.push(at + start);
            self.frame.extend_from_slice(line.as_ref());
            self.frame.push(b'\n');
        }
        let Some((header, body)) = self.frame.split_first_chunk_mut::<HEADER_BYTES>() else { return Ok(()) };
        *header = Header {
            lines: u16::try_from(lines.len()).map_err(|_| Unfit::TooManyLines)?,
            segment,
            body_bytes: u32::try_from(body.len()).map_err(|_| Unfit::TooLong)?,
            first_seq,
            recorded_ms: now_ms,
            root_before: self.root,
            body_crc: crc32c::crc32c(body),
        }
        .encode();
        Ok(())
    }

    /// The frame is durable: the tree and the index learn of it.
    fn written<L: AsRef<[u8]>>(&mut self, lines: &[L], now_ms: i64) {
        let first_seq = self.next_seq();
        for line in lines {
            self.tree.push(leaf(line.as_ref()));
        }
        self.root = self.tree.root();
        self.at_rest = lines.is_empty();
        let current = &mut self.current;
        current.end += u32::try_from(whole_sectors(self.frame.len())).unwrap_or(u32::MAX);
        current.entries += u32::try_from(lines.len()).unwrap_or(u32::MAX);
        current.began_ms.get_or_insert(now_ms);

        let mut index = self.reader.index.write().unwrap_or_else(PoisonError::into_inner);
        match index.segments.last_mut() {
            Some(last) if last.number == current.number => {
                last.starts.extend_from_slice(&self.starts);
                last.end = current.end;
            }
            last => {
                if let Some(sealed) = last {
                    sealed.starts.shrink_to_fit();
                    sealed.file = None;
                }
                index.segments.push(Segment {
                    number: current.number,
                    first_seq,
                    starts: self.starts.clone(),
                    end: current.end,
                    file: Some(current.file.clone()),
                });
            }
        }
        index.last_seq = self.tree.size();
        index.root = self.root;
    }

    /// Has the next segment laid down once the current one is half full.
    fn look_ahead(&self) {
        let Current { number, end, entries, .. } = self.current;
        if end >= self.options.segment_bytes / 2 || entries >= self.options.segment_entries / 2 {
            self.upkeep.want(number + 1);
        }
    }
}

impl Drop for Journal {
    fn drop(&mut self) {
        self.upkeep.end();
        if let Some(thread) = self.thread.take() {
            // Only a panic in it could be learnt here, and the journal is gone either way.
            drop(thread.join());
        }
    }
}

impl From<Unfit> for AppendError {
    fn from(unfit: Unfit) -> Self {
        Self::Unfit(unfit)
    }
}

fn start(upkeep: &Arc<upkeep::Upkeep>, options: &Options) -> Result<JoinHandle<()>, OpenError> {
    let (upkeep, retry) = (upkeep.clone(), options.retry);
    let thread = thread::Builder::new().name("journal-upkeep".to_owned()).spawn(move || upkeep.run(retry));
    thread.map_err(|source| OpenError::Io { doing: "starting its upkeep".to_owned(), source })
}
