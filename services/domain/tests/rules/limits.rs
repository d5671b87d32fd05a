//! The limits: what each counts, at which act it is tested, and what earlier acts look ahead to.

use crate::look::*;
use crate::scene::{Scene, sheet};
use crate::when::{hours, instant, seconds};
use shared_types::*;

/// A yard whose PM-101 is good for one month and tested at this act; B-1 is made so that it ends on Tuesday 5 May.
fn ends_on_tuesday(tested_at: TestedAt) -> Scene {
    let mut scene = Scene::yard_with_sheet(|sheet| {
        sheet.shelf_life = Some(ShelfLife::Limit(ShelfLifeLimit { months: 1, tested_at }));
    });
    batch(&mut scene).made_on = Day::parse("2026-04-05").unwrap();
    scene
}

fn batch(scene: &mut Scene) -> &mut Batch {
    let found = scene.entries.iter_mut().find_map(|entry| match &mut entry.body {
        Body::BatchRegistered(batch) => Some(batch),
        _ => None,
    });
    found.unwrap()
}

fn last_day(change: impl FnOnce(&mut Batch)) -> String {
    let mut scene = Scene::yard();
    change(batch(&mut scene));
    scene.stored("R-1", "Mon 06:00").look("R-1", "Tue 06:00").row(Shelf).ends_on.unwrap()
}

#[test]
fn a_shelf_life_ends_with_the_last_millisecond_of_its_last_day_where_the_yard_is() {
    // Made 31 January 2026, 12 months: 31 January 2027, in Lisbon's winter time.
    let scene = Scene::yard().stored("R-1", "Mon 06:00");
    let last = scene.may(Oven, "R-1", "2027-01-31T23:59:59.999+00:00");
    last.answer(Yes).governed_by(Shelf);
    assert_eq!((last.row(Shelf).left_s, last.row(Shelf).ends_at), (Some(0), None));
    let past = scene.may(Oven, "R-1", "2027-02-01T00:00:00.000+00:00");
    // A date that has passed is no, not stop.
    past.answer(No).because("Heating had to start by Sun 23:59, because of its shelf life.");
    assert_eq!(past.row(Shelf).left_s, Some(-1));
    assert_eq!(past.row(Shelf).ends_at.unwrap().at, instant("2027-01-31T23:59:59.999+00:00"));
}

#[test]
fn the_earlier_of_certificate_and_manufacture_counts() {
    let certificate = |text: &'static str| move |batch: &mut Batch| batch.certificate_ends = Day::parse(text).ok();
    assert_eq!(last_day(|_| ()), "2027-01-31");
    assert_eq!(last_day(certificate("2026-11-15")), "2026-11-15");
    assert_eq!(last_day(certificate("2027-11-15")), "2027-01-31");
    // A month only: its last day as an end, its first as a manufacture date.
    assert_eq!(last_day(certificate("2026-11")), "2026-11-30");
    assert_eq!(last_day(|batch| batch.made_on = Day::parse("2026-01").unwrap()), "2027-01-01");
    // 29 February clamped to the month's end.
    assert_eq!(last_day(|batch| batch.made_on = Day::parse("2024-02-29").unwrap()), "2025-02-28");
}

#[test]
fn a_batch_without_a_stated_shelf_life_still_ends_with_its_certificate() {
    let mut scene = Scene::yard_with_sheet(|sheet| {
        sheet.shelf_life = Some(ShelfLife::None(NoneBy { none_by: "sheet 7".to_owned() }));
    });
    batch(&mut scene).certificate_ends = Day::parse("2026-11-15").ok();
    let row = scene.stored("R-1", "Mon 06:00").look("R-1", "Tue 06:00").row(Shelf);
    assert_eq!((row.ends_on.as_deref(), row.none_by), (Some("2026-11-15"), None));
}

