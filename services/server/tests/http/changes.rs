//! What changed between two entries: the operation, the page and the table.

use crate::browser::{Browser, words};
use crate::yard::{Said, Server};
use serde_json::json;

fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

/// R-42 laid in P-1, then P-1 installed, then R-42 held; and the number of the entry before the lay-up.
fn changed() -> (Server, u64) {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let before = server.last_seq();
    server.fact("plies_laid", "part/P-1", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 1000}));
    server.fact("part_installed", "part/P-1", json!({"boat": "NB-1"}));
    server.decide("place_hold", "roll/R-42", json!({"why": "the bag was torn", "nonconformance": "NC-7"}));
    (server, before)
}

#[test]
fn a_program_is_told_which_entries_links_and_holds_differ() {
    let (server, before) = changed();
    let found = server.get(&format!("/api/v1/things/boat/NB-1/changes?from={before}")).json();
    assert_eq!(found["entries"].as_array().unwrap().len(), 3, "{found}");
    assert_eq!(found["links_new"].as_array().unwrap().len(), 3, "{found}");
    assert_eq!(found["holds_new"][0]["nonconformance"], "NC-7");
    assert_eq!((found["from"].as_u64(), found["to"].as_u64()), (Some(before), Some(server.last_seq())));
    let batch =
        server.get(&format!("/api/v1/things/batch/PM-101/B-123/changes?from={before}&to={}", before + 1)).json();
    assert_eq!(batch["direction"], "went_into");
    assert_eq!(batch["links_new"][0]["into"], "part/P-1", "{batch}");
    let none = server.get(&format!("/api/v1/things/boat/NB-1/changes?from={before}&to={before}")).json();
    for name in ["entries", "links_new", "links_gone", "judged_otherwise", "holds_new", "holds_gone"] {
        assert_eq!(none[name], json!([]), "{none}");
    }
}

#[test]
fn what_cannot_be_asked_is_said() {
    let (server, before) = changed();
    let of = |query: &str| server.get(&format!("/api/v1/things/boat/NB-1/changes?{query}")).problem(400, "cannot-read");
    assert!(of(&format!("from={}&to={before}", before + 1))["detail"].as_str().unwrap().contains("comes after entry"));
    assert!(of("from=999")["detail"].as_str().unwrap().contains("The log ends at entry"));
    of("from=soon");
    let all = server.get("/api/v1/things/boat/NB-1/changes").json();
    assert_eq!((all["from"].as_u64(), all["to"].as_u64()), (Some(0), Some(server.last_seq())));
    server.get("/api/v1/things/boat/NB-9/changes?from=1").problem(404, "not-found");
    let mut browser = Browser { server: &server, cookie: String::new() };
    for (path, status) in [
        ("/changes/boat/NB-1?from=999", 400),
        ("/changes/boat/NB-1?from=9&to=2", 400),
        ("/changes/boat/NB-1?from=x", 400),
        ("/changes/boat/NB-1?colour=red", 400),
        ("/changes/boat/NB-9", 404),
        ("/changes/wheel/1", 400),
    ] {
        assert_eq!(browser.get(path).status, status, "{path}");
    }
}

#[test]
fn a_person_reads_it_prints_it_and_takes_it_into_a_spreadsheet() {
    let (server, before) = changed();
    let mut browser = Browser { server: &server, cookie: String::new() };
    says(&browser.get("/changes/boat/NB-1"), "What was known of it at one entry and is known at another?");
    let page = browser.get(&format!("/changes/boat/NB-1?from={before}"));
    let last = server.last_seq();
    says(
        &page,
        &format!("Between entry {before} and entry {last}, 3 entries name NB-1 or what it is made from. This changed:"),
    );
    says(&page, &format!("New: roll R-42 went into part P-1, skin, entry {}.", before + 1));
    says(&page, "New: R-42 held since Wed 06:31 by Q-03: the bag was torn, NC-7.");
    says(&page, "hold placed roll R-42");
    assert!(page.text.contains("media=\"print\" href=\"/print.css?head=Changes%20of%20boat%20NB-1"), "{}", page.text);
    let csv = server.get(&format!("/changes/boat/NB-1?from={before}&as=csv"));
    assert_eq!((csv.status, csv.media.as_str()), (200, "text/csv; charset=utf-8; header=present"));
    let lines: Vec<&str> = csv.text.split("\r\n").collect();
    assert_eq!(lines[0], "entry,what,thing,occurred");
    assert!(lines[1].starts_with(&format!("{},plies laid,part/P-1,2026-05-06T", before + 1)), "{}", csv.text);
    assert!(csv.text.contains("New: part P-1 went into boat NB-1"), "{}", csv.text);
    assert!(browser.get("/trace/boat/NB-1").text.contains("href=\"/changes/boat/NB-1?direction=made_from\""));
    says(&browser.get("/changes/batch/PM-101/B-123?from=0"), "New: roll R-42 went into part P-1");
}
