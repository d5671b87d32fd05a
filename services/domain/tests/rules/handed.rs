//! What comes out of the cold for which lay-up, and what a shift hands over. Times and lengths are worked out by hand.

use crate::facts::plan;
use crate::look::*;
use crate::scene::{Scene, code, lisbon, stamp};
use crate::when::instant;
use domain::{TakeOutQuestion, handover, take_out_list};
use shared_types::{Body, ClockTime, Job, Need, TakeOutList, Weekday, Yard};

/// A job of a part of its own that needs so many millimetres of PM-101.
fn needing(scene: Scene, job: &str, part: &str, mm: u64, lay_at: &str, oven_at: &str) -> Scene {
    let needs = vec![Need { material: code("PM-101"), length_mm: mm.try_into().unwrap() }];
    scene.declares(job, Body::JobOpened(Job { needs, ..plan(part, lay_at, oven_at) }))
}

fn list(scene: &Scene, at: &str) -> TakeOutList {
    take_out_list(&scene.book(), &TakeOutQuestion { until: None, when: when(at) })
}

fn roll(scene: Scene, roll: &str, out_h: u64, metres: u64) -> Scene {
    scene.received(roll, "Mon 06:00").opening(out_h, 0).metres(metres).put_away(roll, "F1", "Mon 06:00")
}

fn lines(list: &TakeOutList) -> Vec<&str> {
    list.lines.iter().map(|line| line.say.as_str()).collect()
}

#[test]
fn a_yard_is_told_what_must_be_out_and_what_there_is_not_enough_of() {
    let scene = roll(needing(Scene::yard(), "J-1", "P-1", 12_400, "Wed 14:00", "Wed 20:00"), "R-1", 0, 8);
    let list = list(&scene, "Tue 14:00");
    assert_eq!(lines(&list), ["R-1 out of F1 well before Wed 14:00, for J-1: 8.0 m of PM-101."]);
    assert_eq!(list.short[0].say, "J-1 needs 12.4 m of PM-101; 8.0 m can be used.");
    let notes = [
        "These times are when the last ply has to be down. Warming up, cutting and laying come before and are not taken \
         off: take it out earlier by as long as they need.",
        "Warm-up time is not stated for PM-101: follow the maker's instructions.",
    ];
    assert_eq!(list.notes, notes);
}

#[test]
fn the_roll_whose_life_ends_first_and_still_makes_it_is_taken_first() {
    let scene = needing(Scene::yard_with_spare(2), "J-1", "P-1", 12_000, "Wed 14:00", "Wed 20:00");
    // Of R-3 one hour of tack life is left, of R-2 fifty: with 2 h spare R-3 does not make the lay-up.
    let scene = roll(roll(roll(scene, "R-1", 0, 50), "R-2", 50, 10), "R-3", 99, 50);
    let list = list(&scene, "Tue 10:00");
    let expected = [
        "R-1 out of F1 well before Wed 14:00, for J-1: 2.0 m of PM-101.",
        "R-2 out of F1 well before Wed 14:00, for J-1: 10.0 m of PM-101.",
    ];
    assert_eq!(lines(&list), expected);
    assert_eq!(list.short, []);
    // Out before it would be over: 50 h before Wednesday 16:00 is past, and of one with 10 h it is Wednesday 06:00.
    let scene = roll(needing(Scene::yard_with_spare(2), "J-1", "P-1", 1_000, "Wed 14:00", "Wed 20:00"), "R-4", 90, 50);
    let list = self::list(&scene, "Tue 10:00");
    assert_eq!(lines(&list), ["R-4 out of F1 well before Wed 14:00, for J-1: 1.0 m of PM-101. Not before Wed 06:00."]);
    assert_eq!(list.lines[0].not_before.unwrap().at, instant("Wed 06:00"));
}

