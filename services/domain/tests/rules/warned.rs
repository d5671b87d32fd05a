//! Warnings: who has to do what by when. Times are worked out by hand; the yard is in Lisbon, Monday is 4 May 2026.

use crate::look::*;
use crate::random::{at_minute, cases, ops, yard};
use crate::scene::{Scene, code, lisbon};
use crate::when::instant;
use domain::say::Dates;
use domain::{WarningsQuestion, runs_out, warnings};
use proptest::prelude::*;
use shared_types::{Body, ClockTime, Code, Day, Warning, WarningAbout::*, WarningAct::*, WarningWho, Weekday, Yard};

/// Eighty hours ahead, so that of what is out since Tuesday only the tack life is near.
fn asked(scene: &Scene, at: &str) -> Vec<Warning> {
    warnings(&scene.book(), &WarningsQuestion { within_h: 80, ..WarningsQuestion::usual(when(at)) }).warnings
}

fn said(scene: &Scene, at: &str) -> Vec<String> {
    asked(scene, at).into_iter().map(|one| one.say).collect()
}

/// Closed at weekends and on these days; worked from 06:00 to 22:00.
fn closing(spare_h: u64, closed_on: &[&str]) -> Yard {
    Yard {
        closed_weekdays: vec![Weekday::Saturday, Weekday::Sunday],
        closed_on: closed_on.iter().map(|day| Day::parse(day).unwrap()).collect(),
        shift_start: Some(ClockTime::parse("06:00").unwrap()),
        shift_end: Some(ClockTime::parse("22:00").unwrap()),
        ..lisbon(spare_h)
    }
}

fn closed_yard(spare_h: u64, closed_on: &[&str]) -> Scene {
    Scene::yard().declares("yard/YARD", Body::YardDeclared(closing(spare_h, closed_on)))
}

/// Out of F1 since Tuesday 06:00: 100 h of tack life end on Saturday at 10:00.
fn out(scene: Scene) -> Scene {
    scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00")
}

#[test]
fn nothing_is_assumed_of_a_yard_that_declared_no_closed_day() {
    let expected = "Clerk: put R-1 away in F1 by Sat 10:00, in 20 h. Its tack life ends then.";
    assert_eq!(said(&out(Scene::yard()), "Fri 14:00"), [expected]);
}

#[test]
fn what_ends_on_a_closed_day_is_to_be_done_by_the_end_of_the_last_open_day() {
    let scene = out(closed_yard(0, &[]));
    let expected = "Clerk: put R-1 away in F1 by Fri 22:00, in 8 h. Its tack life ends Sat 10:00, in 20 h, while the yard is closed.";
    assert_eq!(said(&scene, "Fri 14:00"), [expected]);
    // Friday is a holiday: Thursday 22:00.
    let holiday = out(closed_yard(0, &["2026-05-08"]));
    assert_eq!(asked(&holiday, "Thu 14:00")[0].act_by.at, instant("Thu 22:00"));
    // The whole of May is closed: there is no open day after Thursday 30 April.
    let may = out(closed_yard(0, &["2026-05"]));
    assert_eq!(asked(&may, "Thu 14:00")[0].act_by.at, crate::when::instant("2026-04-30T22:00:00+01:00"));
    assert!(said(&may, "Thu 14:00")[0].contains("now; it was to be done by Thu 30 Apr 22:00"));
}

#[test]
fn what_ends_before_the_yard_opens_again_is_to_be_done_the_evening_before() {
    // 100 h from Tuesday 00:30: Saturday 04:30, on a yard that works on Saturdays too.
    let weekdays = vec![Weekday::Sunday];
    let declared = Yard { closed_weekdays: weekdays, ..closing(0, &[]) };
    let scene = Scene::yard().declares("yard/YARD", Body::YardDeclared(declared));
    let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 00:30");
    assert_eq!(asked(&scene, "Fri 14:00")[0].act_by.at, instant("Fri 22:00"));
}

#[test]
fn a_night_shift_ends_on_the_next_day() {
    let (start, end) = (ClockTime::parse("22:00").unwrap(), ClockTime::parse("06:00").unwrap());
    let declared = Yard { shift_start: Some(start), shift_end: Some(end), ..closing(0, &[]) };
    let scene = Scene::yard().declares("yard/YARD", Body::YardDeclared(declared));
    // Friday's shift is there until Saturday 06:00; the tack life ends at 10:00.
    assert_eq!(asked(&out(scene), "Fri 14:00")[0].act_by.at, instant("Sat 06:00"));
}

