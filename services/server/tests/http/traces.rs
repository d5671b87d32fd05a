//! Which trace a request belongs to, as W3C Trace Context level 1 (https://www.w3.org/TR/trace-context-1/) has it.

use crate::yard::Server;
use reqwest::Method;

const SENT: &str = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01";
const ID: &str = "0af7651916cd43dd8448eb211c80319c";

/// The trace id and the own id of an answer.
fn answered(said: &crate::yard::Said) -> (String, String) {
    let whole = said.headers["traceresponse"].to_str().unwrap();
    let parts: Vec<&str> = whole.split('-').collect();
    assert_eq!((parts.len(), parts[0], parts[3], whole.len()), (4, "00", "00", 55), "{whole}");
    (parts[1].to_owned(), parts[2].to_owned())
}

#[test]
fn a_trace_that_can_be_read_goes_on_and_stands_in_the_problem() {
    let server = Server::yard();
    for path in ["/api/v1/rolls", "/api/v1/things/roll/R-99", "/nothing", "/rolls", "/healthz?x=1"] {
        let said = server.send(Method::GET, path, &[("traceparent", SENT), ("tracestate", "other=1")], Vec::new());
        let (id, own) = answered(&said);
        assert_eq!(id, ID, "{path}");
        assert!(own != "b7ad6b7169203331" && own != "0000000000000000", "{own}");
        if said.media == "application/problem+json" {
            assert_eq!(said.json()["instance"], format!("urn:trace:{ID}"), "{path}");
        }
    }
    // Also of what no operation gets to see.
    let other = [("traceparent", SENT), ("host", "yard.example")];
    let said = server.send(Method::GET, "/healthz", &other, Vec::new()).problem(421, "other-name");
    assert_eq!(said["instance"], format!("urn:trace:{ID}"));
    let picky = [("traceparent", SENT), ("accept", "image/png")];
    let said = server.send(Method::GET, "/healthz", &picky, Vec::new()).problem(406, "not-acceptable");
    assert_eq!(said["instance"], format!("urn:trace:{ID}"));
}

#[test]
fn one_that_cannot_be_read_is_begun_anew() {
    let server = Server::yard();
    for sent in [
        "",
        "nonsense",
        "00-00000000000000000000000000000000-b7ad6b7169203331-01",
        "00-0af7651916cd43dd8448eb211c80319c-0000000000000000-01",
        "ff-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
        "00-0AF7651916CD43DD8448EB211C80319C-b7ad6b7169203331-01",
        "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-more",
    ] {
        let said = server.send(Method::GET, "/api/v1/things/roll/R-99", &[("traceparent", sent)], Vec::new());
        let (id, _) = answered(&said);
        assert!(id != ID && id.bytes().any(|byte| byte != b'0'), "{sent}: {id}");
        assert_eq!(said.problem(404, "not-found")["instance"], format!("urn:trace:{id}"));
    }
    let later = "cc-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-more";
    let said = server.send(Method::GET, "/healthz", &[("traceparent", later)], Vec::new());
    assert_eq!(answered(&said).0, ID);
    let twice = [("traceparent", SENT), ("traceparent", SENT)];
    assert_ne!(answered(&server.send(Method::GET, "/healthz", &twice, Vec::new())).0, ID);
}

#[test]
fn an_answer_is_the_same_in_every_trace() {
    let server = Server::yard();
    let ask = |headers: &[(&str, &str)]| server.send(Method::GET, "/api/v1/things/roll/R-42", headers, Vec::new());
    let (first, second, third) = (ask(&[]), ask(&[]), ask(&[("traceparent", SENT)]));
    assert_eq!((&first.text, &first.text), (&second.text, &third.text));
    assert_ne!(answered(&first), answered(&second));
}
