//! What something is made from, and what it went into.

use crate::look::*;
use crate::scene::{Scene, thing};
use domain::trace;
use shared_types::{Direction, StageName};

/// cut into K-1; R-1's plies laid in P-1's skin, R-2's in P-2; R-3 laid straight into P-1's core bond;
/// P-1 in boat H-1.
fn built() -> Scene {
    let scene = Scene::yard().registered("batch/PM-101/B-2", "2026-01-31").job("J-1", "Wed 12:00", "Thu 12:00");
    let scene = scene.stored("R-1", "Mon 06:00").stored("R-2", "Mon 06:00").stored("R-3", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").out("R-2", "Tue 06:00").out("R-3", "Tue 06:00");
    let scene = scene.cut_many("N-1", &[("K-1", "J-1", &[("R-1", 2), ("R-2", 2)])], "Tue 07:00").named("cut");
    let scene = scene.laid("P-1", "K-1", "Tue 08:00").items(&["R-1"]).named("skin");
    let scene = scene.laid("P-2", "K-1", "Tue 09:00").items(&["R-2"]);
    let scene = scene.laid("P-1/core bond", "R-3", "Tue 10:00").length(2).named("core");
    scene.oven("RUN-1", &["P-1/skin"], "Tue 12:00").installed("P-1", "H-1", "Wed 08:00").named("installed")
}

fn nodes(scene: &Scene, of: &str, direction: Direction, at: &str) -> String {
    let traced = trace(&scene.book(), &thing(of), direction, when(at)).unwrap();
    traced.nodes.iter().map(|node| node.thing.to_string()).collect::<Vec<_>>().join(" ")
}

fn made_from(scene: &Scene, of: &str) -> String {
    nodes(scene, of, Direction::MadeFrom, "Thu 00:00")
}

fn went_into(scene: &Scene, of: &str) -> String {
    nodes(scene, of, Direction::WentInto, "Thu 00:00")
}

#[test]
fn a_boat_is_made_from_its_parts_down_to_the_batches_along_the_named_plies_only() {
    // R-2 shared the kit, but its plies went into P-2.
    assert_eq!(made_from(&built(), "H-1"), "batch/PM-101/B-1 roll/R-1 roll/R-3 kit/K-1 part/P-1");
    assert_eq!(made_from(&built(), "P-2"), "batch/PM-101/B-1 roll/R-2 kit/K-1");
}

#[test]
fn a_kit_is_made_from_all_its_rolls_and_a_roll_from_its_batch() {
    assert_eq!(made_from(&built(), "K-1"), "batch/PM-101/B-1 roll/R-1 roll/R-2");
    assert_eq!(made_from(&built(), "R-1"), "batch/PM-101/B-1");
    assert_eq!(made_from(&built(), "batch/PM-101/B-1"), "");
}

#[test]
fn a_roll_went_into_the_parts_its_named_plies_were_laid_in() {
    assert_eq!(went_into(&built(), "R-1"), "kit/K-1 part/P-1 boat/H-1");
    assert_eq!(went_into(&built(), "R-2"), "kit/K-1 part/P-2");
    assert_eq!(went_into(&built(), "R-3"), "part/P-1 boat/H-1");
}

#[test]
fn a_batch_and_a_material_went_into_everything_made_of_them() {
    let all = "roll/R-1 roll/R-2 roll/R-3 kit/K-1 part/P-1 part/P-2 boat/H-1";
    assert_eq!(went_into(&built(), "batch/PM-101/B-1"), all);
    assert_eq!(went_into(&built(), "PM-101"), format!("batch/PM-101/B-1 batch/PM-101/B-2 {all}"));
    assert_eq!(went_into(&built(), "batch/PM-101/B-2"), "");
}

#[test]
fn a_nest_a_job_and_a_run_are_traced_by_what_they_cut_and_cured() {
    assert_eq!(went_into(&built(), "N-1"), "kit/K-1 part/P-1 part/P-2 boat/H-1");
    assert_eq!(went_into(&built(), "J-1"), "kit/K-1 part/P-1 part/P-2 boat/H-1");
    assert_eq!(made_from(&built(), "N-1"), "batch/PM-101/B-1 roll/R-1 roll/R-2");
    assert_eq!(made_from(&built(), "J-1"), "batch/PM-101/B-1 roll/R-1 roll/R-2");
    // The run cured P-1's skin: not the core bond from R-3.
    assert_eq!(made_from(&built(), "RUN-1"), "batch/PM-101/B-1 roll/R-1 kit/K-1 part/P-1");
    assert_eq!(went_into(&built(), "RUN-1"), "part/P-1 boat/H-1");
}

#[test]
fn each_link_says_from_what_into_what_in_which_stage_and_by_which_entry() {
    let scene = built();
    let traced = trace(&scene.book(), &thing("P-1"), Direction::MadeFrom, when("Thu 00:00")).unwrap();
    let links = traced.links.iter().map(|link| {
        (link.from.to_string(), link.into.to_string(), link.stage.as_ref().map(StageName::as_str), link.seq)
    });
    let links: Vec<_> = links.filter(|(from, _, _, _)| !from.starts_with("batch")).collect();
    let named = |name: &str| scene.seq(name);
    let expected = [
        ("roll/R-1", "kit/K-1", None, named("cut")),
        ("roll/R-3", "part/P-1", Some("core bond"), named("core")),
        ("kit/K-1", "part/P-1", Some("skin"), named("skin")),
    ];
    let expected: Vec<_> =
        expected.map(|(from, into, stage, seq)| (from.to_owned(), into.to_owned(), stage, seq)).into();
    assert_eq!(links, expected);
}

#[test]
fn every_link_joins_nodes_or_the_thing_itself() {
    let scene = built();
    for of in ["H-1", "P-1", "P-2", "K-1", "R-1", "batch/PM-101/B-1", "PM-101", "N-1", "J-1", "RUN-1"] {
        for direction in [Direction::MadeFrom, Direction::WentInto] {
            let traced = trace(&scene.book(), &thing(of), direction, when("Thu 00:00")).unwrap();
            let known = |name: &shared_types::ThingName| {
                *name == traced.thing || traced.nodes.iter().any(|node| node.thing == *name)
            };
            for link in &traced.links {
                assert!(known(&link.from) && known(&link.into), "{of} {direction:?}: {link:?}");
            }
            assert!(traced.nodes.iter().all(|node| node.thing != traced.thing), "{of} is its own node");
        }
    }
}

#[test]
fn a_trace_follows_links_whose_fact_occurred_by_the_time_asked() {
    let scene = built();
    assert_eq!(nodes(&scene, "R-1", Direction::WentInto, "Tue 06:59"), "");
    assert_eq!(nodes(&scene, "R-1", Direction::WentInto, "Tue 07:00"), "kit/K-1");
    assert_eq!(nodes(&scene, "R-1", Direction::WentInto, "Tue 07:59"), "kit/K-1");
    assert_eq!(nodes(&scene, "R-1", Direction::WentInto, "Tue 08:00"), "kit/K-1 part/P-1");
    assert_eq!(nodes(&scene, "P-1", Direction::MadeFrom, "Tue 08:00"), "batch/PM-101/B-1 roll/R-1 kit/K-1");
    assert_eq!(nodes(&scene, "RUN-1", Direction::WentInto, "Tue 11:59"), "");
    assert_eq!(nodes(&scene, "RUN-1", Direction::WentInto, "Tue 12:00"), "part/P-1");
    assert_eq!(nodes(&scene, "R-1", Direction::WentInto, "Wed 07:59"), "kit/K-1 part/P-1");
    assert_eq!(nodes(&scene, "R-1", Direction::WentInto, "Wed 08:00"), "kit/K-1 part/P-1 boat/H-1");
    assert_eq!(nodes(&scene, "H-1", Direction::MadeFrom, "Wed 07:59"), "");
}

#[test]
fn a_removed_part_is_out_of_the_boat() {
    let scene = built().removed("P-1", "H-1", "Wed 12:00");
    assert_eq!(made_from(&scene, "H-1"), "");
    assert_eq!(went_into(&scene, "R-1"), "kit/K-1 part/P-1");
    assert_eq!(nodes(&scene, "R-1", Direction::WentInto, "Wed 11:59"), "kit/K-1 part/P-1 boat/H-1");
    // Installed in another boat it is there.
    let moved = scene.installed("P-1", "H-2", "Wed 13:00");
    assert_eq!((made_from(&moved, "H-1").as_str(), went_into(&moved, "R-3").as_str()), ("", "part/P-1 boat/H-2"));
}

#[test]
fn a_struck_link_is_no_link() {
    let scene = built().strike("skin", "Wed 20:00");
    assert_eq!(went_into(&scene, "R-1"), "kit/K-1");
    assert_eq!(made_from(&scene, "P-1"), "batch/PM-101/B-1 roll/R-3");
}

#[test]
fn a_lay_up_that_names_no_items_used_all_that_the_kit_then_held() {
    let scene = built().laid("P-3", "K-1", "Tue 20:00").cut("N-2", "R-3", "K-1", "Tue 21:00");
    assert_eq!(made_from(&scene, "P-3"), "batch/PM-101/B-1 roll/R-1 roll/R-2 kit/K-1");
    // R-3 was cut into the kit only after that.
    assert_eq!(went_into(&scene, "R-3"), "kit/K-1 part/P-1 boat/H-1");
}

#[test]
fn a_named_roll_that_nobody_cut_into_the_kit_is_traced_all_the_same() {
    let scene = built().laid("P-4", "K-1", "Tue 20:00").items(&["R-3"]);
    assert_eq!(made_from(&scene, "P-4"), "batch/PM-101/B-1 roll/R-3 kit/K-1");
    assert!(went_into(&scene, "R-3").contains("part/P-4"), "{}", went_into(&scene, "R-3"));
    scene.look("P-4", "Wed 00:00").mismatches_are(&["laid_not_in_kit"]);
}
