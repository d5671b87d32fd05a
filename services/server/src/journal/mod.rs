//! The journal on disk, the truth. It knows bytes and order, and no rules: a line is an opaque text without newline.
//!
//! One entry is one line, one `seq` (from 1) and one leaf of an RFC 9162 tree. One group of lines is one frame: one
//! write and one barrier. See DEVELOPERS.md for the layout; `frame.rs` has it byte by byte.

mod ahead;
mod cut;
mod disk;
mod frame;
mod index;
mod merkle;
mod opening;
mod proofs;
mod reader;
mod scan;
mod tail;
mod upkeep;
mod verify;
mod writer;

use std::{error::Error, io, time::Duration};

pub(crate) use cut::kept;
pub use disk::{Disk, DiskFile, RealDisk};
pub use frame::{MAX_GROUP_BYTES, MAX_GROUP_LINES, MAX_LINE_BYTES};
pub use index::SegmentInfo;
pub use merkle::{Hash, Tree, leaf, node};
pub use proofs::Proofs;
pub use reader::Reader;
pub(crate) use scan::{file_name, sealed_bytes};
pub use tail::{Damage, Fault};
pub(crate) use verify::verify_by_segment;
pub use verify::{Ending, Report, verify, verify_as, verify_lines};
pub use writer::Journal;
pub(crate) use writer::Room;

/// How a journal is laid out and looked after. `Options::default()` is what the product uses; tests make it small.
#[derive(Debug, Clone)]
pub struct Options {
    /// Length of a segment as it is laid down, in bytes; a multiple of 512.
    pub segment_bytes: u32,
    /// A segment is sealed before it would hold more entries than this.
    pub segment_entries: u32,
    /// A segment is sealed by the first group that comes this long after its first one, in milliseconds.
    pub segment_ms: i64,
    /// How long to wait before a failed laying down is tried again.
    pub retry: Duration,
    /// Of how many entries the root is wanted while they are read.
    pub root_at: Option<u64>,
    pub upkeep: Upkeep,
}

/// Who lays down segments and shortens sealed ones.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Upkeep {
    /// A thread of the journal's own.
    InBackground,
    /// Only `Journal::upkeep`, and an append that finds nothing laid. For tests that must repeat exactly.
    ByHand,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            segment_bytes: 4 << 20,
            segment_entries: 5_000,
            segment_ms: 24 * 60 * 60 * 1_000,
            retry: Duration::from_secs(10),
            root_at: None,
            upkeep: Upkeep::InBackground,
        }
    }
}

/// What opening had to do before the journal could be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recovery {
    /// The number of entries, which is the last `seq`; 0 for a new journal.
    pub entries: u64,
    /// The root that `Options::root_at` asked for; none where the journal has fewer entries.
    pub root_at: Option<Hash>,
    /// The end that a power cut tore off, kept beside the journal. The caller writes it down as the next entry.
    pub cut: Option<Cut>,
    /// All that was ever cut off and is still kept, this one included. A start that was interrupted after cutting
    /// could not write its entry, so the caller writes one for each that no entry names.
    pub kept: Vec<Cut>,
}

/// A group whose write was torn, so that it was never acknowledged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cut {
    pub segment: u32,
    /// Where the torn frame began in its segment, in bytes.
    pub offset: u64,
    /// How many bytes were kept.
    pub bytes: u64,
    /// The name of the file in `journal/` that keeps them; its last part is their CRC32C.
    pub file: String,
}

/// Why a journal cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    #[error("another rimebook has this data folder open; stop it first, or name another folder")]
    InUse,
    #[error("the journal is damaged: {0}")]
    Damaged(Damage),
    /// No segment, but what is only there after the first one.
    #[error(
        "this folder has {found} but no journal: it is not a new folder, and nothing was written into it. Restore the \
         whole folder from the newest copy that `rimebook verify` finds sound, or name an empty folder for a new log"
    )]
    NoJournal { found: &'static str },
    #[error("entry {seq} was not accepted")]
    Line {
        seq: u64,
        #[source]
        source: Box<dyn Error + Send + Sync>,
    },
    #[error("the journal cannot be read or written ({doing})")]
    Io {
        doing: String,
        #[source]
        source: io::Error,
    },
}

/// Why a group was not written. Only after `Stopped` is it unknown whether it is on the disk.
#[derive(Debug, thiserror::Error)]
pub enum AppendError {
    /// Nothing was written; laying down is tried again in the background. Answer 507.
    #[error("there is no room for a further segment of the journal: {why}")]
    NoSpace { why: String },
    /// A write or a barrier failed, now or earlier: nothing is written until the journal is opened again. Answer 503.
    #[error("writing to the journal stopped at entry {seq}: {why}")]
    Stopped { seq: u64, why: String },
    /// The caller's mistake; nothing was written.
    #[error("the group cannot be written: {0}")]
    Unfit(Unfit),
}

/// What makes a group no group.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    #[error("it has no lines")]
    NoLines,
    #[error("it has more than {MAX_GROUP_LINES} lines")]
    TooManyLines,
    #[error("it is longer than {MAX_GROUP_BYTES} bytes, or than a segment")]
    TooLong,
    #[error("line {0} of it is empty")]
    EmptyLine(usize),
    #[error("line {0} of it is longer than {MAX_LINE_BYTES} bytes")]
    LineTooLong(usize),
    #[error("line {0} of it holds a newline or a zero byte")]
    LineNotText(usize),
}
