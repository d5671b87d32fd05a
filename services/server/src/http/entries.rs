//! Facts in, and the log out: stored lines byte for byte.

use super::{
    accept::Accept,
    ask::{Paging, answered, beside, json, mismatches},
    contract::{Asked, Listed, PostedFacts, StoredEntry, StoredLines, Written as WrittenProblems},
    devices::Clock,
    dry_run::{self, Trying},
    feed::{self, EVENTS, Listeners, Wish},
    log::{self, Chosen, Filter},
    problems::{Answer, Fault},
    query::Query,
    read::json_text,
    refusals::{Stored, stored},
    say,
    things::Plain,
    who::Who,
};
use crate::{
    committer::Item,
    intake::{self, NewFact},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::Method, http::StatusCode, http::header, route, web};
use serde::Deserialize;
use serde_json::value::RawValue;
use shared_types::{BatchResult, DryRun, FieldProblem, ItemResult, Mismatch};
use utoipa::IntoParams;
use uuid::Uuid;

/// As many facts as one request takes.
const MOST: usize = 100;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Posted<'a> {
    #[serde(borrow)]
    entries: Vec<&'a RawValue>,
}

/// Facts happened: write them down.
///
/// 1 to 100 facts, in the past tense. A fact is never refused for disagreeing with the book: what does not fit comes back
/// as `mismatches`. Each has its own result, in order, and a bad one never blocks the next. The `id` is chosen by the
/// client and makes it safe to send again: the same id and content is written once and answered with 200.
///
/// With `dry_run=true` nothing is written: the answer says what each fact's result would be, which things would read
/// otherwise (as they are and as they would be), what would no longer add up, and which recorded acts would be judged
/// otherwise.
///
/// Once the yard has an administrator, a fact from a role that does not fit is taken all the same, and comes back with the mismatch
/// `role_does_not_fit`. An enrolled device's scan is told only where its time differs from `device_said` by more than its uncertainty.
#[utoipa::path(operation_id = "post_entries", tag = "log",
    request_body(content = PostedFacts, content_type = "application/json", description = "Facts, at most 256 KiB.", examples(
        ("taken out" = (summary = "A roll was taken out", value = json!({"entries": [
            {"id": "0197a1c2-0000-7000-8000-000000000001", "kind": "roll_taken_out", "thing": "roll/R-24",
             "occurred_at": "2026-05-06T07:55:11.000+01:00", "by": "B-17", "body": {"from": "F2", "to": "CUT"}}]}))),
        ("received and put away" = (summary = "A roll was received with its card and put away", value = json!({"entries": [
            {"id": "0197a1c2-0000-7000-8000-000000000002", "kind": "roll_received", "thing": "roll/R-61",
             "occurred_at": "2026-05-06T07:48:00.000+01:00", "by": "B-02", "body": {"material": "PM-101", "revision": "3", "batch": "B-123",
             "length_mm": 50000, "opening": {"out_time_s": 0, "refreezes": 0, "as_of": "2026-05-04T08:00:00.000+01:00", "source": "certificate"}}},
            {"id": "0197a1c2-0000-7000-8000-000000000003", "kind": "roll_put_away", "thing": "roll/R-61",
             "occurred_at": "2026-05-06T07:58:00.000+01:00", "by": "B-02", "body": {"into": "F1"}}]}))),
        ("cut and laid" = (summary = "A nest was cut into a kit, and its plies laid", value = json!({"entries": [
            {"id": "0197a1c2-0000-7000-8000-000000000004", "kind": "nest_cut", "thing": "nest/N-8",
             "occurred_at": "2026-05-06T07:50:00.000+01:00", "by": "B-17", "body": {"kits": [{"kit": "K-7", "job": "J-118",
             "items": [{"roll": "R-42", "length_mm": 12000, "plies": 8}]}], "waste": [{"roll": "R-42", "length_mm": 300}]}},
            {"id": "0197a1c2-0000-7000-8000-000000000005", "kind": "plies_laid", "thing": "part/P-3",
             "occurred_at": "2026-05-06T07:58:00.000+01:00", "by": "B-21", "body": {"stage": "skin", "from": "kit/K-7",
             "from_at": "2026-05-06T07:52:00.000+01:00"}}]})))
    )),
    params(Trying, ("Device-Time" = Option<String>, Header, format = DateTime, example = "2026-05-06T08:00:00.000+01:00",
        description = "Of an enrolled device: what its own clock shows as it sends. By how much that is wrong is taken off its `device_said`.")),
    responses(
        (status = 207, description = "One result per fact, in order.", body = BatchResult),
        (status = 200, description = "Only with `dry_run`: what would be answered, and what would change.", body = DryRun),
        WrittenProblems,
    ),
)]
#[route("/entries", method = "POST")]
pub(crate) async fn post_entries(
    request: HttpRequest,
    yard: web::Data<Yard>,
    who: Who,
    trying: Query<Trying>,
    body: web::Bytes,
) -> Answer {
    taken(&request, &yard, &body, trying.dry_run, |fact| who.vouch(&yard, fact)).await
}

