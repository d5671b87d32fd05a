//! The oven run as it is typed from the chart: provisional, confirmed, broken off.

use crate::look::*;
use crate::scene::{Scene, stamp, thing};
use shared_types::*;

/// Out on Tuesday at 06:00, laid in P-1 at 10:00.
fn laid() -> Scene {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    scene.cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 10:00")
}

/// In the oven since Tuesday 12:00: 6 h of out-time, 2 h since the first ply.
fn in_oven() -> Scene {
    laid().oven("RUN-1", &["P-1"], "Tue 12:00").named("start")
}

fn out_life(scene: &Scene, at: &str) -> LimitRow {
    scene.look("P-1", at).stage_row("skin", Out)
}

/// Hours of out-life left, whether the start is confirmed, and hours left if it never started.
fn hours_left(scene: &Scene, at: &str) -> (i64, bool, Option<i64>) {
    let row = out_life(scene, at);
    let floor = |seconds: i64| seconds.div_euclid(3600);
    (floor(row.left_s.unwrap()), !row.not_confirmed, row.left_s_if_never_started.map(floor))
}

#[test]
fn an_oven_start_is_provisional_and_shows_both_what_was_left_and_what_is_if_it_never_started() {
    assert_eq!(hours_left(&in_oven(), "Tue 20:00"), (194, false, Some(186)));
    let look = in_oven().look("P-1", "Tue 20:00").stage_row("skin", ToCure);
    assert_eq!((look.left_s, look.left_s_if_never_started, look.runs), (Some(70 * 3600), Some(62 * 3600), false));
    in_oven().look("P-1", "Tue 20:00").says("P-1 went into the oven in run RUN-1 Tue 12:00, not confirmed yet.");
    let words = domain::rows::left_words(&out_life(&in_oven(), "Tue 20:00"));
    assert_eq!(words, "194 h; 186 h if the oven never started");
}

#[test]
fn a_card_says_that_the_oven_start_at_which_it_stops_is_not_confirmed() {
    let note = |scene: &Scene| scene.look("P-1", "Tue 20:00").card().cards[0].lines.last().unwrap().note.clone();
    assert_eq!(note(&in_oven()).as_deref(), Some("stops as oven run RUN-1 starts, not confirmed"));
    let confirmed = in_oven().ended("RUN-1", "Tue 19:00").committed("Tue 14:00");
    assert_eq!(note(&confirmed), None);
}

#[test]
fn without_a_record_it_stays_provisional_for_24_h_inclusive_and_then_never_started() {
    assert_eq!(hours_left(&in_oven(), "Wed 12:00"), (194, false, Some(170)));
    // 30 h out and a millisecond.
    assert_eq!(hours_left(&in_oven(), "Wed 12:00:00.001"), (169, true, None));
    in_oven().look("P-1", "Wed 13:00").says("P-1: lay-up since Tue 10:00.");
}

#[test]
fn scanned_at_its_end_and_answered_cured_it_stays_provisional_for_72_h_inclusive() {
    let scene = in_oven().ended("RUN-1", "Tue 20:00").cured(true);
    assert_eq!(hours_left(&scene, "Fri 12:00"), (194, false, Some(122)));
    assert_eq!(hours_left(&scene, "Fri 12:00:00.001"), (121, true, None));
}

#[test]
fn a_record_names_the_entry_that_confirms_and_says_what_speaks_against_its_cure() {
    let of = |scene: &Scene| {
        let record = domain::part_record(&scene.book(), &thing("P-1"), when("Fri 12:00")).unwrap();
        record.stages[0].say.clone()
    };
    // Said to have been under way before it started confirms nothing, whoever wrote it first.
    let early = in_oven().ended("RUN-1", "Tue 19:00").committed("Tue 11:00").by("B-8");
    let scene = early.ended("RUN-1", "Tue 20:00").committed("Tue 14:00").by("B-9");
    assert!(of(&scene).contains("confirmed Tue 5 May 2026 20:00 by B-9, entry "), "{}", of(&scene));
    let broke = in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00").interrupted("RUN-1", "Tue 21:00");
    assert!(of(&broke).ends_with(" Held: its oven run broke off (run/RUN-1)."), "{}", of(&broke));
    let told = laid().oven("RUN-1", &["P-1"], "Tue 12:00").told();
    let told = told.ended("RUN-1", "Tue 20:00").committed("Tue 14:00");
    assert!(of(&told).ends_with(" as it was told, not confirmed yet."), "{}", of(&told));
}

