//! Who makes checkpoints: the log's key, the newest checkpoint beside it, and what somebody else was seen to hold.

use std::{
    fs, io,
    path::{Path, PathBuf},
    sync::{Arc, Mutex, PoisonError},
};

use sha2::{Digest, Sha256};

use super::{
    Checkpoint,
    note::{Signer, Verifier},
};
use crate::{
    clock::Clock,
    journal::{Hash, Reader},
    private,
};

/// The key that signs; for the server's user alone.
const SECRET_KEY: &str = "log-key";
/// What others check with.
pub(crate) const PUBLIC_KEY: &str = "log-key.pub";
/// The newest checkpoint. Whoever deletes it loses nothing but that a start compares the log with it.
pub(crate) const KEPT: &str = "checkpoint";

/// Makes checkpoints over the log of one data folder.
pub(crate) struct Checkpoints {
    people: PathBuf,
    clock: Arc<dyn Clock>,
    signer: Mutex<Option<Arc<Signer>>>,
    newest: Mutex<Option<Signed>>,
    /// How many entries a checkpoint has that this log signed, and has no longer. Never held while the disk is waited for.
    ahead: Mutex<Option<u64>>,
    /// Held by whoever replaces the newest checkpoint on the disk.
    writing: Mutex<()>,
}

#[derive(Clone)]
struct Signed {
    over: Checkpoint,
    note: Arc<str>,
    is_kept: bool,
}

impl Checkpoints {
    pub(crate) fn open(data: &Path, clock: Arc<dyn Clock>) -> Checkpoints {
        let people = data.join("people");
        let (signer, newest, ahead, writing) = Default::default();
        Checkpoints { people, clock, signer, newest, ahead, writing }
    }

    /// The key that this log's checkpoints are checked with. It is made where there is none.
    pub(crate) fn key(&self) -> io::Result<Verifier> {
        Ok(self.signer()?.verifier())
    }

    /// The checkpoint over what the log has now.
    pub(crate) fn now(&self, reader: &Reader) -> io::Result<(Checkpoint, Arc<str>)> {
        let (size, root) = reader.head();
        let signed = self.signed(size, root)?;
        Ok((signed.over, signed.note))
    }

    /// Puts the newest checkpoint on the disk. Nothing is overwritten that has more than this log.
    pub(crate) fn keep(&self, reader: &Reader) -> io::Result<()> {
        let _writing = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        let (size, root) = reader.head();
        if size == 0 || self.ahead().is_some() {
            return Ok(());
        }
        let signed = self.signed(size, root)?;
        if !signed.is_kept {
            private::replace(&self.people.join(KEPT), signed.note.as_bytes())?;
            *self.newest() = Some(Signed { is_kept: true, ..signed });
        }
        Ok(())
    }

    /// The checkpoint that was kept last, if this log's key signed it. Any other is as good as none.
    pub(crate) fn kept(&self) -> io::Result<Option<Checkpoint>> {
        let Some(note) = private::read(&self.people.join(KEPT))? else { return Ok(None) };
        let Some(signer) = self.read_signer()? else { return Ok(None) };
        let note = String::from_utf8(note).unwrap_or_default();
        Ok(Checkpoint::opened(&note, &signer.verifier()).ok())
    }

    /// Somebody holds a checkpoint that this log signed over more entries than it has. The next start asks about it.
    pub(crate) fn is_behind(&self, seen: &Checkpoint, note: &str) -> io::Result<()> {
        let _writing = self.writing.lock().unwrap_or_else(PoisonError::into_inner);
        if self.ahead().is_none_or(|known| known < seen.size) {
            private::replace(&self.people.join(KEPT), note.as_bytes())?;
            *self.ahead.lock().unwrap_or_else(PoisonError::into_inner) = Some(seen.size);
        }
        Ok(())
    }

