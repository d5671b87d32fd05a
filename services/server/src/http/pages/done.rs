//! What was written just now, in one sentence in the past tense with its time. It stays until the next scan.

use super::{
    screen::{Ask, Button, Form, Look, Screen},
    unsure,
};
use domain::Book;
use domain::fact::What;
use domain::say::{Say, left, so_far};
use domain::view::View;
use shared_types::{Body, Code, Entry, Kind, LimitName, LimitRow, MayUse, ThingName, Word};

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
            let said = format!("{name}: put away in {} {at}.", away.into);
            match is_frozen(book, look, entry, &away.into) {
                true => put_away(book, look, entry, answer, say, said, screen),
                false => {
                    screen.big.insert(0, said);
                    let counts =
                        format!("{} is not a frozen place: it counts as seen there, out of the cold.", away.into);
                    screen.why.insert(0, counts);
                }
            }
            if let Some(elsewhere) = found("in_while_in_elsewhere") {
                screen.why.insert(0, elsewhere.ask.clone().unwrap_or_else(|| elsewhere.say.clone()));
                let address = format!("{}&choice=carried", super::puzzles::address(elsewhere));
                screen.link = Some((address, "It was carried over".to_owned()));
            }
            if found("in_while_in").is_some() {
                if !is_bad(answer) {
                    screen.frame = "cannot";
                }
                screen.ask = Some(Ask {
                    question: "The book has it inside already. Was this a take-out?",
                    form,
                    yes: Button { go: "take_out".to_owned(), label: "Yes, taken out".to_owned() },
                    no: Button { go: format!("put_away {}", away.into), label: "No, put away".to_owned() },
                });
                screen.why.clear();
                return;
            }
        }
        _ => screen.big = vec![format!("Entry {} was written {at}.", entry.seq)],
    }
    let told = ["out_while_out", "in_while_in", "in_while_in_elsewhere", "acted_while_held"];
    let mut others = look.mismatches.to_vec();
    others.extend(unsure::about(book, look.thing, look.when));
    others.retain(|one| one.entry != entry.id || !told.contains(&one.kind.as_str()));
    let above = [&screen.big[..], &screen.why[..]].concat();
    screen.why.extend(unsure::open(others, &above));
}

fn is_bad(answer: Option<&MayUse>) -> bool {
    answer.is_some_and(|answer| Word::No <= answer.answer)
}

fn is_frozen(book: &Book, look: &Look<'_>, entry: &Entry, place: &Code) -> bool {
    let label = book.label(&ThingName::new(Kind::Place, place));
    label.is_some_and(|label| View::new(book, look.when.known).frozen(label, entry.occurred_at.at))
}

/// In the cold again. What may not be used stays so there: the answer stands below, with its frame.
fn put_away(
    book: &Book,
    look: &Look<'_>,
    entry: &Entry,
    answer: Option<&MayUse>,
    say: &Say,
    said: String,
    screen: &mut Screen,
) {
    screen.times.clear();
    screen.under.clear();
    if is_bad(answer) {
        screen.big.insert(0, said);
        let call = format!("call {}.", say.call);
        if answer.is_some_and(|answer| answer.limits.iter().any(is_over))
            && !screen.big.iter().any(|big| big.contains(&call))
        {
            screen.big.push(format!("Call {}.", say.call));
        }
        screen.why.extend(counted(book, look, entry));
        return;
    }
    screen.frame = "plain";
    screen.big = vec![said];
    screen.why = back_inside(book, look, entry, answer);
    if let Some(answer) = answer.filter(|answer| answer.answer == Word::CannotSay) {
        screen.why.push(format!("{} {}", answer.say, answer.why));
    }
}

fn is_over(row: &LimitRow) -> bool {
    row.left_s.or(row.left).is_some_and(|left| left < 0)
}

/// The last take-out before this one.
fn out_before(book: &Book, look: &Look<'_>, entry: &Entry, say: &Say) -> Option<String> {
    let view = View::new(book, look.when.known);
    let outs = view.facts(book.label(look.thing)?).filter(|fact| matches!(fact.what, What::TakenOut { .. }));
    let before = outs.filter(|fact| u64::from(fact.seq) != entry.seq && fact.at <= entry.occurred_at.at).last()?;
    Some(say.time(before.at, look.when.now))
}

/// How long it counts as out, for the stretch that this put-away ended.
fn counted(book: &Book, look: &Look<'_>, entry: &Entry) -> Option<String> {
    let card = domain::out_time_card(book, look.thing, look.when)?;
    let lines = card.cards.first().map_or(&[][..], |card| &card.lines);
    let stretch = lines.iter().rfind(|line| line.back.is_some_and(|back| back.at == entry.occurred_at.at))?;
    Some(format!("It counts as out {}.", so_far(stretch.interval_s.saturating_mul(1000))))
}

fn back_inside(book: &Book, look: &Look<'_>, entry: &Entry, answer: Option<&MayUse>) -> Vec<String> {
    let row =
        |name| answer.and_then(|answer| answer.limits.iter().find(|row| row.limit == name)).and_then(|row| row.left_s);
    let of = |name, words: &str| {
        row(name).map(|left_s| match left_s < 0 {
            true => format!("{} over its {words}.", so_far(left_s.saturating_neg().saturating_mul(1000))),
            false => format!("{} of {words} left.", left(left_s.saturating_mul(1000))),
        })
    };
    let left = [of(LimitName::OutLife, "out-life"), of(LimitName::TackLife, "tack life")];
    counted(book, look, entry).into_iter().chain(left.into_iter().flatten()).collect()
}
