//! What is answered before an operation gets to see a request: by us a problem in words, by the framework an empty answer.

use crate::yard::Server;
use reqwest::Method;
use serde_json::json;
use std::{
    io::{Read, Write},
    net::{Shutdown, TcpStream},
};

/// The first answer to these bytes: status, head and body. The connection is half-closed, so that a wait has an end.
fn raw(server: &Server, request: &[u8]) -> (u16, String, String) {
    let mut stream = TcpStream::connect(server.address()).unwrap();
    stream.write_all(request).unwrap();
    stream.shutdown(Shutdown::Write).ok();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).ok();
    let answer = String::from_utf8_lossy(&answer).into_owned();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    let status = head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0);
    (status, head.to_ascii_lowercase(), body.to_owned())
}

/// A question with this line and these further headers.
fn asked(line: &str, headers: &str) -> Vec<u8> {
    format!("{line} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n{headers}\r\n").into_bytes()
}

#[test]
fn what_the_server_answers_is_a_problem_in_words() {
    let server = Server::yard();
    let before = server.last_seq();
    let long_code = "x".repeat(10_000);
    let posted =
        |headers: &str, body: &str| [asked("POST /api/v1/entries", headers).as_slice(), body.as_bytes()].concat();
    let json = "Content-Type: application/json\r\n";
    let table: Vec<(Vec<u8>, u16, &str)> = vec![
        (asked("GET /api/v1/things/wheel/W-1", ""), 400, "cannot-read"),
        (asked("GET /api/v1/scan/%FF", ""), 400, "cannot-read"),
        (asked("GET /api/v1/rolls?material=%FF", ""), 400, "cannot-read"),
        (asked("GET /no/such/page?x=%FF", ""), 400, "cannot-read"),
        (asked(&format!("GET /api/v1/scan/{long_code}"), ""), 400, "cannot-read"),
        (asked("GET /api/v1/entries?after=%FF", ""), 400, "cannot-read"),
        (asked("GET /api/v1/entries?limit=-1", ""), 400, "cannot-read"),
        (asked("GET /api/v1/entries", "Last-Event-ID: \u{e9}\r\n"), 400, "cannot-read"),
        (asked("GET /nothing", ""), 404, "no-such-operation"),
        (asked("GET //api/v1/entries", ""), 404, "no-such-operation"),
        (asked("GET /api/v1/entries/", ""), 404, "no-such-operation"),
        (asked("DELETE /api/v1/entries/1", ""), 405, "no-such-operation"),
        (asked("OPTIONS /api/v1/entries", ""), 405, "no-such-operation"),
        (asked("TRACE /api/v1/entries", ""), 405, "no-such-operation"),
        (asked("PATCH /api/v1/decisions", ""), 405, "no-such-operation"),
        (asked("BREW /api/v1/decisions", ""), 405, "no-such-operation"),
        (asked("OPTIONS *", ""), 404, "no-such-operation"),
        (asked("GET /api/v1/entries", "Accept: text/html\r\n"), 406, "not-acceptable"),
        (asked("GET /healthz", "Accept: text/html\r\n"), 406, "not-acceptable"),
        (asked("GET /api/v1/entries/first", ""), 400, "cannot-read"),
        (asked("GET /api/v1/entries", "Accept: \u{e9}\r\n"), 406, "not-acceptable"),
        (asked("GET /api/v1/warnings.ics", "Accept: application/json\r\n"), 406, "not-acceptable"),
        (posted(json, ""), 400, "cannot-read"),
        (posted(&format!("{json}Origin: http://yard.example\r\nContent-Length: 2\r\n"), "{}"), 403, "not-allowed"),
        (posted(&format!("{json}Content-Length: 3\r\n"), "{}"), 400, "cannot-read"),
        (posted(&format!("{json}Transfer-Encoding: chunked\r\n"), "zz\r\n{}\r\n0\r\n\r\n"), 400, "cannot-read"),
        (posted(&format!("{json}Accept: image/png\r\nContent-Length: 2\r\n"), "{}"), 406, "not-acceptable"),
        (posted(&format!("{json}Content-Length: 262145\r\n"), &" ".repeat(262_145)), 413, "too-large"),
        (posted("Content-Length: 2\r\n", "{}"), 415, "wrong-media-type"),
        (posted("Content-Type: \u{e9}\r\nContent-Length: 2\r\n", "{}"), 415, "wrong-media-type"),
    ];
    for (request, expected, name) in table {
        let shown = String::from_utf8_lossy(&request[..request.len().min(120)]).into_owned();
        let (status, head, body) = raw(&server, &request);
        assert_eq!(status, expected, "{shown}: {head} {body}");
        assert!(head.contains("content-type: application/problem+json"), "{shown}: {head}");
        assert!(body.contains(&format!("\"/problems/{name}\"")) && body.contains("urn:trace:"), "{shown}: {body}");
        assert_eq!(head.contains("\r\nallow: "), status == 405, "{shown}: {head}");
    }
    assert_eq!(server.last_seq(), before);
}

