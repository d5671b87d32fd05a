//! The document held against the server: every operation with every status that it documents is asked, the answer is held
//! against its schema and is the documented example; every example of a request is sent and taken. `RIMEBOOK_BLESS=1` writes
//! the examples anew; build again after that.

mod ask;
mod people;
mod schema;
mod yard;

use crate::yard::{Said, Server};
use ask::{NOT_TRIED, Operation, ask, events, posted, server, text};
use reqwest::Method;
use serde_json::{Map, Value, json};
use std::{collections::BTreeMap, fs, path::Path, thread};

const KEPT: &str = "src/http/contract/examples.json";

fn document() -> Value {
    serde_json::from_str(&server::http::openapi_json()).unwrap()
}

fn operations(document: &Value) -> Vec<Operation<'_>> {
    let items = document["paths"].as_object().unwrap().iter();
    let all = items.flat_map(|(path, item)| {
        item.as_object().unwrap().iter().map(move |(method, says)| Operation {
            method: Method::from_bytes(method.to_ascii_uppercase().as_bytes()).unwrap(),
            path,
            id: says["operationId"].as_str().unwrap(),
            says,
        })
    });
    all.collect()
}

/// What is answered, as an example holds it: the document stands for itself in short.
fn example(operation: &Operation<'_>, media: &str, said: &Said) -> Value {
    match (operation.id, media) {
        ("get_openapi", "application/json") => {
            let whole = said.json();
            json!({"openapi": whole["openapi"], "info": {"title": whole["info"]["title"], "version": whole["info"]["version"]}, "paths": {}})
        }
        // The numbers differ from run to run.
        ("get_metrics", "text/plain") => {
            json!("# HELP rimebook_entries Entries of the log\n# TYPE rimebook_entries gauge\nrimebook_entries 21\n")
        }
        (_, media) if media.ends_with("json") => said.json(),
        _ => json!(said.text),
    }
}

/// Every answer that could be had, by operation, status and media type.
fn answers(document: &Value) -> BTreeMap<String, Value> {
    let shared = server();
    assert_eq!(shared.last_seq(), yard::LAST);
    let mut found = BTreeMap::new();
    for operation in operations(document) {
        for (status, answer) in operation.says["responses"].as_object().unwrap() {
            if NOT_TRIED.iter().any(|(exempt, _)| exempt == status) || status == "408" {
                continue;
            }
            for (media, content) in answer["content"].as_object().unwrap() {
                let what = format!("{} {status} {media}", operation.id);
                let value = match media.as_str() {
                    "text/event-stream" => json!(events(&shared)),
                    "text/plain" => {
                        let headers = [ask::TRACE, ("accept", media.as_str())];
                        let said = shared.send(Method::GET, &operation.address(None), &headers, Vec::new());
                        took(&operation, status, media, &said)
                    }
                    _ => took(&operation, status, media, &ask(&shared, &operation, status)),
                };
                schema::holds(document, &content["schema"], &value, &what);
                found.insert(what, value);
            }
        }
    }
    assert_eq!(shared.last_seq(), yard::LAST, "what was only asked was written");
    found
}

fn took(operation: &Operation<'_>, status: &str, media: &str, said: &Said) -> Value {
    let what = format!("{} {status}: {}", operation.id, said.text);
    assert_eq!(said.status.to_string(), status, "{what}");
    assert_eq!(said.media.split(';').next().unwrap(), media, "{what}");
    example(operation, media, said)
}

/// They wait for 30 s, so all of them at once.
fn slow_answers(document: &Value) -> BTreeMap<String, Value> {
    thread::scope(|scope| {
        let all = operations(document).into_iter().filter(|operation| operation.says["responses"]["408"].is_object());
        let waits: Vec<_> = all
            .map(|operation| {
                scope.spawn(move || {
                    let media = "application/problem+json";
                    let value = took(&operation, "408", media, &ask(&server(), &operation, "408"));
                    schema::holds(
                        document,
                        &operation.says["responses"]["408"]["content"][media]["schema"],
                        &value,
                        operation.id,
                    );
                    (format!("{} 408 {media}", operation.id), value)
                })
            })
            .collect();
        waits.into_iter().map(|wait| wait.join().unwrap()).collect()
    })
}

/// Where each list goes on: an example of its cursor.
fn cursors(document: &Value) -> BTreeMap<String, Value> {
    let server = server();
    let lists = operations(document).into_iter().filter(|one| {
        one.says["parameters"].as_array().is_some_and(|all| all.iter().any(|parameter| parameter["name"] == "cursor"))
    });
    let cursor = |operation: Operation<'_>| {
        let page = server.get(&operation.address(Some(("limit", "1")))).json();
        let next = page["next"].as_str().unwrap_or_else(|| panic!("{} has one row only", operation.id)).to_owned();
        let cursor = next.split("cursor=").nth(1).unwrap().to_owned();
        let state = json!(match operation.id {
            "list_rolls" | "list_kits" => "inside",
            _ => "nothing_laid",
        });
        [(format!("{} cursor", operation.id), json!(cursor)), (format!("{} state", operation.id), state)]
    };
    lists.flat_map(cursor).collect()
}