#[test]
fn a_horizon_runs_over_closed_days() {
    // On Thursday at 22:00 the weekend's end of tack life is 36 h away, the act only 24 h.
    let ask = |scene: Scene, within_h| {
        let question = WarningsQuestion { within_h, ..WarningsQuestion::usual(when("Thu 22:00")) };
        warnings(&scene.book(), &question).warnings.len()
    };
    assert_eq!((ask(out(closed_yard(0, &[])), 24), ask(out(closed_yard(0, &[])), 23)), (1, 0));
    assert_eq!((ask(out(Scene::yard()), 36), ask(out(Scene::yard()), 35)), (1, 0));
}

#[test]
fn spare_time_is_taken_off_the_act_and_not_off_the_limit() {
    let scene = out(Scene::yard_with_spare(2));
    let expected =
        "Clerk: put R-1 away in F1 by Sat 08:00, in 18 h. Its tack life ends Sat 10:00, in 20 h; 2 h is spare time.";
    assert_eq!(said(&scene, "Fri 14:00"), [expected]);
}

#[test]
fn what_is_over_is_said_with_since_when() {
    let expected = "Clerk: put R-1 away in F1 now, then call 4711. It is 1 min over its tack life, since Sat 10:00.";
    assert_eq!(said(&out(Scene::yard()), "Sat 10:00:01"), [expected]);
    // Put away too late, its clock stands since then: somebody has to say what becomes of it.
    let stands = out(Scene::yard()).put_away("R-1", "F1", "Sat 11:00");
    let expected = "Quality: say what becomes of R-1. It is 1 h over its tack life, since Sat 10:00.";
    assert_eq!(said(&stands, "Sat 13:00"), [expected]);
    // Its card said 150 h when it came, of 100: it is over by all of that, and not only by what came since.
    let came_over = Scene::yard().received("R-1", "Mon 06:00").opening(150, 0);
    let expected = "Clerk: put R-1 away now, then call 4711. It is 51 h over its tack life, since Mon 06:00.";
    assert_eq!(said(&came_over, "Mon 07:00")[0], expected);
}

#[test]
fn what_is_kept_and_read_later_has_full_dates_and_says_no_time_that_is_left() {
    let kept = |at: &str| {
        let asked = WarningsQuestion { within_h: 80, dates: Dates::Full, ..WarningsQuestion::usual(when(at)) };
        warnings(&out(Scene::yard_with_spare(2)).book(), &asked).warnings.remove(0).say
    };
    let ahead = "Clerk: put R-1 away in F1 by Sat 9 May 2026 08:00. Its tack life ends Sat 9 May 2026 10:00; 2 h is \
                 spare time. Said Fri 8 May 2026 14:00.";
    assert_eq!(kept("Fri 14:00"), ahead);
    let over = "Clerk: put R-1 away in F1 now, then call 4711. It is over its tack life, since Sat 9 May 2026 10:00. Said \
                Sat 9 May 2026 11:00.";
    assert_eq!(kept("Sat 11:00"), over);
}

#[test]
fn a_put_away_that_was_only_told_does_not_stop_the_warning() {
    let scene = out(Scene::yard()).put_away("R-1", "F1", "Thu 10:00").told();
    let expected = "Clerk: put R-1 away in F1 by Sat 10:00, in 20 h. Its tack life ends then. B-1 told that it was put \
                    away Thu 10:00: scan it where it lies now; that counts at once.";
    assert_eq!(said(&scene, "Fri 14:00"), [expected]);
    // Taken out since, it does not lie there.
    let again = scene.clone().out("R-1", "Thu 11:00");
    assert_eq!(
        said(&again, "Fri 14:00"),
        ["Clerk: put R-1 away in F1 by Sat 10:00, in 20 h. Its tack life ends then."]
    );
    assert_eq!(said(&scene.named("told").confirm("told", "Fri 13:00").by("B-2"), "Fri 14:00"), Vec::<String>::new());
}

#[test]
fn there_is_nothing_to_warn_of_where_everything_is_cold() {
    assert_eq!(said(&Scene::yard().stored("R-1", "Mon 06:00"), "Fri 14:00"), Vec::<String>::new());
    assert_eq!(said(&Scene::empty(), "Fri 14:00"), Vec::<String>::new());
}