/// RFC 9111, section 3: what says nothing about it may be kept on the way, and a *yes* of this morning is none now.
#[test]
fn no_answer_is_kept_on_the_way() {
    let server = Server::yard();
    let events = [("accept", "text/event-stream")];
    let heads = [("/api/v1/entries", events.as_slice())].into_iter().chain(
        [
            "/api/v1/things/roll/R-42/may-use?act=lay",
            "/api/v1/rolls",
            "/api/v1/entries/1",
            "/api/v1/warnings.ics",
            "/api/v1/openapi.json",
            "/api/v1/things/roll/R-99",
            "/healthz",
            "/",
            "/?code=R-42",
            "/rolls.csv",
            "/thing/roll/R-42",
            "/no/such/page",
        ]
        .map(|path| (path, [].as_slice())),
    );
    for (path, headers) in heads {
        let said = server.send(Method::HEAD, path, headers, Vec::new());
        assert_eq!(
            said.headers.get("cache-control").map(|kept| kept.as_bytes()),
            Some(b"no-store".as_slice()),
            "{path}"
        );
    }
    let refused = server.post("/api/v1/decisions", &json!({}));
    let written = server
        .post("/api/v1/entries", &json!({"entries": [server.fact_now("seen", "roll/R-42", json!({"in": "F1"}))]}));
    for said in [refused, written] {
        assert_eq!(said.headers["cache-control"], "no-store", "{}", said.status);
    }
}

/// The framework (actix-http 3.20) answers these itself and knows nobody to ask: there is no operation yet, because the head
/// of the request was never read whole. An empty answer, a closed connection, and nothing is written.
#[test]
fn a_head_that_cannot_be_read_gets_an_empty_answer_and_nothing_else() {
    let server = Server::yard();
    let before = server.last_seq();
    let big = |bytes: usize| format!("X-Much: {}\r\n", "x".repeat(bytes));
    let many: String = (0..100).map(|number| format!("X-{number}: y\r\n")).collect();
    let chunked = "POST /api/v1/entries HTTP/1.1\r\nHost: localhost\r\n";
    let table: Vec<(Vec<u8>, u16)> = vec![
        (b"GARBAGE\r\n\r\n".to_vec(), 400),
        (b"GET / HTTP/9.9\r\nHost: localhost\r\n\r\n".to_vec(), 400),
        (b"GET / HTTP/1.1\r\nHost: localhost\r\nBad Name: x\r\n\r\n".to_vec(), 400),
        (b"GET /a b HTTP/1.1\r\nHost: localhost\r\n\r\n".to_vec(), 400),
        (b"GET /\xff HTTP/1.1\r\nHost: localhost\r\n\r\n".to_vec(), 400),
        (b"GET /api/v1/rolls?material=\xff HTTP/1.1\r\nHost: localhost\r\n\r\n".to_vec(), 400),
        // Quotes and angle brackets have to be percent-encoded there (RFC 3986, section 3.4).
        (asked("GET /api/v1/rolls?material=\"", ""), 400),
        (asked("GET /api/v1/rolls?material=<>", ""), 400),
        // One Host, neither none nor two (RFC 9112, section 3.2).
        (b"GET /healthz HTTP/1.1\r\n\r\n".to_vec(), 400),
        (asked("GET /healthz", "Host: localhost\r\n"), 400),
        (format!("{chunked}Content-Length: 2\r\nContent-Length: 3\r\n\r\n{{}}").into_bytes(), 400),
        (format!("{chunked}Content-Length: two\r\n\r\n{{}}").into_bytes(), 400),
        (format!("{chunked}Transfer-Encoding: chunked\r\nContent-Length: 2\r\n\r\n{{}}").into_bytes(), 400),
        // The framework's addresses end at 65,534 bytes, its heads at 96 fields or 128 KiB; it has no 414.
        (asked(&format!("GET /{}", "x".repeat(66_000)), ""), 400),
        (asked(&format!("GET /{}", "x".repeat(140_000)), ""), 431),
        (asked("GET /healthz", &many), 431),
        (asked("GET /healthz", &big(140_000)), 431),
    ];
    for (request, expected) in table {
        let shown = String::from_utf8_lossy(&request[..request.len().min(120)]).into_owned();
        let (status, head, body) = raw(&server, &request);
        assert_eq!((status, body.as_str()), (expected, ""), "{shown}: {head}");
        assert!(head.contains("connection: close"), "{shown}: {head}");
    }
    // Just below its limits the server answers itself.
    assert_eq!(raw(&server, &asked("GET /healthz", &big(100_000))).0, 200);
    assert_eq!(server.last_seq(), before);
}

