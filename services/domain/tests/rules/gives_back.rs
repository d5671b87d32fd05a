//! A decision that gives back needs a second person; what takes needs nobody. The book computes which it is.

use crate::scene::{Scene, lisbon, place, stamp, thing};
use domain::Refusal;
use shared_types::*;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

#[test]
fn striking_a_take_out_gives_back_and_striking_a_put_away_takes() {
    let scene = stored().out("R-1", "Tue 06:00").named("out");
    scene.wish_strike("out").at("Tue 10:00").needs_a_second("R-1 gets back 4 h of tack life");
    scene.wish_strike("out").at("Tue 10:00").second("B-2").is_granted();
    let back = scene.clone().put_away("R-1", "F1", "Tue 06:20").named("back");
    back.wish_strike("back").at("Tue 10:00").is_granted();
    // After 2 h out it was a return to the cold too: striking it gives that one back.
    let back = scene.put_away("R-1", "F1", "Tue 08:00").named("back");
    back.wish_strike("back").at("Tue 10:00").needs_a_second("R-1 gets back 1 of its returns to the cold");
}

#[test]
fn whoever_made_the_fact_is_no_second_person_for_it() {
    let scene = stored().out("R-1", "Tue 06:00").by("B-7").named("out");
    let refused = scene.wish_strike("out").at("Tue 10:00").second("B-7").refusal();
    assert!(matches!(refused, Refusal::NeedsSecondPerson { .. }), "{refused:?}");
    let oneself = scene.wish_strike("out").at("Tue 10:00").by("B-1").second("B-1").refusal();
    assert!(matches!(oneself, Refusal::NeedsSecondPerson { .. }), "{oneself:?}");
    scene.wish_strike("out").at("Tue 10:00").by("B-7").second("B-2").is_granted();
}

#[test]
fn a_strike_and_what_replaces_it_are_judged_as_one() {
    let scene = stored().out("R-1", "Tue 06:00").named("out").put_away("R-1", "F1", "Tue 08:00");
    let instead = |at: &str| scene.clone().out("R-1", at).with_id(5_000);
    // It was out half an hour longer than recorded: only taken.
    scene.wish_strike("out").at("Tue 10:00").instead(&instead("Tue 05:30")).is_granted();
    let later = scene.wish_strike("out").at("Tue 10:00").instead(&instead("Tue 06:30"));
    later.needs_a_second("R-1 gets back 30 min of tack life");
    // The same fact, of another roll: this one gets back, whatever the other loses.
    let alone = stored().out("R-1", "Tue 06:00").named("out");
    let other = alone.clone().out("R-2", "Tue 06:00").with_id(5_000);
    alone.wish_strike("out").at("Tue 08:00").instead(&other).needs_a_second("R-1 gets back 2 h of tack life");
}

#[test]
fn it_gives_back_too_where_only_a_past_act_or_a_descendant_gets_it() {
    // What stands instead gives back an hour at the cut. The roll is thrown away since; the kit and the part carry it.
    let scene = stored().out("R-1", "Tue 06:00").named("out").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene = scene.disposed("R-1", "Tue 08:30").laid("P-1", "K-1", "Tue 09:00");
    let instead = scene.clone().out("R-1", "Tue 07:00").with_id(5_000);
    let refused = scene.wish_strike("out").at("Wed 10:00").instead(&instead).refusal();
    let Refusal::NeedsSecondPerson { gives_back, .. } = refused else { panic!("{refused:?}") };
    for of in ["R-1", "K-1", "P-1"] {
        let gets = format!("{of} gets back 1 h of tack life");
        assert!(gives_back.contains(&gets), "{gets}: {gives_back:?}");
    }
}

#[test]
fn striking_a_second_receipt_gives_back_and_striking_the_better_one_does_not() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(10, 0).named("better");
    let scene =
        scene.put_away("R-1", "F1", "Mon 06:00").received("R-1", "Mon 08:00").counted_from("Mon 06:00").opening(30, 0);
    let scene = scene.named("worse");
    scene.wish_strike("worse").needs_a_second("R-1 gets back 20 h of tack life");
    scene.wish_strike("better").is_granted();
}

