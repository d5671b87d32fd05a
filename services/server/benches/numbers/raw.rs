//! The floor of durable appending: the same lines, the same grouping, preallocated segments laid down in the background
//! the same way, one CRC, one write and one fdatasync per group. It parses nothing, keeps nothing and hashes nothing.

use std::{
    fs::{File, OpenOptions},
    os::unix::fs::FileExt,
    path::{Path, PathBuf},
    sync::{
        Arc,
        atomic::{AtomicBool, Ordering},
        mpsc::{Receiver, Sender, SyncSender, channel, sync_channel},
    },
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

use super::append::Run;

const SEGMENT_BYTES: u64 = 4 << 20;
const SEGMENT_ENTRIES: usize = 5_000;
const MOST_LINES: usize = 512;

type Message = (Vec<u8>, SyncSender<()>);

/// Appends the lines, again and again, from so many threads for so long.
pub(crate) fn run(folder: &Path, lines: &Arc<Vec<Vec<u8>>>, writers: usize, time: Duration) -> Run {
    let (to, from) = sync_channel::<Message>(4_096);
    let log = Log::new(folder);
    let named = thread::Builder::new().name("raw-committer".into());
    let committer = named.spawn(move || commit(&from, log)).unwrap();
    let stop = Arc::new(AtomicBool::new(false));
    let begin = Instant::now();
    let threads: Vec<_> = (0..writers)
        .map(|writer| {
            let (lines, stop, to) = (lines.clone(), stop.clone(), to.clone());
            let named = thread::Builder::new().name("raw-writer".into());
            named.spawn(move || write(&lines, writer, &to, &stop)).unwrap()
        })
        .collect();
    drop(to);
    thread::park_timeout(time);
    while begin.elapsed() < time {
        thread::park_timeout(time.saturating_sub(begin.elapsed()));
    }
    stop.store(true, Ordering::Relaxed);
    let took = threads.into_iter().flat_map(|thread| thread.join().unwrap()).collect();
    let elapsed = begin.elapsed();
    committer.join().unwrap();
    Run::new(took, elapsed)
}

/// One writer: the next line is handed in once the one before it is durable. Nanoseconds of each.
fn write(lines: &[Vec<u8>], writer: usize, to: &SyncSender<Message>, stop: &AtomicBool) -> Vec<u64> {
    let mut took = Vec::with_capacity(1 << 16);
    let (done, durable) = sync_channel(1);
    let mut next = writer * 61;
    while !stop.load(Ordering::Relaxed) {
        let line = lines[next % lines.len()].clone();
        next += 1;
        let begin = Instant::now();
        to.send((line, done.clone())).unwrap();
        durable.recv().unwrap();
        took.push(begin.elapsed().as_nanos() as u64);
    }
    took
}

fn commit(from: &Receiver<Message>, mut log: Log) {
    let (mut group, mut waiting) = (Vec::new(), Vec::new());
    while let Ok((line, done)) = from.recv() {
        group.push(line);
        waiting.push(done);
        while group.len() < MOST_LINES {
            let Ok((line, done)) = from.try_recv() else { break };
            group.push(line);
            waiting.push(done);
        }
        log.append(&group);
        group.clear();
        for done in waiting.drain(..) {
            let _ = done.send(());
        }
    }
    log.close();
}

struct Log {
    file: File,
    end: u64,
    entries: usize,
    frame: Vec<u8>,
    laid: Receiver<File>,
    sealed: Sender<(File, u64)>,
    laying: JoinHandle<()>,
}

impl Log {
    fn new(folder: &Path) -> Log {
        let (laid_to, laid) = sync_channel(0);
        let (sealed, sealed_from) = channel();
        let folder = folder.to_owned();
        let laying = thread::spawn(move || lay_ahead(&folder, &laid_to, &sealed_from));
        Log { file: laid.recv().unwrap(), end: 0, entries: 0, frame: Vec::new(), laid, sealed, laying }
    }

    fn close(self) {
        let Log { laid, laying, .. } = self;
        drop(laid);
        laying.join().unwrap();
    }

    fn append(&mut self, group: &[Vec<u8>]) {
        self.frame.clear();
        self.frame.resize(16, 0);
        for line in group {
            self.frame.extend_from_slice(line);
            self.frame.push(b'\n');
        }
        let (head, body) = self.frame.split_at_mut(16);
        head[..4].copy_from_slice(&(body.len() as u32).to_le_bytes());
        head[4..8].copy_from_slice(&crc32c::crc32c(body).to_le_bytes());
        let is_full = self.end + self.frame.len() as u64 > SEGMENT_BYTES;
        if is_full || self.entries + group.len() > SEGMENT_ENTRIES {
            let next = self.laid.recv().unwrap();
            let sealed = std::mem::replace(&mut self.file, next);
            self.sealed.send((sealed, self.end)).unwrap();
            (self.end, self.entries) = (0, 0);
        }
        self.file.write_all_at(&self.frame, self.end).unwrap();
        self.file.sync_data().unwrap();
        self.end += self.frame.len() as u64;
        self.entries += group.len();
    }
}

/// One segment is laid ahead, and the end of sealed ones is given back, as the journal does it.
fn lay_ahead(folder: &Path, laid: &SyncSender<File>, sealed: &Receiver<(File, u64)>) {
    let zeros = vec![0; 1 << 20];
    for number in 1_u32.. {
        let (unfinished, path) = (folder.join("next.tmp"), folder.join(format!("{number:08}.log")));
        let file = lay(folder, &unfinished, &path, &zeros);
        if laid.send(file).is_err() {
            return;
        }
        while let Ok((file, bytes)) = sealed.try_recv() {
            file.set_len(bytes).unwrap();
        }
    }
}

fn lay(folder: &Path, unfinished: &PathBuf, path: &PathBuf, zeros: &[u8]) -> File {
    let file = OpenOptions::new().read(true).write(true).create_new(true).open(unfinished).unwrap();
    for at in (0..SEGMENT_BYTES).step_by(zeros.len()) {
        file.write_all_at(zeros, at).unwrap();
    }
    file.sync_all().unwrap();
    std::fs::rename(unfinished, path).unwrap();
    File::open(folder).unwrap().sync_all().unwrap();
    file
}
