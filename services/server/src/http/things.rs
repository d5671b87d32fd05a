//! Questions about one thing: where it is, whether it may be used, its out-time card, its history, its trace.

use super::{
    ask::{AtKnown, NoParameters, Paging, ask, ask_beside, json, nobody, stamp},
    contract::{Asked, StoredLines},
    entries::page_of_lines,
    nameless::Answers,
    problems::{Answer, Fault},
    query::Query,
    refusals::not_asked,
};
use crate::yard::Yard;
use actix_web::{route, web};
use domain::{Book, MayUseQuestion, When};
use serde::Deserialize;
use shared_types::{
    Act, Code, Direction, Kind, MayInstall, MayUse, OutTimeCard, StageName, Stamp, ThingName, ThingView, Trace,
};
use utoipa::IntoParams;

/// A thing: its kind and the code on its label.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub(crate) struct ThingPath {
    /// The kind of thing.
    #[param(inline, value_type = Kind, example = "roll")]
    kind: String,
    /// The code on its label. A batch's code is its material's and its own: `PM-101%2FB-123`.
    #[param(example = "R-42")]
    code: String,
}

/// A batch: its material and its own number.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub(crate) struct BatchPath {
    /// The material's code.
    #[param(example = "PM-101")]
    material: String,
    /// The supplier's batch number.
    #[param(example = "B-123")]
    batch: String,
}

impl ThingPath {
    pub(crate) fn thing(&self) -> Result<ThingName, Fault> {
        ThingName::from_parts(&self.kind, &self.code).map_err(|error| Fault::cannot_read(error.to_string()))
    }
}

impl BatchPath {
    pub(crate) fn thing(&self) -> Result<ThingName, Fault> {
        let code = |text: &str| Code::new(text).map_err(|error| Fault::cannot_read(error.to_string()));
        Ok(ThingName::batch(&code(&self.material)?, &code(&self.batch)?))
    }
}

#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct MayUseQuery {
    /// What somebody wants to do.
    act: Act,
    /// For which job. Without it the answer gives the last instants instead of checking a plan.
    #[serde(default)]
    #[param(value_type = Option<String>, example = "J-118")]
    job: Option<Code>,
    /// Which lay-up stage of a part; may be left out while the part has one.
    #[serde(default)]
    #[param(value_type = Option<String>, example = "skin")]
    stage: Option<StageName>,
    /// The instant at which the history is read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    at: Option<Stamp>,
    /// The last entry (`seq`) that counts as known. Default: all of them.
    #[serde(default)]
    known: Option<u64>,
}

/// May this be used, for which act, until when?
///
/// The same answer drives screen, print and API: the sentence to show (`say`), why, and every limit behind it. A limit
/// that nobody stated is not unlimited: the answer is then `cannot_say` and names what is missing. What the maker's
/// instructions say comes first.
#[utoipa::path(operation_id = "may_use", tag = "life", params(ThingPath, MayUseQuery), responses(
    (status = 200, description = "The answer, also when it is no.", body = MayUse), Asked,
))]
#[route("/things/{kind}/{code}/may-use", method = "GET", method = "HEAD")]
pub(crate) async fn may_use(
    yard: web::Data<Yard>,
    path: web::Path<ThingPath>,
    query: Query<MayUseQuery>,
    answers: Answers,
) -> Answer {
    let MayUseQuery { act, job, stage, at, known } = query.into_inner();
    let thing = path.thing()?;
    let answer = ask(&yard, |book| {
        let when = AtKnown { at, known }.when(&yard, book)?;
        domain::may_use(book, &MayUseQuestion { thing, act, job, stage, when }).map_err(not_asked)
    })?;
    json(&answers.may_use(answer))
}

/// A part.
#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub(crate) struct PartPath {
    /// The part's serial number.
    code: String,
}

#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct MayInstallQuery {
    /// Into which boat. With it the answer's `notes` say whether the part was planned for another one.
    #[serde(default)]
    #[param(value_type = Option<String>)]
    boat: Option<Code>,
    /// The instant at which the history is read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    at: Option<Stamp>,
    /// The last entry (`seq`) that counts as known. Default: all of them.
    #[serde(default)]
    known: Option<u64>,
}