#[test]
fn a_shelf_life_tested_at_the_oven_is_looked_ahead_to_by_earlier_acts() {
    let scene = ends_on_tuesday(TestedAt::Oven).stored("R-1", "Mon 06:00");
    for act in [TakeOut, Cut, Lay] {
        let asked = scene.may(act, "R-1", "Tue 06:00");
        asked.answer(Yes).last_ply_by("Tue 23:59:59.999").heating_by("Tue 23:59:59.999").governed_by(Shelf);
        scene.may(act, "R-1", "Wed 00:00").answer(No);
    }
    scene
        .may(Cut, "R-1", "Tue 06:00")
        .because("Shelf life ends first: its last day is Tue 5 May 2026. Not checked against a job.");
}

#[test]
fn a_shelf_life_tested_at_take_out_is_ignored_by_later_acts() {
    let scene = ends_on_tuesday(TestedAt::TakeOut).stored("R-1", "Mon 06:00").out("R-1", "Tue 23:59");
    let cut = scene.may(Cut, "R-1", "Wed 10:00");
    // The row reads the state at the take-out: 59.999 s before its end.
    cut.answer(Yes).left_is(Shelf, "0:00:59");
    scene.may(TakeOut, "R-1", "Wed 10:00").answer(No).because("Its shelf life ended Tue 23:59.");
    // Before, it is what ends first for who takes it out.
    scene.may(TakeOut, "R-1", "Tue 10:00").answer(Yes).governed_by(Shelf);
    // Back in the cold, it must be taken out again.
    let back = scene.put_away("R-1", "F1", "Wed 12:00");
    back.may(Cut, "R-1", "Wed 13:00").answer(No).because("Its shelf life ended Tue 23:59.");
    let again = back.out("R-1", "Wed 14:00");
    assert_eq!(
        again.look("R-1", "Wed 15:00").mismatch("limit_over_at_act").say,
        "R-1 was 14 h 1 min over its shelf life when it was taken out Wed 6 May 2026 14:00."
    );
}

#[test]
fn a_told_take_out_of_a_kit_makes_the_test_of_its_rolls_take_out_later() {
    let scene = ends_on_tuesday(TestedAt::TakeOut).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 08:00").out("K-1", "Tue 08:10").uncertain(20).told();
    // Perhaps taken out as late as 08:30, 15 h 29 min 59 s before the day ends.
    scene.look("K-1", "Tue 12:00").left_is(Shelf, "15:29:59");
}

#[test]
fn a_take_out_at_the_very_instant_of_the_cut_or_lay_up_counts_where_it_comes_first() {
    // Taken out on Tuesday at 06:00, and once more at 08:00, perhaps as late as 08:30: 15 h 29 min 59 s before the day ends.
    let out = ends_on_tuesday(TestedAt::TakeOut).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let again = out.clone().out("R-1", "Tue 08:00").uncertain(30);
    let cut = again.clone().cut("N-1", "R-1", "K-1", "Tue 08:00").device("D-1", 1);
    cut.look("K-1", "Tue 12:00").left_is(Shelf, "15:29:59");
    let laid = again.laid("P-1", "R-1", "Tue 08:00").length(1).device("D-1", 1);
    laid.look("P-1", "Tue 12:00").stage_left_is("skin", Shelf, "15:29:59");
    let kit = out.cut("N-1", "R-1", "K-1", "Tue 07:00").out("K-1", "Tue 08:00").uncertain(30);
    let laid = kit.laid("P-1", "K-1", "Tue 08:00").device("D-1", 1);
    laid.look("P-1", "Tue 12:00").stage_left_is("skin", Shelf, "15:29:59");
    // After the cut it is the roll's alone: without a device the cut comes first.
    let cut = ends_on_tuesday(TestedAt::TakeOut).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let cut = cut.cut("N-1", "R-1", "K-1", "Tue 08:00").out("R-1", "Tue 08:00").uncertain(30).device("D-1", 1);
    cut.look("K-1", "Tue 12:00").left_is(Shelf, "17:59:59");
}

