//! Told facts: they take at once, and give nothing back until a second person stands beside them.

use crate::look::*;
use crate::scene::Scene;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

#[test]
fn a_told_take_out_counts_at_once() {
    let scene = stored().out("R-1", "Tue 06:00").told();
    scene.look("R-1", "Tue 08:00").out_time_is("2:00").no_mismatch();
}

#[test]
fn a_told_take_out_inside_a_stretch_that_counts_anyway_changes_nothing() {
    let scene = stored().out("R-1", "Tue 06:00").out("R-1", "Tue 07:00").told().put_away("R-1", "F1", "Tue 08:00");
    scene.look("R-1", "Tue 12:00").out_time_is("2:00").no_mismatch();
    // Nor does it hold up a put-away that is not surely after it.
    let uncertain = stored().out("R-1", "Tue 06:00").out("R-1", "Tue 07:50").told().uncertain(30);
    uncertain.put_away("R-1", "F1", "Tue 09:00").look("R-1", "Tue 12:00").out_time_is("3:00").no_mismatch();
}

#[test]
fn a_told_put_away_is_listed_and_not_counted_until_confirmed() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told().named("told");
    let look = scene.look("R-1", "Tue 09:00");
    look.out_time_is("3:00");
    assert_eq!(look.view().to_confirm.iter().map(|one| one.seq).collect::<Vec<_>>(), [scene.seq("told")]);
    let note = "B-1 told that it was put away Tue 07:00: not counted until somebody else confirms it.";
    scene.may(Cut, "R-1", "Tue 09:00").notes(note);
    let confirmed = scene.confirm("told", "Wed 06:00");
    let look = confirmed.look("R-1", "Tue 09:00");
    look.out_time_is("1:00");
    assert_eq!(look.view().to_confirm, []);
}

#[test]
fn who_told_it_cannot_confirm_it_alone() {
    let told = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told().named("told");
    let alone = told.clone().confirm("told", "Wed 06:00").by("B-1");
    alone.look("R-1", "Tue 09:00").out_time_is("3:00");
    let with_another = told.confirm("told", "Wed 06:00").by("B-1").second("B-7");
    with_another.look("R-1", "Tue 09:00").out_time_is("1:00");
}

#[test]
fn a_struck_confirmation_confirms_nothing() {
    let told = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told().named("told");
    let scene = told.confirm("told", "Wed 06:00").named("yes").strike("yes", "Wed 07:00");
    scene.look("R-1", "Tue 09:00").out_time_is("3:00");
}

#[test]
fn a_told_fact_with_a_second_person_counts_at_once() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told();
    scene.clone().second("B-2").look("R-1", "Tue 09:00").out_time_is("1:00");
    scene.second("B-1").look("R-1", "Tue 09:00").out_time_is("3:00");
}

#[test]
fn a_told_sighting_inside_counts_only_once_confirmed() {
    let scene = stored().seen("R-1", "F1", "Tue 06:00").told().named("told").put_away("R-1", "F1", "Tue 09:00");
    // Last known inside on Monday at 06:00: 28 h by Tuesday 10:00. Confirmed, last known at 06:00 on Tuesday: 4 h.
    scene.look("R-1", "Tue 10:00").out_time_is("28:00");
    scene.confirm("told", "Wed 06:00").look("R-1", "Tue 10:00").out_time_is("4:00");
}

#[test]
fn a_told_sighting_in_a_room_counts_as_the_scanned_one_does() {
    let scene = stored().seen("R-1", "CUT", "Tue 06:00").told();
    scene.look("R-1", "Tue 08:00").out_time_is("26:00").mismatches_are(&["acted_while_inside"]);
}

#[test]
fn a_told_take_out_gives_nothing_back_from_a_put_away_that_did_not_fit() {
    // Without the told take-out the put-away is one where the book has it: out since Monday 06:00, running on. With it
    // the roll was out for 1 h. The worse of the two counts until somebody confirms.
    let scene = stored().out("R-1", "Tue 06:00").told().named("told").put_away("R-1", "F1", "Tue 07:00");
    scene.look("R-1", "Tue 08:00").out_time_is("26:00");
    scene.confirm("told", "Wed 06:00").look("R-1", "Tue 08:00").out_time_is("1:00").no_mismatch();
}

#[test]
fn mismatches_stand_in_the_order_in_which_they_happened_beside_told_facts_too() {
    // Written the later one first; a told take-out at the end makes the history be read twice.
    let scene = stored().out("R-1", "Tue 06:00").out("R-1", "Tue 09:00").out("R-1", "Tue 08:00");
    let scene = scene.put_away("R-1", "F1", "Tue 10:00").out("R-1", "Tue 12:00").told();
    let found = scene.may(Cut, "R-1", "Tue 13:00").0.mismatches;
    assert!(found.is_sorted_by_key(|one| one.at.at), "{found:#?}");
    assert_eq!(found.len(), 2);
}

