//! Lists of one kind: in the order of their codes as people count, each thing once, in stretches of any length, with any
//! filter.

use crate::look::*;
use crate::scene::Scene;
use domain::stock::{Filter, Stretch, stretch};
use proptest::prelude::*;
use shared_types::*;

fn yard() -> Scene {
    let mut scene = Scene::yard();
    for number in 0..12 {
        scene = scene.stored(&format!("R-{number}"), "Mon 06:00");
        if number % 4 == 1 {
            scene = scene.out(&format!("R-{number}"), "Tue 06:00");
        }
    }
    scene
}

fn names(rows: &[StockRow]) -> Vec<String> {
    rows.iter().map(|row| row.thing.to_string()).collect()
}

#[test]
fn a_list_is_in_order_and_says_where_each_is_and_what_ends_first() {
    let book = yard().book();
    let Stretch { rows, last } = stretch(&book, Kind::Roll, &Filter::default(), None, 50, 50, when("Tue 10:00"));
    assert!(rows.len() == 12 && last.is_none());
    assert_eq!(names(&rows), (0..12).map(|number| format!("roll/R-{number}")).collect::<Vec<_>>());
    assert_eq!(rows[1].say, "R-1 is out since Tue 06:00.");
    let first = rows[1].ends_first.as_ref().unwrap();
    assert_eq!((first.limit, first.runs), (LimitName::TackLife, true));
    // Nothing had come by then.
    let before = stretch(&book, Kind::Roll, &Filter::default(), None, 50, 50, when("Mon 01:00"));
    assert_eq!(names(&before.rows), Vec::<String>::new());
}

#[test]
fn people_find_r_2_behind_r_1_whatever_came_first() {
    let mut scene = Scene::yard();
    for roll in ["R-10", "R-1", "R-11", "R-02", "R-2", "R-9"] {
        scene = scene.stored(roll, "Mon 06:00");
    }
    let rows = stretch(&scene.book(), Kind::Roll, &Filter::default(), None, 50, 50, when("Tue 10:00")).rows;
    assert_eq!(names(&rows), ["R-1", "R-02", "R-2", "R-9", "R-10", "R-11"].map(|code| format!("roll/{code}")));
}

#[test]
fn two_devices_at_one_instant_count_as_before_however_lists_are_sorted() {
    // D-10 stands before D-9 letter by letter: its take-out is the first of the two.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").device("D-9", 1).named("nine");
    let scene = scene.out("R-1", "Tue 06:00").device("D-10", 1).named("ten");
    assert_eq!(scene.look("R-1", "Tue 12:00").mismatch("out_while_out").entry, scene.id("nine"));
}

#[test]
fn what_was_laid_straight_from_a_roll_was_cut_for_its_job_and_what_was_thrown_away_was_not() {
    let scene = Scene::yard()
        .job_needing("J-1", "PM-101", "Thu 12:00", "Fri 12:00")
        .stored("R-1", "Mon 06:00")
        .out("R-1", "Tue 06:00");
    let scene = scene.laid("P-1", "R-1", "Tue 09:00").length(3);
    let cut_mm = |scene: &Scene, at: &str| {
        let rows = stretch(&scene.book(), Kind::Job, &Filter::default(), None, 50, 50, when(at)).rows;
        rows[0].planned.as_ref().unwrap().needs[0].cut_mm
    };
    assert_eq!((cut_mm(&scene, "Tue 08:00"), cut_mm(&scene, "Tue 10:00")), (0, 3_000));
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 11:00");
    assert_eq!(cut_mm(&scene, "Tue 12:00"), 5_000);
    assert_eq!(cut_mm(&scene.disposed("K-1", "Tue 13:00"), "Tue 14:00"), 3_000);
}

fn any_name() -> impl Strategy<Value = ThingName> {
    let code = "[A-C/]{0,1}[0-2]{0,3}[-. ]{0,1}[0-2A]{0,4}[é0]{0,1}";
    let named = (prop_oneof![Just("roll"), Just("batch"), Just("kit")], code, code);
    named.prop_filter_map("no name", |(kind, code, own)| {
        ThingName::from_parts(kind, &if kind == "batch" { format!("{code}/{own}") } else { code }).ok()
    })
}

proptest! {
    #[test]
    fn any_names_stand_in_one_order(one in any_name(), two in any_name(), three in any_name()) {
        prop_assert_eq!(one.cmp(&two), two.cmp(&one).reverse());
        prop_assert_eq!(one == two, one.cmp(&two).is_eq());
        prop_assert_eq!(one.kind() == Kind::Roll && two.kind() == Kind::Roll && one.own_code() < two.own_code(),
            one.kind() == Kind::Roll && two.kind() == Kind::Roll && one < two);
        prop_assert!(!(one <= two && two <= three) || one <= three);
        prop_assert!(ThingName::first_of(one.kind()) < one);
    }

    #[test]
    fn stretches_one_after_another_are_the_whole_list(most in 1usize..6, looked_at in 1usize..6, out in any::<bool>()) {
        let book = yard().book();
        let filter = Filter { state: out.then_some(State::Out), ..Filter::default() };
        let whole = stretch(&book, Kind::Roll, &filter, None, 50, 50, when("Tue 10:00")).rows;
        prop_assert_eq!(whole.len(), if out { 3 } else { 12 });
        let (mut all, mut after) = (Vec::new(), None);
        loop {
            let Stretch { rows, last } =
                stretch(&book, Kind::Roll, &filter, after.as_ref(), most, looked_at, when("Tue 10:00"));
            prop_assert!(rows.len() <= most);
            all.extend(rows);
            match last {
                Some(last) => after = Some(last),
                None => break,
            }
        }
        prop_assert_eq!(all, whole);
    }
}
