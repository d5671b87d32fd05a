//! Questions that are asked wrong, or nearly: each has one answer, in words that say what to do.

use crate::yard::Server;
use serde_json::json;

/// Asked with `question`, it is a 400 whose sentence holds `says`.
fn refused(server: &Server, question: &str, says: &str) {
    let said = server.get(question).problem(400, "cannot-read");
    let detail = said["detail"].as_str().unwrap();
    let shown: String = question.chars().take(80).collect();
    assert!(detail.contains(says) && detail.len() < 400, "{shown}: {detail}");
}

#[test]
fn a_number_or_a_time_that_is_none_is_said_with_what_is_expected() {
    let server = Server::yard();
    for list in ["entries", "rolls", "places", "things/roll/R-42/entries"] {
        refused(&server, &format!("/api/v1/{list}?limit=-1"), "a whole number is expected, 0 or more");
        refused(&server, &format!("/api/v1/{list}?limit=0"), "imit is at least 1");
        refused(&server, &format!("/api/v1/{list}?limit=many"), "a whole number is expected, 0 or more");
        assert_eq!(server.get(&format!("/api/v1/{list}?limit=18446744073709551615")).status, 200, "{list}");
    }
    refused(&server, "/api/v1/entries?after=-1", "a whole number is expected, 0 or more");
    refused(&server, "/api/v1/entries?after=1e3", "a whole number is expected, 0 or more");
    refused(&server, "/api/v1/rolls?known=-1", "a whole number is expected, 0 or more");
    refused(&server, "/api/v1/rolls?known=99999", "The log ends at entry 8");
    refused(&server, "/api/v1/rolls?at=2026-05-06", "2026-05-06");
    refused(&server, "/api/v1/rolls?held=perhaps", "true or false is expected");
    refused(&server, "/api/v1/rolls?state=melted", "known are");
    refused(&server, "/api/v1/rolls?limit=1&limit=2", "twice");
}

#[test]
fn a_position_that_is_not_reached_yet_is_no_mistake_and_one_of_another_thing_is() {
    let server = Server::yard();
    let beyond = server.get("/api/v1/entries?after=18446744073709551615");
    assert_eq!(beyond.status, 200, "{}", beyond.text);
    assert_eq!(beyond.json()["say"], "The log ends at entry 8; nothing stands after 18446744073709551615 yet.");
    let filtered = server.get("/api/v1/entries?after=999&thing=roll/R-42").json();
    assert_eq!((&filtered["items"], &filtered["as_of_seq"]), (&json!([]), &json!(8)));
    refused(&server, "/api/v1/things/roll/R-42/entries?after=999", "go on from a page's own next");
    refused(&server, "/api/v1/things/roll/R-42/entries?after=1", "go on from a page's own next");
}

#[test]
fn a_cursor_belongs_to_its_list_its_filters_and_its_moment() {
    let server = Server::yard();
    server.receive("R-43");
    let next = server.get("/api/v1/rolls?limit=1&material=PM-101").json()["next"].as_str().unwrap().to_owned();
    let cursor = next.split_once("cursor=").unwrap().1;
    assert_eq!(server.get(&format!("/api/v1/rolls?material=PM-101&cursor={cursor}")).status, 200);
    let wrong = [
        (format!("/api/v1/rolls?cursor={cursor}"), "belongs to other filters"),
        (format!("/api/v1/rolls?material=PM-102&cursor={cursor}"), "belongs to other filters"),
        (format!("/api/v1/rolls?material=PM-101&held=false&cursor={cursor}"), "belongs to other filters"),
        (format!("/api/v1/kits?cursor={cursor}"), "belongs to the list of rolls"),
        (format!("/api/v1/rolls?material=PM-101&known=2&cursor={cursor}"), "belongs to a list of another moment"),
        (format!("/api/v1/rolls?material=PM-101&cursor={}", "A".repeat(10_000)), "none that this server made"),
        ("/api/v1/rolls?cursor=".to_owned(), "none that this server made"),
        ("/api/v1/rolls?cursor=%FF".to_owned(), "cursor is not UTF-8"),
    ];
    for (question, says) in wrong {
        refused(&server, &question, says);
    }
}

#[test]
fn a_code_is_read_as_people_write_it_and_never_a_longer_one() {
    let server = Server::yard();
    for code in ["R-42", "r-42", "%20r-42%20", "R-42%09"] {
        assert_eq!(server.get(&format!("/api/v1/scan/{code}")).json()["things"], json!(["roll/R-42"]), "{code}");
        assert_eq!(server.get(&format!("/api/v1/things/roll/{code}")).json()["thing"], "roll/R-42", "{code}");
    }
    assert_eq!(server.get("/api/v1/rolls?batch=b-123&material=%20pm-101").json()["items"][0]["thing"], "roll/R-42");
    let said = server.get("/api/v1/scan/R%2042").problem(404, "not-found");
    assert_eq!(said["detail"], "Nobody has received R 42.");
    for long in ["x".repeat(41), "x".repeat(10_000)] {
        for question in [
            format!("scan/{long}"),
            format!("things/roll/{long}"),
            format!("things/{long}/R-42"),
            format!("things/roll/{long}/entries"),
            format!("things/batch/{long}/B-123"),
            format!("things/roll/R-42/may-use?act=lay&job={long}"),
            format!("rolls?place={long}"),
            format!("warnings?job={long}"),
            format!("entries?thing=roll/{long}"),
            format!("entries?kind={long}"),
        ] {
            refused(&server, &format!("/api/v1/{question}"), "");
        }
        let mut fact = server.fact_now("roll_taken_out", &format!("roll/{long}"), json!({}));
        let refused = server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone();
        assert_eq!(
            (&refused["status"], &refused["problem"]["errors"][0]["pointer"]),
            (&json!(400), &json!("/entries/0/thing"))
        );
        (fact["thing"], fact["by"]) = (json!("roll/R-42"), json!(long));
        let refused = server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone();
        assert_eq!(
            (&refused["status"], &refused["problem"]["errors"][0]["pointer"]),
            (&json!(400), &json!("/entries/0/by"))
        );
    }
    assert_eq!(server.last_seq(), 8);
}
