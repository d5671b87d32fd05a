//! What is written says who did it, how that is known, and from where.

use super::town::Town;
use reqwest::Method;
use serde_json::{Value, json};
use shared_types::Stamp;

fn fact(town: &Town, by: &str, more: Value) -> Value {
    let mut fact = town.server.fact_now("seen", "roll/R-42", json!({"in": "F1"}));
    fact["by"] = json!(by);
    fact.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    fact
}

/// Posts one fact; its result.
fn post(town: &Town, who: (&str, &str), fact: &Value) -> Value {
    let said = town.post_as(who, "/api/v1/entries", &json!({"entries": [fact]}));
    assert_eq!(said.status, 207, "{}", said.text);
    said.json()["results"][0].clone()
}

fn entry(town: &Town, result: &Value) -> Value {
    assert_eq!(result["status"], 201, "{result}");
    town.get_as(("cookie", &town.admin), &format!("/api/v1/entries/{}", result["seq"])).json()
}

#[test]
fn at_a_desk_everybody_writes_under_their_own_badge() {
    let town = Town::new();
    let cookie = town.invite("B-17", false);
    let own = post(&town, ("cookie", &cookie), &fact(&town, "B-17", json!({})));
    assert_eq!(entry(&town, &own)["by_known"], "password");
    let result = post(&town, ("cookie", &cookie), &fact(&town, "B-99", json!({})));
    assert_eq!((&result["status"], &result["problem"]["type"]), (&json!(403), &json!("/problems/not-allowed")));
    assert_eq!(result["problem"]["errors"][0]["pointer"], "/entries/0/by");
    let said = town.decide_as(&cookie, "B-99", "place_hold", "roll/R-42", json!({"why": "torn"}));
    said.problem(403, "not-allowed");
    let said = town.decide_as(&cookie, "B-17", "place_hold", "roll/R-42", json!({"why": "torn"}));
    assert_eq!(said.status, 201, "{}", said.text);
    let held = town.entries("hold_placed").pop().unwrap();
    assert_eq!((&held["by"], &held["by_known"]), (&json!("B-17"), &json!("password")));
}

#[test]
fn a_device_is_believed_of_itself_and_of_who_signed_in_there() {
    let town = Town::new();
    let (device, symbol) = (town.device("H-3"), town.badge("B-17"));
    let cookies = town.scan_on(&device, &symbol);
    let token = format!("Bearer {device}");
    let signed_in =
        entry(&town, &post(&town, ("cookie", &cookies), &fact(&town, "B-17", json!({"device": "H-3", "counter": 1}))));
    assert_eq!((&signed_in["by_known"], &signed_in["device_known"]), (&json!("badge"), &json!("token")));
    // The outbox sends with the device's token alone; whose badge is in use there is known all the same.
    let sent = entry(
        &town,
        &post(&town, ("authorization", &token), &fact(&town, "B-17", json!({"device": "H-3", "counter": 2}))),
    );
    assert_eq!((&sent["by_known"], &sent["device_known"]), (&json!("badge"), &json!("token")));
    // Somebody who did not sign in there is kept as said.
    let other = entry(
        &town,
        &post(&town, ("authorization", &token), &fact(&town, "B-99", json!({"device": "H-3", "counter": 3}))),
    );
    assert_eq!(
        (&other["by"], &other["by_known"], &other["device_known"]),
        (&json!("B-99"), &json!("claimed"), &json!("token"))
    );
    // And so is what it says to come from another device.
    let foreign = entry(
        &town,
        &post(&town, ("authorization", &token), &fact(&town, "B-17", json!({"device": "H-9", "counter": 4}))),
    );
    assert_eq!((&foreign["device"], &foreign["device_known"]), (&json!("H-9"), &json!("claimed")));
    // A decision is somebody's.
    let wish = town.server.decision_now("place_hold", "roll/R-42", json!({"why": "torn"}));
    town.post_as(("authorization", &token), "/api/v1/decisions", &wish).problem(401, "not-signed-in");
    let said = town.decide_as(&cookies, "B-17", "place_hold", "roll/R-42", json!({"why": "torn"}));
    assert_eq!(said.status, 201, "{}", said.text);
    let held = town.entries("hold_placed").pop().unwrap();
    assert_eq!(
        (&held["by_known"], &held["device"], &held["device_known"]),
        (&json!("badge"), &json!("H-3"), &json!("token"))
    );
}

#[test]
fn what_an_enrolled_device_sends_late_was_scanned_when_it_says() {
    let town = Town::new();
    let token = format!("Bearer {}", town.device("H-3"));
    let at = |minutes: i64| Stamp::utc(town.server.clock_ahead_ms(minutes * 60_000)).to_string();
    let told = |counter: u64, occurred: i64, said: i64, shows: Option<i64>| {
        let more = json!({"device": "H-3", "counter": counter, "occurred_at": at(occurred), "device_said": at(said)});
        let body = json!({"entries": [fact(&town, "B-17", more)]}).to_string().into_bytes();
        let shown = shows.map(at);
        let headers = [("content-type", "application/json"), ("authorization", token.as_str())];
        let headers = headers.into_iter().chain(shown.as_deref().map(|shown| ("device-time", shown)));
        let headers: Vec<(&str, &str)> = headers.collect();
        let said = town.server.send(Method::POST, "/api/v1/entries", &headers, body).json();
        entry(&town, &said["results"][0])["told"] == true
    };
    // Eight hours in the freezer's shadow.
    assert!(!told(1, -480, -480, None));
    assert!(told(2, -480, -60, None));
    // Its clock is half an hour fast, and shows so.
    assert!(!told(3, -480, -450, Some(30)));
    assert!(told(4, -480, -450, None));
    let list = town.get_as(("cookie", &town.admin), "/api/v1/devices").json();
    let device = &list["devices"][0];
    assert_eq!((&device["last_counter"], &device["missing"]), (&json!(4), &json!([])));
    assert_eq!((&device["standing"], &device["clock_ahead_ms"]), (&json!("enrolled"), &json!(1_800_000)));
}

