//! What changed of a thing's trace between two entries of the log.

use super::{
    ask::{ask_beside, json, nobody, stamp},
    contract::Asked,
    problems::{Answer, Fault},
    query::Query,
    things::{BatchPath, ThingPath},
};
use crate::{tree::usual_direction, yard::Yard};
use actix_web::{route, web};
use domain::{Book, changes::ChangesQuestion};
use serde::Deserialize;
use shared_types::{Changes, Direction, Stamp, ThingName};
use utoipa::IntoParams;

#[derive(Deserialize, IntoParams, Clone, Copy)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct ChangesQuery {
    /// The last entry (`seq`) known before. Default: 0, when nothing was known.
    #[serde(default)]
    #[param(format = "uint64", default = 0)]
    pub(crate) from: u64,
    /// The last entry (`seq`) known after. Default: all of them.
    #[serde(default)]
    #[param(format = "uint64")]
    pub(crate) to: Option<u64>,
    /// What it is made from, or what it went into. Default: what somebody most likely asks of such a thing.
    #[serde(default)]
    #[param(value_type = Option<Direction>)]
    pub(crate) direction: Option<Direction>,
    /// The instant at which both histories are read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    pub(crate) at: Option<Stamp>,
}

/// What changed between two entries.
///
/// The trace asked twice, as known at `from` and as known at `to`: which entries came between, which links, judgements,
/// limits left at recorded acts and holds differ; in words (`say`), and one by one.
#[utoipa::path(operation_id = "changes", tag = "trace", params(ThingPath, ChangesQuery), responses(
    (status = 200, description = "What differs; nothing where nothing does.", body = Changes), Asked,
))]
#[route("/things/{kind}/{code}/changes", method = "GET", method = "HEAD")]
pub(crate) async fn changes(yard: web::Data<Yard>, path: web::Path<ThingPath>, query: Query<ChangesQuery>) -> Answer {
    answered(&yard, path.thing()?, *query).await
}

/// What changed of a batch between two entries.
///
/// The same as for any other thing; a batch is named with its material.
#[utoipa::path(operation_id = "changes_of_batch", tag = "trace", params(BatchPath, ChangesQuery), responses(
    (status = 200, description = "What differs; nothing where nothing does.", body = Changes), Asked,
))]
#[route("/things/batch/{material}/{batch}/changes", method = "GET", method = "HEAD")]
pub(crate) async fn changes_of_batch(
    yard: web::Data<Yard>,
    path: web::Path<BatchPath>,
    query: Query<ChangesQuery>,
) -> Answer {
    answered(&yard, path.thing()?, *query).await
}

async fn answered(yard: &web::Data<Yard>, thing: ThingName, query: ChangesQuery) -> Answer {
    let shared = yard.clone();
    json(&ask_beside(yard, move |book| found(&shared, book, &thing, query)).await?)
}

/// The answer, for programs and for the page.
pub(crate) fn found(yard: &Yard, book: &Book, thing: &ThingName, query: ChangesQuery) -> Result<Changes, Fault> {
    let (now, last) = (yard.now(), book.last_seq());
    let (from, to) = (query.from, query.to.unwrap_or(last));
    for (name, seq) in [("/from", from), ("/to", to)] {
        if last < seq {
            let detail = format!("The log ends at entry {last}; nothing was ever known up to {seq}.");
            return Err(Fault::cannot_read(detail).field(name, "beyond the log's end").with("last_seq", last));
        }
    }
    if to < from {
        let detail = format!("Entry {from} comes after entry {to}: ask from the earlier one to the later one.");
        return Err(Fault::cannot_read(detail).field("/to", "before from"));
    }
    let direction = query.direction.unwrap_or(usual_direction(thing.kind()));
    let at = query.at.map_or(now, |stamp| stamp.at);
    let asked = ChangesQuestion { thing: thing.clone(), direction, from, to, at, now };
    domain::changes::changes(book, &asked).ok_or_else(|| nobody(thing))
}
