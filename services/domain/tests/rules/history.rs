//! From facts to a history: door to door, scans that do not fit, and none that is swallowed.

use crate::look::*;
use crate::scene::Scene;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

#[test]
fn out_time_runs_from_door_to_door() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 10:30").out("R-1", "Wed 08:00");
    let look = scene.look("R-1", "Wed 09:00");
    // 4 h 30 min + 1 h; 94 h 30 min left of 100, 194 h 30 min of 200.
    look.out_time_is("5:30").left_is(Tack, "94:30").left_is(Out, "194:30").no_mismatch();
}

#[test]
fn freezing_again_stops_the_clock_and_gives_nothing_back() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 10:00");
    scene.look("R-1", "Tue 10:00").out_time_is("4:00");
    scene.look("R-1", "Sun+2 10:00").out_time_is("4:00");
}

#[test]
fn a_second_take_out_keeps_the_clock_running_from_the_first() {
    let scene = stored().out("R-1", "Tue 06:00").out("R-1", "Tue 06:08");
    scene.look("R-1", "Tue 07:00").out_time_is("1:00").mismatches_are(&["out_while_out"]);
}

#[test]
fn put_away_where_it_was_counts_as_out_since_it_was_last_known_inside_and_runs_on() {
    // Last known inside on Monday at 06:00; scanned on Tuesday at 06:00: 24 h, and 26 h two hours later.
    let scene = stored().put_away("R-1", "F1", "Tue 06:00");
    scene.look("R-1", "Tue 06:00").out_time_is("24:00");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("26:00").mismatches_are(&["in_while_in"]).says("R-1 is out since Mon 06:00.");
    let back = scene.put_away("R-1", "F1", "Tue 09:00");
    back.look("R-1", "Tue 12:00").out_time_is("27:00").mismatches_are(&["in_while_in"]);
}

#[test]
fn seen_inside_counts_as_last_known_inside() {
    let scene = stored().seen("R-1", "F1", "Tue 05:00").put_away("R-1", "F1", "Tue 06:00");
    scene.look("R-1", "Tue 08:00").out_time_is("3:00");
}

#[test]
fn put_away_in_another_freezer_counts_as_out_since_last_known_inside_and_ends_there() {
    let scene = stored().seen("R-1", "F1", "Tue 05:00").put_away("R-1", "F2", "Tue 06:00");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("1:00").mismatches_are(&["in_while_in_elsewhere"]).says("R-1 is in F2 since Tue 06:00.");
}

#[test]
fn seen_in_another_freezer_is_read_as_put_away_there() {
    let scene = stored().seen("R-1", "F1", "Tue 05:00").seen("R-1", "F2", "Tue 06:00");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("1:00").mismatches_are(&["in_while_in_elsewhere"]).says("R-1 is in F2 since Tue 06:00.");
    look.returns_are(0);
}

#[test]
fn seen_inside_while_out_changes_nothing() {
    let scene = stored().out("R-1", "Tue 06:00").seen("R-1", "F1", "Tue 07:00");
    let look = scene.look("R-1", "Tue 09:00");
    look.out_time_is("3:00").mismatches_are(&["seen_inside_while_out"]);
    let asks = look.mismatch("seen_inside_while_out").ask;
    assert_eq!(asks.as_deref(), Some("Is R-1 really in F1, not only its bag?"));
}

#[test]
fn seen_outside_while_the_book_has_it_inside_counts_as_out_since_last_known_inside() {
    let scene = stored().seen("R-1", "CUT", "Tue 07:00");
    let look = scene.look("R-1", "Tue 08:00");
    // Monday 06:00 to Tuesday 08:00.
    look.out_time_is("26:00").mismatches_are(&["acted_while_inside"]);
    assert_eq!(look.mismatch("acted_while_inside").ask.as_deref(), Some("Since when was R-1 out?"));
}