#[test]
fn a_hold_ends_only_by_lifting_and_both_lifting_and_striking_need_a_second_person() {
    for on in ["R-1", "batch/PM-101/B-1", "place/F1", "device/D-1", "job/J-1"] {
        let scene = stored().hold(on, "Tue 06:00").by("B-7").named("hold");
        let short = thing(on).short().to_owned();
        scene.wish_lift("hold").needs_a_second(&format!("A hold on {short} would be gone"));
        scene.wish_lift("hold").second("B-2").is_granted();
        scene.wish_strike("hold").needs_a_second(&format!("A hold on {short} would be gone"));
        scene.wish_strike("hold").second("B-2").is_granted();
        // A lifted hold is gone already; striking the lift brings it back, and only takes.
        let lifted = scene.lift("hold", "Tue 08:00").named("lift");
        lifted.wish_strike("lift").is_granted();
    }
}

#[test]
fn striking_a_hold_that_was_lifted_gives_back_only_where_something_was_done_under_it() {
    let held = |cut_at: &str| {
        let scene = stored().out("R-1", "Tue 06:00").hold("R-1", "Tue 07:00").by("B-7").named("hold");
        scene.lift("hold", "Tue 09:00").cut("N-1", "R-1", "K-1", cut_at)
    };
    held("Tue 08:00").wish_strike("hold").at("Tue 12:00").needs_a_second("A hold on R-1 would be gone");
    held("Tue 10:00").wish_strike("hold").at("Tue 12:00").is_granted();
}

#[test]
fn settling_gives_back_and_needs_a_second_person_who_did_not_scan_it() {
    let scene = stored().put_away("R-1", "F1", "Tue 12:00").by("B-7").named("again");
    let settle = |answer| scene.wish_settle("again", "in_while_in", answer).at("Tue 15:00");
    // Out since Monday 06:00 on: 33 h. A take-out at 12:00: 3 h.
    settle(Settlement::WasTakeOut(true)).needs_a_second("R-1 gets back 30 h of tack life");
    let scanner = settle(Settlement::WasTakeOut(true)).second("B-7").refusal();
    assert!(matches!(scanner, Refusal::NeedsSecondPerson { .. }), "{scanner:?}");
    settle(Settlement::WasTakeOut(true)).second("B-2").is_granted();
    // What takes needs nobody: out since before it was last known inside.
    let seen = stored().seen("R-1", "F1", "Tue 06:00").seen("R-1", "CUT", "Tue 12:00").named("seen");
    let earlier = Settlement::OutSince(stamp("Tue 05:00"));
    seen.wish_settle("seen", "acted_while_inside", earlier).at("Tue 15:00").is_granted();
}

#[test]
fn saying_that_it_was_another_roll_gives_back_and_that_roll_must_be_there() {
    let scene = stored().put_away("R-1", "F1", "Tue 12:00").named("again");
    let other = || Settlement::Other(thing("R-77"));
    let unknown = scene.wish_settle("again", "in_while_in", other()).at("Tue 15:00").second("B-2");
    unknown.is_refused("Nobody has received R-77. Name one that is there, or receive it first.");
    let scene = scene.stored("R-77", "Mon 06:00");
    let known = scene.wish_settle("again", "in_while_in", other()).at("Tue 15:00");
    known.needs_a_second("R-1 gets back 33 h of tack life");
}

#[test]
fn saying_that_a_put_away_was_another_rolls_gives_back_to_that_one() {
    // For R-1 the put-away changed nothing: it was not surely after its take-out. R-2 gets it.
    let scene = stored().out("R-1", "Tue 06:00").uncertain(60).put_away("R-1", "F1", "Tue 06:30").named("back");
    let scene = scene.stored("R-2", "Mon 06:00").out("R-2", "Tue 05:00");
    let other = Settlement::Other(thing("R-2"));
    let wish = scene.wish_settle("back", "put_away_not_after_take_out", other).at("Tue 09:30");
    wish.needs_a_second("R-2 gets back 3 h of tack life");
}

