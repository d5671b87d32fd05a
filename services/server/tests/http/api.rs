//! Every operation, when all goes well.

use crate::yard::Server;
use reqwest::Method;
use serde_json::{Value, json};

/// The stored lines that a page of the log holds, byte for byte.
fn lines(text: &str) -> Vec<String> {
    #[derive(serde::Deserialize)]
    struct Page<'a> {
        #[serde(borrow)]
        items: Vec<&'a serde_json::value::RawValue>,
    }
    serde_json::from_str::<Page<'_>>(text).unwrap().items.iter().map(|line| line.get().to_owned()).collect()
}

#[test]
fn a_roll_goes_from_the_truck_into_a_boat_and_is_traced_back() {
    let server = Server::yard();
    let job = json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 12000}],
                     "lay_at": "2026-05-06T16:00:00.000+01:00", "oven_at": "2026-05-06T20:00:00.000+01:00", "boat": "118"});
    server.decide("open_job", "job/J-118", job);
    server.decide("declare_boat", "boat/118", json!({"parts": ["P-3", "P-4"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
    server.pass(60);
    let cut = json!({"kits": [{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 12000}]}]});
    server.fact("nest_cut", "nest/N-7", cut);
    let issued = server.decide("issue", "kit/K-5", json!({"job": "J-118"}));
    assert_eq!(issued["kind"], "issued.v1");
    server.pass(60);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "kit/K-5"}));
    server.pass(60);
    server.fact("oven_run_started", "run/214", json!({"oven": "OV1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    let committed_at = server.now();
    server.pass(300);
    server.fact("oven_run_ended", "run/214", json!({"committed_at": committed_at, "cured": true, "source": "record"}));
    server.fact("part_installed", "part/P-3", json!({"boat": "118"}));

    let made_from = server.get("/api/v1/things/boat/118/trace").json();
    let things: Vec<&str> =
        made_from["nodes"].as_array().unwrap().iter().map(|node| node["thing"].as_str().unwrap()).collect();
    for thing in ["part/P-3", "kit/K-5", "roll/R-42", "batch/PM-101/B-123"] {
        assert!(things.contains(&thing), "{thing} is not in {things:?}");
    }
    let went_into = server.get("/api/v1/things/batch/PM-101/B-123/trace?direction=went_into").json();
    assert!(went_into["nodes"].as_array().unwrap().iter().any(|node| node["thing"] == "boat/118"), "{went_into}");
    let by_one_segment = server.get("/api/v1/things/batch/PM-101%2FB-123/trace?direction=went_into").json();
    assert_eq!(by_one_segment, went_into);
}

#[test]
fn the_same_fact_twice_is_written_once_and_answered_twice() {
    let server = Server::yard();
    let fact = json!({"entries": [server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1"}))]});
    let first = server.post("/api/v1/entries", &fact).json();
    let again = server.post("/api/v1/entries", &fact).json();
    assert_eq!((&first["results"][0]["status"], &again["results"][0]["status"]), (&json!(201), &json!(200)));
    assert_eq!(first["results"][0]["seq"], again["results"][0]["seq"]);
    assert_eq!(again["results"][0]["seq"], server.last_seq());
}

#[test]
fn a_bad_fact_never_blocks_the_next_and_points_at_what_is_wrong() {
    let server = Server::yard();
    let good = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    let unknown_field = server.fact_now("roll_put_away", "roll/R-42", json!({"into": "F1", "colour": "green"}));
    let also_good = server.fact_now("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    let said = server.post("/api/v1/entries", &json!({"entries": [good, unknown_field, 7, also_good]}));
    let results = said.json()["results"].as_array().unwrap().clone();
    let statuses: Vec<u64> = results.iter().map(|result| result["status"].as_u64().unwrap()).collect();
    assert_eq!((said.status, statuses), (207, vec![201, 400, 400, 201]));
    assert_eq!(results[1]["id"], unknown_field["id"]);
    assert_eq!(results[1]["problem"]["type"], "/problems/cannot-read");
    let pointers = results[1]["problem"]["errors"].to_string();
    assert!(pointers.contains("/entries/1/body"), "{pointers}");
}

#[test]
fn what_does_not_fit_the_book_is_taken_and_said() {
    let server = Server::yard();
    let again = server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    assert_eq!(again["mismatches"][0]["kind"], "in_while_in");
    let stranger = server.fact("roll_taken_out", "roll/R-99", json!({}));
    assert_eq!(stranger["mismatches"][0]["kind"], "not_received", "{stranger}");
    let open = server.get("/api/v1/mismatches").json();
    let kinds: Vec<&Value> = open["mismatches"].as_array().unwrap().iter().map(|one| &one["kind"]).collect();
    assert!(kinds.contains(&&json!("in_while_in")) && kinds.contains(&&json!("not_received")), "{kinds:?}");
    assert_eq!(open["as_of_seq"], server.last_seq());
}

#[test]
fn a_late_fact_is_told_and_a_second_person_confirms_it() {
    let server = Server::yard();
    let mut fact = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    server.pass(16);
    fact["by"] = json!("B-09");
    let result = server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone();
    assert_eq!((&result["status"], &result["told"]), (&json!(201), &json!(true)));
    let confirmed = server.decide("confirm", "roll/R-42", json!({"entry": result["id"]}));
    assert_eq!(confirmed["kind"], "fact_confirmed.v1");
}

#[test]
fn the_log_is_answered_as_it_is_stored_page_by_page() {
    let server = Server::yard();
    let all = lines(&server.get("/api/v1/entries").text);
    assert_eq!(all.len() as u64, server.last_seq());
    let mut paged = Vec::new();
    let mut path = "/api/v1/entries?limit=4".to_owned();
    loop {
        let page = server.get(&path);
        paged.extend(lines(&page.text));
        match page.json()["next"].as_str() {
            Some(next) => {
                assert_eq!(page.headers["link"], format!("<{next}>; rel=\"next\""));
                path = next.to_owned();
            }
            None => break,
        }
    }
    assert_eq!(paged, all);
    let third = server.get("/api/v1/entries/3");
    assert_eq!((third.status, &third.text), (200, &all[2]));
    assert_eq!(third.json()["seq"], 3);
    let behind = server.get(&format!("/api/v1/entries?after={}", server.last_seq()));
    assert_eq!(behind.text, format!("{{\"items\":[],\"as_of_seq\":{}}}", server.last_seq()));
}

#[test]
fn a_thing_has_its_own_history_in_occurred_order() {
    let server = Server::yard();
    server.pass(60);
    let mut late = server.fact_now("seen", "roll/R-42", json!({"in": "F1"}));
    late["occurred_at"] = json!("2026-05-06T06:00:30.000+01:00");
    server.post("/api/v1/entries", &json!({"entries": [late]}));
    let history = server.get("/api/v1/things/roll/R-42/entries").json();
    let kinds: Vec<&str> =
        history["items"].as_array().unwrap().iter().map(|line| line["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["roll_received.v1", "seen.v1", "roll_put_away.v1"]);
    let mut paged = Vec::new();
    let mut path = "/api/v1/things/roll/R-42/entries?limit=1".to_owned();
    while let Some(page) = Some(server.get(&path).json()) {
        paged.extend(page["items"].as_array().unwrap().clone());
        match page["next"].as_str() {
            Some(next) => path = next.to_owned(),
            None => break,
        }
    }
    assert_eq!(json!(paged), history["items"]);
    let batch = server.get("/api/v1/things/batch/PM-101/B-123/entries").json();
    assert_eq!(batch["items"].as_array().unwrap().len(), 2);
}

#[test]
fn questions_are_answered_at_a_time_and_as_was_known() {
    let server = Server::yard();
    let before = server.last_seq();
    let asked = server.now();
    let inside = server.get("/api/v1/things/roll/R-42/may-use?act=take_out").json();
    assert_eq!((&inside["answer"], &inside["as_of_seq"]), (&json!("yes"), &json!(before)), "{inside}");
    assert!(inside["say"].as_str().unwrap().contains("Last ply down by "), "{inside}");
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(120);
    let thing =
        |query: &str| server.get(&format!("/api/v1/things/roll/R-42{query}")).json()["whereabouts"]["state"].clone();
    assert_eq!(thing(""), "out");
    assert_eq!(thing(&format!("?known={before}")), "inside");
    assert_eq!(thing("?at=2026-05-06T06:10:00.000+01:00"), "inside");
    assert_eq!(thing("?at=2026-05-06T06:10:00.000%2B01:00"), "inside");
    let then = server
        .get(&format!("/api/v1/things/roll/R-42/may-use?act=take_out&known={before}&at={}", asked.replace('+', "%2B")));
    assert_eq!(then.json()["limits"], inside["limits"]);
}

#[test]
fn the_card_and_what_runs_out_have_the_sums() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(120);
    let card = server.get("/api/v1/things/roll/R-42/out-time-card").json();
    // An hour by the certificate, a minute until it was put away, two hours out: worked out by hand.
    assert_eq!(card["cards"][0]["out_time_s"], 3600 + 60 + 7200, "{card}");
    let soon = server.get("/api/v1/runs-out?within_h=240").json();
    assert_eq!(soon["lines"][0]["thing"], "roll/R-42");
    assert_eq!(soon["lines"][0]["limit"], "tack_life");
    assert_eq!(soon["lines"][0]["left_s"], 576_000 - 3600 - 60 - 7200);
    let none = server.get("/api/v1/runs-out?within_h=1").json();
    assert_eq!(none["lines"], json!([]));
}

#[test]
fn a_label_is_looked_up() {
    let server = Server::yard();
    assert_eq!(server.get("/api/v1/scan/r-42").json()["things"], json!(["roll/R-42"]));
    assert_eq!(server.get("/api/v1/scan/B-123").json()["things"], json!(["batch/PM-101/B-123"]));
    assert_eq!(server.get("/api/v1/things/batch/PM-101/B-123").json()["thing"], "batch/PM-101/B-123");
}

#[test]
fn a_decision_taken_twice_is_decided_once() {
    let server = Server::yard();
    let hold = server.decision_now("place_hold", "roll/R-42", json!({"why": "no certificate"}));
    let first = server.post("/api/v1/decisions", &hold);
    let again = server.post("/api/v1/decisions", &hold);
    assert_eq!((first.status, again.status), (201, 200));
    assert_eq!(first.json(), again.json());
    assert_eq!(first.headers["location"], format!("/api/v1/entries/{}", first.json()["seq"]));
    let held = server.get("/api/v1/things/roll/R-42/may-use?act=take_out").json();
    assert_eq!((&held["answer"], &held["holds"][0]["hold"]), (&json!("no"), &hold["id"]));
}

#[test]
fn a_strike_writes_what_stands_instead_as_the_next_entry() {
    let server = Server::yard();
    server.receive("R-24");
    let wrong = server.fact("roll_taken_out", "roll/R-24", json!({}));
    let mut instead = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    instead["occurred_at"] = json!(server.now());
    let strike = server.decision_now(
        "strike",
        "roll/R-24",
        json!({"entry": wrong["id"], "why": "it was R-42", "instead": instead}),
    );
    let said = server.post("/api/v1/decisions", &strike);
    assert_eq!(said.status, 201, "{}", said.text);
    let decided = said.json();
    assert_eq!(decided["instead_seq"].as_u64().unwrap(), decided["seq"].as_u64().unwrap() + 1);
    assert_eq!(server.post("/api/v1/decisions", &strike).json(), decided);
}

#[test]
fn head_answers_like_get_without_a_body() {
    let server = Server::yard();
    for path in ["/healthz", "/api/v1/entries/1", "/api/v1/things/roll/R-42/may-use?act=cut", "/", "/problems/on-hold"]
    {
        let (get, head) = (server.get(path), server.send(Method::HEAD, path, &[], Vec::new()));
        assert_eq!((head.status, &head.media, head.text.as_str()), (200, &get.media, ""), "{path}");
        if path.contains("/api/v1/entries") {
            assert_eq!(head.headers["content-length"], get.text.len().to_string());
        }
    }
    let missing = server.send(Method::HEAD, "/api/v1/entries/9999", &[], Vec::new());
    assert_eq!((missing.status, missing.media.as_str()), (404, "application/problem+json"));
}

#[test]
fn the_contract_is_served_and_health_is_told() {
    let server = Server::yard();
    let contract = server.get("/api/v1/openapi.json");
    assert_eq!(contract.text, server::http::openapi_json());
    let ready = server.get("/readyz").json();
    assert_eq!(ready, json!({"status": "ok", "last_seq": server.last_seq()}));
}

#[test]
fn what_was_acknowledged_is_there_after_a_stop_and_a_start() {
    let mut server = Server::yard();
    let before = server.get("/api/v1/entries").text;
    server.stop();
    let yard =
        server::yard::Yard::open(server.folder.path(), server::yard::Options::new(server.clock.clone())).unwrap();
    let stored = yard.reader.lines(1, 200).unwrap();
    let stored: Vec<String> = stored.into_iter().map(|line| String::from_utf8(line).unwrap()).collect();
    assert_eq!(stored, lines(&before));
}
