//! What does not add up and waits for an answer, in sentences.

use domain::Book;
use domain::mismatch::of_thing;
use domain::view::View;
use domain::{When, out_time_card};
use shared_types::{Kind, Mismatch, ThingName};

/// More than these do not fit below an answer.
const MOST: usize = 2;

/// What does not add up about a thing, and about the rolls that a kit was cut from.
pub(super) fn about(book: &Book, thing: &ThingName, when: When) -> Vec<Mismatch> {
    let view = View::new(book, when.known);
    let mut things = vec![thing.clone()];
    if thing.kind() == Kind::Kit {
        things.extend(out_time_card(book, thing, when).into_iter().flat_map(|card| card.cards).map(|card| card.item));
    }
    things.sort();
    things.dedup();
    things.iter().filter_map(|thing| book.label(thing)).flat_map(|label| of_thing(view, label, None)).collect()
}

/// The open ones: those that wait for an answer first, of these the newest. What stands above already is neither said
/// nor asked again.
pub(super) fn open(mut all: Vec<Mismatch>, asked: &[String]) -> Vec<String> {
    all.retain(|one| one.settled_by.is_none() && !asked.iter().any(|above| above.contains(&one.say)));
    all.sort_by_key(|one| std::cmp::Reverse((one.ask.is_some(), one.at.at, one.seq)));
    let mut said: Vec<String> = Vec::new();
    for one in all {
        let mut sentence = format!("Doesn't add up: {}", one.say);
        if let Some(ask) = one.ask.filter(|ask| !asked.iter().any(|above| above.contains(ask.as_str()))) {
            sentence = format!("{sentence} {ask}");
        }
        if said.len() < MOST && !said.contains(&sentence) {
            said.push(sentence);
        }
    }
    said
}