#[test]
fn a_shelf_life_tested_at_lay_up_is_ignored_by_the_oven() {
    let scene = ends_on_tuesday(TestedAt::Lay).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    scene.may(Lay, "R-1", "Tue 12:00").last_ply_by("Tue 23:59:59.999").heating_by("Fri 23:59:59.999");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 13:00");
    let laid = scene.clone().laid("P-1", "K-1", "Tue 22:00");
    laid.may(Oven, "P-1", "Thu 10:00").answer(Yes).left_is(Shelf, "1:59:59");
    let late = scene.laid("P-1", "K-1", "Wed 01:00");
    let over = late.look("P-1", "Thu 10:00").mismatch("limit_over_at_act");
    assert_eq!(over.say, "R-1 was 1 h 1 min over its shelf life when it was laid Wed 6 May 2026 01:00.");
}

/// Only the out-life of 10 h binds; R-1 is out since Tuesday 06:00.
fn out_life_of_ten_hours() -> Scene {
    let scene = Scene::yard_with_sheet(|sheet| {
        sheet.out_life_s = Some(StatedSeconds::Limit(hours(10)));
        sheet.tack_life_s = Some(StatedSeconds::None(NoneBy { none_by: "sheet 7".to_owned() }));
    });
    scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00")
}

#[test]
fn out_life_is_tested_at_cut_lay_up_and_the_ovens_start() {
    let over = |scene: &Scene, of: &str| {
        let view = scene.look(of, "Thu 00:00").view();
        let over = view.mismatches.into_iter().filter(|one| one.kind == "limit_over_at_act");
        over.map(|one| one.say).collect::<Vec<_>>()
    };
    let cut = |at: &str| out_life_of_ten_hours().cut("N-1", "R-1", "K-1", at);
    assert_eq!(over(&cut("Tue 16:00"), "R-1"), Vec::<String>::new());
    assert_eq!(
        over(&cut("Tue 16:00:00.001"), "R-1"),
        ["R-1 was 1 min over its out-life when it was cut Tue 5 May 2026 16:00."]
    );
    let laid = |at: &str| cut("Tue 07:00").laid("P-1", "K-1", at);
    assert_eq!(over(&laid("Tue 16:00"), "P-1"), Vec::<String>::new());
    assert_eq!(
        over(&laid("Tue 17:00"), "P-1"),
        ["R-1 was 1 h over its out-life when it was laid Tue 5 May 2026 17:00."]
    );
    let oven =
        |at: &str| laid("Tue 08:00").oven("RUN-1", &["P-1"], at).ended("RUN-1", "Wed 06:00").committed("Tue 23:00");
    assert_eq!(over(&oven("Tue 16:00"), "P-1"), Vec::<String>::new());
    assert_eq!(
        over(&oven("Tue 18:30"), "P-1"),
        ["R-1 was 2 h 30 min over its out-life when it was put into the oven Tue 5 May 2026 18:30."]
    );
}

#[test]
fn a_take_out_does_not_test_out_life_but_it_is_too_late_all_the_same() {
    let scene = out_life_of_ten_hours();
    let asked = scene.may(TakeOut, "R-1", "Tue 17:00");
    asked.answer(No).because("Its last ply had to be down by Tue 16:00, because of its out-life.");
    assert_eq!(scene.look("R-1", "Tue 17:00").view().mismatches, []);
}

#[test]
fn tack_life_is_tested_at_the_cut_and_at_each_ply_and_not_by_the_oven() {
    let sheet = |sheet: &mut Revision| sheet.tack_life_s = Some(StatedSeconds::Limit(hours(10)));
    let scene = Scene::yard_with_sheet(sheet).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 16:00").items(&["R-1"]);
    scene.look("P-1", "Wed 12:00").no_mismatch().stage_left_is("skin", Tack, "0:00");
    scene.may(Oven, "P-1", "Wed 12:00").answer(Yes);
    let late = scene.strike_last("Wed 13:00").laid("P-1", "K-1", "Tue 16:00:00.001");
    let over = late.look("P-1", "Wed 12:00").mismatch("limit_over_at_act");
    assert_eq!(over.say, "R-1 was 1 min over its tack life when it was laid Tue 5 May 2026 16:00.");
    // What is laid is laid: the oven looks at out-life and lay-to-cure, and names one of them.
    late.may(Oven, "P-1", "Wed 12:00").answer(Yes).governed_by(ToCure);
}

