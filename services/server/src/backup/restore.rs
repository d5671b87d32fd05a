//! The way back: a backup into a new data folder, checked before it is put in place.

use std::{
    fs, io,
    path::{Path, PathBuf},
    sync::Arc,
};

use super::beside;
use super::{
    manifest::{Manifest, NAME, hex},
    view::View,
};
use crate::{
    checkpoint::{Checkpoint, Checkpoints, PUBLIC_KEY, Verifier},
    clock::SystemClock,
    journal::{Disk, Hash, OpenError, Options, RealDisk, Report, Tree, leaf, verify_by_segment},
};

/// What was put in place.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Restored {
    /// The number of entries, which is the last `seq`.
    pub entries: u64,
    /// When the backup was taken, RFC 3339.
    pub taken_at: String,
    /// Up to which entry others have seen the log, where that is more than there is.
    pub behind: Option<u64>,
}

/// Why there is no new data folder.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    #[error("it is no backup: it has no {NAME}")]
    NoBackup,
    #[error("{NAME} can't be read")]
    Manifest(#[source] io::Error),
    #[error("{} has something in it; a backup is restored into an empty folder or a new one", .0.display())]
    NotEmpty(PathBuf),
    #[error("the backup is damaged; nothing was put in place.\n{0}")]
    Damaged(Box<Report>),
    #[error(
        "the backup is sound, and not what {NAME} says it is: {said} entries under root {root}; nothing was put in place"
    )]
    Other { said: u64, root: String },
    #[error("{path} is missing in the backup, or is not what it was; nothing was put in place")]
    File { path: String },
    #[error("the backup has no key of the log (people/{PUBLIC_KEY}), so no checkpoint can be held against it")]
    NoKey,
    #[error("{0}")]
    NoCheckpoint(String),
    #[error(
        "others have seen {seen} entries of this log, and the backup has {has}: a newer one is better. If there is none, and \
         you know that the rest is lost, say --behind-is-known: the log goes on under a new key; nothing was put in place"
    )]
    Behind { seen: u64, has: u64 },
    #[error(
        "the first {size} entries of the backup are not those of the checkpoint: it is of another log, or was changed; nothing \
         was put in place"
    )]
    OtherLog { size: u64 },
    #[error("the journal can't be read")]
    Journal(#[from] OpenError),
    #[error("{doing} failed")]
    Io {
        doing: String,
        #[source]
        source: io::Error,
    },
}

fn while_doing(doing: &str, path: &Path) -> impl FnOnce(io::Error) -> RestoreError + use<> {
    let doing = format!("{doing} {}", path.display());
    |source| RestoreError::Io { doing, source }
}

/// What is in a backup: the report of its journal, and when it was taken. `None` if the folder is no backup.
pub(crate) fn looked_at(
    from: &Path,
    on_line: &mut dyn FnMut(u64, &[u8]),
) -> Result<Option<(Report, String)>, RestoreError> {
    let Some(manifest) = Manifest::read(from).map_err(RestoreError::Manifest)? else { return Ok(None) };
    let report = sound(&View { manifest: &manifest }, from, &manifest, on_line)?;
    manifest.beside.iter().try_for_each(|(path, hash)| beside::kept(from, path, hash).map(|_| ()))?;
    Ok(Some((report, manifest.taken_at)))
}

/// What others have seen of the log.
#[derive(Clone, Default, Debug)]
pub struct Seen {
    /// Signed checkpoints, as devices and sheets of paper have them.
    pub checkpoints: Vec<String>,
    /// A person knows that the backup has less.
    pub behind_is_known: bool,
}

/// Restores the backup in the folder `from` as the data folder `data`.
pub fn restore(from: &Path, data: &Path) -> Result<Restored, RestoreError> {
    restore_as(from, data, &Seen::default())
}