#[test]
fn a_head_that_does_not_come_is_not_waited_for() {
    let server = Server::yard();
    let mut stream = TcpStream::connect(server.address()).unwrap();
    stream.write_all(b"GET /healthz HT").unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 408 ") && answer.contains("content-length: 0\r\n"), "{answer}");
}

/// A body that breaks off half-way without closing the connection is waited for 30 s, on pages as at the API, and with every
/// method; then the connection is closed.
#[test]
fn a_body_that_does_not_come_is_not_waited_for() {
    let server = Server::yard();
    let before = server.last_seq();
    let form = "Content-Type: application/x-www-form-urlencoded\r\nAccept: text/html\r\n";
    let table = [
        ("POST /oven", form, "text/html"),
        ("POST /no/such/page", form, "text/html"),
        ("POST /api/v1/decisions", "Content-Type: application/json\r\n", "application/problem+json"),
        ("GET /api/v1/rolls", "", "application/problem+json"),
    ];
    std::thread::scope(|scope| {
        for (line, headers, media) in table {
            let address = server.address();
            scope.spawn(move || {
                let mut stream = TcpStream::connect(address).unwrap();
                let head = format!("{line} HTTP/1.1\r\nHost: localhost\r\n{headers}Content-Length: 100\r\n\r\nid=");
                stream.write_all(head.as_bytes()).unwrap();
                let mut answer = String::new();
                // It ends because the server closes the connection.
                stream.read_to_string(&mut answer).unwrap();
                assert!(answer.starts_with("HTTP/1.1 408 "), "{line}: {answer}");
                assert!(answer.contains(&format!("content-type: {media}")), "{line}: {answer}");
                assert!(answer.contains("did not arrive within 30 s"), "{line}: {answer}");
            });
        }
    });
    assert_eq!(server.last_seq(), before);
}

/// Another protocol is not spoken here, which is said at once; the framework would wait for the end of the connection.
#[test]
fn who_asks_for_another_protocol_is_answered_in_this_one() {
    let server = Server::yard();
    let before = server.last_seq();
    let fact = json!({"entries": [server.fact_now("seen", "roll/R-42", json!({"in": "F1"}))]}).to_string();
    let json = format!("Content-Type: application/json\r\nContent-Length: {}\r\n", fact.len());
    let table = [
        ("GET /healthz", "Upgrade: websocket\r\nConnection: Upgrade\r\n".to_owned(), 400),
        ("GET /rolls.csv", "Upgrade: WebSocket\r\n".to_owned(), 400),
        // An offer of the next version of HTTP is not taken up (RFC 9110, section 7.8).
        ("GET /api/v1/rolls", "Upgrade: h2c\r\nConnection: Upgrade\r\n".to_owned(), 200),
        ("POST /api/v1/entries", format!("Upgrade: websocket\r\n{json}"), 400),
        ("CONNECT localhost:80", String::new(), 400),
    ];
    for (line, headers, expected) in table {
        let mut stream = TcpStream::connect(server.address()).unwrap();
        // It stays open and goes on talking; the test ends because the server closes it.
        let host = format!("Host: localhost\r\n{headers}");
        let body = if line.starts_with("POST") { fact.as_str() } else { "" };
        stream.write_all(format!("{line} HTTP/1.1\r\n{host}\r\n{body}").as_bytes()).unwrap();
        let (mut answer, mut part) = (Vec::new(), [0; 4096]);
        while !String::from_utf8_lossy(&answer).contains("\r\n\r\n") {
            let read = stream.read(&mut part).unwrap();
            assert_ne!(read, 0, "{line} {headers}");
            answer.extend_from_slice(&part[..read]);
        }
        let answer = String::from_utf8_lossy(&answer).into_owned();
        assert!(answer.starts_with(&format!("HTTP/1.1 {expected} ")), "{line} {headers}: {answer}");
        assert_eq!(expected < 400, !answer.contains("application/problem+json"), "{line} {headers}: {answer}");
    }
    assert_eq!(server.last_seq(), before);
}

