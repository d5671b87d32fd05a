//! What a person's answer makes of a mismatch.

use crate::scene::{Scene, stamp, thing};
use crate::when::hours;
use shared_types::Settlement::{self, *};

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

/// Put away on Tuesday at 12:00 where the book has it since Monday 06:00.
fn in_twice(answer: Settlement) -> Scene {
    let scene = stored().put_away("R-1", "F1", "Tue 12:00").named("again");
    scene.settle("again", "in_while_in", answer, "Wed 06:00")
}

#[test]
fn out_since_then_is_charged_from_then_to_the_scan() {
    let scene = in_twice(OutSince(stamp("Tue 09:00")));
    let look = scene.look("R-1", "Wed 12:00");
    // 09:00 to 12:00.
    look.out_time_is("3:00").says("R-1 is in F1 since Tue 12:00.").returns_are(1);
    assert_eq!(look.mismatch("in_while_in").settled_by, Some(scene.entries.last().unwrap().id));
}

#[test]
fn put_away_then_is_charged_up_to_then() {
    // Out at 06:00 on Monday at worst, away at 20:00.
    let scene = in_twice(PutAwayAt(stamp("Mon 20:00")));
    scene.look("R-1", "Wed 12:00").out_time_is("14:00").returns_are(1).says("R-1 is in F1 since Mon 20:00.");
}

#[test]
fn a_take_out_with_the_wrong_placard_runs_from_the_scan() {
    let scene = in_twice(WasTakeOut(true));
    let look = scene.look("R-1", "Tue 15:00");
    // The placard was that of the freezer: it came out of it, and nobody said where to.
    look.out_time_is("3:00").returns_are(0).says("R-1 is out since Tue 12:00.");
    let uncertain = stored().put_away("R-1", "F1", "Tue 12:00").uncertain(30).named("again");
    let uncertain = uncertain.settle("again", "in_while_in", WasTakeOut(true), "Wed 06:00");
    // At its earliest: 11:30.
    uncertain.look("R-1", "Tue 15:00").out_time_is("3:30");
}

#[test]
fn carried_straight_over_is_charged_before_the_scan() {
    let scene = stored().put_away("R-1", "F2", "Tue 12:00").named("again");
    let scene = scene.settle("again", "in_while_in_elsewhere", CarriedOverS(720.try_into().unwrap()), "Wed 06:00");
    let look = scene.look("R-1", "Wed 12:00");
    // 12 min, and no return to the cold.
    look.out_time_is("0:12").returns_are(0).says("R-1 is in F2 since Tue 12:00.");
}

#[test]
fn assigned_hours_are_charged_whole_where_it_was_last_known_inside() {
    let scene = in_twice(AssignedS(hours(5)));
    scene.look("R-1", "Mon 05:59").out_time_is("0:00");
    scene.look("R-1", "Mon 06:00").out_time_is("5:00");
    scene.look("R-1", "Wed 12:00").out_time_is("5:00").returns_are(0);
}

#[test]
fn another_rolls_scan_moves_to_that_roll() {
    // R-2 was out since 10:00; the put-away scanned at 12:00 as R-1 was its own.
    let scene = stored().stored("R-2", "Mon 06:00").out("R-2", "Tue 10:00");
    let scene = scene.put_away("R-1", "F1", "Tue 12:00").named("again");
    scene.look("R-2", "Tue 15:00").out_time_is("5:00");
    let scene = scene.settle("again", "in_while_in", Other(thing("R-2")), "Wed 06:00");
    scene.look("R-1", "Wed 12:00").out_time_is("0:00");
    scene.look("R-2", "Wed 12:00").out_time_is("2:00").no_mismatch();
}

