//! Rolls whose facts were scanned: door to door, wrong placards, uncertain instants, refreezes, settlements.
//! Common practice and the yard's own rules, no source; each sum is worked out in the comment.

use serde_json::json;

use crate::log::{Log, ms, time};

#[test]
fn the_clock_runs_from_the_dock_to_the_put_away() {
    let log = Log::with_roll("R-1");
    assert_eq!(log.out_time("R-1", "5 06:10"), 10); // 06:00 to 06:10
    assert_eq!(log.out_time("R-1", "5 12:00"), 30); // 06:00 to 06:30
    assert!(log.runs("R-1", "5 06:29"));
    assert!(!log.runs("R-1", "5 06:30"));
}

#[test]
fn a_take_out_runs_until_the_put_away_at_full_rate() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").put("R-1", "6 09:15", "F2");
    assert_eq!(log.out_time("R-1", "6 08:40"), 70); // 30 + 40
    assert_eq!(log.out_time("R-1", "9 00:00"), 105); // 30 + 75
}

#[test]
fn a_second_take_out_keeps_the_clock_running_from_the_first() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").out("R-1", "6 08:30").put("R-1", "6 09:00", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 90); // 30 + 60
    assert_eq!(log.mismatches("R-1"), ["out_while_out"]);
}

#[test]
fn a_put_away_while_in_the_same_place_counts_as_a_take_out_since_last_known_inside() {
    let mut log = Log::with_roll("R-1");
    log.put("R-1", "6 06:30", "F1");
    assert_eq!(log.out_time("R-1", "6 07:00"), 1500); // 30 + 24 h + 30, and it runs on
    assert!(log.runs("R-1", "20 00:00"));
    assert_eq!(log.mismatches("R-1"), ["in_while_in"]);
}

#[test]
fn a_sighting_inside_shortens_what_a_wrong_placard_costs() {
    let mut log = Log::with_roll("R-1");
    log.seen("R-1", "6 05:30", "F1").put("R-1", "6 06:30", "F1").put("R-1", "6 08:30", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 210); // 30 + 05:30 to 08:30
    assert!(!log.runs("R-1", "9 00:00"));
}

#[test]
fn a_put_away_in_another_freezer_charges_the_stretch_and_ends_it() {
    let mut log = Log::with_roll("R-1");
    log.put("R-1", "5 08:30", "F2");
    assert_eq!(log.out_time("R-1", "9 00:00"), 150); // 06:00 to 08:30
    assert!(!log.runs("R-1", "5 08:30"));
    assert_eq!(log.mismatches("R-1"), ["in_while_in_elsewhere"]);
    assert_eq!(log.refreezes("R-1", "9 00:00"), 1); // 120 min is more than 30
}

#[test]
fn a_sighting_in_another_freezer_charges_like_a_put_away_there_but_is_no_refreeze() {
    let mut log = Log::with_roll("R-1");
    log.seen("R-1", "5 08:30", "F2").put("R-1", "5 09:30", "F2");
    // 06:00 to 08:30; the put-away in F2 at 09:30 is then one in the same place: 08:30 on, running.
    assert_eq!(log.out_time("R-1", "5 10:00"), 240);
    assert_eq!(log.refreezes("R-1", "5 10:00"), 0);
}

#[test]
fn seen_inside_while_out_changes_nothing() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").seen("R-1", "6 08:20", "F1");
    assert_eq!(log.out_time("R-1", "6 09:00"), 90); // 30 + 60
    assert_eq!(log.mismatches("R-1"), ["seen_inside_while_out"]);
}

#[test]
fn seen_in_a_room_while_inside_is_out_since_last_known_inside() {
    let mut log = Log::with_roll("R-1");
    log.seen("R-1", "5 10:00", "CUT");
    assert_eq!(log.out_time("R-1", "5 11:00"), 300); // since 06:00
    assert_eq!(log.mismatches("R-1"), ["acted_while_inside"]);
}

