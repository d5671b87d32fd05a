//! Whatever is sent: a problem in words, never a 5xx, nothing half-written.

use crate::yard::Server;
use reqwest::Method;
use serde_json::{Value, json};
use std::{
    io::{Read, Write},
    net::TcpStream,
};

const JSON: &[(&str, &str)] = &[("content-type", "application/json")];

#[test]
fn what_is_no_json_is_a_problem_at_both_doors() {
    let server = Server::yard();
    let before = server.last_seq();
    let deep = format!("{{\"entries\":{}{}}}", "[".repeat(40), "]".repeat(40));
    let deeper = "[".repeat(100_000);
    let bodies: [&[u8]; 10] = [
        b"",
        b"{",
        b"[1,2",
        b"nul",
        b"\"entries\"",
        b"{\"entries\":[\xff\xfe]}",
        b"\x00\x01",
        b"{}{}",
        deep.as_bytes(),
        deeper.as_bytes(),
    ];
    for door in ["/api/v1/entries", "/api/v1/decisions"] {
        for body in bodies {
            let said = server.send(Method::POST, door, JSON, body.to_vec());
            said.problem(400, "cannot-read");
        }
        let large = server.send(Method::POST, door, JSON, vec![b' '; 256 * 1024 + 1]);
        large.problem(413, "too-large");
        let huge = server.send(Method::POST, door, JSON, vec![b'['; 8 * 1024 * 1024]);
        huge.problem(413, "too-large");
        let utf_16 = "application/json; charset=utf-16";
        for media in ["text/plain", "application/x-www-form-urlencoded", "application/jsonp", "nonsense", "", utf_16] {
            let said = server.send(Method::POST, door, &[("content-type", media)], b"{}".to_vec());
            said.problem(415, "wrong-media-type");
        }
        server.send(Method::POST, door, &[], b"{}".to_vec()).problem(415, "wrong-media-type");
        let packed = [("content-type", "application/json"), ("content-encoding", "gzip")];
        server.send(Method::POST, door, &packed, b"{}".to_vec()).problem(415, "wrong-media-type");
        server.send(Method::POST, &format!("{door}?dry=1"), JSON, b"{}".to_vec()).problem(400, "cannot-read");
    }
    assert_eq!(server.last_seq(), before);
}

#[test]
fn the_media_type_may_name_its_characters_and_exactly_256_kib_are_read() {
    let server = Server::yard();
    let fact = json!({"entries": [server.fact_now("roll_taken_out", "roll/R-42", json!({}))]}).to_string();
    let padded = format!("{fact}{}", " ".repeat(256 * 1024 - fact.len()));
    let media = [("content-type", "application/json; charset=utf-8")];
    let said = server.send(Method::POST, "/api/v1/entries", &media, padded.into_bytes());
    assert_eq!(said.status, 207, "{}", said.text);
}

#[test]
fn one_to_a_hundred_facts_are_taken() {
    let server = Server::yard();
    let before = server.last_seq();
    let facts = |count: usize| -> Vec<Value> {
        (0..count).map(|_| server.fact_now("seen", "roll/R-42", json!({"in": "F1"}))).collect()
    };
    for bad in [
        json!({"entries": []}),
        json!({"entries": facts(101)}),
        json!({"facts": []}),
        json!([]),
        json!({"entries": [], "more": 1}),
    ] {
        server.post("/api/v1/entries", &bad).problem(400, "cannot-read");
    }
    assert_eq!(server.last_seq(), before);
    let said = server.post("/api/v1/entries", &json!({"entries": facts(100)}));
    assert!(said.json()["results"].as_array().unwrap().iter().all(|result| result["status"] == 201));
    assert_eq!(server.last_seq(), before + 100);
}