#[test]
fn every_question_is_answered_to_head_as_to_get() {
    let server = Server::yard();
    server.decide(
        "open_job",
        "job/J-1",
        json!({"part": "P-3", "stages": ["skin"], "needs": [], "lay_at": "2026-05-06T16:00:00+01:00",
               "oven_at": "2026-05-06T20:00:00+01:00"}),
    );
    let document = server.get("/api/v1/openapi.json").json();
    let mut tried = 0;
    for (template, item) in document["paths"].as_object().unwrap() {
        // The address of a calendar is there once somebody made it (people/mine.rs).
        let Some(get) = item.get("get").filter(|_| !template.contains("{token}")) else { continue };
        let path =
            template.replace("{kind}/{code}", "roll/R-42").replace("scan/{code}", "scan/R-42").replace("{seq}", "1");
        let path = path.replace("{material}", "PM-101").replace("{batch}", "B-123").replace("part/{code}", "part/P-3");
        let needed = [("/may-use", "?act=lay"), ("/proofs/inclusion", "?entry=1"), ("/proofs/consistency", "?from=1")];
        let query = needed.iter().find(|(end, _)| template.ends_with(end)).map_or("", |(_, query)| query);
        let path = format!("{path}{query}");
        let (get_said, head) = (server.get(&path), server.send(Method::HEAD, &path, &[], Vec::new()));
        assert_eq!((get_said.status, head.status, head.text.as_str()), (200, 200, ""), "{path} {}", get["operationId"]);
        assert_eq!(head.media, get_said.media, "{path}");
        assert_eq!(head.headers["content-length"], get_said.text.len().to_string(), "{path}");
        tried += 1;
    }
    assert!(25 < tried, "{tried}");
    let stream = server.send(Method::HEAD, "/api/v1/entries", &[("accept", "text/event-stream")], Vec::new());
    assert_eq!((stream.status, stream.media.as_str(), stream.text.as_str()), (200, "text/event-stream", ""));
}

#[test]
fn whatever_is_taken_is_answered_and_what_is_not_is_said() {
    let server = Server::yard();
    let taken =
        ["*/*", "application/json", "application/*", "application/JSON;charset=utf-8", "text/html, */*;q=0.1", ""];
    for accept in taken {
        let said = server.send(Method::GET, "/api/v1/rolls", &[("accept", accept)], Vec::new());
        assert_eq!((said.status, said.media.as_str()), (200, "application/json"), "{accept}");
    }
    for accept in ["text/html", "application/problem+json", "application/json;q=0", "*/*;q=0", "nonsense"] {
        let said = server.send(Method::GET, "/api/v1/rolls", &[("accept", accept)], Vec::new());
        let problem = said.problem(406, "not-acceptable");
        assert!(problem["detail"].as_str().unwrap().contains("application/json"), "{problem}");
    }
    // What is not there, or not done so, is said before what is taken.
    let none = [("accept", "image/png")];
    server.send(Method::GET, "/api/v1/nothing", &none, Vec::new()).problem(404, "no-such-operation");
    server.send(Method::DELETE, "/api/v1/rolls", &none, Vec::new()).problem(405, "no-such-operation");
    // Pages are for people, whatever their browser says.
    assert_eq!(server.send(Method::GET, "/rolls", &none, Vec::new()).status, 200);
    let before = server.last_seq();
    let facts = json!({"entries": [server.fact_now("roll_taken_out", "roll/R-42", json!({}))]}).to_string();
    let headers = [("accept", "text/plain"), ("content-type", "application/json")];
    server.send(Method::POST, "/api/v1/entries", &headers, facts.into_bytes()).problem(406, "not-acceptable");
    assert_eq!(server.last_seq(), before);
}
