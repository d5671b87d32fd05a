//! Past acts and decisions, judged again with what is known today.

use crate::look::*;
use crate::scene::Scene;
use shared_types::*;

/// 97 h before; out on Tuesday at 06:00 and cut at 08:00: 99 h of 100 h tack life.
fn cut_just_within() -> Scene {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(97, 0).put_away("R-1", "F1", "Mon 06:00");
    scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").named("cut")
}

fn tack(judgement: &Judgement) -> Option<i64> {
    judgement.limits.iter().find(|left| left.limit == Tack).map(|left| left.left)
}

#[test]
fn an_act_is_judged_again_when_a_late_fact_changes_it() {
    let scene = cut_just_within();
    assert_eq!(scene.look("R-1", "Wed 06:00").view().judged_again, []);
    // It was out for 90 min on Monday too.
    let late = scene.out("R-1", "Mon 12:00").put_away("R-1", "F1", "Mon 13:30");
    let judged = late.look("R-1", "Wed 06:00").view().judged_again;
    let cut = judged.iter().find(|one| one.entry == late.id("cut")).unwrap();
    assert_eq!((cut.then.answer, tack(&cut.then)), (Yes, Some(3600)));
    assert_eq!((cut.now.answer, tack(&cut.now), cut.act), (No, Some(-1800), Cut));
    late.look("R-1", "Wed 06:00").mismatch("limit_over_at_act");
}

#[test]
fn what_descends_is_judged_again_too() {
    let scene = cut_just_within().laid("P-1", "K-1", "Tue 08:30").named("laid");
    let late = scene.out("R-1", "Mon 12:00").put_away("R-1", "F1", "Mon 13:30");
    let judged = late.look("P-1", "Wed 06:00").view().judged_again;
    assert_eq!(judged.len(), 1);
    assert_eq!((judged[0].entry, judged[0].act), (late.id("laid"), Lay));
    // 99 h 30 min then; 101 h now.
    assert_eq!((tack(&judged[0].then), tack(&judged[0].now)), (Some(1800), Some(-3600)));
}

#[test]
fn then_is_what_was_known_once_the_acts_own_group_was_written() {
    // The late take-out came in the same group as the cut: nothing was known otherwise.
    let scene = cut_just_within().recorded("Tue 09:00");
    let scene =
        scene.out("R-1", "Mon 12:00").recorded("Tue 09:00").put_away("R-1", "F1", "Mon 13:30").recorded("Tue 09:00");
    let judged = scene.look("R-1", "Wed 06:00").view().judged_again;
    assert!(judged.iter().all(|one| one.entry != scene.id("cut")), "{judged:#?}");
    scene.look("R-1", "Wed 06:00").mismatch("limit_over_at_act");
}

#[test]
fn a_settlement_judges_the_act_again_the_other_way() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(97, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.put_away("R-1", "F2", "Tue 00:00").named("over").out("R-1", "Tue 06:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 08:00").named("cut");
    scene.look("R-1", "Wed 06:00").mismatch("limit_over_at_act");
    let answer = Settlement::CarriedOverS(600.try_into().unwrap());
    let settled = scene.settle("over", "in_while_in_elsewhere", answer, "Wed 12:00");
    let judged = settled.look("R-1", "Thu 06:00").view().judged_again;
    let cut = judged.iter().find(|one| one.entry == settled.id("cut")).unwrap();
    // 97 h + 10 min + 2 h.
    assert_eq!((cut.then.answer, cut.now.answer, tack(&cut.now)), (No, Yes, Some(3000)));
}

#[test]
fn a_kits_take_out_is_judged_as_well() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(0, 3).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 07:00").put_away("K-1", "F1", "Tue 08:00");
    let over = scene.out("K-1", "Wed 06:00").look("K-1", "Wed 08:00").mismatch("limit_over_at_act");
    assert_eq!(over.say, "R-1 was 1 return to the cold over its refreezes when it was taken out Wed 6 May 2026 06:00.");
}

