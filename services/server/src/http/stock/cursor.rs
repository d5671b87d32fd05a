//! Where a list goes on: opaque to whoever holds it, bound to its list and filters, and to the moment of its first page.

use super::{List, set};
use crate::http::problems::Fault;
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use domain::{When, stock::Filter};
use serde::{Deserialize, Serialize};
use shared_types::{Instant, Stamp, ThingName};

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Held {
    v: u8,
    list: String,
    filter: String,
    at: i64,
    known: u64,
    after: ThingName,
}

const VERSION: u8 = 2;

/// The filters as an address has them.
fn spelt(filter: &Filter) -> String {
    let ended = filter.ended.map(|ended| ("ended", ended.to_string()));
    let all = set(filter).into_iter().chain(ended);
    all.map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>().join("&")
}

/// A place in a list.
pub(super) struct Place {
    pub(super) at: Instant,
    pub(super) known: u64,
    pub(super) after: ThingName,
}

pub(super) fn write(list: &List, filter: &Filter, when: When, after: &ThingName) -> String {
    let held = Held {
        v: VERSION,
        list: list.name.to_owned(),
        filter: spelt(filter),
        at: when.at.0,
        known: when.known,
        after: after.clone(),
    };
    URL_SAFE_NO_PAD.encode(serde_json::to_vec(&held).unwrap_or_default())
}

pub(super) fn read(text: &str, list: &List, filter: &Filter) -> Result<Place, Fault> {
    let bytes = URL_SAFE_NO_PAD.decode(text).ok();
    let held = bytes.and_then(|bytes| serde_json::from_slice::<Held>(&bytes).ok());
    // An instant outside of all calendars was never a page's moment.
    let at = |held: &Held| Stamp::parse(&Stamp::utc(Instant(held.at)).to_string()).is_ok_and(|at| at.at.0 == held.at);
    let held = held.filter(|held| held.v == VERSION && at(held));
    let Some(held) = held else {
        return Err(wrong("The cursor is none that this server made. Begin the list again without one."));
    };
    if held.list != list.name || held.after.kind() != list.kind {
        return Err(wrong(&format!(
            "The cursor belongs to the list of {}. Begin the list of {} again without one.",
            held.list, list.name
        )));
    }
    match held.filter == spelt(filter) {
        true => Ok(Place { at: Instant(held.at), known: held.known, after: held.after }),
        false => Err(wrong("The cursor belongs to other filters. Begin the list again without one.")),
    }
}

fn wrong(detail: &str) -> Fault {
    Fault::cannot_read(detail).field("/cursor", "take it from the page before, with the same filters")
}
