//! The log's signed checkpoint, and whether the log goes on from one that somebody kept.

use super::{
    accept::Accept,
    ask::{beside, json},
    contract::Alive,
    problems::{Answer, Fault},
    proofs::{hex, unread},
    query::Query,
};
use crate::{
    checkpoint::{Checkpoint, NoteError},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::header, route, web};
use serde::Deserialize;
use shared_types::{SeenCheckpoint, SignedCheckpoint};
use utoipa::IntoParams;

const TEXT: &str = "text/plain";

#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct CheckpointQuery {
    /// A checkpoint that was kept, whole: does the log go on from it? Ask it at each contact, and keep the new one.
    #[serde(default)]
    #[param(
        example = "rimebook/log-3b5d\n7\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n— rimebook/log-3b5d Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n"
    )]
    seen: Option<String>,
}

/// How far has the log come, signed?
///
/// Whoever keeps the answer can tell later whether the log still begins with what it began with then. As text/plain it is
/// the signed note alone. A checkpoint of this log over more entries than it has says that it was restored from an older
/// copy: the server then raises an alarm.
#[utoipa::path(operation_id = "get_checkpoint", tag = "log", params(CheckpointQuery), responses(
    (status = 200, description = "The checkpoint over every entry there is.",
        content((SignedCheckpoint = "application/json"), (String = "text/plain"))),
    Alive,
))]
#[route("/checkpoint", method = "GET", method = "HEAD")]
pub(crate) async fn checkpoint(request: HttpRequest, yard: web::Data<Yard>, query: Query<CheckpointQuery>) -> Answer {
    let seen = query.into_inner().seen;
    let answer = beside(move || signed(&yard, seen.as_deref())).await?;
    match Accept::of(request.headers()).prefers(TEXT, "application/json") {
        true => Ok(HttpResponse::Ok()
            .insert_header((header::CONTENT_TYPE, "text/plain; charset=utf-8"))
            .body(answer.checkpoint)),
        false => json(&answer),
    }
}

fn signed(yard: &Yard, seen: Option<&str>) -> Result<SignedCheckpoint, Fault> {
    let unsigned = |error| Fault::went_wrong(format!("The log's key can't be used: {error}."));
    let (over, note) = yard.checkpoints.now(&yard.reader).map_err(unsigned)?;
    let key = yard.checkpoints.key().map_err(unsigned)?;
    let seen = match seen {
        Some(note) => Some(held_against(yard, note, &over)?),
        None => None,
    };
    Ok(SignedCheckpoint {
        origin: over.origin,
        size: over.size,
        root: hex(&over.root),
        checkpoint: note.to_string(),
        key: key.to_string(),
        seen,
    })
}

/// A checkpoint that somebody kept, against the one over the log as it is.
fn held_against(yard: &Yard, note: &str, now: &Checkpoint) -> Result<SeenCheckpoint, Fault> {
    let no_checkpoint = |why: &str| {
        let detail = format!("seen is no checkpoint of a log: {why}. Send it whole, as it was answered.");
        Fault::cannot_read(detail).field("/seen", "no checkpoint")
    };
    let claimed = Checkpoint::claimed(note).ok_or_else(|| no_checkpoint("it can't be read"))?;
    let key = yard.checkpoints.key().map_err(unread)?;
    let not = |say: String| SeenCheckpoint { size: claimed.size, continues: false, say, path: Vec::new() };
    let seen = match Checkpoint::opened(note, &key) {
        Ok(seen) => seen,
        Err(NoteError::Shape(why)) => return Err(no_checkpoint(why)),
        Err(error @ NoteError::Forged(_)) => return Ok(not(format!("It says nothing of this log: {error}."))),
        Err(NoteError::OtherKey { by, .. }) => {
            return Ok(not(format!(
                "It is of another log: {by} signed it, and this one is {}. This server was set up anew, or its log goes \
                 on under a new key after entries were lost.",
                now.origin
            )));
        }
    };
    if now.size < seen.size {
        yard.checkpoints.is_behind(&seen, note).map_err(unread)?;
        return Ok(not(format!(
            "This log has {} entries, and it signed this checkpoint over {}: it is an older copy, and what came later has \
             to be recorded again.",
            now.size, seen.size
        )));
    }
    if seen.size == 0 {
        return Ok(SeenCheckpoint {
            size: 0,
            continues: true,
            say: "Every log goes on from none.".to_owned(),
            path: Vec::new(),
        });
    }
    if yard.proofs.root(&yard.reader, seen.size).map_err(unread)? != seen.root {
        return Ok(not(format!(
            "The first {} entries are not those that were signed: this log was changed. Keep the checkpoint, it proves it.",
            seen.size
        )));
    }
    let path = yard.proofs.consistency(&yard.reader, seen.size, now.size).map_err(unread)?;
    Ok(SeenCheckpoint {
        size: seen.size,
        continues: true,
        say: format!("This log goes on from it: its first {} entries are the same.", seen.size),
        path: path.iter().map(hex).collect(),
    })
}
