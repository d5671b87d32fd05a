//! Laws: what holds for every yard, whatever happened in it and in whatever order it was written.

use crate::look::*;
use crate::random::*;
use crate::scene::{Scene, book_of, thing};
use domain::{Book, MayUseQuestion, When};
use proptest::prelude::*;
use serde_json::Value;
use shared_types::*;

/// Everything the book answers about the things of a random yard.
fn answers(book: &Book, when: When) -> Vec<Value> {
    let mut all = Vec::new();
    let mut push = |value: serde_json::Result<Value>| all.push(value.unwrap());
    for name in THINGS.map(thing) {
        push(serde_json::to_value(domain::thing_view(book, &name, when)));
        push(serde_json::to_value(domain::out_time_card(book, &name, when)));
        for direction in [Direction::MadeFrom, Direction::WentInto] {
            push(serde_json::to_value(domain::trace(book, &name, direction, when)));
        }
        for act in [TakeOut, Cut, Lay, Oven] {
            for job in [None, Some(crate::scene::code("J-1"))] {
                let question = MayUseQuestion { thing: name.clone(), act, job, stage: None, when };
                push(serde_json::to_value(domain::may_use(book, &question).map_err(|refused| refused.to_string())));
            }
        }
    }
    push(serde_json::to_value(domain::runs_out(book, 300, when)));
    push(serde_json::to_value(domain::mismatches(book, when)));
    all
}

/// Where two answers part, and what stands there.
fn first_difference(one: &Value, other: &Value) -> Option<String> {
    let below =
        |path: String, one: &Value, other: &Value| first_difference(one, other).map(|rest| format!("{path} {rest}"));
    match (one, other) {
        (Value::Object(fields), Value::Object(others)) if fields.len() == others.len() => {
            fields.iter().find_map(|(key, value)| below(key.clone(), value, others.get(key).unwrap_or(&Value::Null)))
        }
        (Value::Array(items), Value::Array(others)) if items.len() == others.len() => {
            items.iter().zip(others).enumerate().find_map(|(at, (item, other))| below(at.to_string(), item, other))
        }
        _ => (one != other).then(|| format!("{one} / {other}")),
    }
}

