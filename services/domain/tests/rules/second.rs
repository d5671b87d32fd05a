//! Who the second person may be once the yard has an administrator: for facts anybody else who works with the material,
//! for holds, hours and cures quality, and never who recorded what it rests on.

use crate::scene::{Scene, place, sheet};
use crate::when::hours;
use domain::Refusal;
use shared_types::{Role::*, *};

fn staffed() -> Scene {
    let people = [("S-1", Stores), ("S-2", Stores), ("L-1", Laminator), ("V-1", Supervisor), ("D-1", Reader)];
    let scene = Scene::yard().granted("A-1", &[Administrator], "Mon 01:00");
    let scene = scene.granted("Q-1", &[Quality], "Mon 01:00").granted("Q-2", &[Quality], "Mon 01:00");
    let scene = people.iter().fold(scene, |scene, (badge, role)| scene.granted(badge, &[*role], "Mon 01:00"));
    scene.received("R-1", "Mon 06:00").by("S-1").put_away("R-1", "F1", "Mon 06:00").by("S-1")
}

/// Out for 4 h by S-1, not put away.
fn out() -> Scene {
    staffed().out("R-1", "Tue 06:00").by("S-1").named("out")
}

#[test]
fn beside_a_fact_stands_anybody_else_who_works_with_the_material() {
    let scene = out();
    let strike = || scene.wish_strike("out").at("Tue 10:00").by("S-1");
    for badge in ["S-2", "L-1", "V-1", "Q-1"] {
        strike().second(badge).is_granted();
    }
    strike().second("D-1").is_refused(
        "R-1 gets back 4 h of tack life: D-1 has the role reader, and beside it stands stores, laminator, supervisor or \
         quality. Name somebody else's badge in second.",
    );
    strike().second("A-1").needs_a_second("R-1 gets back 4 h of tack life");
    strike().second("B-9").needs_a_second("R-1 gets back 4 h of tack life");
}

#[test]
fn who_has_not_shown_who_they_are_is_no_second_person() {
    let scene = out();
    scene.wish_strike("out").at("Tue 10:00").by("S-1").claimed_second("S-2").is_refused(
        "R-1 gets back 4 h of tack life: S-2 has not shown who they are: let them scan their badge or sign in too. Name \
         somebody else's badge in second.",
    );
    // Before there was an administrator nobody could show it.
    let before = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").named("out");
    before.wish_strike("out").at("Tue 10:00").claimed_second("B-2").is_granted();
}

#[test]
fn beside_the_lifting_of_a_hold_stands_quality_who_did_not_place_it() {
    let scene = out().hold("R-1", "Tue 07:00").by("Q-1").named("hold");
    let lift = || scene.wish_lift("hold").by("V-1");
    lift().is_refused(
        "A hold on R-1 would be gone: a second person whose role is quality must stand beside it, who is not Q-1. Name \
         their badge in second.",
    );
    lift().second("S-2").needs_a_second("A hold on R-1 would be gone");
    lift().second("Q-1").needs_a_second("A hold on R-1 would be gone");
    lift().second("Q-2").is_granted();
    // Who placed it may ask, and needs somebody else.
    scene.wish_lift("hold").by("Q-1").second("Q-2").is_granted();
    scene.wish_strike("hold").by("V-1").second("L-1").needs_a_second("A hold on R-1 would be gone");
    scene.wish_strike("hold").by("V-1").second("Q-2").is_granted();
}

#[test]
fn beside_assigned_hours_stands_quality_and_beside_other_answers_the_floor() {
    let scene = out().put_away("R-1", "F1", "Tue 08:00").by("S-1").put_away("R-1", "F1", "Tue 12:00").by("S-1");
    let scene = scene.named("again");
    let settle = |answer| scene.wish_settle("again", "in_while_in", answer).at("Tue 15:00").by("V-1");
    let hours = || settle(Settlement::AssignedS(hours(1)));
    hours().second("L-1").needs_a_second("R-1 gets back 6 h of tack life");
    hours().second("Q-1").is_granted();
    settle(Settlement::WasTakeOut(true)).second("L-1").is_granted();
    // Not who scanned it.
    settle(Settlement::WasTakeOut(true)).second("S-1").needs_a_second("R-1 gets back 4 h of tack life");
}

