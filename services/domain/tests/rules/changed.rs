//! What changed between two entries of the log, in words; and the laws of it.

use crate::look::*;
use crate::random::*;
use crate::scene::{Scene, book_of, thing};
use domain::changes::{ChangesQuestion, changes};
use domain::{Book, When, trace};
use proptest::prelude::*;
use shared_types::*;
use std::collections::BTreeSet;

fn between(book: &Book, of: &str, direction: Direction, from: u64, to: u64, at: When) -> Changes {
    let asked = ChangesQuestion { thing: thing(of), direction, from, to, at: at.at, now: at.now };
    changes(book, &asked).unwrap()
}

fn said(scene: &Scene, of: &str, from: u64) -> Vec<String> {
    let to = scene.entries.len() as u64;
    between(&scene.book(), of, Direction::MadeFrom, from, to, when("Fri 00:00")).say
}

/// R-1 cut into K-1, laid in P-1, cured in RUN-1.
fn cured() -> Scene {
    let scene = Scene::yard().job("J-1", "Wed 12:00", "Thu 12:00").stored("R-1", "Mon 06:00");
    let scene = scene.out("R-1", "Tue 06:00").cut("N-1", "R-1", "K-1", "Tue 07:00").named("cut");
    let scene = scene.laid("P-1", "K-1", "Tue 08:00").named("laid").oven("RUN-1", &["P-1"], "Tue 10:00");
    scene.ended("RUN-1", "Tue 20:00").committed("Tue 11:00")
}

#[test]
fn where_nothing_came_between_nothing_changed() {
    let scene = cured();
    let last = scene.entries.len() as u64;
    assert_eq!(
        said(&scene, "P-1", last),
        [format!(
            "Known at entry {last} both times, nothing was written about P-1 or what it is made from, and nothing changed."
        )]
    );
}

#[test]
fn an_installed_part_is_a_new_link_of_its_boat() {
    let scene = cured().installed("P-1", "H-1", "Wed 08:00").named("installed");
    let installed = scene.seq("installed");
    let (book, at) = (scene.book(), when("Fri 00:00"));
    let found = between(&book, "P-1", Direction::WentInto, installed - 1, installed, at);
    assert_eq!(
        found.say,
        [
            format!(
                "Between entry {} and entry {installed}, 1 entry names P-1 or what it went into. This changed:",
                installed - 1
            ),
            format!("New: part P-1 went into boat H-1, entry {installed}."),
        ]
    );
}

#[test]
fn a_struck_lay_up_is_a_link_no_longer() {
    let scene = cured();
    let before = scene.entries.len() as u64;
    let laid = scene.seq("laid");
    let scene = scene.strike("laid", "Wed 08:00");
    let said = said(&scene, "P-1", before);
    assert!(said.contains(&format!("No longer: kit K-1 went into part P-1, skin, entry {laid}.")), "{said:?}");
}

#[test]
fn a_take_out_told_later_changes_what_was_left_at_cure() {
    let scene = cured();
    let before = scene.entries.len() as u64;
    // It had been out since Monday noon: 18 h more at every act.
    let scene = scene.out("R-1", "Mon 12:00").told().recorded("Wed 12:00");
    let said = said(&scene, "P-1", before);
    let oven = said
        .iter()
        .find(|line| line.starts_with("P-1, put into the oven Tue 10:00"))
        .unwrap_or_else(|| panic!("{said:?}"));
    assert!(oven.contains("within every limit both times"), "{oven}");
    // 4 h out by Tue 10:00 of 200 h; with Monday noon 22 h.
    assert!(oven.contains("out-life of R-1: 196 h left, then 178 h left"), "{oven}");
}

#[test]
fn a_hold_is_new_and_a_lifted_one_is_no_longer() {
    let scene = cured();
    let before = scene.entries.len() as u64;
    let held = scene.hold("R-1", "Wed 08:00").named("hold");
    let said_of = |scene: &Scene, from: u64| said(scene, "P-1", from);
    let new = said_of(&held, before);
    assert!(new.iter().any(|line| line.starts_with("New: R-1 held since Wed 08:00 by B-1: ")), "{new:?}");
    let lifted = held.lift("hold", "Wed 09:00");
    let gone = said_of(&lifted, before + 1);
    assert!(gone.iter().any(|line| line.starts_with("No longer: R-1 held since Wed 08:00 by B-1: ")), "{gone:?}");
}

fn links(book: &Book, of: &str, direction: Direction, known: u64, at: When) -> BTreeSet<TraceLink> {
    let traced = trace(book, &thing(of), direction, When { known, ..at });
    traced.into_iter().flat_map(|trace| trace.links).collect()
}

proptest! {
    #![proptest_config(cases(60))]

    #[test]
    fn changes_are_none_to_itself_and_name_every_link_that_is_in_one_only(
        ops in ops(24), from in 0..60_usize, to in 0..60_usize, minute in 0..16_000_i64
    ) {
        let scene = yard(&ops);
        let (book, at, last) = (book_of(&scene.entries), When::now(at_minute(minute)), scene.entries.len());
        let (from, to) = (from.min(to).min(last) as u64, from.max(to).min(last) as u64);
        for name in THINGS.iter().filter(|name| book.label(&thing(name)).is_some()) {
            for direction in [Direction::MadeFrom, Direction::WentInto] {
                let none = between(&book, name, direction, to, to, at);
                prop_assert!(none.entries.is_empty() && none.links_new.is_empty() && none.links_gone.is_empty());
                prop_assert!(none.judged_otherwise.is_empty() && none.holds_new.is_empty() && none.holds_gone.is_empty());
                let found = between(&book, name, direction, from, to, at);
                let (before, after) = (links(&book, name, direction, from, at), links(&book, name, direction, to, at));
                let named = |links: &[TraceLink]| links.iter().cloned().collect::<BTreeSet<_>>();
                prop_assert_eq!(named(&found.links_new), after.difference(&before).cloned().collect());
                prop_assert_eq!(named(&found.links_gone), before.difference(&after).cloned().collect());
                // Every link that is new is said by an entry that came between, or was let in by one.
                prop_assert!(found.links_new.is_empty() || !found.entries.is_empty(), "{:?}", found);
            }
        }
    }
}
