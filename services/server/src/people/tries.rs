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
/// Of an address one wrong try is forgotten so often: many people mistype at a desk that they share.
const ONE_FORGOTTEN_MS: i64 = 5 * 60 * 1_000;
/// What was not tried for so long is forgotten whole.
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
    /// The same before the last one, in case that turns out to be right.
    before: (u32, Instant),
}

impl Wrong {
    /// How many still count.
    fn times(&self, of: &Of, now: Instant) -> u32 {
        let since = now.since(self.last).max(0);
        let forgotten = match of {
            Of::Badge(_) => 0,
            Of::Address(_) => u32::try_from(since / ONE_FORGOTTEN_MS).unwrap_or(u32::MAX),
        };
        if FORGOTTEN_MS <= since { 0 } else { self.times.saturating_sub(forgotten) }
    }

    /// How long the next try waits: 1 s after the fifth, then twice as long each time. A clock that was set back prolongs
    /// nothing.
    fn wait_ms(&self, of: &Of, now: Instant) -> i64 {
        let doubled = self.times(of, now).checked_sub(FREE + 1).map_or(0, |more| 1_000_i64 << more.min(20));
        let whole = doubled.min(of.longest_ms());
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
        let waits = all.iter().filter_map(|of| Some(kept.get(of)?.wait_ms(of, now)));
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
            let wrong = kept.entry(of.clone()).or_insert(Wrong { times: 0, last: now, before: (0, now) });
            let times = wrong.times(of, now).saturating_add(1);
            *wrong = Wrong { times, last: now, before: (wrong.times, wrong.last) };
        }
        Ok(())
    }

    /// It was right: the wrong ones of the badge are forgotten. Of an address only this try is, or whoever has one
    /// badge could try all others from there; nobody waits because of it.
    pub(crate) fn right(&self, all: &[Of]) {
        let mut kept = self.lock();
        for of in all {
            match (of, kept.get_mut(of)) {
                (Of::Address(_), Some(wrong)) => (wrong.times, wrong.last) = wrong.before,
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
    fn who_shares_a_desk_with_people_who_mistype_now_and_then_hardly_waits() {
        let (tries, mut longest) = (Tries::default(), 0);
        // A shift: somebody signs in every two minutes, and every fifth mistypes first.
        for minute in (0..480).step_by(2) {
            let now = Instant(minute * 60_000);
            let who = [Of::Badge(format!("B-{minute}")), address()];
            let tries_before = if minute % 10 == 0 { 1 } else { 0 };
            for _ in 0..tries_before {
                longest = longest.max(tries.begin(&who, now).err().unwrap_or(0));
            }
            match tries.begin(&who, now) {
                Ok(()) => tries.right(&who),
                Err(wait) => longest = longest.max(wait),
            }
        }
        assert!(longest == 0, "{longest} s");
    }

    #[test]
    fn a_right_try_is_not_waited_after() {
        let tries = Tries::default();
        let mut now = Instant(0);
        for count in 0..12 {
            if let Err(wait) = tries.begin(&[Of::Badge(format!("B-{count}")), address()], now) {
                now = now.plus_ms(i64::try_from(wait).unwrap() * 1_000);
                tries.begin(&[Of::Badge(format!("B-{count}")), address()], now).unwrap();
            }
        }
        let wait = tries.begin(&[badge(), address()], now).unwrap_err();
        now = now.plus_ms(i64::try_from(wait).unwrap() * 1_000);
        for _ in 0..3 {
            assert_eq!(tries.begin(&[badge(), address()], now), Ok(()));
            tries.right(&[badge(), address()]);
        }
    }

    #[test]
    fn signing_in_rightly_makes_no_wrong_try_forgotten() {
        let tries = Tries::default();
        let mut now = Instant(0);
        for count in 0..40 {
            if let Err(wait) = tries.begin(&[Of::Badge(count.to_string()), address()], now) {
                now = now.plus_ms(i64::try_from(wait).unwrap() * 1_000);
            }
        }
        for _ in 0..50 {
            assert_eq!(tries.begin(&[badge(), address()], now), Ok(()));
            tries.right(&[badge(), address()]);
        }
        tries.begin(&[Of::Badge("B-18".to_owned()), address()], now).unwrap();
        let wait = tries.begin(&[Of::Badge("B-19".to_owned()), address()], now).unwrap_err();
        assert!(100 < wait, "{wait} s");
    }

    #[test]
    fn who_goes_on_guessing_from_an_address_gets_some_tries_an_hour() {
        let (tries, mut now, mut made) = (Tries::default(), Instant(0), 0);
        while now < Instant(24 * 60 * 60 * 1_000) {
            match tries.begin(&[Of::Badge(format!("B-{made}")), address()], now) {
                Ok(()) => made += 1,
                Err(wait) => now = now.plus_ms(i64::try_from(wait).unwrap() * 1_000),
            }
        }
        assert!(made < 24 * 15, "{made} in a day");
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
