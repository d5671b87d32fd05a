//! A frozen place that may be warmer than a material may be stored at. No readings: its declared highest temperature
//! counts. No source: the rule is the yard's own.

use crate::look::*;
use crate::scene::{Scene, place, stamp, thing};
use shared_types::*;

/// PM-101 is stored at -18 °C or colder. F3 may be at this many thousandths of a degree.
fn yard(highest: Option<i32>) -> Scene {
    let body = Place { highest_millideg_c: highest, ..place("F3", true) };
    Scene::yard().declares("place/F3", Body::PlaceDeclared(body))
}

/// Received on Monday at 06:00 and put away there at 07:00.
fn stored(highest: Option<i32>) -> Scene {
    yard(highest).received("R-1", "Mon 06:00").put_away("R-1", "F3", "Mon 07:00")
}

const WHY: &str = "F3 may be at -15.5 °C, above the storage limit of PM-101, -18 °C: it counts as out there.";

#[test]
fn a_freezer_that_may_be_warmer_than_the_storage_limit_charges_as_out() {
    let scene = stored(Some(-15_500));
    let look = scene.look("R-1", "Tue 06:00");
    // Since Monday 06:00.
    look.out_time_is("24:00").says(&format!("R-1 is out, in F3, since Mon 06:00. {WHY}"));
    look.mismatches_are(&["place_too_warm"]);
    assert_eq!(look.mismatch("place_too_warm").say, format!("R-1: {WHY}"));
    let asked = scene.may(Lay, "R-1", "Tue 06:00");
    asked.answer(Yes).notes(WHY);
    assert_eq!(asked.0.why, "Tack life ends first: 76 h left, running since Mon 06:00. Not checked against a job.");
    let card = look.card();
    let note = card.cards[0].lines.last().unwrap().note.clone().unwrap();
    assert!(note.contains("in F3, not cold enough for it"), "{note}");
    // Nobody is sent to put it back there.
    let over = scene.may(Lay, "R-1", "Fri 11:00");
    over.answer(Stop).says("Put it away now, then call 4711.");
    // Moved to F1 by a take-out, it stands there: 24 h and 10 min.
    let moved = scene.out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 06:10");
    moved.look("R-1", "Wed 06:00").out_time_is("24:10").says("R-1 is in F1 since Tue 06:10.");
}

#[test]
fn exactly_at_the_limit_is_cold_and_so_is_a_freezer_without_a_figure() {
    for highest in [None, Some(-18_000), Some(-20_000)] {
        let scene = stored(highest);
        scene.look("R-1", "Tue 06:00").out_time_is("1:00").no_mismatch().says("R-1 is in F3 since Mon 07:00.");
        scene.may(Lay, "R-1", "Tue 06:00").notes("F3 has no readings: it counts as cold.");
    }
    stored(Some(-17_999)).look("R-1", "Tue 06:00").out_time_is("24:00");
}

#[test]
fn a_material_that_states_no_storage_limit_counts_as_cold_there_and_the_answer_says_so() {
    let mut scene = stored(Some(-15_500));
    for entry in &mut scene.entries {
        if let Body::MaterialRevised(revision) = &mut entry.body {
            revision.storage_limit_millideg_c = None;
        }
    }
    scene.look("R-1", "Tue 06:00").out_time_is("1:00").no_mismatch();
    let note = "F3 has no readings: it counts as cold, and no storage limit is stated that it could be above.";
    scene.may(Lay, "R-1", "Tue 06:00").notes(note);
}

#[test]
fn a_truck_that_may_be_too_warm_charges_its_way() {
    let warm = |highest: i32| Body::PlaceDeclared(Place { highest_millideg_c: Some(highest), ..place("TR", true) });
    let truck = |first: Body, then: Body| {
        let mut scene = Scene::yard();
        for entry in scene.entries.iter_mut().filter(|entry| entry.thing == thing("place/TR")) {
            entry.body = first.clone();
        }
        let scene = scene.declares("place/TR", then);
        let scene = scene.received("R-1", "Mon 06:00").counted_from("Sun 22:00").coming_in("TR");
        scene.change(|entry| {
            if let Body::RollReceived(received) = &mut entry.body
                && let Some(opening) = &mut received.opening
            {
                opening.as_of = stamp("2026-05-03T22:00:00+01:00");
            }
        })
    };
    // Loaded on Sunday at 22:00, put away on Monday at 06:30.
    truck(warm(-15_000), warm(-15_000)).put_away("R-1", "F1", "Mon 06:30").look("R-1", "Tue 06:00").out_time_is("8:30");
    truck(warm(-18_000), warm(-18_000)).put_away("R-1", "F1", "Mon 06:30").look("R-1", "Tue 06:00").out_time_is("0:30");
    // Warmer since Monday midnight, on the way.
    truck(warm(-18_000), warm(-15_000)).put_away("R-1", "F1", "Mon 06:30").look("R-1", "Tue 06:00").out_time_is("6:30");
}

#[test]
fn a_freezer_declared_warmer_or_colder_later_charges_from_then_or_until_then() {
    let from = |scene: Scene, highest: i32, from: &str| {
        let body = Place { highest_millideg_c: Some(highest), effective_from: Some(stamp(from)), ..place("F3", true) };
        scene.declares("place/F3", Body::PlaceDeclared(body))
    };
    let warmer = from(stored(Some(-20_000)), -10_000, "Tue 00:00");
    // 06:00 to 07:00, and since midnight.
    warmer.look("R-1", "Tue 06:00").out_time_is("7:00");
    let colder = from(stored(Some(-10_000)), -20_000, "Tue 00:00");
    colder.look("R-1", "Tue 06:00").out_time_is("18:00").says("R-1 is in F3 since Mon 07:00.");
}

#[test]
fn a_kit_takes_the_coldest_limit_of_what_it_was_cut_from() {
    let film = Revision { storage_limit_millideg_c: Some(-12_000), ..crate::scene::sheet() };
    let scene = || {
        let scene = yard(Some(-15_000)).material("PM-102", film.clone()).registered("batch/PM-102/B-1", "2026-01-31");
        let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
        scene
            .received("R-2", "Mon 06:00")
            .of("PM-102", "B-1")
            .put_away("R-2", "F3", "Mon 06:00")
            .out("R-2", "Tue 06:00")
    };
    scene().look("R-2", "Tue 06:00").out_time_is("0:00");
    let in_kit = |rolls: &[(&str, u64)]| {
        let scene = scene().cut_many("N-1", &[("K-1", "J-1", rolls)], "Tue 07:00");
        scene.put_away("K-1", "F3", "Tue 08:00")
    };
    in_kit(&[("R-2", 1)]).look("K-1", "Wed 08:00").left_is(Tack, "98:00").no_mismatch();
    let both = in_kit(&[("R-1", 1), ("R-2", 1)]);
    both.look("K-1", "Wed 08:00").left_is(Tack, "74:00").mismatches_are(&["place_too_warm"]);
}
