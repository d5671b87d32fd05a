//! The log page by page and as it comes: filters, positions, listeners that break off, many of them, and the server's stop.

use crate::yard::Server;
use reqwest::{Method, blocking::Client, blocking::Response};
use serde_json::json;
use std::io::{BufRead, BufReader};
use std::time::Duration;

struct Ear {
    lines: std::io::Lines<BufReader<Response>>,
}

/// One event: its number, its name and its data.
type Event = (u64, String, String);

impl Ear {
    fn new(server: &Server, query: &str, last_event: Option<u64>) -> Ear {
        let client = Client::builder().no_proxy().timeout(Duration::from_secs(20)).build().unwrap();
        let mut request = client.get(format!("http://{}/api/v1/entries{query}", server.address()));
        request = request.header("accept", "text/event-stream");
        if let Some(seq) = last_event {
            request = request.header("last-event-id", seq.to_string());
        }
        let answer = request.send().unwrap();
        assert_eq!(answer.status(), 200);
        assert_eq!(answer.headers()["content-type"], "text/event-stream");
        let mut ear = Ear { lines: BufReader::new(answer).lines() };
        assert_eq!(ear.part().unwrap(), ["retry: 2000", ": listening"]);
        ear
    }

    /// The lines up to the next empty one; nothing at the end.
    fn part(&mut self) -> Option<Vec<String>> {
        let mut part = Vec::new();
        loop {
            match self.lines.next()?.unwrap() {
                line if line.is_empty() => return Some(part),
                line => part.push(line),
            }
        }
    }

    fn event(&mut self) -> Option<Event> {
        let part = self.part()?;
        let member = |name: &str| part.iter().find_map(|line| line.strip_prefix(name)).unwrap().to_owned();
        Some((member("id: ").parse().unwrap(), member("event: "), member("data: ")))
    }
}

fn seqs(server: &Server, query: &str) -> Vec<u64> {
    let said = server.get(&format!("/api/v1/entries{query}"));
    assert_eq!(said.status, 200, "{}", said.text);
    said.json()["items"].as_array().unwrap().iter().map(|item| item["seq"].as_u64().unwrap()).collect()
}

#[test]
fn events_are_the_stored_lines_and_go_on_after_a_cut() {
    let mut server = Server::yard();
    let last = server.last_seq();
    let mut ear = Ear::new(&server, "", None);
    for seq in 1..=last {
        assert_eq!(ear.event().unwrap(), (seq, "entry".to_owned(), server.get(&format!("/api/v1/entries/{seq}")).text));
    }
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    assert_eq!(ear.event().unwrap().0, last + 1);
    drop(ear);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    // The number of the last event wins over the position in the address.
    let mut ear = Ear::new(&server, "?after=0", Some(last + 1));
    assert_eq!(ear.event().unwrap().0, last + 2);
    let mut ahead = Ear::new(&server, &format!("?after={}", last + 3), None);
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    assert_eq!(ahead.event().unwrap().0, last + 4);
    // Read before the server stops: it ends its streams then, however far each has come.
    assert_eq!((ear.event().map(|event| event.0), ear.event().map(|event| event.0)), (Some(last + 3), Some(last + 4)));

    // Both end whole: one that was cut off when the server lost its patience would end in an error.
    server.stop();
    assert_eq!((ear.event(), ahead.event()), (None, None));
}

#[test]
fn pages_and_events_are_filtered_by_kind_and_thing() {
    let server = Server::yard();
    server.receive("R-43");
    let received = seqs(&server, "?kind=roll_received");
    assert_eq!((received.len(), &received), (2, &seqs(&server, "?kind=roll_received.v1")));
    let both = seqs(&server, "?kind=roll_put_away&thing=roll/R-43");
    assert_eq!(both, [server.last_seq()]);
    // Older logs have the older versions.
    assert_eq!(seqs(&server, "?kind=yard_declared.v1"), [0_u64; 0]);
    assert_eq!(seqs(&server, "?kind=yard_declared.v2").len(), 1);
    // A batch is named by its rolls' receipts.
    assert_eq!(seqs(&server, "?thing=batch/PM-101/B-123&kind=roll_received"), received);
    let first = server.get("/api/v1/entries?kind=roll_received&limit=1").json();
    let next = first["next"].as_str().unwrap();
    assert_eq!(server.get(next).json()["items"][0]["seq"], received[1]);
    assert_eq!(server.get(next).json()["next"], json!(null));
    let mut ear = Ear::new(&server, "?kind=roll_received&thing=roll/R-44", None);
    server.receive("R-45");
    server.receive("R-44");
    assert_eq!(ear.event().unwrap().0, server.last_seq() - 1);
    assert_eq!(seqs(&server, "?thing=roll/R-99"), [0_u64; 0]);
    let beyond = server.get("/api/v1/entries?after=9999").json();
    assert_eq!(
        (&beyond["items"], &beyond["as_of_seq"], &beyond["next"]),
        (&json!([]), &json!(server.last_seq()), &json!(null))
    );
    assert!(beyond["say"].as_str().unwrap().starts_with("The log ends at entry "), "{beyond}");
    for query in
        ["?kind=roll_eaten", "?kind=roll_received.v9", "?thing=nonsense", "?after=x", "?limit=0", "?colour=green"]
    {
        server.get(&format!("/api/v1/entries{query}")).problem(400, "cannot-read");
    }
    let headers = [("accept", "text/event-stream"), ("last-event-id", "the last")];
    server.send(Method::GET, "/api/v1/entries", &headers, Vec::new()).problem(400, "cannot-read");
}

#[test]
fn a_desk_page_says_where_to_listen_from() {
    let server = Server::yard();
    let page = server.get("/rolls");
    assert!(
        page.text.contains(&format!("role=\"status\" data-after=\"{}\" data-at=\"Wed 6 May 2026 ", server.last_seq())),
        "{}",
        page.text
    );
    let script = page.text.split("/static/live-").nth(1).and_then(|rest| rest.split('"').next()).unwrap();
    let script = server.get(&format!("/static/live-{script}"));
    assert_eq!((script.status, script.media.as_str()), (200, "text/javascript; charset=utf-8"));
    assert!(page.headers["content-security-policy"].to_str().unwrap().contains("connect-src 'self'"));
}

#[test]
fn two_hundred_listen_while_one_never_reads_and_too_many_are_told_so() {
    let server = Server::yard();
    let last = server.last_seq();
    let after = format!("?after={last}");
    let mut ears: Vec<Ear> = (0..200).map(|_| Ear::new(&server, &after, None)).collect();
    let deaf: Vec<Ear> = (0..56).map(|_| Ear::new(&server, "", None)).collect();
    let headers = [("accept", "text/event-stream")];
    server.send(Method::GET, "/api/v1/entries", &headers, Vec::new()).problem(503, "too-many-listeners");
    for _ in 0..3 {
        server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    }
    for ear in &mut ears {
        let heard: Vec<u64> = (0..3).map(|_| ear.event().unwrap().0).collect();
        assert_eq!(heard, [last + 1, last + 2, last + 3]);
    }
    drop((ears, deaf));
    // A seat is free again once something can no longer be sent: an entry, or after a while the comment.
    let client = Client::builder().no_proxy().build().unwrap();
    let listens = || {
        let request = client.get(format!("http://{}/api/v1/entries", server.address()));
        request.header("accept", "text/event-stream").send().unwrap().status() == 200
    };
    let free = (0..200).any(|_| {
        server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
        listens()
    });
    assert!(free, "nobody can listen any more");
}
