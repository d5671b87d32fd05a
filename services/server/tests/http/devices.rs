//! The list of devices over HTTP: what came from each, and what never arrived.

use crate::yard::Server;
use reqwest::Method;
use serde_json::{Value, json};

fn page(server: &Server) -> String {
    let said = server.send(Method::GET, "/devices", &[("accept", "text/html")], Vec::new());
    assert_eq!((said.status, said.media.as_str()), (200, "text/html; charset=utf-8"), "{}", said.text);
    said.text
}

/// A scan that says it is a device's, by that device's own count.
fn scans(server: &Server, device: &str, counter: u64) {
    let mut fact = server.fact_now("seen", "roll/R-42", json!({"in": "F1"}));
    fact["device"] = json!(device);
    fact["counter"] = json!(counter);
    let said = server.post("/api/v1/entries", &json!({"entries": [fact]}));
    assert_eq!(said.json()["results"][0]["status"], 201, "{}", said.text);
}

fn yard() -> Server {
    let server = Server::yard();
    for counter in [116, 117, 122] {
        scans(&server, "H-3", counter);
    }
    server
}

#[test]
fn a_gap_in_a_devices_count_is_named() {
    let server = yard();
    let said = server.get("/api/v1/devices").json();
    let device = &said["devices"][0];
    assert_eq!((&device["device"], &device["standing"]), (&json!("device/H-3"), &json!("not_enrolled")));
    assert_eq!((&device["last_counter"], &device["missing_count"]), (&json!(122), &json!(4)));
    assert_eq!(device["missing"], json!([{"from": 118, "to": 121}]));
    let words = device["say"].as_str().unwrap();
    assert!(words.starts_with("Nobody has enrolled H-3: ") && words.ends_with(" 118 to 121 never arrived."), "{words}");
    // As it was known before the last of them.
    let known = said["as_of_seq"].as_u64().unwrap() - 1;
    let then = server.get(&format!("/api/v1/devices?known={known}")).json();
    assert_eq!((&then["devices"][0]["last_counter"], &then["devices"][0]["missing"]), (&json!(117), &json!([])));
}

#[test]
fn a_device_is_enrolled_revoked_and_stays_in_the_list() {
    let server = yard();
    let standing = |server: &Server| server.get("/api/v1/devices").json()["devices"][0]["standing"].clone();
    server.decide("enrol_device", "device/H-3", json!({"what": "handheld", "place": "F1"}));
    assert_eq!(standing(&server), json!("enrolled"));
    server.decide("revoke_device", "device/H-3", json!({"why": "dropped from the ladder"}));
    assert_eq!(standing(&server), json!("revoked"));
    let page = page(&server);
    for words in ["H-3", "handheld at F1", "dropped from the ladder", "118 to 121"] {
        assert!(page.contains(words), "{words}: {page}");
    }
    // Whatever names it from now on waits for another badge.
    let mut fact = server.fact_now("seen", "roll/R-42", json!({"in": "F1"}));
    fact["device"] = json!("H-3");
    let said = server.post("/api/v1/entries", &json!({"entries": [fact]})).json();
    assert_eq!(said["results"][0]["told"], true);
}

#[test]
fn a_yard_without_devices_says_so() {
    let server = Server::start();
    assert_eq!(server.get("/api/v1/devices").json()["devices"], Value::Array(Vec::new()));
    assert!(page(&server).contains("No device is enrolled"));
}
