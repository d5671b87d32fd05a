//! For every documented operation and status a request that is answered so. Whoever documents a new status adds it here.

use super::{people, yard};
use crate::{
    full_disk::FullDisk,
    yard::{Said, Server},
};
use reqwest::{Method, blocking::Client, header::HeaderMap};
use serde_json::{Value, json};
use server::yard::Options;
use std::{
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    sync::Arc,
};

/// The trace of every example.
pub(super) const TRACE: (&str, &str) = ("traceparent", "00-0af7651916cd43dd8448eb211c80319c-00f067aa0ba902b7-01");
const JSON: (&str, &str) = ("content-type", "application/json");

/// Sends a body to an address of a server, with these headers.
type Send<'a> = &'a dyn Fn(&Server, &str, &[(&str, &str)], &Value) -> Said;

/// Answers that only an error of the program or a failing disk gives; `full_disk.rs` and the simulated disks try those.
pub(super) const NOT_TRIED: &[(&str, &str)] = &[("500", "no request makes the server go wrong")];

pub(super) fn server() -> Server {
    let server = Server::start();
    yard::fill(&server);
    server
}

/// An operation of the document.
pub(super) struct Operation<'a> {
    pub(super) method: Method,
    pub(super) path: &'a str,
    pub(super) id: &'a str,
    pub(super) says: &'a Value,
}

impl Operation<'_> {
    /// The address with every example that it needs, and no other parameters.
    pub(super) fn address(&self, with: Option<(&str, &str)>) -> String {
        let mut path = self.path.to_owned();
        let mut query: Vec<(String, String)> = Vec::new();
        for parameter in self.says["parameters"].as_array().into_iter().flatten() {
            let name = parameter["name"].as_str().unwrap();
            let example = text(&parameter["example"]);
            match parameter["in"].as_str().unwrap() {
                "path" => path = path.replace(&format!("{{{name}}}"), &percent(&example)),
                "query" if parameter["required"] == true => query.push((name.to_owned(), example)),
                _ => {}
            }
        }
        query.extend(with.map(|(name, value)| (name.to_owned(), value.to_owned())));
        let query: Vec<String> = query.iter().map(|(name, value)| format!("{name}={}", percent(value))).collect();
        if query.is_empty() { path } else { format!("{path}?{}", query.join("&")) }
    }

    pub(super) fn body(&self) -> Value {
        let examples = self.says["requestBody"]["content"]["application/json"]["examples"].as_object();
        examples.and_then(|all| all.values().next()).map_or(Value::Null, |example| example["value"].clone())
    }

    pub(super) fn example(&self, name: &str) -> Value {
        self.says["requestBody"]["content"]["application/json"]["examples"][name]["value"].clone()
    }
}

pub(super) fn text(example: &Value) -> String {
    example.as_str().map_or_else(|| example.to_string(), str::to_owned)
}

fn percent(text: &str) -> String {
    text.bytes()
        .map(|byte| if byte.is_ascii_alphanumeric() { char::from(byte).to_string() } else { format!("%{byte:02X}") })
        .collect()
}

/// Asks so that the operation answers with this status. Who writes or stops something gets a server of its own.
pub(super) fn ask(shared: &Server, operation: &Operation<'_>, status: &str) -> Said {
    let send = |server: &Server, path: &str, headers: &[(&str, &str)], body: &Value| {
        let body = if operation.method == Method::POST { body.to_string().into_bytes() } else { Vec::new() };
        let own: Vec<(&str, &str)> = [TRACE, JSON].iter().chain(headers).copied().collect();
        server.send(operation.method.clone(), path, &own, body)
    };
    let plain = operation.address(None);
    if let Some(said) = people::ask(operation, status) {
        return said;
    }
    match (operation.id, status) {
        (_, "400") => send(shared, &operation.address(Some(("colour", "green"))), &[], &json!({})),
        (_, "406") => send(shared, &plain, &[("accept", "image/png")], &json!({})),
        (_, "421") => send(shared, &plain, &[("host", "yard.example")], &json!({})),
        (_, "413") => send(shared, &plain, &[], &json!(" ".repeat(256 * 1024))),
        (_, "415") => shared.send(Method::POST, &plain, &[TRACE, ("content-type", "text/plain")], b"facts".to_vec()),
        (_, "408") => slow(shared, &plain),
        ("post_entries", "403") => {
            send(shared, &plain, &[("origin", "https://yard.example")], &operation.example("taken out"))
        }
        ("post_entries", "207") => send(&server(), &plain, &[], &operation.example("taken out")),
        ("post_entries", "200") => {
            let path = operation.address(Some(("dry_run", "true")));
            send(shared, &path, &[], &operation.example("taken out"))
        }
        ("post_decision", _) => decided(operation, status, &send),
        ("is_ready", "503") => {
            let jumped = server();
            jumped.clock.jump_ms(-3 * 60 * 60 * 1000);
            // It is noticed when something is to be written.
            let fact = jumped.fact_now("roll_taken_out", "roll/R-24", json!({}));
            jumped.post("/api/v1/entries", &json!({"entries": [fact]}));
            send(&jumped, &plain, &[], &Value::Null)
        }
        ("list_entries", "503") => {
            let full = server();
            let ears: Vec<_> = (0..256).map(|_| listen(&full, "?after=0")).collect();
            let said = send(&full, &plain, &[("accept", "text/event-stream")], &Value::Null);
            drop(ears);
            said
        }
        (_, "404") => {
            let unknown = [
                ("R%2D42", "R-99"),
                ("part/P%2D3", "part/P-99"),
                ("B%2D123", "B-999"),
                ("entries/9", "entries/9999"),
                ("entry=1", "entry=9999"),
                ("from=7", "from=9999"),
            ];
            let path = unknown.iter().fold(plain, |path, (known, unknown)| path.replace(known, unknown));
            send(shared, &path, &[], &Value::Null)
        }
        (_, "200") => send(shared, &plain, &[], &Value::Null),
        (id, status) => panic!("nothing is asked so that {id} answers {status}: say in documented/ask.rs what"),
    }
}

