//! What is in already: with the same values it is passed over, with others it is a problem. Found before anything
//! is written.

use shared_types::{Body, Entry, KnownBy, Stamp};
use std::collections::BTreeSet;

use super::{
    client::{Client, Unanswered},
    fields,
    plan::{PUT_AWAY_AFTER_MS, Planned},
    problems::Problems,
};

/// What the files say, parted by whether it is in already.
#[derive(Default)]
pub(crate) struct Compared {
    pub(crate) missing: Vec<Planned>,
    pub(crate) already: Vec<Planned>,
}

/// Asks the server for every thing once.
pub(crate) fn compare(
    client: &Client,
    planned: Vec<Planned>,
    problems: &mut Problems,
    mut step: impl FnMut(),
) -> Result<Compared, Unanswered> {
    let mut compared = Compared::default();
    let mut asked: Option<(shared_types::ThingName, Vec<Entry>)> = None;
    for one in planned {
        // A roll's two facts follow each other: its entries are asked for once.
        let entries = match asked.take() {
            Some((thing, entries)) if thing == one.thing => entries,
            Some(_) | None => client.entries(&one.thing)?,
        };
        let found = judge(&one, &entries);
        asked = Some((one.thing.clone(), entries));
        match found {
            Ok(Found::Missing) => compared.missing.push(one),
            Ok(Found::Same) => compared.already.push(one),
            Err(say) => problems.add(&one.spot, say),
        }
        step();
    }
    Ok(compared)
}

enum Found {
    Missing,
    Same,
}

fn judge(one: &Planned, entries: &[Entry]) -> Result<Found, String> {
    let name = one.thing.short();
    let struck: BTreeSet<_> = entries.iter().filter_map(|entry| entry.strikes).collect();
    if let Some(ours) = entries.iter().find(|entry| entry.id == one.id) {
        return match differences(one, ours) {
            _ if struck.contains(&one.id) => {
                Err(format!("{name} was brought in (entry {}) and struck since; enter it by hand", ours.seq))
            }
            None => Ok(Found::Same),
            Some(differences) => Err(format!("{name} is already in with other values: {differences}")),
        };
    }
    // What somebody else declared or received stands, too.
    let standing = |entry: &&Entry| {
        entry.thing == one.thing && !struck.contains(&entry.id) && about_the_same(&one.body, &entry.body)
    };
    let Some(other) = entries.iter().filter(standing).max_by_key(|entry| entry.seq) else { return Ok(Found::Missing) };
    match (&one.body, fields::differences(&one.body, &other.body)) {
        (Body::RollReceived(_), _) => {
            Err(format!("{name} is already in, received by {} (entry {}), and not by an import", other.by, other.seq))
        }
        // A roll may be put away many times.
        (Body::RollPutAway(_), _) => Ok(Found::Missing),
        (_, differences) if differences.is_empty() => Ok(Found::Same),
        (_, differences) => {
            Err(format!("{name} is already in with other values (entry {}): {}", other.seq, differences.join("; ")))
        }
    }
}

/// Of one kind; two revisions of a material are two things.
fn about_the_same(one: &Body, other: &Body) -> bool {
    match (one, other) {
        (Body::MaterialRevised(one), Body::MaterialRevised(other)) => one.revision == other.revision,
        (one, other) => one.kind() == other.kind(),
    }
}

fn differences(one: &Planned, entry: &Entry) -> Option<String> {
    let mut differences = fields::differences(&one.body, &entry.body);
    let (there, here) = (as_of(&one.body, entry.occurred_at), one.occurred_at.map(|at| as_of(&one.body, at)));
    if let Some(here) = here.filter(|here| here.at != there.at) {
        differences.push(format!("as_of is {there} there, {here} here"));
    }
    // A program brought it in under its own badge.
    if one.by != entry.by && entry.by_known != KnownBy::Token {
        differences.push(format!("copied_by is {} there, {} here", entry.by, one.by));
    }
    if let Some(second) = entry.second.as_ref().filter(|second| second.by != one.second) {
        differences.push(format!("compared_by is {} there, {} here", second.by, one.second));
    }
    let mut said = BTreeSet::new();
    // A receipt has the time twice, as its own and as its card's.
    differences.retain(|difference| said.insert(difference.clone()));
    (!differences.is_empty()).then(|| differences.join("; "))
}

/// The time in the file that an entry's own time was made from.
fn as_of(body: &Body, occurred_at: Stamp) -> Stamp {
    match body {
        Body::RollPutAway(_) => Stamp { at: occurred_at.at.minus_ms(PUT_AWAY_AFTER_MS), ..occurred_at },
        _ => occurred_at,
    }
}