/// Takes out what must differ when entries arrive in another order: their numbers, and what was known when.
fn forget_arrival(value: &mut Value) {
    match value {
        Value::Object(fields) => {
            // Of two strikes of one entry the first to arrive stands on the card.
            if fields.get("line").is_some_and(|line| line == "struck") {
                fields.remove("note");
            }
            for key in ["seq", "as_of_seq", "judged_again", "entries"] {
                fields.remove(key);
            }
            fields.values_mut().for_each(forget_arrival);
        }
        Value::Array(items) => {
            items.iter_mut().for_each(forget_arrival);
            if items.iter().any(|item| item.get("entry").is_some() || item.get("from").is_some()) {
                items.sort_by_key(Value::to_string);
            }
        }
        Value::String(text) => {
            if let Some((before, after)) = text.split_once(" entry ") {
                let rest = after.trim_start_matches(|c: char| c.is_ascii_digit());
                *text = format!("{before} entry #{rest}");
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
}

fn at(minute: i64) -> When {
    When::now(at_minute(minute))
}

/// A thing, the word for laying it up, and what each limit has left.
type Standing = (String, Option<Word>, Vec<(LimitName, Option<i64>)>);

/// Seconds left of the limits that nothing told and nobody alone may raise, and the word of the answer.
fn standing(scene: &Scene, minute: i64) -> Vec<Standing> {
    let book = scene.book();
    let when = at(minute);
    let of = |name: &&str| {
        let view = domain::thing_view(&book, &thing(name), when)?;
        let question = MayUseQuestion { thing: thing(name), act: Lay, job: None, stage: None, when };
        let word = domain::may_use(&book, &question).ok().map(|answer| answer.answer);
        let rows = view.limits.into_iter().map(|row| (row.limit, row.left_s.or(row.left)));
        Some(((*name).to_owned(), word, rows.collect()))
    };
    ROLLS.iter().chain(&KITS).filter_map(of).collect()
}

/// Nothing of what stood before has more left now, and no answer moved towards yes.
fn gave_nothing_back(before: &Scene, after: &Scene, minute: i64) -> Result<(), TestCaseError> {
    let after = standing(after, minute);
    for (name, word, rows) in standing(before, minute) {
        let Some((_, new_word, new_rows)) = after.iter().find(|(other, _, _)| *other == name) else { continue };
        prop_assert!(word <= *new_word, "{name} at {minute}: {word:?} became {new_word:?}");
        for (limit, left) in rows {
            let new = new_rows.iter().find(|(other, _)| *other == limit).and_then(|(_, left)| *left);
            if let (Some(left), Some(new)) = (left, new) {
                prop_assert!(new <= left, "{name} {limit:?} at {minute}: {left} became {new}");
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(cases(200))]

    #[test]
    fn the_order_of_arrival_never_matters(ops in ops(24), keys in prop::collection::vec(any::<u32>(), 60), minute in 0..16_000_i64) {
        let scene = yard(&ops);
        // Facts in any order; what acts on an entry after all of them, in any order too.
        let mut shuffled: Vec<(usize, &Entry)> = scene.entries.iter().enumerate().collect();
        shuffled.sort_by_key(|(at, entry)| {
            let strikes_a_strike = matches!(entry.body, Body::EntryStruck(_));
            (acts_on_another(entry), strikes_a_strike, keys[at % keys.len()], *at)
        });
        // A strike of a settlement must come after it, and so must one of a strike: those keep their order.
        let other = book_of(shuffled.into_iter().map(|(_, entry)| entry));
        let (mut here, mut there) = (answers(&scene.book(), at(minute)), answers(&other, at(minute)));
        here.iter_mut().chain(&mut there).for_each(forget_arrival);
        for (one, other) in here.iter().zip(&there) {
            prop_assert_eq!(first_difference(one, other), None);
        }
    }

    #[test]
    fn what_was_known_then_equals_a_book_that_never_got_more(ops in ops(24), cut in 0..40_usize, minute in 0..16_000_i64) {
        let scene = yard(&ops);
        let known = scene.entries.len().saturating_sub(cut);
        let truncated = book_of(&scene.entries[..known]);
        let full = scene.book();
        let when = When { known: known as u64, ..at(minute) };
        for name in THINGS.map(thing).into_iter().filter(|name| truncated.label(name).is_some()) {
            prop_assert_eq!(domain::thing_view(&truncated, &name, when), domain::thing_view(&full, &name, when));
            prop_assert_eq!(domain::out_time_card(&truncated, &name, when), domain::out_time_card(&full, &name, when));
            for direction in [Direction::MadeFrom, Direction::WentInto] {
                prop_assert_eq!(domain::trace(&truncated, &name, direction, when), domain::trace(&full, &name, direction, when));
            }
            for act in [TakeOut, Cut, Lay, Oven] {
                let question = MayUseQuestion { thing: name.clone(), act, job: None, stage: None, when };
                prop_assert_eq!(domain::may_use(&truncated, &question), domain::may_use(&full, &question));
            }
        }
        prop_assert_eq!(domain::mismatches(&truncated, when), domain::mismatches(&full, when));
        prop_assert_eq!(domain::runs_out(&truncated, 300, when), domain::runs_out(&full, 300, when));
    }

    #[test]
    fn out_time_never_falls_and_never_rises_faster_than_the_clock(ops in ops(24), mut minutes in prop::collection::vec(0..16_000_i64, 2..6)) {
        minutes.sort_unstable();
        let book = yard(&ops).book();
        let assigned = ops.iter().any(|op| op.kind == 25 && op.unsure == 4);
        for name in THINGS.map(thing) {
            let mut last: Vec<(ThingName, i64, i64)> = Vec::new();
            for minute in &minutes {
                let Some(card) = domain::out_time_card(&book, &name, at(*minute)) else { continue };
                let now: Vec<_> = card.cards.into_iter().filter_map(|card| Some((card.item, card.out_time_s?, *minute))).collect();
                for ((item, before, then), (same, after, now)) in last.iter().zip(&now).filter(|(one, other)| one.0 == other.0) {
                    prop_assert!(before <= after, "{item} in {name} falls from {before} to {after}");
                    // A run that lapses gives all its hours back to the clock at once; a kit and a roll have none.
                    if !assigned && name.kind() != Kind::Part {
                        prop_assert!(after - before <= (now - then) * 60, "{same} in {name} rises by {}", after - before);
                    }
                }
                last = now;
            }
        }
    }

    #[test]
    fn a_told_move_gives_nothing_back(ops in ops(20), told in op(), minute in 0..16_000_i64) {
        let before = with_its_places(yard(&ops));
        // Take-outs, put-aways and sightings; one in a room counts as the scanned one does, so into a freezer only.
        let told = Op { kind: told.kind % 12, place: told.place % 2, told: true, ..told };
        let after = happens(before.clone(), &told);
        gave_nothing_back(&before, &after, minute)?;
    }

    #[test]
    fn what_needs_nobody_gives_nothing_back(ops in ops(20), wish in op(), now in 16_000..20_000_i64) {
        let before = yard(&ops);
        let kind = [22, 24, 25][usize::from(wish.kind % 3)];
        let after = happens(before.clone(), &Op { kind, ..wish });
        let Some(entry) = after.entries.last().filter(|entry| before.entries.len() < after.entries.len() && entry.occurred_at.at <= at_minute(now)) else {
            return Ok(());
        };
        let wish = domain::Wish {
            id: entry.id,
            thing: entry.thing.clone(),
            by: entry.by.clone(),
            by_known: entry.by_known,
            second: None,
            based_on: Some(before.entries.len() as u64),
            body: entry.body.clone(),
            strikes: entry.strikes,
            instead: None,
        };
        // A place that is no freezer any more takes all but the returns to the cold that were made there.
        let a_place = entry.thing.kind() == Kind::Place;
        if !a_place && domain::decide::decide(&before.book(), &wish, at_minute(now)).is_ok() {
            gave_nothing_back(&before, &after, now)?;
        }
    }

    #[test]
    fn the_cards_lines_add_up_to_the_out_time_of_the_answer(ops in ops(24), minute in 0..16_000_i64) {
        let book = yard(&ops).book();
        for name in THINGS.map(thing) {
            let Some(card) = domain::out_time_card(&book, &name, at(minute)) else { continue };
            for card in card.cards {
                let lines: i64 = card.lines.iter().map(|line| line.interval_s).sum();
                prop_assert_eq!(card.out_time_s.unwrap_or(lines), lines);
            }
        }
    }

    #[test]
    fn a_later_put_away_never_leaves_more(stays in prop::collection::vec((1..300_i64, 1..300_i64), 1..8), which in 0..8_usize, later in 0..300_i64, minute in 5_500..9_000_i64) {
        let which = which % stays.len();
        let history = |later: i64| {
            let mut scene = Scene::yard().stored("R-1", "Mon 06:00");
            let mut now = 0;
            for (at, (inside, out)) in stays.iter().enumerate() {
                now += inside;
                let moves = [(now, 0_u8), (now + out + if at == which { later.min(next(&stays, at)) } else { 0 }, 5)];
                for (minute, kind) in moves {
                    scene = happens(scene, &Op { kind, which: 0, place: 0, minute, unsure: 0, device: 0, told: false, back: 1 });
                }
                now += out;
            }
            scene
        };
        gave_nothing_back(&history(0), &history(later), minute)?;
    }

    #[test]
    fn splitting_a_stretch_where_it_is_out_changes_nothing(out in 1..500_i64, split in 1..500_i64, minute in 0..2_000_i64) {
        let moves = |kinds: &[(i64, u8)]| {
            let steps = kinds.iter().zip(1..).map(|((minute, kind), counter)| (*minute, *kind, counter));
            steps.fold(Scene::yard().stored("R-1", "Mon 06:00"), |scene, (minute, kind, counter)| {
                let op = Op { kind, which: 0, place: 0, minute, unsure: 0, device: 1, told: false, back: 1 };
                happens(scene, &op).device("D-1", counter)
            })
        };
        let (split, back) = (out + split, out + 2 * split);
        let whole = moves(&[(out, 0), (back, 5)]);
        let in_two = moves(&[(out, 0), (split, 5), (split, 0), (back, 5)]);
        let total = |scene: &Scene| domain::out_time_card(&scene.book(), &thing("R-1"), at(minute)).unwrap().cards[0].out_time_s;
        prop_assert_eq!(total(&whole), total(&in_two));
        prop_assert_eq!(total(&whole), Some((minute.min(back) - out).max(0) * 60));
    }
}

/// How long a put-away may slip before the next take-out; the last may slip at will.
fn next(stays: &[(i64, i64)], at: usize) -> i64 {
    stays.get(at + 1).map_or(i64::MAX, |(inside, _)| inside - 1)
}
