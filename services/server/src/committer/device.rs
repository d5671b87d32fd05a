//! What the device of a fact makes of it: whether it is believed to come from there, and whether its time was told.

use domain::{
    Book,
    standing::{self, Standing},
};
use shared_types::{Entry, Instant, KnownBy};

use crate::intake::NewFact;

/// A fact of no enrolled device whose time differs from the server's clock by more than this is told: 15 min, in
/// milliseconds.
const TOLD_MS: i64 = 15 * 60 * 1_000;

/// A device's clock is measured by a request that was on its way for a while: no better than this, in milliseconds.
const MEASURED_MS: i64 = 2_000;

/// Whether a fact was told. An enrolled device says when it was made, by its own clock, which may be known to be wrong by
/// `clock_ahead_ms`; elsewhere the server's clock does, `now`, which may be behind what is recorded when it was set back.
pub(super) fn is_told(book: &Book, fact: &Entry, clock_ahead_ms: Option<i64>, now: Instant) -> bool {
    match (fact.device_known, fact.device_said) {
        (Some(known), Some(said)) if known != KnownBy::Claimed => {
            let made = said.at.plus_ms(clock_ahead_ms.unwrap_or(0).saturating_neg());
            let sure = i64::from(fact.uncertain_by_ms).saturating_add(clock_ahead_ms.map_or(0, |_| MEASURED_MS));
            sure < fact.occurred_at.at.since(made).saturating_abs()
        }
        _ => fact.occurred_at.at.since(now).saturating_abs() > TOLD_MS || is_revoked(book, fact),
    }
}

/// What somebody says of a device that was revoked waits for another, whenever it is said to have happened.
fn is_revoked(book: &Book, fact: &Entry) -> bool {
    fact.device.as_ref().is_some_and(|device| standing::device(book, device) == Standing::Revoked)
}

