//! Receipts, and what people only told. Common practice and the yard's own rules, no source; sums in the comments.

use serde_json::json;
use tests::stepper::Verdict;

use crate::log::{Log, time};

#[test]
fn a_told_take_out_counts_at_once() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").told();
    assert_eq!(log.out_time("R-1", "6 09:00"), 90); // 30 + 60
}

#[test]
fn a_told_put_away_waits_until_a_second_person_confirms_it() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").put("R-1", "6 09:00", "F1").told();
    assert!(log.runs("R-1", "6 10:00"));
    let told = log.last_id();
    log.decide("confirm", "roll/R-1", json!({"entry": told}));
    assert_eq!(log.out_time("R-1", "6 10:00"), 90); // 30 + 60
}

#[test]
fn a_second_badge_on_the_fact_confirms_it_and_the_same_badge_does_not() {
    for (badge, inside) in [("C", true), ("A", false)] {
        let mut log = Log::with_roll("R-1");
        log.out("R-1", "6 08:00").put("R-1", "6 09:00", "F1").told().with("second", json!({"by": badge}));
        assert_eq!(log.runs("R-1", "6 10:00"), !inside, "{badge}");
    }
}

#[test]
fn a_told_sighting_inside_waits_and_one_in_a_room_counts() {
    let mut log = Log::with_roll("R-1");
    log.seen("R-1", "5 10:00", "F1").told().seen("R-1", "5 12:00", "CUT").told();
    assert_eq!(log.out_time("R-1", "5 13:00"), 420); // since the put-away at 06:30, and 06:00 to 06:30
}

#[test]
fn a_told_take_out_inside_a_stretch_that_is_out_anyway_changes_nothing() {
    let mut log = Log::with_roll("R-1");
    log.put("R-1", "6 06:30", "F1").out("R-1", "6 05:30").told();
    // The scan is a wrong placard: out since 06:30 on the 5th, running. Believing the told take-out would end it.
    assert_eq!(log.out_time("R-1", "6 07:00"), 1500); // 06:00 to 07:00 a day later
    assert!(log.runs("R-1", "6 07:00"));
}

#[test]
fn a_told_fact_that_comes_before_a_sighting_adds_and_never_gives_back() {
    let mut log = Log::with_roll("R-1");
    log.seen("R-1", "6 05:45", "F1").put("R-1", "6 06:30", "F1").out("R-1", "6 05:30").told();
    // Without it: out from 05:45, running on after 06:30. With it: also from 05:30.
    assert_eq!(log.out_time("R-1", "6 07:00"), 120); // 30 + 05:30 to 07:00
}

#[test]
fn a_told_take_out_proves_no_order_even_on_the_same_device() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").plus_minus(10).device("D1").told();
    log.put("R-1", "6 08:15", "F1").plus_minus(5).device("D1");
    assert!(log.runs("R-1", "6 10:00"));
}

#[test]
fn what_replaces_a_struck_entry_is_not_told_if_the_strike_has_a_second_person() {
    for (second, inside) in [(true, true), (false, false)] {
        let mut log = Log::with_roll("R-1");
        log.out("R-1", "6 08:00").put("R-1", "6 09:00", "CUT");
        let wrong = log.last_id();
        let instead = json!({"id": "00000000-0000-4000-8000-999999999999", "kind": "roll_put_away",
            "thing": "roll/R-1", "occurred_at": time("6 09:00"), "by": "B", "told": true, "body": {"into": "F1"}});
        log.decide("strike", "roll/R-1", json!({"entry": wrong, "why": "wrong place", "instead": instead}));
        log.with("recorded_at", json!(time("6 10:00")));
        if second {
            log.with("second", json!({"by": "C"}));
        }
        assert_eq!(log.runs("R-1", "6 10:00"), !inside);
    }
}

#[test]
fn the_replacement_of_a_struck_entry_is_the_next_entry() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00");
    let wrong = log.last_id();
    let instead = json!({"id": "00000000-0000-4000-8000-999999999999", "kind": "roll_taken_out",
        "thing": "roll/R-1", "occurred_at": time("6 08:30"), "by": "B", "body": {}});
    log.decide("strike", "roll/R-1", json!({"entry": wrong, "why": "wrong time", "instead": instead}));
    log.with("recorded_at", json!(time("6 09:00")));
    let strike = log.last_seq();
    log.put("R-1", "6 09:00", "F1");
    let entries = log.entries();
    let seqs: Vec<u64> = entries.iter().rev().take(3).map(|entry| entry.seq).collect();
    assert_eq!(seqs, [strike + 2, strike + 1, strike]);
    assert_eq!(log.out_time("R-1", "6 10:00"), 60); // 30 + 08:30 to 09:00
}