#[test]
fn what_was_given_to_a_job_goes_first_and_to_no_other() {
    let scene = needing(Scene::yard(), "J-1", "P-1", 4_000, "Wed 14:00", "Wed 20:00");
    let scene = needing(scene, "J-2", "P-2", 4_000, "Wed 12:00", "Wed 20:00");
    let scene = roll(roll(scene, "R-1", 0, 6), "R-2", 50, 3).issued("R-1", "J-1", "Tue 07:00");
    let list = list(&scene, "Tue 14:00");
    let expected = [
        "R-2 out of F1 well before Wed 12:00, for J-2: 3.0 m of PM-101.",
        "R-1 out of F1 well before Wed 14:00, for J-1: 4.0 m of PM-101.",
    ];
    assert_eq!(lines(&list), expected);
    assert_eq!(list.short[0].say, "J-2 needs 4.0 m of PM-101; 3.0 m can be used.");
    assert_eq!(list.lines.iter().map(|line| line.given).collect::<Vec<_>>(), [false, true]);
}

#[test]
fn what_is_cut_already_is_a_kit_to_take_out_and_needs_no_roll() {
    // The nest cuts 2 m.
    let scene = needing(Scene::yard(), "J-1", "P-1", 2_000, "Thu 14:00", "Thu 20:00");
    let scene = roll(scene, "R-1", 0, 50).out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene = scene.put_away("K-1", "F2", "Tue 10:00").put_away("R-1", "F1", "Tue 10:00");
    let list = list(&scene, "Wed 10:00");
    assert_eq!(lines(&list), ["K-1 out of F2 well before Thu 14:00, for J-1."]);
    let out = self::list(&scene.out("K-1", "Wed 11:00"), "Wed 12:00");
    assert_eq!(lines(&out), ["K-1 is out already, for J-1."]);
}

#[test]
fn the_list_reaches_to_the_end_of_the_next_open_day() {
    let declared = Yard {
        closed_weekdays: vec![Weekday::Saturday, Weekday::Sunday],
        shift_start: Some(ClockTime::parse("06:00").unwrap()),
        shift_end: Some(ClockTime::parse("22:00").unwrap()),
        ..lisbon(0)
    };
    let scene = Scene::yard().declares("yard/YARD", Body::YardDeclared(declared));
    assert_eq!(list(&scene, "Fri 14:00").until.at, instant("Mon+1 22:00"));
    assert_eq!(list(&Scene::yard(), "Fri 14:00").until.at, instant("Sat 23:59:59.999"));
    // Planned for Monday at 05:00: it has to be out on Friday.
    let scene = roll(needing(scene, "J-1", "P-1", 1_000, "Mon+1 05:00", "Mon+1 20:00"), "R-1", 0, 8);
    let line = list(&scene, "Fri 14:00").lines.remove(0);
    assert_eq!(line.out_by.at, instant("Fri 22:00"));
    let expected = "R-1 out of F1 well before Fri 22:00: the yard is closed until its lay-up, Mon 05:00, for J-1: 1.0 m \
                    of PM-101.";
    assert_eq!(line.say, expected);
}

