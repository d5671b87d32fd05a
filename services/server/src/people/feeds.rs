//! Addresses of the calendar for programs that can't sign in: each has a token of its own, and opens that calendar alone.

use super::{
    NotKept, People,
    secret::{self, FEED, Hashed},
};
use serde::{Deserialize, Serialize};
use shared_types::{Code, Instant};
use uuid::Uuid;

/// So many at a time of one badge.
pub(crate) const MOST: usize = 10;

/// One address, as it is kept: by its own id.
#[derive(Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Feed {
    token: Hashed,
    /// Who made it: it opens nothing once they have no role.
    pub(crate) badge: String,
    made_ms: i64,
    /// Where it is used, in a word or two.
    pub(crate) name: String,
}

impl Feed {
    pub(crate) fn made_at(&self) -> Instant {
        Instant(self.made_ms)
    }
}

impl People {
    /// A token that opens the calendar, shown this once.
    pub(crate) fn keep_feed(&self, id: Uuid, badge: &Code, name: &str) -> Result<String, NotKept> {
        let token = secret::token(FEED, self.clock.as_ref())?;
        let made_ms = self.clock.now().0;
        let feed = Feed { token: Hashed::of(&token), badge: badge.to_string(), made_ms, name: name.to_owned() };
        self.change(|kept| drop(kept.feeds.insert(id.to_string(), feed)))?;
        Ok(token)
    }

    /// Its address opens nothing any more. True if this badge had it.
    pub(crate) fn forget_feed(&self, id: &Uuid, badge: &Code) -> Result<bool, NotKept> {
        let id = id.to_string();
        let own = self.kept().feeds.get(&id).is_some_and(|feed| feed.badge == badge.as_str());
        if own {
            self.change(|kept| drop(kept.feeds.remove(&id)))?;
        }
        Ok(own)
    }

    /// What a badge has, oldest first.
    pub(crate) fn feeds_of(&self, badge: &Code) -> Vec<(Uuid, Feed)> {
        let kept = self.kept();
        let own = kept.feeds.iter().filter(|(_, feed)| feed.badge == badge.as_str());
        let mut own: Vec<(Uuid, Feed)> = own.filter_map(|(id, feed)| Some((id.parse().ok()?, feed.clone()))).collect();
        own.sort_by_key(|(id, feed)| (feed.made_ms, *id));
        own
    }

    /// The address that has this token: its id, and whose it is.
    pub(crate) fn feed_of(&self, token: &str) -> Option<(String, Code)> {
        let hash = Hashed::of(token);
        let kept = self.kept();
        let (id, feed) = kept.feeds.iter().find(|(_, feed)| feed.token.same(&hash))?;
        Some((id.clone(), Code::new(&feed.badge).ok()?))
    }
}