/// May this part be installed, and into this boat?
///
/// Yes only if everything planned of it is laid, every cure is confirmed, no act went over a limit and nothing holds it. What
/// is not known is `cannot_say`. That a part was installed is a fact: it is taken whatever this answers.
#[utoipa::path(operation_id = "may_install", tag = "life", params(PartPath, MayInstallQuery), responses(
    (status = 200, description = "The answer, also when it is no.", body = MayInstall), Asked,
))]
#[route("/things/part/{code}/may-install", method = "GET", method = "HEAD")]
pub(crate) async fn may_install(
    yard: web::Data<Yard>,
    path: web::Path<PartPath>,
    query: Query<MayInstallQuery>,
    answers: Answers,
) -> Answer {
    let MayInstallQuery { boat, at, known } = query.into_inner();
    let code = Code::new(&path.code).map_err(|error| Fault::cannot_read(error.to_string()))?;
    let part = ThingName::new(Kind::Part, &code);
    let answer = ask(&yard, |book| {
        let when = AtKnown { at, known }.when(&yard, book)?;
        domain::may_install(book, &part, boat.as_ref(), when).ok_or_else(|| nobody(&part))
    })?;
    json(&answers.may_install(answer))
}

/// A thing as the book has it.
///
/// Where it is, its limits, holds, what does not add up, acts that are judged otherwise today, and what waits for a
/// second person.
#[utoipa::path(operation_id = "get_thing", tag = "things", params(ThingPath, AtKnown), responses(
    (status = 200, description = "The thing.", body = ThingView), Asked,
))]
#[route("/things/{kind}/{code}", method = "GET", method = "HEAD")]
pub(crate) async fn get_thing(yard: web::Data<Yard>, path: web::Path<ThingPath>, query: Query<AtKnown>) -> Answer {
    one(&yard, &path.thing()?, *query, domain::thing_view)
}

/// A batch as the book has it.
///
/// The same as for any other thing; a batch is named with its material.
#[utoipa::path(operation_id = "get_batch", tag = "things", params(BatchPath, AtKnown), responses(
    (status = 200, description = "The batch.", body = ThingView), Asked,
))]
#[route("/things/batch/{material}/{batch}", method = "GET", method = "HEAD")]
pub(crate) async fn get_batch(yard: web::Data<Yard>, path: web::Path<BatchPath>, query: Query<AtKnown>) -> Answer {
    one(&yard, &path.thing()?, *query, domain::thing_view)
}

/// The out-time card.
///
/// Every sum behind out-time, as the trade writes them: out, in, interval, running total, what is left, who. One card
/// for a roll, one for each item of a kit or a part.
#[utoipa::path(operation_id = "out_time_card", tag = "life", params(ThingPath, AtKnown), responses(
    (status = 200, description = "The card.", body = OutTimeCard), Asked,
))]
#[route("/things/{kind}/{code}/out-time-card", method = "GET", method = "HEAD")]
pub(crate) async fn out_time_card(yard: web::Data<Yard>, path: web::Path<ThingPath>, query: Query<AtKnown>) -> Answer {
    one(&yard, &path.thing()?, *query, domain::out_time_card)
}

fn one<T: serde::Serialize>(
    yard: &Yard,
    thing: &ThingName,
    query: AtKnown,
    question: impl Fn(&Book, &ThingName, When) -> Option<T>,
) -> Answer {
    let answer = ask(yard, |book| {
        let when = query.when(yard, book)?;
        question(book, thing, when).ok_or_else(|| nobody(thing))
    })?;
    json(&answer)
}

#[derive(Deserialize, IntoParams, Clone, Copy)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct TraceQuery {
    /// What it is made from, or what it went into. Default: what it is made from.
    #[serde(default)]
    #[param(value_type = Option<Direction>)]
    direction: Option<Direction>,
    /// The instant at which the history is read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    at: Option<Stamp>,
    /// The last entry (`seq`) that counts as known. Default: all of them.
    #[serde(default)]
    known: Option<u64>,
}

