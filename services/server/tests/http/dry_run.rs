//! Asking before doing, on both doors: what would change, in the words of the real answer, and nothing written.

use crate::yard::{Said, Server};
use reqwest::Method;
use serde_json::{Value, json};

const TRY_FACTS: &str = "/api/v1/entries?dry_run=true";
const TRY_DECISION: &str = "/api/v1/decisions?dry_run=true";

/// Tries, and sees that nothing was written.
fn tried(server: &Server, path: &str, body: &Value) -> Said {
    let (last, thing) = (server.last_seq(), server.get("/api/v1/things/roll/R-42").text);
    let said = server.post(path, body);
    assert_eq!((server.last_seq(), server.get("/api/v1/things/roll/R-42").text), (last, thing));
    said
}

fn change<'a>(said: &'a Value, thing: &str) -> &'a Value {
    let things = said["effect"]["things"].as_array().unwrap();
    things.iter().find(|change| change["thing"] == thing).unwrap_or_else(|| panic!("{thing} is not in {said}"))
}

/// What was said would be there is there.
fn comes_true(server: &Server, said: &Value) {
    let things = said["effect"]["things"].as_array().unwrap();
    assert!(!things.is_empty(), "{said}");
    for change in things {
        let path = format!("/api/v1/things/{}", change["thing"].as_str().unwrap());
        assert_eq!(server.get(&path).json(), change["after"], "{path}");
    }
}

#[test]
fn facts_are_tried_and_then_come_true() {
    let server = Server::yard();
    let out = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
    let cut = server.fact_now(
        "nest_cut",
        "nest/N-7",
        json!({"kits": [{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 99_000}]}]}),
    );
    let body = json!({"entries": [out, {"id": "?"}, cut, out]});
    let said = tried(&server, TRY_FACTS, &body);
    assert_eq!(said.status, 200, "{}", said.text);
    let said = said.json();
    let before = server.get("/api/v1/things/roll/R-42").json();
    assert_eq!(change(&said, "roll/R-42")["before"], before);
    assert_eq!(change(&said, "kit/K-5")["before"], Value::Null);
    let gone: Vec<&str> =
        said["effect"]["mismatches_new"].as_array().unwrap().iter().map(|one| one["kind"].as_str().unwrap()).collect();
    assert!(gone.contains(&"cut_beyond_length"), "{gone:?}");

    let real = server.post("/api/v1/entries", &body);
    assert_eq!(real.json()["results"], said["results"]);
    comes_true(&server, &said);
}

