//! Who is signed in. Sessions live in memory: after a restart everybody signs in again.

use super::secret::{self, Hashed};
use crate::clock::{Clock, NoSecret};
use shared_types::{Code, Instant, KnownBy};
use std::{
    collections::HashMap,
    sync::{
        Arc, Mutex, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard,
        atomic::{AtomicI64, Ordering},
    },
};
use uuid::Uuid;

/// A shift and its overtime: nobody stays signed in for longer.
pub(crate) const LONGEST_MS: i64 = 10 * 60 * 60 * 1_000;
/// A device that many use forgets whoever does nothing on it for so long.
const IDLE_DEVICE_MS: i64 = 30 * 60 * 1_000;
/// A browser at a desk.
const IDLE_DESK_MS: i64 = 2 * 60 * 60 * 1_000;
/// Two people stay in one sitting for so long.
pub(crate) const SITTING_MS: i64 = 15 * 60 * 1_000;
/// So many sessions at a time; the one that was idle longest makes room.
const MOST: usize = 4_096;

/// One person at one browser or device.
#[derive(Debug)]
pub(crate) struct Session {
    /// What its own person names it by; it opens nothing.
    pub(crate) id: Uuid,
    pub(crate) badge: Code,
    pub(crate) known: KnownBy,
    /// A password and a one-time code: what administrators need.
    pub(crate) two_factors: bool,
    /// The enrolled device it was begun on.
    pub(crate) device: Option<Code>,
    pub(crate) begun: Instant,
    seen_ms: AtomicI64,
    sitting: Mutex<Option<Sitting>>,
}

/// A second person who showed who they are beside the first.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Sitting {
    pub(crate) badge: Code,
    pub(crate) known: KnownBy,
    pub(crate) until: Instant,
}

impl Session {
    pub(crate) fn new(
        badge: Code,
        known: KnownBy,
        two_factors: bool,
        device: Option<Code>,
        clock: &dyn Clock,
    ) -> Session {
        let now = clock.now();
        Session {
            id: clock.new_id(),
            badge,
            known,
            two_factors,
            device,
            begun: now,
            seen_ms: AtomicI64::new(now.0),
            sitting: Mutex::default(),
        }
    }

    /// When it was used last.
    pub(crate) fn seen(&self) -> Instant {
        Instant(self.seen_ms.load(Ordering::Relaxed))
    }

    /// When it ends however much is done in it.
    pub(crate) fn ends_at(&self) -> Instant {
        self.begun.plus_ms(LONGEST_MS)
    }

    fn idle_ms(&self) -> i64 {
        if self.device.is_some() { IDLE_DEVICE_MS } else { IDLE_DESK_MS }
    }

    fn stands(&self, now: Instant) -> bool {
        let (since, idle) = (now.since(self.begun), now.since(self.seen()));
        since < LONGEST_MS && idle < self.idle_ms()
    }

    /// Who sits beside, as long as the sitting lasts.
    pub(crate) fn sitting(&self, now: Instant) -> Option<Sitting> {
        self.lock().clone().filter(|sitting| now < sitting.until)
    }