/// What it is made from, or what it went into.
///
/// From anything to anything, through batch, roll, kit, part and boat. Each link names the entry that says so.
#[utoipa::path(operation_id = "trace", tag = "trace", params(ThingPath, TraceQuery), responses(
    (status = 200, description = "Things and links, sorted.", body = Trace), Asked,
))]
#[route("/things/{kind}/{code}/trace", method = "GET", method = "HEAD")]
pub(crate) async fn trace(yard: web::Data<Yard>, path: web::Path<ThingPath>, query: Query<TraceQuery>) -> Answer {
    traced(&yard, path.thing()?, *query).await
}

/// What a batch went into.
///
/// The same as for any other thing; a batch is named with its material. Ask with `direction=went_into`.
#[utoipa::path(operation_id = "trace_batch", tag = "trace", params(BatchPath, TraceQuery), responses(
    (status = 200, description = "Things and links, sorted.", body = Trace), Asked,
))]
#[route("/things/batch/{material}/{batch}/trace", method = "GET", method = "HEAD")]
pub(crate) async fn trace_batch(yard: web::Data<Yard>, path: web::Path<BatchPath>, query: Query<TraceQuery>) -> Answer {
    traced(&yard, path.thing()?, *query).await
}

async fn traced(yard: &web::Data<Yard>, thing: ThingName, query: TraceQuery) -> Answer {
    let TraceQuery { direction, at, known } = query;
    let shared = yard.clone();
    let answer = ask_beside(yard, move |book| {
        let when = AtKnown { at, known }.when(&shared, book)?;
        let direction = direction.unwrap_or(Direction::MadeFrom);
        domain::trace(book, &thing, direction, when).ok_or_else(|| nobody(&thing))
    });
    json(&answer.await?)
}

/// A thing's own history.
///
/// The stored lines of every entry that names it, byte for byte, in the order in which they occurred, struck ones too.
#[utoipa::path(operation_id = "list_thing_entries", tag = "things", params(ThingPath, Paging), responses(
    (status = 200, description = "Stored lines, and where to go on.", body = StoredLines), Asked,
))]
#[route("/things/{kind}/{code}/entries", method = "GET", method = "HEAD")]
pub(crate) async fn list_thing_entries(
    yard: web::Data<Yard>,
    path: web::Path<ThingPath>,
    query: Query<Paging>,
) -> Answer {
    history(&yard, path.thing()?, *query).await
}

/// A batch's own history.
///
/// The same as for any other thing; a batch is named with its material.
#[utoipa::path(operation_id = "list_batch_entries", tag = "things", params(BatchPath, Paging), responses(
    (status = 200, description = "Stored lines, and where to go on.", body = StoredLines), Asked,
))]
#[route("/things/batch/{material}/{batch}/entries", method = "GET", method = "HEAD")]
pub(crate) async fn list_batch_entries(
    yard: web::Data<Yard>,
    path: web::Path<BatchPath>,
    query: Query<Paging>,
) -> Answer {
    history(&yard, path.thing()?, *query).await
}

async fn history(yard: &web::Data<Yard>, thing: ThingName, paging: Paging) -> Answer {
    let count = paging.count()?;
    let (seqs, more, as_of_seq) = ask(yard, |book| {
        if book.label(&thing).is_none() {
            return Err(nobody(&thing));
        }
        let all = book.entries_of(&thing);
        // The page goes on behind the entry that ended the last one, wherever that stands in occurred order by now.
        let from = match paging.after {
            None | Some(0) => 0,
            Some(after) => all.iter().position(|seq| *seq == after).map(|at| at + 1).ok_or_else(|| {
                Fault::cannot_read(format!("Entry {after} does not name {thing}; go on from a page's own next."))
                    .field("/after", "not an entry of this thing")
            })?,
        };
        let page: Vec<u64> = all.iter().skip(from).take(count).copied().collect();
        let more = from + page.len() < all.len();
        Ok((page, more, book.last_seq()))
    })?;
    let next = seqs.last().filter(|_| more).map(|last| {
        let path = super::fallback::in_a_path(&thing);
        format!("/api/v1/things/{path}/entries?after={last}&limit={count}")
    });
    let shared = yard.clone();
    let lines = super::ask::beside(move || {
        shared
            .entries(&seqs)
            .map_err(|error| Fault::went_wrong(format!("The history could not be read from the disk: {error}.")))
    });
    Ok(page_of_lines(&lines.await?, next, as_of_seq, None))
}

/// Refuses parameters where there are none.
pub(crate) type Plain = Query<NoParameters>;
