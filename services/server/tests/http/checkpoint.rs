//! Signed checkpoints over HTTP, as somebody uses them who keeps one and nothing else.

use crate::yard::Server;
use reqwest::Method;
use serde_json::{Value, json};
use server::{
    clock::{Clock, SetClock},
    yard::{OpenError, Options, Yard},
};
use std::{fs, sync::Arc};
use tempfile::TempDir;

fn checkpoint(server: &Server) -> Value {
    let said = server.get("/api/v1/checkpoint");
    assert_eq!(said.status, 200, "{}", said.text);
    said.json()
}

fn ask(server: &Server, seen: &str) -> Value {
    let query: String = seen.bytes().map(|byte| format!("%{byte:02X}")).collect();
    let said = server.get(&format!("/api/v1/checkpoint?seen={query}"));
    assert_eq!(said.status, 200, "{}", said.text);
    said.json()["seen"].clone()
}

/// A copy of what the folder holds, as a backup of its files would have it.
fn copied(from: &Server) -> TempDir {
    checkpoint(from);
    let copy = TempDir::new().unwrap();
    for folder in ["journal", "people"] {
        fs::create_dir(copy.path().join(folder)).unwrap();
        for file in fs::read_dir(from.folder.path().join(folder)).unwrap().map(Result::unwrap) {
            fs::copy(file.path(), copy.path().join(folder).join(file.file_name())).unwrap();
        }
    }
    copy
}

fn opened(folder: &TempDir, behind_is_known: bool) -> (Result<Yard, OpenError>, Arc<SetClock>) {
    let clock = Arc::new(SetClock::new(shared_types::Stamp::parse(crate::yard::START).unwrap().at));
    // The first secret of any such clock is the same, and was used.
    clock.secret().unwrap();
    let shared: Arc<dyn Clock> = clock.clone();
    (Yard::open(folder.path(), Options { behind_is_known, ..Options::new(shared) }), clock)
}

#[test]
fn the_note_is_three_lines_and_a_signature_and_the_same_as_text() {
    let server = Server::yard();
    let said = checkpoint(&server);
    let note = said["checkpoint"].as_str().unwrap();
    let lines: Vec<&str> = note.lines().collect();
    let origin = said["origin"].as_str().unwrap();
    assert_eq!((lines[0], lines[1], lines[3], lines.len()), (origin, said["size"].to_string().as_str(), "", 5));
    assert!(lines[4].starts_with(&format!("— {origin} ")), "{note}");
    assert!(said["key"].as_str().unwrap().starts_with(&format!("{origin}+")), "{said}");
    let root = server.get(&format!("/api/v1/proofs/consistency?from={}", said["size"])).json()["to_root"].clone();
    assert_eq!(said["root"], root);
    let text = server.send(Method::GET, "/api/v1/checkpoint", &[("accept", "text/plain")], Vec::new());
    assert_eq!((text.media.as_str(), text.text.as_str()), ("text/plain; charset=utf-8", note));
    // Printed sheets have it too, on paper alone.
    let page = server.get("/today").text;
    assert!(
        page.contains(&format!("<pre class=\"paper\">{note}</pre>").replace('+', "&#43;")) || page.contains(lines[2])
    );
}

#[test]
fn who_kept_a_checkpoint_hears_that_the_log_goes_on_from_it_with_the_path() {
    let server = Server::yard();
    let kept = checkpoint(&server);
    server.fact("seen", "roll/R-42", json!({"in": "F1"}));
    let seen = ask(&server, kept["checkpoint"].as_str().unwrap());
    assert_eq!((&seen["continues"], &seen["size"]), (&json!(true), &kept["size"]));
    let proof = server.get(&format!("/api/v1/proofs/consistency?from={}", kept["size"])).json();
    assert_eq!(seen["path"], proof["path"]);
}