#[test]
fn lay_to_cure_runs_from_the_first_ply_to_the_oven_start() {
    let laid =
        || Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let laid = || laid().laid("P-1", "K-1", "Tue 14:00").begun_at("Tue 10:00");
    // From 10:00 on Tuesday: 72 h end on Friday at 10:00.
    let asked = laid().may(Oven, "P-1", "Tue 16:00");
    asked.answer(Yes).left_is(ToCure, "66:00").heating_by("Fri 10:00").says("Heating by Fri 10:00.");
    let at_the_limit = laid().oven("RUN-1", &["P-1"], "Fri 10:00").ended("RUN-1", "Sat 10:00").committed("Fri 12:00");
    at_the_limit.look("P-1", "Sun 10:00").no_mismatch().stage_left_is("skin", ToCure, "0:00");
    let past = laid().oven("RUN-1", &["P-1"], "Fri 10:00:00.001").ended("RUN-1", "Sat 10:00").committed("Fri 12:00");
    let over = past.look("P-1", "Sun 10:00").mismatch("limit_over_at_act");
    assert_eq!(
        over.say,
        "R-1 was 1 min over its lay-to-cure limit when it was put into the oven Fri 8 May 2026 10:00."
    );
}

#[test]
fn lay_to_cure_runs_from_lay_up_complete_where_the_sheet_says_so() {
    let scene = Scene::yard_with_sheet(|sheet| {
        sheet.lay_to_cure =
            Some(LayToCure::Limit(LayToCureLimit { limit_s: hours(72), from: LayToCureFrom::Complete }));
    });
    let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene = scene.laid("P-1", "K-1", "Tue 10:00");
    // Not recorded: from the first ply.
    scene.look("P-1", "Wed 10:00").stage_left_is("skin", ToCure, "48:00");
    let complete = scene.clone().completed("P-1", "Tue 20:00").uncertain(30);
    complete.look("P-1", "Wed 10:00").stage_left_is("skin", ToCure, "57:30");
    // Told, it would give back: it waits.
    let told = scene.completed("P-1", "Tue 20:00").told().named("told");
    told.look("P-1", "Wed 10:00").stage_left_is("skin", ToCure, "48:00");
    told.confirm("told", "Wed 11:00").look("P-1", "Wed 10:00").stage_left_is("skin", ToCure, "58:00");
}

#[test]
fn lay_to_cure_counts_from_the_first_ply_of_that_material_in_that_stage() {
    let mut film = sheet();
    film.lay_to_cure = Some(LayToCure::Limit(LayToCureLimit { limit_s: hours(48), from: LayToCureFrom::FirstPly }));
    let scene = Scene::yard().material("PM-102", film).registered("batch/PM-102/B-9", "2026-01-31");
    let scene =
        scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").stored("R-2", "Mon 06:00").out("R-2", "Tue 06:00");
    let scene = scene
        .received("R-3", "Mon 06:00")
        .of("PM-102", "B-9")
        .put_away("R-3", "F1", "Mon 06:00")
        .out("R-3", "Tue 06:00");
    let scene = scene.laid("P-1", "R-1", "Tue 08:00").length(2).laid("P-1", "R-3", "Wed 08:00").length(2);
    // Another roll of the same material joins the first ply's clock, in the same stage only.
    let scene = scene.laid("P-1", "R-2", "Thu 08:00").length(2).laid("P-1/second skin", "R-2", "Thu 09:00").length(2);
    // PM-101: since Tuesday 08:00, 50 h of 72 h; PM-102: since Wednesday 08:00, 26 h of 48 h. Both have 22 h left.
    let view = scene.look("P-1", "Thu 10:00").view();
    let left = |stage: usize| view.stages[stage].limits.iter().find(|row| row.limit == ToCure).unwrap().left_s;
    assert_eq!((left(0), left(1)), (Some(seconds("22:00")), Some(seconds("71:00"))));
    let after = scene.look("P-1", "Thu 10:00").stage_row("skin", ToCure);
    assert_eq!(after.ends_at.unwrap().at, instant("Fri 08:00"));
}