/// Takes the facts of a body, each as far as somebody vouches for it.
pub(crate) async fn taken(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    body: &[u8],
    dry_run: bool,
    vouch: impl Fn(NewFact) -> Result<NewFact, Fault>,
) -> Answer {
    let text = json_text(request, body)?;
    // By position a list would be read as the object's members.
    if text.trim_start().starts_with('[') {
        let detail = "The body is a list. Put the facts under a name: {\"entries\": [fact, ..]}. Nothing was written.";
        return Err(Fault::cannot_read(detail).field("", "an object is expected here, not a list"));
    }
    let posted: Posted<'_> = serde_json::from_str(&text).map_err(|error| {
        let what = say::plain(&error.to_string());
        Fault::cannot_read(format!("The body is not {{\"entries\": [fact, ..]}}: {what}.")).field("", what)
    })?;
    if !(1..=MOST).contains(&posted.entries.len()) {
        let detail = format!("A request takes 1 to {MOST} facts, not {}. Nothing was written.", posted.entries.len());
        return Err(Fault::cannot_read(detail).field("/entries", format!("1 to {MOST} facts")));
    }
    let clock = Clock::of(request, yard.now());
    let read = Read::of(posted.entries.iter().map(|raw| raw.get()), |fact| Ok(clock.beside(vouch(fact)?)));
    if dry_run {
        return json(&read.tried(yard).await?);
    }
    answered(StatusCode::MULTI_STATUS, &read.written(yard).await)
}

/// Facts as they were read, each alone: what can't be read has its result already.
pub(crate) struct Read {
    results: Vec<Result<Uuid, ItemResult>>,
    pub(crate) facts: Vec<NewFact>,
}

impl Read {
    pub(crate) fn of<'a>(
        raws: impl Iterator<Item = &'a str>,
        vouch: impl Fn(NewFact) -> Result<NewFact, Fault>,
    ) -> Read {
        let mut read = Read { results: Vec::new(), facts: Vec::new() };
        for (place, raw) in raws.enumerate() {
            read.results.push(match intake::fact(raw) {
                Err(problem) => Err(unread(place, &problem)),
                Ok(fact) => {
                    let id = fact.entry.id;
                    match vouch(fact) {
                        Err(fault) => Err(failed(Some(id), fault.within(&format!("/entries/{place}")))),
                        Ok(fact) => {
                            read.facts.push(fact);
                            Ok(id)
                        }
                    }
                }
            });
        }
        read
    }

    /// What would come of them; nothing is written.
    pub(crate) async fn tried(self, yard: &web::Data<Yard>) -> Result<DryRun, Fault> {
        dry_run::facts(yard, self.results, self.facts.into_iter().map(Item::from).collect()).await
    }

    /// Writes them; each has its own result.
    pub(crate) async fn written(self, yard: &Yard) -> BatchResult {
        let items = self.facts.into_iter().map(Item::from).collect();
        let mut outcomes = yard.committer.submit_all(items).await.into_iter();
        let results = self.results.into_iter().map(|one| match one {
            Err(result) => result,
            Ok(id) => match outcomes.next() {
                Some(outcome) => result_of(yard, id, stored(outcome)),
                None => {
                    result_of(yard, id, Err(Fault::went_wrong("It was not answered. Send it again with the same id.")))
                }
            },
        });
        BatchResult { results: results.collect() }
    }
}

