//! The committed contract is the one that the handlers make. `RIMEBOOK_BLESS=1` writes it anew.

use std::{fs, path::Path};

#[test]
fn the_committed_document_is_what_the_handlers_say() {
    let made = server::http::openapi_json();
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../openapi/openapi.json");
    if std::env::var_os("RIMEBOOK_BLESS").is_some() {
        fs::write(&path, &made).unwrap();
    }
    let committed = fs::read_to_string(&path).unwrap();
    assert!(
        committed == made,
        "openapi/openapi.json is not what the handlers say; run this test with RIMEBOOK_BLESS=1"
    );
}

/// What OpenAPI 3.1 asks of a document beyond its schema, and what we ask of ourselves.
#[test]
fn every_operation_is_described_and_says_what_it_can_answer() {
    let document: serde_json::Value = serde_json::from_str(&server::http::openapi_json()).unwrap();
    assert_eq!(document["openapi"], "3.1.0");
    assert_eq!(document["info"]["title"], "Rimebook");
    let mut ids = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let at = format!("{method} {path}");
            assert!(["get", "post"].contains(&method.as_str()), "{at}");
            ids.push(operation["operationId"].as_str().unwrap().to_owned());
            assert!(!operation["tags"].as_array().unwrap().is_empty(), "{at}");
            assert!(operation["summary"].is_string() && operation["description"].is_string(), "{at}");
            let answers = operation["responses"].as_object().unwrap();
            assert!(answers.contains_key("400") && answers.contains_key("500"), "{at}");
            for (status, answer) in answers {
                let media = match status.starts_with(['4', '5']) {
                    true => "application/problem+json",
                    false if path.ends_with(".ics") => "text/calendar",
                    false if path == "/metrics" => "text/plain",
                    false => "application/json",
                };
                assert!(answer["content"][media]["schema"].is_object(), "{at} {status}");
            }
            for name in path.split('/').filter_map(|part| part.strip_prefix('{')).map(|part| part.trim_end_matches('}'))
            {
                let parameters = operation["parameters"].as_array().unwrap();
                assert!(
                    parameters.iter().any(|one| one["name"] == name && one["in"] == "path" && one["required"] == true),
                    "{at} {name}"
                );
            }
            if method == "post" {
                let examples = &operation["requestBody"]["content"]["application/json"]["examples"];
                assert!(!examples.as_object().unwrap().is_empty(), "{at}");
            }
        }
    }
    let all = ids.len();
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), all);
}

/// Every `$ref` leads somewhere.
#[test]
fn every_reference_leads_to_a_schema() {
    let text = server::http::openapi_json();
    let document: serde_json::Value = serde_json::from_str(&text).unwrap();
    for reference in text.split("\"$ref\": \"").skip(1).map(|rest| rest.split('"').next().unwrap()) {
        assert!(document.pointer(reference.trim_start_matches('#')).is_some(), "{reference}");
    }
}