#[test]
fn of_one_stage_the_material_that_ends_first_governs() {
    let mut film = sheet();
    film.out_life_s = Some(StatedSeconds::Limit(hours(50)));
    let scene = Scene::yard().material("PM-102", film).registered("batch/PM-102/B-9", "2026-01-31");
    let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let scene = scene
        .received("R-3", "Mon 06:00")
        .of("PM-102", "B-9")
        .put_away("R-3", "F1", "Mon 06:00")
        .out("R-3", "Tue 20:00");
    let scene = scene.laid("P-1", "R-1", "Tue 21:00").length(2).laid("P-1", "R-3", "Tue 22:00").length(2);
    // 200 h from Tuesday 06:00; R-3: 50 h from Tuesday 20:00.
    let asked = scene.may(Oven, "P-1", "Wed 06:00");
    asked.answer(Yes).governed_by(Out).heating_by("Thu 22:00").left_is(Out, "40:00");
    assert_eq!(asked.row(Out).item.to_string(), "roll/R-3");
}

#[test]
fn every_stated_limit_has_a_row_whatever_the_act_each_with_its_item() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    for act in [TakeOut, Cut, Lay, Oven] {
        let asked = scene.may(act, "R-1", "Tue 07:00");
        let names: Vec<LimitName> = asked.0.limits.iter().map(|row| row.limit).collect();
        assert_eq!(names, [Tack, Out, ToCure, Shelf, Returns]);
        assert!(asked.0.limits.iter().all(|row| row.item.to_string() == "roll/R-1"));
        assert_eq!(
            (asked.row(Returns).allowed, asked.row(Returns).so_far, asked.row(Returns).left),
            (Some(3), Some(0), Some(3))
        );
    }
}

#[test]
fn a_limit_has_an_end_only_while_its_clock_runs_or_once_it_has_passed() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(90, 0).put_away("R-1", "F1", "Mon 06:00");
    let inside = scene.look("R-1", "Tue 05:00").row(Tack);
    assert_eq!((inside.runs, inside.ends_at), (false, None));
    let scene = scene.out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 18:00");
    // 10 h left at 06:00: it passed at 16:00.
    let running = scene.look("R-1", "Tue 07:00").row(Tack);
    assert_eq!((running.runs, running.ends_at.unwrap().at), (true, instant("Tue 16:00")));
    let over = scene.look("R-1", "Wed 07:00").row(Tack);
    assert_eq!(
        (over.runs, over.ends_at.unwrap().at, over.left_s),
        (false, instant("Tue 16:00"), Some(seconds("-2:00")))
    );
}

#[test]
fn a_limit_that_was_just_reached_passed_only_when_the_clock_ran_again() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(98, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 08:00").out("R-1", "Wed 06:00");
    // 100 h of 100 h in the cold on Tuesday: still within. On Wednesday it passed at once.
    scene.look("R-1", "Tue 12:00").left_is(Tack, "0:00");
    let row = scene.look("R-1", "Wed 07:00").row(Tack);
    assert_eq!((row.left_s, row.ends_at.unwrap().at), (Some(-3600), instant("Wed 06:00")));
}

#[test]
fn an_opening_beyond_a_limit_passed_it_as_of_then() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(101, 0).counted_from("Mon 04:00");
    let row = scene.put_away("R-1", "F1", "Mon 06:00").look("R-1", "Tue 12:00").row(Tack);
    assert_eq!((row.left_s, row.ends_at.unwrap().at), (Some(-3 * 3600), instant("Mon 04:00")));
}

#[test]
fn of_limits_already_over_the_one_that_passed_first_governs() {
    let scene = Scene::yard_with_sheet(|sheet| {
        sheet.tack_life_s = Some(StatedSeconds::Limit(hours(12)));
        sheet.out_life_s = Some(StatedSeconds::Limit(hours(10)));
    });
    let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    scene.may(Cut, "R-1", "Tue 20:00").answer(Stop).governed_by(Out);
}