#[test]
fn every_documented_answer_is_given_fits_its_schema_and_is_the_example() {
    let document = document();
    let (mut found, slow) = thread::scope(|scope| {
        let slow = scope.spawn(|| slow_answers(&document));
        (answers(&document), slow.join().unwrap())
    });
    found.extend(slow);
    found.extend(cursors(&document));
    found.insert("list_entries kind".to_owned(), json!("roll_taken_out"));
    found.insert("may_install code".to_owned(), json!("P-3"));
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(KEPT);
    if std::env::var_os("RIMEBOOK_BLESS").is_some() {
        let lines: Vec<String> = found.iter().map(|(what, value)| format!("{}: {value}", json!(what))).collect();
        fs::write(&path, format!("{{\n{}\n}}\n", lines.join(",\n"))).unwrap();
    }
    let kept: Map<String, Value> = serde_json::from_str(&fs::read_to_string(&path).unwrap()).unwrap();
    for (what, value) in &found {
        assert_eq!(
            kept.get(what),
            Some(value),
            "{what} is answered otherwise than the example: run this with RIMEBOOK_BLESS=1"
        );
    }
    assert_eq!(kept.len(), found.len(), "there are examples of what nobody documents");
}

#[test]
fn every_answer_and_parameter_has_an_example_that_fits() {
    let document = document();
    for operation in operations(&document) {
        // Which one each operation needs is tried in people/enforced.rs.
        for scheme in
            operation.says["security"].as_array().unwrap().iter().flat_map(|one| one.as_object().unwrap().keys())
        {
            assert!(document["components"]["securitySchemes"][scheme].is_object(), "{} {scheme}", operation.id);
        }
        for parameter in operation.says["parameters"].as_array().into_iter().flatten() {
            let what = format!("{} {}", operation.id, parameter["name"]);
            assert!(!parameter["example"].is_null() && parameter["description"].is_string(), "{what} has no example");
            schema::holds(&document, &parameter["schema"], &parameter["example"], &what);
        }
        for (status, answer) in operation.says["responses"].as_object().unwrap() {
            for (media, content) in answer["content"].as_object().unwrap() {
                let what = format!("{} {status} {media}", operation.id);
                assert!(!content["example"].is_null(), "{what} has no example: run this test with RIMEBOOK_BLESS=1");
                schema::holds(&document, &content["schema"], &content["example"], &what);
                assert!(answer["headers"]["traceresponse"].is_object(), "{what}");
            }
        }
    }
}

#[test]
fn every_example_of_a_parameter_is_taken() {
    let document = document();
    let server = server();
    // The address of a calendar is somebody's own: what may stand behind it is asked in people/mine.rs.
    for operation in operations(&document).into_iter().filter(|operation| operation.id != "calendar_feed") {
        for parameter in operation.says["parameters"].as_array().into_iter().flatten() {
            let (name, example) = (parameter["name"].as_str().unwrap(), text(&parameter["example"]));
            let said = match parameter["in"].as_str().unwrap() {
                "header" => server.send(Method::GET, &operation.address(None), &[(name, &example)], Vec::new()),
                "query" if operation.method == Method::GET => {
                    let with = Some((name, example.as_str())).filter(|_| parameter["required"] != true);
                    server.get(&operation.address(with))
                }
                _ => continue,
            };
            assert_eq!(said.status, 200, "{} {name}: {}", operation.id, said.text);
        }
    }
}

#[test]
fn every_example_of_a_request_fits_its_schema_and_is_taken() {
    let document = document();
    for operation in operations(&document).into_iter().filter(|operation| operation.method == Method::POST) {
        for (name, body) in posted(&operation) {
            let what = format!("{} {name}", operation.id);
            let schema = &operation.says["requestBody"]["content"]["application/json"]["schema"];
            schema::holds(&document, schema, &body, &what);
            // What people send once is sent in people.rs.
            if operation.says["tags"] == json!(["people"]) {
                continue;
            }
            let server = server();
            let tried = server.post(&operation.address(Some(("dry_run", "true"))), &body);
            assert_eq!(tried.status, 200, "{what}: {}", tried.text);
            all_written(&server, &operation, &body, &what);
        }
    }
}

fn all_written(server: &Server, operation: &Operation<'_>, body: &Value, what: &str) {
    let said = server.post(&operation.address(None), body);
    let status = if operation.id == "post_entries" { 207 } else { 201 };
    assert_eq!(said.status, status, "{what}: {}", said.text);
    for result in said.json()["results"].as_array().into_iter().flatten() {
        assert_eq!((&result["status"], &result["mismatches"]), (&json!(201), &Value::Null), "{what}: {result}");
    }
}
