//! Wrong tries slow down whoever makes them: by what was tried, and by where from.

use shared_types::Instant;
use std::{
    collections::HashMap,
    net::IpAddr,
    sync::{Mutex, PoisonError},
};

/// So many wrong tries cost nothing: people mistype.
const FREE: u32 = 4;
/// The longest wait of a badge, so that nobody can lock another out for long; and that of an address.
const LONGEST_BADGE_MS: i64 = 60 * 1_000;
const LONGEST_ADDRESS_MS: i64 = 10 * 60 * 1_000;
/// What was not tried for so long is forgotten.
const FORGOTTEN_MS: i64 = 60 * 60 * 1_000;
/// So many are remembered at a time.
const MOST: usize = 8_192;

/// What a try is counted under.
#[derive(Clone, PartialEq, Eq, Hash, Debug)]
pub(crate) enum Of {
    /// A badge, whether or not anybody has it.
    Badge(String),
    Address(IpAddr),
}

impl Of {
    fn longest_ms(&self) -> i64 {
        match self {
            Of::Badge(_) => LONGEST_BADGE_MS,
            Of::Address(_) => LONGEST_ADDRESS_MS,
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Wrong {
    times: u32,
    last: Instant,
}

impl Wrong {
    /// How long the next try waits: 1 s after the fifth, then twice as long each time. A clock that was set back prolongs
    /// nothing.
    fn wait_ms(&self, now: Instant, longest_ms: i64) -> i64 {
        let doubled = self.times.checked_sub(FREE + 1).map_or(0, |more| 1_000_i64 << more.min(20));
        let whole = doubled.min(longest_ms);
        whole.saturating_sub(now.since(self.last)).clamp(0, whole)
    }
}

#[derive(Default)]
pub(crate) struct Tries(Mutex<HashMap<Of, Wrong>>);

impl Tries {
    fn lock(&self) -> std::sync::MutexGuard<'_, HashMap<Of, Wrong>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How many seconds to wait before the next try; none: it may be made now, and counts as wrong until `right` says
    /// otherwise, so that many at once gain nothing.
    pub(crate) fn begin(&self, all: &[Of], now: Instant) -> Result<(), u64> {
        let mut kept = self.lock();
        let waits = all.iter().filter_map(|of| Some(kept.get(of)?.wait_ms(now, of.longest_ms())));
        if let Some(wait) = waits.max().filter(|wait| 0 < *wait) {
            return Err(u64::try_from(wait).unwrap_or(0).div_ceil(1_000));
        }
        if MOST <= kept.len() {
            kept.retain(|_, wrong| now.since(wrong.last) < FORGOTTEN_MS);
        }
        if MOST <= kept.len() {
            let oldest = kept.iter().min_by_key(|(_, wrong)| wrong.last).map(|(of, _)| of.clone());
            oldest.map(|of| kept.remove(&of));
        }
        for of in all {
            let wrong = kept.entry(of.clone()).or_insert(Wrong { times: 0, last: now });
            let times = if FORGOTTEN_MS <= now.since(wrong.last) { 0 } else { wrong.times };
            *wrong = Wrong { times: times.saturating_add(1), last: now };
        }
        Ok(())
    }

    /// It was right: the wrong ones of the badge are forgotten. Of an address only this try is, or whoever has one
    /// badge could try all others from there.
    pub(crate) fn right(&self, all: &[Of]) {
        let mut kept = self.lock();
        for of in all {
            match (of, kept.get_mut(of)) {
                (Of::Address(_), Some(wrong)) => wrong.times = wrong.times.saturating_sub(1),
                _ => drop(kept.remove(of)),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn badge() -> Of {
        Of::Badge("B-17".to_owned())
    }

    fn address() -> Of {
        Of::Address("192.0.2.7".parse().unwrap())
    }

    #[test]
    fn wrong_tries_wait_longer_each_time_and_never_for_ever() {
        let (tries, mut now) = (Tries::default(), Instant(0));
        for _ in 0..=FREE {
            assert_eq!(tries.begin(&[badge()], now), Ok(()));
        }
        let mut waits = Vec::new();
        for _ in 0..9 {
            let wait = tries.begin(&[badge()], now).unwrap_err();
            waits.push(wait);
            now = now.plus_ms(i64::try_from(wait).unwrap() * 1_000);
            assert_eq!(tries.begin(&[badge()], now), Ok(()));
        }
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 60, 60, 60]);
        // Another badge waits for none of this.
        assert_eq!(tries.begin(&[Of::Badge("B-18".to_owned())], now), Ok(()));
    }

    #[test]
    fn an_address_that_tries_many_badges_waits_too() {
        let tries = Tries::default();
        for count in 0..=FREE {
            assert_eq!(tries.begin(&[Of::Badge(format!("B-{count}")), address()], Instant(0)), Ok(()));
        }
        assert_eq!(tries.begin(&[Of::Badge("B-99".to_owned()), address()], Instant(0)), Err(1));
    }

    #[test]
    fn who_has_one_badge_cannot_try_all_others_from_the_same_address() {
        let (tries, mut waited) = (Tries::default(), false);
        for count in 0..=2 * FREE {
            waited |= tries.begin(&[Of::Badge(format!("B-{count}")), address()], Instant(0)).is_err();
            if tries.begin(&[badge(), address()], Instant(0)).is_ok() {
                tries.right(&[badge(), address()]);
            }
        }
        assert!(waited);
    }

    #[test]
    fn a_clock_that_is_set_back_locks_nobody_out() {
        let tries = Tries::default();
        let at = Instant(1_000_000);
        tries.begin(&[badge()], at).unwrap();
        assert_eq!(tries.begin(&[badge()], Instant(0)), Ok(()));
        for _ in 0..FREE {
            tries.begin(&[badge()], at).ok();
        }
        assert_eq!(tries.begin(&[badge()], Instant(0)), Err(1));
    }

    #[test]
    fn a_right_try_and_an_hour_forget_the_wrong_ones() {
        let tries = Tries::default();
        for _ in 0..=FREE {
            tries.begin(&[badge()], Instant(0)).unwrap();
        }
        tries.right(&[badge()]);
        for _ in 0..=FREE {
            assert_eq!(tries.begin(&[badge()], Instant(0)), Ok(()));
        }
        assert!(tries.begin(&[badge()], Instant(0)).is_err());
        for _ in 0..=FREE {
            assert_eq!(tries.begin(&[badge()], Instant(FORGOTTEN_MS)), Ok(()));
        }
    }
}