#[test]
fn a_decision_that_would_be_refused_today_is_a_mismatch_naming_the_refusal() {
    let scene = Scene::yard().job("J-1", "Wed 12:00", "Thu 06:00").received("R-1", "Mon 06:00").opening(60, 0);
    let scene = scene.put_away("R-1", "F1", "Mon 06:00").issued("R-1", "J-1", "Tue 06:00").named("issue");
    scene.look("R-1", "Tue 08:00").no_mismatch();
    // 60 h and 12 h more on Monday: 28 h of tack life left at the issue, and the last ply is planned in 30 h.
    let late = scene.out("R-1", "Mon 07:00").put_away("R-1", "F1", "Mon 19:00");
    let look = late.look("R-1", "Tue 08:00");
    let refused = look.mismatch("decision_would_be_refused");
    assert_eq!(refused.entry, late.id("issue"));
    assert_eq!(
        refused.say,
        "R-1 was issued to J-1 Tue 5 May 2026 06:00. By what is known now it would have been refused then: 28 h of tack life left; the last ply of J-1 is planned in 30 h."
    );
    // Its effects are not undone; a strike ends it.
    assert_eq!(look.view().jobs, [Code::new("J-1").unwrap()]);
    late.strike("issue", "Tue 09:00").look("R-1", "Tue 10:00").no_mismatch();
}

#[test]
fn a_decision_is_judged_at_its_own_time() {
    // Held, used up and planned otherwise later: at its own time it was right.
    let scene = Scene::yard().job("J-1", "Wed 12:00", "Thu 06:00").stored("R-1", "Mon 06:00");
    let scene = scene.issued("R-1", "J-1", "Tue 06:00").hold("R-1", "Tue 07:00").disposed("R-1", "Tue 08:00");
    scene.replan("J-1", "Mon+4 12:00", "Tue+4 12:00", "Tue 09:00").look("R-1", "Tue 10:00").no_mismatch();
}

#[test]
fn settlements_confirmations_and_strikes_act_on_their_entry_whenever_they_were_made() {
    let scene =
        cut_just_within().out("R-1", "Mon 12:00").named("late").put_away("R-1", "F1", "Mon 13:30").named("back");
    let struck = scene.strike("late", "Fri 06:00").strike("back", "Fri 06:01");
    struck.look("R-1", "Tue 08:00").out_time_is("99:00").no_mismatch();
    let told = cut_just_within().put_away("R-1", "F1", "Tue 07:00").told().named("told");
    let told = told.out("R-1", "Tue 07:30").confirm("told", "Fri 06:00");
    told.look("R-1", "Tue 08:00").out_time_is("98:30");
}

#[test]
fn something_done_while_it_was_held_is_a_mismatch() {
    let scene = cut_just_within().hold("batch/PM-101/B-1", "Tue 07:00");
    let found = scene.look("R-1", "Wed 06:00").mismatch("acted_while_held");
    assert_eq!(found.say, "R-1 was cut Tue 5 May 2026 08:00 while B-1 was held: torn bag.");
    let laid = cut_just_within().laid("P-1", "K-1", "Tue 08:30").hold("R-1", "Tue 08:15");
    laid.look("P-1", "Wed 06:00").mismatch("acted_while_held");
    // The cut came before the hold.
    laid.look("R-1", "Wed 06:00").no_mismatch();
}

#[test]
fn mismatches_of_one_entry_are_told_when_it_is_written() {
    let scene =
        cut_just_within().out("R-1", "Tue 09:00").named("again").cut("N-2", "R-1", "K-2", "Tue 10:00").named("over");
    let kinds = |name: &str| {
        let found = domain::mismatch::of_entry(&scene.book(), scene.seq(name), when("Tue 12:00"));
        found.into_iter().map(|one| format!("{} {}", one.kind, one.thing)).collect::<Vec<_>>()
    };
    assert_eq!(kinds("again"), ["out_while_out roll/R-1"]);
    assert_eq!(kinds("over"), ["limit_over_at_act roll/R-1"]);
    assert_eq!(kinds("cut"), Vec::<String>::new());
}