#[test]
fn a_place_that_becomes_colder_on_paper_gives_back() {
    let wish = |change: fn(&mut Place)| {
        let mut body = place("LAY", false);
        change(&mut body);
        stored().wish("place/LAY", Body::PlaceDeclared(body)).at("Tue 06:00").refusal_or_granted()
    };
    let frozen = "LAY counted as out and would count as cold";
    assert_eq!(wish(|place| place.frozen = true).as_deref(), Some(frozen));
    assert_eq!(wish(|place| place.highest_millideg_c = Some(20_000)).as_deref(), Some("LAY would count as colder"));
    assert_eq!(wish(|place| place.highest_millideg_c = Some(26_000)), None);
    assert_eq!(wish(|place| place.rack_s = Some(600.try_into().unwrap())), None);
    let unknown = stored().out("R-1", "Tue 06:00").put_away("R-1", "F9", "Tue 07:00");
    let first = unknown.wish("place/F9", Body::PlaceDeclared(place("F9", true))).at("Tue 08:00");
    first.needs_a_second("F9 counted as out for what was put away there before it was declared");
    stored().wish("place/F8", Body::PlaceDeclared(place("F8", true))).is_granted();
}

#[test]
fn a_freezer_declared_a_room_only_takes_and_striking_that_gives_back() {
    let scene = stored().place_from("F1", false, "Tue 00:00").named("warm");
    stored().wish("place/F1", Body::PlaceDeclared(place("F1", false))).is_granted();
    scene.wish_strike("warm").at("Wed 00:00").needs_a_second("F1 counted as out and would count as cold");
    scene.wish_strike("warm").at("Wed 00:00").second("B-2").is_granted();
}

#[test]
fn less_spare_time_or_another_zone_gives_back() {
    let scene = Scene::yard_with_spare(2).named("two hours");
    let wish = |yard: Yard| scene.wish("yard/YARD", Body::YardDeclared(yard));
    wish(lisbon(1)).needs_a_second("Every plan gets back spare time");
    wish(lisbon(1)).second("B-2").is_granted();
    wish(lisbon(3)).is_granted();
    let moved = Yard { zone: "Atlantic/Azores".to_owned(), ..lisbon(2) };
    wish(moved).needs_a_second("Shelf lives end at another hour");
    scene.wish_strike("two hours").needs_a_second("Every plan gets back spare time");
}

#[test]
fn striking_an_end_that_said_not_cured_would_lose_its_hold() {
    let laid = stored().out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 08:00").length(2);
    let scene = laid.oven("RUN-1", &["P-1"], "Tue 12:00").ended("RUN-1", "Tue 20:00").cured(false).named("end");
    let refused = scene.wish_strike("end").at("Tue 21:00").refusal();
    assert!(matches!(refused, Refusal::NeedsSecondPerson { .. }), "{refused:?}");
}

#[test]
fn replacing_an_opening_by_a_longer_one_only_takes() {
    let scene =
        Scene::yard().received("R-1", "Mon 06:00").opening(10, 0).named("receipt").put_away("R-1", "F1", "Mon 06:00");
    let instead = |hours: u64| scene.clone().received("R-1", "Mon 06:00").opening(hours, 0).with_id(5_000);
    scene.wish_strike("receipt").at("Tue 06:00").instead(&instead(12)).is_granted();
    scene.wish_strike("receipt").at("Tue 06:00").instead(&instead(8)).needs_a_second("R-1 gets back 2 h of tack life");
    // Where nothing was stated, any answer moves towards yes.
    let unstated = Scene::yard().received("R-1", "Mon 06:00").no_opening().named("receipt");
    let stated = unstated.clone().received("R-1", "Mon 06:00").opening(8, 0).with_id(5_000);
    let wish = unstated.wish_strike("receipt").at("Mon 12:00");
    wish.instead(&stated).needs_a_second("R-1 could be used again");
}