#[test]
fn a_put_away_into_a_room_or_an_unknown_place_is_a_sighting_outside() {
    for place in ["LAY", "NOWHERE"] {
        let mut log = Log::with_roll("R-1");
        log.put("R-1", "5 10:00", place);
        assert_eq!(log.out_time("R-1", "5 11:00"), 300, "{place}"); // since 06:00
    }
}

#[test]
fn a_cut_while_inside_is_out_since_last_known_inside_and_runs_on() {
    let mut log = Log::with_roll("R-1");
    log.cut("K-1", "5 08:00", &["R-1"]).put("R-1", "5 09:00", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 180); // 06:00 to 09:00
    assert_eq!(log.mismatches("R-1"), ["acted_while_inside"]);
}

#[test]
fn late_facts_take_their_place_and_known_is_what_was_recorded_by_then() {
    let mut log = Log::with_roll("R-1");
    let before = log.last_seq();
    log.put("R-1", "6 12:00", "F1").out("R-1", "6 11:00");
    assert_eq!(log.ask_known("R-1", "lay", "6 11:30", before).row("out_life").unwrap().so_far, Some(1800));
    assert_eq!(log.out_time("R-1", "6 11:30"), 60); // 30 + 30
    assert_eq!(log.out_time("R-1", "9 00:00"), 90); // 30 + 60
}

#[test]
fn a_struck_entry_never_was() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00");
    let wrong = log.last_id();
    log.strike(&wrong);
    assert_eq!(log.out_time("R-1", "9 00:00"), 30);
}

#[test]
fn a_strike_is_not_struck() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00");
    let wrong = log.last_id();
    log.strike(&wrong);
    let strike = log.last_id();
    log.strike(&strike);
    assert_eq!(log.out_time("R-1", "9 00:00"), 30);
}

#[test]
fn uncertain_instants_are_charged_from_the_earliest_to_the_latest() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").plus_minus(10).put("R-1", "6 09:00", "F1").plus_minus(5);
    assert_eq!(log.out_time("R-1", "9 00:00"), 105); // 30 + 07:50 to 09:05
}

#[test]
fn an_uncertain_repeat_is_charged_at_its_earliest() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").out("R-1", "6 08:10").plus_minus(30).put("R-1", "6 09:00", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 110); // 30 + 07:40 to 09:00
}

#[test]
fn a_put_away_that_may_be_before_the_take_out_does_not_end_it() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").plus_minus(10).put("R-1", "6 08:15", "F1").plus_minus(5);
    assert_eq!(log.out_time("R-1", "6 10:00"), 160); // 08:10 is not after 08:10: 30 + 07:50 on
    assert_eq!(log.mismatches("R-1"), ["put_away_not_after_take_out"]);
}

#[test]
fn one_device_knows_the_order_of_its_own_scans() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").plus_minus(10).device("D1").put("R-1", "6 08:15", "F1").plus_minus(5).device("D1");
    assert_eq!(log.out_time("R-1", "6 10:00"), 60); // 30 + 07:50 to 08:20
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").plus_minus(10).device("D1").put("R-1", "6 08:15", "F1").plus_minus(5).device("D2");
    assert!(log.runs("R-1", "6 10:00"));
}

#[test]
fn a_device_that_is_only_claimed_proves_no_order() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").plus_minus(10).device("D1").with("device_known", json!("claimed"));
    log.put("R-1", "6 08:15", "F1").plus_minus(5).device("D1").with("device_known", json!("claimed"));
    assert!(log.runs("R-1", "6 10:00"));
}

#[test]
fn equal_instants_do_not_end_a_take_out() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").put("R-1", "6 08:00", "F1").device("D1");
    assert!(log.runs("R-1", "6 10:00")); // the one without a device comes first; 08:00 is not after 08:00
}

#[test]
fn a_put_away_must_be_after_every_take_out_of_the_stretch() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").plus_minus(40).out("R-1", "6 08:10").put("R-1", "6 08:30", "F1");
    assert!(log.runs("R-1", "6 10:00")); // the first one may have been as late as 08:40
    log.put("R-1", "6 08:45", "F2");
    assert_eq!(log.out_time("R-1", "6 10:00"), 115); // 30 + 07:20 to 08:45
}