#[test]
fn a_known_id_and_a_reused_one_are_answered_as_the_door_would() {
    let server = Server::yard();
    let out = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    let mut other = out.clone();
    other["thing"] = json!("roll/R-43");
    server.post("/api/v1/entries", &json!({"entries": [out]}));
    let said = tried(&server, TRY_FACTS, &json!({"entries": [out, other]})).json();
    let statuses: Vec<&Value> = said["results"].as_array().unwrap().iter().map(|result| &result["status"]).collect();
    assert_eq!(statuses, [200, 409]);
    assert_eq!(said["effect"]["things"], json!([]));
    // The same id twice in one request: once written, once known, or refused.
    let new = server.fact_now("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    let mut again = new.clone();
    again["body"] = json!({"into": "F2"});
    let body = json!({"entries": [new, again, new]});
    let said = tried(&server, TRY_FACTS, &body).json();
    assert_eq!(server.post("/api/v1/entries", &body).json()["results"], said["results"]);
}

#[test]
fn a_strike_is_tried_with_and_without_what_stands_instead() {
    let server = Server::yard();
    let wrong = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.post("/api/v1/entries", &json!({"entries": [wrong]}));
    server.pass(180);
    let strike = |instead: Value, second: Value| {
        json!({"id": server.id(), "decide": "strike", "thing": "roll/R-42", "by": "B-17", "second": second, "based_on": server.last_seq(),
               "body": {"entry": wrong["id"], "why": "it was another roll", "instead": instead}})
    };
    let alone = tried(&server, TRY_DECISION, &strike(Value::Null, Value::Null));
    assert_eq!(alone.status, 200, "{}", alone.text);
    let alone = alone.json();
    assert_eq!((&alone["results"][0]["status"], &alone["second_person"]["named"]), (&json!(403), &json!(false)));
    assert!(alone["second_person"]["gives_back"][0].as_str().unwrap().starts_with("R-42 gets back 3 h"), "{alone}");

    let instead = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    let both = strike(instead, json!({"by": "B-05"}));
    let said = tried(&server, TRY_DECISION, &both).json();
    assert_eq!((&said["results"][0]["status"], &said["second_person"]["named"]), (&json!(201), &json!(true)));
    let real = server.post("/api/v1/decisions", &both).json();
    assert_eq!((&real["seq"], &real["mismatches"]), (&said["results"][0]["seq"], &said["results"][0]["mismatches"]));
    comes_true(&server, &said);
    let again = tried(&server, TRY_DECISION, &both).json();
    assert_eq!((&again["results"][0]["status"], &again["effect"]["things"]), (&json!(200), &json!([])));
}

#[test]
fn every_decision_that_acts_on_an_entry_comes_true() {
    let server = Server::yard();
    let late = json!({"id": server.id(), "kind": "roll_put_away", "thing": "roll/R-42", "by": "B-17", "body": {"into": "F2"},
                      "occurred_at": server.now()});
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.pass(30);
    server.pass(30);
    server.post("/api/v1/entries", &json!({"entries": [late]}));
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.decide(
        "open_job",
        "job/J-118",
        json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 12000}],
        "lay_at": "2026-05-06T16:00:00.000+01:00", "oven_at": "2026-05-06T20:00:00.000+01:00"}),
    );
    let mismatches = server.get("/api/v1/mismatches").json();
    let puzzle = &mismatches["mismatches"][0];
    let answer = json!({"mismatch": {"kind": puzzle["kind"], "entry": puzzle["entry"]}, "answer": {"put_away_at": puzzle["at"]}});
    let asked = [
        ("settle", "roll/R-42", answer),
        ("confirm", "roll/R-42", json!({"entry": late["id"]})),
        ("place_hold", "batch/PM-101/B-123", json!({"why": "no certificate yet"})),
        (
            "replan_job",
            "job/J-118",
            json!({"part": "P-4", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 12000}],
            "lay_at": "2026-05-07T16:00:00.000+01:00", "oven_at": "2026-05-07T20:00:00.000+01:00"}),
        ),
        (
            "declare_place",
            "place/F1",
            json!({"name": "walk-in freezer F1", "frozen": false, "highest_millideg_c": 5000}),
        ),
    ];
    for (decide, thing, body) in asked {
        let wish = server.decision_now(decide, thing, body);
        let said = tried(&server, TRY_DECISION, &wish);
        assert_eq!(said.status, 200, "{decide}: {}", said.text);
        assert_eq!(server.post("/api/v1/decisions", &wish).status, 201, "{decide}");
        comes_true(&server, &said.json());
    }
}

#[test]
fn what_is_refused_is_refused_in_the_same_words() {
    let server = Server::yard();
    let wishes = [
        server.decision_now("issue", "roll/R-42", json!({"job": "J-7"})),
        server.decision_now(
            "revise_material",
            "material/PM-101",
            json!({"revision": "3", "name": "other", "form": "prepreg", "rate": {"model": "door_to_door"}}),
        ),
        json!({"id": server.id(), "decide": "place_hold", "thing": "roll/R-42", "by": "B-17", "based_on": 9_999, "body": {"why": "torn"}}),
        json!({"id": server.id(), "decide": "place_hold", "thing": "roll/R-42", "by": "B-17", "body": {"why": "torn"}}),
        json!({"decide": "place_hold"}),
    ];
    for wish in wishes {
        let said = tried(&server, TRY_DECISION, &wish);
        let real = server.post("/api/v1/decisions", &wish);
        assert!(400 <= said.status, "{}", said.text);
        assert_eq!((said.status, said.json()["detail"].clone()), (real.status, real.json()["detail"].clone()));
    }
    let unsure = server.send(Method::POST, "/api/v1/entries?dry_run=perhaps", &[], Vec::new());
    unsure.problem(400, "cannot-read");
}