#[test]
fn a_shelf_life_is_warned_of_eight_weeks_ahead_because_a_retest_takes_weeks() {
    // Made 31 January 2026, 12 months: its last day is 31 January 2027.
    let scene = Scene::yard().stored("R-1", "Mon 06:00");
    let eight_weeks = "2026-12-06T23:59:59.999+00:00";
    assert_eq!(asked(&scene, "2026-12-06T23:59:59.998+00:00").len(), 0);
    let expected = "Quality: have batch B-1 of PM-101 tested again by Sun 31 Jan 2027 23:59, in 56 days, or have \
                    R-1 planned first. Its shelf life ends then.";
    assert_eq!(said(&scene, eight_weeks), [expected]);
    let late = asked(&scene, "2027-01-20T12:00:00+00:00").remove(0);
    assert_eq!((late.who, late.act), (WarningWho::Manager, PlanFirst));
}

#[test]
fn what_is_given_to_a_job_is_to_be_laid_for_it() {
    let scene = out(Scene::yard().job("J-1", "Thu 12:00", "Fri 12:00")).issued("R-1", "J-1", "Tue 07:00");
    let expected = "Laminator: lay R-1 for J-1 by Sat 10:00, in 70 h; else put it away. Its tack life ends then.";
    assert_eq!(said(&scene, "Wed 12:00"), [expected]);
}

#[test]
fn what_one_more_return_to_the_cold_ends_is_not_to_be_put_away() {
    let given = |allowed: u32| {
        let scene = Scene::yard_with_sheet(|sheet| {
            let limit = shared_types::RefreezesLimit { allowed, after_s: None };
            sheet.refreezes = Some(shared_types::Refreezes::Limit(limit));
        });
        out(scene.job("J-1", "Thu 12:00", "Fri 12:00"))
    };
    let first = |scene: Scene, at: &str| {
        let one = asked(&scene, at).into_iter().find(|one| one.about == LimitEnds).unwrap();
        (one.who, one.act, one.say)
    };
    assert_eq!(first(given(1), "Fri 14:00").1, PutAway);
    let plan = "Manager: plan R-1 first, by Sat 10:00, in 20 h. Its tack life ends then. Another return to the cold \
                ends its use.";
    assert_eq!(first(given(0), "Fri 14:00"), (WarningWho::Manager, PlanFirst, plan.to_owned()));
    let over = "Quality: say what becomes of R-1. It is 1 h over its tack life, since Sat 10:00. Another return to the \
                cold ends its use.";
    assert_eq!(first(given(0), "Sat 11:00"), (WarningWho::Quality, Decide, over.to_owned()));
    let lay = "Laminator: lay R-1 for J-1 by Sat 10:00, in 70 h. Its tack life ends then. Another return to the cold \
               ends its use.";
    let issued = given(0).issued("R-1", "J-1", "Tue 07:00");
    assert_eq!(first(issued, "Wed 12:00"), (WarningWho::Laminator, shared_types::WarningAct::Lay, lay.to_owned()));
}

#[test]
fn a_laid_stage_has_to_be_heating() {
    let scene = out(Scene::yard()).cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 09:00");
    // 72 h from Tuesday 09:00.
    let expected = "Oven: have P-1 skin heating by Fri 09:00, in 21 h. Its lay-to-cure limit by R-1 ends then.";
    let all = asked(&scene, "Thu 12:00");
    assert_eq!((all[0].say.as_str(), all[0].who, all[0].act), (expected, WarningWho::Oven, Heat));
    let run = scene.oven("RUN-1", &["P-1"], "Thu 13:00");
    let all = asked(&run, "Thu 14:00");
    assert_eq!(all[0].act, ConfirmHeat);
    let expected = "Oven: look by Fri 09:00, in 19 h whether run RUN-1 with P-1 skin really started. If it did not, its \
                    lay-to-cure limit by R-1 ends Fri 09:00.";
    assert_eq!(all[0].say, expected);
}

