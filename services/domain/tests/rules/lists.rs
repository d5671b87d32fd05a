//! Questions over the whole book: what runs out, what does not add up, what a label may mean.

use crate::look::*;
use crate::scene::{Scene, code, sheet};
use crate::when::{hours, instant};
use domain::{mismatches, runs_out, scan};
use shared_types::*;

fn lines(scene: &Scene, within_h: u32, at: &str) -> Vec<(String, LimitName, bool)> {
    let list = runs_out(&scene.book(), within_h, when(at));
    list.lines.iter().map(|line| (line.thing.to_string(), line.limit, line.runs)).collect()
}

#[test]
fn what_runs_out_is_listed_soonest_first_with_every_limit() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let scene =
        scene.received("R-2", "Mon 06:00").opening(50, 0).put_away("R-2", "F1", "Mon 06:00").out("R-2", "Tue 06:00");
    let scene = scene.stored("R-3", "Mon 06:00").cut("N-1", "R-2", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 09:00");
    let expected = [
        // 50 h left from Tuesday 06:00: Thursday 08:00. Lay-to-cure ends on Friday at 09:00, R-1's tack on Saturday.
        ("roll/R-2", Tack, true),
        ("part/P-1", ToCure, true),
        ("roll/R-1", Tack, true),
    ];
    let expected = expected.map(|(thing, limit, runs)| (thing.to_owned(), limit, runs));
    assert_eq!(lines(&scene, 100, "Tue 10:00"), expected);
    // 150 h of out-life of R-2, in the roll and in the part: Monday 12:00. One entry a limit, ties by the thing's name.
    let far = lines(&scene, 150, "Tue 10:00");
    assert_eq!(far.len(), 5, "{far:?}");
    assert_eq!([&far[3].0, &far[4].0], ["roll/R-2", "part/P-1"]);
}

#[test]
fn the_horizon_is_inclusive_and_in_the_cold_only_a_date_comes_nearer() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    assert_eq!(lines(&scene, 100, "Tue 06:00").len(), 1);
    assert_eq!(lines(&scene, 99, "Tue 06:00").len(), 0);
    let inside = Scene::yard().stored("R-1", "Mon 06:00");
    let all = lines(&inside, 24 * 400, "Tue 06:00");
    assert_eq!(all, [("roll/R-1".to_owned(), Shelf, false)]);
}

#[test]
fn a_line_says_when_it_ends_and_what_is_over_since_when() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let said = |at: &str| runs_out(&scene.book(), 10, when(at)).lines.remove(0);
    assert_eq!(said("Sat 04:30").say, "R-1: tack life ends Sat 10:00, in 5 h 30 min.");
    let over = said("Sat 10:00:01");
    assert_eq!(over.say, "R-1 is 1 min over its tack life, since Sat 10:00.");
    assert_eq!((over.left_s, over.ends_at.at), (-1, instant("Sat 10:00")));
}

#[test]
fn what_is_used_up_thrown_away_cured_or_in_a_boat_runs_out_no_longer() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene =
        scene.laid("P-1", "K-1", "Tue 09:00").laid("P-2", "R-1", "Tue 09:30").length(2).disposed("R-1", "Tue 10:00");
    let things = |scene: &Scene| {
        let mut things: Vec<String> = lines(scene, 120, "Tue 12:00").into_iter().map(|(thing, _, _)| thing).collect();
        things.dedup();
        things
    };
    assert_eq!(things(&scene), ["part/P-1", "part/P-2"]);
    let scene = scene.oven("RUN-1", &["P-1"], "Tue 11:00").ended("RUN-1", "Tue 20:00").committed("Tue 13:00");
    assert_eq!(things(&scene), ["part/P-2"]);
    assert_eq!(things(&scene.installed("P-2", "H-1", "Tue 11:30")), Vec::<String>::new());
}

