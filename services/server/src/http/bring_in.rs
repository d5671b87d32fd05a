//! What a device recorded and never sent, read from it into a file: an administrator brings it in.

use super::{
    contract::{Makes, PostedFacts},
    dry_run::Trying,
    entries::{Read, taken},
    problems::{Answer, Fault},
    query::Query,
};
use crate::{intake::NewFact, yard::Yard};
use actix_web::{HttpRequest, route, web};
use serde::Deserialize;
use serde_json::value::RawValue;
use shared_types::{BatchResult, DryRun};

/// Bring in what a revoked device had not sent.
///
/// For an administrator, from a file that was read from the device: facts in the same shape, each of which names its `device`. They are
/// kept as they say and nobody vouches for them: the badge and the device are `claimed`. With `dry_run=true` nothing is written, and the
/// answer is what would change.
#[utoipa::path(operation_id = "bring_in_entries", tag = "people",
    request_body(content = PostedFacts, content_type = "application/json", description = "Facts, at most 256 KiB.", examples(
        ("a scan" = (summary = "A scan that a lost device had not sent", value = json!({"entries": [
            {"id": "0197a1c2-0000-7000-8000-000000000009", "kind": "roll_taken_out", "thing": "roll/R-24", "device": "H-3", "counter": 118,
             "occurred_at": "2026-05-06T07:55:11.000+01:00", "by": "B-17", "body": {"from": "F2", "to": "CUT"}}]})))
    )),
    params(Trying),
    responses(
        (status = 207, description = "One result per fact, in order.", body = BatchResult),
        (status = 200, description = "Only with `dry_run`: what would be answered, and what would change.", body = DryRun),
        Makes,
    ),
)]
#[route("/devices/entries", method = "POST")]
pub(crate) async fn bring_in_entries(
    request: HttpRequest,
    yard: web::Data<Yard>,
    trying: Query<Trying>,
    body: web::Bytes,
) -> Answer {
    taken(&request, &yard, &body, trying.dry_run, of_a_device).await
}

/// Whoever brings it in vouches for nothing, so that it has to say where it comes from.
fn of_a_device(fact: NewFact) -> Result<NewFact, Fault> {
    match fact.entry.device.is_some() {
        true => Ok(fact),
        false => Err(Fault::cannot_read("Name the device that it was read from.").field("/device", "it is missing")),
    }
}

/// The facts of a file.
pub(crate) fn read(file: &str) -> Result<Read, Fault> {
    match in_file(file) {
        facts if facts.is_empty() => Err(Fault::cannot_read(
            "There is nothing in the file. It has one fact as JSON a line, or {\"entries\": [fact, ..]} as the API takes it.",
        )),
        facts => Ok(Read::of(facts.into_iter(), of_a_device)),
    }
}

/// Each fact of a file as it stands there: one a line, or all of them as the API takes them. What is no JSON is said of its line.
pub(crate) fn in_file(file: &str) -> Vec<&str> {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Whole<'a> {
        #[serde(borrow)]
        entries: Vec<&'a RawValue>,
    }
    let file = file.trim_start_matches('\u{feff}');
    match serde_json::from_str::<Whole<'_>>(file) {
        Ok(whole) => whole.entries.into_iter().map(RawValue::get).collect(),
        Err(_) => file.lines().map(str::trim).filter(|line| !line.is_empty()).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::in_file;

    #[test]
    fn a_file_has_a_fact_a_line_or_all_as_they_are_posted() {
        assert_eq!(in_file("{\"a\": 1}\r\n\n  {\"b\": 2}\n"), ["{\"a\": 1}", "{\"b\": 2}"]);
        assert_eq!(in_file("\u{feff}{\"entries\": [{\"a\":\n1}, {\"b\": 2}]}"), ["{\"a\":\n1}", "{\"b\": 2}"]);
        assert_eq!(in_file("{\"entries\": [{\"a\": 1}"), ["{\"entries\": [{\"a\": 1}"]);
        assert!(in_file(" \n").is_empty());
    }
}
