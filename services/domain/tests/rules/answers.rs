//! "May I use it?": which word, in which words, and which of several wins.

use crate::look::*;
use crate::scene::Scene;
use crate::when::{hours, instant, seconds};
use shared_types::*;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

/// R-1 came with this many hours and is out since Tuesday 06:00.
fn out_with(opening_h: u64) -> Scene {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(opening_h, 0).put_away("R-1", "F1", "Mon 06:00");
    scene.out("R-1", "Tue 06:00")
}

#[test]
fn yes_without_a_job_gives_the_last_instants_in_the_yards_time() {
    // Tack life: Tuesday 06:00 + 100 h is Saturday 10:00; 72 h more is Tuesday 12 May 10:00, before out-life's end.
    let asked = stored().out("R-1", "Tue 06:00").may(Cut, "R-1", "Tue 07:00");
    asked.answer(Yes).last_ply_by("Sat 10:00").heating_by("Tue+1 10:00").governed_by(Tack);
    asked.says("Last ply down by Sat 10:00. Heating by Tue 12 May 10:00, within 72 h of its first ply.");
    asked.because("Tack life ends first: 99 h left, running since Tue 06:00. Not checked against a job.");
    assert_eq!(asked.0.last_ply_by.unwrap().to_string(), "2026-05-09T10:00:00.000+01:00");
}

#[test]
fn in_the_cold_the_answer_is_reckoned_as_if_it_were_out_from_now_on() {
    let asked = stored().may(TakeOut, "R-1", "Wed 07:00");
    asked.answer(Yes).last_ply_by("Sun 11:00").notes("F1 has no readings: it counts as cold.");
    asked.because("Tack life ends first: 100 h left, standing while it is in the cold. Not checked against a job.");
    // A put-away that is known but lies ahead doesn't enter.
    let known = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 12:00");
    known.may(Cut, "R-1", "Tue 07:00").last_ply_by("Sat 10:00");
}

#[test]
fn the_spare_time_is_taken_off_once() {
    let scene = Scene::yard_with_spare(2).stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00");
    let asked = scene.may(Cut, "R-1", "Tue 07:00");
    asked.last_ply_by("Sat 08:00").heating_by("Tue+1 06:00").notes("Spare time of 2 h is taken off.");
    // The same as of the part, once its first ply went down by then.
    let laid = scene.clone().laid("P-1", "R-1", "Sat 08:00").length(1);
    laid.may(Oven, "P-1", "Sat 08:00").heating_by("Tue+1 06:00");
    let laid = scene.clone().cut("N-1", "R-1", "K-1", "Tue 07:00").laid("P-1", "K-1", "Sat 08:00");
    laid.may(Oven, "P-1", "Sat 08:00").heating_by("Tue+1 06:00");
    scene.may(TakeOut, "R-1", "Sat 08:00").answer(Yes);
    let late = scene.may(TakeOut, "R-1", "Sat 08:00:00.001");
    late.answer(No)
        .says("Do not use it.")
        .because("Its last ply had to be down by Sat 08:00, because of its tack life.");
    // Its limit is not over yet, so it is no and not stop.
    scene.may(Cut, "R-1", "Sat 09:00").answer(No);
}

