//! What lies in a stage and nobody knows: laid from a kit whose cut was struck, was never written, or came later. No
//! source: what is not known can't be said, and is counted the unsafe way; hours in the comments.

use crate::look::*;
use crate::scene::{Scene, code, thing};
use shared_types::*;

/// R-1 cut into K-1 and laid in P-1 on Tuesday at 10:00, R-2 laid beside it at 10:30; J-2 makes it.
fn laid_beside() -> Scene {
    let scene = Scene::yard().job_needing("J-2", "PM-101", "Tue 14:00", "Tue 20:00");
    let scene = ["R-1", "R-2"].into_iter().fold(scene, |scene, roll| scene.stored(roll, "Mon 06:00"));
    let scene = scene.out("R-1", "Tue 06:00").out("R-2", "Tue 06:00");
    let scene = scene.cut("N-1", "R-1", "K-1", "Tue 08:00").named("cut");
    scene.laid("P-1", "K-1", "Tue 10:00").named("laid").laid("P-1", "R-2", "Tue 10:30").length(1)
}

const UNKNOWN: &str = "Nobody recorded what was cut into K-1, which is laid in it: record its cut.";

fn cannot_say(scene: &Scene, why: &str) {
    let asked = scene.may(Oven, "P-1", "Tue 12:00");
    asked.answer(CannotSay).because(why);
    assert_eq!((asked.0.heating_by, asked.0.last_ply_by), (None, None));
    let at = when("Tue 12:00");
    let waiting = domain::handover(&scene.book(), at).waiting;
    assert_eq!(waiting.iter().map(|one| one.heating_by).collect::<Vec<_>>(), [None], "{waiting:?}");
    let question = domain::WarningsQuestion { within_h: 200, ..domain::WarningsQuestion::usual(at) };
    let warnings = domain::warnings(&scene.book(), &question).warnings;
    let plan = warnings.iter().find(|one| one.thing == thing("P-1") && one.about == WarningAbout::MissesOven);
    assert!(plan.is_some_and(|one| one.say.contains("can't be said")), "{warnings:#?}");
    let cured = scene.clone().oven("RUN-1", &["P-1"], "Tue 13:00").ended("RUN-1", "Tue 20:00").committed("Tue 15:00");
    let install = domain::may_install(&cured.book(), &thing("P-1"), None, when("Wed 12:00")).unwrap();
    assert_eq!(install.answer, CannotSay, "{install:?}");
}

#[test]
fn what_is_known_of_all_plies_can_be_said() {
    // Laid 2 h, out 6 h: all of it within its limits.
    laid_beside().may(Oven, "P-1", "Tue 12:00").answer(Yes).left_is(ToCure, "70:00").left_is(Out, "194:00");
}

#[test]
fn a_kit_whose_cut_was_struck_leaves_nothing_to_say_of_its_stage() {
    cannot_say(&laid_beside().strike("cut", "Tue 11:00"), UNKNOWN);
}

#[test]
fn so_does_a_kit_that_nobody_cut_also_where_nothing_else_is_laid() {
    let alone = Scene::yard().job("J-2", "Tue 14:00", "Tue 20:00").laid("P-1", "K-1", "Tue 10:00");
    cannot_say(&alone, UNKNOWN);
    // It lies there: since 10:00, and not nothing.
    alone.look("P-1", "Tue 12:00").says("P-1: lay-up since Tue 10:00.").mismatches_are(&["laid_not_in_kit"]);
    alone.may(Oven, "P-1", "Tue 09:59").answer(No);
}

#[test]
fn and_one_that_was_cut_only_after_it_was_laid() {
    let scene = laid_beside().strike("cut", "Tue 11:00").cut("N-2", "R-1", "K-1", "Tue 10:01");
    cannot_say(&scene, "Nobody recorded when R-1 was cut into the kit it was laid from.");
    // Cut by then, it can be said again.
    laid_beside()
        .strike("cut", "Tue 11:00")
        .cut("N-2", "R-1", "K-1", "Tue 10:00")
        .may(Oven, "P-1", "Tue 12:00")
        .answer(Yes);
}

