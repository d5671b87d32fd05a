//! What a page of another site or a sender without measure asks: refused in words, soon, and nothing is written.

use crate::yard::Server;
use reqwest::Method;
use serde_json::json;
use std::{
    io::{Read, Write},
    net::{Shutdown, TcpStream},
    time::Duration,
};

/// Sends these bytes and gives all that comes back until the server closes.
fn raw(server: &Server, request: &str) -> String {
    let mut stream = TcpStream::connect(server.address()).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    answer
}

#[test]
fn only_the_names_of_this_machine_are_served() {
    let server = Server::yard();
    let before = server.last_seq();
    let port = server.address().rsplit_once(':').unwrap().1.to_owned();
    for host in ["127.0.0.1", "localhost", "[::1]", &format!("localhost:{port}"), "LOCALHOST:1"] {
        let said = server.send(Method::GET, "/healthz", &[("host", host)], Vec::new());
        assert_eq!(said.status, 200, "{host}: {}", said.text);
    }
    let fact = json!({"entries": [server.fact_now("roll_taken_out", "roll/R-42", json!({}))]}).to_string();
    for host in ["yard.example", &format!("yard.example:{port}"), "127.0.0.1.yard.example", "192.0.2.1", "localhost."] {
        for path in ["/healthz", "/api/v1/entries", "/api/v1/openapi.json", "/nothing", "/static/none", "/"] {
            server.send(Method::GET, path, &[("host", host)], Vec::new()).problem(421, "other-name");
        }
        let json = [("host", host), ("content-type", "application/json")];
        let said = server.send(Method::POST, "/api/v1/entries", &json, fact.clone().into_bytes());
        said.problem(421, "other-name");
        let said = server.send(Method::GET, "/", &[("host", host), ("accept", "text/html")], Vec::new());
        assert_eq!((said.status, said.media.as_str()), (421, "text/html; charset=utf-8"));
        assert!(said.text.contains("names another host"), "{}", said.text);
    }
    // The address of the request itself counts as well, and so does a second header.
    for request in [
        "GET http://yard.example/healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n",
        "GET /healthz HTTP/1.1\r\nHost: yard.example\r\nConnection: close\r\n\r\n",
    ] {
        let answer = raw(&server, request);
        assert!(answer.starts_with("HTTP/1.1 421"), "{request}{answer}");
    }
    let unnamed = raw(&server, "GET /healthz HTTP/1.0\r\n\r\n");
    assert!(unnamed.starts_with("HTTP/1.0 400") && unnamed.contains("send the header Host"), "{unnamed}");
    assert_eq!(server.last_seq(), before);
}

#[test]
fn a_page_of_another_site_writes_nothing_and_a_program_is_not_asked() {
    let server = Server::yard();
    let before = server.last_seq();
    let own = format!("http://{}", server.address());
    let facts = |media: &str, headers: &[(&str, &str)]| {
        let fact = server.fact_now("seen", "roll/R-42", json!({"in": "F1"}));
        let headers = [&[("content-type", media)], headers].concat();
        server.send(Method::POST, "/api/v1/entries", &headers, json!({"entries": [fact]}).to_string().into_bytes())
    };
    let foreign: [&[(&str, &str)]; 6] = [
        &[("origin", "http://yard.example")],
        &[("origin", "null")],
        &[("origin", "http://127.0.0.1:1")],
        &[("sec-fetch-site", "cross-site")],
        &[("sec-fetch-site", "same-site")],
        &[("origin", &own), ("sec-fetch-site", "cross-site")],
    ];
    for headers in foreign {
        // What a plain form can send, and what it can't.
        let forms = ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"];
        for media in forms.iter().chain(&["application/json"]) {
            facts(media, headers).problem(403, "not-allowed");
        }
        let json = [&[("content-type", "application/json")], headers].concat();
        let hold = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn"})).to_string();
        let said = server.send(Method::POST, "/api/v1/decisions", &json, hold.into_bytes());
        said.problem(403, "not-allowed");
        // A link from there is followed, and its answer is not readable there: nothing allows it.
        let said = server.send(Method::GET, "/api/v1/rolls", headers, Vec::new());
        assert_eq!(said.status, 200);
        assert!(said.headers.keys().all(|name| !name.as_str().starts_with("access-control-")));
    }
    assert_eq!(server.last_seq(), before);
    for headers in [&[][..], &[("origin", own.as_str())], &[("origin", &own), ("sec-fetch-site", "same-origin")]] {
        assert_eq!(facts("application/json", headers).status, 207, "{headers:?}");
        facts("text/plain", headers).problem(415, "wrong-media-type");
    }
}