#[test]
fn what_a_clock_says_that_is_ahead_counts_from_when_it_was_written() {
    for (written, minutes) in [("6 07:00", 150), ("6 07:57", 93), ("6 07:58", 90)] {
        let mut log = Log::with_roll("R-1");
        log.out("R-1", "6 08:00").with("recorded_at", json!(time(written)));
        assert_eq!(log.out_time("R-1", "6 09:00"), minutes, "{written}"); // 30 and from then on
    }
}

#[test]
fn a_time_that_its_device_does_not_say_is_told() {
    for (said, inside) in [("6 09:15", true), ("6 09:16", false), ("6 08:44", false)] {
        let mut log = Log::with_roll("R-1");
        log.out("R-1", "6 08:00").put("R-1", "6 09:00", "F1").device("D1").with("device_said", json!(time(said)));
        assert_eq!(log.runs("R-1", "6 10:00"), !inside, "{said}");
    }
}

#[test]
fn a_told_disposal_refuses_and_stops_no_clock() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").fact("disposed", "roll/R-1", "6 09:00", json!({"why": "torn"})).told();
    assert_eq!(log.out_time("R-1", "6 10:00"), 150); // 30 + 120
    assert_eq!(log.ask("R-1", "lay", "6 10:00").at_least, Verdict::No);
    let told = log.last_id();
    log.decide("confirm", "roll/R-1", json!({"entry": told}));
    assert_eq!(log.out_time("R-1", "6 10:00"), 90); // 30 + 60
}

#[test]
fn the_receipt_carries_what_was_used_and_what_came_since() {
    let mut log = Log::new();
    log.received("R-1", "PM-1", "5 06:00", None, Some((7200, 1, "4 18:00"))).put("R-1", "5 06:30", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 870); // 120 + 18:00 to 06:30
    assert_eq!(log.refreezes("R-1", "9 00:00"), 1);
}

#[test]
fn from_a_frozen_place_only_the_time_on_the_dock_is_charged() {
    let mut log = Log::new();
    log.received("R-1", "PM-1", "5 06:00", Some("T1"), Some((7200, 1, "4 18:00"))).put("R-1", "5 06:30", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 150); // 120 + 30
}

#[test]
fn a_receipt_at_an_uncertain_time_is_out_from_its_earliest() {
    let mut log = Log::new();
    log.received("R-1", "PM-1", "5 06:00", Some("T1"), Some((0, 0, "4 18:00"))).plus_minus(20);
    log.put("R-1", "5 06:30", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 50); // 05:40 to 06:30
}

#[test]
fn an_opening_that_claims_to_be_later_than_the_receipt_is_as_of_the_receipt() {
    let mut log = Log::new();
    log.received("R-1", "PM-1", "5 06:00", Some("T1"), Some((0, 0, "5 06:20"))).put("R-1", "5 06:30", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 30);
}

#[test]
fn put_away_first_and_booked_in_later_is_no_mismatch() {
    let mut log = Log::new();
    log.put("R-1", "5 06:20", "F1");
    log.received("R-1", "PM-1", "5 08:00", Some("T1"), Some((3600, 0, "4 18:00")));
    assert_eq!(log.out_time("R-1", "9 00:00"), 60);
    assert!(log.mismatches("R-1").is_empty());
    assert_eq!(log.ask("R-1", "lay", "5 07:00").at_least, Verdict::No); // not received by then
}

#[test]
fn of_two_receipts_the_worse_binds_for_each_limit() {
    let mut log = Log::new();
    log.received("R-1", "PM-1", "5 06:00", Some("T1"), Some((36_000, 0, "5 06:00"))).put("R-1", "5 06:30", "F1");
    log.received("R-1", "PM-1", "5 06:10", Some("T1"), Some((7200, 2, "5 06:10")));
    assert_eq!(log.out_time("R-1", "9 00:00"), 630); // 600 + 30, the other 120 + 20
    assert_eq!(log.refreezes("R-1", "9 00:00"), 2);
}

#[test]
fn without_an_opening_nothing_can_be_said() {
    let mut log = Log::new();
    log.received("R-1", "PM-1", "5 06:00", Some("T1"), None);
    let view = log.ask("R-1", "lay", "5 07:00");
    assert_eq!((view.at_least, view.row("out_life")), (Verdict::CannotSay, None));
}

#[test]
fn a_roll_that_is_cut_to_its_end_is_used_up_and_its_clock_stands() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00");
    log.cut("K-1", "6 09:00", &["R-1"]).cut("K-2", "6 10:00", &["R-1"]); // 40 of 50 m
    assert_eq!(log.ask("R-1", "lay", "6 11:00").at_least, Verdict::Yes);
    log.cut("K-3", "6 11:00", &["R-1"]);
    assert_eq!(log.ask("R-1", "lay", "6 12:00").at_least, Verdict::No);
    assert_eq!(log.out_time("R-1", "6 12:00"), 210); // 30 + 08:00 to 11:00
}
