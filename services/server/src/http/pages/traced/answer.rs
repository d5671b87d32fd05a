//! The first sentences of a trace: what the book knows of where it all went, or of what it all is.

use super::super::claim::number;
use domain::{Book, When, thing_view};
use shared_types::{Direction, Kind, ThingName, Trace, Whereabouts};
use std::collections::BTreeMap;

/// More boats than these are counted only.
const NAMED: usize = 12;

pub(super) fn answer(book: &Book, trace: &Trace, when: When) -> Vec<String> {
    let name = trace.thing.short();
    let of = |kind: Kind| trace.nodes.iter().map(|node| &node.thing).filter(|thing| thing.kind() == kind).collect();
    let (rolls, kits): (Vec<&ThingName>, Vec<&ThingName>) = (of(Kind::Roll), of(Kind::Kit));
    let mut said = Vec::new();
    if trace.direction == Direction::WentInto && matches!(trace.thing.kind(), Kind::Batch | Kind::Material) {
        said.push(format!("{name}: {} received.", number(rolls.len(), "roll")));
        said.extend(whereabouts(book, &rolls, when));
        said.extend(whereabouts(book, &kits, when).map(|words| format!("Kits: {words}")));
    } else if matches!(trace.thing.kind(), Kind::Roll | Kind::Kit | Kind::Part) {
        said.extend(thing_view(book, &trace.thing, when).map(|seen| seen.say));
    }
    let counted = match trace.direction {
        Direction::MadeFrom => [(Kind::Part, "part"), (Kind::Kit, "kit"), (Kind::Roll, "roll"), (Kind::Batch, "batch")],
        Direction::WentInto => [(Kind::Roll, "roll"), (Kind::Kit, "kit"), (Kind::Part, "part"), (Kind::Boat, "boat")],
    };
    let counts: Vec<String> = counted
        .iter()
        .filter(|(kind, _)| *kind != Kind::Roll || trace.direction == Direction::MadeFrom)
        .map(|(kind, word)| (of(*kind).len(), word))
        .filter(|(count, _)| *count != 0)
        .map(|(count, word)| number(count, word))
        .collect();
    let (says, does) = match trace.direction {
        Direction::MadeFrom => ("is made from", "is made from"),
        Direction::WentInto => ("went into", "went into"),
    };
    said.push(match counts.is_empty() {
        true => format!("The book does not know what {name} {does}."),
        false => format!("{name} {says} {}.", counts.join(", ")),
    });
    let boats: Vec<&ThingName> = of(Kind::Boat);
    if (1..=NAMED).contains(&boats.len()) {
        let names: Vec<&str> = boats.iter().map(|boat| boat.short()).collect();
        said.push(format!("In boat {}.", names.join(", ")));
    }
    said
}

/// `3 in F1, 1 out, 8 used up.`
fn whereabouts(book: &Book, things: &[&ThingName], when: When) -> Option<String> {
    let mut counts: BTreeMap<(u8, String), usize> = BTreeMap::new();
    for thing in things {
        let seen = thing_view(book, thing, when)?;
        let group = match seen.whereabouts {
            Whereabouts::Inside { place, .. } | Whereabouts::OnItsWay { place, .. } => (0, format!("in {place}")),
            Whereabouts::Out { place: Some(place), .. } => (1, format!("out in {place}")),
            Whereabouts::Out { place: None, .. } => (2, "out".to_owned()),
            Whereabouts::Consumed { .. } => (3, "used up".to_owned()),
            Whereabouts::Disposed { .. } => (4, "thrown away".to_owned()),
            _ => (5, "not received".to_owned()),
        };
        *counts.entry(group).or_default() += 1;
    }
    let words: Vec<String> = counts.iter().map(|((_, words), count)| format!("{count} {words}")).collect();
    (!words.is_empty()).then(|| format!("{}.", words.join(", ")))
}