#[test]
fn a_told_take_out_gives_no_return_to_the_cold_back() {
    // Without it: out since Monday 06:00 until it came into F2, a return. With it only 5 min, which would be none.
    let scene = stored().out("R-1", "Tue 06:55").told().named("told").put_away("R-1", "F2", "Tue 07:00");
    scene.look("R-1", "Tue 08:00").returns_are(1);
    scene.confirm("told", "Wed 06:00").look("R-1", "Tue 08:00").returns_are(0);
}

#[test]
fn a_put_away_is_a_return_if_it_ended_a_long_stretch_with_what_was_told_or_without_it() {
    // Without the told take-out the put-away at 12:00 was a take-out, as somebody said: out from 12:00 to 14:30. With it
    // that put-away ended 1 h, and the one at 14:30 ended 10 min.
    let scene = stored().out("R-1", "Tue 11:00").told().named("told").put_away("R-1", "F1", "Tue 12:00").named("in");
    let scene = scene.settle("in", "in_while_in", shared_types::Settlement::WasTakeOut(true), "Wed 06:00");
    let scene = scene.out("R-1", "Tue 14:20").put_away("R-1", "F1", "Tue 14:30");
    scene.look("R-1", "Tue 18:00").returns_are(2);
    scene.confirm("told", "Wed 07:00").look("R-1", "Tue 18:00").returns_are(1);
}

#[test]
fn told_receipts_and_cuts_count() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").told().put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").told();
    scene.may(Lay, "K-1", "Tue 09:00").answer(Yes).left_is(Tack, "97:00");
    let view = scene.look("R-1", "Tue 09:00").view();
    assert_eq!(view.length_left_mm, Some(48_000));
}

#[test]
fn a_told_lay_up_is_judged_as_told_and_marked() {
    let scene = stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene = scene.laid("P-1", "K-1", "Tue 10:00").told().named("told");
    let note = "Part of its lay-up was told, not scanned: it is not accepted until somebody else confirms it.";
    // Tack stood at 4 h when it was laid: 96 h left.
    scene.may(Oven, "P-1", "Tue 12:00").answer(Yes).left_is(Tack, "96:00").left_is(ToCure, "70:00").notes(note);
    let confirmed = scene.confirm("told", "Wed 06:00").may(Oven, "P-1", "Tue 12:00");
    assert_eq!(confirmed.0.notes, Vec::<String>::new());
}

#[test]
fn a_told_oven_start_is_judged_as_told_and_stays_unconfirmed() {
    let scene = stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 10:00");
    let scene = scene.oven("RUN-1", &["P-1"], "Tue 12:00").told().named("told");
    let scene = scene.ended("RUN-1", "Tue 20:00").committed("Tue 14:00");
    // 6 h out when it started; it would be 14 h by 20:00 if it never had.
    let row = scene.look("P-1", "Tue 20:00").stage_row("skin", Out);
    assert_eq!((row.left_s, row.not_confirmed), (Some(194 * 3600), true));
    assert_eq!(row.left_s_if_never_started, Some(186 * 3600));
    let confirmed = scene.confirm("told", "Wed 06:00").look("P-1", "Tue 20:00").stage_row("skin", Out);
    assert_eq!((confirmed.left_s, confirmed.not_confirmed), (Some(194 * 3600), false));
}

#[test]
fn a_devices_late_scan_counts_as_it_stands() {
    let scene = stored().device("D-1", 1).out("R-1", "Tue 06:00").device("D-1", 2);
    let late = scene.put_away("R-1", "F1", "Tue 07:00").device("D-1", 3).recorded("Thu 09:00");
    late.look("R-1", "Tue 09:00").out_time_is("1:00").no_mismatch();
}

#[test]
fn a_told_fact_has_no_device_that_would_order_it_for_certain() {
    let scene = stored().out("R-1", "Tue 06:00").uncertain(30).device("D-1", 1);
    let told = scene.put_away("R-1", "F1", "Tue 06:20").device("D-1", 2).told().named("told");
    let told = told.confirm("told", "Wed 06:00");
    told.look("R-1", "Tue 08:00").out_time_is("2:30").mismatches_are(&["put_away_not_after_take_out"]);
}

#[test]
fn a_told_disposal_counts_at_once() {
    let scene = stored().out("R-1", "Tue 06:00").disposed("R-1", "Tue 08:00").told();
    scene.may(Cut, "R-1", "Tue 09:00").answer(No).because("R-1 was thrown away Tue 08:00.");
}
