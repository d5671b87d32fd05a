//! What a device sent and nobody can read is kept as it came, so that it can be read later. It ends in the log as
//! `entry_set_aside` under the thing it names, where it shows as something that doesn't add up.

use serde::Deserialize;
use serde_json::Value;
use shared_types::{Body, Code, Entry, SetAside, Stamp, ThingName};
use uuid::Uuid;

use super::{Envelope, ItemProblem, MAX_ASIDE_BYTES, NewFact, new_entry};
use crate::fingerprint;

/// The least that makes a line an entry; whatever else stands there is passed over.
#[derive(Deserialize)]
struct Bare {
    id: Uuid,
    #[serde(rename = "kind")]
    _kind: String,
    thing: ThingName,
    occurred_at: Stamp,
    by: Code,
    device: Code,
}

/// The item as an entry that was set aside, if a device sent it and its envelope can be read.
pub(super) fn unread(raw: &str, item: &Value, problem: &ItemProblem) -> Option<NewFact> {
    let bare: Bare = serde_json::from_value(item.clone()).ok().filter(|_| raw.len() <= MAX_ASIDE_BYTES)?;
    let read = |member: &str| item.get(member);
    let envelope = Envelope {
        id: bare.id,
        thing: bare.thing,
        by: bare.by,
        second: None,
        device: Some(bare.device),
        counter: read("counter").and_then(Value::as_u64),
        device_said: read("device_said").and_then(Value::as_str).and_then(|text| Stamp::parse(text).ok()),
        occurred_at: bare.occurred_at,
        uncertain_by_ms: read("uncertain_by_ms").and_then(Value::as_u64).and_then(|ms| ms.try_into().ok()).unwrap_or(0),
        shown: None,
    };
    let body = Body::SetAside(SetAside { why: problem.detail(), raw: raw.to_owned() });
    let entry = new_entry(envelope, fingerprint::of(item).ok()?, body);
    NewFact::new(entry, Some(Box::from(raw))).ok()
}

/// A device used an id again for something else, and entry `seq` has it: kept under an id that follows from both, so
/// that sending it again gives the same entry again.
pub(crate) fn used_again(fact: &NewFact, seq: u64) -> Option<NewFact> {
    let raw = fact.raw.as_deref().filter(|raw| raw.len() <= MAX_ASIDE_BYTES)?;
    let why = format!("its id {} was used before, for entry {seq}", fact.entry.id);
    let entry = Entry {
        id: Uuid::new_v5(&fact.entry.id, &fact.entry.fp.0),
        shown: None,
        body: Body::SetAside(SetAside { why, raw: raw.to_owned() }),
        ..fact.entry.clone()
    };
    NewFact::new(entry, fact.raw.clone()).ok()
}
