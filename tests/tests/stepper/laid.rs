//! Kits, stages, shelf life. Common practice and the yard's own rules, no source; sums in the comments.

use serde_json::{Value, json};
use tests::stepper::Verdict;

use crate::log::{Log, ms, time};

/// R-1 out at 08:00 on the 6th, K-1 cut at 09:00, R-1 put away at 09:10.
fn with_kit() -> Log {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").cut("K-1", "6 09:00", &["R-1"]).put("R-1", "6 09:10", "F1");
    log
}

/// K-1 laid at 12:00 on the 6th.
fn with_stage() -> Log {
    let mut log = with_kit();
    log.laid("K-1", "6 12:00", &[]);
    log
}

fn started(log: &mut Log, at: &str) {
    log.fact("oven_run_started", "run/X-1", at, json!({"oven": "O1", "stages": [{"part": "P-1", "stage": "skin"}]}));
}

fn ended(log: &mut Log, at: &str, body: Value) {
    log.fact("oven_run_ended", "run/X-1", at, body);
}

#[test]
fn a_kit_carries_its_rolls_history_up_to_the_cut_and_then_its_own() {
    let mut log = with_kit();
    log.put("K-1", "6 10:00", "F2");
    assert_eq!(log.out_time("K-1", "9 00:00"), 150); // 30 + 60 of the roll, 60 of its own
    assert_eq!(log.out_time("R-1", "9 00:00"), 100); // 30 + 70
    assert_eq!(log.ask("K-1", "lay", "6 08:59").at_least, Verdict::No); // not cut yet
}

#[test]
fn later_facts_about_the_time_before_the_cut_reach_the_kit() {
    let mut log = with_kit();
    log.put("K-1", "6 10:00", "F2").out("R-1", "6 07:00");
    assert_eq!(log.out_time("K-1", "9 00:00"), 210); // 30 + 07:00 to 10:00
}

#[test]
fn a_kits_first_refreeze_runs_from_the_rolls_take_out() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").cut("K-1", "6 08:20", &["R-1"]).put("K-1", "6 08:25", "F2");
    assert_eq!(log.refreezes("K-1", "9 00:00"), 0); // 25 min
    log.out("K-1", "7 08:00").put("K-1", "7 08:31", "F2");
    assert_eq!(log.refreezes("K-1", "9 00:00"), 1); // 31 min
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").cut("K-1", "6 08:20", &["R-1"]).put("K-1", "6 08:31", "F2");
    assert_eq!(log.refreezes("K-1", "9 00:00"), 1); // 31 min since 08:00
}

#[test]
fn a_kits_refreezes_add_to_the_rolls_at_the_cut() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").put("R-1", "6 09:00", "F1"); // one before the cut
    log.out("R-1", "7 08:00").cut("K-1", "7 08:30", &["R-1"]).put("R-1", "7 09:00", "F1"); // one after it
    log.put("K-1", "7 10:00", "F1");
    assert_eq!(log.refreezes("K-1", "9 00:00"), 2);
    assert_eq!(log.refreezes("R-1", "9 00:00"), 2);
}

#[test]
fn a_kit_is_as_good_as_the_worst_of_its_rolls() {
    let mut log = Log::with_roll("R-1");
    log.roll("R-2", "PM-1").out("R-2", "6 06:00").out("R-1", "6 08:00").cut("K-1", "6 09:00", &["R-1", "R-2"]);
    let row = log.row("K-1", "out_life", "6 10:00");
    assert_eq!((row.item.as_str(), row.so_far), ("roll/R-2", Some(270 * 60))); // 30 + 06:00 to 10:00
}

#[test]
fn a_kit_is_used_up_when_all_its_items_were_laid_and_a_named_item_stays_until_then() {
    let mut log = Log::with_roll("R-1");
    log.roll("R-2", "PM-1").out("R-2", "6 06:00").out("R-1", "6 08:00").cut("K-1", "6 09:00", &["R-1", "R-2"]);
    log.laid("K-1", "6 11:00", &["R-2"]);
    assert_eq!(log.row("K-1", "out_life", "6 12:00").item, "roll/R-2");
    assert_eq!(log.ask("K-1", "lay", "6 12:00").at_least, Verdict::Yes);
    log.laid("K-1", "6 13:00", &["R-1"]);
    assert_eq!(log.ask("K-1", "lay", "6 14:00").at_least, Verdict::No);
    assert_eq!(log.out_time("K-1", "6 14:00"), 450); // 30 + 06:00 to 13:00
}