#[test]
fn a_fact_said_to_be_another_rolls_comes_back_when_its_mismatch_no_longer_arises() {
    let scene = stored().stored("R-2", "Mon 06:00").out("R-2", "Tue 10:00");
    let scene = scene.put_away("R-1", "F1", "Tue 12:00").named("again");
    let scene = scene.settle("again", "in_while_in", Other(thing("R-2")), "Wed 06:00");
    // The missing take-out of R-1 arrives: the put-away was its own after all.
    let scene = scene.out("R-1", "Tue 11:00");
    scene.look("R-1", "Wed 12:00").out_time_is("1:00").mismatches_are(&["settles_nothing"]);
    scene.look("R-2", "Wed 12:00").out_time_is("26:00");
}

#[test]
fn said_twice_to_be_the_same_other_roll_it_moves_once() {
    let scene = stored().stored("R-2", "Mon 06:00").stored("R-3", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 08:00").out("R-1", "Tue 10:00").named("again");
    let scene = scene.settle("again", "out_while_out", Other(thing("R-2")), "Wed 06:00");
    let scene = scene.settle("again", "out_while_out", Other(thing("R-2")), "Wed 07:00");
    scene.look("R-2", "Tue 12:00").out_time_is("2:00").no_mismatch();
}

#[test]
fn of_two_answers_the_later_counts() {
    let scene = in_twice(OutSince(stamp("Tue 09:00"))).settle("again", "in_while_in", WasTakeOut(true), "Wed 07:00");
    // From 12:00 on, not 09:00 to 12:00.
    scene.look("R-1", "Tue 15:00").out_time_is("3:00").returns_are(0);
    let written_in_another_order = stored().put_away("R-1", "F1", "Tue 12:00").named("again");
    let written_in_another_order = written_in_another_order
        .settle("again", "in_while_in", WasTakeOut(true), "Wed 07:00")
        .settle("again", "in_while_in", OutSince(stamp("Tue 09:00")), "Wed 06:00");
    written_in_another_order.look("R-1", "Tue 15:00").out_time_is("3:00").returns_are(0);
}

#[test]
fn a_settlement_acts_on_its_entry_whenever_it_was_made() {
    // Read on Tuesday, before anybody settled it on Wednesday.
    in_twice(OutSince(stamp("Tue 09:00"))).look("R-1", "Tue 11:00").out_time_is("2:00");
}

#[test]
fn put_away_in_between_two_take_outs_is_a_put_away_in_its_last_place() {
    let scene = stored().out("R-1", "Tue 06:00").out("R-1", "Tue 12:00").named("again");
    let scene = scene.settle("again", "out_while_out", PutAwayAt(stamp("Tue 07:00")), "Wed 06:00");
    // 06:00 to 07:00, and from 12:00 on.
    scene.look("R-1", "Tue 15:00").out_time_is("4:00").returns_are(1);
    scene.look("R-1", "Tue 09:00").out_time_is("1:00").says("R-1 is in F1 since Tue 07:00.");
}

#[test]
fn taken_out_once_since_the_first_keeps_the_clock_running() {
    let scene = stored().out("R-1", "Tue 06:00").out("R-1", "Tue 12:00").named("again");
    let scene = scene.settle("again", "out_while_out", OutSince(stamp("Tue 06:00")), "Wed 06:00");
    scene.look("R-1", "Tue 15:00").out_time_is("9:00");
}

#[test]
fn a_sighting_settled_as_a_put_away_is_one_inside() {
    let scene = stored().out("R-1", "Tue 06:00").seen("R-1", "F2", "Tue 07:00").named("seen");
    let scene = scene.settle("seen", "seen_inside_while_out", PutAwayAt(stamp("Tue 07:00")), "Wed 06:00");
    scene.look("R-1", "Wed 12:00").out_time_is("1:00").returns_are(1).says("R-1 is in F2 since Tue 07:00.");
}

#[test]
fn out_since_of_an_act_outside_runs_on() {
    let scene = stored().seen("R-1", "CUT", "Tue 07:00").named("seen");
    let scene = scene.settle("seen", "acted_while_inside", OutSince(stamp("Tue 06:30")), "Wed 06:00");
    scene.look("R-1", "Tue 09:00").out_time_is("2:30").returns_are(0);
}

#[test]
fn an_uncertain_put_away_settled_with_a_time_after_the_take_out_ends_the_stretch_then() {
    let scene = stored().out("R-1", "Tue 06:00").uncertain(30).put_away("R-1", "F1", "Tue 06:20").named("back");
    let settled =
        |at: &str| scene.clone().settle("back", "put_away_not_after_take_out", PutAwayAt(stamp(at)), "Wed 06:00");
    // From 05:30 to 06:45, though the scan was earlier: a person's word never shortens what the scans leave open.
    settled("Tue 06:45").look("R-1", "Tue 12:00").out_time_is("1:15");
    // 06:20 is still not surely after the take-out, which lies between 05:30 and 06:30.
    settled("Tue 06:20").look("R-1", "Tue 12:00").out_time_is("6:30");
}

#[test]
fn what_no_longer_arises_settles_nothing_and_says_so() {
    let scene = in_twice(OutSince(stamp("Tue 09:00"))).named("settled").out("R-1", "Tue 11:00");
    let look = scene.look("R-1", "Wed 12:00");
    look.out_time_is("1:00").mismatches_are(&["settles_nothing"]);
    let nothing = look.mismatch("settles_nothing");
    assert_eq!(nothing.entry, scene.id("settled"));
    let about = format!("What was said of entry {}, about a put-away where it was already,", scene.seq("again"));
    assert_eq!(nothing.say, format!("{about} settles nothing: it does not arise."));
}

/// R-1 was out since 06:00; the take-out scanned at 10:00 as R-1 was R-2's, by its answer.
fn moved() -> Scene {
    let scene = stored().stored("R-2", "Mon 06:00").out("R-1", "Tue 06:00");
    let scene = scene.out("R-1", "Tue 10:00").named("again");
    let scene = scene.settle("again", "out_while_out", Other(thing("R-2")), "Wed 06:00").named("answer");
    scene.look("R-2", "Wed 10:00").out_time_is("24:00");
    scene
}

#[test]
fn nobody_alone_takes_back_from_the_other_roll_what_moved_to_it() {
    let scene = moved();
    let back = "R-2 gets back 24 h of tack life";
    scene.wish_strike("answer").at("Wed 10:00").needs_a_second(back);
    scene.wish_strike("again").at("Wed 10:00").needs_a_second(back);
    let again = |answer| scene.wish_settle("again", "out_while_out", answer).at("Wed 10:00");
    again(OutSince(stamp("Tue 06:00"))).needs_a_second(back);
    again(OutSince(stamp("Tue 06:00"))).second("B-2").is_granted();
    // Nor is it passed on to a third one.
    let scene = scene.clone().stored("R-3", "Mon 06:00");
    scene.wish_settle("again", "out_while_out", Other(thing("R-3"))).at("Wed 10:00").needs_a_second(back);
}

#[test]
fn whatever_touches_a_moved_scan_names_the_other_roll() {
    let scene = moved();
    let written = [
        scene.clone().strike("answer", "Wed 10:00"),
        scene.clone().strike("again", "Wed 10:00"),
        scene.clone().settle("again", "out_while_out", OutSince(stamp("Tue 06:00")), "Wed 10:00"),
    ];
    for written in written {
        let last = written.entries.last().unwrap();
        let effect = domain::effect(scene.book(), std::slice::from_ref(last), last.recorded_at);
        assert!(effect.things.iter().any(|change| change.thing == thing("R-2")), "{last:?}");
        // Whoever looked at R-2 before is told that something came between.
        let refused = written.wish_issue("R-2", "J-1").based_on(scene.entries.len() as u64).refusal();
        assert!(matches!(refused, domain::Refusal::ChangedMeanwhile { .. }), "{refused:?}");
    }
}
