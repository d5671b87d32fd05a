//! What a decision names, and what those things stand on: what they are made from, batch, material and job.

use crate::book::Book;
use crate::fact::{Label, What};
use crate::view::View;
use crate::wish::Wish;
use shared_types::{Body, Kind, Settlement, ThingName};
use std::collections::BTreeSet;

/// The things a wish names. Two wishes of one take wait for each other when one names what the other stands on.
pub fn names(book: &Book, wish: &Wish) -> BTreeSet<ThingName> {
    let mut names = BTreeSet::from([wish.thing.clone()]);
    match &wish.body {
        Body::Issued(issue) => {
            names.insert(ThingName::new(Kind::Job, &issue.job));
        }
        Body::JobOpened(job) | Body::JobReplanned(job) => {
            names.insert(ThingName::new(Kind::Part, &job.part));
        }
        // Of two who make each other no administrator the second is asked once the first is written.
        Body::RolesGranted(_) => {
            names.insert(ThingName::yard());
        }
        Body::MismatchSettled(settle) => {
            if let Settlement::Other(other) = &settle.answer {
                names.insert(other.clone());
            }
        }
        _ => {}
    }
    let target = book.seq_of(&wish.strikes.unwrap_or_default()).and_then(|seq| u32::try_from(seq).ok());
    names.extend(target.into_iter().flat_map(|seq| book.kept_under(seq)).map(|label| book.name(label).clone()));
    names.extend(wish.instead.iter().map(|instead| instead.thing.clone()));
    names
}

pub fn stands_on(book: &Book, wish: &Wish) -> BTreeSet<ThingName> {
    let mut all = names(book, wish);
    let view = View::new(book, u64::MAX);
    let mut open: Vec<Label> = all.iter().filter_map(|thing| book.label(thing)).collect();
    let mut done: BTreeSet<Label> = open.iter().copied().collect();
    while let Some(label) = open.pop() {
        for below in made_from(view, label) {
            if done.insert(below) {
                open.push(below);
                all.insert(book.name(below).clone());
            }
        }
    }
    all
}

fn made_from(view: View<'_>, label: Label) -> Vec<Label> {
    let kind = view.book.kind(label);
    let mut below = Vec::new();
    for fact in view.facts(label) {
        match &fact.what {
            What::Received(received) if received.roll == label => below.extend([received.batch, received.material]),
            What::Cut(cut) if kind == Kind::Kit => {
                for kit in cut.kits.iter().filter(|kit| kit.kit == label) {
                    below.push(kit.job);
                    below.extend(kit.items.iter().map(|(roll, _)| *roll));
                }
            }
            What::Laid(laid) if laid.part == label => below.push(laid.from),
            What::RunStarted(run) if run.run != label => below.push(run.run),
            What::Installed { part, boat } if *boat == label => below.push(*part),
            What::Issued { thing, job } if *thing == label => below.push(*job),
            _ => {}
        }
    }
    below
}
