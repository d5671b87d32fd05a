//! The out-time card: every sum behind the number.

use crate::look::*;
use crate::scene::Scene;
use crate::when::{instant, seconds};
use shared_types::*;

fn lines(scene: &Scene, of: &str, at: &str) -> Vec<CardLine> {
    scene.look(of, at).card().cards.remove(0).lines
}

#[test]
fn the_card_is_written_as_the_trade_does() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(20, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").by("B-7").put_away("R-1", "F1", "Tue 08:30").by("B-8");
    let scene = scene.out("R-1", "Wed 06:00");
    let lines = lines(&scene, "R-1", "Wed 07:00");
    let numbers =
        lines.iter().map(|line| (line.line.as_str(), line.interval_s, line.running_total_s, line.tack_left_s));
    assert_eq!(
        numbers.collect::<Vec<_>>(),
        [
            ("opening", seconds("20:00"), Some(seconds("20:00")), Some(seconds("80:00"))),
            ("out", seconds("2:30"), Some(seconds("22:30")), Some(seconds("77:30"))),
            ("out", seconds("1:00"), Some(seconds("23:30")), Some(seconds("76:30"))),
        ]
    );
    assert_eq!(lines[1].who, [Code::new("B-7").unwrap(), Code::new("B-8").unwrap()]);
    assert_eq!((lines[1].back.map(|at| at.at), lines[2].back), (Some(instant("Tue 08:30")), None));
    assert_eq!(lines[0].note.as_deref(), Some("from certificate"));
}

#[test]
fn the_cards_lines_add_up_to_the_same_out_time_as_the_answer() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(7, 0).counted_from("Mon 03:00");
    let scene = scene.put_away("R-1", "F1", "Mon 08:00").uncertain(7).out("R-1", "Tue 06:00").uncertain(3);
    let scene =
        scene.put_away("R-1", "F1", "Tue 09:00").uncertain(11).put_away("R-1", "F1", "Wed 06:00").named("again");
    let scene = scene.settle("again", "in_while_in", Settlement::AssignedS(5_400.try_into().unwrap()), "Wed 07:00");
    let scene = scene.out("R-1", "Thu 06:00").cut("N-1", "R-1", "K-1", "Thu 07:00").put_away("K-1", "F2", "Thu 08:00");
    // Roll: 7 h + 03:00-08:07 (5 h 7 min) + 05:57-09:11 (3 h 14 min) + 1 h 30 min assigned + 06:00-09:00 (3 h).
    for (of, expected) in [("R-1", "19:51"), ("K-1", "18:51")] {
        let look = scene.look(of, "Thu 09:00");
        look.out_time_is(expected);
        let sum: i64 = lines(&scene, of, "Thu 09:00").iter().map(|line| line.interval_s).sum();
        assert_eq!(sum, seconds(expected), "{of}");
        assert_eq!(look.row(Out).so_far_s, Some(seconds(expected)), "{of}");
        assert_eq!(scene.may(Lay, of, "Thu 09:00").row(Out).so_far_s, Some(seconds(expected)), "{of}");
    }
}

#[test]
fn a_stages_card_adds_up_too() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene = scene.laid("P-1", "K-1", "Tue 10:00").oven("RUN-1", &["P-1"], "Wed 06:00");
    let look = scene.look("P-1", "Wed 12:00");
    // 24 h when the oven was started.
    look.out_time_is("24:00").stage_left_is("skin", Out, "176:00");
}

#[test]
fn struck_entries_stay_on_the_card_struck_through() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").named("wrong").by("B-7");
    let scene = scene.strike("wrong", "Tue 10:00").by("B-8");
    let lines = lines(&scene, "R-1", "Tue 12:00");
    let struck = lines.iter().find(|line| line.line == "struck").unwrap();
    assert_eq!((struck.out.at, struck.interval_s, struck.running_total_s), (instant("Tue 06:00"), 0, None));
    let note = format!("roll taken out, struck by B-8 in entry {}", scene.entries.len());
    assert_eq!(struck.note.as_deref(), Some(note.as_str()));
}

#[test]
fn the_card_says_what_was_odd_and_whether_it_was_settled_or_confirmed() {
    let odd = Scene::yard().stored("R-1", "Mon 06:00").put_away("R-1", "F2", "Tue 06:00").named("again");
    let note = "came in elsewhere without a take-out: counts as out since last known inside";
    assert_eq!(lines(&odd, "R-1", "Tue 12:00")[1].note.as_deref(), Some(note));
    let settled =
        odd.settle("again", "in_while_in_elsewhere", Settlement::CarriedOverS(600.try_into().unwrap()), "Wed 06:00");
    let line = &lines(&settled, "R-1", "Tue 12:00")[1];
    assert_eq!(line.note.as_deref(), Some(format!("{note}, settled").as_str()));
    assert_eq!(line.interval_s, 600);
    let told = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").told().named("told");
    assert_eq!(lines(&told, "R-1", "Tue 12:00")[1].note.as_deref(), Some("told by B-1, not confirmed"));
    let confirmed = told.confirm("told", "Wed 06:00");
    assert_eq!(lines(&confirmed, "R-1", "Tue 12:00")[1].note.as_deref(), Some("told by B-1, confirmed"));
}

#[test]
fn an_interval_runs_to_the_millisecond_and_its_seconds_are_rounded_up() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let line = lines(&scene, "R-1", "Tue 06:00:01.001").remove(1);
    assert_eq!((line.interval_s, line.running_total_s), (2, Some(2)));
    assert_eq!(scene.look("R-1", "Tue 06:00:01.001").card().cards[0].out_time_s, Some(2));
}

/// No source: a thing can't have happened after somebody wrote it down.
#[test]
fn what_a_clock_that_is_ahead_says_counts_from_when_it_was_written() {
    let stored = Scene::yard().received("R-1", "Mon 06:00").opening(0, 0).put_away("R-1", "F1", "Mon 06:00");
    // Stamped for Saturday, written on Tuesday at 06:00: out for 6 h at noon.
    let out = stored.clone().out("R-1", "Sat 06:00").recorded("Tue 06:00");
    out.look("R-1", "Tue 12:00").out_time_is("6:00").mismatch("clock_doubtful");
    out.may(Lay, "R-1", "Tue 12:00").left_is(Tack, "94:00");
    // A put-away ends a stretch no later than it was written.
    let back = stored.out("R-1", "Mon 18:00").put_away("R-1", "F1", "Sat 06:00").recorded("Tue 06:00");
    back.look("R-1", "Sun 12:00").out_time_is("12:00").mismatch("clock_doubtful");
}
