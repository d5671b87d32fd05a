//! The yard's devices: which may record, what came from each, and what never arrived.

use super::{
    ask::{AtKnown, ask_beside, json},
    contract::Listed,
    problems::Answer,
    query::Query,
};
use crate::yard::Yard;
use actix_web::{route, web};
use shared_types::DeviceList;

/// Which devices does the yard have, and what of theirs never arrived?
///
/// Every device that was ever enrolled, or that a fact names. Each counts what it records by numbers of its own; a number in between that
/// never came stands under `missing`: the device still has it, or it is lost. A device that was revoked stays listed with what is missing.
#[utoipa::path(operation_id = "list_devices", tag = "things", params(AtKnown), responses(
    (status = 200, description = "All devices, by name.", body = DeviceList), Listed,
))]
#[route("/devices", method = "GET", method = "HEAD")]
pub(crate) async fn devices(yard: web::Data<Yard>, query: Query<AtKnown>) -> Answer {
    let (shared, query) = (yard.clone(), *query);
    let list = ask_beside(&yard, move |book| Ok(domain::devices::devices(book, query.when(&shared, book)?)));
    json(&list.await?)
}
