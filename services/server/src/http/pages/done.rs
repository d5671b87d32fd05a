//! What was written just now, in one sentence in the past tense with its time. It stays until the next scan.

use super::screen::{Ask, Button, Form, Look, Screen};
use domain::Book;
use domain::fact::What;
use domain::say::{Say, left, so_far};
use domain::view::View;
use shared_types::{Body, Entry, LimitName, MayUse, Word};

/// The sentence, what the answer is now, and what did not add up with it.
pub(super) fn written(
    book: &Book,
    look: &Look<'_>,
    entry: &Entry,
    answer: Option<&MayUse>,
    say: &Say,
    form: Form,
    screen: &mut Screen,
) {
    let name = look.thing.short();
    let at = say.time(entry.occurred_at.at, look.when.now);
    let found =
        |kind: &str| look.mismatches.iter().find(|mismatch| mismatch.kind == kind && mismatch.thing == *look.thing);
    screen.done = true;
    match &entry.body {
        Body::RollTakenOut(_) | Body::KitTakenOut(_) => {
            if answer.is_some_and(|answer| answer.answer == Word::Yes) {
                screen.why.clear();
            }
            let mut big = vec![format!("{name}: taken out {at}.")];
            if found("out_while_out").is_some() {
                big.extend(out_before(book, look, entry, say).map(|before| format!("Again: also taken out {before}.")));
            }
            big.append(&mut screen.big);
            screen.big = big;
        }
        Body::RollPutAway(away) | Body::KitPutAway(away) => {
            screen.big = vec![format!("{name}: put away in {} {at}.", away.into)];
            screen.times.clear();
            screen.within = None;
            let held = answer.is_some_and(|answer| !answer.holds.is_empty());
            let why = std::mem::take(&mut screen.why);
            screen.why = if held { why } else { back_inside(book, look, entry, answer) };
            if answer.is_some_and(|answer| answer.answer == Word::Yes) || !held {
                screen.frame = "plain";
            }
            if found("in_while_in").is_some() {
                screen.frame = "cannot";
                screen.ask = Some(Ask {
                    question: "The book has it inside already. Was this a take-out?",
                    form,
                    yes: Button { go: "take_out".to_owned(), label: "Yes, taken out".to_owned() },
                    no: Button { go: format!("put_away {}", away.into), label: "No, put away".to_owned() },
                });
                screen.why.clear();
            }
        }
        _ => screen.big = vec![format!("Entry {} was written {at}.", entry.seq)],
    }
    let told = ["out_while_out", "in_while_in", "acted_while_held"];
    let others = look.mismatches.iter().filter(|mismatch| !told.contains(&mismatch.kind.as_str()));
    screen.why.extend(others.map(|mismatch| format!("Doesn't add up: {}", mismatch.say)));
}

/// The last take-out before this one.
fn out_before(book: &Book, look: &Look<'_>, entry: &Entry, say: &Say) -> Option<String> {
    let view = View::new(book, look.when.known);
    let outs = view.facts(book.label(look.thing)?).filter(|fact| matches!(fact.what, What::TakenOut { .. }));
    let before = outs.filter(|fact| u64::from(fact.seq) != entry.seq && fact.at <= entry.occurred_at.at).last()?;
    Some(say.time(before.at, look.when.now))
}

fn back_inside(book: &Book, look: &Look<'_>, entry: &Entry, answer: Option<&MayUse>) -> Vec<String> {
    let card = domain::out_time_card(book, look.thing, look.when);
    let lines = card.as_ref().and_then(|card| card.cards.first()).map_or(&[][..], |card| &card.lines);
    let stretch = lines.iter().rfind(|line| line.back.is_some_and(|back| back.at == entry.occurred_at.at));
    let row =
        |name| answer.and_then(|answer| answer.limits.iter().find(|row| row.limit == name)).and_then(|row| row.left_s);
    let was = stretch.map(|line| format!("It was out {}.", so_far(line.interval_s.saturating_mul(1000))));
    let of =
        |name, words: &str| row(name).map(|left_s| format!("{} of {words} left.", left(left_s.saturating_mul(1000))));
    [was, of(LimitName::OutLife, "out-life"), of(LimitName::TackLife, "tack life")].into_iter().flatten().collect()
}
