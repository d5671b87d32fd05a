//! One group as bytes: a header of 72 bytes, then the lines, each ended by a newline. All numbers little-endian.
//!
//! ```text
//!  0  4  magic "RbJ\n"                    24  8  recorded at, milliseconds since 1970
//!  4  2  version of this layout, 1        32 32  root of all lines before this frame
//!  6  2  number of lines, 0 to 512        64  4  CRC32C of the lines
//!  8  4  segment                          68  4  CRC32C of the header before this field
//! 12  4  length of the lines in bytes
//! 16  8  seq of the first line (or of the next one, if there is none)
//! ```
//! A frame starts on a multiple of 512 bytes, and what is left of its last sector stays zero. A line never holds a
//! zero byte, so a sector of a frame that was written is never all zeros: that is how a torn write is known.

use super::{Unfit, merkle::Hash};

/// What a disk writes whole or not at all, in bytes. An assumption, and the only one about the disk.
pub(super) const SECTOR: usize = 512;
pub(super) const HEADER_BYTES: usize = 72;
/// The longest group, in lines.
pub const MAX_GROUP_LINES: usize = 512;
/// The longest group, in bytes, newlines included.
pub const MAX_GROUP_BYTES: usize = 1 << 20;
/// The longest line, in bytes, without its newline.
pub const MAX_LINE_BYTES: usize = 512 << 10;

const MAGIC: [u8; 4] = *b"RbJ\n";
const VERSION: u16 = 1;

#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Header {
    pub(super) lines: u16,
    pub(super) segment: u32,
    pub(super) body_bytes: u32,
    pub(super) first_seq: u64,
    pub(super) recorded_ms: i64,
    pub(super) root_before: Hash,
    pub(super) body_crc: u32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NoHeader {
    Unreadable,
    OtherVersion(u16),
}

impl Header {
    pub(super) fn encode(&self) -> [u8; HEADER_BYTES] {
        let fields: [&[u8]; 9] = [
            &MAGIC,
            &VERSION.to_le_bytes(),
            &self.lines.to_le_bytes(),
            &self.segment.to_le_bytes(),
            &self.body_bytes.to_le_bytes(),
            &self.first_seq.to_le_bytes(),
            &self.recorded_ms.to_le_bytes(),
            &self.root_before,
            &self.body_crc.to_le_bytes(),
        ];
        let mut bytes = [0; HEADER_BYTES];
        for (to, from) in bytes.iter_mut().zip(fields.iter().copied().flatten()) {
            *to = *from;
        }
        if let Some((covered, crc)) = bytes.split_last_chunk_mut() {
            *crc = crc32c::crc32c(covered).to_le_bytes();
        }
        bytes
    }

    pub(super) fn decode(bytes: &[u8]) -> Result<Self, NoHeader> {
        let (header, _) = bytes.split_first_chunk::<HEADER_BYTES>().ok_or(NoHeader::Unreadable)?;
        let (covered, crc) = header.split_last_chunk().ok_or(NoHeader::Unreadable)?;
        if u32::from_le_bytes(*crc) != crc32c::crc32c(covered) {
            return Err(NoHeader::Unreadable);
        }
        let mut rest = covered;
        if take(&mut rest)? != MAGIC {
            return Err(NoHeader::Unreadable);
        }
        match u16::from_le_bytes(take(&mut rest)?) {
            VERSION => {}
            other => return Err(NoHeader::OtherVersion(other)),
        }
        Ok(Self {
            lines: u16::from_le_bytes(take(&mut rest)?),
            segment: u32::from_le_bytes(take(&mut rest)?),
            body_bytes: u32::from_le_bytes(take(&mut rest)?),
            first_seq: u64::from_le_bytes(take(&mut rest)?),
            recorded_ms: i64::from_le_bytes(take(&mut rest)?),
            root_before: take(&mut rest)?,
            body_crc: u32::from_le_bytes(take(&mut rest)?),
        })
    }
}

fn take<const N: usize>(rest: &mut &[u8]) -> Result<[u8; N], NoHeader> {
    let (field, after) = rest.split_first_chunk().ok_or(NoHeader::Unreadable)?;
    *rest = after;
    Ok(*field)
}

/// The length of these lines as a frame's body, or why they are no group.
pub(super) fn body_bytes<L: AsRef<[u8]>>(lines: &[L]) -> Result<usize, Unfit> {
    if lines.is_empty() {
        return Err(Unfit::NoLines);
    }
    if lines.len() > MAX_GROUP_LINES {
        return Err(Unfit::TooManyLines);
    }
    let mut bytes = 0;
    for (place, line) in lines.iter().map(AsRef::as_ref).enumerate() {
        if line.is_empty() {
            return Err(Unfit::EmptyLine(place));
        }
        if line.len() > MAX_LINE_BYTES {
            return Err(Unfit::LineTooLong(place));
        }
        // A fold that always reaches the end: the compiler makes it many bytes at a time.
        if line.iter().fold(false, |found, &byte| found | (byte == b'\n') | (byte == 0)) {
            return Err(Unfit::LineNotText(place));
        }
        bytes += line.len() + 1;
    }
    if bytes > MAX_GROUP_BYTES { Err(Unfit::TooLong) } else { Ok(bytes) }
}

/// The next multiple of a sector.
pub(super) fn whole_sectors(bytes: usize) -> usize {
    bytes.next_multiple_of(SECTOR)
}

/// The place of the first byte that is not zero.
pub(super) fn first_set_byte(bytes: &[u8]) -> Option<usize> {
    // Whole sectors are compared first, because that is fast, and nearly all of them are zero.
    let sector = bytes.chunks(SECTOR).position(|sector| !is_zero(sector))?;
    let start = sector * SECTOR;
    let within = bytes.get(start..)?.iter().position(|byte| *byte != 0)?;
    Some(start + within)
}

pub(super) fn is_zero(sector: &[u8]) -> bool {
    const ZEROS: [u8; SECTOR] = [0; SECTOR];
    ZEROS.get(..sector.len()) == Some(sector)
}
