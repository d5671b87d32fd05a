//! Proofs over the log, as somebody checks them who keeps an entry or a root and nothing else.

use crate::yard::Server;
use serde_json::{Value, json};
use server::journal::{Hash, leaf, node};

fn hash(hex: &Value) -> Hash {
    let hex = hex.as_str().unwrap();
    let bytes: Vec<u8> = (0..32).map(|at| u8::from_str_radix(&hex[at * 2..][..2], 16).unwrap()).collect();
    bytes.try_into().unwrap()
}

fn get(server: &Server, path: &str) -> Value {
    let said = server.get(path);
    assert_eq!(said.status, 200, "{path}: {}", said.text);
    said.json()
}

#[test]
fn who_keeps_an_entry_can_check_that_it_is_in_the_log_and_where() {
    let server = Server::yard();
    let facts: Vec<Value> = (0..4).map(|_| server.fact_now("seen", "roll/R-42", json!({"in": "F1"}))).collect();
    server.post("/api/v1/entries", &json!({"entries": facts}));
    // Three levels: of eight entries the path says left or right by the bits of the place.
    for seq in 1..=8_u64 {
        let proof = get(&server, &format!("/api/v1/proofs/inclusion?entry={seq}&size=8"));
        let line = server.get(&format!("/api/v1/entries/{seq}")).text;
        assert_eq!(hash(&proof["leaf"]), leaf(line.as_bytes()));
        let path = proof["path"].as_array().unwrap();
        assert_eq!(path.len(), 3);
        let climb = |(hash_so_far, at): (Hash, u64), next: &Value| match at % 2 {
            0 => (node(&hash_so_far, &hash(next)), at / 2),
            _ => (node(&hash(next), &hash_so_far), at / 2),
        };
        let (root, _) = path.iter().fold((hash(&proof["leaf"]), seq - 1), climb);
        assert_eq!(root, hash(&proof["root"]), "{seq}");
    }
}

#[test]
fn the_root_of_a_page_is_shown_to_be_the_beginning_of_todays_log() {
    let server = Server::yard();
    let before = get(&server, "/api/v1/proofs/consistency?from=1")["to"].as_u64().unwrap();
    let page = server.get("/today").text;
    let root = page.split("root ").nth(1).unwrap().split(['.', '<', ' ']).next().unwrap().to_owned();
    server.fact("seen", "roll/R-42", json!({"in": "F1"}));
    let proof = get(&server, &format!("/api/v1/proofs/consistency?from={before}"));
    assert_eq!((proof["from_root"].as_str(), proof["to"].as_u64()), (Some(root.as_str()), Some(before + 1)));
    // Of itself it needs no path.
    let same = get(&server, &format!("/api/v1/proofs/consistency?from={before}&to={before}"));
    assert_eq!((&same["path"], &same["from_root"]), (&json!([]), &same["to_root"]));
}

#[test]
fn what_is_not_in_the_log_is_said_in_words() {
    let server = Server::yard();
    for (path, status) in [
        ("inclusion?entry=0", 400),
        ("inclusion?entry=1&size=0", 400),
        ("inclusion?entry=9999", 404),
        ("inclusion?entry=3&size=2", 404),
        ("inclusion?entry=1&size=9999", 404),
        ("inclusion", 400),
        ("inclusion?entry=-1", 400),
        ("consistency?from=0", 400),
        ("consistency?from=2&to=1", 404),
        ("consistency?from=1&to=9999", 404),
        ("consistency?from=1&to=0", 400),
        ("consistency?from=x", 400),
    ] {
        let said = server.get(&format!("/api/v1/proofs/{path}"));
        assert_eq!(said.status, status, "{path}: {}", said.text);
        assert!(said.json()["detail"].as_str().is_some_and(|detail| detail.ends_with('.')), "{path}: {}", said.text);
    }
}
