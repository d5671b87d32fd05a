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
        "GET /healthz HTTP/1.0\r\n\r\n",
    ] {
        let answer = raw(&server, request);
        assert!(answer.starts_with("HTTP/1.1 421") || answer.starts_with("HTTP/1.0 421"), "{request}{answer}");
    }
    assert_eq!(server.last_seq(), before);
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
