//! People, their devices and programs: who they are, and how they show it. What they may do stands in the log; here are
//! names, hashes and keys, and who is signed in. None of it is ever written to the log, to `sled` or to standard error.

mod codes;
mod feeds;
mod limits;
mod one_time;
mod password;
mod proving;
mod secret;
mod sessions;
mod store;
mod tries;

use crate::clock::{Clock, NoSecret};
use shared_types::{Code, Instant, KnownBy};
use std::{
    collections::HashMap,
    io,
    path::{Path, PathBuf},
    sync::{
        Arc, Mutex, MutexGuard, PoisonError, RwLock,
        atomic::{AtomicBool, Ordering},
    },
};
use tokio::sync::Semaphore;

pub(crate) use codes::{Codes, ENROLMENT_MS, Enrolment, For, INVITATION_MS, Waiting};
pub(crate) use feeds::MOST as MOST_FEEDS;
pub(crate) use limits::Limits;
pub(crate) use one_time::address as one_time_address;
pub(crate) use proving::{NotProven, Proven, Shows};
pub(crate) use secret::{BADGE, DEVICE, Hashed, PROGRAM};
pub(crate) use sessions::{SITTING_MS, Session, Sessions, Sitting};
pub(crate) use store::{Kept, Program};
use tries::Tries;

/// A minute, within which the same is not written twice.
const FOLDED_MS: i64 = 60 * 1_000;
/// So much is remembered of what was written lately.
const MOST_FOLDED: usize = 4_096;

/// Everything about people that is no history.
pub struct People {
    data: PathBuf,
    clock: Arc<dyn Clock>,
    kept: RwLock<Arc<Kept>>,
    /// One change at a time; nobody who reads waits for it.
    changing: Mutex<()>,
    pub(crate) sessions: Sessions,
    pub(crate) codes: Codes,
    pub(crate) limits: Limits,
    /// The same of an address of the calendar.
    pub(crate) feed_limits: Limits,
    tries: Tries,
    /// The last time step of which a one-time code was used.
    used: Mutex<HashMap<Code, u64>>,
    folded: Mutex<HashMap<(Code, String), Instant>>,
    /// A password takes 19 MiB and some hundredths of a second: so many are looked at at a time.
    pub(crate) hashing: Semaphore,
    /// Whether the log has an administrator. Once it has one it stays so.
    set_up: AtomicBool,
    /// Whether the yard's own network may ask what may be used without signing in.
    open_questions: AtomicBool,
}

