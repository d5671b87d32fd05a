//! Decisions: asked for in the imperative, taken or refused.

use super::{
    ask::mismatches,
    contract::{Decision, Refused},
    dry_run::{self, Trying},
    problems::{Answer, Fault},
    query::Query,
    read::json_text,
    refusals::{Stored, stored},
    who::{self, Who},
    written,
};
use crate::{intake, yard::Yard};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, route, web};
use serde::Serialize;
use shared_types::{Body, Decided, DryRun, Entry, FieldProblem, Stamp, catalogue::Door};
use utoipa::ToSchema;

/// What a 200 holds: what was decided before, or what a dry run found.
#[derive(Serialize, ToSchema)]
#[serde(untagged)]
#[expect(dead_code, reason = "it stands for the two shapes in the document")]
enum DecidedOrTried {
    Decided(Decided),
    Tried(DryRun),
}

/// Decide something the book can protect.
///
/// It is refused, with the reason in plain words, when a limit has run out, a hold stands, a role or a second person is missing, or
/// something changed after the answer it is based on (`based_on` = that answer's `as_of_seq`). A refusal leaves no trace.
/// The same `id` and content is decided once: asked again it is answered with 200.
///
/// A paper that came after its rolls: `strike` a roll's receipt with the same receipt and its `opening` as `instead`; the day that
/// a batch's certificate names is added by `register_batch` with the same `made_on`. Of two days the earlier counts.
///
/// With `dry_run=true` nothing is written. What would be refused is refused in the same words, but for a second person who
/// is missing: then the answer says under `second_person` what would be given back, and the effect is as if somebody
/// stood beside it.
#[utoipa::path(operation_id = "post_decision", tag = "log",
    request_body(content = Decision, content_type = "application/json", description = "One decision, at most 256 KiB.", examples(
        ("issue" = (summary = "Issue a kit to a job", value = json!({"id": "0197a1c3-0000-7000-8000-000000000001", "decide": "issue",
            "thing": "kit/K-5", "by": "B-17", "based_on": 20, "body": {"job": "J-118"}}))),
        ("hold" = (summary = "Hold a batch", value = json!({"id": "0197a1c3-0000-7000-8000-000000000002", "decide": "place_hold",
            "thing": "batch/PM-101/B-123", "by": "Q-03", "based_on": 20, "body": {"why": "no certificate yet"}}))),
        ("revise a material" = (summary = "State a material's limits", value = json!({"id": "0197a1c3-0000-7000-8000-000000000003",
            "decide": "revise_material", "thing": "material/PM-101", "by": "Q-03", "second": {"by": "Q-01"}, "based_on": 20, "body": {
            "revision": "4", "name": "carbon prepreg, unidirectional", "form": "prepreg", "storage_limit_millideg_c": -18000,
            "valid_up_to_millideg_c": 30000, "shelf_life": {"months": 12}, "out_life_s": 864000, "tack_life_s": 576000,
            "lay_to_cure": {"limit_s": 259200}, "refreezes": {"allowed": 5}, "rate": {"model": "door_to_door"}}}))),
        ("strike" = (summary = "Strike a wrong scan", value = json!({"id": "0197a1c3-0000-7000-8000-000000000004", "decide": "strike",
            "thing": "roll/R-24", "by": "B-17", "second": {"by": "B-05"}, "based_on": 20, "body": {
            "entry": "0197a1c2-0000-7000-8000-0000000000a1", "why": "it was R-42"}})))
    )),
    params(Trying),
    responses(
        (status = 201, description = "Decided and durable.", body = Decided),
        (status = 200, description = "The same was decided before; with `dry_run` what would change.", body = DecidedOrTried),
        Refused,
    ),
)]
#[route("/decisions", method = "POST")]
pub(crate) async fn post_decision(
    request: HttpRequest,
    yard: web::Data<Yard>,
    who: Who,
    trying: Query<Trying>,
    body: web::Bytes,
) -> Answer {
    let text = json_text(&request, &body)?;
    let decision = intake::decision(&text).map_err(|problem| {
        let fault = Fault::cannot_read(problem.detail());
        problem.errors.iter().fold(fault, |fault, FieldProblem { pointer, detail }| fault.field(pointer, detail))
    })?;
    who::about_people(&who, &decision)?;
    let decision = who.vouch_decision(&yard, decision)?;
    let asked = asked_for(&decision.wish.body);
    if trying.dry_run {
        return dry_run::decision(&yard, decision.into()).await;
    }
    let outcome = yard.committer.submit(decision).await;
    written::if_refused(&yard, &who, asked, &outcome).await;
    let (status, mut decided) = match stored(outcome)? {
        Stored::Now(written) => {
            let decided = Decided {
                id: written.id,
                seq: written.seq,
                kind: written.kind.to_owned(),
                recorded_at: Stamp::utc(written.recorded_at),
                instead_seq: written.instead_seq,
                mismatches: Vec::new(),
            };
            (StatusCode::CREATED, decided)
        }
        Stored::Before(entry) => (StatusCode::OK, decided_before(&yard, &entry)),
    };
    decided.mismatches = mismatches(&yard, decided.seq);
    let body = serde_json::to_vec(&decided).map_err(|_| Fault::went_wrong("The answer could not be written down."))?;
    Ok(HttpResponse::build(status)
        .insert_header((header::CONTENT_TYPE, "application/json"))
        .insert_header((header::LOCATION, format!("/api/v1/entries/{}", decided.seq)))
        .body(body))
}

fn decided_before(yard: &Yard, entry: &Entry) -> Decided {
    let instead = match &entry.body {
        Body::EntryStruck(strike) => strike.instead,
        _ => None,
    };
    Decided {
        id: entry.id,
        seq: entry.seq,
        kind: entry.body.kind().to_owned(),
        recorded_at: Stamp::utc(entry.recorded_at),
        instead_seq: instead.and_then(|id| yard.read().seq_of(&id)),
        mismatches: Vec::new(),
    }
}

/// What a decision is asked for by: `lift_hold`.
pub(crate) fn asked_for(body: &Body) -> &'static str {
    match body.door() {
        Door::Decision(asked) => asked,
        Door::Fact | Door::Log => body.plain_kind(),
    }
}