fn decided(operation: &Operation<'_>, status: &str, send: Send<'_>) -> Said {
    let (own, plain) = (server(), operation.address(None));
    let mut issue = operation.example("issue");
    match status {
        "201" => {}
        "200" => assert_eq!(send(&own, &plain, &[], &issue).status, 201),
        "403" => {
            issue = operation.example("strike");
            issue.as_object_mut().unwrap().remove("second");
        }
        "404" => issue["body"]["job"] = json!("J-999"),
        "409" => {
            own.decide("place_hold", "kit/K-5", json!({"why": "backing paper torn"}));
            issue["based_on"] = json!(own.last_seq());
        }
        "503" => own.clock.jump_ms(-3 * 60 * 60 * 1000),
        "507" => return full(operation, send),
        other => panic!("nothing is decided so that {other} is answered: say in documented/ask.rs what"),
    }
    send(&own, &plain, &[], &issue)
}

/// Decides on a disk that fills up, until it is refused.
fn full(operation: &Operation<'_>, send: Send<'_>) -> Said {
    let clock = Arc::new(server::clock::SetClock::new(shared_types::Stamp::parse(crate::yard::START).unwrap().at));
    let disk = Arc::new(FullDisk::default());
    let mut options = Options::new(clock.clone());
    options.disk = disk.clone();
    options.journal.segment_bytes = 64 * 1024;
    let own = Server::with(options, clock);
    yard::fill(&own);
    disk.fill();
    for _ in 0..200 {
        let wish = own.decision_now("place_hold", "roll/R-42", json!({"why": "x".repeat(2_000)}));
        let said = send(&own, &operation.address(None), &[], &wish);
        if said.status != 201 {
            return said;
        }
    }
    panic!("the disk never filled up")
}

/// Announces a body and never sends it.
fn slow(server: &Server, path: &str) -> Said {
    let mut stream = TcpStream::connect(server.address()).unwrap();
    let (name, value) = TRACE;
    let head = format!(
        "POST {path} HTTP/1.1\r\nHost: localhost\r\n{name}: {value}\r\nContent-Type: application/json\r\nContent-Length: 9\r\n\r\n{{"
    );
    stream.write_all(head.as_bytes()).unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap();
    let status = head.split(' ').nth(1).unwrap().parse().unwrap();
    let media = if head.contains("application/problem+json") { "application/problem+json" } else { "" };
    Said { status, media: media.to_owned(), headers: HeaderMap::new(), text: body.to_owned() }
}

fn listen(server: &Server, query: &str) -> BufReader<reqwest::blocking::Response> {
    let client = Client::builder().no_proxy().build().unwrap();
    let request = client.get(format!("http://{}/api/v1/entries{query}", server.address()));
    let answer = request.header("accept", "text/event-stream").send().unwrap();
    assert_eq!(answer.status(), 200);
    assert_eq!(answer.headers()["content-type"], "text/event-stream");
    BufReader::new(answer)
}

/// What a stream begins with: its first line, and an event.
pub(super) fn events(server: &Server) -> String {
    let mut text = String::new();
    let mut lines = listen(server, "?after=19").lines();
    while text.matches("\n\n").count() < 2 {
        text += &lines.next().unwrap().unwrap();
        text.push('\n');
    }
    text
}

pub(super) fn posted(operation: &Operation<'_>) -> Vec<(String, Value)> {
    let examples = operation.says["requestBody"]["content"]["application/json"]["examples"].as_object();
    let all = examples.into_iter().flatten().map(|(name, example)| (name.clone(), example["value"].clone()));
    let all: Vec<_> = all.collect();
    assert!(!all.is_empty() && operation.body() != Value::Null, "{} has no example", operation.id);
    all
}
