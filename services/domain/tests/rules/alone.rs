//! Ways round the second person: what carries the limits can't be taken away, nor set anew, by one alone.

use crate::scene::{Scene, sheet, thing};
use crate::when::instant;
use crate::wishing::Asking;
use domain::Refusal;
use shared_types::*;

fn stored() -> Scene {
    Scene::yard().stored("R-1", "Mon 06:00")
}

#[track_caller]
fn needs_two(asked: &Asking<'_>, words: &str) {
    match asked.refusal() {
        Refusal::NeedsSecondPerson { gives_back, .. } => {
            assert!(gives_back.iter().any(|one| one.contains(words)), "{gives_back:#?}");
        }
        other => panic!("{other:?}"),
    }
}

const WITHOUT_IT: &str = "would be judged without it";

#[test]
fn a_receipt_is_not_struck_by_one_alone_to_be_written_anew() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").named("receipt").put_away("R-1", "F1", "Mon 07:00");
    needs_two(&scene.wish_strike("receipt").at("Tue 10:00"), WITHOUT_IT);
    scene.wish_strike("receipt").at("Tue 10:00").second("B-2").is_granted();
}

#[test]
fn of_a_roll_that_nobody_received_nothing_is_struck_by_one_alone() {
    let scene = Scene::yard().out("R-9", "Mon 06:00").named("out");
    needs_two(&scene.wish_strike("out").at("Tue 10:00"), WITHOUT_IT);
}

#[test]
fn a_cut_a_lay_up_and_a_completed_lay_up_are_not_struck_by_one_alone() {
    let scene = stored().out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 08:00").named("cut");
    let scene = scene.laid("P-1", "K-1", "Tue 09:00").named("laid").completed("P-1", "Tue 10:00").named("done");
    for entry in ["cut", "laid", "done"] {
        needs_two(&scene.wish_strike(entry).at("Tue 12:00"), WITHOUT_IT);
    }
    // Neither is what stands instead, when it is about another part.
    let other = scene.clone().laid("P-2", "K-1", "Tue 11:00").with_id(5_000);
    needs_two(&scene.wish_strike("laid").at("Tue 12:00").instead(&other), WITHOUT_IT);
}

#[test]
fn a_batchs_dates_and_a_revisions_limits_are_not_struck_by_one_alone() {
    let scene = stored().out("R-1", "Tue 06:00");
    let of = |kind: &str| {
        let entries = &scene.entries;
        entries
            .iter()
            .find(|entry| entry.body.plain_kind() == kind)
            .map(|entry| (entry.id, entry.thing.clone()))
            .unwrap()
    };
    for kind in ["batch_registered", "material_revised", "yard_declared"] {
        let (id, about) = of(kind);
        let asked = scene.wish(&about.to_string(), Body::EntryStruck(Strike { why: "wrong".into(), instead: None }));
        needs_two(&asked.striking(id.as_u128()).at("Tue 10:00"), WITHOUT_IT);
    }
}

#[test]
fn dates_and_limits_that_rolls_already_stand_on_are_not_stated_by_one_alone() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").of("PM-7", "B-7");
    let batch = Body::BatchRegistered(Batch { made_on: Day::parse("2026-01").unwrap(), certificate_ends: None });
    let refused = scene.wish("batch/PM-7/B-7", batch.clone()).at("Tue 10:00");
    needs_two(&refused, "Rolls of batch B-7, whose dates nobody knew, could be used");
    let limits = scene.wish("material/PM-7", Body::MaterialRevised(sheet())).at("Tue 10:00");
    needs_two(&limits, "Rolls of PM-7 revision");
    // Before any roll came, one person enters them.
    let empty = Scene::yard();
    empty.wish("batch/PM-7/B-7", batch).at("Tue 10:00").is_granted();
    empty.wish("material/PM-7", Body::MaterialRevised(sheet())).at("Tue 10:00").is_granted();
}

#[test]
fn a_take_out_dated_a_little_ahead_is_not_struck_before_its_time_by_one_alone() {
    let scene = stored().out("R-1", "Tue 10:10").named("out");
    needs_two(&scene.wish_strike("out").at("Tue 10:00"), "R-1 gets back");
}

#[test]
fn what_is_no_question_of_place_is_settled_in_words_and_by_two() {
    let scene = Scene::yard().received("R-1", "Mon 06:00").opening(158, 0).put_away("R-1", "F1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 10:00").named("cut");
    let nonsense = || Settlement::AssignedS(Seconds::try_from(0).unwrap());
    let id = scene.id("cut");
    let settle = |why: Option<&str>| {
        let mismatch = MismatchName { kind: "limit_over_at_act".into(), entry: id };
        Body::MismatchSettled(Settle { mismatch, answer: nonsense(), why: why.map(str::to_owned) })
    };
    scene
        .wish("roll/R-1", settle(None))
        .at("Wed 10:00")
        .second("B-2")
        .is_refused("Say why it is settled: a limit that was over when it was used.");
    needs_two(
        &scene.wish("roll/R-1", settle(Some("concession 7"))).at("Wed 10:00"),
        "R-1 would no longer show a limit that was over when it was used",
    );
    scene.wish("roll/R-1", settle(Some("concession 7"))).at("Wed 10:00").second("B-2").is_granted();
}

#[test]
fn a_commit_later_than_the_chart_was_read_confirms_nothing() {
    let scene = stored().out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 08:00").oven("RUN-1", &["P-1"], "Tue 12:00");
    let scene = scene.ended("RUN-1", "Tue 18:00").committed("Fri 12:00");
    let view = domain::thing_view(&scene.book(), &thing("part/P-1"), domain::When::now(instant("Tue 19:00"))).unwrap();
    let confirmed = matches!(view.stages[0].whereabouts, Whereabouts::InRun { confirmed: true, .. });
    assert!(!confirmed, "{:?}", view.stages);
}

#[test]
fn a_part_installed_without_its_cure_or_removed_from_where_it_never_was_does_not_add_up() {
    let scene = stored().out("R-1", "Tue 06:00").laid("P-1", "R-1", "Tue 08:00").installed("P-1", "NB-1", "Tue 10:00");
    let scene = scene.removed("P-1", "NB-2", "Tue 11:00");
    let found = domain::mismatches(&scene.book(), domain::When::now(instant("Tue 19:00"))).mismatches;
    let kinds: Vec<&str> =
        found.iter().filter(|one| one.thing == thing("part/P-1")).map(|one| one.kind.as_str()).collect();
    assert_eq!(kinds, ["installed_not_cured", "removed_not_installed"]);
}