#[test]
fn cut_laid_or_kitted_while_the_book_has_it_inside_counts_as_out_since_last_known_inside() {
    let cut = stored().cut("N-1", "R-1", "K-1", "Tue 07:00");
    cut.look("R-1", "Tue 08:00").out_time_is("26:00").mismatches_are(&["acted_while_inside"]);
    // The plies carry the roll's 25 h up to the cut, and 1 h in the kit.
    cut.look("K-1", "Tue 08:00").out_time_is("26:00").no_mismatch();
    let laid = stored().laid("P-1", "R-1", "Tue 07:00").length(2);
    laid.look("R-1", "Tue 08:00").out_time_is("26:00").mismatches_are(&["acted_while_inside"]);
    let kit = stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 07:00").put_away("K-1", "F1", "Tue 08:00");
    let laid = kit.laid("P-1", "K-1", "Wed 08:00");
    // 06:00 to 08:00 on Tuesday, and since 08:00 again, last known inside then.
    let look = laid.look("K-1", "Wed 08:00");
    look.out_time_is("26:00").mismatches_are(&["acted_while_inside"]);
}

#[test]
fn a_put_away_into_a_room_is_a_sighting_outside() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "CUT", "Tue 07:00");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("2:00").no_mismatch().says("R-1 is out, in CUT, since Tue 06:00.");
    let inside = stored().put_away("R-1", "LAY", "Tue 07:00");
    inside.look("R-1", "Tue 08:00").out_time_is("26:00").mismatches_are(&["acted_while_inside"]);
}

#[test]
fn a_place_that_nobody_declared_counts_as_out() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F9", "Tue 07:00");
    let look = scene.look("R-1", "Tue 08:00");
    look.out_time_is("2:00").mismatches_are(&["place_not_declared"]);
    let say = look.mismatch("place_not_declared").say;
    assert_eq!(say, "Nobody has declared F9: R-1 counts as out there.");
}

#[test]
fn a_first_declaration_of_a_place_reaches_back() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F9", "Tue 07:00").place_from("F9", true, "Wed 00:00");
    scene.look("R-1", "Tue 12:00").out_time_is("1:00").no_mismatch();
}

#[test]
fn a_place_that_is_no_longer_frozen_charges_what_lies_in_it() {
    // F1 is a room from Wednesday 00:00 to Wednesday 05:00.
    let scene = stored().place_from("F1", false, "Wed 00:00").place_from("F1", true, "Wed 05:00");
    scene.look("R-1", "Tue 23:00").out_time_is("0:00");
    scene.look("R-1", "Wed 03:00").out_time_is("3:00");
    scene.look("R-1", "Thu 00:00").out_time_is("5:00");
    // What left before it ended is charged only once.
    scene.out("R-1", "Wed 04:00").look("R-1", "Wed 06:00").out_time_is("6:00");
}

#[test]
fn a_silent_device_charges_nothing_and_what_it_holds_open_runs_on() {
    let scene = stored().device("D-1", 1).out("R-1", "Tue 06:00").device("D-1", 2);
    scene.look("R-1", "Thu 06:00").out_time_is("48:00").no_mismatch();
}

#[test]
fn a_put_away_ends_later_by_the_places_rack_time_unless_its_position_is_scanned() {
    let mut trolley = crate::scene::place("F3", true);
    trolley.rack_s = Some(600.try_into().unwrap());
    let scene = stored().declares("place/F3", shared_types::Body::PlaceDeclared(trolley)).out("R-1", "Tue 06:00");
    // 1 h and 10 min.
    let put_away = scene.clone().put_away("R-1", "F3", "Tue 07:00");
    put_away.look("R-1", "Tue 12:00").out_time_is("1:10").no_mismatch();
    put_away.look("R-1", "Tue 07:05").out_time_is("1:05");
    let at_position = scene.put_away("R-1", "F3", "Tue 07:00").position("A-3");
    at_position.look("R-1", "Tue 12:00").out_time_is("1:00");
}

#[test]
fn a_code_that_nobody_received_exists_as_not_received_and_may_not_be_used() {
    let scene = Scene::yard().seen("R-9", "F1", "Tue 06:00");
    scene.look("R-9", "Tue 07:00").mismatches_are(&["not_received"]);
    scene.may(TakeOut, "R-9", "Tue 07:00").answer(No).because("Nobody has received R-9.");
    let unknown = Scene::yard().ask(TakeOut, "R-99", None, "Tue 07:00").unwrap_err();
    assert_eq!(unknown.to_string(), "Nobody has received R-99.");
}
