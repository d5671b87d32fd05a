//! What a power cut tore off is kept in files of its own: `cut-<segment>-<byte>-<CRC32C of the content>.bin`.

use std::{io, path::Path};

use super::{Cut, Disk, scan::Torn};

const UNFINISHED: &str = "cut.tmp";

/// Keeps the torn bytes; durable when this returns. The same bytes again are kept once.
pub(super) fn keep(disk: &dyn Disk, folder: &Path, torn: &Torn) -> io::Result<Cut> {
    let (segment, offset) = (torn.segment, torn.extent.start as u64);
    let file = format!("cut-{segment:08}-{offset:08}-{:08x}.bin", crc32c::crc32c(&torn.bytes));
    let unfinished = folder.join(UNFINISHED);
    let written = disk.create(&unfinished)?;
    written.set_len(0)?;
    written.pwrite(&torn.bytes, 0)?;
    written.sync_all()?;
    disk.rename(&unfinished, &folder.join(&file))?;
    disk.sync_dir(folder)?;
    Ok(Cut { segment, offset, bytes: torn.bytes.len() as u64, file })
}

/// All that was ever cut off this journal and is still there, by segment and place.
pub(crate) fn kept(disk: &dyn Disk, folder: &Path) -> io::Result<Vec<Cut>> {
    let mut cuts = Vec::new();
    for file in disk.list(folder)? {
        if let Some((segment, offset, _)) = parts(&file) {
            let bytes = disk.open_to_read(&folder.join(&file))?.size()?;
            cuts.push(Cut { segment, offset, bytes, file });
        }
    }
    cuts.sort_by(|a, b| (a.segment, a.offset, &a.file).cmp(&(b.segment, b.offset, &b.file)));
    Ok(cuts)
}

/// Whether the file still holds what was cut off.
pub(super) fn is_sound(disk: &dyn Disk, folder: &Path, cut: &Cut) -> io::Result<bool> {
    let file = disk.open_to_read(&folder.join(&cut.file))?;
    let mut bytes = vec![0; usize::try_from(file.size()?).map_err(io::Error::other)?];
    let read = file.pread(&mut bytes, 0)?;
    bytes.truncate(read);
    Ok(parts(&cut.file).is_some_and(|(.., crc)| crc == crc32c::crc32c(&bytes)))
}

fn parts(file: &str) -> Option<(u32, u64, u32)> {
    let mut parts = file.strip_prefix("cut-")?.strip_suffix(".bin")?.split('-');
    let (segment, offset, crc) = (parts.next()?, parts.next()?, parts.next()?);
    let all = (segment.parse().ok()?, offset.parse().ok()?, u32::from_str_radix(crc, 16).ok()?);
    parts.next().is_none().then_some(all)
}