    pub(crate) fn sit(&self, sitting: Option<Sitting>) {
        *self.lock() = sitting;
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Option<Sitting>> {
        self.sitting.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[derive(Default)]
pub(crate) struct Sessions(RwLock<HashMap<Hashed, Arc<Session>>>);

impl Sessions {
    fn read(&self) -> RwLockReadGuard<'_, HashMap<Hashed, Arc<Session>>> {
        self.0.read().unwrap_or_else(PoisonError::into_inner)
    }

    fn write(&self) -> RwLockWriteGuard<'_, HashMap<Hashed, Arc<Session>>> {
        self.0.write().unwrap_or_else(PoisonError::into_inner)
    }

    /// Begins a session; its token is known to nobody but who gets it.
    pub(crate) fn begin(&self, session: Session, clock: &dyn Clock) -> Result<String, NoSecret> {
        let token = secret::token(secret::SESSION, clock)?;
        let now = clock.now();
        let mut all = self.write();
        all.retain(|_, session| session.stands(now));
        if MOST <= all.len() {
            let idlest = all.iter().min_by_key(|(_, one)| one.seen_ms.load(Ordering::Relaxed)).map(|(hash, _)| *hash);
            idlest.map(|hash| all.remove(&hash));
        }
        all.insert(Hashed::of(&token), Arc::new(session));
        Ok(token)
    }

    /// The session of this token, if it still stands; it is seen now.
    pub(crate) fn of(&self, token: &str, now: Instant) -> Option<Arc<Session>> {
        let session = self.read().get(&Hashed::of(token)).cloned()?;
        if !session.stands(now) {
            return None;
        }
        session.seen_ms.fetch_max(now.0, Ordering::Relaxed);
        Some(session)
    }

    /// Whether the session of this token stands; it is not seen by that.
    pub(crate) fn stands(&self, token: &str, now: Instant) -> bool {
        self.read().get(&Hashed::of(token)).is_some_and(|session| session.stands(now))
    }

    pub(crate) fn end(&self, token: &str) {
        self.write().remove(&Hashed::of(token));
    }

    /// Ends all that are like this; says how many there were.
    pub(crate) fn end_all(&self, like: impl Fn(&Session) -> bool) -> usize {
        let mut all = self.write();
        let before = all.len();
        all.retain(|_, session| !like(session));
        before - all.len()
    }

    /// Nobody with this badge stands beside anybody any more.
    pub(crate) fn stands_beside_nobody(&self, badge: &Code) {
        for session in self.read().values() {
            let mut sitting = session.lock();
            if sitting.as_ref().is_some_and(|sitting| sitting.badge == *badge) {
                *sitting = None;
            }
        }
    }

    /// Those of a badge that stand.
    pub(crate) fn of_badge(&self, badge: &Code, now: Instant) -> Vec<Arc<Session>> {
        let all = self.read();
        all.values().filter(|session| session.badge == *badge && session.stands(now)).cloned().collect()
    }

    /// How many that stand are like this.
    pub(crate) fn count(&self, like: impl Fn(&Session) -> bool, now: Instant) -> usize {
        self.read().values().filter(|session| session.stands(now) && like(session)).count()
    }

    /// Whether this badge is signed in on this device now.
    pub(crate) fn is_on(&self, device: &Code, badge: &Code, now: Instant) -> Option<KnownBy> {
        let all = self.read();
        let here = |session: &&Arc<Session>| {
            session.device.as_ref() == Some(device) && session.badge == *badge && session.stands(now)
        };
        all.values().find(here).map(|session| session.known)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SetClock;

    fn code(text: &str) -> Code {
        Code::new(text).unwrap()
    }

    fn begun(sessions: &Sessions, clock: &SetClock, device: Option<&str>) -> String {
        let session = Session::new(code("B-17"), KnownBy::Badge, false, device.map(code), clock);
        sessions.begin(session, clock).unwrap()
    }

    #[test]
    fn a_session_ends_after_a_shift_however_much_is_done_in_it() {
        let (sessions, clock) = (Sessions::default(), SetClock::new(Instant(0)));
        let token = begun(&sessions, &clock, None);
        for _ in 0..9 {
            clock.advance_ms(60 * 60 * 1_000);
            assert!(sessions.of(&token, clock.now()).is_some());
        }
        clock.advance_ms(60 * 60 * 1_000);
        assert!(sessions.of(&token, clock.now()).is_none());
    }

    #[test]
    fn a_session_that_nobody_uses_ends_sooner_on_a_device_that_many_use() {
        let (sessions, clock) = (Sessions::default(), SetClock::new(Instant(0)));
        let (desk, device) = (begun(&sessions, &clock, None), begun(&sessions, &clock, Some("H-1")));
        assert_eq!(sessions.is_on(&code("H-1"), &code("B-17"), clock.now()), Some(KnownBy::Badge));
        assert_eq!(sessions.is_on(&code("H-2"), &code("B-17"), clock.now()), None);
        clock.advance_ms(IDLE_DEVICE_MS);
        assert!(sessions.of(&desk, clock.now()).is_some() && sessions.of(&device, clock.now()).is_none());
        assert_eq!(sessions.is_on(&code("H-1"), &code("B-17"), clock.now()), None);
        clock.advance_ms(IDLE_DESK_MS);
        assert!(sessions.of(&desk, clock.now()).is_none());
    }

    #[test]
    fn a_token_of_another_or_an_ended_session_opens_nothing() {
        let (sessions, clock) = (Sessions::default(), SetClock::new(Instant(0)));
        let (one, other) = (begun(&sessions, &clock, None), begun(&sessions, &clock, None));
        assert!(sessions.of("rms_forged", clock.now()).is_none());
        sessions.end(&one);
        assert!(sessions.of(&one, clock.now()).is_none() && sessions.of(&other, clock.now()).is_some());
        assert_eq!(sessions.end_all(|session| session.badge == code("B-17")), 1);
        assert!(sessions.of(&other, clock.now()).is_none());
    }

    #[test]
    fn a_sitting_lasts_a_quarter_of_an_hour() {
        let session = Session::new(code("B-17"), KnownBy::Badge, false, None, &SetClock::new(Instant(0)));
        let until = Instant(0).plus_ms(SITTING_MS);
        session.sit(Some(Sitting { badge: code("Q-01"), known: KnownBy::Badge, until }));
        assert!(session.sitting(Instant(SITTING_MS - 1)).is_some_and(|sitting| sitting.badge == code("Q-01")));
        assert_eq!(session.sitting(until), None);
        session.sit(None);
        assert_eq!(session.sitting(Instant(0)), None);
    }
}
