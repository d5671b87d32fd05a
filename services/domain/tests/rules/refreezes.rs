//! Returns to the cold: which count, and how many are allowed.

use crate::look::*;
use crate::scene::Scene;
use crate::when::hours;
use shared_types::{Refreezes, RefreezesLimit};

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

#[test]
fn a_return_counts_after_more_than_thirty_minutes_out() {
    let thirty = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 06:30");
    thirty.look("R-1", "Tue 07:00").returns_are(0);
    let more = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 06:30:00.001");
    more.look("R-1", "Tue 07:00").returns_are(1);
    more.look("R-1", "Tue 06:30").returns_are(0);
}

#[test]
fn the_materials_own_time_counts_instead() {
    let scene = Scene::yard_with_sheet(|sheet| {
        sheet.refreezes = Some(Refreezes::Limit(RefreezesLimit { allowed: 3, after_s: Some(hours(2)) }));
    });
    let scene = scene.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 08:00");
    scene.look("R-1", "Tue 12:00").returns_are(0);
    let scene = scene.out("R-1", "Wed 06:00").put_away("R-1", "F1", "Wed 08:01");
    scene.look("R-1", "Wed 12:00").returns_are(1);
}

#[test]
fn goods_ins_put_away_is_no_return() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").put_away("R-1", "F1", "Mon 09:00");
    scene.look("R-1", "Mon 12:00").out_time_is("3:00").returns_are(0);
}

#[test]
fn the_second_scan_of_in_while_in_is_no_return_and_one_into_another_freezer_is() {
    stored().put_away("R-1", "F1", "Tue 06:00").look("R-1", "Tue 07:00").returns_are(0);
    stored().put_away("R-1", "F2", "Tue 06:00").look("R-1", "Tue 07:00").returns_are(1);
}

#[test]
fn a_returns_stretch_runs_from_the_earliest_to_the_latest() {
    // 07:50 to 08:25 is 35 min, though the scans are 15 min apart.
    let scene = stored().out("R-1", "Tue 08:00").uncertain(10).device("D-1", 1);
    let scene = scene.put_away("R-1", "F1", "Tue 08:15").uncertain(10).device("D-1", 2);
    scene.look("R-1", "Tue 12:00").returns_are(1).out_time_is("0:35");
}

#[test]
fn a_kit_returns_at_once() {
    let scene =
        stored().out("R-1", "Tue 08:00").cut("N-1", "R-1", "K-1", "Tue 08:05").put_away("K-1", "F1", "Tue 08:10");
    scene.look("K-1", "Tue 12:00").returns_are(1).no_mismatch();
    scene.look("R-1", "Tue 12:00").returns_are(0);
}

#[test]
fn a_kits_first_stretch_runs_from_its_rolls_take_out() {
    let sheet = || {
        Scene::yard_with_sheet(|sheet| {
            sheet.refreezes =
                Some(Refreezes::Limit(RefreezesLimit { allowed: 3, after_s: Some(1_800.try_into().unwrap()) }));
        })
    };
    let kit = |out: &str| {
        let scene = sheet().stored("R-1", "Mon 06:00").out("R-1", out);
        scene.cut("N-1", "R-1", "K-1", "Tue 08:00").put_away("K-1", "F1", "Tue 08:10")
    };
    // Since 07:30: 40 min. Since 07:50: 20 min.
    kit("Tue 07:30").look("K-1", "Tue 12:00").returns_are(1);
    kit("Tue 07:50").look("K-1", "Tue 12:00").returns_are(0);
}

#[test]
fn a_kits_count_is_its_rolls_at_the_cut_and_its_own() {
    let scene = stored().out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00").out("R-1", "Wed 06:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Wed 07:00").put_away("K-1", "F1", "Wed 08:00");
    // The roll's return after the cut is not the kit's.
    let scene = scene.put_away("R-1", "F1", "Wed 09:00");
    scene.look("R-1", "Thu 06:00").returns_are(2);
    scene.look("K-1", "Thu 06:00").returns_are(2);
}

