//! What somebody who looks after the server has to do now: worked out when asked, in sentences, for pages and programs.

use shared_types::Instant;

use crate::yard::Yard;

const DAY_MS: i64 = 24 * 60 * 60 * 1_000;
/// Whoever looks at the pages once a day sees it in time.
const CERTIFICATE_DAYS: i64 = 30;

impl Yard {
    /// Nothing, where all is well.
    pub(crate) fn alarms(&self) -> Vec<String> {
        let now = self.now();
        let certificate = self.identity().and_then(|identity| ends(identity.ends(), now));
        let backup = self.schedule().and_then(|schedule| schedule.alarm(now));
        let room = self.committer.no_room().map(|why| {
            format!(
                "The next piece of the log can't be laid down ({why}): make space on the disk before this one is full. It is \
                 tried again every 10 s."
            )
        });
        self.behind().into_iter().chain(room).chain(certificate).chain(backup).collect()
    }

    fn behind(&self) -> Option<String> {
        let seen = self.checkpoints.ahead()?;
        Some(format!(
            "This log is an older copy: it has {} entries, and a device has seen {seen} of it. Stop the server and restore a \
             newer backup, or have what came after recorded again.",
            self.reader.last_seq()
        ))
    }
}

/// Of a certificate, from 30 days before its end on; its day and how far it is.
fn ends(at: Instant, now: Instant) -> Option<String> {
    let left_ms = at.since(now);
    let days = left_ms.div_euclid(DAY_MS);
    let cure = "Make a new one with rimebook certify, or replace the files that --cert and --key name";
    match days {
        ..0 => Some(format!(
            "The server's certificate has ended: handhelds no longer reach it, and what they scan is not sent. {cure}."
        )),
        0 => {
            Some(format!("The server's certificate ends within a day: then handhelds no longer reach it. {cure} now."))
        }
        1..=CERTIFICATE_DAYS => {
            let days = if days == 1 { "1 day".to_owned() } else { format!("{days} days") };
            Some(format!("The server's certificate ends in {days}: then handhelds no longer reach it. {cure}."))
        }
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_certificate_is_spoken_of_from_thirty_days_before_its_end() {
        let said = |days: i64, ms: i64| ends(Instant(days * DAY_MS + ms), Instant(0)).unwrap_or_default();
        assert_eq!(said(31, 0), "");
        for (days, ms, words) in [
            (30, DAY_MS - 1, "ends in 30 days"),
            (30, -1, "ends in 29 days"),
            (14, 0, "ends in 14 days"),
            (7, 0, "ends in 7 days"),
            (1, 0, "ends in 1 day:"),
            (1, -1, "ends within a day"),
            (0, -1, "has ended"),
            (-40, 0, "has ended"),
        ] {
            assert!(said(days, ms).contains(words), "{days} {ms}: {}", said(days, ms));
        }
    }
}
