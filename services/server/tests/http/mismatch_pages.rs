//! What doesn't add up: one line each, its answers, the effect before saving, and the sentence after it.

use crate::browser::{signed_on, words};
use crate::strike::{saving, with};
use crate::yard::{Said, Server};
use serde_json::json;

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

#[test]
fn a_line_is_answered_by_two_and_is_gone() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    says(&browser.get("/mismatches"), "Everything adds up.");
    server.pass(120);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    server.pass(5);
    let list = browser.get("/mismatches");
    says(&list, "where the book has it already");
    says(&list, "The scan was a take-out");
    assert!(server.get("/mismatches.csv").text.contains("roll/R-42"));
    let address = list.text.split("href=\"/mismatches/").nth(1).unwrap().split('"').next().unwrap();
    let address = format!("/mismatches/{}", address.replace("&#38;", "&").replace("&amp;", "&"));
    let base = address.split("&choice").next().unwrap().to_owned();
    says(&browser.get(&base), "It was another roll that was scanned");
    let page = browser.get(&format!("{base}&choice=carried&minutes=10&why=door"));
    says(&page, "R-42 gets back");
    says(&page, "needs a second person");
    let form = saving(&page);
    assert_eq!(browser.post(&form, &[("by", "B-05"), ("second", "")]).status, 403);
    let written = browser.post(&form, &[("by", "B-05"), ("second", "Q-03")]);
    says(&written, "Written: answered about R-42: it was carried straight over, out 10 min: door, by B-05 with Q-03");
    says(&browser.post(&form, &[("by", "B-05"), ("second", "Q-03")]), "It was written before, once:");
    says(&browser.get("/mismatches"), "Everything adds up.");
    says(&browser.get(&base), "It is answered already.");
    for bad in ["choice=carried&minutes=x", "choice=put_away&at=soon", "choice=other&other=R-42", "choice=x"] {
        assert!(browser.get(&format!("{base}&{bad}")).status < 500, "{bad}");
    }
}

#[test]
fn each_answer_says_what_happened() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(5);
    let entry = server.fact("roll_taken_out", "roll/R-42", json!({}))["id"].as_str().unwrap().to_owned();
    says(
        &browser.get("/mismatches"),
        "It was put away in between. About when? It was another roll that was scanned It was out all the time, and was scanned twice",
    );
    let page = browser.get(&format!("/mismatches/out_while_out/{entry}?choice=take_out&why=asked"));
    assert!(!words(&page).contains("The scan was a take-out"), "{}", words(&page));
    let written = browser.post(&saving(&page), &[("by", "B-05"), ("second", "Q-03")]);
    says(&written, "answered about R-42: it was out all the time, and was scanned twice: asked");
}

#[test]
fn what_may_rest_is_answered_with_a_reason_and_assigns_nothing() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    server.receive("R-42");
    let all = server.get("/api/v1/mismatches").json();
    let one = all["mismatches"].as_array().unwrap().iter().find(|one| one["kind"] == "received_twice").unwrap().clone();
    let base = format!("/mismatches/received_twice/{}", one["entry"].as_str().unwrap());
    let page = browser.get(&format!("{base}?choice=words&why=one+label+was+printed+twice"));
    let before = server.get("/api/v1/things/roll/R-42").json()["limits"].clone();
    let written = browser.post(&saving(&page), &[("by", "B-05"), ("second", "Q-03")]);
    says(&written, "what does not add up about R-42 may rest: one label was printed twice");
    let entry = server.get(&format!("/api/v1/entries/{}", server.last_seq())).json();
    assert_eq!(
        (&entry["kind"], &entry["body"]["answer"]),
        (&json!("mismatch_settled.v2"), &json!({"looked_into": true}))
    );
    assert_eq!(server.get("/api/v1/things/roll/R-42").json()["limits"], before, "it changes no limit");
    // Where a thing was is not settled by a reason alone, and a reason is never left out.
    let all = server.get("/api/v1/mismatches").json();
    let twice =
        all["mismatches"].as_array().unwrap().iter().find(|one| one["kind"] == "in_while_in").unwrap()["entry"].clone();
    for (kind, entry, answer, why) in [
        ("in_while_in", &twice, json!({"looked_into": true}), Some("no idea")),
        ("received_twice", &one["entry"], json!({"looked_into": false}), Some("no idea")),
        ("received_twice", &one["entry"], json!({"looked_into": true}), None),
    ] {
        let body = json!({"mismatch": {"kind": kind, "entry": entry}, "answer": answer, "why": why});
        server.post("/api/v1/decisions", &server.decision_now("settle", "roll/R-42", body)).problem(400, "cannot-read");
    }
}

#[test]
fn an_answer_sent_again_with_other_words_writes_nothing_and_says_so() {
    let server = Server::yard();
    server.receive("R-24");
    let mut browser = signed_on(&server);
    for (roll, answer, field, other) in [
        ("R-61", "carried&minutes=10&why=door", "minutes", "11"),
        ("R-62", "carried&minutes=10&why=door", "why", "lift"),
        ("R-63", "carried&minutes=10&why=door", "choice", "assigned"),
        ("R-64", "other&other=R-24&why=alike", "other", "R-42"),
        ("R-65", "out_since&at=2026-05-06+06:31&why=door", "at", "2026-05-06 06:32"),
    ] {
        server.receive(roll);
        server.pass(5);
        let again = server.fact("roll_put_away", &format!("roll/{roll}"), json!({"into": "F1"}));
        let address = format!("/mismatches/in_while_in/{}?choice={answer}", again["id"].as_str().unwrap());
        let form = saving(&browser.get(&address));
        let badges = [("by", "B-05"), ("second", "Q-03")];
        says(&browser.post(&form, &badges), "Written: answered about");
        let last = server.last_seq();
        says(&browser.post(&form, &badges), "It was written before, once:");
        let changed = browser.post(&with(&form, field, other), &badges);
        assert_eq!((changed.status, server.last_seq()), (409, last), "{field}: {}", words(&changed));
        says(&changed, "This page was sent before with something else, and that stands as entry");
        assert_eq!(changed.text.matches("<h1").count(), 1);
        let stands = server.get(&format!("/api/v1/entries/{last}")).json();
        assert_eq!(stands["body"]["mismatch"]["entry"], again["id"], "{stands}");
    }
}

#[test]
fn bad_answers_are_told_in_words() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    server.pass(120);
    let entry = server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}))["id"].as_str().unwrap().to_owned();
    for bad in ["choice=carried&minutes=x", "choice=put_away&at=soon", "choice=other&other=R-42", "choice=x"] {
        let page = browser.get(&format!("/mismatches/in_while_in/{entry}?{bad}"));
        assert_eq!(page.status, 400, "{bad}: {}", words(&page));
        assert_eq!(page.text.matches("<h1").count(), 1);
    }
}