#[test]
fn what_is_no_checkpoint_is_a_problem_and_another_logs_one_is_said_to_be_so() {
    let (server, other) = (Server::yard(), Server::yard());
    for seen in ["", "x", "a%0A1%0A", "a%0A1%0AAAAA%0A%0A"] {
        server.get(&format!("/api/v1/checkpoint?seen={seen}")).problem(400, "cannot-read");
    }
    let foreign = checkpoint(&other)["checkpoint"].as_str().unwrap().to_owned();
    // Clocks that are set by hand make the same keys: somebody else signed.
    let name = checkpoint(&other)["origin"].as_str().unwrap().to_owned();
    let seen = ask(&server, &foreign.replace(&name, "rimebook/log-other"));
    assert_eq!(seen["continues"], json!(false));
    assert!(seen["say"].as_str().unwrap().starts_with("It is of another log: rimebook/log-other signed it"), "{seen}");
    let own = checkpoint(&server);
    let forged = own["checkpoint"].as_str().unwrap().replace(&format!("\n{}\n", own["size"]), "\n999\n");
    let seen = ask(&server, &forged);
    assert_eq!(seen["continues"], json!(false));
    assert!(seen["say"].as_str().unwrap().contains("does not fit"), "{seen}");
    assert_eq!(server.get("/readyz").json().get("alarms"), None);
}

#[test]
fn a_log_that_lost_its_end_is_refused_until_somebody_knows_and_goes_on_under_another_key() {
    let mut server = Server::yard();
    let old = copied(&server);
    server.fact("seen", "roll/R-42", json!({"in": "F1"}));
    let newest = checkpoint(&server);
    let size = newest["size"].as_u64().unwrap();
    server.stop();
    // The journal of yesterday beside the keys of today.
    let people = server.folder.path().join("people");
    for file in ["log-key", "log-key.pub", "checkpoint"] {
        fs::copy(people.join(file), old.path().join("people").join(file)).unwrap();
    }
    let refused = opened(&old, false).0.err().unwrap();
    assert!(matches!(refused, OpenError::Behind { entries, seen } if (entries, seen) == (size - 1, size)), "{refused}");
    let (yard, clock) = opened(&old, true);
    let again = Server::of(old, yard.unwrap(), clock);
    let began = checkpoint(&again);
    assert_ne!(began["key"], newest["key"]);
    // What was done beside the server is the log's next entry.
    assert_eq!(began["size"], json!(size));
    let seen = ask(&again, newest["checkpoint"].as_str().unwrap());
    assert_eq!(seen["continues"], json!(false));
    assert!(seen["say"].as_str().unwrap().contains("under a new key"), "{seen}");
}

#[test]
fn a_device_that_saw_more_makes_the_server_say_that_it_is_behind_and_the_next_start_ask() {
    let mut server = Server::yard();
    let old = copied(&server);
    server.fact("seen", "roll/R-42", json!({"in": "F1"}));
    let newest = checkpoint(&server)["checkpoint"].as_str().unwrap().to_owned();
    let people = server.folder.path().join("people");
    fs::copy(people.join("log-key"), old.path().join("people/log-key")).unwrap();
    fs::remove_file(old.path().join("people/checkpoint")).ok();
    server.stop();
    let (yard, clock) = opened(&old, false);
    let mut behind = Server::of(old, yard.unwrap(), clock);
    assert_eq!(behind.get("/readyz").json().get("alarms"), None);
    assert_eq!(ask(&behind, &newest)["continues"], json!(false));
    let alarm = behind.get("/readyz").json()["alarms"][0].as_str().unwrap().to_owned();
    assert!(alarm.starts_with("This log is an older copy"), "{alarm}");
    assert!(behind.get("/today").text.contains(&format!("role=\"alert\"><p>{alarm}")));
    behind.stop();
    let (again, _) = opened(&behind.folder, false);
    assert!(matches!(again.err().unwrap(), OpenError::Behind { .. }));
}

#[test]
fn a_log_that_was_changed_is_not_served_as_the_one_that_was_signed() {
    let mut server = Server::yard();
    server.stop();
    let mut other = Server::start();
    other.fact("seen", "roll/R-7", json!({"in": "F1"}));
    let size = server.folder.path().join("people/checkpoint");
    let size: u64 = fs::read_to_string(size).unwrap().lines().nth(1).unwrap().parse().unwrap();
    while other.last_seq() < size {
        other.fact("seen", "roll/R-7", json!({"in": "F1"}));
    }
    other.stop();
    for file in ["log-key", "checkpoint"] {
        fs::copy(server.folder.path().join("people").join(file), other.folder.path().join("people").join(file))
            .unwrap();
    }
    let (changed, _) = opened(&other.folder, true);
    assert!(matches!(changed.err().unwrap(), OpenError::Changed { size: over } if over == size));
    fs::remove_file(other.folder.path().join("people/checkpoint")).unwrap();
    assert!(opened(&other.folder, false).0.is_ok(), "a checkpoint that is gone matters to nothing");
}