#[derive(Debug, thiserror::Error)]
pub(crate) enum NotKept {
    #[error("{0}")]
    Disk(#[from] io::Error),
    #[error(transparent)]
    NoSecret(#[from] NoSecret),
    #[error(transparent)]
    Hash(#[from] password::NotHashed),
}

impl People {
    /// Reads what is kept in this data folder; makes nothing.
    pub(crate) fn open(data: &Path, clock: Arc<dyn Clock>) -> io::Result<People> {
        let kept = store::read(data)?;
        let codes = Codes::default();
        if let Some(hash) = kept.set_up {
            codes.expect(hash, For::SetUp, None);
        }
        Ok(People {
            data: data.to_owned(),
            limits: Limits::of_programs(clock.clone()),
            feed_limits: Limits::of_feeds(clock.clone()),
            clock,
            kept: RwLock::new(Arc::new(kept)),
            changing: Mutex::default(),
            sessions: Sessions::default(),
            codes,
            tries: Tries::default(),
            used: Mutex::default(),
            folded: Mutex::default(),
            hashing: Semaphore::new(2),
            set_up: AtomicBool::new(false),
            open_questions: AtomicBool::new(false),
        })
    }

    pub(crate) fn is_set_up(&self) -> bool {
        self.set_up.load(Ordering::Acquire)
    }

    pub(crate) fn set_up(&self) {
        self.set_up.store(true, Ordering::Release);
    }

    /// Lets the yard's own network ask what may be used without signing in.
    pub fn open_questions(&self) {
        self.open_questions.store(true, Ordering::Release);
    }

    pub(crate) fn has_open_questions(&self) -> bool {
        self.open_questions.load(Ordering::Acquire)
    }

    /// What is kept now.
    pub(crate) fn kept(&self) -> Arc<Kept> {
        self.kept.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Changes what is kept: on the disk first, then here. It waits for the disk.
    pub(crate) fn change(&self, change: impl FnOnce(&mut Kept)) -> Result<(), NotKept> {
        let _one_at_a_time = lock(&self.changing);
        let mut kept = Kept::clone(&self.kept());
        change(&mut kept);
        store::replace(&self.data, &kept)?;
        *self.kept.write().unwrap_or_else(PoisonError::into_inner) = Arc::new(kept);
        Ok(())
    }

    /// A code that sets the yard up, as long as this server runs.
    pub fn new_set_up_code(&self) -> Result<String, NoSecret> {
        self.codes.make(For::SetUp, None, self.clock.as_ref())
    }

    /// A set-up code that was made beside the stopped server waits to be used.
    pub(crate) fn awaits_set_up(&self) -> bool {
        self.kept().set_up.is_some()
    }

    /// Leaves it in a file that only this user can read, for who does not see the terminal. The answer is where.
    pub(crate) fn leave_code(&self, code: &str) -> io::Result<PathBuf> {
        store::leave_code(&self.data, code)?;
        Ok(self.data.join("people").join(store::CODE_FILE))
    }

    /// The set-up code was used: it is nowhere any more.
    pub(crate) fn forget_set_up_code(&self) -> Result<(), NotKept> {
        store::forget_code(&self.data)?;
        if self.kept().set_up.is_some() {
            self.change(|kept| kept.set_up = None)?;
        }
        Ok(())
    }

    /// A set-up code made beside a stopped server, for who lost everything else.
    pub(crate) fn reset(&self) -> Result<String, NotKept> {
        let code = self.new_set_up_code()?;
        self.change(|kept| kept.set_up = Some(Hashed::of(&code)))?;
        Ok(code)
    }

    /// What is wrong with a new password, in a sentence.
    pub(crate) fn wrong_password(password: &str, badge: &Code, name: &str) -> Option<String> {
        password::wrong(password, badge.as_str(), name)
    }

    /// Keeps somebody's own sign-in. The name may be given before, by who invited them.
    pub(crate) fn keep_sign_in(
        &self,
        badge: &Code,
        name: &str,
        password: &str,
        one_time: Option<String>,
    ) -> Result<(), NotKept> {
        let hash = password::hash(password, self.clock.as_ref())?;
        self.change(|kept| {
            let person = kept.people.entry(badge.to_string()).or_default();
            if !name.trim().is_empty() {
                person.name = name.trim().to_owned();
            }
            person.password = Some(hash);
            person.one_time = one_time;
        })?;
        self.end_sessions(badge);
        Ok(())
    }

    /// Whether this code is that of the secret now; it can't be used a second time.
    pub(crate) fn one_time_fits(&self, badge: &Code, secret: &str, code: &str) -> bool {
        match one_time::step_of(secret, code, self.clock.now(), None) {
            Some(step) => {
                lock(&self.used).insert(badge.clone(), step);
                true
            }
            None => false,
        }
    }

    /// A new symbol for a badge, shown this once; the old one opens nothing any more.
    pub(crate) fn new_badge(&self, badge: &Code) -> Result<String, NotKept> {
        let symbol = secret::badge(self.clock.as_ref())?;
        let hash = Hashed::of(&symbol);
        self.change(|kept| kept.people.entry(badge.to_string()).or_default().badge = Some(hash))?;
        self.sessions.end_all(|session| session.badge == *badge && session.known == KnownBy::Badge);
        self.sessions.stands_beside_nobody(badge);
        Ok(symbol)
    }

    /// Withdraws a name, and all that somebody signs in with.
    pub(crate) fn withdraw(&self, badge: &Code) -> Result<(), NotKept> {
        self.change(|kept| {
            kept.people.remove(badge.as_str());
            kept.feeds.retain(|_, feed| feed.badge != badge.as_str());
        })?;
        self.codes.forget(badge);
        self.end_sessions(badge);
        Ok(())
    }

    /// Ends whatever somebody began with this badge, and where they stand beside others; says how many sessions there were.
    pub(crate) fn end_sessions(&self, badge: &Code) -> usize {
        self.sessions.stands_beside_nobody(badge);
        self.sessions.end_all(|session| session.badge == *badge)
    }

    /// A token for a device, shown this once.
    pub(crate) fn keep_device(&self, device: &Code) -> Result<String, NotKept> {
        let token = secret::token(DEVICE, self.clock.as_ref())?;
        let hash = Hashed::of(&token);
        self.change(|kept| {
            kept.devices.insert(device.to_string(), hash);
        })?;
        self.sessions.end_all(|session| session.device.as_ref() == Some(device));
        Ok(token)
    }

    /// A token for a program, shown this once.
    pub(crate) fn keep_program(&self, name: &str, badge: &Code) -> Result<String, NotKept> {
        let token = secret::token(PROGRAM, self.clock.as_ref())?;
        let program = Program { token: Hashed::of(&token), badge: badge.to_string() };
        self.change(|kept| drop(kept.programs.insert(name.to_owned(), program)))?;
        Ok(token)
    }

    /// The device that has this token.
    pub(crate) fn device_of(&self, token: &str) -> Option<Code> {
        let hash = Hashed::of(token);
        let kept = self.kept();
        let found = kept.devices.iter().find(|(_, own)| own.same(&hash));
        found.and_then(|(device, _)| Code::new(device).ok())
    }

    /// The program's token of this text, by its name in the log.
    pub(crate) fn program_of(&self, token: &str) -> Option<(String, Program)> {
        let hash = Hashed::of(token);
        let kept = self.kept();
        let found = kept.programs.iter().find(|(_, program)| program.token.same(&hash));
        found.map(|(name, program)| (name.clone(), program.clone()))
    }

    /// Whether the same was not written of this badge within a minute; then it is remembered as written.
    pub(crate) fn is_news(&self, badge: &Code, what: &str) -> bool {
        let now = self.clock.now();
        let mut folded = lock(&self.folded);
        if MOST_FOLDED <= folded.len() {
            folded.retain(|_, at| now.since(*at) < FOLDED_MS);
        }
        let key = (badge.clone(), what.chars().take(60).collect::<String>());
        let known = folded.get(&key).is_some_and(|at| now.since(*at) < FOLDED_MS) || MOST_FOLDED <= folded.len();
        if !known {
            folded.insert(key, now);
        }
        !known
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

#[cfg(test)]
mod tests;
