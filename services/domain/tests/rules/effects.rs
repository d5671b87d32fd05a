//! What would change is what does change: an effect says of every thing what its own address answers once the entries
//! are written, and leaves nothing out.

use crate::random::*;
use crate::scene::{Scene, book_of, thing};
use crate::when::instant;
use domain::{Book, When, effect, thing_view};
use proptest::prelude::*;
use shared_types::*;
use std::collections::BTreeMap;

/// Every thing's view but for the position it was asked at.
fn views(book: &Book, at: Instant) -> BTreeMap<ThingName, ThingView> {
    let names = book.labels().map(|label| book.name(label).clone());
    let views = names.filter_map(|name| thing_view(book, &name, When::now(at)));
    views.map(|view| (view.thing.clone(), ThingView { as_of_seq: 0, ..view })).collect()
}

/// The open ones, by name.
fn open(book: &Book, at: Instant) -> BTreeMap<(u64, String, ThingName), Mismatch> {
    let all = domain::mismatches(book, When::now(at)).mismatches;
    all.into_iter().map(|one| ((one.seq, one.kind.clone(), one.thing.clone()), one)).collect()
}

/// Which other roll the sentence of a refused decision proposes is not followed: that may be any roll of the yard.
fn wordless(view: Option<&ThingView>) -> Option<ThingView> {
    let mut view = view.cloned()?;
    let refused = view.mismatches.iter_mut().filter(|one| one.kind == "decision_would_be_refused");
    refused.for_each(|one| one.say.clear());
    Some(view)
}

fn only_in<K: Ord + Clone, V: Clone>(these: &BTreeMap<K, V>, others: &BTreeMap<K, V>) -> Vec<V> {
    these.iter().filter(|(key, _)| !others.contains_key(key)).map(|(_, one)| one.clone()).collect()
}

fn holds(entries: &[Entry], written: usize, at: Instant) -> Result<(), TestCaseError> {
    let (before, after) = (book_of(&entries[..written]), book_of(entries));
    let said = effect(before.clone(), &entries[written..], at);
    let (was, is) = (views(&before, at), views(&after, at));
    // A badge or a place that is mentioned for the first time has nothing to say yet.
    let silent = |name: &ThingName| !was.contains_key(name) && is[name].entries == 0 && is[name].mismatches.is_empty();
    let differs = is.keys().filter(|name| wordless(was.get(*name)) != wordless(is.get(*name)) && !silent(name));
    for name in differs {
        prop_assert!(said.things.iter().any(|change| change.thing == *name), "{name} is left out");
    }
    for change in &said.things {
        prop_assert_ne!(was.get(&change.thing), is.get(&change.thing));
        let before = change.before.clone().map(|view| ThingView { as_of_seq: 0, ..view });
        prop_assert_eq!(before.as_ref(), was.get(&change.thing));
        let answered = thing_view(&after, &change.thing, When::now(at));
        prop_assert_eq!(Some(&change.after), answered.as_ref());
    }
    let (open_before, open_after) = (open(&before, at), open(&after, at));
    prop_assert_eq!(said.mismatches_new, only_in(&open_after, &open_before));
    prop_assert_eq!(said.mismatches_gone, only_in(&open_before, &open_after));
    prop_assert_eq!((said.as_of_seq, said.more_things), (written as u64, 0));
    Ok(())
}

proptest! {
    #![proptest_config(cases(150))]

    #[test]
    fn an_effect_is_what_everything_answers_afterwards(ops in ops(24), cut in 1..6_usize, far in 0..8_usize, minute in 0..16_000_i64) {
        let scene = yard(&ops);
        // Mostly the last few entries; now and then nearly all, so that declarations are among them.
        let cut = if far == 0 { cut * 6 } else { cut };
        holds(&scene.entries, scene.entries.len().saturating_sub(cut), at_minute(minute))?;
    }
}

/// For each act of a thing: it is judged again exactly where the effect of all that was written after it says so. The
/// effect judges every act anew.
fn judged_again_is_what_came_later(entries: &[Entry], at: Instant) -> Result<(), TestCaseError> {
    let book = book_of(entries);
    for name in ["R-1", "R-2", "K-1", "K-2", "P-1"] {
        let Some(view) = thing_view(&book, &thing(name), When::now(at)) else { continue };
        for seq in book.entries_of(&thing(name)) {
            let written = usize::try_from(book.group_end(u32::try_from(seq).unwrap())).unwrap();
            let said = effect(book_of(&entries[..written]), &entries[written..], at);
            let mut by_effect: Vec<String> = Vec::new();
            for one in said.judged_again.iter().filter(|one| one.seq == seq && one.thing == thing(name)) {
                by_effect.push(format!("{:?} {:?} {:?}", one.act, one.before, one.after));
            }
            let own = view.judged_again.iter().filter(|one| one.seq == seq);
            let own: Vec<String> = own.map(|one| format!("{:?} {:?} {:?}", one.act, one.then, one.now)).collect();
            prop_assert_eq!(own, by_effect, "entry {} of {}", seq, name);
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(cases(40))]

    #[test]
    fn an_act_is_judged_again_where_what_came_later_changes_it(ops in ops(20)) {
        judged_again_is_what_came_later(&yard(&ops).entries, at_minute(20_000))?;
    }
}

#[test]
fn a_late_take_out_shows_what_it_takes_from_the_roll_and_from_what_was_laid() {
    // 30 h out before it was cut at Tue 12:00: the kit cut from it, and the act of cutting, are judged with them.
    let scene = Scene::yard()
        .stored("R-1", "Mon 06:00")
        .out("R-1", "Tue 06:00")
        .cut("N-1", "R-1", "K-1", "Tue 12:00")
        .put_away("R-1", "F1", "Mon 16:00")
        .out("R-1", "Mon 10:00");
    let said = effect(
        book_of(&scene.entries[..scene.entries.len() - 2]),
        &scene.entries[scene.entries.len() - 2..],
        instant("Wed 06:00"),
    );
    let changed: Vec<String> = said.things.iter().map(|change| change.thing.to_string()).collect();
    assert_eq!(changed, ["roll/R-1", "kit/K-1"]);
    let left = |view: &ThingView| {
        view.limits.iter().find(|row| row.limit == LimitName::TackLife).and_then(|row| row.left_s).unwrap()
    };
    for change in &said.things {
        assert_eq!(left(change.before.as_ref().unwrap()) - left(&change.after), 6 * 3_600, "{}", change.thing);
    }
    let act = said.judged_again.iter().find(|judged| judged.act == Act::Cut).unwrap();
    assert_eq!((act.thing.clone(), act.seq), (thing("R-1"), scene.entries.len() as u64 - 2));
}