#[test]
fn a_told_end_waits_until_it_is_confirmed_and_counts_as_a_scanned_one_then() {
    let told = in_oven().ended("RUN-1", "Tue 20:00").cured(true).committed("Tue 14:00").told().named("told");
    assert_eq!(hours_left(&told, "Wed 13:00"), (169, true, None));
    assert_eq!(hours_left(&told.confirm("told", "Wed 14:00"), "Wed 13:00"), (194, true, None));
    // Without a commit it is provisional for 72 h instead of 24 h.
    let only_cured = in_oven().ended("RUN-1", "Tue 20:00").cured(true).told().named("told");
    assert_eq!(hours_left(&only_cured, "Wed 13:00"), (169, true, None));
    assert_eq!(hours_left(&only_cured.confirm("told", "Wed 14:00"), "Wed 13:00"), (194, false, Some(169)));
}

#[test]
fn a_commit_confirms_the_start_for_good() {
    let scene = in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00");
    assert_eq!(hours_left(&scene, "Mon+3 12:00"), (194, true, None));
    scene.look("P-1", "Wed 13:00").says("P-1 was cured in run RUN-1, started Tue 12:00.");
}

#[test]
fn the_start_is_the_scan_at_its_latest() {
    let scene =
        laid().oven("RUN-1", &["P-1"], "Tue 12:00").uncertain(30).ended("RUN-1", "Tue 20:00").committed("Tue 14:00");
    // 06:00 to 12:30.
    assert_eq!(out_life(&scene, "Wed 12:00").left_s, Some(193 * 3600 + 1800));
}

#[test]
fn a_commit_before_the_start_or_after_the_run_broke_off_confirms_nothing() {
    let before = in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 11:59");
    assert_eq!(hours_left(&before, "Wed 13:00"), (169, true, None));
    let after = in_oven().interrupted("RUN-1", "Tue 13:00").ended("RUN-1", "Tue 20:00").committed("Tue 14:00");
    assert_eq!(hours_left(&after, "Tue 20:00"), (186, true, None));
    let missing = in_oven().ended("RUN-1", "Tue 20:00");
    assert_eq!(hours_left(&missing, "Wed 13:00"), (169, true, None));
}

#[test]
fn broken_off_before_the_commit_its_limits_run_on_and_it_is_held() {
    let scene = in_oven().interrupted("RUN-1", "Tue 13:00").named("broke");
    assert_eq!(hours_left(&scene, "Tue 20:00"), (186, true, None));
    let asked = scene.may(Oven, "P-1", "Tue 20:00");
    // The heat blocks from the start on.
    asked.answer(No).because("Held since Tue 12:00: its oven run broke off (run/RUN-1).");
    scene.may(Oven, "P-1", "Tue 11:59").answer(Yes);
    scene.may(Oven, "P-1", "Tue 12:30").answer(No);
    assert_eq!(asked.0.holds.iter().map(|hold| hold.hold).collect::<Vec<_>>(), [scene.id("broke")]);
    // It is lifted like any other.
    let body = lift(scene.id("broke"));
    let lifted = scene.entry("P-1", "Tue 21:00", body);
    lifted.may(Oven, "P-1", "Tue 22:00").answer(Yes).heating_by("Fri 10:00");
}

fn lift(hold: uuid::Uuid) -> Body {
    Body::HoldLifted(LiftHold { hold, why: "looked at".to_owned() })
}

#[test]
fn broken_off_after_the_commit_it_stays_in_its_run_and_is_held() {
    let scene = in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 12:30").interrupted("RUN-1", "Tue 13:00");
    assert_eq!(hours_left(&scene, "Wed 20:00"), (194, true, None));
    // Nobody says that it was cured.
    let look = scene.look("P-1", "Wed 20:00");
    look.says("P-1 went into the oven in run RUN-1 Tue 12:00.");
    let holds = look.view().holds;
    assert_eq!(holds.iter().map(|hold| hold.why.as_str()).collect::<Vec<_>>(), ["its oven run broke off (run/RUN-1)"]);
}

