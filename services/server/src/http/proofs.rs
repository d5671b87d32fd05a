//! Proofs over the log, for whoever keeps a root of it: that an entry is in it, that it only grew.

use super::{
    ask::{beside, json},
    contract::Asked,
    problems::{Answer, Fault},
    query::Query,
};
use crate::{
    journal::{Hash, leaf},
    yard::Yard,
};
use actix_web::{route, web};
use serde::Deserialize;
use shared_types::{ConsistencyProof, InclusionProof};
use std::io;
use utoipa::IntoParams;

#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct InclusionQuery {
    /// The entry's `seq`.
    #[param(minimum = 1, example = 1, format = "uint64")]
    entry: u64,
    /// How many entries the root covers. Default: all there are.
    #[serde(default)]
    #[param(minimum = 1, format = "uint64", example = 9)]
    size: Option<u64>,
}

/// Is this entry in the log?
///
/// The path of RFC 9162, section 2.1.3: hashed with the leaf from its first hash on it gives the root.
#[utoipa::path(operation_id = "prove_inclusion", tag = "log", params(InclusionQuery), responses(
    (status = 200, description = "The entry's leaf, the path and the root.", body = InclusionProof), Asked,
))]
#[route("/proofs/inclusion", method = "GET", method = "HEAD")]
pub(crate) async fn inclusion(yard: web::Data<Yard>, query: Query<InclusionQuery>) -> Answer {
    let (entry, size) = both(&yard, ("entry", query.entry), ("size", query.size))?;
    if size < entry {
        return Err(Fault::not_found(format!("Entry {entry} is not among the first {size}.")));
    }
    let proof = beside(move || {
        let reader = &yard.reader;
        let line = reader.line(entry).map_err(unread)?;
        let path = yard.proofs.inclusion(reader, entry, size).map_err(unread)?;
        let root = yard.proofs.root(reader, size).map_err(unread)?;
        Ok(InclusionProof {
            entry,
            size,
            leaf: hex(&leaf(&line)),
            path: path.iter().map(hex).collect(),
            root: hex(&root),
        })
    });
    json(&proof.await?)
}

#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct ConsistencyQuery {
    /// How many entries the root covers that somebody keeps: the entry at the foot of a printed page.
    #[param(minimum = 1, example = 7, format = "uint64")]
    from: u64,
    /// How many entries the later root covers. Default: all there are.
    #[serde(default)]
    #[param(minimum = 1, format = "uint64", example = 9)]
    to: Option<u64>,
}

/// Has the log only grown since?
///
/// The path of RFC 9162, section 2.1.4: with it the two roots can be held against each other without the log.
#[utoipa::path(operation_id = "prove_consistency", tag = "log", params(ConsistencyQuery), responses(
    (status = 200, description = "Both roots and the path between them.", body = ConsistencyProof), Asked,
))]
#[route("/proofs/consistency", method = "GET", method = "HEAD")]
pub(crate) async fn consistency(yard: web::Data<Yard>, query: Query<ConsistencyQuery>) -> Answer {
    let (from, to) = both(&yard, ("from", query.from), ("to", query.to))?;
    if to < from {
        return Err(Fault::not_found(format!("A log of {to} entries has no first {from}.")));
    }
    let proof = beside(move || {
        let reader = &yard.reader;
        let path = yard.proofs.consistency(reader, from, to).map_err(unread)?;
        let root = |size| yard.proofs.root(reader, size).map(|root| hex(&root)).map_err(unread);
        Ok(ConsistencyProof {
            from,
            to,
            from_root: root(from)?,
            to_root: root(to)?,
            path: path.iter().map(hex).collect(),
        })
    });
    json(&proof.await?)
}

/// What is asked for of the log, and within how many of its entries: all of them where that is not said.
fn both(yard: &Yard, (asked, of): (&str, u64), (size, within): (&str, Option<u64>)) -> Result<(u64, u64), Fault> {
    let last = yard.reader.last_seq();
    let all = within.unwrap_or(last);
    let none = [(asked, of == 0), (size, all == 0 && last != 0)].into_iter().find(|(_, none)| *none);
    match none {
        Some((name, _)) => {
            Err(Fault::cannot_read(format!("{name} is at least 1.")).field(format!("/{name}"), "at least 1"))
        }
        None if last < all => Err(Fault::not_found(format!("The log has {last} entries, not {all}."))),
        None => Ok((of, all)),
    }
}

pub(super) fn unread(error: io::Error) -> Fault {
    Fault::went_wrong(format!("The log could not be read from the disk: {error}."))
}

pub(super) fn hex(hash: &Hash) -> String {
    hash.iter().map(|byte| format!("{byte:02x}")).collect()
}