#[test]
fn the_rack_time_is_charged_unless_the_position_was_scanned() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").put("R-1", "6 09:00", "F3");
    assert_eq!(log.out_time("R-1", "9 00:00"), 100); // 30 + 60 + 10
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").put("R-1", "6 09:00", "F3").with("body", json!({"into": "F3", "position": "A3"}));
    assert_eq!(log.out_time("R-1", "9 00:00"), 90); // 30 + 60
}

#[test]
fn overlapping_stretches_are_charged_once() {
    let mut log = Log::with_roll("R-1");
    // 08:00 to 09:10 with the rack time, and from 09:00 (05 - 5) to 10:00: 120 min, not 130.
    log.out("R-1", "6 08:00").put("R-1", "6 09:00", "F3").out("R-1", "6 09:05").plus_minus(5);
    log.put("R-1", "6 10:00", "F1");
    assert_eq!(log.out_time("R-1", "9 00:00"), 150); // 30 + 120
}

#[test]
fn a_refreeze_is_a_return_from_a_stretch_longer_than_stated_and_goods_in_is_none() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").put("R-1", "6 08:30", "F1"); // 30 min, not longer
    assert_eq!(log.refreezes("R-1", "9 00:00"), 0);
    log.out("R-1", "7 08:00").put("R-1", "7 08:31", "F1"); // 31 min
    assert_eq!(log.refreezes("R-1", "9 00:00"), 1);
    assert_eq!(log.refreezes("R-1", "7 08:00"), 0); // read before it came back
}

#[test]
fn one_refreeze_too_many_refuses() {
    let mut log = Log::with_roll("R-1");
    for day in 6..=8 {
        log.out("R-1", &format!("{day} 08:00")).put("R-1", &format!("{day} 09:00"), "F1");
    }
    let view = log.ask("R-1", "lay", "9 00:00");
    assert_eq!(view.row("refreezes").unwrap().left, -1);
    assert_eq!(view.at_least, tests::stepper::Verdict::No);
}

/// A roll that went in at 06:30 on the 5th and was scanned in again at 06:30 on the 6th.
fn wrong_placard(answer: serde_json::Value) -> Log {
    let mut log = Log::with_roll("R-1");
    log.put("R-1", "6 06:30", "F1").settle("in_while_in", answer);
    log
}

#[test]
fn settled_as_out_since_it_was_out_from_then_to_the_scan() {
    let log = wrong_placard(json!({"out_since": time("6 05:30")}));
    assert_eq!(log.out_time("R-1", "9 00:00"), 90); // 30 + 60
    assert_eq!(log.refreezes("R-1", "9 00:00"), 1);
}

#[test]
fn settled_as_put_away_it_was_out_until_then_and_inside_since() {
    let log = wrong_placard(json!({"put_away_at": time("5 07:30")}));
    assert_eq!(log.out_time("R-1", "9 00:00"), 90); // 06:00 to 07:30
    assert_eq!(log.refreezes("R-1", "9 00:00"), 1); // 60 min since last known inside
}

#[test]
fn settled_as_a_take_out_it_runs_from_the_scan() {
    let log = wrong_placard(json!({"was_take_out": true}));
    assert_eq!(log.out_time("R-1", "6 07:30"), 90); // 30 + 60
    assert!(log.runs("R-1", "9 00:00"));
}

#[test]
fn settled_as_carried_over_it_was_out_that_long_before_the_scan_and_not_frozen_again() {
    let log = wrong_placard(json!({"carried_over_s": 2400}));
    assert_eq!(log.out_time("R-1", "9 00:00"), 70); // 30 + 40
    assert_eq!(log.out_time("R-1", "6 06:00"), 40); // 05:50 to 06:00
    assert_eq!(log.refreezes("R-1", "9 00:00"), 0);
}

