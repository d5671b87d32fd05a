//! The program as whoever looks after it meets it: how it ends, with which code, and that many at once are all answered.

use reqwest::blocking::Client;
use serde_json::{Value, json};
use std::{
    collections::BTreeMap,
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::Path,
    process::{Child, Command, Stdio},
    sync::mpsc,
    thread,
    time::Duration,
};
use tests::{fresh::Fresh, server::rimebook};

/// Long enough for a machine with much else to do; nothing is timed by it but that something ends at all.
const SECONDS: Duration = Duration::from_secs(30);

struct Watched {
    child: Child,
    url: String,
    out: BufReader<std::process::ChildStdout>,
}

impl Watched {
    fn start(data: &Path) -> Watched {
        let mut child = Command::new(rimebook())
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let mut line = String::new();
        out.read_line(&mut line).unwrap();
        let url = line.trim().strip_prefix("listening on ").unwrap().to_owned();
        Watched { child, url, out }
    }

    /// Asks it to stop; its exit code, and what else it said on standard output.
    fn stop(mut self) -> (Option<i32>, String) {
        assert!(Command::new("kill").args(["-TERM", &self.child.id().to_string()]).status().unwrap().success());
        let mut said = String::new();
        self.out.read_to_string(&mut said).unwrap();
        (self.child.wait().unwrap().code(), said)
    }
}

fn fact(id: u128, kind: &str, thing: &str, body: &Value) -> Value {
    json!({"id": uuid::Uuid::from_u128(id).to_string(), "kind": kind, "thing": thing,
           "occurred_at": "2026-05-06T06:00:00.000+01:00", "by": "B-17", "body": body})
}

#[test]
fn two_hundred_who_listen_do_not_hold_up_a_stop() {
    let folder = tempfile::tempdir().unwrap();
    let server = Watched::start(&folder.path().join("data"));
    let address = server.url.strip_prefix("http://").unwrap().to_owned();
    let mut ears: Vec<TcpStream> = (0..200)
        .map(|_| {
            let mut stream = TcpStream::connect(&address).unwrap();
            let ask = "GET /api/v1/entries HTTP/1.1\r\nHost: localhost\r\nAccept: text/event-stream\r\n\r\n";
            stream.write_all(ask.as_bytes()).unwrap();
            // The head of the answer has come: it listens.
            let mut first = [0; 12];
            stream.read_exact(&mut first).unwrap();
            assert_eq!(&first, b"HTTP/1.1 200");
            stream
        })
        .collect();
    let (tell, told) = mpsc::channel();
    thread::spawn(move || tell.send(server.stop()));
    let (code, said) = told.recv_timeout(SECONDS).expect("it ended while 200 listened");
    assert_eq!((code, said.as_str()), (Some(0), ""));
    // Each stream came to its end; nobody's connection was left hanging.
    for ear in &mut ears {
        ear.read_to_end(&mut Vec::new()).unwrap();
    }
}

#[test]
fn a_damaged_log_ends_with_a_code_that_says_that_starting_again_does_not_help() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let server = Watched::start(&data);
    let client = Client::builder().no_proxy().build().unwrap();
    let facts = json!({"entries": [fact(1, "seen", "roll/R-1", &json!({"in": "F1"}))]});
    assert_eq!(client.post(format!("{}/api/v1/entries", server.url)).json(&facts).send().unwrap().status(), 207);
    let ready = |url: &str| Command::new(rimebook()).args(["ready", "--server", url]).output().unwrap();
    let said = ready(&server.url);
    assert_eq!(
        (said.status.code(), String::from_utf8_lossy(&said.stdout).into_owned()),
        (Some(0), "It takes entries; the last one is 1.\n".to_owned())
    );
    let url = server.url.clone();
    assert_eq!(server.stop().0, Some(0));
    assert_eq!(ready(&url).status.code(), Some(1));

    let segment = data.join("journal/00000001.log");
    let mut bytes = fs::read(&segment).unwrap();
    bytes[100] ^= 1;
    fs::write(&segment, bytes).unwrap();
    let serve =
        || Command::new(rimebook()).args(["serve", "--listen", "127.0.0.1:0", "--data"]).arg(&data).output().unwrap();
    let said = serve();
    assert_eq!(said.status.code(), Some(4), "{}", String::from_utf8_lossy(&said.stderr));
    assert!(String::from_utf8_lossy(&said.stderr).contains("damaged") && said.stdout.is_empty());
    // No journal where there was one is no new folder either.
    fs::create_dir_all(data.join("sled")).unwrap();
    fs::write(data.join("sled/db"), "x").unwrap();
    fs::remove_file(&segment).unwrap();
    assert_eq!(serve().status.code(), Some(4));
}

#[test]
fn a_hundred_devices_that_empty_their_memory_at_once_lose_nothing_and_keep_their_order() {
    const DEVICES: u64 = 100;
    const FACTS: u64 = 100;
    let mut server = Fresh::start();
    let url = format!("{}/api/v1/entries", server.url);
    thread::scope(|scope| {
        for device in 0..DEVICES {
            let url = &url;
            scope.spawn(move || {
                let entries = (0..FACTS).map(|counter| {
                    let mut fact = fact(
                        u128::from(device * FACTS + counter + 1),
                        "seen",
                        &format!("roll/R-{device}"),
                        &json!({"in": "F1"}),
                    );
                    fact["device"] = json!(format!("D-{device}"));
                    fact["counter"] = json!(counter + 1);
                    fact
                });
                let body = json!({"entries": entries.collect::<Vec<_>>()});
                let answer = Client::builder().no_proxy().build().unwrap().post(url).json(&body).send().unwrap();
                assert_eq!(answer.status(), 207);
                let results = answer.json::<Value>().unwrap()["results"].clone();
                let stored = results.as_array().unwrap().iter().filter(|result| result["status"] == 201).count();
                assert_eq!(stored as u64, FACTS, "{results}");
            });
        }
    });
    let mut counters: BTreeMap<String, Vec<u64>> = BTreeMap::new();
    let client = Client::builder().no_proxy().build().unwrap();
    let mut after = 0;
    loop {
        let page: Value = client.get(format!("{url}?after={after}")).send().unwrap().json().unwrap();
        let items = page["items"].as_array().unwrap();
        let Some(last) = items.last() else { break };
        after = last["seq"].as_u64().unwrap();
        for item in items.iter().filter(|item| item["device"].is_string()) {
            let device = item["device"].as_str().unwrap().to_owned();
            counters.entry(device).or_default().push(item["counter"].as_u64().unwrap());
        }
    }
    assert_eq!(counters.len() as u64, DEVICES);
    let whole: Vec<u64> = (1..=FACTS).collect();
    assert!(counters.values().all(|counters| *counters == whole));
    assert!(server.stop());
}