#[test]
fn laid_plies_age_on_and_wait_for_their_cure_from_the_first_ply() {
    let log = with_stage();
    let view = log.ask("P-1", "oven", "6 15:00");
    assert_eq!(view.row("out_life").unwrap().so_far, Some(450 * 60)); // 30 + 08:00 to 15:00
    assert_eq!(view.row("lay_to_cure").unwrap().so_far, Some(180 * 60)); // 12:00 to 15:00
    assert_eq!(view.row("lay_to_cure").unwrap().ends_at_ms, Some(ms("7 12:00")));
    assert_eq!(log.ask("P-1", "oven", "6 11:59").at_least, Verdict::No); // nothing laid yet
}

#[test]
fn the_first_ply_is_where_the_range_was_begun_at_the_earliest() {
    let mut log = with_kit();
    let body = json!({"stage": "skin", "from": "kit/K-1", "from_at": time("6 11:00")});
    log.fact("plies_laid", "part/P-1", "6 12:00", body).plus_minus(15);
    assert_eq!(log.row("P-1", "lay_to_cure", "6 15:00").so_far, Some(255 * 60)); // 10:45 to 15:00
}

#[test]
fn a_laid_stage_past_its_waiting_time_stops() {
    let log = with_stage();
    assert_eq!(log.ask("P-1", "oven", "7 12:00").stop, Some(false));
    assert_eq!(log.ask("P-1", "oven", "7 12:01").stop, Some(true));
}

#[test]
fn waiting_from_lay_up_complete_begins_there_and_until_it_is_recorded_at_the_first_ply() {
    let mut log = Log::new();
    log.roll("R-1", "PM-2").out("R-1", "6 08:00").cut("K-1", "6 09:00", &["R-1"]).laid("K-1", "6 10:00", &[]);
    assert_eq!(log.row("P-1", "lay_to_cure", "6 14:00").so_far, Some(240 * 60));
    log.fact("layup_completed", "part/P-1", "6 13:00", json!({"stage": "skin"}));
    assert_eq!(log.row("P-1", "lay_to_cure", "6 14:00").so_far, Some(60 * 60));
    assert!(log.ask("P-1", "oven", "6 14:00").row("tack_life").is_none()); // none, by DOC-7
}

#[test]
fn a_confirmed_run_stops_the_clocks_at_its_start() {
    let mut log = with_stage();
    started(&mut log, "6 14:00");
    ended(&mut log, "6 20:00", json!({"committed_at": time("6 15:00"), "cured": true, "source": "chart"}));
    let view = log.ask("P-1", "oven", "9 00:00");
    let out_life = view.row("out_life").unwrap();
    assert_eq!((out_life.so_far, out_life.runs), (Some(390 * 60), Some(false))); // 30 + 08:00 to 14:00
    assert_eq!(view.row("lay_to_cure").unwrap().so_far, Some(120 * 60));
    assert_eq!(view.at_least, Verdict::No); // it is in that run
}

#[test]
fn a_run_starts_at_the_latest_instant_of_its_scan() {
    let mut log = with_stage();
    started(&mut log, "6 14:00");
    log.plus_minus(20);
    ended(&mut log, "6 20:00", json!({"committed_at": time("6 15:00"), "cured": true, "source": "chart"}));
    assert_eq!(log.row("P-1", "lay_to_cure", "9 00:00").so_far, Some(140 * 60)); // 12:00 to 14:20
}

#[test]
fn without_its_record_a_run_counts_for_a_day_and_three_if_its_end_was_answered_cured() {
    let mut log = with_stage();
    started(&mut log, "6 14:00");
    assert_eq!(log.row("P-1", "lay_to_cure", "7 14:00").so_far, Some(120 * 60));
    assert_eq!(log.row("P-1", "lay_to_cure", "7 14:01").so_far, Some(1561 * 60)); // since 12:00, 26 h 1 min
    ended(&mut log, "6 20:00", json!({"cured": true, "source": "chart"}));
    assert_eq!(log.row("P-1", "lay_to_cure", "9 14:00").so_far, Some(120 * 60));
    assert_eq!(log.row("P-1", "lay_to_cure", "9 14:01").so_far, Some(4441 * 60));
}