    /// Up to which entry this log was seen by others, where that is more than it has.
    pub(crate) fn ahead(&self) -> Option<u64> {
        *self.ahead.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A person knows that newer entries are lost. What comes now was never signed: it gets a key and a name of its own,
    /// and the key before never signs again.
    pub(crate) fn begin_anew(&self) -> io::Result<()> {
        let (secret, public) = (self.people.join(SECRET_KEY), self.people.join(PUBLIC_KEY));
        if let Some(signer) = self.read_signer()? {
            let old = signer.verifier();
            let short = old.name().rsplit_once('-').map_or("old", |(_, short)| short);
            private::replace(&self.people.join(format!("log-key-{short}.pub")), format!("{old}\n").as_bytes())?;
        }
        // The key first: broken off behind it, no start signs with it what it never saw.
        [secret, public, self.people.join(KEPT)].iter().try_for_each(|path| private::remove(path))?;
        *self.signer.lock().unwrap_or_else(PoisonError::into_inner) = None;
        *self.newest() = None;
        *self.ahead.lock().unwrap_or_else(PoisonError::into_inner) = None;
        Ok(())
    }

    fn newest(&self) -> std::sync::MutexGuard<'_, Option<Signed>> {
        self.newest.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn signed(&self, size: u64, root: Hash) -> io::Result<Signed> {
        let known = self.newest().clone();
        if let Some(signed) = known.filter(|signed| (signed.over.size, signed.over.root) == (size, root)) {
            return Ok(signed);
        }
        let signer = self.signer()?;
        let over = Checkpoint { origin: signer.verifier().name().to_owned(), size, root };
        let signed = Signed { note: signer.sign(&over.text()).into(), over, is_kept: false };
        let mut newest = self.newest();
        // Another thread may have come further meanwhile.
        if newest.as_ref().is_none_or(|newest| newest.over.size < size) {
            *newest = Some(signed.clone());
        }
        Ok(signed)
    }

    fn signer(&self) -> io::Result<Arc<Signer>> {
        let mut signer = self.signer.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(signer) = &*signer {
            return Ok(signer.clone());
        }
        let found = match self.read_signer()? {
            Some(found) => found,
            None => {
                let made = Signer::made(&self.clock.secret().map_err(io::Error::other)?, |key| {
                    let hash = Sha256::digest(key.as_bytes());
                    let short: String = hash.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
                    format!("rimebook/log-{short}")
                });
                private::replace(&self.people.join(SECRET_KEY), format!("{}\n", made.secret_text()).as_bytes())?;
                made
            }
        };
        let public = format!("{}\n", found.verifier());
        let path = self.people.join(PUBLIC_KEY);
        if fs::read(&path).ok().as_deref() != Some(public.as_bytes()) {
            private::replace(&path, public.as_bytes())?;
        }
        Ok(signer.insert(Arc::new(found)).clone())
    }

    fn read_signer(&self) -> io::Result<Option<Signer>> {
        let path = self.people.join(SECRET_KEY);
        let Some(text) = private::read(&path)? else { return Ok(None) };
        let signer = std::str::from_utf8(&text).ok().and_then(Signer::parse);
        let why = || {
            format!("{} holds no key: restore it from a backup, or take it away and a new one is made", path.display())
        };
        signer.map(Some).ok_or_else(|| io::Error::other(why()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SetClock;
    use crate::{
        journal::{Journal, Options, RealDisk},
        testing::START,
    };

    fn log(folder: &Path, lines: u64) -> Reader {
        let (mut journal, _) = Journal::open(Arc::new(RealDisk), folder, Options::default(), |_, _| Ok(())).unwrap();
        for line in journal.reader().last_seq()..lines {
            journal.append(&[format!("{{\"line\":{line}}}").into_bytes()], START.0).unwrap();
        }
        journal.reader()
    }

    fn checkpoints(folder: &Path) -> Checkpoints {
        Checkpoints::open(folder, Arc::new(SetClock::new(START)))
    }

    #[test]
    fn a_key_is_made_once_and_another_start_signs_with_it() {
        let folder = tempfile::tempdir().unwrap();
        let reader = log(folder.path(), 3);
        let first = checkpoints(folder.path());
        let (over, note) = first.now(&reader).unwrap();
        assert_eq!((over.size, over.root), reader.head());
        first.keep(&reader).unwrap();
        let second = checkpoints(folder.path());
        assert_eq!(second.kept().unwrap(), Some(over.clone()));
        assert_eq!(second.now(&reader).unwrap(), (over.clone(), note.clone()));
        let public = fs::read_to_string(folder.path().join("people/log-key.pub")).unwrap();
        assert_eq!(Checkpoint::opened(&note, &Verifier::parse(&public).unwrap()), Ok(over));
    }

    #[test]
    fn a_checkpoint_that_another_key_signed_or_nobody_can_read_is_as_good_as_none() {
        let folder = tempfile::tempdir().unwrap();
        let reader = log(folder.path(), 1);
        let own = checkpoints(folder.path());
        own.keep(&reader).unwrap();
        for kept in ["", "noise\n", "a\n1\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\n\n— a AAAAAAAA\n"] {
            fs::write(folder.path().join("people/checkpoint"), kept).unwrap();
            assert_eq!(checkpoints(folder.path()).kept().unwrap(), None);
        }
        fs::write(folder.path().join("people/checkpoint"), own.now(&reader).unwrap().1.as_bytes()).unwrap();
        assert!(checkpoints(folder.path()).kept().unwrap().is_some());
        fs::remove_file(folder.path().join("people/checkpoint")).unwrap();
        assert_eq!(checkpoints(folder.path()).kept().unwrap(), None);
    }

    #[test]
    fn beginning_anew_that_breaks_off_never_leaves_the_old_key_without_what_it_signed() {
        let folder = tempfile::tempdir().unwrap();
        let own = checkpoints(folder.path());
        own.keep(&log(folder.path(), 2)).unwrap();
        // A file that can't be taken away stands for a power cut.
        let people = folder.path().join("people");
        fs::remove_file(people.join(PUBLIC_KEY)).unwrap();
        fs::create_dir(people.join(PUBLIC_KEY)).unwrap();
        assert!(own.begin_anew().is_err());
        assert!(!people.join(SECRET_KEY).exists() && people.join(KEPT).exists());
    }

    #[test]
    fn how_far_others_have_seen_it_is_told_while_a_checkpoint_is_on_its_way_to_the_disk() {
        let folder = tempfile::tempdir().unwrap();
        let (own, reader) = (Arc::new(checkpoints(folder.path())), log(folder.path(), 2));
        own.key().unwrap();
        // A pipe that nobody reads stands for a disk that does not answer.
        let part = folder.path().join("people/checkpoint.part");
        let mode = rustix::fs::Mode::from_raw_mode(0o600);
        rustix::fs::mknodat(rustix::fs::CWD, &part, rustix::fs::FileType::Fifo, mode, 0).unwrap();
        let keeping = own.clone();
        let keeping = std::thread::spawn(move || keeping.keep(&reader));
        while own.newest().is_none() {
            std::thread::yield_now();
        }
        let (to, told) = std::sync::mpsc::channel();
        let asked = own.clone();
        let asking = std::thread::spawn(move || to.send(asked.ahead()));
        let answer = told.recv_timeout(std::time::Duration::from_secs(5));
        let both_ends = fs::OpenOptions::new().read(true).write(true).open(&part).unwrap();
        // A pipe can't be synced.
        assert!(keeping.join().unwrap().is_err());
        drop(both_ends);
        let _ = asking.join().unwrap();
        assert_eq!(answer, Ok(None));
    }

    #[test]
    fn what_was_signed_over_more_is_never_overwritten_until_somebody_begins_anew() {
        let folder = tempfile::tempdir().unwrap();
        let (long, short) = (tempfile::tempdir().unwrap(), log(folder.path(), 2));
        let own = checkpoints(folder.path());
        let (seen, note) = own.now(&log(long.path(), 5)).unwrap();
        own.is_behind(&seen, &note).unwrap();
        assert_eq!(own.ahead(), Some(5));
        own.keep(&short).unwrap();
        assert_eq!(own.kept().unwrap().map(|kept| kept.size), Some(5));
        let name = seen.origin;
        own.begin_anew().unwrap();
        own.keep(&short).unwrap();
        let kept = own.kept().unwrap().unwrap();
        assert_eq!(kept.size, 2);
        assert_ne!(kept.origin, name, "a key signed two logs");
        let left = name.rsplit_once('-').unwrap().1.to_owned();
        let old = fs::read_to_string(folder.path().join(format!("people/log-key-{left}.pub"))).unwrap();
        assert!(Checkpoint::opened(&note, &Verifier::parse(&old).unwrap()).is_ok());
    }
}
