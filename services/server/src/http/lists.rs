//! Questions that go through the whole book: what a label may mean, what runs out, what does not add up.

use super::{
    ask::{AtKnown, ask, ask_beside, json, nobody_has, stamp},
    contract::{Asked, Listed},
    problems::{Answer, Fault},
    query::Query,
    things::Plain,
    warnings::hours,
};
use crate::yard::Yard;
use actix_web::{route, web};
use serde::Deserialize;
use shared_types::{Code, MismatchList, RunsOut, Scan, Stamp};
use utoipa::IntoParams;

#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub(crate) struct LabelPath {
    /// What was scanned.
    #[param(example = "R-42")]
    code: String,
}

/// Which things may this label mean?
///
/// A code may be that of a roll and of a job at once; a batch is found by its own number.
#[utoipa::path(operation_id = "scan", tag = "things", params(LabelPath), responses(
    (status = 200, description = "One thing or several.", body = Scan), Asked,
))]
#[route("/scan/{code}", method = "GET", method = "HEAD")]
pub(crate) async fn scan(yard: web::Data<Yard>, path: web::Path<LabelPath>, _: Plain) -> Answer {
    let code = Code::new(&path.code).map_err(|error| Fault::cannot_read(error.to_string()))?;
    let found = ask(&yard, |book| {
        let found = domain::scan(book, &code);
        match found.things.is_empty() {
            true => Err(Fault::not_found(nobody_has(book, &code))),
            false => Ok(found),
        }
    })?;
    json(&found)
}

#[derive(Deserialize, IntoParams, Clone, Copy)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct RunsOutQuery {
    /// How many hours to look ahead. Default: 168, a week.
    #[serde(default, deserialize_with = "hours")]
    #[param(value_type = Option<u32>, minimum = 0, maximum = 87600, default = 168)]
    within_h: Option<u32>,
    /// The instant at which the history is read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    at: Option<Stamp>,
    /// The last entry (`seq`) that counts as known. Default: all of them.
    #[serde(default)]
    known: Option<u64>,
}

/// What runs out, soonest first?
///
/// Every limit that ends within the horizon if things stay where they are.
#[utoipa::path(operation_id = "runs_out", tag = "life", params(RunsOutQuery), responses(
    (status = 200, description = "Limits by when they end.", body = RunsOut), Listed,
))]
#[route("/runs-out", method = "GET", method = "HEAD")]
pub(crate) async fn runs_out(yard: web::Data<Yard>, query: Query<RunsOutQuery>) -> Answer {
    let RunsOutQuery { within_h, at, known } = *query;
    let within_h = within_h.unwrap_or(168);
    let shared = yard.clone();
    let answer = ask_beside(&yard, move |book| {
        let when = AtKnown { at, known }.when(&shared, book)?;
        Ok(domain::runs_out(book, within_h, when))
    });
    json(&answer.await?)
}

/// What does not add up?
///
/// Every mismatch that is not settled. Each is named by its kind and the id of its later entry, and has the question
/// whose answer would settle it.
#[utoipa::path(operation_id = "list_mismatches", tag = "things", params(AtKnown), responses(
    (status = 200, description = "Mismatches that wait for an answer.", body = MismatchList), Listed,
))]
#[route("/mismatches", method = "GET", method = "HEAD")]
pub(crate) async fn mismatches(yard: web::Data<Yard>, query: Query<AtKnown>) -> Answer {
    let (shared, query) = (yard.clone(), *query);
    let answer = ask_beside(&yard, move |book| Ok(domain::mismatches(book, query.when(&shared, book)?)));
    json(&answer.await?)
}