/// The same, unless others have seen more, or another log.
pub fn restore_as(from: &Path, data: &Path, seen: &Seen) -> Result<Restored, RestoreError> {
    let manifest = Manifest::read(from).map_err(RestoreError::Manifest)?.ok_or(RestoreError::NoBackup)?;
    let view = View { manifest: &manifest };
    empty(data)?;
    let seen_of_it = opened(from, &manifest, &seen.checkpoints)?;
    let mut roots = Roots { wanted: &seen_of_it, tree: Tree::default(), found: Vec::new() };
    sound(&view, from, &manifest, &mut |_, line| roots.line(line))?;
    let behind = roots.judge(manifest.entries)?;
    if let Some(seen) = behind.filter(|_| !seen.behind_is_known) {
        return Err(RestoreError::Behind { seen, has: manifest.entries });
    }
    // A restore that was broken off left only what it had copied.
    let mut part = data.as_os_str().to_owned();
    part.push(".restoring");
    let part = PathBuf::from(part);
    match fs::remove_dir_all(&part) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(while_doing("emptying", &part)(error)),
        _ => {}
    }
    let folder = part.join("journal");
    RealDisk.create_dir(&folder).map_err(while_doing("making", &folder))?;
    for (name, bytes) in &manifest.files {
        let to = folder.join(name);
        let copied = || -> io::Result<()> {
            let mut read = vec![0; usize::try_from(*bytes).map_err(io::Error::other)?];
            if view.open_to_read(&from.join("journal").join(name))?.pread(&mut read, 0)? != read.len() {
                return Err(io::ErrorKind::UnexpectedEof.into());
            }
            let file = RealDisk.create(&to)?;
            file.pwrite(&read, 0)?;
            file.set_len(view.size(name, *bytes))?;
            file.sync_all()
        };
        copied().map_err(while_doing("copying to", &to))?;
    }
    RealDisk.sync_dir(&folder).map_err(while_doing("keeping", &folder))?;
    beside::put_back(from, &manifest.beside, &part)?;
    if behind.is_some() {
        let anew = Checkpoints::open(&part, Arc::new(SystemClock::new())).begin_anew();
        anew.map_err(while_doing("taking the key away in", &part))?;
    }
    RealDisk.sync_dir(&part).map_err(while_doing("keeping", &part))?;
    sound(&RealDisk, &part, &manifest, &mut |_, _| ())?;
    put_in_place(&part, data).map_err(while_doing("putting in place", data))?;
    Ok(Restored { entries: manifest.entries, taken_at: manifest.taken_at, behind })
}

/// What the log's own key signed, of what others have.
fn opened(from: &Path, manifest: &Manifest, notes: &[String]) -> Result<Vec<Checkpoint>, RestoreError> {
    if notes.is_empty() {
        return Ok(Vec::new());
    }
    let path = format!("people/{PUBLIC_KEY}");
    let hash = manifest.beside.get(&path).ok_or(RestoreError::NoKey)?;
    let text = String::from_utf8(beside::kept(from, &path, hash)?).unwrap_or_default();
    let key = Verifier::parse(&text).ok_or(RestoreError::NoKey)?;
    let open =
        |note: &String| Checkpoint::opened(note, &key).map_err(|why| RestoreError::NoCheckpoint(why.to_string()));
    notes.iter().map(open).collect()
}

/// The roots that checkpoints stand for, as the log is read.
struct Roots<'a> {
    wanted: &'a [Checkpoint],
    tree: Tree,
    found: Vec<(u64, Hash)>,
}

impl Roots<'_> {
    fn line(&mut self, line: &[u8]) {
        if self.wanted.is_empty() {
            return;
        }
        self.tree.push(leaf(line));
        let size = self.tree.size();
        if self.wanted.iter().any(|one| one.size == size) {
            self.found.push((size, self.tree.root()));
        }
    }

    /// Up to which entry somebody has seen the log, where that is more than it has.
    fn judge(&self, has: u64) -> Result<Option<u64>, RestoreError> {
        let differs =
            |one: &&Checkpoint| one.size != 0 && one.size <= has && !self.found.contains(&(one.size, one.root));
        match self.wanted.iter().find(differs) {
            Some(other) => Err(RestoreError::OtherLog { size: other.size }),
            None => Ok(self.wanted.iter().map(|one| one.size).max().filter(|seen| has < *seen)),
        }
    }
}

fn put_in_place(part: &Path, data: &Path) -> io::Result<()> {
    match fs::remove_dir(data) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
        _ => fs::rename(part, data)?,
    }
    let above = data.parent().filter(|above| !above.as_os_str().is_empty()).unwrap_or(Path::new("."));
    RealDisk.sync_dir(above)
}

fn empty(data: &Path) -> Result<(), RestoreError> {
    match RealDisk.list(data) {
        Ok(names) if names.is_empty() => Ok(()),
        Ok(_) => Err(RestoreError::NotEmpty(data.to_owned())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        Err(error) => Err(while_doing("listing", data)(error)),
    }
}

/// Read whole, undamaged, and what the manifest says.
fn sound(
    disk: &dyn Disk,
    folder: &Path,
    manifest: &Manifest,
    on_line: &mut dyn FnMut(u64, &[u8]),
) -> Result<Report, RestoreError> {
    let options = Options { segment_bytes: manifest.segment_bytes, ..Options::default() };
    let report = verify_by_segment(disk, folder, &options, on_line, &mut |_, _, _| ())?;
    if !report.is_sound() {
        return Err(RestoreError::Damaged(Box::new(report)));
    }
    match report.entries == manifest.entries && hex(&report.root) == manifest.root {
        true => Ok(report),
        false => Err(RestoreError::Other { said: manifest.entries, root: manifest.root.clone() }),
    }
}