#[test]
fn a_shift_hands_over_what_is_out_what_waits_and_what_was_only_told() {
    let scene =
        Scene::yard_with_spare(2).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").seen("R-1", "CUT", "Tue 07:00");
    let scene = scene.stored("R-2", "Mon 06:00").out("R-2", "Tue 06:00").cut("N-1", "R-2", "K-1", "Tue 08:00");
    let scene = scene.laid("P-1", "K-1", "Tue 09:00").put_away("R-2", "F1", "Tue 10:00").told();
    let list = handover(&scene.book(), when("Tue 14:00"));
    assert_eq!(list.say, "Still out by the book: 2. Scan each where it lies.");
    // 100 h from Tuesday 06:00 is Saturday 10:00, less 2 h; From then 72 h less 2 h; out-life ends on Wednesday week.
    let expected = "R-1 is out, in CUT, since Tue 06:00. Last ply down by Sat 08:00. Heating by Tue 12 May 06:00, within 72 h of its first ply.";
    assert_eq!(list.out[0].say, expected);
    // 72 h from Tuesday 09:00, less 2 h.
    assert_eq!(list.waiting[0].say, "P-1 skin: heating by Fri 07:00, in 65 h.");
    assert_eq!(list.waiting[0].heating_by.unwrap().at, instant("Fri 07:00"));
    assert_eq!(list.to_confirm[0].say, "B-1 told Tue 10:00 that R-2 was put away.");
    assert_eq!(list.to_confirm[0].occurred_at, stamp("Tue 10:00"));
    assert_eq!(list.mismatches, 0);
    // The receipt of R-1 is struck: it is out all the same, and nobody can say for how long it may be.
    let struck =
        Scene::yard_with_spare(2).received("R-1", "Mon 06:00").named("receipt").put_away("R-1", "F1", "Mon 06:00");
    let struck =
        struck.out("R-1", "Tue 06:00").seen("R-1", "CUT", "Tue 07:00").laid("P-1", "R-1", "Tue 08:00").length(1);
    let struck = struck.strike("receipt", "Tue 09:00");
    let list = handover(&struck.book(), when("Tue 14:00"));
    let said: Vec<&str> = list.out.iter().map(|one| one.say.as_str()).collect();
    assert_eq!(said, ["R-1 is out, in CUT, since Tue 06:00. Do not use it. Nobody has received R-1."]);
    assert_eq!((list.out[0].last_ply_by, list.out[0].heating_by), (None, None));
    // And so is what was laid of it.
    let said: Vec<&str> = list.waiting.iter().map(|one| one.say.as_str()).collect();
    let expected = "P-1 skin: quality has to say first whether it may be cured. Receive R-1.";
    assert_eq!(said, [expected]);
    assert_eq!(list.waiting[0].heating_by, None);
    // Put away or thrown away, it is not out.
    let away = struck.clone().put_away("R-1", "F1", "Tue 10:00");
    assert_eq!(handover(&away.book(), when("Tue 14:00")).out, []);
    assert_eq!(handover(&struck.disposed("R-1", "Tue 10:00").book(), when("Tue 14:00")).out, []);
    let empty = handover(&Scene::yard().stored("R-1", "Mon 06:00").book(), when("Tue 14:00"));
    assert_eq!((empty.say.as_str(), empty.waiting.len()), ("Nothing is out by the book.", 0));
}

#[test]
fn a_material_that_nobody_entered_is_missing_from_what_there_is() {
    let scene = Scene::yard().job_needing("J-1", "PM-999", "Wed 14:00", "Wed 20:00");
    let today = domain::today(&scene.book(), when("Tue 14:00"));
    assert_eq!(today.short.len(), 1);
    assert_eq!(today.short[0].say, "J-1 needs 2.0 m of PM-999; none can be used. There is none.");
}

#[test]
fn where_none_can_be_used_it_says_what_stands_against_most_of_it() {
    let short = |scene: &Scene| {
        let today = domain::today(&scene.book(), when("Tue 14:00"));
        today.short.iter().map(|one| one.say.clone()).collect::<Vec<_>>()
    };
    let none = "J-1 needs 2.0 m of PM-101; none can be used.";
    let job = || Scene::yard().job_needing("J-1", "PM-101", "Wed 14:00", "Wed 20:00");
    let rolls = ["R-1", "R-2", "R-3"];
    let stored = rolls.iter().fold(job(), |scene, roll| scene.stored(roll, "Mon 06:00"));
    assert_eq!(short(&stored), Vec::<String>::new());
    let held = |scene: Scene, of: &str| scene.hold(of, "Tue 06:00");
    let one = held(held(stored.clone(), "R-1"), "R-2").disposed("R-3", "Tue 07:00");
    let said = short(&one).concat();
    assert!(said.starts_with(&format!("{none} R-1: Held since Tue 06:00: ")), "{said}");
    assert!(said.ends_with(" So is 1 more roll."), "{said}");
    // Two are over their tack life by then, one is held: the commonest is said.
    let over =
        |scene: Scene, roll: &str| scene.received(roll, "Mon 06:00").opening(90, 0).put_away(roll, "F1", "Mon 06:00");
    let most = over(over(held(job().stored("R-1", "Mon 06:00"), "R-1"), "R-2"), "R-3")
        .out("R-2", "Tue 06:00")
        .out("R-3", "Tue 06:00");
    let said = short(&most).concat();
    assert!(said.starts_with(&format!("{none} R-2: ")) && said.contains("tack life"), "{said}");
    // All of it was given to another job.
    let given = job().job("J-2", "Fri 12:00", "Fri 20:00").stored("R-1", "Mon 06:00").issued("R-1", "J-2", "Tue 06:00");
    let given = given.change(|entry| entry.recorded_at = entry.occurred_at.at);
    assert_eq!(short(&given), [format!("{none} What is there is for other jobs.")]);
}