#[test]
fn open_mismatches_are_listed_by_entry_and_settled_ones_are_not() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").put_away("R-1", "F1", "Tue 06:00").named("again");
    let scene = scene.seen("R-9", "F1", "Tue 07:00").out("R-1", "Tue 08:00");
    let kinds = |scene: &Scene| {
        let list = mismatches(&scene.book(), when("Wed 06:00")).mismatches;
        list.iter().map(|one| format!("{} {}", one.kind, one.thing)).collect::<Vec<_>>()
    };
    assert_eq!(kinds(&scene), ["in_while_in roll/R-1", "not_received roll/R-9", "out_while_out roll/R-1"]);
    let settled = scene.settle("again", "in_while_in", Settlement::AssignedS(hours(1)), "Wed 07:00");
    assert_eq!(kinds(&settled), ["not_received roll/R-9"]);
}

#[test]
fn counters_that_never_came_are_a_mismatch_of_the_device_until_they_come() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").device("D-1", 1).out("R-1", "Tue 06:00").device("D-1", 4);
    let look = scene.look("device/D-1", "Wed 06:00");
    assert_eq!(look.mismatch("counter_gap").say, "D-1: 2 to 3 never arrived.");
    let then = scene.entries.len() as u64;
    let scene = scene.seen("R-1", "F1", "Mon 07:00").device("D-1", 2);
    assert_eq!(scene.look("device/D-1", "Wed 06:00").mismatch("counter_gap").say, "D-1: 3 never arrived.");
    let scene = scene.seen("R-1", "F1", "Mon 08:00").device("D-1", 3);
    scene.look("device/D-1", "Wed 06:00").no_mismatch();
    // As was known then, they had not come.
    let then = scene.look_known("device/D-1", "Wed 06:00", then);
    assert_eq!(then.mismatch("counter_gap").say, "D-1: 2 to 3 never arrived.");
}

#[test]
fn a_time_more_than_two_minutes_unsure_or_ahead_is_a_doubtful_clock() {
    let kinds = |scene: &Scene| {
        let view = scene.look("R-1", "Wed 06:00").view();
        view.mismatches.iter().filter(|one| one.kind == "clock_doubtful").count()
    };
    let out = || Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    assert_eq!((kinds(&out().uncertain(2)), kinds(&out().uncertain(3))), (0, 1));
    assert_eq!((kinds(&out().recorded("Tue 05:58")), kinds(&out().recorded("Tue 05:57"))), (0, 1));
}

#[test]
fn what_could_not_be_read_is_kept_and_said() {
    let raw = SetAside { why: "no such kind".to_owned(), raw: "{}".to_owned() };
    let scene = Scene::yard().stored("R-1", "Mon 06:00").entry("R-1", "Tue 06:00", Body::SetAside(raw));
    scene.look("R-1", "Tue 07:00").mismatches_are(&["set_aside"]).out_time_is("0:00");
    assert!(scene.book().has_set_aside());
}

#[test]
fn a_label_may_mean_several_things() {
    let scene = Scene::yard()
        .stored("R-1", "Mon 06:00")
        .material("material/B-1", sheet())
        .declares("job/B-1", Body::LogCut(cut()));
    let found = scan(&scene.book(), &code("b-1"));
    let things: Vec<String> = found.things.iter().map(ToString::to_string).collect();
    assert_eq!(things, ["material/B-1", "batch/PM-101/B-1", "job/B-1", "badge/B-1"]);
    assert!(scan(&scene.book(), &code("R-77")).things.is_empty());
}

fn cut() -> LogCut {
    LogCut { segment: 1, offset: 0, bytes: 0, kept_in: String::new() }
}

#[test]
fn a_thing_says_where_it_is() {
    let scene = Scene::yard().stored("R-1", "Tue 06:00").out("R-1", "Wed 06:00").seen("R-1", "CUT", "Wed 07:00");
    scene.look("R-1", "Tue 05:00").says("Nobody has received R-1.");
    scene.look("R-1", "Tue 07:00").says("R-1 is in F1 since Tue 06:00.");
    scene.look("R-1", "Wed 06:30").says("R-1 is out since Wed 06:00.");
    scene.look("R-1", "Wed 07:30").says("R-1 is out, in CUT, since Wed 06:00.");
    let part = scene.laid("P-1", "R-1", "Wed 08:00").length(2).installed("P-1", "H-1", "Thu 08:00");
    part.look("P-1", "Wed 09:00").says("P-1: lay-up since Wed 08:00.");
    part.look("P-1", "Fri 09:00").says("P-1 is in boat H-1 since Thu 08:00.");
}
