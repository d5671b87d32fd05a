//! What is carried on: an opening into a roll, a roll into its kits, a kit into a stage.

use crate::look::*;
use crate::scene::{Scene, sheet};
use crate::when::{hours, instant};
use shared_types::*;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

#[test]
fn a_kit_carries_its_rolls_history_up_to_the_cut_and_its_own_from_there() {
    let scene = stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene = scene.put_away("R-1", "F1", "Tue 08:30").put_away("K-1", "F1", "Tue 09:00").out("K-1", "Wed 06:00");
    // 3 h on Tuesday and 1 h on Wednesday; the roll has 2 h 30 min.
    scene.look("K-1", "Wed 07:00").out_time_is("4:00").left_is(Tack, "96:00").no_mismatch();
    scene.look("R-1", "Wed 07:00").out_time_is("2:30").no_mismatch();
}

#[test]
fn a_later_fact_about_the_time_before_the_cut_is_carried_too() {
    let scene = stored().out("R-1", "Wed 06:00").cut("N-1", "R-1", "K-1", "Wed 08:00");
    scene.look("K-1", "Wed 09:00").out_time_is("3:00");
    // A device sends late: out and back on Tuesday, 5 h.
    let late = scene.out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 11:00");
    late.look("K-1", "Wed 09:00").out_time_is("8:00");
}

#[test]
fn what_happens_to_the_roll_after_the_cut_is_not_the_kits() {
    let scene =
        stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").put_away("K-1", "F1", "Tue 09:00");
    scene.look("K-1", "Thu 09:00").out_time_is("3:00");
    scene.look("R-1", "Thu 09:00").out_time_is("51:00");
}

#[test]
fn a_kit_has_for_each_limit_the_worst_of_what_it_holds_and_names_it() {
    let scene = stored().stored("R-2", "Mon 06:00").out("R-1", "Tue 06:00").out("R-2", "Tue 07:00");
    let scene = scene.cut_many("N-1", &[("K-1", "J-1", &[("R-2", 2), ("R-1", 3)])], "Tue 08:00");
    let row = scene.look("K-1", "Tue 09:00").row(Tack);
    // 3 h of 100; R-2: 2 h.
    assert_eq!((row.item.to_string(), row.left_s), ("roll/R-1".to_owned(), Some(97 * 3600)));
}