#[test]
fn what_is_laid_together_waits_from_the_same_last_ply() {
    let mut film = crate::scene::sheet();
    film.tack_life_s = Some(StatedSeconds::Limit(hours(150)));
    film.lay_to_cure = Some(LayToCure::Limit(LayToCureLimit { limit_s: hours(24), from: LayToCureFrom::FirstPly }));
    let scene = stored().material("PM-102", film).registered("batch/PM-102/B-9", "2026-01-31");
    let scene = scene.received("R-2", "Mon 06:00").of("PM-102", "B-9").put_away("R-2", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").out("R-2", "Tue 06:00");
    let scene = scene.cut_many("N-1", &[("K-1", "J-1", &[("R-1", 2), ("R-2", 2)])], "Tue 07:00");
    // Last ply by Saturday 10:00 for the sake of R-1; R-2 may then wait 24 h.
    let asked = scene.may(Lay, "K-1", "Tue 08:00");
    asked.last_ply_by("Sat 10:00").heating_by("Sun 10:00");
    asked.says("Last ply down by Sat 10:00. Heating by Sun 10:00, within 24 h of its first ply.");
}

#[test]
fn yes_for_a_job_names_the_life_left_when_its_oven_starts() {
    let scene = stored().job("J-1", "Wed 12:00", "Thu 12:00").out("R-1", "Tue 06:00");
    // Planned for Wednesday noon, it may be laid at once: from Tuesday 07:00 on it must heat by Friday 07:00.
    for act in [Cut, Lay] {
        let asked = scene.may_for("J-1", act, "R-1", "Tue 07:00");
        asked.answer(Yes).says("Yes, for J-1. Life left when the oven starts: 19 h.");
        asked.governed_by(ToCure).heating_by("Fri 07:00");
        asked.because("The lay-to-cure limit ends first: 72 h from its first ply.");
    }
    // With 50 h of tack life left that ends before 72 h, and the oven waits for lay-to-cure all the same.
    let scene = out_with(49).job("J-1", "Wed 12:00", "Thu 12:00");
    let asked = scene.may_for("J-1", Cut, "R-1", "Tue 07:00");
    // Where that is of another limit than the one that ends first, it says of which.
    let said = "Yes, for J-1. Life left when the oven starts: 19 h of its lay-to-cure limit.";
    asked.answer(Yes).says(said).governed_by(Tack);
    asked.because("Tack life ends first: 50 h left, running since Tue 06:00.");
}

#[test]
fn what_would_wait_too_long_if_it_were_laid_now_is_a_yes_from_a_first_ply_on() {
    // Laid on Tuesday at 07:00 it has to heat by Friday 07:00; the oven is planned for Saturday noon, with 2 h of spare
    // time. The first ply may go down from Wednesday 14:00 on, 72 h before.
    let scene = Scene::yard_with_spare(2).stored("R-1", "Mon 06:00").job("J-1", "Thu 12:00", "Sat 12:00");
    let scene = scene.out("R-1", "Tue 06:00");
    let asked = scene.may_for("J-1", Cut, "R-1", "Tue 07:00");
    asked.answer(Yes).says("Yes, for J-1, if its first ply goes down Wed 14:00 or later.").governed_by(ToCure);
    asked.heating_by("Sat 12:00");
    // Asked for its first ply now, it is no.
    scene.may_for("J-1", Lay, "R-1", "Tue 07:00").answer(No);
    scene.may_for("J-1", Lay, "R-1", "Wed 13:59").answer(No);
    scene
        .may_for("J-1", Lay, "R-1", "Wed 14:00")
        .answer(Yes)
        .says("Yes, for J-1. Life left when the oven starts: 2 h of its lay-to-cure limit.");
}

#[test]
fn no_for_a_job_whose_last_ply_comes_too_late() {
    // 80 h before: tack life ends on Wednesday at 02:00.
    let scene = out_with(80).job("J-1", "Wed 12:00", "Thu 12:00");
    let asked = scene.may_for("J-1", Cut, "R-1", "Tue 07:00");
    asked.answer(No).says("Do not use it for J-1.").governed_by(Tack);
    asked.because("19 h of tack life left; the last ply of J-1 is planned in 29 h. Put it away: 19 h kept.");
    scene.may(Cut, "R-1", "Tue 07:00").answer(Yes);
}

#[test]
fn no_for_a_job_whose_oven_comes_too_late() {
    let scene = stored().out("R-1", "Tue 06:00").job("J-1", "Wed 12:00", "Thu+1 12:00");
    let asked = scene.may_for("J-1", Cut, "R-1", "Tue 07:00");
    // Wednesday noon + 72 h is Saturday noon; out-life ends on Wednesday the 13th at 14:00; the oven is on the 14th.
    asked.answer(No).because(
        "199 h of out-life left; the oven for J-1 is planned in 221 h. \
         The oven for J-1, planned Thu 14 May 12:00, comes 120 h too late for its lay-to-cure limit. \
         Put it away: 99 h kept.",
    );
}

#[test]
fn no_for_a_job_that_needs_another_material_or_whose_kit_it_is_not() {
    let scene = stored().out("R-1", "Tue 06:00").job_needing("J-1", "PM-9", "Wed 12:00", "Thu 12:00");
    scene
        .may_for("J-1", Cut, "R-1", "Tue 07:00")
        .answer(No)
        .because("J-1 needs PM-9; R-1 is PM-101. Put it away: 99 h kept.");
    let scene = stored().job("J-1", "Wed 12:00", "Thu 12:00").job("J-2", "Wed 12:00", "Thu 12:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    scene.may_for("J-2", Lay, "K-1", "Tue 09:00").answer(No).because("K-1 was cut for J-1. Put it away: 97 h kept.");
    scene.may_for("J-1", Lay, "K-1", "Tue 09:00").answer(Yes);
}

#[test]
fn what_the_cold_would_keep_is_what_ends_first_less_the_time_in_the_rack() {
    let short = StatedSeconds::Limit(hours(60));
    let scene = Scene::yard_with_sheet(|sheet| sheet.out_life_s = Some(short.clone()));
    let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").job("J-1", "Fri 12:00", "Fri 13:00");
    let kept = |scene: &Scene, words: &str| {
        let why = scene.may_for("J-1", Cut, "R-1", "Tue 07:00").0.why.clone();
        assert!(why.ends_with(words), "{why}");
    };
    kept(&scene, " Put it away: 59 h kept.");
    // The hour of the put-away on Monday counts as well.
    let rack = Place { rack_s: Some(hours(1)), ..crate::scene::place("F1", true) };
    kept(&scene.declares("place/F1", Body::PlaceDeclared(rack)), " Put it away: 57 h kept.");
}

#[test]
fn an_oven_that_comes_seconds_too_late_comes_a_minute_too_late() {
    let scene =
        stored().out("R-1", "Tue 06:00").job("J-1", "Tue 10:00", "Fri 10:00:20").laid("P-1", "R-1", "Tue 10:00");
    let late = "The oven for J-1, planned Fri 10:00, comes 1 min too late for its lay-to-cure limit.";
    scene.may_for("J-1", Oven, "P-1", "Tue 12:00").answer(No).because(late);
}

#[test]
fn the_plan_with_the_spare_time_may_just_reach_the_limit() {
    // Tack life ends on Wednesday at 14:00: the planned last ply at noon and 2 h of spare time.
    let scene = |out: &str| {
        let scene = Scene::yard_with_spare(2).job("J-1", "Wed 12:00", "Wed 13:00").received("R-1", "Mon 06:00");
        scene.opening(68, 0).put_away("R-1", "F1", "Mon 06:00").out("R-1", out)
    };
    scene("Tue 06:00").may_for("J-1", Cut, "R-1", "Tue 07:00").answer(Yes);
    let past = scene("Tue 05:59:59.999").may_for("J-1", Cut, "R-1", "Tue 07:00");
    past.answer(No).because(
        "30 h 59 min of tack life left; the last ply of J-1 is planned in 29 h, and 2 h of spare time comes on top. \
         Put it away: 30 h 59 min kept.",
    );
}

#[test]
fn a_planned_time_that_has_passed_undone_is_no_plan() {
    let scene = stored().out("R-1", "Tue 06:00").job("J-1", "Wed 12:00", "Thu 12:00");
    scene.may_for("J-1", Cut, "R-1", "Wed 12:00").answer(Yes);
    let passed = scene.may_for("J-1", Cut, "R-1", "Wed 12:00:00.001");
    passed
        .answer(CannotSay)
        .says("Can't say yet.")
        .because("The planned lay-up of J-1 passed Wed 12:00. Plan it again.");
    // For the oven only the oven's time counts.
    scene.may_for("J-1", Oven, "R-1", "Wed 13:00").answer(Yes);
    let oven = scene.may_for("J-1", Oven, "R-1", "Thu 13:00");
    oven.answer(CannotSay).because("The planned oven start of J-1 passed Thu 12:00. Plan it again.");
    let planned_again = scene.replan("J-1", "Thu 12:00", "Fri 06:00", "Wed 14:00");
    planned_again.may_for("J-1", Cut, "R-1", "Wed 15:00").answer(Yes);
    planned_again.may_for("J-1", Cut, "R-1", "Wed 13:00").answer(CannotSay);
}

#[test]
fn a_job_that_nobody_opened_cannot_be_answered() {
    let asked = stored().may_for("J-9", TakeOut, "R-1", "Tue 07:00");
    asked.answer(CannotSay).because("Nobody has opened the job J-9.");
}

#[test]
fn a_hold_on_it_or_on_anything_above_it_is_no() {
    let scene = || stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").device("D-1", 1);
    scene().hold("K-1", "Tue 09:00").may(Lay, "K-1", "Tue 10:00").because("Held since Tue 09:00: torn bag.").answer(No);
    for (above, short) in [
        ("roll/R-1", "R-1"),
        ("batch/PM-101/B-1", "B-1"),
        ("material/PM-101", "PM-101"),
        ("nest/N-1", "N-1"),
        ("place/F1", "F1"),
        ("device/D-1", "D-1"),
    ] {
        let asked = scene().hold(above, "Tue 09:00").may(Lay, "K-1", "Tue 10:00");
        asked.answer(No).because(&format!("Held since Tue 09:00: torn bag. {short} is held."));
        assert_eq!(asked.0.holds[0].on.to_string(), above);
    }
    // Nothing of it was ever in F2.
    scene().hold("place/F2", "Tue 09:00").may(Lay, "K-1", "Tue 10:00").answer(Yes);
}

#[test]
fn a_hold_on_the_job_is_no_for_that_job_only() {
    let scene = stored().job("J-1", "Wed 12:00", "Thu 12:00").job("J-2", "Wed 12:00", "Thu 12:00");
    let scene = scene.hold("J-1", "Tue 06:00");
    scene.may_for("J-1", TakeOut, "R-1", "Tue 07:00").answer(No).because("J-1 is held: torn bag.");
    scene.may_for("J-2", TakeOut, "R-1", "Tue 07:00").answer(Yes);
}

#[test]
fn a_hold_is_in_force_from_its_own_time_until_it_is_lifted() {
    let scene = stored().hold("R-1", "Tue 08:00").named("hold").lift("hold", "Tue 12:00");
    scene.may(TakeOut, "R-1", "Tue 07:59").answer(Yes);
    scene.may(TakeOut, "R-1", "Tue 08:00").answer(No);
    scene.may(TakeOut, "R-1", "Tue 11:59").answer(No);
    scene.may(TakeOut, "R-1", "Tue 12:00").answer(Yes);
}

#[test]
fn before_the_receipt_the_cut_or_the_first_lay_up_it_is_no() {
    let scene = Scene::yard().received("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 06:00").out("R-1", "Tue 08:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 09:00").laid("P-1", "K-1", "Tue 10:00");
    scene.may(TakeOut, "R-1", "Tue 05:59").answer(No).because("R-1 was received only Tue 06:00.");
    scene.may(Lay, "K-1", "Tue 08:59").answer(No).because("K-1 was cut only Tue 09:00.");
    let lay = scene.may(Oven, "P-1", "Tue 09:59");
    lay.answer(No).because("The first ply of P-1 skin was laid only Tue 10:00.");
}

#[test]
fn a_part_that_only_a_job_names_is_known_and_nothing_is_laid_in_it() {
    let scene = Scene::yard().job("J-1", "Wed 12:00", "Thu 12:00");
    scene.may(Oven, "P-1", "Tue 10:00").answer(No).because("Nothing is laid in P-1 skin.");
    scene.look("P-1", "Tue 10:00").says("Nothing is laid in P-1.");
    assert_eq!(scene.ask(Oven, "P-9", None, "Tue 10:00").unwrap_err().to_string(), "Nobody has named a part P-9.");
}

#[test]
fn stop_where_a_tested_limit_is_over_and_its_clock_runs() {
    let asked = out_with(99).may(Cut, "R-1", "Tue 07:10");
    asked.answer(Stop).says("Put it away in F1 now, then call 4711.");
    asked.because("R-1 passed its tack life Tue 07:00; it ages while you wait.");
    let kit = out_with(99).cut("N-1", "R-1", "K-1", "Tue 06:30").may(Lay, "K-1", "Tue 07:10");
    kit.answer(Stop).says("Put it away now, then call 4711.");
    let stage = out_with(10).laid("P-1", "R-1", "Tue 08:00").length(2).may(Oven, "P-1", "Fri 08:01");
    stage.answer(Stop).says("Stop. Call 4711.");
    stage.because("P-1 passed its lay-to-cure limit Fri 08:00; it ages while you wait.");
}

#[test]
fn without_a_number_to_call_quality_is_called() {
    let silent = Yard { on_call: None, ..crate::scene::lisbon(0) };
    let scene = out_with(99).declares("yard/YARD", Body::YardDeclared(silent));
    scene.may(Cut, "R-1", "Tue 07:10").says("Put it away in F1 now, then call quality.");
}

#[test]
fn no_where_the_limit_is_over_and_its_clock_stands() {
    let asked = out_with(98).put_away("R-1", "F1", "Tue 09:10").may(Cut, "R-1", "Tue 10:00");
    asked.answer(No).says("Do not use it.").left_is(Tack, "-1:10");
    assert!(asked.0.why.starts_with("R-1 is 1 h 10 min over its tack life."), "{}", asked.0.why);
}

#[test]
fn of_several_words_stop_comes_before_no_before_cannot_say() {
    let stop_and_hold = out_with(99).hold("R-1", "Tue 07:00").may(Cut, "R-1", "Tue 07:10");
    stop_and_hold.answer(Stop);
    let hold_and_missing = Scene::yard().received("R-1", "Mon 06:00").no_opening().hold("R-1", "Tue 07:00");
    hold_and_missing.may(Cut, "R-1", "Tue 07:10").answer(No).because("Held since Tue 07:00: torn bag.");
    let missing_and_late =
        out_with(0).material("PM-9", crate::scene::sheet()).received("R-2", "Mon 06:00").of("PM-9", "B-9");
    missing_and_late.may(Cut, "R-2", "Sat 07:10").answer(Stop);
}

#[test]
fn an_open_mismatch_that_alone_makes_it_no_is_asked_about() {
    // Into F2 on Sunday without a take-out: 144 h out at worst. Carried straight over, it would be none.
    let scene = stored().put_away("R-1", "F2", "Sun 06:00");
    let asked = scene.may(TakeOut, "R-1", "Sun 07:00");
    asked.answer(No).says("Do not use it yet. Was it carried over to F2?");
    assert_eq!(asked.0.ask.as_deref(), Some("Was it carried over to F2?"));
    // Held too, the answer to the question would not help.
    let held = scene.hold("R-1", "Sun 06:30").may(TakeOut, "R-1", "Sun 07:00");
    held.answer(No).says("Do not use it.");
    assert_eq!(held.0.ask, None);
}

#[test]
fn a_kit_asks_about_its_rolls_mismatch_where_that_alone_makes_it_no() {
    let scene =
        stored().put_away("R-1", "F2", "Sun 06:00").out("R-1", "Sun 07:00").cut("N-1", "R-1", "K-1", "Sun 08:00");
    let scene = scene.put_away("K-1", "F2", "Sun 09:00");
    let asked = scene.may(Lay, "K-1", "Sun 10:00");
    asked.answer(No).says("Do not use it yet. Was it carried over to F2?");
}

#[test]
fn a_time_is_written_with_its_day_and_farther_off_with_its_date_and_year() {
    let far = Scene::yard_with_sheet(|sheet| {
        let limit = StatedSeconds::Limit(hours(24 * 300));
        (sheet.tack_life_s, sheet.out_life_s) = (Some(limit.clone()), Some(limit));
    });
    let asked = far.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").may(Cut, "R-1", "Tue 07:00");
    // 300 days after 5 May 2026 would be 1 March 2027; the shelf life ends on 31 January.
    asked.says(
        "Last ply down by Sun 31 Jan 2027 23:59. Heating by Sun 31 Jan 2027 23:59, within 72 h of its first ply.",
    );
}

#[test]
fn what_cannot_be_asked_is_said_in_words() {
    let scene = stored().laid("P-1", "R-1", "Tue 08:00").length(2).laid("P-1/core bond", "R-1", "Tue 09:00").length(2);
    let refused = |act, of: &str| scene.ask(act, of, None, "Tue 10:00").unwrap_err().to_string();
    assert_eq!(refused(Oven, "P-1"), "P-1 has several lay-up stages: skin, core bond. Name one with stage=.");
    assert_eq!(refused(Cut, "P-1"), "P-1 is a part: ask whether it may be laid on or go into the oven.");
    assert_eq!(refused(Lay, "place/F1"), "Only a roll, a kit or a part can be used; place/F1 is a place.");
}

#[test]
fn the_outlooks_say_what_stays_if_it_goes_back_now_or_is_left_out() {
    let mut trolley = crate::scene::place("F3", true);
    trolley.rack_s = Some(600.try_into().unwrap());
    let scene = Scene::yard().declares("place/F3", Body::PlaceDeclared(trolley)).received("R-1", "Mon 06:00");
    let scene = scene.put_away("R-1", "F3", "Mon 06:00").position("A-1").out("R-1", "Tue 06:00");
    let answer = scene.may(Cut, "R-1", "Tue 08:00").0;
    let (away, left_out) = (answer.if_put_away_now.unwrap(), answer.if_left_out.unwrap());
    // 2 h and 10 min of rack time.
    assert_eq!(away.left_s[&Tack], seconds("97:50"));
    assert_eq!((left_out.left_s[&Tack], left_out.ends_at[&Tack].at), (seconds("98:00"), instant("Sat 10:00")));
    assert!(away.ends_at.is_empty());
}

#[test]
fn an_answer_carries_the_log_position_and_the_rules_version() {
    let scene = stored();
    let answer = scene.may(TakeOut, "R-1", "Tue 08:00").0;
    assert_eq!((answer.as_of_seq, answer.rules.as_str()), (scene.entries.len() as u64, domain::RULES));
}

#[test]
fn the_unknown_is_counted_the_unsafe_way_and_answered_at_worst() {
    // Nobody scanned when it came out; it was last known inside on Monday at 06:00.
    let asked = stored().seen("R-1", "CUT", "Tue 08:00").may(Cut, "R-1", "Tue 09:00");
    // 27 h of 100: Monday 06:00 + 100 h.
    asked.answer(Yes).last_ply_by("Fri 10:00").left_is(Tack, "73:00");
    assert_eq!(asked.0.mismatches[0].ask.as_deref(), Some("Since when was R-1 out?"));
}

#[test]
fn a_hold_on_a_stage_follows_only_the_named_plies_and_the_run_it_was_in() {
    let scene = || {
        let scene = stored().stored("R-2", "Mon 06:00").out("R-1", "Tue 06:00").out("R-2", "Tue 06:00");
        let scene = scene.cut_many("N-1", &[("K-1", "J-1", &[("R-1", 2), ("R-2", 2)])], "Tue 07:00");
        scene.laid("P-1", "K-1", "Tue 08:00").items(&["R-1"]).oven("RUN-1", &["P-1"], "Tue 10:00")
    };
    // The run lapsed without a record.
    let may = |on: &str| scene().hold(on, "Wed 08:00").may(Oven, "P-1", "Wed 12:00").0.answer;
    assert_eq!((may("R-2"), may("R-1"), may("RUN-1"), may("P-1"), may("K-1")), (Yes, No, No, No, No));
}

#[test]
fn a_kit_cut_from_a_roll_that_nobody_received_may_not_be_used() {
    let scene = stored().out("R-1", "Tue 06:00");
    let scene = scene.cut_many("N-1", &[("K-1", "J-1", &[("R-1", 2), ("R-9", 2)])], "Tue 07:00");
    let asked = scene.may(Lay, "K-1", "Tue 08:00");
    asked.answer(No).because("R-9, which it was cut from, is not received.");
    let laid = scene.laid("P-1", "K-1", "Tue 09:00").may(Oven, "P-1", "Tue 10:00");
    laid.answer(No).because("R-9, which is laid in it, is not received.");
}

#[test]
fn without_a_declared_yard_no_shelf_life_can_be_said() {
    let scene = Scene::empty().declares("place/F1", Body::PlaceDeclared(crate::scene::place("F1", true)));
    let scene = scene.material("PM-101", crate::scene::sheet()).registered("batch/PM-101/B-1", "2026-01-31");
    let asked = scene.stored("R-1", "Mon 06:00").may(TakeOut, "R-1", "Tue 07:00");
    asked.answer(CannotSay).because("The yard's zone is not declared yet.");
}

#[test]
fn a_job_of_which_nobody_knows_the_plan_makes_no_answer_better() {
    // 100 h of tack life were over on Friday.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").out("R-1", "Mon 07:00").put_away("R-1", "F1", "Sat 06:00");
    scene.may(TakeOut, "R-1", "Sat 08:00").answer(No);
    scene.may_for("J-9", TakeOut, "R-1", "Sat 08:00").answer(No).governed_by(Tack);
    let passed = scene.job("J-1", "Wed 12:00", "Thu 12:00");
    passed.may_for("J-1", TakeOut, "R-1", "Sat 08:00").answer(No).governed_by(Tack);
}
