//! A badge under which a page writes, and how it is known whose it is.

use super::problems::Fault;
use crate::intake::{NewDecision, NewFact};
use shared_types::{Code, Entry, KnownBy, Second};
use std::{fmt, ops::Deref};

/// A badge, and how it is known whose it is.
#[derive(Clone, PartialEq, Debug)]
pub(crate) struct By {
    pub(crate) badge: Code,
    pub(crate) known: KnownBy,
    /// The enrolled device on which they signed in.
    pub(crate) device: Option<Code>,
}

impl By {
    pub(crate) fn claimed(badge: Code) -> By {
        By { badge, known: KnownBy::Claimed, device: None }
    }
}

impl fmt::Display for By {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.badge.fmt(f)
    }
}

impl Deref for By {
    type Target = Code;

    fn deref(&self) -> &Code {
        &self.badge
    }
}

impl By {
    /// The same fact by this badge, as pages write it.
    pub(crate) fn vouch(&self, fact: NewFact) -> Result<NewFact, Fault> {
        if self.known == KnownBy::Claimed {
            return Ok(fact);
        }
        let NewFact { mut entry, raw, .. } = fact;
        self.mark(&mut entry);
        NewFact::new(entry, raw).map_err(|_| Fault::went_wrong("The fact could not be written down."))
    }

    /// The same of a fact beside which somebody stands.
    pub(crate) fn vouch_with(&self, fact: NewFact, second: KnownBy) -> Result<NewFact, Fault> {
        let NewFact { mut entry, raw, .. } = self.vouch(fact)?;
        entry.second = entry.second.map(|named| Second { by_known: second, ..named });
        NewFact::new(entry, raw).map_err(|_| Fault::went_wrong("The fact could not be written down."))
    }

    fn mark(&self, entry: &mut Entry) {
        entry.by_known = self.known;
        if let Some(device) = &self.device {
            entry.device_known = Some(KnownBy::Token);
            entry.device = Some(device.clone());
        }
    }

    /// The same decision by this badge, and by how the second person is known.
    pub(crate) fn vouch_decision(&self, mut decision: NewDecision, second: KnownBy) -> NewDecision {
        if self.known != KnownBy::Claimed {
            let wish = &mut decision.wish;
            wish.by_known = self.known;
            wish.second = wish.second.take().map(|named| Second { by_known: second, ..named });
            wish.instead.iter_mut().for_each(|instead| self.mark(instead));
            decision.device = self.device.clone();
        }
        decision
    }
}