#[test]
fn a_form_that_is_no_text_is_refused_before_anything_is_written() {
    let server = Server::yard();
    let before = server.last_seq();
    let form = [("content-type", "application/x-www-form-urlencoded"), ("accept", "text/html")];
    for path in ["/moves", "/hold", "/job", "/badge"] {
        let said = server.send(Method::POST, path, &form, b"code=R-42&why=torn%FFbag".to_vec());
        assert_eq!((said.status, said.media.as_str()), (400, "text/html; charset=utf-8"), "{path}: {}", said.text);
        assert!(
            said.text.contains("The field why of the form is not <code>UTF-8</code>. Nothing was written"),
            "{}",
            said.text
        );
    }
    assert_eq!(server.last_seq(), before);
}

#[test]
fn a_link_on_a_page_of_another_site_signs_nobody_on() {
    let server = Server::yard();
    let scan = |site: &str| {
        server.send(Method::GET, "/?code=B-17", &[("accept", "text/html"), ("sec-fetch-site", site)], Vec::new())
    };
    for site in ["same-origin", "none"] {
        assert!(scan(site).headers.contains_key("set-cookie"), "{site}");
    }
    for site in ["cross-site", "same-site"] {
        let said = scan(site);
        assert_eq!((said.status, said.headers.contains_key("set-cookie")), (200, false), "{site}");
        assert!(said.text.contains("Nobody is signed on by that."), "{}", said.text);
    }
}

#[test]
fn a_body_without_an_end_is_refused_and_the_connection_closed() {
    let server = Server::yard();
    let before = server.last_seq();
    let head = "POST /api/v1/entries HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n\
                Transfer-Encoding: chunked\r\n\r\n";
    let chunk = format!("{:x}\r\n{}\r\n", 64 * 1024, " ".repeat(64 * 1024));
    // It stays silent after too much, and waits for the answer.
    let silent = raw(&server, &format!("{head}{}", chunk.repeat(5)));
    assert!(silent.starts_with("HTTP/1.1 413") && silent.contains("/problems/too-large"), "{silent}");
    // It never stops: writing ends because the server closes.
    let mut stream = TcpStream::connect(server.address()).unwrap();
    stream.set_write_timeout(Some(Duration::from_secs(20))).unwrap();
    stream.write_all(head.as_bytes()).unwrap();
    // 32 GiB: far more than the server takes, and the test ends if it does take it.
    let ended = (0..524_288).find_map(|_| stream.write_all(chunk.as_bytes()).err()).unwrap();
    assert!(matches!(ended.kind(), std::io::ErrorKind::BrokenPipe | std::io::ErrorKind::ConnectionReset), "{ended}");
    stream.shutdown(Shutdown::Both).ok();
    assert_eq!(server.last_seq(), before);
}

#[test]
fn a_question_that_cannot_be_read_is_a_page_for_a_person() {
    let server = Server::yard();
    let browser = [("accept", "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8")];
    let said = server.send(Method::GET, "/?code=R-42&code=R-43", &browser, Vec::new());
    assert_eq!((said.status, said.media.as_str()), (400, "text/html; charset=utf-8"), "{}", said.text);
    assert!(said.text.contains("The question could not be read"), "{}", said.text);
    server.get("/?code=R-42&code=R-43").problem(400, "cannot-read");
    // A program's address answers a program, whoever asks.
    let said = server.send(Method::GET, "/api/v1/runs-out?x=1", &browser, Vec::new());
    said.problem(400, "cannot-read");
    let form = [("accept", "text/html"), ("content-type", "text/plain")];
    let said = server.send(Method::POST, "/moves", &form, b"x".to_vec());
    assert_eq!((said.status, said.media.as_str()), (415, "text/html; charset=utf-8"), "{}", said.text);
}