#[test]
fn a_roll_named_that_was_never_cut_into_the_kit_can_t_be_said_at_its_install_either() {
    let scene =
        Scene::yard().job("J-2", "Tue 14:00", "Tue 20:00").stored("R-1", "Mon 06:00").stored("R-2", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00");
    let scene = scene.laid("P-1", "K-1", "Tue 10:00").items(&["R-1", "R-2"]);
    cannot_say(&scene, "Nobody recorded when R-2 was cut into the kit it was laid from.");
}

#[test]
fn what_is_laid_with_it_waits_from_the_first_ply_of_what_nobody_knows() {
    // It may be of the same material: since 10:00, not since 10:30.
    let scene = laid_beside().strike("cut", "Tue 11:00");
    assert_eq!(scene.look("P-1", "Tue 12:00").stage_row("skin", ToCure).so_far_s, Some(7_200));
    // Asked for the job, R-2 would wait from there as well: 72 h from Tue 10:00, and the oven is planned for Fri 12:00.
    let late = scene.replan("J-2", "Tue 14:00", "Fri 12:00", "Tue 11:30");
    late.may_for("J-2", Lay, "R-2", "Tue 12:00").answer(No).because(
        "If its first ply went down now, the oven for J-2, planned Fri 12:00, would come 2 h too late for its lay-to-cure limit. Put it away: 94 h kept.",
    );
}

#[test]
fn a_hold_on_the_kit_holds_what_was_laid_from_it() {
    let scene = laid_beside().strike("cut", "Tue 11:00").hold("K-1", "Tue 11:30");
    assert_eq!(scene.may(Oven, "P-1", "Tue 12:00").answer(No).0.holds.len(), 1);
}

#[test]
fn a_start_that_is_not_sure_runs_every_limit_to_its_latest_instant() {
    // Scanned at 12:00 and off by 30 min: at 12:10 it may not be in yet, and all of it runs.
    let scene = laid_beside().oven("RUN-1", &["P-1"], "Tue 12:00").uncertain(30);
    let row = |limit, at: &str| scene.look("P-1", at).stage_row("skin", limit);
    for limit in [Out, ToCure] {
        assert!(row(limit, "Tue 12:10").runs && !row(limit, "Tue 12:30").runs, "{limit:?}");
    }
    assert_eq!(row(ToCure, "Tue 12:10").ends_at.map(|at| at.at), Some(crate::when::instant("Fri 10:00")));
    assert_eq!(row(ToCure, "Tue 13:00").so_far_s, Some(9_000)); // 10:00 to 12:30
}

/// Whether all that was laid in P-1 by an instant was cut into its kit before.
pub fn all_plies_are_known(scene: &Scene, at: Instant) -> bool {
    let stands = |entry: &&Entry| scene.entries.iter().all(|other| other.strikes != Some(entry.id));
    let cut_into = |kit: &Code, by: Instant| -> Vec<Code> {
        let cuts = scene.entries.iter().filter(stands).filter(|cut| cut.occurred_at.at <= by);
        let kits = cuts.flat_map(|cut| if let Body::NestCut(cut) = &cut.body { cut.kits.clone() } else { Vec::new() });
        kits.filter(|one| one.kit == *kit).flat_map(|one| one.items).map(|item| item.roll).collect()
    };
    scene.entries.iter().filter(stands).filter(|laid| laid.occurred_at.at <= at).all(|entry| match &entry.body {
        Body::PliesLaid(laid) if laid.from.kind() == Kind::Kit => {
            let held = cut_into(&code(laid.from.code()), entry.occurred_at.at);
            !held.is_empty() && laid.items.iter().flatten().all(|roll| held.contains(roll))
        }
        _ => true,
    })
}

#[test]
fn what_was_laid_before_its_kit_was_cut_may_be_of_any_material() {
    // PM-102 laid at 10:00 from a kit that was cut at 10:01; J-2 wants PM-101 heated 72 h and more after that.
    let scene = Scene::yard().material("PM-102", crate::scene::sheet()).registered("batch/PM-102/B-1", "2026-01-31");
    let scene = scene.job_needing("J-2", "PM-101", "Tue 14:00", "Fri 10:30").stored("R-1", "Mon 06:00");
    let scene = scene.received("R-2", "Mon 06:00").of("PM-102", "B-1").put_away("R-2", "F1", "Mon 06:00");
    let scene = scene.out("R-2", "Tue 06:00").laid("P-2", "K-1", "Tue 10:00").named("laid");
    let scene = scene.change(|entry| entry.thing = thing("P-1")).cut("N-1", "R-2", "K-1", "Tue 10:01");
    scene.may_for("J-2", Cut, "R-1", "Tue 12:00").answer(No).governed_by(ToCure);
    scene.strike("laid", "Tue 11:00").may_for("J-2", Cut, "R-1", "Tue 12:00").answer(Yes);
}