#[test]
fn a_told_end_waits_for_its_confirmation() {
    let mut log = with_stage();
    started(&mut log, "6 14:00");
    ended(&mut log, "6 20:00", json!({"committed_at": time("6 15:00"), "cured": true, "source": "chart"}));
    log.told();
    assert_eq!(log.row("P-1", "lay_to_cure", "8 12:00").so_far, Some(2880 * 60));
    let told = log.last_id();
    log.decide("confirm", "run/X-1", json!({"entry": told}));
    assert_eq!(log.row("P-1", "lay_to_cure", "8 12:00").so_far, Some(120 * 60));
}

#[test]
fn a_run_broken_off_before_the_point_of_no_return_never_started() {
    let mut log = with_stage();
    started(&mut log, "6 14:00");
    log.fact("oven_run_interrupted", "run/X-1", "6 14:30", json!({"why": "power"}));
    assert_eq!(log.row("P-1", "lay_to_cure", "6 15:00").so_far, Some(180 * 60));
    assert_eq!(log.ask("P-1", "oven", "6 15:00").at_least, Verdict::CannotSay);
    ended(&mut log, "6 20:00", json!({"committed_at": time("6 14:45"), "source": "chart"}));
    assert_eq!(log.row("P-1", "lay_to_cure", "6 15:00").so_far, Some(180 * 60)); // said after the break
}

#[test]
fn the_rolls_life_in_a_stage_laid_straight_from_the_roll_is_its_own_up_to_the_laying() {
    let mut log = Log::with_roll("R-1");
    log.out("R-1", "6 08:00").laid("R-1", "6 09:00", &[]).put("R-1", "6 09:30", "F1");
    assert_eq!(log.out_time("P-1", "6 12:00"), 270); // 30 + 08:00 to 12:00
    assert_eq!(log.out_time("R-1", "6 12:00"), 120); // 30 + 90
}

#[test]
fn a_shelf_life_in_months_ends_with_the_last_millisecond_of_a_day_in_the_yards_zone() {
    // Made on 30 November 2024, 6 months: 30 May 2025, which ends at 22:00 UTC less a millisecond.
    let row = Log::with_roll("R-1").row("R-1", "shelf_life", "30 21:00");
    assert_eq!((row.ends_on.as_deref(), row.left), (Some("2025-05-30"), 3599));
    assert_eq!(Log::with_roll("R-1").row("R-1", "shelf_life", "30 22:00").left, -1);
    assert_eq!(Log::with_roll("R-1").ask("R-1", "lay", "30 22:00").at_least, Verdict::No);
}

#[test]
fn the_earlier_of_certificate_and_months_binds_and_a_month_alone_is_its_last_day() {
    // Made in January 2025 (its first day), 6 months: 1 July; the certificate: the last day of June.
    let mut log = Log::new();
    let row = log.roll("R-1", "PM-2").row("R-1", "shelf_life", "6 00:00");
    assert_eq!(row.ends_on.as_deref(), Some("2025-06-30"));
}

#[test]
fn a_shelf_life_tested_when_taken_out_reads_as_it_was_then() {
    let mut log = Log::new();
    log.roll("R-1", "PM-2");
    // The end is 30 June 22:00 UTC less a millisecond: from 6 May 08:00 that is 55 d 14 h.
    assert_eq!(log.row("R-1", "shelf_life", "6 08:00").left, 4_802_399);
    log.out("R-1", "6 08:00");
    assert_eq!(log.row("R-1", "shelf_life", "20 08:00").left, 4_802_399);
    log.put("R-1", "21 07:00", "F1").out("R-1", "21 08:00"); // 15 days later the last one is read
    assert_eq!(log.row("R-1", "shelf_life", "25 08:00").left, 4_802_399 - 15 * 86_400);
}

#[test]
fn a_told_take_out_alone_does_not_test_a_shelf_life_for_good() {
    let mut log = Log::new();
    log.roll("R-1", "PM-2").out("R-1", "6 08:00").told();
    assert_eq!(log.row("R-1", "shelf_life", "7 08:00").left, 4_802_399 - 86_400);
}
