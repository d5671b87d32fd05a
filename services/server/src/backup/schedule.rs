//! Backups that the server takes by itself, and whether the last one is too long ago.

use std::{
    path::{Path, PathBuf},
    sync::{Mutex, PoisonError},
    time::Duration,
};

use shared_types::{Instant, Stamp};

use super::{BackupError, backup, manifest::Manifest};

/// After one that failed the next is tried so much later, in milliseconds.
const AGAIN_MS: i64 = 10 * 60 * 1_000;

/// Where and how often.
pub(crate) struct Schedule {
    data: PathBuf,
    to: PathBuf,
    every_ms: i64,
    state: Mutex<State>,
}

#[derive(Default)]
struct State {
    /// When the backup that stands there was taken.
    last: Option<Instant>,
    /// When one was tried that failed, and why.
    failed: Option<(Instant, String)>,
}

impl Schedule {
    pub(crate) fn new(data: &Path, to: &Path, every: Duration) -> Schedule {
        let last =
            Manifest::read(to).ok().flatten().and_then(|there| Stamp::parse(&there.taken_at).ok()).map(|at| at.at);
        let every_ms = i64::try_from(every.as_millis()).unwrap_or(i64::MAX);
        let state = Mutex::new(State { last, failed: None });
        Schedule { data: data.to_owned(), to: to.to_owned(), every_ms, state }
    }

    /// When the last one was taken.
    pub(crate) fn last(&self) -> Option<Instant> {
        self.state().last
    }

    /// Whether it is time for one.
    pub(crate) fn is_due(&self, now: Instant) -> bool {
        let state = self.state();
        // What is said to come later was said by a wrong clock: how long ago it was nobody knows.
        let is_over = |ms: i64, since: Instant| now < since || ms <= now.since(since);
        let is_time = state.last.is_none_or(|last| is_over(self.every_ms, last));
        is_time && state.failed.as_ref().is_none_or(|(at, _)| is_over(AGAIN_MS, *at))
    }

    /// Takes one. It reads the whole log: not for a thread that others wait for.
    pub(crate) fn take(&self, now: Instant) -> Result<(), BackupError> {
        let taken = backup(&self.data, &self.to, now, &mut |_| ());
        let mut state = self.state();
        match &taken {
            Ok(_) => *state = State { last: Some(now), failed: None },
            Err(error) => state.failed = Some((now, whole(error))),
        }
        taken.map(|_| ())
    }

    /// What somebody has to do about it.
    pub(crate) fn alarm(&self, now: Instant) -> Option<String> {
        let state = self.state();
        let to = self.to.display();
        let late =
            state.last.map(|last| now.since(last)).filter(|ago| self.every_ms.saturating_add(self.every_ms / 2) < *ago);
        match (&state.failed, late) {
            (Some((_, why)), _) => Some(format!(
                "The backup into {to} failed: {why}. The server tries again by itself; until then the newest entries are on one \
                 disk alone."
            )),
            (None, Some(ago)) => Some(format!(
                "The last backup into {to} is {} h old, and one is due every {} h: look whether the disk is there.",
                ago / 3_600_000,
                self.every_ms / 3_600_000
            )),
            (None, None) => None,
        }
    }

    fn state(&self) -> std::sync::MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn whole(error: &dyn std::error::Error) -> String {
    let behind = std::iter::successors(error.source(), |error| error.source());
    behind.fold(error.to_string(), |say, error| format!("{say}: {error}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        clock::SetClock,
        testing::START,
        yard::{Options, Yard},
    };
    use std::{fs, sync::Arc};

    const HOUR: i64 = 3_600_000;

    #[test]
    fn one_is_taken_when_it_is_time_and_a_late_or_failed_one_is_an_alarm() {
        let folder = tempfile::tempdir().unwrap();
        let (data, to) = (folder.path().join("yard"), folder.path().join("safe"));
        Yard::open(&data, Options::new(Arc::new(SetClock::new(START)))).unwrap().close();
        let schedule = Schedule::new(&data, &to, Duration::from_secs(24 * 3_600));
        assert!(schedule.is_due(START) && schedule.alarm(START).is_none());
        schedule.take(START).unwrap();
        let after = |hours: i64| START.plus_ms(hours * HOUR);
        assert_eq!([23, 24].map(|hours| schedule.is_due(after(hours))), [false, true]);
        assert_eq!([36, 37].map(|hours| schedule.alarm(after(hours)).is_some()), [false, true]);
        // Another start knows of it.
        let again = Schedule::new(&data, &to, Duration::from_secs(24 * 3_600));
        assert_eq!((again.last(), again.is_due(after(23))), (Some(START), false));
        // One that was taken while the clock was ahead says nothing of how old it is.
        assert_eq!([-1, -24 * 365].map(|hours| again.is_due(after(hours))), [true, true]);
        fs::write(to.join("backup.json"), "noise").unwrap();
        assert!(schedule.take(after(26)).is_err());
        let alarm = schedule.alarm(after(26)).unwrap();
        assert!(alarm.contains("failed: backup.json can't be read"), "{alarm}");
        assert!(!schedule.is_due(after(26)) && schedule.is_due(after(27)));
        assert!(schedule.is_due(after(25)), "it failed while the clock was ahead, and is not tried again");
    }
}
