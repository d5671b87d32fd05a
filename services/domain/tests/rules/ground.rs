//! The ground: order, uncertainty, what a limit includes, and what nobody stated.

use crate::look::*;
use crate::scene::{Scene, sheet};
use shared_types::*;

/// R-1 lies in F1 since Monday 06:00 with 0 h, and came out on Tuesday at 06:00.
fn out_on_tuesday() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00")
}

#[test]
fn a_late_fact_takes_its_place_in_history() {
    let put_away_first =
        Scene::yard().stored("R-1", "Mon 06:00").put_away("R-1", "F1", "Tue 09:00").out("R-1", "Tue 06:00");
    // 06:00 to 09:00.
    put_away_first.look("R-1", "Wed 00:00").out_time_is("3:00").no_mismatch();
}

#[test]
fn within_one_instant_a_devices_counter_orders_its_scans() {
    let back_then_out =
        out_on_tuesday().out("R-1", "Tue 08:00").device("D-1", 8).put_away("R-1", "F1", "Tue 08:00").device("D-1", 7);
    // Back at 08:00 and out again at 08:00: 2 h + 1 h by 09:00, and nothing odd.
    back_then_out.look("R-1", "Tue 09:00").out_time_is("3:00").no_mismatch();
    let out_then_back =
        out_on_tuesday().put_away("R-1", "F1", "Tue 08:00").device("D-1", 8).out("R-1", "Tue 08:00").device("D-1", 7);
    out_then_back.look("R-1", "Tue 09:00").out_time_is("2:00").mismatches_are(&["out_while_out"]);
}

#[test]
fn within_one_instant_the_fact_without_a_device_comes_first() {
    // The take-out without a device sorts before the device's put-away, whose earliest instant is not after it.
    let scene = out_on_tuesday().put_away("R-1", "F1", "Tue 08:00").device("D-1", 1).out("R-1", "Tue 08:00");
    let look = scene.look("R-1", "Tue 09:00");
    look.out_time_is("3:00").mismatches_are(&["out_while_out", "put_away_not_after_take_out"]);
}

#[test]
fn within_one_instant_and_without_devices_the_kind_orders_put_away_before_taken_out() {
    let scene = out_on_tuesday().out("R-1", "Tue 08:00").put_away("R-1", "F1", "Tue 08:00");
    scene.look("R-1", "Tue 09:00").out_time_is("3:00").no_mismatch();
}

#[test]
fn two_facts_alike_in_all_else_are_ordered_by_their_ids() {
    let scene = |f1: u128, f2: u128| {
        let first = out_on_tuesday().put_away("R-1", "F1", "Tue 08:00").with_id(f1);
        first.put_away("R-1", "F2", "Tue 08:00").with_id(f2)
    };
    scene(900, 901).look("R-1", "Tue 09:00").says("R-1 is in F2 since Tue 08:00.");
    scene(901, 900).look("R-1", "Tue 09:00").says("R-1 is in F1 since Tue 08:00.");
}

#[test]
fn a_fact_that_occurred_after_the_time_asked_for_still_counts() {
    // Put away on Wednesday where the book has it: out since it was last known inside, Monday 06:00. Read on Tuesday at
    // noon that is 30 h, though the scan came a day later.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").put_away("R-1", "F1", "Wed 12:00");
    scene.look("R-1", "Tue 12:00").out_time_is("30:00");
}

#[test]
fn what_was_known_then_is_a_filter_over_what_is_known_now() {
    let scene = out_on_tuesday().put_away("R-1", "F1", "Tue 07:00").named("late");
    let before = scene.seq("late") - 1;
    scene.look_known("R-1", "Tue 09:00", before).out_time_is("3:00");
    scene.look("R-1", "Tue 09:00").out_time_is("1:00");
}

#[test]
fn a_struck_entry_counts_no_longer_but_did_then() {
    let scene = out_on_tuesday().named("wrong").strike("wrong", "Tue 10:00");
    scene.look("R-1", "Tue 12:00").out_time_is("0:00").no_mismatch();
    let before = scene.entries.len() as u64 - 1;
    scene.look_known("R-1", "Tue 12:00", before).out_time_is("6:00");
}

#[test]
fn a_strike_is_not_struck() {
    let scene =
        out_on_tuesday().named("wrong").strike("wrong", "Tue 10:00").named("strike").strike("strike", "Tue 11:00");
    scene.look("R-1", "Tue 12:00").out_time_is("0:00");
}