#[test]
fn beside_the_strike_of_assigned_hours_stands_quality_and_a_supervisor_asks_for_it() {
    let scene = out().put_away("R-1", "F1", "Tue 08:00").by("S-1").put_away("R-1", "F1", "Tue 12:00").by("S-1");
    let scene = scene.named("again").settle("again", "in_while_in", Settlement::WasTakeOut(true), "Tue 12:30");
    let scene = scene.by("V-1").second("L-1");
    let scene = scene.settle("again", "in_while_in", Settlement::AssignedS(hours(30)), "Tue 13:00");
    let scene = scene.by("V-1").second("Q-1").named("answer");
    let strike = || scene.wish_strike("answer").at("Tue 15:00");
    assert!(matches!(strike().by("L-1").second("S-2").decided(), Err(Refusal::NotAllowed { .. })));
    let gives = strike().by("V-1").refusal_or_granted().expect("striking it gives nothing back");
    strike().by("V-1").second("L-1").needs_a_second(&gives);
    strike().by("V-1").second("Q-1").is_granted();
}

#[test]
fn beside_the_strike_of_what_a_run_ended_with_stands_quality() {
    let scene = out().laid("P-1", "R-1", "Tue 08:00").by("L-1").length(2);
    let scene = scene.oven("RUN-1", &["P-1/skin"], "Tue 10:00").by("L-1").ended("RUN-1", "Tue 20:00").by("L-1");
    let scene = scene.cured(false).named("ended");
    let strike = || scene.wish_strike("ended").by("V-1").at("Wed 06:00");
    strike().needs_a_second("P-1 gets back 20 h of out-life");
    strike().second("S-1").needs_a_second("P-1 gets back 20 h of out-life");
    strike().second("Q-1").is_granted();
}

#[test]
fn beside_a_place_that_becomes_colder_and_a_material_in_use_stands_quality() {
    let scene = staffed();
    let colder = || scene.wish("place/CUT", Body::PlaceDeclared(place("CUT", true))).by("A-1");
    colder().second("S-1").needs_a_second("CUT counted as out and would count as cold");
    colder().second("Q-1").is_granted();
    let named =
        Scene::yard().received("R-1", "Mon 06:00").of("PM-9", "B-1").granted("A-1", &[Administrator], "Mon 07:00");
    let named = named.granted("Q-1", &[Quality], "Mon 07:00").granted("Q-2", &[Quality], "Mon 07:00");
    let named = named.granted("V-1", &[Supervisor], "Mon 07:00");
    let revise = || named.wish("PM-9", Body::MaterialRevised(sheet())).by("Q-1");
    revise().second("V-1").needs_a_second("Rolls of PM-9 revision A, whose limits nobody knew, could be used");
    revise().second("Q-2").is_granted();
}

#[test]
fn a_told_fact_is_confirmed_by_somebody_else_who_works_with_the_material() {
    let told = out().put_away("R-1", "F1", "Tue 07:00").by("S-1").told().named("told");
    told.wish_confirm("told").by("L-1").is_granted();
    told.wish_confirm("told").by("S-1").second("L-1").is_granted();
    for (by, second) in [("S-1", "D-1"), ("S-1", "S-1")] {
        told.wish_confirm("told").by(by).second(second).needs_a_second("R-1 may get back life");
    }
    assert!(matches!(told.wish_confirm("told").by("D-1").refusal(), Refusal::NotAllowed { .. }));
}

