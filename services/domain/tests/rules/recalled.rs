//! Where all of a batch lies now, and what holds on it would hold.

use crate::look::*;
use crate::scene::{Scene, thing};
use domain::recall::{order, recall, would_hold};
use shared_types::ThingName;
use std::collections::BTreeSet;

/// R-1 cut into K-1 and K-2; K-1 laid in P-1; R-2 in F1; R-3 thrown away.
fn gone_round() -> Scene {
    let scene = Scene::yard().job("J-1", "Wed 12:00", "Thu 12:00");
    let scene = scene.stored("R-1", "Mon 06:00").stored("R-2", "Mon 06:00").stored("R-3", "Mon 06:00");
    let scene =
        scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 07:00").cut("N-2", "R-1", "K-2", "Tue 07:00");
    scene.laid("P-1", "K-1", "Tue 08:00").disposed("R-3", "Tue 09:00")
}

fn listed(scene: &Scene, of: &str) -> Vec<String> {
    let found = recall(&scene.book(), &thing(of), when("Wed 00:00")).unwrap();
    found.items.iter().map(|item| format!("{}: {}", item.place, item.thing.short())).collect()
}

fn says(scene: &Scene, of: &str) -> String {
    recall(&scene.book(), &thing(of), when("Wed 00:00")).unwrap().say
}

fn names(all: &[&str]) -> BTreeSet<ThingName> {
    all.iter().map(|name| thing(name)).collect()
}

#[test]
fn a_batch_is_listed_by_place_with_what_was_made_of_it_and_what_is_gone_last() {
    let list = listed(&gone_round(), "batch/PM-101/B-1");
    assert_eq!(list.first().map(String::as_str), Some("F1: R-2"), "{list:?}");
    // What was laid whole is used up.
    assert_eq!(list[list.len() - 2..], ["thrown away: R-3", "used up: K-1"]);
    assert!(list.contains(&"lay-up: P-1".to_owned()), "{list:?}");
    let everything: BTreeSet<&str> = list.iter().filter_map(|line| line.split(": ").nth(1)).collect();
    assert_eq!(everything, BTreeSet::from(["R-1", "R-2", "R-3", "K-1", "K-2", "P-1"]));
    assert!(recall(&gone_round().book(), &thing("batch/PM-101/B-9"), when("Wed 00:00")).is_none());
}

#[test]
fn a_roll_is_recalled_with_itself_and_without_its_neighbours() {
    let list = listed(&gone_round(), "R-1");
    assert!(
        list.iter().any(|line| line.ends_with(": R-1")) && !list.iter().any(|line| line.ends_with(": R-2")),
        "{list:?}"
    );
}

#[test]
fn the_sentence_counts_what_is_still_here_and_what_of_it_is_held() {
    let scene = Scene::yard().stored("R-1", "Mon 06:00").stored("R-2", "Mon 06:00");
    assert_eq!(says(&scene, "batch/PM-101/B-1"), "2 things of B-1 are still here, and none of them is held.");
    let scene = scene.hold("R-1", "Mon 12:00");
    assert_eq!(says(&scene, "batch/PM-101/B-1"), "2 things of B-1 are still here, 1 of them held.");
    let scene = scene.hold("R-2", "Mon 12:00");
    assert_eq!(says(&scene, "batch/PM-101/B-1"), "2 things of B-1 are still here, and all are held.");
    // A hold on the batch holds both; neither has one of its own.
    let scene = Scene::yard().stored("R-1", "Mon 06:00").hold("batch/PM-101/B-1", "Mon 12:00");
    assert_eq!(says(&scene, "batch/PM-101/B-1"), "1 thing of B-1 is still here, and it is not held.");
    let scene = Scene::yard().stored("R-1", "Mon 06:00").disposed("R-1", "Mon 12:00");
    assert_eq!(says(&scene, "batch/PM-101/B-1"), "Nothing of B-1 is left: all of it is used up or thrown away.");
    assert_eq!(says(&Scene::yard(), "batch/PM-101/B-1"), "The book knows of no roll, kit or part of B-1.");
}

#[test]
fn what_was_made_last_is_held_first() {
    let all = names(&["R-1", "K-1", "P-1", "R-2"]);
    let order: Vec<&str> = order(&all).into_iter().map(ThingName::short).collect();
    assert_eq!(order, ["P-1", "K-1", "R-1", "R-2"]);
}

#[test]
fn the_effect_names_what_is_held_with_it_and_what_is_held_already() {
    let scene = gone_round().hold("R-2", "Tue 10:00");
    let effect = |of: &[&str]| would_hold(&scene.book(), &names(of), when("Wed 00:00"));
    let lifting = "Each hold ends only by lifting, which needs a second person.";
    assert_eq!(
        effect(&["R-1"]),
        ["1 thing would be held: R-1.", "Held with them, as they are made of them: K-2, P-1.", lifting]
    );
    assert_eq!(
        effect(&["R-2", "K-2"]),
        ["2 things would be held: K-2, R-2.", "Held already, and then twice: R-2.", lifting]
    );
    assert_eq!(effect(&[]), ["Nothing is ticked, so nothing would be held."]);
}