#[test]
fn what_ends_first_governs_and_ties_go_to_the_smaller_left() {
    // PM-102 states 50 h tack life; its roll has 10 h left, PM-101's 90 h.
    let mut short = sheet();
    short.tack_life_s = Some(StatedSeconds::Limit(hours(50)));
    let scene = Scene::yard().material("PM-102", short).registered("batch/PM-102/B-9", "2026-01-31");
    let scene = scene.received("R-1", "Mon 06:00").opening(10, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene =
        scene.received("R-2", "Mon 06:00").of("PM-102", "B-9").opening(40, 0).put_away("R-2", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").out("R-2", "Tue 06:00");
    let scene = scene.cut_many("N-1", &[("K-1", "J-1", &[("R-1", 2), ("R-2", 3)])], "Tue 08:00");
    let row = scene.look("K-1", "Tue 09:00").row(Tack);
    // 40 h + 3 h of 50 h.
    assert_eq!(
        (row.item.to_string(), row.left_s, row.allowed_s),
        ("roll/R-2".to_owned(), Some(7 * 3600), Some(180_000))
    );
}

#[test]
fn of_items_already_over_the_one_that_passed_first_binds() {
    // 99 h and 2 h on Tuesday, over since 07:00. R-2: 60 h and out since Tuesday 00:00, over since Wednesday 16:00,
    // and by more.
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(99, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.received("R-2", "Mon 06:00").opening(60, 0).put_away("R-2", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 08:00").out("R-1", "Wed 19:30");
    let scene =
        scene.out("R-2", "Tue 00:00").cut_many("N-1", &[("K-1", "J-1", &[("R-2", 2), ("R-1", 2)])], "Wed 20:00");
    let row = scene.look("K-1", "Wed 20:00").row(Tack);
    // 101 h 30 min against 104 h of 100 h.
    assert_eq!((row.item.to_string(), row.left_s), ("roll/R-1".to_owned(), Some(-5_400)));
    assert_eq!(row.ends_at.unwrap().at, instant("Tue 07:00"));
}

#[test]
fn what_is_cut_into_a_kit_after_a_lay_up_is_not_in_its_stage() {
    let scene = stored().stored("R-2", "Mon 06:00").out("R-1", "Tue 06:00").out("R-2", "Mon 12:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 10:00").cut(
        "N-2",
        "R-2",
        "K-1",
        "Tue 12:00",
    );
    // R-2 would have 42 h by then; what lies there has 24 h.
    scene.look("P-1", "Wed 06:00").stage_left_is("skin", Out, "176:00");
}

#[test]
fn a_stage_carries_what_was_laid_in_it() {
    let scene = stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 10:00");
    // The roll may go back; what is laid ages on: 30 h of 200 by Wednesday noon. Tack stood at 4 h when it was laid.
    let scene = scene.put_away("R-1", "F1", "Tue 11:00");
    let look = scene.look("P-1", "Wed 12:00");
    look.stage_left_is("skin", Out, "170:00")
        .stage_left_is("skin", Tack, "96:00")
        .stage_left_is("skin", ToCure, "46:00");
}

#[test]
fn plies_laid_straight_from_a_roll_carry_it_too() {
    let scene = stored().out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 10:00").length(4);
    scene.look("P-1", "Wed 10:00").stage_left_is("skin", Out, "172:00");
    assert_eq!(scene.look("R-1", "Wed 10:00").view().length_left_mm, Some(46_000));
}

#[test]
fn an_opening_counts_from_its_as_of() {
    // 20 h by the card on Monday at 04:00; 2 h until it was put away; 3 h on Tuesday.
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(20, 0).counted_from("Mon 04:00");
    let scene = scene.put_away("R-1", "F1", "Mon 06:00").out("R-1", "Tue 06:00");
    scene.look("R-1", "Tue 09:00").out_time_is("25:00").left_is(Tack, "75:00");
}

#[test]
fn an_opening_is_never_as_of_later_than_the_receipt() {
    // Said to be as of Tuesday 05:00, the 3 h until the put-away on Monday would be lost: they count.
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(20, 0).counted_from("Tue 05:00");
    scene.put_away("R-1", "F1", "Mon 09:00").look("R-1", "Tue 12:00").out_time_is("23:00");
}

/// In F1 since Monday 06:00, out from 10:00 to 18:00; received on Tuesday with so much, as of 05:00.
fn received_late(out_h: u64, refreezes: u32) -> Scene {
    let scene = Scene::yard().received("R-1", "Tue 06:00").opening(out_h, refreezes).counted_from("Tue 05:00");
    let scene = scene.named("receipt").put_away("R-1", "F1", "Mon 06:00");
    scene.out("R-1", "Mon 10:00").put_away("R-1", "F1", "Mon 18:00")
}

#[test]
fn facts_before_the_openings_as_of_are_in_it_where_it_states_as_much() {
    let look = received_late(20, 1).look("R-1", "Tue 12:00");
    look.out_time_is("20:00").returns_are(1).mismatches_are(&["opening_after_first_fact"]);
    assert_eq!(look.view().entries, 4);
}

#[test]
fn facts_before_the_openings_as_of_count_where_they_come_to_more() {
    // 8 h and one return are known; 3 h more on Tuesday afternoon.
    let scene = received_late(5, 0).out("R-1", "Tue 12:00");
    let look = scene.look("R-1", "Tue 15:00");
    look.out_time_is("11:00").left_is(Tack, "89:00").returns_are(1);
    let lines: Vec<(String, i64)> =
        look.card().cards[0].lines.iter().map(|line| (line.line.clone(), line.interval_s / 3600)).collect();
    let line = |word: &str, hours: i64| (word.to_owned(), hours);
    assert_eq!(lines, [line("out", 8), line("opening", 0), line("out", 3)]);
    let mismatch = look.mismatch("opening_after_first_fact");
    assert_eq!(mismatch.entry, scene.id("receipt"));
    let said = "R-1 came with 5 h as of Tue 5 May 2026 05:00, but the book knows of it since Mon 4 May 2026 06:00: it was out for 8 h until \
                then, by what is known, and that counts.";
    assert_eq!(mismatch.say, said);
    assert_eq!(
        mismatch.ask.as_deref(),
        Some("As of when had R-1 been out for 5 h? Strike the receipt if that is wrong.")
    );
    // Settled, it changes no limit and asks nothing more.
    let answer = Settlement::AssignedS(0.try_into().unwrap());
    let settled = scene.settle("receipt", "opening_after_first_fact", answer, "Tue 16:00").look("R-1", "Tue 15:00");
    let settled = settled.out_time_is("11:00").mismatch("opening_after_first_fact");
    assert!(settled.settled_by.is_some() && settled.ask.is_none());
}

#[test]
fn a_receipt_written_weeks_late_makes_no_known_out_time_undone() {
    // Out since Monday 06:00 and laid on Tuesday; received 20 days later with 0 h as of a minute before.
    let scene = Scene::yard().out("R-1", "Mon 06:00").cut("N-1", "R-1", "K-1", "Tue 06:00");
    let scene = scene.laid("P-1", "K-1", "Tue 10:00").received("R-1", "2026-05-24T06:00:00.000+01:00");
    let scene = scene.counted_from("2026-05-24T05:59:00.000+01:00");
    // 480 h and a minute: the roll, its kit and what was laid of it lay out all the time.
    let at = "2026-05-24T06:01:00.000+01:00";
    let look = scene.look("R-1", at);
    look.out_time_is("480:01").left_is(Out, "-280:01").mismatches_are(&["opening_after_first_fact"]);
    scene.look("P-1", at).stage_left_is("skin", Out, "-280:01");
    scene.may(Oven, "P-1", at).answer(Stop);
    // Tack life of 100 h passed on Friday at 10:00, when nobody had received it.
    assert_eq!(look.row(Tack).ends_at.unwrap().at, instant("Fri 10:00"));
    // Read at its own time, the lay-up on Tuesday was within life: 28 h of 100 h.
    scene.look("P-1", at).stage_left_is("skin", Tack, "72:00");
}

#[test]
fn hours_assigned_before_the_as_of_count_as_what_is_known_and_after_it_beside_the_opening() {
    let known = |as_of: &str| {
        let scene = Scene::yard().put_away("R-1", "F1", "Mon 06:00").put_away("R-1", "F2", "Mon 18:00").named("twice");
        let answer = Settlement::AssignedS(hours(4));
        let scene = scene.settle("twice", "in_while_in_elsewhere", answer, "Mon 19:00");
        scene.received("R-1", "Tue 06:00").opening(1, 0).counted_from(as_of)
    };
    // Assigned to an act before: 4 h instead of the 1 h stated. To an act after: 4 h beside it.
    known("Tue 05:00").look("R-1", "Tue 12:00").out_time_is("4:00");
    known("Mon 12:00").look("R-1", "Tue 12:00").out_time_is("5:00");
}

#[test]
fn what_is_not_sure_of_the_first_fact_hides_nothing_after_the_as_of() {
    // Out from 06:55 until 07:10 at the latest.
    let scene = Scene::yard().put_away("R-1", "F1", "Mon 07:00").uncertain(10);
    let scene = scene.received("R-1", "Mon 08:00").counted_from("Mon 06:55");
    scene.look("R-1", "Tue 12:00").out_time_is("0:15").mismatches_are(&[]);
}

#[test]
fn a_put_away_before_the_receipt_is_no_mismatch() {
    // Cold first, questions later: dock at 04:00, put away at 05:00, received at 09:00.
    let scene = Scene::yard().received("R-1", "Mon 09:00").counted_from("Mon 04:00").put_away("R-1", "F1", "Mon 05:00");
    scene.look("R-1", "Mon 12:00").out_time_is("1:00").no_mismatch().says("R-1 is in F1 since Mon 05:00.");
}

#[test]
fn between_the_as_of_and_the_first_fact_it_was_out_unless_it_came_in_a_frozen_place() {
    let by_van =
        Scene::yard().received("R-1", "Mon 09:00").counted_from("Mon 04:00").put_away("R-1", "F1", "Mon 10:00");
    by_van.look("R-1", "Mon 12:00").out_time_is("6:00");
    let by_truck = Scene::yard().received("R-1", "Mon 09:00").counted_from("Mon 04:00").coming_in("TR");
    by_truck.look("R-1", "Mon 08:00").out_time_is("0:00").says("R-1 is on its way in TR since Mon 04:00.");
    // From its scan at goods-in to the put-away: 1 h.
    by_truck.put_away("R-1", "F1", "Mon 10:00").look("R-1", "Mon 12:00").out_time_is("1:00").no_mismatch();
    let from_a_room = Scene::yard().received("R-1", "Mon 09:00").counted_from("Mon 04:00").coming_in("CUT");
    from_a_room.put_away("R-1", "F1", "Mon 10:00").look("R-1", "Mon 12:00").out_time_is("6:00");
}

#[test]
fn of_two_receipts_the_worse_binds_for_each_limit() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(10, 2).metres(40).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.received("R-1", "Mon 08:00").counted_from("Mon 06:00").opening(30, 1).named("second");
    let look = scene.look("R-1", "Tue 12:00");
    look.left_is(Tack, "70:00").returns_are(2).mismatches_are(&["received_twice"]);
    assert_eq!(look.mismatch("received_twice").entry, scene.id("second"));
    assert_eq!(look.view().length_left_mm, Some(40_000));
    // Struck, the second binds no longer.
    scene.strike("second", "Wed 06:00").look("R-1", "Tue 12:00").left_is(Tack, "90:00").no_mismatch();
}

#[test]
fn a_second_receipt_counts_also_before_its_own_time() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.received("R-1", "Thu 08:00").counted_from("Mon 06:00").opening(30, 0);
    scene.look("R-1", "Tue 12:00").left_is(Tack, "70:00");
}

#[test]
fn the_revision_named_at_receipt_binds() {
    let mut next = sheet();
    next.revision = Code::new("B").unwrap();
    next.tack_life_s = Some(StatedSeconds::Limit(hours(10)));
    let scene = stored().entry("PM-101", "Mon 12:00", Body::MaterialRevised(next));
    scene.look("R-1", "Tue 12:00").left_is(Tack, "100:00");
}

#[test]
fn a_roll_is_used_up_when_cut_laid_and_waste_reach_its_length() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").metres(10).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 07:00").waste("R-1", 3);
    let scene = scene.laid("P-1", "R-1", "Tue 08:00").length(4);
    scene.may(Cut, "R-1", "Tue 09:00").answer(Yes);
    let scene = scene.cut_many("N-2", &[("K-2", "J-1", &[("R-1", 1)])], "Tue 09:00");
    scene.may(Cut, "R-1", "Tue 10:00").answer(No).because("R-1 was used up Tue 09:00.");
    // Its clock stands at that act, 3 h; what was cut of it ages on.
    scene.look("R-1", "Wed 10:00").out_time_is("3:00").no_mismatch().says("R-1 was used up Tue 09:00.");
    scene.look("K-2", "Wed 10:00").out_time_is("28:00");
}