#[test]
fn a_told_interruption_takes_at_once() {
    let scene = in_oven().interrupted("RUN-1", "Tue 13:00").told();
    assert_eq!(hours_left(&scene, "Tue 20:00"), (186, true, None));
}

#[test]
fn answered_not_cured_its_limits_run_on_and_it_is_held() {
    let scene = in_oven().ended("RUN-1", "Tue 20:00").cured(false);
    assert_eq!(hours_left(&scene, "Tue 21:00"), (185, true, None));
    let asked = scene.may(Oven, "P-1", "Tue 21:00");
    asked.answer(No).because("Held since Tue 20:00: its oven run was answered: not cured (run/RUN-1).");
    scene.strike_last("Tue 22:00").may(Oven, "P-1", "Tue 23:00").answer(No);
}

#[test]
fn a_run_cures_the_named_stages_only() {
    let scene = laid().laid("P-1/core bond", "R-1", "Tue 11:00").length(1).oven("RUN-1", &["P-1/skin"], "Tue 12:00");
    let scene = scene.ended("RUN-1", "Tue 20:00").committed("Tue 14:00");
    let look = scene.look("P-1", "Wed 12:00");
    look.stage_left_is("skin", Out, "194:00").stage_left_is("core bond", Out, "170:00");
}

#[test]
fn plies_laid_after_the_start_are_not_cured_by_it() {
    let scene = in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00").laid("P-1", "R-1", "Tue 13:00").length(1);
    let look = scene.look("P-1", "Wed 12:00");
    // The late ply's clock runs on: 30 h out.
    look.stage_left_is("skin", Out, "170:00").mismatches_are(&["laid_after_oven_start"]);
}

/// Laid on Tuesday at 10:00, in the oven since noon; one ply more at 13:00.
fn one_ply_late() -> Scene {
    in_oven().laid("P-1", "R-1", "Tue 13:00").length(1).named("late").ended("RUN-1", "Tue 20:00").committed("Tue 14:00")
}

#[test]
fn what_was_laid_after_a_start_is_not_in_that_run_whatever_was_written_first() {
    let scene = one_ply_late();
    let acts = scene.entries.len() - 3..scene.entries.len();
    // The start, the late ply and the end, in each order of writing.
    for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
        let mut written = scene.clone();
        for (place, which) in acts.clone().zip(order) {
            written.entries[place] = scene.entries[acts.start + which].clone();
        }
        let look = written.look("P-1", "Wed 12:00");
        look.mismatches_are(&["laid_after_oven_start"]).says("P-1: lay-up since Tue 10:00.");
        assert_eq!(look.mismatch("laid_after_oven_start").entry, scene.id("late"));
        look.stage_left_is("skin", Out, "170:00");
        // It is to be heated still: 72 h from the first ply.
        written.may(Oven, "P-1", "Wed 12:00").answer(Yes).heating_by("Fri 10:00");
        let waits = domain::handover(&written.book(), when("Wed 12:00")).waiting;
        assert_eq!(
            waits.iter().map(|one| one.say.as_str()).collect::<Vec<_>>(),
            ["P-1 skin: heating by Fri 10:00, in 46 h."]
        );
        let install = domain::may_install(&written.book(), &thing("P-1"), None, when("Wed 12:00")).unwrap();
        assert_eq!((install.answer, install.why), (No, vec!["skin: no confirmed cure.".to_owned()]));
    }
    // Before anybody knows what came of the run, it may have been heating; a start that lapsed was none.
    let unsaid = in_oven().laid("P-1", "R-1", "Tue 13:00").length(1);
    unsaid.look("P-1", "Tue 14:00").mismatches_are(&["laid_after_oven_start"]);
    in_oven().laid("P-1", "R-1", "Wed 13:00").length(1).look("P-1", "Wed 14:00").no_mismatch();
    // At the start's own instant the lay-up comes first, and of the two the nominal instants count.
    let at_once = in_oven().laid("P-1", "R-1", "Tue 12:00").length(1);
    at_once.look("P-1", "Tue 14:00").no_mismatch().stage_left_is("skin", Out, "194:00");
    let unsure = laid().oven("RUN-1", &["P-1"], "Tue 12:00").uncertain(30).laid("P-1", "R-1", "Tue 12:10").length(1);
    unsure.look("P-1", "Tue 14:00").mismatches_are(&["laid_after_oven_start"]).stage_left_is("skin", Out, "192:00");
}