#[test]
fn a_revoked_device_sends_nothing_and_an_administrator_brings_in_what_it_had() {
    let town = Town::new();
    let token = format!("Bearer {}", town.device("H-3"));
    let late = fact(&town, "B-17", json!({"device": "H-3", "counter": 1}));
    let revoked = town.decide_as(&town.admin, "A-1", "revoke_device", "device/H-3", json!({"why": "dropped"}));
    assert_eq!(revoked.status, 201, "{}", revoked.text);
    let said = town.post_as(("authorization", &token), "/api/v1/entries", &json!({"entries": [late]}));
    let problem = said.problem(401, "not-signed-in");
    assert!(problem["detail"].as_str().unwrap().contains("revoked"), "{problem}");
    let brought = town.as_admin("/api/v1/devices/entries", &json!({"entries": [late]}));
    let entry = entry(&town, &brought["results"][0]);
    assert_eq!(
        (&entry["by"], &entry["by_known"], &entry["device_known"]),
        (&json!("B-17"), &json!("claimed"), &json!("claimed"))
    );
}

#[test]
fn a_program_writes_under_its_own_badge() {
    let town = Town::new();
    let (token, _) = town.token(&["read", "facts"]);
    let own = entry(&town, &post(&town, ("authorization", &token), &fact(&town, "X-1", json!({}))));
    assert_eq!((&own["by"], &own["by_known"]), (&json!("X-1"), &json!("token")));
    let other = post(&town, ("authorization", &token), &fact(&town, "B-17", json!({})));
    assert_eq!(other["status"], 403);
}

#[test]
fn whose_badge_is_ended_stands_beside_nobody_any_more() {
    let town = Town::new();
    let judge = town.invite("Q-03", true);
    let second = || town.get_as(("cookie", &judge), "/api/v1/me").json()["second"]["badge"].clone();
    let sit = || {
        let symbol = town.badge("Q-01");
        let sat = town.post_as(("cookie", &judge), "/api/v1/sittings", &json!({ "symbol": symbol }));
        assert_eq!((sat.status, second()), (201, json!("Q-01")));
    };
    sit();
    town.badge("Q-01");
    assert_eq!(second(), json!(null), "the old badge was lost, and still stands there");
    sit();
    town.as_admin("/api/v1/people/sign-out", &json!({"badge": "Q-01"}));
    assert_eq!(second(), json!(null));
    sit();
    town.as_admin("/api/v1/people/withdraw", &json!({"badge": "Q-01"}));
    assert_eq!(second(), json!(null));
}

#[test]
fn a_second_person_counts_who_showed_who_they_are_in_this_sitting() {
    let town = Town::new();
    let (judge, beside) = (town.invite("Q-03", true), town.badge("Q-01"));
    let placed = town.decide_as(&judge, "Q-03", "place_hold", "roll/R-42", json!({"why": "torn"}));
    let hold = placed.json()["id"].clone();
    let lift = |second: &str| {
        let mut wish = town.server.decision_now("lift_hold", "roll/R-42", json!({"hold": hold, "why": "looked at it"}));
        (wish["by"], wish["second"]) = (json!("Q-03"), json!({ "by": second }));
        town.post_as(("cookie", &judge), "/api/v1/decisions", &wish)
    };
    let problem = lift("Q-01").problem(403, "not-allowed");
    assert_eq!(problem["errors"][0]["pointer"], "/second/by");
    // Nobody stands beside themselves, and no letters do.
    let own = town.badge("Q-03");
    town.post_as(("cookie", &judge), "/api/v1/sittings", &json!({ "symbol": own })).problem(403, "not-allowed");
    town.post_as(("cookie", &judge), "/api/v1/sittings", &json!({"symbol": "Q-01"})).problem(401, "not-signed-in");
    let sat = town.post_as(("cookie", &judge), "/api/v1/sittings", &json!({ "symbol": beside }));
    assert_eq!((sat.status, &sat.json()["badge"]), (201, &json!("Q-01")));
    assert_eq!(town.get_as(("cookie", &judge), "/api/v1/me").json()["second"]["badge"], "Q-01");
    lift("B-17").problem(403, "not-allowed");
    town.server.pass(15);
    lift("Q-01").problem(403, "not-allowed");
    town.post_as(("cookie", &judge), "/api/v1/sittings", &json!({ "symbol": beside }));
    // Who placed it is not who lifts it: the second is somebody else, and known.
    let said = lift("Q-01");
    assert_eq!(said.status, 201, "{}", said.text);
    let lifted = town.entries("hold_lifted").pop().unwrap();
    assert_eq!(lifted["second"], json!({"by": "Q-01", "by_known": "badge"}));
}
