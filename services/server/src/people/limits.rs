//! How often a program may ask, or an address of the calendar. Devices are never counted here: an outbox must get through.

use crate::clock::Clock;
use governor::{
    Quota, RateLimiter,
    clock::{Clock as Ticking, Reference},
    middleware::NoOpMiddleware,
    nanos::Nanos,
    state::{InMemoryState, NotKeyed},
};
use std::{
    collections::HashMap,
    num::NonZeroU32,
    ops::Add,
    sync::{Arc, Mutex, PoisonError},
};

/// So many requests a second of one token, in the long run.
pub(crate) const PER_SECOND: NonZeroU32 = NonZeroU32::MIN.saturating_add(19);
/// So many at once after a rest.
pub(crate) const AT_ONCE: NonZeroU32 = NonZeroU32::MIN.saturating_add(99);

/// So many requests a minute of one address of the calendar, in the long run and at once.
const FEED_PER_MINUTE: NonZeroU32 = NonZeroU32::MIN.saturating_add(5);

/// The time that runs on, of the one reader of clocks.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
struct Running(u64);

impl Add<Nanos> for Running {
    type Output = Running;

    fn add(self, more: Nanos) -> Running {
        Running(self.0.saturating_add(more.as_u64()))
    }
}

impl Reference for Running {
    fn duration_since(&self, earlier: Running) -> Nanos {
        self.0.saturating_sub(earlier.0).into()
    }

    fn saturating_sub(&self, by: Nanos) -> Running {
        Running(self.0.checked_sub(by.as_u64()).unwrap_or(self.0))
    }
}

struct Ours(Arc<dyn Clock>);

impl Ticking for Ours {
    type Instant = Running;

    fn now(&self) -> Running {
        Running(u64::try_from(self.0.running_ms()).unwrap_or(0).saturating_mul(1_000_000))
    }
}

type One = RateLimiter<NotKeyed, InMemoryState, Ours, NoOpMiddleware<Running>>;

/// One count for each token.
pub(crate) struct Limits {
    clock: Arc<dyn Clock>,
    quota: Quota,
    of: Mutex<HashMap<String, Arc<One>>>,
}

impl Limits {
    pub(crate) fn of_programs(clock: Arc<dyn Clock>) -> Limits {
        Limits { clock, quota: Quota::per_second(PER_SECOND).allow_burst(AT_ONCE), of: Mutex::default() }
    }

    pub(crate) fn of_feeds(clock: Arc<dyn Clock>) -> Limits {
        Limits { clock, quota: Quota::per_minute(FEED_PER_MINUTE), of: Mutex::default() }
    }

    /// After how many seconds it may ask again, if it asked too often.
    pub(crate) fn ask(&self, token: &str) -> Result<(), u64> {
        let one = {
            let mut of = self.of.lock().unwrap_or_else(PoisonError::into_inner);
            match of.get(token) {
                Some(one) => one.clone(),
                None => {
                    let one = Arc::new(RateLimiter::direct_with_clock(self.quota, Ours(self.clock.clone())));
                    of.insert(token.to_owned(), Arc::clone(&one));
                    one
                }
            }
        };
        let now = Ours(self.clock.clone()).now();
        one.check().map_err(|not_until| not_until.wait_time_from(now).as_secs().saturating_add(1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::SetClock;
    use shared_types::Instant;

    #[test]
    fn a_program_may_ask_often_after_a_rest_and_then_at_its_pace() {
        let clock = Arc::new(SetClock::new(Instant(1_000)));
        let limits = Limits::of_programs(clock.clone());
        let asked = |token: &str, times: u32| (0..times).filter(|_| limits.ask(token).is_ok()).count();
        assert_eq!(asked("T-1", 150), 100);
        assert_eq!(limits.ask("T-1"), Err(1));
        // Another token has a count of its own.
        assert_eq!(asked("T-2", 1), 1);
        clock.advance_ms(1_000);
        assert_eq!(asked("T-1", 150), 20);
        clock.advance_ms(60_000);
        assert_eq!(asked("T-1", 150), 100);
    }
}
