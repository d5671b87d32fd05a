//! Put-aways that a person named, where the facts can be read in several ways; and scans that were another thing's.

use crate::scene::{Scene, place, stamp, thing};
use crate::when::hours;
use shared_types::Settlement::*;
use shared_types::*;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

/// R-1 in F1; in F3 it would be in the rack 10 min after the scan at the door.
fn with_slow_f3() -> Scene {
    let slow = Place { rack_s: Some(600.try_into().unwrap()), ..place("F3", true) };
    Scene::yard().declares("place/F3", Body::PlaceDeclared(slow)).stored("R-1", "Mon 06:00")
}

#[test]
fn a_told_take_out_that_stands_before_a_scanned_one_of_the_same_minute_counts() {
    // By the order of their device the told one comes first: it was in until then, and the scanned one is a second one.
    let scene = stored().out("R-1", "Tue 06:00").told().device("D-1", 1);
    let scene = scene.out("R-1", "Tue 06:00").device("D-1", 2).named("again");
    scene.look("R-1", "Tue 08:00").out_time_is("2:00").mismatches_are(&["out_while_out"]);
    // Put away on Monday at 22:00, says somebody of the second: where it was already, so it was out until then.
    let away = scene.settle("again", "out_while_out", PutAwayAt(stamp("Mon 22:00")), "Wed 06:00");
    away.look("R-1", "Tue 08:00").out_time_is("18:00").returns_are(1);
    // The other way round the told one changes nothing.
    let scene = stored().out("R-1", "Tue 06:00").device("D-1", 1).out("R-1", "Tue 06:00").told().device("D-1", 2);
    scene.look("R-1", "Tue 08:00").out_time_is("2:00").no_mismatch();
}

#[test]
fn what_is_said_of_a_scan_elsewhere_says_nothing_of_one_where_it_was() {
    // In F1, and scanned into F2 on Tuesday: put there at 00:30. If it was told rightly to be in F2 since 20:00, the scan
    // was a take-out with the wrong placard, and nobody said anything of that: out since 20:00, and it stays out.
    let scene = stored().put_away("R-1", "F2", "Mon 20:00").told().put_away("R-1", "F2", "Tue 01:00").named("scan");
    let scene = scene.settle("scan", "in_while_in_elsewhere", PutAwayAt(stamp("Tue 00:30")), "Wed 06:00");
    scene.look("R-1", "Tue 03:00").out_time_is("21:00");
}

#[test]
fn a_named_put_away_counts_where_it_was_in_already_too() {
    let scene = with_slow_f3().put_away("R-1", "F3", "Tue 10:55").told();
    let scene = scene.seen("R-1", "CUT", "Tue 12:00").named("seen").out("R-1", "Tue 14:00").named("again");
    let scene = scene.settle("seen", "acted_while_inside", WasTakeOut(true), "Wed 06:00");
    let scene = scene.settle("again", "out_while_out", PutAwayAt(stamp("Tue 11:00")), "Wed 06:00");
    // Out since Monday 06:00 until 11:00, if it was in F1; if in F3, until 11:10. Then since 12:00.
    scene.look("R-1", "Tue 15:00").out_time_is("32:10");
}

#[test]
fn what_is_said_of_a_scan_that_is_odd_only_if_something_told_is_so_counts_there() {
    // If the told one is so, the scan at 09:00 was a take-out with the wrong placard, and the take-out a second one.
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").told();
    let scene = scene.put_away("R-1", "F1", "Tue 09:00").out("R-1", "Tue 10:00").named("again");
    scene.look("R-1", "Tue 12:00").out_time_is("6:00");
    // Put away at 09:30, says somebody: 06:00 to 09:30, and since 10:00.
    let scene = scene.settle("again", "out_while_out", PutAwayAt(stamp("Tue 09:30")), "Wed 06:00");
    scene.look("R-1", "Tue 12:00").out_time_is("5:30").mismatches_are(&["in_while_in", "out_while_out"]);
}

#[test]
fn a_put_away_that_is_said_of_a_told_sighting_may_have_been() {
    // Out at 06:00; told to be seen in F1 at 10:00, and of that somebody says that it was put away there at 08:00.
    let scene = stored().out("R-1", "Tue 06:00").seen("R-1", "F1", "Tue 10:00").told().named("seen");
    let scene = scene.settle("seen", "seen_inside_while_out", PutAwayAt(stamp("Tue 08:00")), "Wed 06:00");
    // If all of that is so, the scan at 11:00 was a take-out with the wrong placard: out since 10:00, and it stays out. If
    // not, it was out from 06:00 to 11:00.
    let scene = scene.put_away("R-1", "F1", "Tue 11:00");
    scene.look("R-1", "Tue 12:00").out_time_is("6:00");
}

