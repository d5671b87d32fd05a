//! Warnings between the entries of a stream, over a real connection.

use crate::yard::Server;
use reqwest::blocking::{Client, Response};
use serde_json::{Value, json};
use std::{
    io::{BufRead, BufReader},
    time::Duration,
};

struct Ear(std::io::Lines<BufReader<Response>>);

/// The name of an event, its number if it has one, and its data.
type Event = (String, Option<u64>, Value);

impl Ear {
    fn new(server: &Server, query: &str, last_event: Option<u64>) -> Ear {
        let client = Client::builder().no_proxy().timeout(Duration::from_secs(60)).build().unwrap();
        let mut request = client.get(format!("http://{}/api/v1/entries{query}", server.address()));
        request = request.header("accept", "text/event-stream");
        if let Some(seq) = last_event {
            request = request.header("last-event-id", seq.to_string());
        }
        let answer = request.send().unwrap();
        assert_eq!(answer.status(), 200);
        Ear(BufReader::new(answer).lines())
    }

    /// The next event; comments are passed over.
    fn event(&mut self) -> Event {
        loop {
            let mut part = Vec::new();
            loop {
                match self.0.next().unwrap().unwrap() {
                    line if line.is_empty() => break,
                    line => part.push(line),
                }
            }
            let member = |name: &str| part.iter().find_map(|line| line.strip_prefix(name));
            if let Some(name) = member("event: ") {
                let data = serde_json::from_str(member("data: ").unwrap()).unwrap();
                return (name.to_owned(), member("id: ").map(|id| id.parse().unwrap()), data);
            }
        }
    }
}

fn warnings(server: &Server) -> Vec<Value> {
    server.get("/api/v1/warnings").json()["warnings"].as_array().unwrap().clone()
}

#[test]
fn warnings_come_when_they_arise_and_go_and_never_twice() {
    let server = Server::yard();
    let last = server.last_seq();
    let mut ear = Ear::new(&server, &format!("?warnings=true&after={last}"), None);
    let mut plain = Ear::new(&server, &format!("?after={last}"), None);
    assert_eq!(warnings(&server), Vec::<Value>::new());

    // Out of the cold its tack life runs out within the week, and its out-life does not yet.
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    let asked = warnings(&server);
    assert_eq!((asked.len(), &asked[0]["limit"]), (1, &json!("tack_life")), "{asked:?}");
    assert_eq!((ear.event().1, ear.event()), (Some(last + 1), ("warning".to_owned(), None, asked[0].clone())));

    // An entry about something else changes nothing, so that the next word is the entry after it.
    server.fact("seen", "roll/R-99", json!({"in": "CUT"}));
    assert_eq!(ear.event().1, Some(last + 2));

    // Three days later its out-life ends within the week too. Nobody writes anything: the passing of time is noticed.
    server.pass(75 * 60);
    let (name, id, data) = ear.event();
    assert_eq!((name.as_str(), id, &data["limit"]), ("warning", None, &json!("out_life")));
    assert!(warnings(&server).contains(&data), "{data}");

    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    assert_eq!(ear.event().1, Some(last + 3));
    let gone = [ear.event(), ear.event()].map(|(name, id, data)| {
        assert_eq!((name.as_str(), id), ("warning_gone", None), "{data}");
        data["name"].as_str().unwrap().to_owned()
    });
    assert!(gone.contains(&asked[0]["name"].as_str().unwrap().to_owned()), "{gone:?}");

    // Who did not ask for warnings gets none.
    assert_eq!([plain.event().1, plain.event().1, plain.event().1], [1, 2, 3].map(|step| Some(last + step)));
}

#[test]
fn what_is_warned_of_is_said_at_the_beginning_and_again_after_a_cut() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    let last = server.last_seq();
    for (query, resumed) in
        [(format!("?warnings=true&after={}", last - 1), None), ("?warnings=true".to_owned(), Some(last - 1))]
    {
        let mut ear = Ear::new(&server, &query, resumed);
        // Entries first: what is warned of is made of them.
        assert_eq!(ear.event().1, Some(last));
        assert_eq!(ear.event(), ("warning".to_owned(), None, warnings(&server)[0].clone()));
    }
    let mut ear = Ear::new(&server, "?warnings=true&kind=disposed", None);
    assert_eq!(ear.event().0, "warning");
    server.get("/api/v1/entries?warnings=perhaps").problem(400, "cannot-read");
}