#[test]
fn leaving_the_cold_is_charged_at_the_earliest_and_coming_back_at_the_latest() {
    // 05:50 to 08:05.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").uncertain(10);
    let scene = scene.put_away("R-1", "F1", "Tue 08:00").uncertain(5);
    scene.look("R-1", "Tue 12:00").out_time_is("2:15").no_mismatch();
}

#[test]
fn a_put_away_that_may_lie_before_the_take_out_does_not_end_it() {
    // The take-out lies between 05:30 and 06:30, the put-away at 06:20: the clock runs on from 05:30.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").uncertain(30);
    let scene = scene.put_away("R-1", "F1", "Tue 06:20");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("2:30").mismatches_are(&["put_away_not_after_take_out"]);
}

#[test]
fn two_scans_of_one_device_follow_each_other_whatever_their_uncertainty() {
    // 05:30 to 06:20.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").uncertain(30).device("D-1", 1);
    let scene = scene.put_away("R-1", "F1", "Tue 06:20").device("D-1", 2);
    scene.look("R-1", "Tue 08:00").out_time_is("0:50").no_mismatch();
}

#[test]
fn a_device_that_nobody_enrolled_orders_nothing_for_certain() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").uncertain(30).claimed_device("D-1", 1);
    let scene = scene.put_away("R-1", "F1", "Tue 06:20").claimed_device("D-1", 2);
    scene.look("R-1", "Tue 08:00").out_time_is("2:30").mismatches_are(&["put_away_not_after_take_out"]);
}

#[test]
fn a_put_away_at_the_very_instant_of_the_take_out_does_not_end_it() {
    let scene = out_on_tuesday().device("D-1", 1).put_away("R-1", "F1", "Tue 06:00").device("D-2", 1);
    scene.look("R-1", "Tue 08:00").out_time_is("2:00").mismatches_are(&["put_away_not_after_take_out"]);
    let later = out_on_tuesday().device("D-1", 1).put_away("R-1", "F1", "Tue 06:00:00.001").device("D-2", 1);
    later.look("R-1", "Tue 08:00").no_mismatch();
}

#[test]
fn a_put_away_must_follow_every_open_take_out_of_its_stretch() {
    // Out at 06:00, out again at 08:00 give or take an hour; the put-away at 08:30 is not surely after the second.
    let scene = out_on_tuesday().out("R-1", "Tue 08:00").uncertain(60).put_away("R-1", "F1", "Tue 08:30");
    scene.look("R-1", "Tue 10:00").out_time_is("4:00");
    let after = scene.put_away("R-1", "F2", "Tue 09:30");
    // 06:00 to 09:30.
    after.look("R-1", "Tue 12:00").out_time_is("3:30");
}

#[test]
fn overlapping_stretches_are_charged_once() {
    // Out 06:00 to at latest 09:00; it came into F2 at 10:00, last known inside at earliest 07:00. The union is
    // 06:00 to 10:00, not 3 h + 3 h.
    let scene = out_on_tuesday().put_away("R-1", "F1", "Tue 08:00").uncertain(60);
    let scene = scene.put_away("R-1", "F2", "Tue 10:00");
    scene.look("R-1", "Tue 12:00").out_time_is("4:00").mismatches_are(&["in_while_in_elsewhere"]);
}