#[test]
fn a_told_fact_that_nobody_showed_to_be_theirs_is_confirmed_by_two() {
    let told = out().put_away("R-1", "F1", "Tue 07:00").by("S-2").told().named("told");
    told.wish_confirm("told").by("S-1").is_granted();
    // S-1 may have sent it in the name of S-2.
    let claimed = told.change(|entry| entry.by_known = KnownBy::Claimed);
    let alone = claimed.wish_confirm("told").by("S-1");
    alone.is_refused("Nobody showed that it was S-2 who made this entry: two badges must confirm it.");
    claimed.wish_confirm("told").by("S-1").second("L-1").is_granted();
    for second in ["S-2", "D-1"] {
        claimed.wish_confirm("told").by("S-1").second(second).needs_a_second("R-1 may get back life");
    }
    claimed.wish_confirm("told").by("S-1").claimed_second("L-1").needs_a_second("R-1 may get back life");
    // Before there was an administrator nobody could show it.
    let before =
        Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told();
    let before = before.named("told").change(|entry| entry.by_known = KnownBy::Claimed);
    before.wish_confirm("told").by("B-2").claimed().is_granted();
}

#[test]
fn a_told_fact_counts_at_once_only_beside_somebody_who_showed_who_they_are() {
    let told = || out().put_away("R-1", "F1", "Tue 07:00").by("S-1").told();
    told().second("L-1").look("R-1", "Tue 09:00").out_time_is("1:00");
    told().second("D-1").look("R-1", "Tue 09:00").out_time_is("3:00");
    let claimed = told().second("L-1").change(|entry| {
        if let Some(second) = &mut entry.second {
            second.by_known = KnownBy::Claimed;
        }
    });
    claimed.look("R-1", "Tue 09:00").out_time_is("3:00");
}

#[test]
fn who_may_not_stand_beside_a_strike_does_not_stand_beside_what_replaces_the_entry() {
    let scene = out();
    let earlier = scene.clone().out("R-1", "Tue 05:00").by("S-1").with_id(5_000);
    // It only takes, so it needs nobody; but with two the new time would wait for nobody.
    let strike = || scene.wish_strike("out").at("Tue 10:00").by("S-1").instead(&earlier);
    strike().is_granted();
    strike().second("L-1").is_granted();
    strike().second("D-1").needs_a_second("What stands instead would count as looked at by two");
    strike().claimed_second("L-1").needs_a_second("What stands instead would count as looked at by two");
}

#[test]
fn who_made_what_stands_instead_is_no_second_person_for_the_strike() {
    let scene = out();
    let later = scene.clone().out("R-1", "Tue 07:00").by("S-2").with_id(5_000);
    let strike = || scene.wish_strike("out").at("Tue 10:00").by("V-1").instead(&later);
    strike().second("S-2").needs_a_second("R-1 gets back 1 h of tack life");
    strike().second("L-1").is_granted();
}

#[test]
fn who_made_the_scan_is_no_second_person_for_striking_what_was_said_about_it() {
    // The later of two answers is struck, and the earlier one takes less.
    let scene = out().put_away("R-1", "F1", "Tue 08:00").by("S-1").put_away("R-1", "F1", "Tue 12:00").by("S-1");
    let scene = scene.named("again").settle(
        "again",
        "in_while_in",
        Settlement::OutSince(crate::scene::stamp("Tue 08:00")),
        "Tue 13:00",
    );
    let scene =
        scene.by("V-1").named("answer").settle("again", "in_while_in", Settlement::WasTakeOut(true), "Tue 12:30");
    let scene = scene.by("V-1").second("L-1");
    let strike = || scene.wish_strike("answer").by("V-1").at("Tue 15:00");
    let gives = strike().refusal_or_granted();
    assert!(gives.is_some(), "striking it gives nothing back");
    let gives = gives.unwrap();
    strike().second("S-1").needs_a_second(&gives);
    strike().second("L-1").is_granted();
}
