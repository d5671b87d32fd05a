//! The one reader of time and randomness. Everything else is handed an instant or an id.

use sha2::{Digest, Sha256};
use shared_types::Instant;
use std::{
    sync::atomic::{AtomicI64, AtomicU64, Ordering},
    time::SystemTime,
};
use uuid::Uuid;

/// A wall clock that differs from the time that passed by more than this has jumped: 10 min, in milliseconds.
pub const JUMP_MS: i64 = 10 * 60 * 1_000;

/// Where time and fresh ids come from.
pub trait Clock: Send + Sync {
    /// The wall clock, to the millisecond.
    fn now(&self) -> Instant;
    /// Milliseconds that only grow, from an instant that nobody knows: for how long something took.
    fn running_ms(&self) -> i64;
    /// By how many milliseconds the wall clock went ahead (or back: negative) of the time that passed since the
    /// start, when that is more than `JUMP_MS`.
    fn jumped_ms(&self) -> Option<i64>;
    /// An id that nobody else has.
    fn new_id(&self) -> Uuid;
    /// Microseconds that only count up, to measure with.
    fn ticks_us(&self) -> u64;
    /// 256 bits that nobody can guess.
    fn secret(&self) -> Result<[u8; 32], NoSecret>;
}

/// The machine has no random bytes to give.
#[derive(Debug, thiserror::Error)]
#[error("the machine gives no random bytes: {0}")]
pub struct NoSecret(#[from] getrandom::Error);

/// The clock of this machine.
#[derive(Debug)]
pub struct SystemClock {
    wall_at_start: Instant,
    running_at_start_ms: i64,
}

impl SystemClock {
    pub fn new() -> SystemClock {
        SystemClock { wall_at_start: wall(), running_at_start_ms: running_ms() }
    }
}

impl Default for SystemClock {
    fn default() -> Self {
        SystemClock::new()
    }
}

impl Clock for SystemClock {
    fn now(&self) -> Instant {
        wall()
    }

    fn running_ms(&self) -> i64 {
        running_ms()
    }

    fn jumped_ms(&self) -> Option<i64> {
        let expected = self.wall_at_start.plus_ms(running_ms().saturating_sub(self.running_at_start_ms));
        Some(wall().since(expected)).filter(|ahead| ahead.abs() > JUMP_MS)
    }

    #[expect(clippy::disallowed_methods, reason = "the one maker of ids")]
    fn new_id(&self) -> Uuid {
        Uuid::now_v7()
    }

    fn ticks_us(&self) -> u64 {
        let since = rustix::time::clock_gettime(rustix::time::ClockId::Monotonic);
        since.tv_sec.unsigned_abs().saturating_mul(1_000_000).saturating_add(since.tv_nsec.unsigned_abs() / 1_000)
    }

    fn secret(&self) -> Result<[u8; 32], NoSecret> {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes)?;
        Ok(bytes)
    }
}

#[expect(clippy::disallowed_methods, reason = "the one reader of the wall clock")]
fn wall() -> Instant {
    let ms = |duration: std::time::Duration| i64::try_from(duration.as_millis()).unwrap_or(i64::MAX);
    match SystemTime::now().duration_since(SystemTime::UNIX_EPOCH) {
        Ok(since) => Instant(ms(since)),
        Err(before) => Instant(ms(before.duration()).saturating_neg()),
    }
}

/// Milliseconds since the machine started, those it slept included, so that a lid closed for lunch is no jump.
fn running_ms() -> i64 {
    let since = rustix::time::clock_gettime(rustix::time::ClockId::Boottime);
    since.tv_sec.saturating_mul(1_000).saturating_add(since.tv_nsec / 1_000_000)
}

/// A clock that is set by hand: for the demo, which walks through a year, and for tests.
#[derive(Debug, Default)]
pub struct SetClock {
    now_ms: AtomicI64,
    jumped_ms: AtomicI64,
    ids: AtomicU64,
    secrets: AtomicU64,
}

impl SetClock {
    pub fn new(now: Instant) -> SetClock {
        SetClock { now_ms: AtomicI64::new(now.0), ..SetClock::default() }
    }

    pub fn set(&self, now: Instant) {
        self.now_ms.store(now.0, Ordering::SeqCst);
    }

    pub fn advance_ms(&self, ms: i64) {
        self.now_ms.fetch_add(ms, Ordering::SeqCst);
    }

    /// From now on says that it jumped so far.
    pub fn jump_ms(&self, ms: i64) {
        self.jumped_ms.store(ms, Ordering::SeqCst);
        self.advance_ms(ms);
    }
}

impl Clock for SetClock {
    fn now(&self) -> Instant {
        Instant(self.now_ms.load(Ordering::SeqCst))
    }

    fn running_ms(&self) -> i64 {
        self.now().0
    }

    fn jumped_ms(&self) -> Option<i64> {
        Some(self.jumped_ms.load(Ordering::SeqCst)).filter(|ahead| ahead.abs() > JUMP_MS)
    }

    /// Counted, so that the same run gives the same ids.
    fn new_id(&self) -> Uuid {
        let count = self.ids.fetch_add(1, Ordering::SeqCst);
        Uuid::new_v5(&Uuid::NAMESPACE_OID, &[self.now().0.to_be_bytes(), count.to_be_bytes()].concat())
    }

    fn ticks_us(&self) -> u64 {
        self.now_ms.load(Ordering::SeqCst).unsigned_abs().saturating_mul(1_000)
    }

    /// Counted by themselves, so that the first is the same whatever was asked before: secret to nobody who knows this file.
    fn secret(&self) -> Result<[u8; 32], NoSecret> {
        Ok(Sha256::digest(self.secrets.fetch_add(1, Ordering::SeqCst).to_be_bytes()).into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_only_runs_has_not_jumped() {
        let clock = SystemClock::new();
        assert_eq!(clock.jumped_ms(), None);
        assert!(clock.now() > Instant(1_577_836_800_000));
        assert_ne!(clock.new_id(), clock.new_id());
        assert_ne!(clock.secret().unwrap(), clock.secret().unwrap());
    }

    #[test]
    fn ten_minutes_are_no_jump_and_a_millisecond_more_is_one() {
        let ago = |ms: i64| SystemClock { wall_at_start: wall().minus_ms(ms), running_at_start_ms: running_ms() };
        assert_eq!(ago(JUMP_MS - 60_000).jumped_ms(), None);
        assert!(ago(JUMP_MS + 60_000).jumped_ms().is_some_and(|ms| ms > JUMP_MS));
        assert!(ago(-JUMP_MS - 60_000).jumped_ms().is_some_and(|ms| ms < -JUMP_MS));
        let set = SetClock::new(Instant(0));
        set.jump_ms(JUMP_MS);
        assert_eq!(set.jumped_ms(), None);
        set.jump_ms(JUMP_MS + 1);
        assert_eq!(set.jumped_ms(), Some(JUMP_MS + 1));
    }

    #[test]
    fn a_set_clock_gives_the_same_ids_in_every_run() {
        let ids = || {
            let clock = SetClock::new(Instant(5));
            [clock.new_id(), clock.new_id()]
        };
        assert_eq!(ids(), ids());
        let [first, second] = ids();
        assert_ne!(first, second);
    }
}