#[test]
fn an_act_is_tested_at_its_latest() {
    // 97 h before; out at 06:00; cut at 08:50 give or take 20 min: at 09:10 it is 100 h 10 min of 100 h.
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(97, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:50").uncertain(20);
    let over = scene.look("R-1", "Tue 12:00").mismatch("limit_over_at_act");
    assert_eq!(over.say, "R-1 was 10 min over its tack life when it was cut Tue 5 May 2026 08:50.");
}

#[test]
fn a_first_ply_counts_from_its_earliest() {
    // Laid at 10:00 give or take 30 min: by noon it has waited 2 h 30 min of 72 h.
    let scene = out_on_tuesday().cut("N-1", "R-1", "K-1", "Tue 09:00").laid("P-1", "K-1", "Tue 10:00").uncertain(30);
    scene.look("P-1", "Tue 12:00").stage_left_is("skin", ToCure, "69:30");
}

#[test]
fn an_uncertain_repeat_counts_from_its_earliest() {
    // Last known inside at 06:00 give or take 30 min; put away again at 09:00 where it was: out since 05:30.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").seen("R-1", "F1", "Tue 06:00").uncertain(30);
    let scene = scene.put_away("R-1", "F1", "Tue 09:00");
    scene.look("R-1", "Tue 10:00").out_time_is("4:30");
}

#[test]
fn a_cut_joins_roll_and_kit_at_its_nominal_instant() {
    // Out at 06:00, cut at 08:00 give or take 30 min, put away at 09:00: 3 h, nothing twice and nothing lost.
    let scene = out_on_tuesday().cut("N-1", "R-1", "K-1", "Tue 08:00").uncertain(30).put_away("K-1", "F1", "Tue 09:00");
    scene.look("K-1", "Tue 12:00").out_time_is("3:00").no_mismatch();
}

#[test]
fn a_limit_includes_its_last_millisecond() {
    // 99 h before, out at 06:00: 100 h are reached at 07:00.
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(99, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00");
    let at_the_limit = scene.may(Cut, "R-1", "Tue 07:00");
    at_the_limit.answer(Yes).left_is(Tack, "0:00");
    let one_ms_past = scene.may(Cut, "R-1", "Tue 07:00:00.001");
    // -1 ms is stored exactly and answered in whole seconds downwards.
    one_ms_past.answer(Stop).left_is(Tack, "-0:00:01").governed_by(Tack);
    assert_eq!(one_ms_past.row(Tack).so_far_s, Some(360_001));
    assert_eq!(one_ms_past.row(Tack).ends_at.unwrap().at, crate::when::instant("Tue 07:00"));
}

#[test]
fn so_far_is_rounded_up_and_left_is_rounded_down() {
    // 1 ms out: 1 s so far; 99 h 59 min 59.999 s left reads 359 999 s.
    let answer = out_on_tuesday().may(Cut, "R-1", "Tue 06:00:00.001");
    assert_eq!((answer.row(Tack).so_far_s, answer.row(Tack).left_s), (Some(1), Some(359_999)));
}

#[test]
fn what_a_material_does_not_state_cannot_be_answered() {
    type Forget = fn(&mut Revision);
    let limits: [(Forget, LimitName, &str); 5] = [
        (|sheet| sheet.tack_life_s = None, Tack, "tack life"),
        (|sheet| sheet.out_life_s = None, Out, "out-life"),
        (|sheet| sheet.lay_to_cure = None, ToCure, "lay-to-cure limit"),
        (|sheet| sheet.shelf_life = None, Shelf, "shelf life"),
        (|sheet| sheet.refreezes = None, Returns, "refreezes"),
    ];
    for (forget, limit, name) in limits {
        let scene = Scene::yard_with_sheet(forget).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
        let asked = scene.may(Cut, "R-1", "Tue 07:00");
        asked.answer(CannotSay).says("Can't say yet.").because(&format!(
            "The material of R-1 does not state a {name}. What is not stated is not unlimited: ask quality."
        ));
        assert_eq!(asked.row(limit).missing.as_deref(), Some(format!("the {name} of R-1's material").as_str()));
    }
}

#[test]
fn none_by_a_named_document_limits_nothing() {
    let none = || NoneBy { none_by: "sheet 7".to_owned() };
    let scene = Scene::yard_with_sheet(|sheet| {
        sheet.tack_life_s = Some(StatedSeconds::None(none()));
        sheet.out_life_s = Some(StatedSeconds::None(none()));
        sheet.shelf_life = Some(ShelfLife::None(none()));
        sheet.refreezes = Some(Refreezes::None(none()));
        sheet.lay_to_cure = Some(LayToCure::None(none()));
    });
    let asked = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").may(Cut, "R-1", "Fri+9 07:00");
    asked.answer(Yes).says("Nothing limits when the last ply is down. Nothing limits when the oven starts.");
    assert_eq!(asked.row(Tack).none_by.as_deref(), Some("sheet 7"));
}

#[test]
fn an_opening_that_nobody_stated_cannot_be_answered() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").no_opening().put_away("R-1", "F1", "Mon 06:00");
    let asked = scene.may(TakeOut, "R-1", "Tue 07:00");
    asked.answer(CannotSay);
    assert!(asked.0.why.contains("Nobody stated how much out-time R-1 had when it came"), "{}", asked.0.why);
}

#[test]
fn a_revision_or_a_batch_that_nobody_entered_cannot_be_answered() {
    let no_revision = Scene::yard().received("R-1", "Mon 06:00").of("PM-9", "B-9").put_away("R-1", "F1", "Mon 06:00");
    let asked = no_revision.may(TakeOut, "R-1", "Tue 07:00");
    asked.answer(CannotSay).because("The limits of R-1's material revision are not entered yet.");
    let no_batch = Scene::yard().material("PM-9", sheet()).received("R-1", "Mon 06:00").of("PM-9", "B-9");
    let asked = no_batch.put_away("R-1", "F1", "Mon 06:00").may(TakeOut, "R-1", "Tue 07:00");
    asked.answer(CannotSay).because("The dates of batch B-9 are not registered yet.");
}