#[test]
fn what_is_held_is_not_told_to_the_oven_or_the_laminator_but_to_quality() {
    let laid = out(Scene::yard()).cut("N-1", "R-1", "K-1", "Tue 08:00").laid("P-1", "K-1", "Tue 09:00");
    let all = asked(&laid.hold("P-1", "Wed 09:00"), "Thu 12:00");
    let expected = "Quality: say by Fri 09:00, in 21 h whether P-1 skin may be cured. Held since Wed 09:00: torn bag. Its \
                    lay-to-cure limit by R-1 ends then. It ages while you wait.";
    assert_eq!((all[0].say.as_str(), all[0].who, all[0].act), (expected, WarningWho::Quality, Decide));
    let given = out(Scene::yard().job("J-1", "Thu 12:00", "Fri 12:00")).issued("R-1", "J-1", "Tue 07:00");
    let all = asked(&given.hold("R-1", "Wed 09:00"), "Wed 12:00");
    let tack = all.into_iter().find(|one| one.about == LimitEnds).unwrap();
    assert_eq!((tack.who, tack.act), (WarningWho::Clerk, PutAway));
    assert!(
        tack.say.ends_with("Quality has to say first whether it may be laid. Held since Wed 09:00: torn bag."),
        "{}",
        tack.say
    );
}

/// Of the plan only.
fn plans(scene: &Scene, at: &str) -> Vec<Warning> {
    asked(scene, at).into_iter().filter(|one| one.about != LimitEnds).collect()
}

#[test]
fn a_plan_that_fits_to_the_millisecond_is_kept_and_one_more_is_too_late() {
    let job =
        |lay_at: &str| out(Scene::yard_with_spare(2).job("J-1", lay_at, "Sun 12:00")).issued("R-1", "J-1", "Tue 07:00");
    // Its tack life ends on Saturday at 10:00, and 2 h are spare.
    assert_eq!(plans(&job("Sat 08:00"), "Wed 12:00"), []);
    let late = plans(&job("Sat 08:00:00.001"), "Wed 12:00").remove(0);
    assert_eq!((late.about, late.who, late.act), (MissesLayUp, WarningWho::Clerk, PutAway));
    assert_eq!(
        late.say,
        "Clerk: put R-1 away by Sat 08:00, in 68 h, and take it out again for J-1. Left out it will not \
        make the lay-up, planned Sat 08:00. 70 h of tack life left; the last ply of J-1 is planned in 68 h, and 2 h of spare time comes on top."
    );
    assert_eq!((late.ends_at.at, late.act_by.at), (instant("Sat 10:00"), instant("Sat 08:00")));
}

#[test]
fn what_stands_in_the_cold_has_to_make_it_from_its_lay_up_on() {
    // Of 190 h that it was out, its tack life allows 100: putting it away saves nothing.
    let job = |oven_at: &str| {
        let scene = Scene::yard().job("J-1", "Thu 12:00", oven_at).received("R-1", "Mon 06:00").opening(190, 0);
        let scene = scene.put_away("R-1", "F1", "Mon 06:00");
        scene.issued("R-1", "J-1", "Tue 07:00")
    };
    let late = plans(&job("Thu 18:00"), "Wed 12:00").remove(0);
    assert_eq!((late.who, late.act, late.act_by.at <= instant("Thu 12:00")), (WarningWho::Manager, Replan, true));
    assert!(late.say.starts_with("Manager: plan J-1 again or give it another roll,"), "{}", late.say);
    // With 50 h used, 150 h of out-life are left, which end 150 h after it is taken out for the lay-up on Thursday 12:00.
    let fresh = |oven_at: &str| {
        let scene = Scene::yard_with_sheet(|sheet| {
            sheet.lay_to_cure =
                Some(shared_types::LayToCure::None(shared_types::NoneBy { none_by: "sheet".to_owned() }));
        });
        let scene = scene.job("J-1", "Thu 12:00", oven_at).received("R-1", "Mon 06:00").opening(50, 0);
        scene.put_away("R-1", "F1", "Mon 06:00").issued("R-1", "J-1", "Tue 07:00")
    };
    assert_eq!(plans(&fresh("Wed+1 18:00"), "Wed 12:00"), []);
    let late = plans(&fresh("Wed+1 18:00:00.001"), "Wed 12:00").remove(0);
    assert_eq!((late.about, late.ends_at.at), (MissesOven, instant("Wed+1 18:00")));
    assert!(late.say.contains("Taken out only for its lay-up: 150 h of out-life left"), "{}", late.say);
}