#[test]
fn a_second_run_cures_what_was_laid_after_the_first() {
    let scene = one_ply_late().oven("RUN-2", &["P-1"], "Wed 06:00").ended("RUN-2", "Wed 20:00").committed("Wed 08:00");
    // The late ply was out since Tuesday 06:00: 24 h.
    scene
        .look("P-1", "Thu 12:00")
        .stage_left_is("skin", Out, "176:00")
        .says("P-1 was cured in run RUN-1, started Tue 12:00.");
}

#[test]
fn ends_that_contradict_each_other_do_not_add_up_and_confirm_nothing() {
    let cured = || in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00").cured(true);
    let both = cured().ended("RUN-1", "Tue 21:00").cured(false).named("later");
    let mismatch = both.look("RUN-1", "Wed 12:00").mismatch("ends_contradict");
    assert_eq!(mismatch.entry, both.id("later"));
    assert_eq!(
        mismatch.say,
        "Of RUN-1 it was said Tue 5 May 2026 20:00 that its cure was under way Tue 5 May 2026 14:00, and Tue 5 May 2026 21:00 that it was not cured."
    );
    assert_eq!(mismatch.ask.as_deref(), Some("What came of RUN-1? Strike what is wrong."));
    // Nobody knows which: its clock runs on, 30 h out by Wednesday noon, and it is held. The part says so too.
    let part = both.look("P-1", "Wed 12:00");
    part.stage_left_is("skin", Out, "170:00").mismatches_are(&["ends_contradict"]);
    assert_eq!(part.view().holds.len(), 1);
    assert_eq!(domain::mismatches(&both.book(), when("Wed 12:00")).mismatches.len(), 1);
    // Settled in words by two it is shown no more, and stays held and unconfirmed.
    let answer = Settlement::AssignedS(0.try_into().unwrap());
    let settled = both.clone().settle("later", "ends_contradict", answer, "Wed 13:00");
    assert_eq!(domain::mismatches(&settled.book(), when("Wed 14:00")).mismatches, []);
    settled.look("P-1", "Wed 12:00").stage_left_is("skin", Out, "170:00");
    // Struck, what is left holds.
    let struck = both.strike("later", "Wed 13:00");
    struck.look("P-1", "Wed 12:00").stage_left_is("skin", Out, "194:00").no_mismatch();
    struck.look("RUN-1", "Wed 12:00").no_mismatch();
    let run = |scene: Scene, kinds: &[&str]| scene.look("RUN-1", "Wed 12:00").mismatches_are(kinds).view();
    run(cured().ended("RUN-1", "Tue 21:00").committed("Tue 15:00"), &["ends_contradict"]);
    run(cured().ended("RUN-1", "Tue 21:00").committed("Tue 14:00").cured(true), &[]);
    run(cured().ended("RUN-1", "Tue 21:00").cured(true), &[]);
    run(
        in_oven().ended("RUN-1", "Tue 20:00").cured(false).ended("RUN-1", "Tue 21:00").cured(true),
        &["ends_contradict"],
    );
    run(cured().interrupted("RUN-1", "Tue 15:00"), &["ends_contradict"]);
    // Under way, and then broken off: both can be.
    run(in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00").interrupted("RUN-1", "Tue 15:00"), &[]);
}

#[test]
fn a_run_started_twice_does_not_add_up_and_the_later_start_counts() {
    let scene = in_oven()
        .oven("RUN-1", &["P-1"], "Tue 13:00")
        .named("again")
        .ended("RUN-1", "Tue 20:00")
        .committed("Tue 14:00");
    let mismatch = scene.look("RUN-1", "Wed 12:00").mismatch("started_twice");
    assert_eq!(mismatch.entry, scene.id("again"));
    assert_eq!(
        mismatch.say,
        "RUN-1 was started Tue 5 May 2026 12:00 and again Tue 5 May 2026 13:00: what was in both waits until the later start."
    );
    // 06:00 to 13:00.
    scene.look("P-1", "Wed 12:00").stage_left_is("skin", Out, "193:00").mismatches_are(&["started_twice"]);
    let once = scene.strike("again", "Wed 13:00");
    once.look("P-1", "Wed 12:00").stage_left_is("skin", Out, "194:00").no_mismatch();
}

#[test]
fn a_started_stage_asked_for_its_oven_is_in_that_run() {
    let asked = in_oven().may(Oven, "P-1", "Tue 13:00");
    // What is laid is not used, it is heated.
    asked.answer(No).says("Do not heat it.").because("P-1 skin is in run RUN-1 since Tue 12:00, not confirmed yet.");
    let confirmed = in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00").may(Oven, "P-1", "Wed 13:00");
    confirmed.answer(No).because("P-1 skin was cured in run RUN-1, started Tue 12:00.");
}

#[test]
fn a_start_that_lapsed_leaves_the_stage_free_for_the_next_run() {
    let lapsed = in_oven();
    lapsed.may(Oven, "P-1", "Wed 13:00").answer(Yes).heating_by("Fri 10:00");
    let again = lapsed.oven("RUN-2", &["P-1"], "Thu 06:00").ended("RUN-2", "Thu 20:00").committed("Thu 08:00");
    // 06:00 on Tuesday to 06:00 on Thursday: 48 h of 200.
    assert_eq!(hours_left(&again, "Sat 06:00"), (152, true, None));
}

#[test]
fn what_runs_out_in_an_unconfirmed_run_is_reckoned_as_if_it_never_started() {
    let list = domain::runs_out(&in_oven().book(), 100, when("Tue 20:00"));
    let line = list.lines.iter().find(|line| line.thing.to_string() == "part/P-1").unwrap();
    assert_eq!((line.limit, line.ends_at.at, line.runs), (ToCure, crate::when::instant("Fri 10:00"), true));
}

#[test]
fn a_lay_up_that_was_told_is_not_installed_before_somebody_confirmed_it() {
    let told = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 10:00");
    let told = told.length(1).told().named("told").oven("RUN-1", &["P-1"], "Tue 12:00");
    let told = told.ended("RUN-1", "Tue 20:00").committed("Tue 14:00").cured(true);
    let may = |scene: &Scene| domain::may_install(&scene.book(), &thing("P-1"), None, when("Thu 12:00")).unwrap();
    let asked = may(&told);
    let why = "skin: part of its lay-up was told and nobody confirmed it yet.".to_owned();
    assert_eq!((asked.answer, asked.why), (CannotSay, vec![why]));
    assert_eq!(may(&told.confirm("told", "Wed 06:00")).answer, Yes);
}

#[test]
fn a_part_is_not_installed_before_what_any_of_its_jobs_plans_is_laid() {
    let cured = in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00").cured(true);
    let planned = |scene: Scene, job: &str, stages: &[&str], at: &str| {
        let stages = stages.iter().map(|stage| crate::scene::stage_name(stage)).collect();
        let plan = Job { stages, ..crate::facts::plan("P-1", "Sun 06:00", "Sun 12:00") };
        scene.entry(job, at, Body::JobOpened(plan))
    };
    let may = |scene: &Scene| domain::may_install(&scene.book(), &thing("P-1"), None, when("Thu 12:00")).unwrap();
    let two = planned(planned(cured, "J-1", &["skin", "frame"], "Tue 06:00"), "J-2", &["skin"], "Tue 07:00");
    let asked = may(&two);
    let why = "frame: nothing is laid, by the book.".to_owned();
    assert_eq!((asked.answer, asked.why), (CannotSay, vec![why]));
    // Once no job plans it any more, it is no stage.
    assert_eq!(may(&planned(two.clone(), "J-1", &["skin"], "Wed 06:00")).answer, Yes);
    let elsewhere =
        two.entry("J-1", "Wed 06:00", Body::JobReplanned(crate::facts::plan("P-2", "Sun 06:00", "Sun 12:00")));
    assert_eq!(may(&elsewhere).answer, Yes);
}

#[test]
fn a_list_says_when_a_stage_in_an_unconfirmed_run_has_to_be_cured() {
    let first = |scene: &Scene, at: &str| {
        let all = domain::stock::Filter::default();
        let rows = domain::stock::stretch(&scene.book(), Kind::Part, &all, None, 9, 9, when(at)).rows;
        rows[0].ends_first.clone()
    };
    // 72 h from its first ply, Tuesday 10:00.
    let ends = first(&in_oven(), "Tue 20:00").unwrap();
    let left_s = 62 * 3_600;
    assert_eq!((ends.limit, ends.ends_at, ends.left_s, ends.runs), (ToCure, Some(stamp("Fri 10:00")), left_s, true));
    assert_eq!(first(&in_oven().ended("RUN-1", "Tue 20:00").committed("Tue 14:00").cured(true), "Tue 20:00"), None);
}

#[test]
fn of_what_lies_in_an_unconfirmed_run_the_worst_is_picked_as_if_it_never_started() {
    // R-2 came with 2 h, is out since Tuesday 12:30 and laid after the start: on Wednesday at 06:00 it has 180 h 30 min.
    // R-1 had 194 h left at the start and has 176 h if that never was.
    let scene = Scene::yard().received("R-2", "Mon 06:00").opening(2, 0).put_away("R-2", "F1", "Mon 06:00");
    let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 10:00").length(1);
    let scene = scene.oven("RUN-1", &["P-1"], "Tue 12:00").out("R-2", "Tue 12:30");
    let scene = scene.laid("P-1", "R-2", "Tue 13:00").length(1);
    let list = domain::runs_out(&scene.book(), 400, when("Wed 06:00")).lines;
    let line = list.iter().find(|line| line.thing == thing("P-1") && line.limit == Out).unwrap();
    assert_eq!((line.item.clone(), line.left_s), (thing("R-1"), 176 * 3_600));
}

/// Out since Monday 06:00 and heating since 12:00, nobody knows whether; R-2, out since 20:00, was laid upon it at 21:00.
fn laid_upon_what_may_be_heating() -> Scene {
    let none = || LayToCure::None(NoneBy { none_by: "DOC-1".to_owned() });
    let scene = Scene::yard_with_sheet(|sheet| sheet.lay_to_cure = Some(none()));
    let scene = scene.stored("R-1", "Mon 05:00").stored("R-2", "Mon 05:00").out("R-1", "Mon 06:00");
    let scene = scene.laid("P-1", "R-1", "Mon 08:00").oven("RUN-1", &["P-1"], "Mon 12:00");
    scene.out("R-2", "Mon 20:00").laid("P-1", "R-2", "Mon 21:00")
}

#[test]
fn what_runs_on_is_not_hidden_behind_what_may_be_heating() {
    // At 11:00 on Tuesday R-2 has been out 15 h and runs on; R-1 stands at 6 h, or has been out 29 h if it never started.
    let row = laid_upon_what_may_be_heating().look("P-1", "Tue 11:00").stage_row("skin", Out);
    assert_eq!((row.item, row.runs, row.not_confirmed), (crate::scene::thing("R-2"), true, true));
    let hours = |left: Option<i64>| left.map(|left_s| left_s / 3_600);
    assert_eq!((hours(row.left_s), hours(row.left_s_if_never_started)), (Some(185), Some(171)));
}

#[test]
fn heating_counts_a_start_that_is_not_confirmed_as_none() {
    // 200 h from Monday 06:00, if the oven of R-1 never started.
    laid_upon_what_may_be_heating().may(Oven, "P-1/skin", "Tue 11:00").heating_by("Tue+1 14:00");
    let heated = laid_upon_what_may_be_heating().ended("RUN-1", "Mon 18:00").committed("Mon 14:00");
    // Confirmed, it stands at 6 h; R-2 runs on, 200 h from Monday 20:00.
    heated.may(Oven, "P-1/skin", "Tue 11:00").heating_by("Wed+1 04:00");
}
