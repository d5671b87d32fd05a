//! A frame that cannot be read: was its write torn by a power cut, or is it damaged? Only the first may be cut away.

use std::{fmt, ops::Range};

use super::frame::{HEADER_BYTES, MAX_GROUP_BYTES, SECTOR, first_set_byte, is_zero, whole_sectors};

/// What is wrong, and where. Its text says what a person should do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    pub segment: u32,
    /// Bytes from the start of the segment: of the frame that cannot be trusted, or of the very byte if it is known.
    pub offset: u64,
    /// The first entry that may be affected; one more than the last entry if it is the space behind the end.
    pub seq: u64,
    pub fault: Fault,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    #[error("the file of this segment is missing")]
    Missing,
    #[error(
        "the segment before this one is sealed, which is done only once the first group of this one is on the disk, but \
         there is no such group in it"
    )]
    Lost,
    #[error("the file is longer than any segment")]
    FileTooLong,
    #[error("the file ends in the middle of a frame")]
    FileTooShort,
    #[error("the header of a frame does not fit its checksum")]
    Header,
    #[error("a frame was written in version {0} of the layout, which this program cannot read; use a newer program")]
    Version(u16),
    #[error("the lines of a frame ({0} of them) do not fit their checksum")]
    Lines(u16),
    #[error("a frame's header fits its checksum, but not its lines")]
    Shape,
    #[error("a frame says that it belongs to segment {0}")]
    OtherSegment(u32),
    #[error("a frame starts with entry {0}")]
    OtherSeq(u64),
    #[error("the entries before this frame are not those that were there when it was written (its root differs)")]
    Root,
    #[error("a bit is set in space that was laid down with zeros and never written")]
    SetBit,
    #[error("something stands where nothing was written yet")]
    Stray,
    #[error("an unreadable frame is followed by further ones, so it was written whole once")]
    Followed,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { segment, offset, seq, fault } = self;
        write!(
            f,
            "journal/{segment:08}.log, byte {offset}, from entry {seq} on: {fault}. This is no torn write, so nothing \
             was cut away and nothing was changed. Keep a copy of the data folder as it is, do not edit or delete \
             anything in it, look after the disk, and restore the folder from the newest copy that `rimebook verify` \
             finds sound; if there is none, call whoever looks after this server"
        )
    }
}

/// Judges the unreadable frame at `start`. `body_bytes` is its length if its header can be read. The answer is what a
/// torn write may have touched, or the fault and its offset. `bytes` is the whole segment.
pub(super) fn judge(
    bytes: &[u8],
    start: usize,
    body_bytes: Option<usize>,
    fault: Fault,
) -> Result<Range<usize>, (usize, Fault)> {
    let behind = bytes.get(start..).unwrap_or_default();
    if let Some(offset) = lonely_bit(behind) {
        return Err((start + offset, Fault::SetBit));
    }
    let used = behind.chunks(SECTOR).rposition(|sector| !is_zero(sector)).map_or(0, |last| (last + 1) * SECTOR);
    let longest = whole_sectors(HEADER_BYTES + body_bytes.unwrap_or(MAX_GROUP_BYTES));
    if used > longest {
        return Err((start, Fault::Followed));
    }
    let extent = if body_bytes.is_some() { longest } else { used };
    let torn = behind.get(..extent.min(behind.len())).unwrap_or_default();
    if torn.chunks(SECTOR).any(is_zero) { Ok(start..start + torn.len()) } else { Err((start, fault)) }
}

/// The place of a bit that stands alone in its sector. No write leaves that: a sector of a header has many bits, and
/// one of lines ends in a newline, which alone has two.
pub(super) fn lonely_bit(bytes: &[u8]) -> Option<usize> {
    bytes.chunks(SECTOR).enumerate().find_map(|(sector, chunk)| {
        let place = first_set_byte(chunk)?;
        let bits: u32 = chunk.iter().map(|byte| byte.count_ones()).sum();
        (bits == 1).then_some(sector * SECTOR + place)
    })
}