#[test]
fn a_held_roll_does_not_make_its_lay_up_until_quality_decides() {
    let scene = Scene::yard().job("J-1", "Thu 12:00", "Fri 12:00").stored("R-1", "Mon 06:00");
    let scene = scene.issued("R-1", "J-1", "Tue 07:00").hold("R-1", "Tue 08:00").named("hold");
    let expected = "Quality: decide by Thu 12:00, in 24 h. R-1 will not make the lay-up of J-1, planned Thu 12:00. Held \
                    since Tue 08:00: torn bag.";
    assert_eq!(said(&scene, "Wed 12:00"), [expected]);
    assert_eq!(said(&scene.lift("hold", "Tue 09:00").second("B-2"), "Wed 12:00"), Vec::<String>::new());
}

#[test]
fn a_planned_time_that_passed_undone_is_no_plan() {
    let scene = Scene::yard().job("J-1", "Thu 12:00", "Fri 12:00");
    assert_eq!(said(&scene, "Thu 12:00"), Vec::<String>::new());
    let expected = "Manager: plan J-1 again. Its lay-up was planned Thu 12:00, and P-1 (skin) is in no oven.";
    assert_eq!(said(&scene, "Thu 12:01"), [expected]);
    assert!(said(&scene, "Fri 12:01")[0].contains("Its oven start was planned Fri 12:00"));
}

#[test]
fn warnings_are_of_one_job_or_material_where_that_is_asked() {
    let scene = out(Scene::yard().job("J-1", "Thu 12:00", "Fri 12:00")).issued("R-1", "J-1", "Tue 07:00");
    let scene = scene.stored("R-2", "Mon 06:00").out("R-2", "Tue 06:00");
    let things = |job: Option<&str>, material: Option<&str>| {
        let (job, material): (Option<Code>, Option<Code>) = (job.map(code), material.map(code));
        let question = WarningsQuestion { job, material, ..WarningsQuestion::usual(when("Wed 12:00")) };
        let all = warnings(&scene.book(), &question).warnings;
        all.into_iter().map(|one| one.thing.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(things(None, None), ["roll/R-1", "roll/R-2"]);
    assert_eq!(things(Some("J-1"), None), ["roll/R-1"]);
    assert_eq!(things(None, Some("PM-101")), ["roll/R-1", "roll/R-2"]);
    assert_eq!(things(None, Some("PM-7")), Vec::<String>::new());
}

proptest! {
    #![proptest_config(cases(60))]

    /// Whatever happened, an act is never asked for after the end of its limit; each warning has a name of its own; and
    /// what runs out is warned of.
    #[test]
    fn an_act_is_never_asked_for_after_its_limit_has_ended(ops in ops(24), minute in 0..12_000_i64, closed in any::<bool>()) {
        let mut scene = yard(&ops);
        if closed {
            scene = scene.declares("yard/YARD", Body::YardDeclared(closing(1, &["2026-05-07"])));
        }
        let (book, when) = (scene.book(), domain::When::now(at_minute(minute)));
        let question = WarningsQuestion { within_h: 150, shelf_within_h: 150, ..WarningsQuestion::usual(when) };
        let all = warnings(&book, &question).warnings;
        for one in &all {
            prop_assert!(one.act_by.at <= one.ends_at.at, "{one:?}");
            prop_assert!(!one.say.is_empty() && one.say.ends_with('.'), "{}", one.say);
        }
        let names: std::collections::BTreeSet<&str> = all.iter().map(|one| one.name.as_str()).collect();
        prop_assert_eq!(names.len(), all.len(), "{:?}", all);
        let of_limits = |one: &&Warning| one.about == LimitEnds;
        for line in runs_out(&book, 150, when).lines {
            let same = |one: &&Warning| (&one.thing, &one.stage, one.limit) == (&line.thing, &line.stage, Some(line.limit));
            let warned: Vec<&Warning> = all.iter().filter(of_limits).filter(same).collect();
            prop_assert_eq!(warned.len(), 1, "{:?}", line);
            prop_assert!(warned.iter().all(|one| (one.ends_at, one.left_s, one.runs) == (line.ends_at, line.left_s, line.runs)));
        }
        // In a yard that is always open and keeps no time spare nothing else is warned of.
        if !closed {
            prop_assert_eq!(all.iter().filter(of_limits).count(), runs_out(&book, 150, when).lines.len());
        }
    }
}