#[test]
fn a_put_away_is_where_it_was_said_also_if_its_scan_is_odd_only_by_something_told_later() {
    // Out at 06:00, told to be put away in F2 at 10:00, scanned into F1 at 11:00: put there at 08:00, says somebody. If the
    // told one is so, it came back at 08:00, went to F2 by 10:00 and to F1 by 11:00.
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F2", "Tue 10:00").told();
    let scene = scene.put_away("R-1", "F1", "Tue 11:00").named("scan");
    let scene = scene.settle("scan", "in_while_in_elsewhere", PutAwayAt(stamp("Tue 08:00")), "Wed 06:00");
    scene.look("R-1", "Tue 12:00").out_time_is("5:00").returns_are(3);
}

#[test]
fn of_many_told_returns_each_counts_as_itself_or_as_the_scan_after_it() {
    // Each day out at 06:00, told to be back at 06:40 and scanned at 07:00; out at 12:00 and back at 13:00. If the told
    // one is so, the scan was a take-out: then 06:40 and 13:00, else 07:00 and 13:00.
    let days = ["Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
    let scene = days.iter().fold(stored(), |scene, day| {
        let at = |clock: &str| format!("{day} {clock}");
        let scene = scene.out("R-1", &at("06:00")).put_away("R-1", "F1", &at("06:40")).told();
        let scene = scene.put_away("R-1", "F1", &at("07:00")).out("R-1", &at("12:00"));
        scene.put_away("R-1", "F2", &at("13:00"))
    });
    scene.look("R-1", "Mon+1 06:00").returns_are(12);
}

#[test]
fn the_stretch_in_which_a_kit_was_cut_begins_where_its_roll_came_out_last() {
    let sheet = || {
        Scene::yard_with_sheet(|sheet| {
            let after_s = Some(1_800.try_into().unwrap());
            sheet.refreezes = Some(Refreezes::Limit(RefreezesLimit { allowed: 3, after_s }));
            sheet.out_life_s = Some(StatedSeconds::Limit(hours(200)));
        })
    };
    // The roll came back at 14:00, a return; cut while inside it was out since then, for 25 min.
    let scene = sheet().stored("R-1", "Mon 06:00").out("R-1", "Tue 12:00").put_away("R-1", "F1", "Tue 14:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 14:20").put_away("K-1", "F1", "Tue 14:25");
    scene.look("K-1", "Tue 18:00").returns_are(1);
    // A cut joins the two at the time that was said: out for 20 min, since the roll's take-out.
    let scene = sheet().stored("R-1", "Mon 06:00").out("R-1", "Tue 08:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 08:05").uncertain(30).put_away("K-1", "F1", "Tue 08:20");
    scene.look("K-1", "Tue 18:00").returns_are(0);
}

#[test]
fn a_scan_that_is_odd_by_another_things_scan_moves_all_the_same() {
    // R-3's scan into F2 was R-2's: so R-2 was in F2 when it was scanned into F1, and that was R-1's.
    let all = ["R-1", "R-2", "R-3"].iter().fold(Scene::yard(), |scene, roll| scene.stored(roll, "Mon 06:00"));
    let scene = all.out("R-1", "Tue 05:00").out("R-2", "Tue 06:00");
    let scene =
        scene.put_away("R-3", "F2", "Tue 07:00").named("third").put_away("R-2", "F1", "Tue 08:00").named("second");
    let scene = scene.settle("third", "in_while_in_elsewhere", Other(thing("R-2")), "Wed 06:00");
    let scene = scene.settle("second", "in_while_in_elsewhere", Other(thing("R-1")), "Wed 06:00");
    scene.look("R-2", "Tue 12:00").out_time_is("1:00");
    scene.look("R-1", "Tue 12:00").out_time_is("3:00").returns_are(1);
}

#[test]
fn scans_said_to_be_one_anothers_in_a_circle_are_read_without_what_is_said_to_be_theirs() {
    let scene = stored().stored("R-2", "Mon 06:00");
    let scene = scene.put_away("R-1", "F2", "Tue 07:00").named("one").put_away("R-2", "F2", "Tue 08:00").named("two");
    let scene = scene.settle("one", "in_while_in_elsewhere", Other(thing("R-2")), "Wed 06:00");
    let scene = scene.settle("two", "in_while_in_elsewhere", Other(thing("R-1")), "Wed 06:00");
    // R-1 came into F2 with the scan of R-2. R-2 came in with that of R-1, so it was there already when its own was made,
    // and nobody said anything of that: it counts for both.
    scene.look("R-1", "Tue 12:00").out_time_is("26:00");
    scene.look("R-2", "Tue 12:00").out_time_is("30:00");
}
