//! What is in already: with the same values it is passed over, with others it is a problem. Found before anything
//! is written.

use serde_json::{Map, Value};
use shared_types::{Body, Entry};
use std::collections::BTreeSet;

use super::{
    client::{Client, Unanswered},
    plan::Planned,
    problems::Problems,
};

/// Those that are not in yet.
pub(crate) fn missing(
    client: &Client,
    planned: Vec<Planned>,
    problems: &mut Problems,
    mut step: impl FnMut(),
) -> Result<Vec<Planned>, Unanswered> {
    let mut missing = Vec::new();
    let mut asked: Option<(shared_types::ThingName, Vec<Entry>)> = None;
    for one in planned {
        // A roll's two facts follow each other: its entries are asked for once.
        let entries = match asked.take() {
            Some((thing, entries)) if thing == one.thing => entries,
            Some(_) | None => client.entries(&one.thing)?,
        };
        match judge(&one, &entries) {
            Ok(Found::Missing) => missing.push(one.clone()),
            Ok(Found::Same) => {}
            Err(say) => problems.add(&one.spot, say),
        }
        asked = Some((one.thing, entries));
        step();
    }
    Ok(missing)
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
    match (&one.body, differences_of_bodies(&one.body, &other.body)) {
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
    let mut differences = differences_of_bodies(&one.body, &entry.body);
    if let Some(at) = one.occurred_at.filter(|at| at.at != entry.occurred_at.at) {
        differences.push(format!("it was as of {} there, {at} here", entry.occurred_at));
    }
    if one.by != entry.by {
        differences.push(format!("copied by {} there, by {} here", entry.by, one.by));
    }
    if let Some(second) = entry.second.as_ref().filter(|second| second.by != one.second) {
        differences.push(format!("compared by {} there, by {} here", second.by, one.second));
    }
    (!differences.is_empty()).then(|| differences.join("; "))
}

/// Each field that differs, as the API names it.
fn differences_of_bodies(here: &Body, there: &Body) -> Vec<String> {
    let fields = |body: &Body| match serde_json::to_value(body) {
        Ok(Value::Object(fields)) => flat(fields),
        Ok(_) | Err(_) => Map::new(),
    };
    let (here, there) = (fields(here), fields(there));
    let names: BTreeSet<&String> = here.keys().chain(there.keys()).collect();
    let say = |value: Option<&Value>| value.map_or_else(|| "nothing".to_owned(), Value::to_string);
    names
        .into_iter()
        .filter(|name| here.get(*name) != there.get(*name))
        .map(|name| format!("{name} is {} there, {} here", say(there.get(name)), say(here.get(name))))
        .collect()
}

/// `opening: {out_time_s: 5}` becomes `opening.out_time_s: 5`.
fn flat(fields: Map<String, Value>) -> Map<String, Value> {
    let mut result = Map::new();
    for (name, value) in fields {
        match value {
            Value::Object(inner) => {
                result.extend(flat(inner).into_iter().map(|(inner, value)| (format!("{name}.{inner}"), value)));
            }
            value => {
                result.insert(name, value);
            }
        }
    }
    result
}
