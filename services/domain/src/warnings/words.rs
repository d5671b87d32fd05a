//! The sentences of warnings: who, what, by when, and why.

use super::Asked;
use crate::lists::Ends;
use crate::say::{Dates, left, so_far};
use shared_types::{Instant, LimitName};

const DAY_MS: i64 = 86_400_000;

impl Asked<'_> {
    /// `by Thu 09:00, in 5 h 20 min`, or that it is late.
    pub(super) fn by(&self, act_by: Instant) -> String {
        let at = self.read.at;
        match at <= act_by {
            true => format!("by {}{}", self.say.time(act_by, at), self.in_words(act_by)),
            false => format!("now; it was to be done by {}", self.say.time(act_by, at)),
        }
    }

    /// `Its tack life ends Thu 10:00, in 6 h 20 min, while the yard is closed.`
    pub(super) fn ends_words(&self, limit: LimitName, act_by: Instant, end: &Ends, because: &str) -> String {
        let (at, ends) = (self.read.at, end.at);
        let what = crate::say::limit(limit);
        if ends < at {
            let since = self.say.time(ends, at);
            return match self.say.dates {
                // By how much is no matter of since when: its clock may stand now, and it may have come over already.
                Dates::Near => {
                    let by = so_far(end.left_ms.saturating_neg());
                    format!("It is {by} over its {what}{because}, since {since}.")
                }
                Dates::Full => format!("It is over its {what}{because}, since {since}."),
            };
        }
        if act_by == ends {
            return format!("Its {what}{because} ends then.");
        }
        let closed = if self.calendar.last_open(ends) < ends { ", while the yard is closed" } else { "" };
        let spare = self.calendar.last_open(ends) == ends && 0 < self.spare_ms;
        let spare = if spare { format!("; {} is spare time", left(self.spare_ms)) } else { String::new() };
        format!("Its {what}{because} ends {}{}{closed}{spare}.", self.say.time(ends, at), self.in_words(ends))
    }

    /// `, in 5 h 20 min`: not where it is read at another time.
    fn in_words(&self, then: Instant) -> String {
        match self.say.dates {
            Dates::Near => format!(", in {}", ahead(then.since(self.read.at))),
            Dates::Full => String::new(),
        }
    }
}

/// A duration ahead: in hours and minutes, from ten days on in days.
pub(super) fn ahead(ms: i64) -> String {
    match 10 * DAY_MS <= ms {
        true => format!("{} days", ms / DAY_MS),
        false => left(ms),
    }
}

#[cfg(test)]
mod tests {
    use super::{DAY_MS, ahead};

    #[test]
    fn what_is_far_ahead_is_said_in_days() {
        assert_eq!(ahead(10 * DAY_MS), "10 days");
        assert_eq!(ahead(10 * DAY_MS - 1), "239 h 59 min");
    }
}