/// A device that is not enrolled, or no longer, is only said to have sent it, whatever it showed when it was asked.
pub(super) fn as_enrolled(book: &Book, fact: NewFact) -> serde_json::Result<NewFact> {
    let shown = fact.entry.device.as_ref().filter(|_| fact.entry.device_known.is_some_and(|by| by != KnownBy::Claimed));
    match shown.is_some_and(|device| standing::device(book, device) != Standing::Enrolled) {
        true => NewFact::new(Entry { device_known: Some(KnownBy::Claimed), ..fact.entry }, fact.raw),
        false => Ok(fact),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        committer::{Item, Outcome, request},
        testing::{Bench, START, asked, decision, fact, taken_out},
        yard::Yard,
    };
    use serde_json::{Value, json};
    use shared_types::Stamp;

    fn decide(yard: &Yard, number: u64, decide: &str, body: Value) {
        let item = asked(number, decide, "device/H-3", yard.read().last_seq(), body);
        let outcome = yard.committer.submit_blocking(decision(&item));
        assert!(matches!(outcome, Outcome::Written(_)), "{outcome:?}");
    }

    /// Scanned by H-3 at `occurred`, which it says was `said`, both in milliseconds from the start.
    fn scanned(number: u64, occurred: i64, said: Option<i64>, uncertain_ms: u32) -> NewFact {
        let stamp = |ms: i64| json!(Stamp::utc(START.plus_ms(ms)).to_string());
        let mut item = taken_out(number, "R-42");
        item["occurred_at"] = stamp(occurred);
        item["device"] = json!("H-3");
        item["uncertain_by_ms"] = json!(uncertain_ms);
        if let Some(said) = said {
            item["device_said"] = stamp(said);
        }
        let read = fact(&item);
        NewFact::new(Entry { device_known: Some(KnownBy::Token), ..read.entry }, read.raw).unwrap()
    }

    fn stored(yard: &Yard, fact: NewFact) -> Entry {
        match yard.committer.submit_blocking(fact) {
            Outcome::Written(written) => Entry::read(&yard.reader.line(written.seq).unwrap()).unwrap(),
            other => panic!("{other:?}"),
        }
    }

    const HOUR: i64 = 3_600_000;

    #[test]
    fn an_enrolled_devices_scan_is_told_only_where_its_time_is_not_when_it_was_made() {
        let bench = Bench::new();
        let yard = bench.open();
        decide(&yard, 900, "enrol_device", json!({"what": "handheld"}));
        let scan = |number, occurred, said, uncertain| {
            let entry = stored(&yard, scanned(number, occurred, said, uncertain));
            assert_eq!(entry.device_known, Some(KnownBy::Token));
            entry.told
        };
        // Sent eight hours later, and made when it says.
        assert!(!scan(1, -8 * HOUR, Some(-8 * HOUR), 0));
        assert!(!scan(2, -8 * HOUR, Some(-8 * HOUR + 60_000), 60_000));
        assert!(scan(3, -8 * HOUR, Some(-8 * HOUR + 60_001), 60_000));
        assert!(scan(4, -HOUR, Some(0), 0));
        // A device that does not say when it was made is measured by the server's clock.
        assert!(scan(5, -HOUR, None, 0) && !scan(6, -60_000, None, 0));
    }

    #[test]
    fn a_devices_clock_that_is_known_to_be_wrong_is_put_right() {
        let bench = Bench::new();
        let yard = bench.open();
        decide(&yard, 900, "enrol_device", json!({"what": "handheld"}));
        let scan = |number, occurred, said, ahead| {
            let fact = NewFact { clock_ahead_ms: ahead, ..scanned(number, occurred, Some(said), 0) };
            stored(&yard, fact).told
        };
        // Half an hour ahead, and it knows that itself: what it says, less half an hour, is when it happened.
        let half = HOUR / 2;
        assert!(!scan(1, -HOUR, -half, Some(half)));
        assert!(!scan(2, -HOUR, -half + 2_000, Some(half)) && scan(3, -HOUR, -half + 2_001, Some(half)));
        // Nobody measured it: half an hour is a difference.
        assert!(scan(4, -HOUR, -half, None));
        assert!(scan(5, -HOUR, -HOUR, Some(half)) && !scan(6, -half, -HOUR, Some(-half)));
    }

    #[test]
    fn what_comes_from_a_revoked_device_is_claimed_and_told_and_what_came_before_stays_good() {
        let bench = Bench::new();
        let yard = bench.open();
        decide(&yard, 900, "enrol_device", json!({"what": "handheld"}));
        let before = stored(&yard, scanned(1, -HOUR, Some(-HOUR), 0));
        decide(&yard, 901, "revoke_device", json!({"why": "lost"}));
        let after = stored(&yard, scanned(2, -HOUR, Some(-HOUR), 0));
        assert_eq!((before.told, before.device_known), (false, Some(KnownBy::Token)));
        assert_eq!((after.told, after.device_known), (true, Some(KnownBy::Claimed)));
        // Even what is said to happen now.
        assert!(stored(&yard, scanned(3, 0, Some(0), 0)).told);
        let kept = Entry::read(&yard.reader.line(before.seq).unwrap()).unwrap();
        assert_eq!(kept, before);
    }

    #[test]
    fn what_is_written_behind_a_revocation_is_judged_by_it_also_when_both_came_at_once() {
        let bench = Bench::new();
        let yard = bench.open();
        decide(&yard, 900, "enrol_device", json!({"what": "handheld"}));
        bench.hand.hold();
        let hand_in = |item: Item| {
            let (request, answer) = request(item);
            yard.committer.queue.push_blocking(request);
            answer
        };
        let held = hand_in(fact(&taken_out(1, "R-1")).into());
        bench.hand.somebody_waits();
        let scan = hand_in(scanned(2, -HOUR, Some(-HOUR), 0).into());
        let last = yard.read().last_seq() + 1;
        let revoked = asked(901, "revoke_device", "device/H-3", last, json!({"why": "lost"}));
        let revoked = hand_in(decision(&revoked).into());
        bench.hand.let_go();
        assert!(matches!(held.blocking_recv(), Ok(Outcome::Written(_))));
        let seq = |answer: Result<Outcome, _>| match answer {
            Ok(Outcome::Written(written)) => written.seq,
            other => panic!("{other:?}"),
        };
        let (scan, revoked) = (seq(scan.blocking_recv()), seq(revoked.blocking_recv()));
        assert!(revoked < scan, "a decision is written before the facts of its take");
        let entry = Entry::read(&yard.reader.line(scan).unwrap()).unwrap();
        assert_eq!((entry.told, entry.device_known), (true, Some(KnownBy::Claimed)));
    }

    #[test]
    fn a_device_that_nobody_enrolled_is_claimed_whatever_it_shows() {
        let bench = Bench::new();
        let yard = bench.open();
        let entry = stored(&yard, scanned(1, -HOUR, Some(-HOUR), 0));
        assert_eq!((entry.told, entry.device_known, entry.scanned_by()), (true, Some(KnownBy::Claimed), None));
    }
}