#[test]
fn returns_of_the_opening_count() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(0, 2).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00");
    scene.look("R-1", "Tue 12:00").returns_are(3);
}

#[test]
fn the_allowed_count_is_allowed_and_one_more_is_no_at_every_act() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(0, 3).put_away("R-1", "F1", "Mon 06:00");
    for act in [TakeOut, Cut, Lay, Oven] {
        scene.may(act, "R-1", "Tue 05:00").answer(Yes);
    }
    let scene = scene.out("R-1", "Tue 06:00").put_away("R-1", "F1", "Tue 07:00");
    for act in [TakeOut, Cut, Lay, Oven] {
        let asked = scene.may(act, "R-1", "Tue 12:00");
        asked.answer(No).because("R-1 went back into the cold 4 times; 3 are allowed.").governed_by(Returns);
        assert_eq!((asked.row(Returns).allowed, asked.row(Returns).left), (Some(3), Some(-1)));
    }
    // Its clock runs: still no, not stop, for a count does not grow while one waits.
    scene.out("R-1", "Wed 06:00").may(Cut, "R-1", "Wed 07:00").answer(No);
}

#[test]
fn the_outlook_counts_the_return_that_putting_it_away_now_would_be() {
    let out = stored().out("R-1", "Tue 06:00");
    let left = |scene: &Scene, of: &str, at: &str| scene.may(Cut, of, at).0.if_put_away_now.unwrap().refreezes_left;
    assert_eq!(left(&out, "R-1", "Tue 06:30"), Some(3));
    assert_eq!(left(&out, "R-1", "Tue 06:31"), Some(2));
    // Goods-in's put-away will be no return, however late.
    let at_the_dock = Scene::yard().received("R-1", "Mon 06:00");
    assert_eq!(left(&at_the_dock, "R-1", "Mon 09:00"), Some(3));
    // A kit is out since its roll came out.
    let sheet = Scene::yard_with_sheet(|sheet| {
        sheet.refreezes =
            Some(Refreezes::Limit(RefreezesLimit { allowed: 3, after_s: Some(1_800.try_into().unwrap()) }));
    });
    let kit = sheet.stored("R-1", "Mon 06:00").out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 06:25");
    assert_eq!(kit.may(Lay, "K-1", "Tue 06:31").0.if_put_away_now.unwrap().refreezes_left, Some(2));
}

#[test]
fn nobody_is_told_to_put_away_what_one_more_return_to_the_cold_ends() {
    let open = |allowed: u32| {
        let scene = Scene::yard_with_sheet(|sheet| {
            sheet.refreezes = Some(Refreezes::Limit(RefreezesLimit { allowed, after_s: None }));
        });
        let scene = scene.job("J-1", "Sun 12:00", "Sun 14:00");
        scene.received("R-1", "Mon 06:00").opening(0, 1).put_away("R-1", "F1", "Mon 06:00").out("R-1", "Tue 06:00")
    };
    let ends = "Another return to the cold ends its use.";
    let kept = |scene: &Scene| {
        let no = scene.may_for("J-1", Lay, "R-1", "Tue 08:00");
        no.answer(No);
        (no.0.why.contains("Put it away: 98 h kept."), no.0.if_put_away_now, no.0.notes.contains(&ends.to_owned()))
    };
    let (keeps, away, says) = kept(&open(2));
    assert_eq!((keeps, away.unwrap().refreezes_left, says), (true, Some(0), false));
    assert_eq!(kept(&open(1)), (false, None, true));
    // Back within the half hour it is no return.
    assert!(open(1).may(Lay, "R-1", "Tue 06:20").0.if_put_away_now.is_some());
    // Passed its tack life: nobody says that it is to be put away.
    open(2).may(Lay, "R-1", "Sat 11:00").answer(Stop).says("Put it away in F1 now, then call 4711.");
    open(1).may(Lay, "R-1", "Sat 11:00").answer(Stop).says("Stop. Call 4711.").notes(ends);
}