fn unread(place: usize, problem: &intake::ItemProblem) -> ItemResult {
    let mut fault = Fault::cannot_read(problem.detail());
    for FieldProblem { pointer, detail } in &problem.errors {
        fault = fault.field(format!("/entries/{place}{pointer}"), detail);
    }
    failed(problem.id, fault)
}

fn failed(id: Option<Uuid>, fault: Fault) -> ItemResult {
    let status = fault.status().as_u16();
    ItemResult { id, status, seq: None, told: false, mismatches: Vec::new(), problem: Some(fault.into_problem()) }
}

fn result_of(yard: &Yard, id: Uuid, stored: Result<Stored, Fault>) -> ItemResult {
    item_result(id, stored, |seq| mismatches(yard, seq))
}

pub(crate) fn item_result(
    id: Uuid,
    stored: Result<Stored, Fault>,
    mismatches: impl FnOnce(u64) -> Vec<Mismatch>,
) -> ItemResult {
    let (status, seq, told) = match stored {
        Err(fault) => return failed(Some(id), fault),
        Ok(Stored::Now(written)) => (StatusCode::CREATED, written.seq, written.told),
        Ok(Stored::Before(entry)) => (StatusCode::OK, entry.seq, entry.told),
    };
    ItemResult {
        id: Some(id),
        status: status.as_u16(),
        seq: Some(seq),
        told,
        mismatches: mismatches(seq),
        problem: None,
    }
}

#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct LogQuery {
    /// The `seq` after which to go on. Default: from the beginning. `Last-Event-ID` takes its place where it is sent.
    #[serde(default)]
    #[param(format = "uint64")]
    after: Option<u64>,
    /// At most so many items; more than 200 counts as 200. A stream has no end and does not look at it.
    #[serde(default)]
    #[param(minimum = 1, default = 200, format = "uint64")]
    limit: Option<u64>,
    /// Only entries of this kind, with its version or without: then of any version.
    #[serde(default)]
    #[param(example = "roll_taken_out")]
    kind: Option<String>,
    /// Only entries that name this thing.
    #[serde(default)]
    #[param(example = "roll/R-42")]
    thing: Option<String>,
    /// Of a stream: also says what runs out and what will not make its plan, as `/api/v1/warnings` has it. Default: entries only.
    #[serde(default)]
    #[param(default = false)]
    warnings: bool,
}

/// The log.
///
/// Stored lines byte for byte, in the order in which they were written, at most 200 and about 1 MiB at a time. `next` is
/// the address of the next page; without it this is the end for now, and `after` the last `seq` asks for what came since.
/// A position beyond the end is answered with no items and a sentence, for it may be reached yet; so is a thing that
/// nobody has named.
///
/// With `Accept: text/event-stream` the same lines come as server-sent events and go on as entries are written: `id` is
/// the `seq`, `event` is `entry`, `data` the stored line. `Last-Event-ID` goes on where a connection broke. After 15 s
/// without an entry there is a comment. At most 256 listen at a time.
///
/// With `warnings=true` a stream also says, once the entries up to now have come, what is warned of: `event: warning` with the
/// same object as in `/api/v1/warnings` of a week and eight weeks, and `event: warning_gone` with the `name` of one that no longer
/// holds. Each comes once until more changes about it than how long it is from now; they are looked at after entries and every 15 s.
/// They have no `id`: after a cut what holds then is said again. `kind` and `thing` choose entries, not warnings.
#[utoipa::path(operation_id = "list_entries", tag = "log",
    params(LogQuery, ("Last-Event-ID" = Option<u64>, Header, format = "uint64", description = "Of a stream: the last `id` that was received.")),
    responses(
        (status = 200, description = "Stored lines, and where to go on; or a stream of them.", content(
            (StoredLines = "application/json"), (String = "text/event-stream"))),
        (status = 503, description = "Of a stream: too many listen already (`too-many-listeners`).", body = shared_types::Problem,
            content_type = "application/problem+json"),
        Listed,
    ))]