#[test]
fn an_item_that_cannot_be_meant_is_refused_where_it_is_wrong() {
    let server = Server::yard();
    let before = server.last_seq();
    let received = |name: &str, value: Value| {
        let mut body = json!({"material": "PM-101", "revision": "3", "batch": "B-123", "length_mm": 1000});
        body[name] = value;
        server.fact_now("roll_received", "roll/R-70", body)
    };
    let with = |name: &str, value: Value| {
        let mut fact = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
        fact[name] = value;
        fact
    };
    let bad = [
        (received("length_mm", json!(0)), "/body/length_mm"),
        (received("length_mm", json!(-5)), "/body/length_mm"),
        (received("length_mm", json!(1.5)), "/body/length_mm"),
        (received("length_mm", json!(1e300)), "/body/length_mm"),
        (received("length_mm", json!(100_000_001)), "/body/length_mm"),
        (received("length_mm", json!("long")), "/body/length_mm"),
        (
            received("opening", json!({"out_time_s": -1, "as_of": "2026-05-06T06:00:00Z", "source": "card"})),
            "/body/opening",
        ),
        (with("id", json!("R-42")), "/id"),
        (with("thing", json!("R-42")), "/thing"),
        (with("thing", json!("roll/a\u{0}b")), "/thing"),
        (with("occurred_at", json!("2026-05-06 06:02")), "/occurred_at"),
        (with("occurred_at", json!("2026-05-06T06:02:11")), "/occurred_at"),
        (with("occurred_at", json!(1_778_043_731)), "/occurred_at"),
        (with("by", json!("")), "/by"),
        (with("kind", json!("roll_eaten")), "/kind"),
        (with("kind", json!("roll_taken_out.v9")), "/kind"),
        (with("kind", json!("material_revised")), "/kind"),
        (with("kind", json!("log_cut")), "/kind"),
        (with("thing", json!("kit/K-5")), "/thing"),
        (with("uncertain_by_ms", json!(-1)), "/uncertain_by_ms"),
        (with("colour", json!("green")), "/colour"),
        (with("body", json!("F1")), "/body"),
    ];
    for (fact, pointer) in bad {
        let said = server.post("/api/v1/entries", &json!({"entries": [fact]}));
        let result = said.json()["results"][0].clone();
        assert_eq!((said.status, &result["status"]), (207, &json!(400)), "{fact}: {result}");
        let pointed = result["problem"]["errors"][0]["pointer"].as_str().unwrap();
        assert!(pointed.starts_with(&format!("/entries/0{pointer}")), "{pointed} for {pointer}");
    }
    assert_eq!(server.last_seq(), before);
}

#[test]
fn a_decision_with_a_field_nobody_knows_is_refused() {
    let server = Server::yard();
    let before = server.last_seq();
    let hold = || server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    let with = |name: &str, value: Value| {
        let mut decision = hold();
        decision[name] = value;
        decision
    };
    let bad = [
        (with("colour", json!("green")), "/colour"),
        (with("body", json!({"why": "torn bag", "colour": "green"})), "/body/colour"),
        (with("body", json!({})), "/body/why"),
        (with("decide", json!("eat")), "/decide"),
        (with("decide", json!("hold_placed")), "/decide"),
        (with("based_on", json!(-1)), "/based_on"),
        (with("based_on", json!("now")), "/based_on"),
        (with("second", json!({"by": "Q-01", "colour": 1})), "/second"),
        (with("id", json!(7)), "/id"),
    ];
    for (decision, pointer) in bad {
        let said = server.post("/api/v1/decisions", &decision).problem(400, "cannot-read");
        let pointed = said["errors"][0]["pointer"].as_str().unwrap();
        assert!(pointed.starts_with(pointer), "{pointed} for {pointer}: {said}");
    }
    server.post("/api/v1/decisions", &json!([hold()])).problem(400, "cannot-read");
    assert_eq!(server.last_seq(), before);
}

#[test]
fn a_time_in_the_future_and_a_code_nobody_knows_are_taken_and_told() {
    let server = Server::yard();
    let mut future = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F9"}));
    future["occurred_at"] = json!("2031-01-01T00:00:00.000+00:00");
    let result = server.post("/api/v1/entries", &json!({"entries": [future]})).json()["results"][0].clone();
    assert_eq!((&result["status"], &result["told"]), (&json!(201), &json!(true)));
    assert!(!result["mismatches"].as_array().unwrap().is_empty(), "{result}");
    for far in ["0000-01-01T00:00:00Z", "9999-12-31T23:59:59.999Z"] {
        let mut fact = server.fact_now("roll_put_away", "roll/R-77", json!({"into": "F1"}));
        fact["occurred_at"] = json!(far);
        let said = server.post("/api/v1/entries", &json!({"entries": [fact]}));
        assert!(said.status == 207 && said.json()["results"][0]["status"].as_u64().unwrap() < 500, "{}", said.text);
    }
    for path in [
        "things/roll/R-77",
        "things/roll/R-77/may-use?act=cut",
        "things/roll/R-42/out-time-card",
        "runs-out",
        "mismatches",
    ] {
        assert_eq!(server.get(&format!("/api/v1/{path}")).status, 200, "{path}");
    }
    for at in ["0000-01-01T00:00:00Z", "9999-12-31T23:59:59Z"] {
        assert_eq!(server.get(&format!("/api/v1/things/roll/R-42/may-use?act=lay&at={at}")).status, 200, "{at}");
    }
}

#[test]
fn an_address_that_is_no_text_is_a_problem() {
    let server = Server::yard();
    for path in [
        "/api/v1/scan/%FF",
        "/api/v1/things/roll/%00",
        "/api/v1/things/%FF/R-42",
        "/api/v1/scan/%2F",
        "/?code=%FF&thing=%FF",
        "/boat/%FF",
    ] {
        let said = server.get(path);
        assert!(said.status < 500, "{path}: {} {}", said.status, said.text);
        assert!(said.status < 400 || said.media == "application/problem+json", "{path}: {}", said.media);
    }
}

