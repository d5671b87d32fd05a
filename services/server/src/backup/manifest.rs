//! `backup.json`: what of the files in a backup belongs to it.

use std::{collections::BTreeMap, fs, io, path::Path};

use serde::{Deserialize, Serialize};

use super::beside::{self, Beside};
use crate::journal::{Disk, Hash, RealDisk};

pub(super) const NAME: &str = "backup.json";
pub(super) const UNFINISHED: &str = "backup.json.part";
pub(super) const FORMAT: &str = "rimebook-backup.v2";
/// Without what stands beside the journal.
const JOURNAL_ALONE: &str = "rimebook-backup.v1";

#[derive(Serialize, Deserialize, Clone, PartialEq, Eq, Debug)]
#[serde(deny_unknown_fields)]
pub(super) struct Manifest {
    pub(super) format: String,
    /// The number of entries, which is the last `seq`.
    pub(super) entries: u64,
    /// The root over all of them, in hex.
    pub(super) root: String,
    /// When it was taken, RFC 3339.
    pub(super) taken_at: String,
    /// How long a segment is as it is laid down.
    pub(super) segment_bytes: u32,
    /// How many bytes of each file of `journal/` belong to the backup.
    pub(super) files: BTreeMap<String, u64>,
    /// By its path in the data folder, the SHA-256 of each file of `people/` and `blobs/`.
    #[serde(default)]
    pub(super) beside: Beside,
}

impl Manifest {
    /// Nothing, where there is none.
    pub(super) fn read(folder: &Path) -> io::Result<Option<Manifest>> {
        let text = match fs::read(folder.join(NAME)) {
            Ok(text) => text,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error),
        };
        let manifest: Manifest = serde_json::from_slice(&text).map_err(io::Error::other)?;
        let is_known = [FORMAT, JOURNAL_ALONE].contains(&manifest.format.as_str());
        match is_known && manifest.files.keys().all(|name| is_plain(name)) && beside::are_plain(&manifest.beside) {
            true => Ok(Some(manifest)),
            false => Err(io::Error::other(format!("it is not of the format {FORMAT}"))),
        }
    }

    /// Replaces the one before; durable when this returns.
    pub(super) fn write(&self, folder: &Path) -> io::Result<()> {
        let text = serde_json::to_vec_pretty(self).map_err(io::Error::other)?;
        let part = folder.join(UNFINISHED);
        let file = RealDisk.create(&part)?;
        file.set_len(0)?;
        file.pwrite(&text, 0)?;
        file.sync_all()?;
        RealDisk.rename(&part, &folder.join(NAME))?;
        RealDisk.sync_dir(folder)
    }
}

/// A name and no path.
fn is_plain(name: &str) -> bool {
    !name.is_empty() && !name.starts_with('.') && !name.contains(['/', '\\', '\0'])
}

pub(super) fn hex(root: &Hash) -> String {
    root.iter().map(|byte| format!("{byte:02x}")).collect()
}
