//! Is the server alive, and does it take entries?

use super::{
    ask::{NoParameters, json},
    contract::{Alive, Listed},
    feed::Listeners,
    problems::{Answer, Fault, Kind},
    query::Query,
};
use crate::{backup::Schedule, yard::Yard};
use actix_web::{
    HttpResponse,
    http::{StatusCode, header},
    route, web,
};
use serde::Serialize;
use shared_types::Stamp;
use utoipa::ToSchema;

#[derive(Serialize, ToSchema)]
pub(crate) struct Health {
    /// Always `ok`.
    #[schema(example = "ok")]
    status: &'static str,
    /// The number of the log's last entry.
    last_seq: u64,
    /// What somebody who looks after the server has to do now; it takes entries all the same.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    alarms: Vec<String>,
    /// When the server took its last backup, if it takes any.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<String>, format = DateTime)]
    last_backup_at: Option<Stamp>,
}

/// How does the server do, in numbers?
///
/// The text format of Prometheus: counters and histograms since the start, and how things are now. Names are explained in
/// the answer itself; nothing of what was asked or written is in it.
#[utoipa::path(operation_id = "get_metrics", tag = "health", responses(
    (status = 200, description = "Every number, with its name explained.", body = String, content_type = "text/plain"), Listed,
))]
#[route("/metrics", method = "GET", method = "HEAD")]
pub(crate) async fn metrics(yard: web::Data<Yard>, listeners: web::Data<Listeners>, _: Query<NoParameters>) -> Answer {
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "text/plain; version=0.0.4; charset=utf-8"))
        .body(yard.measured.text(&yard, listeners.count())))
}

/// Is the server alive?
///
/// It answers whether or not entries are taken.
#[utoipa::path(operation_id = "is_alive", tag = "health", responses((status = 200, description = "It is alive.", body = Health), Alive))]
#[route("/healthz", method = "GET", method = "HEAD")]
pub(crate) async fn healthz(yard: web::Data<Yard>, _: Query<NoParameters>) -> Answer {
    json(&Health { status: "ok", last_seq: yard.reader.last_seq(), alarms: Vec::new(), last_backup_at: None })
}

/// Does the server take entries?
///
/// While writing has stopped or waits for a person, this is a problem that says why; questions are answered all the same.
#[utoipa::path(operation_id = "is_ready", tag = "health", responses(
    (status = 200, description = "It takes entries.", body = Health),
    (status = 503, description = "It takes no entries now; `detail` says why.", body = shared_types::Problem, content_type = "application/problem+json"),
    Alive,
))]
#[route("/readyz", method = "GET", method = "HEAD")]
pub(crate) async fn readyz(yard: web::Data<Yard>, _: Query<NoParameters>) -> Answer {
    match yard.waits() {
        None => json(&Health {
            status: "ok",
            last_seq: yard.reader.last_seq(),
            alarms: yard.alarms(),
            last_backup_at: yard.schedule().and_then(Schedule::last).map(Stamp::utc),
        }),
        Some(why) => Err(Fault::new(StatusCode::SERVICE_UNAVAILABLE, Kind::WritesStopped, why)),
    }
}