#[test]
fn more_cut_than_there_was_is_a_mismatch_and_stays_cut() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").metres(3).put_away("R-1", "F1", "Mon 06:00");
    let scene =
        scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 07:00").cut("N-2", "R-1", "K-2", "Tue 08:00");
    let look = scene.look("R-1", "Tue 09:00");
    look.mismatches_are(&["cut_beyond_length"]);
    assert_eq!(look.view().length_left_mm, Some(0));
    scene.may(Lay, "K-2", "Tue 09:00").answer(Yes);
}

#[test]
fn a_kit_is_used_up_when_all_its_items_are_laid_and_a_named_item_stays_till_then() {
    let scene = stored().stored("R-2", "Mon 06:00").out("R-1", "Tue 06:00").out("R-2", "Tue 06:00");
    let scene = scene.cut_many("N-1", &[("K-1", "J-1", &[("R-1", 2), ("R-2", 3)])], "Tue 08:00");
    let scene = scene.laid("P-1", "K-1", "Tue 10:00").items(&["R-1"]);
    let asked = scene.may(Lay, "K-1", "Tue 11:00");
    asked.answer(Yes);
    let scene = scene.laid("P-1", "K-1", "Tue 12:00").items(&["R-2"]);
    scene.may(Lay, "K-1", "Tue 13:00").answer(No).because("K-1 was used up Tue 12:00.");
    scene.look("K-1", "Tue 13:00").out_time_is("6:00");
    // Another cut into it opens it again.
    let scene = scene.cut("N-2", "R-1", "K-1", "Tue 14:00");
    scene.may(Lay, "K-1", "Tue 15:00").answer(Yes);
}

#[test]
fn disposed_its_clocks_stand_and_the_answer_is_no() {
    let scene = stored().out("R-1", "Tue 06:00").disposed("R-1", "Tue 08:00");
    scene.look("R-1", "Wed 12:00").out_time_is("2:00").says("R-1 was thrown away Tue 08:00.");
    let asked = scene.may(TakeOut, "R-1", "Wed 12:00");
    asked.answer(No).says("Do not use it.").because("R-1 was thrown away Tue 08:00.");
    assert_eq!(asked.row(Tack).ends_at, None);
    assert!(!asked.row(Tack).runs);
    let used = scene.out("R-1", "Wed 06:00");
    used.look("R-1", "Wed 12:00").mismatches_are(&["acted_after_disposed", "out_while_out"]);
}