#[test]
fn a_body_that_breaks_off_leaves_the_server_and_its_log_alone() {
    let server = Server::yard();
    let before = server.last_seq();
    for broken in [
        "POST /api/v1/entries HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 500\r\n\r\n{\"entries\":[",
        "POST /api/v1/entries HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n",
        "GARBAGE\r\n\r\n",
        "GET / HTTP/9.9\r\n\r\n",
    ] {
        let mut stream = TcpStream::connect(server.address()).unwrap();
        stream.write_all(broken.as_bytes()).unwrap();
        stream.shutdown(std::net::Shutdown::Write).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).ok();
        assert!(!answer.starts_with("HTTP/1.1 5"), "{answer}");
    }
    assert_eq!(server.last_seq(), before);
}

/// Which characters look like which is said by Unicode Technical Standard 39, which turn the direction of writing by Unicode
/// Standard Annex 9: both from memory.
#[test]
fn what_can_be_taken_for_something_else_is_refused_in_words_or_set_aside() {
    let server = Server::yard();
    let before = server.last_seq();
    let refused = |pointer: &str, text: &str, device: Option<&str>| {
        let mut fact = server.fact_now("disposed", "roll/R-42", json!({"why": "torn bag"}));
        *fact.pointer_mut(pointer).unwrap() = json!(text);
        fact["device"] = json!(device);
        server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone()
    };
    for (pointer, text, says) in [
        ("/thing", "roll/R-4\u{ff12}", "\"\u{ff12}\" (U+FF12) is not taken in a code"),
        ("/thing", "roll/\u{420}-42", "(U+0420)"),
        ("/by", "\u{412}-17", "(U+0412)"),
        ("/by", "B\u{2011}17", "(U+2011)"),
        ("/by", "B-17\u{200b}", "U+200B is not taken"),
        ("/body/why", "torn \u{202e}gab", "U+202E is not taken in a text, because nobody sees it"),
        ("/body/why", "torn\u{0}bag", "U+0000"),
        ("/body/why", "torn\u{1b}[2Jbag", "U+001B"),
    ] {
        let result = refused(pointer, text, None);
        assert_eq!(result["status"], 400, "{text:?}: {result}");
        let error = &result["problem"]["errors"][0];
        assert_eq!(error["pointer"], format!("/entries/0{pointer}"), "{result}");
        assert!(error["detail"].as_str().unwrap().contains(says), "{result}");
    }
    let mut hold = server.decision_now("place_hold", "roll/R-42", json!({"why": "see \u{2066}letter"}));
    let problem = server.post("/api/v1/decisions", &hold).problem(400, "cannot-read");
    assert_eq!(problem["errors"][0]["pointer"], "/body/why");
    hold["second"]["by"] = json!("Q-0\u{661}");
    hold["body"]["why"] = json!("see letter");
    let problem = server.post("/api/v1/decisions", &hold).problem(400, "cannot-read");
    assert_eq!(problem["errors"][0]["pointer"], "/second/by");
    assert_eq!(server.last_seq(), before);
    // A device's entry is never lost: it is kept as it came, and shows as what does not add up.
    let kept = refused("/body/why", "torn \u{202e}gab", Some("H-3"));
    assert_eq!((&kept["status"], &kept["mismatches"][0]["thing"]), (&json!(201), &json!("roll/R-42")), "{kept}");
    // Lines, tabs and every language may stand in a reason; accents in a code.
    let fact = server.fact_now("disposed", "roll/\u{dc}-1", json!({"why": "zwei\n\tZeilen, größer als Ω, 冷凍庫"}));
    let said = server.post("/api/v1/entries", &json!({"entries": [fact]})).json();
    assert_eq!(said["results"][0]["status"], 201, "{said}");
}

#[test]
fn a_bare_list_of_facts_is_told_where_they_go() {
    let server = Server::yard();
    let before = server.last_seq();
    let fact = server.fact_now("seen", "roll/R-42", json!({"in": "F1"}));
    for list in [json!([fact]), json!([[fact]]), json!([])] {
        let problem = server.post("/api/v1/entries", &list).problem(400, "cannot-read");
        assert!(problem["detail"].as_str().unwrap().contains("{\"entries\": [fact, ..]}"), "{problem}");
    }
    let problem = server.post("/api/v1/entries", &json!({"entries": fact})).problem(400, "cannot-read");
    assert!(problem["detail"].as_str().unwrap().contains("an object stands where a list is expected"), "{problem}");
    assert_eq!(server.last_seq(), before);
}
