//! Codes that are typed once: to set the yard up, to begin one's own sign-in, to enrol a device. They live in memory and
//! not for long.

use super::secret::{self, Hashed};
use crate::clock::{Clock, NoSecret};
use shared_types::{Code, DeviceIs, Instant, KnownBy};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// So long a person has to begin their sign-in.
pub(crate) const INVITATION_MS: i64 = 24 * 60 * 60 * 1_000;
/// So long a device has to be enrolled.
pub(crate) const ENROLMENT_MS: i64 = 15 * 60 * 1_000;
/// So many wait at a time; the oldest makes room.
const MOST: usize = 1_000;

/// What a code is for.
#[derive(Clone, PartialEq, Debug)]
pub(crate) enum For {
    /// The first administrator, or one after everything was lost.
    SetUp,
    /// The sign-in of whoever has this badge.
    SignIn(Code),
    Device(Enrolment),
}

/// A device as an administrator described it.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Enrolment {
    pub(crate) device: Code,
    pub(crate) what: DeviceIs,
    pub(crate) place: Option<Code>,
    pub(crate) by: Code,
    pub(crate) by_known: KnownBy,
}

/// A code that waits to be used.
#[derive(Clone)]
pub(crate) struct Waiting {
    hash: Hashed,
    pub(crate) what: For,
    until: Option<Instant>,
    /// The secret of one-time codes that was shown to whoever has the code.
    pub(crate) one_time: Option<String>,
}

#[derive(Default)]
pub(crate) struct Codes(Mutex<Vec<Waiting>>);

impl Codes {
    fn lock(&self) -> MutexGuard<'_, Vec<Waiting>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A new code; an older one for the same is no more.
    pub(crate) fn make(&self, what: For, lasts_ms: Option<i64>, clock: &dyn Clock) -> Result<String, NoSecret> {
        let code = secret::code(clock)?;
        self.expect(Hashed::of(&code), what, lasts_ms.map(|ms| clock.now().plus_ms(ms)));
        Ok(code)
    }

    /// A code of which only the hash is known.
    pub(crate) fn expect(&self, hash: Hashed, what: For, until: Option<Instant>) {
        let mut all = self.lock();
        let same = |one: &For| match (one, &what) {
            (For::Device(one), For::Device(other)) => one.device == other.device,
            (one, other) => one == other,
        };
        all.retain(|waiting| !same(&waiting.what));
        if MOST <= all.len() {
            all.remove(0);
        }
        all.push(Waiting { hash, what, until, one_time: None });
    }

    /// What this code is for, with the secret of one-time codes that belongs to it from now on.
    pub(crate) fn begin(&self, typed: &str, clock: &dyn Clock) -> Result<Option<Waiting>, NoSecret> {
        let (hash, now) = (Hashed::of(&secret::typed_code(typed)), clock.now());
        let fresh = super::one_time::new_secret(clock)?;
        let mut all = self.lock();
        let found = all.iter_mut().find(|waiting| waiting.hash.same(&hash) && waiting.stands(now));
        Ok(found.map(|waiting| {
            waiting.one_time.get_or_insert(fresh);
            waiting.clone()
        }))
    }

    /// The same, and the code is used up. Whoever fails gives it back.
    pub(crate) fn take(&self, typed: &str, now: Instant) -> Option<Waiting> {
        let hash = Hashed::of(&secret::typed_code(typed));
        let mut all = self.lock();
        let at = all.iter().position(|waiting| waiting.hash.same(&hash) && waiting.stands(now))?;
        Some(all.remove(at))
    }

    pub(crate) fn give_back(&self, waiting: Waiting) {
        self.lock().push(waiting);
    }

    /// Whatever waits for this badge waits no more.
    pub(crate) fn forget(&self, badge: &Code) {
        self.lock().retain(|waiting| waiting.what != For::SignIn(badge.clone()));
    }
}

impl Waiting {
    fn stands(&self, now: Instant) -> bool {
        self.until.is_none_or(|until| now < until)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SetClock;

    fn badge() -> For {
        For::SignIn(Code::new("B-17").unwrap())
    }

    #[test]
    fn a_code_is_used_once_in_its_time_and_given_back_by_who_fails() {
        let (codes, clock) = (Codes::default(), SetClock::new(Instant(0)));
        let code = codes.make(badge(), Some(INVITATION_MS), &clock).unwrap();
        assert!(codes.take("K3QF-7MWA-PZ2X-VH5N", clock.now()).is_none());
        let taken = codes.take(&code.to_lowercase().replace('-', ""), clock.now()).unwrap();
        assert_eq!(taken.what, badge());
        assert!(codes.take(&code, clock.now()).is_none());
        codes.give_back(taken);
        clock.advance_ms(INVITATION_MS);
        assert!(codes.take(&code, clock.now()).is_none());
    }

    #[test]
    fn only_the_newest_code_of_a_badge_counts_and_its_secret_stays_the_same() {
        let (codes, clock) = (Codes::default(), SetClock::new(Instant(0)));
        let old = codes.make(badge(), Some(1_000), &clock).unwrap();
        let new = codes.make(badge(), Some(1_000), &clock).unwrap();
        assert!(codes.begin(&old, &clock).unwrap().is_none());
        let shown = codes.begin(&new, &clock).unwrap().unwrap().one_time;
        assert!(shown.is_some());
        assert_eq!(codes.begin(&new, &clock).unwrap().unwrap().one_time, shown);
        codes.forget(&Code::new("B-17").unwrap());
        assert!(codes.take(&new, clock.now()).is_none());
    }
}
