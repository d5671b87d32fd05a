//! Whether somebody is who they say they are.

use super::{People, lock, one_time, password, secret::Hashed, tries::Of};
use shared_types::{Code, Instant, KnownBy};
use std::net::IpAddr;

/// How somebody shows who they are.
#[derive(Clone)]
pub(crate) enum Shows {
    /// What the symbol on the badge holds.
    Badge(String),
    Password {
        badge: String,
        password: String,
        one_time: String,
    },
}

/// Somebody showed who they are.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct Proven {
    pub(crate) badge: Code,
    pub(crate) known: KnownBy,
    pub(crate) two_factors: bool,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum NotProven {
    /// So many seconds until the next try.
    Wait(u64),
    /// It does not say what of it was wrong.
    Wrong,
    /// The password is right, and this person's roles need a one-time code that they have not set up.
    NeedsOneTime,
}

impl People {
    /// Whether it is they. It takes as long, and says the same, whether or not anybody has such a badge. Hashing takes a
    /// while: not to be called from a worker.
    pub(crate) fn prove(
        &self,
        shows: &Shows,
        from: Option<IpAddr>,
        needs_one_time: impl Fn(&Code) -> bool,
    ) -> Result<Proven, NotProven> {
        let now = self.clock.now();
        let tried: Vec<Of> = match shows {
            // However the badge is spelt, it is the same one that is tried.
            Shows::Password { badge, .. } => {
                let code = Code::new(badge).map_or_else(|_| badge.chars().take(60).collect(), |code| code.to_string());
                [Of::Badge(code)].into_iter().chain(from.map(Of::Address)).collect()
            }
            // So many random bits are never guessed, and in gloves much else is scanned.
            Shows::Badge(_) => Vec::new(),
        };
        self.tries.begin(&tried, now).map_err(NotProven::Wait)?;
        let proven = match shows {
            Shows::Badge(symbol) => {
                self.whose(symbol).map(|badge| Proven { badge, known: KnownBy::Badge, two_factors: false })
            }
            Shows::Password { badge, password, one_time } => self.by_password(badge, password, one_time, now),
        };
        let Some(proven) = proven else {
            self.wrong_try(shows);
            return Err(NotProven::Wrong);
        };
        self.tries.right(&tried);
        match proven.known == KnownBy::Password && !proven.two_factors && needs_one_time(&proven.badge) {
            true => Err(NotProven::NeedsOneTime),
            false => Ok(proven),
        }
    }

    /// Says in the server's own log that somebody tried a badge that somebody has, once a minute; what nobody has is said of all
    /// together, so that nobody fills anything. It never says what was typed.
    fn wrong_try(&self, shows: &Shows) {
        let badge = match shows {
            Shows::Password { badge, .. } => Code::new(badge).ok(),
            Shows::Badge(_) => None,
        };
        let badge = badge.filter(|badge| self.kept().people.contains_key(badge.as_str()));
        let nobody = shared_types::ThingName::nobody().own_code();
        let of = badge.unwrap_or(nobody);
        if self.is_news(&of, "wrong sign-in") {
            tracing::warn!(badge = %of, "a sign-in was wrong");
        }
    }

    fn by_password(&self, badge: &str, password: &str, one_time: &str, now: Instant) -> Option<Proven> {
        let kept = self.kept();
        let code = Code::new(badge).ok();
        let person = code.as_ref().and_then(|code| kept.people.get(code.as_str()));
        let long = password::LONGEST < password.chars().count();
        let right =
            password::is(if long { "" } else { password }, person.and_then(|person| person.password.as_deref()));
        let (badge, person) = code.zip(person).filter(|_| right && !long)?;
        if let Some(secret) = &person.one_time {
            let mut used = lock(&self.used);
            let step = one_time::step_of(secret, one_time, now, used.get(&badge).copied())?;
            used.insert(badge.clone(), step);
        }
        Some(Proven { badge, known: KnownBy::Password, two_factors: person.one_time.is_some() })
    }

    /// Whose badge this symbol is on.
    fn whose(&self, symbol: &str) -> Option<Code> {
        let hash = Hashed::of(symbol.trim());
        let kept = self.kept();
        let mut found = None;
        for (badge, person) in &kept.people {
            if person.badge.is_some_and(|badge| badge.same(&hash)) {
                found = Code::new(badge).ok();
            }
        }
        found
    }

    /// Counts a try of a code that is typed once; after too many wrong ones it says how many seconds to wait.
    pub(crate) fn try_code<T>(&self, from: Option<IpAddr>, find: impl FnOnce() -> Option<T>) -> Result<Option<T>, u64> {
        let tried: Vec<Of> = from.map(Of::Address).into_iter().collect();
        self.tries.begin(&tried, self.clock.now())?;
        let found = find();
        if found.is_some() {
            self.tries.right(&tried);
        }
        Ok(found)
    }
}