#[test]
fn what_nobody_can_say_an_end_of_is_not_left_out_tonight() {
    // Its receipt is struck, and its oven is planned for Sunday only.
    let scene = Scene::yard().job("J-1", "Sun 06:00", "Sun 12:00").received("R-1", "Mon 06:00").named("receipt");
    let scene = scene.out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 08:00").length(1).strike("receipt", "Tue 09:00");
    let tonight = domain::today(&scene.book(), when("Tue 14:00")).tonight;
    assert_eq!(tonight.iter().map(|one| one.heating_by).collect::<Vec<_>>(), [None]);
}

/// P-1's skin, laid on Tuesday at 09:00 from R-1 that came out at 06:00: heating by Friday 09:00.
fn laid(scene: Scene) -> Scene {
    scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 09:00").length(1)
}

#[test]
fn what_is_held_waits_for_quality_and_not_for_the_oven() {
    let held = laid(Scene::yard()).hold("R-1", "Tue 10:00");
    let waits = handover(&held.book(), when("Tue 14:00")).waiting.remove(0);
    assert_eq!(waits.heating_by, None);
    let expected = "P-1 skin: quality has to say first whether it may be cured. Held since Tue 10:00: torn bag. R-1 is held. \
                    It ages while it waits: its time ends Fri 09:00, in 67 h.";
    assert_eq!(waits.say, expected);
    let tonight = domain::today(&held.book(), when("Tue 14:00")).tonight;
    assert_eq!(tonight.iter().map(|one| one.say.as_str()).collect::<Vec<_>>(), [expected]);
}

#[test]
fn what_ends_while_the_yard_is_closed_is_handed_over_with_the_last_open_hour() {
    let declared = Yard {
        closed_weekdays: vec![Weekday::Friday, Weekday::Saturday, Weekday::Sunday],
        shift_start: Some(ClockTime::parse("06:00").unwrap()),
        shift_end: Some(ClockTime::parse("22:00").unwrap()),
        ..lisbon(0)
    };
    let scene = laid(Scene::yard().declares("yard/YARD", Body::YardDeclared(declared)));
    let list = handover(&scene.book(), when("Thu 14:00"));
    assert_eq!(list.waiting[0].heating_by.unwrap().at, instant("Thu 22:00"));
    let expected = "P-1 skin: heating by Thu 22:00, in 8 h. The yard is closed when its time ends, Fri 09:00.";
    assert_eq!(list.waiting[0].say, expected);
    // R-1 has 100 h of tack life from Tuesday 06:00: until Saturday 10:00.
    let out = &list.out[0];
    assert!(out.say.ends_with("The yard is closed then: last ply down by Thu 22:00."), "{}", out.say);
    assert_eq!(out.last_ply_by.unwrap().at, instant("Sat 10:00"));
    // Held, it is said once when its time ends.
    let held = handover(&scene.clone().hold("R-1", "Thu 13:00").book(), when("Thu 14:00")).waiting.remove(0);
    assert!(held.say.ends_with("its time ends Fri 09:00, in 19 h. The yard is closed then."), "{}", held.say);
    let late = handover(&scene.book(), when("Fri 05:00")).waiting.remove(0);
    let expected = "P-1 skin: heating had to start by Thu 22:00. The yard is closed when its time ends, Fri 09:00.";
    assert_eq!(late.say, expected);
}