#[route("/entries", method = "GET", method = "HEAD")]
pub(crate) async fn list_entries(
    request: HttpRequest,
    yard: web::Data<Yard>,
    who: Who,
    listeners: web::Data<Listeners>,
    query: Query<LogQuery>,
) -> Answer {
    let LogQuery { after, limit, kind, thing, warnings } = query.into_inner();
    let count = Paging { after, limit }.count()?;
    let filter = Filter::new(kind.as_deref(), thing.as_deref())?;
    let resumed = last_event(&request)?;
    if wants_events(&request) {
        if request.method() == Method::HEAD {
            return Ok(feed::head());
        }
        let after = resumed.or(after).unwrap_or(0);
        return feed::listen(yard, &listeners, Wish { filter, after, warnings, who });
    }
    let after = after.unwrap_or(0);
    let again = filter.in_query();
    let Chosen { lines, reached, more, last } = beside(move || log::chosen(&yard, &filter, after, count)).await?;
    let next = more.then(|| format!("/api/v1/entries?after={reached}&limit={count}{again}"));
    let lines: Vec<Vec<u8>> = lines.into_iter().map(|(_, line)| line).collect();
    let beyond = (last < after).then(|| format!("The log ends at entry {last}; nothing stands after {after} yet."));
    Ok(page_of_lines(&lines, next, last, beyond.as_deref()))
}

fn wants_events(request: &HttpRequest) -> bool {
    Accept::of(request.headers()).prefers(EVENTS, "application/json")
}

fn last_event(request: &HttpRequest) -> Result<Option<u64>, Fault> {
    let Some(id) = request.headers().get("last-event-id") else { return Ok(None) };
    let seq = id.to_str().ok().and_then(|id| id.trim().parse().ok());
    seq.map(Some).ok_or_else(|| {
        Fault::cannot_read("Last-Event-ID is the number of an entry: the id of the last event that came.")
    })
}

#[derive(Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub(crate) struct SeqPath {
    /// The entry's number in the log, from 1.
    #[param(minimum = 1)]
    seq: u64,
}

/// One entry.
///
/// The stored line, byte for byte: what its leaf in the tree is the hash of.
#[utoipa::path(operation_id = "get_entry", tag = "log", params(SeqPath), responses(
    (status = 200, description = "The line.", body = StoredEntry), Asked,
))]
#[route("/entries/{seq}", method = "GET", method = "HEAD")]
pub(crate) async fn get_entry(yard: web::Data<Yard>, path: web::Path<SeqPath>, _: Plain) -> Answer {
    let (reader, seq) = (yard.reader.clone(), path.seq);
    let line = beside(move || {
        let last = reader.last_seq();
        if !(1..=last).contains(&seq) {
            return Err(Fault::not_found(format!("There is no entry {seq}; the log ends at entry {last}."))
                .with("last_seq", last));
        }
        reader
            .line(seq)
            .map_err(|error| Fault::went_wrong(format!("Entry {seq} could not be read from the disk: {error}.")))
    });
    Ok(HttpResponse::Ok().insert_header((header::CONTENT_TYPE, "application/json")).body(line.await?))
}

/// `{"items": [..], "as_of_seq": .., "next": ".."}` around lines that stay as they are stored.
pub(crate) fn page_of_lines(
    lines: &[Vec<u8>],
    next: Option<String>,
    as_of_seq: u64,
    say: Option<&str>,
) -> HttpResponse {
    let mut body = b"{\"items\":[".to_vec();
    for (place, line) in lines.iter().enumerate() {
        if place > 0 {
            body.push(b',');
        }
        body.extend_from_slice(line);
    }
    body.extend_from_slice(format!("],\"as_of_seq\":{as_of_seq}").as_bytes());
    if let Some(say) = say {
        body.extend_from_slice(format!(",\"say\":\"{say}\"").as_bytes());
    }
    let mut answer = HttpResponse::Ok();
    answer.insert_header((header::CONTENT_TYPE, "application/json"));
    if let Some(next) = next {
        body.extend_from_slice(format!(",\"next\":\"{next}\"").as_bytes());
        answer.insert_header((header::LINK, format!("<{next}>; rel=\"next\"")));
    }
    body.push(b'}');
    answer.body(body)
}