#[test]
fn assigned_hours_are_charged_whole_where_it_was_last_known_inside() {
    let log = wrong_placard(json!({"assigned_s": 7200}));
    assert_eq!(log.out_time("R-1", "9 00:00"), 150); // 30 + 120
    assert_eq!(log.out_time("R-1", "5 06:29"), 29);
    assert_eq!(log.out_time("R-1", "5 06:30"), 150);
}

#[test]
fn settled_as_another_roll_the_scan_moves_to_it() {
    let mut log = Log::with_roll("R-1");
    log.roll("R-2", "PM-1").out("R-2", "6 06:00");
    log.put("R-1", "6 06:30", "F1").settle("in_while_in", json!({"other": "roll/R-2"}));
    assert_eq!(log.out_time("R-1", "9 00:00"), 30);
    assert_eq!(log.out_time("R-2", "9 00:00"), 60); // 30 + 06:00 to 06:30
}

#[test]
fn a_settlement_whose_mismatch_does_not_arise_does_nothing() {
    let mut log = wrong_placard(json!({"carried_over_s": 2400}));
    log.out("R-1", "6 05:30"); // recorded late: the scan was a put-away after all
    assert_eq!(log.out_time("R-1", "9 00:00"), 90); // 30 + 60
}

#[test]
fn of_two_settlements_the_later_counts() {
    let mut log = Log::with_roll("R-1");
    log.put("R-1", "6 06:30", "F1");
    let scan = log.last_id();
    for minutes in [40, 50] {
        let mismatch = json!({"kind": "in_while_in", "entry": scan});
        log.decide("settle", "roll/R-1", json!({"mismatch": mismatch, "answer": {"carried_over_s": minutes * 60}}));
    }
    assert_eq!(log.out_time("R-1", "9 00:00"), 80); // 30 + 50
}

#[test]
fn out_while_out_settled_as_put_away_ends_the_first_stretch_in_its_last_place() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").out("R-1", "6 12:00");
    log.settle("out_while_out", json!({"put_away_at": time("6 09:00")}));
    assert_eq!(log.out_time("R-1", "6 13:00"), 150); // 30 + 60 + 60
    assert_eq!(log.refreezes("R-1", "6 13:00"), 1);
    assert_eq!(log.mismatches("R-1"), ["out_while_out"]);
}

#[test]
fn seen_inside_while_out_settled_as_put_away_is_inside_from_then() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").seen("R-1", "6 12:00", "F2");
    log.settle("seen_inside_while_out", json!({"put_away_at": time("6 09:00")}));
    log.put("R-1", "6 13:00", "F2");
    // 30 + 08:00 to 09:00; the last put-away is one in the same place: since the sighting at 12:00, running.
    assert_eq!(log.out_time("R-1", "6 14:00"), 210);
}

#[test]
fn an_act_settled_as_out_since_runs_on_from_then() {
    let mut log = Log::with_roll("R-1");
    log.cut("K-1", "6 08:00", &["R-1"]);
    log.settle("acted_while_inside", json!({"out_since": time("6 07:40")}));
    assert_eq!(log.out_time("R-1", "6 09:00"), 110); // 30 + 80
}

#[test]
fn a_limit_that_is_over_and_runs_stops() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00");
    // Tack life 50 h, 30 min gone: used up at 09:30 on the 8th, and exactly there still within.
    let view = log.ask("R-1", "lay", "8 09:30");
    assert_eq!((view.row("tack_life").unwrap().left, view.stop), (0, Some(false)));
    let view = log.ask("R-1", "lay", "8 09:31");
    assert_eq!((view.row("tack_life").unwrap().left, view.stop), (-60, Some(true)));
    assert_eq!(view.row("tack_life").unwrap().ends_at_ms, Some(ms("8 09:30")));
    log.put("R-1", "8 10:00", "F1");
    let view = log.ask("R-1", "lay", "8 11:00");
    assert_eq!((view.at_least, view.stop), (tests::stepper::Verdict::No, Some(false)));
}
