//! Devices that are lost: revoked with its meaning read before, and what they had not sent brought in from a file.

use super::{
    pages::{between, look, submit},
    town::Town,
};
use crate::yard::Said;
use reqwest::Method;
use serde_json::{Value, json};

/// Posts a form with a file, as browsers do (RFC 7578).
fn send_file(town: &Town, name: &str, text: &str) -> Said {
    let media = "multipart/form-data; boundary=----a5f0";
    let body = format!(
        "------a5f0\r\nContent-Disposition: form-data; name=\"{name}\"; filename=\"h3.jsonl\"\r\nContent-Type: text/plain\r\n\r\n{text}\r\n------a5f0--\r\n"
    );
    let headers = [("accept", "text/html"), ("content-type", media), ("cookie", town.admin.as_str())];
    town.server.send(Method::POST, "/devices/bring-in", &headers, body.into_bytes())
}

/// What a person reads of it.
fn read(said: &Said) -> String {
    said.text.replace("<code>", "").replace("</code>", "")
}

fn kept(town: &Town, counter: u64) -> Value {
    let mut fact = town.server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
    (fact["by"], fact["device"], fact["counter"]) = (json!("B-17"), json!("H-3"), json!(counter));
    fact
}

fn revoked(town: &Town) {
    town.device("H-3");
    let said = town.decide_as(&town.admin, "A-1", "revoke_device", "device/H-3", json!({"why": "lost"}));
    assert_eq!(said.status, 201, "{}", said.text);
}

#[test]
fn what_a_device_had_not_sent_is_read_before_it_is_saved() {
    let town = Town::new();
    revoked(&town);
    let file = format!("{}\n{}\nnot a fact\n", kept(&town, 1), kept(&town, 2));
    let before = town.server.last_seq();
    let shown = send_file(&town, "file", &file);
    assert_eq!(shown.status, 200, "{}", shown.text);
    for words in [
        "2 would be written, 1 not taken.",
        "From H-3, which was revoked.",
        "R-42 taken out of F1 to CUT",
        "would be written, as told: it waits until two confirm it",
        "What it would change",
        "Nothing is written yet",
    ] {
        assert!(read(&shown).contains(words), "{words}: {}", shown.text);
    }
    assert_eq!(town.server.last_seq(), before, "looking wrote something");
    // What the page carries is what was chosen.
    let carried = between(&shown.text, "<textarea name=\"facts\" hidden readonly>\n", "</textarea>");
    let carried = carried.replace("&#34;", "\"").replace("&quot;", "\"");
    assert_eq!(carried, file);
    let saved = send_file(&town, "facts", &carried);
    assert!(saved.text.contains("2 written, 1 not taken."), "{}", saved.text);
    let taken = town.entries("roll_taken_out");
    let own: Vec<[&Value; 4]> = taken
        .iter()
        .filter(|entry| entry["device"] == "H-3")
        .map(|entry| [&entry["by"], &entry["by_known"], &entry["device_known"], &entry["told"]])
        .collect();
    let claimed = [&json!("B-17"), &json!("claimed"), &json!("claimed"), &json!(true)];
    assert_eq!(own, [claimed, claimed]);
    // The same file again: nothing is written twice, and there is nothing to save.
    let again = send_file(&town, "file", &file);
    assert!(again.text.contains("2 in already") && !again.text.contains("name=\"facts\""), "{}", again.text);
}

#[test]
fn whoever_enrols_a_device_is_not_left_signed_in_on_it() {
    let town = Town::new();
    let made = town.as_admin("/api/v1/devices/codes", &json!({"device": "H-3", "what": "tablet"}));
    let enrolled = submit(&town.server, "/enrol", &town.admin, &[("code", made["code"].as_str().unwrap())]);
    assert_eq!(enrolled.status, 200, "{}", enrolled.text);
    let set: Vec<&str> = enrolled.headers.get_all("set-cookie").iter().map(|cookie| cookie.to_str().unwrap()).collect();
    assert!(set[0].starts_with("device=rmd_") && set[1].starts_with("session=; Path=/; Max-Age=0"), "{set:?}");
    town.get_as(("cookie", &town.admin), "/api/v1/me").problem(401, "not-signed-in");
    // So the first badge that is scanned there signs in.
    let device = set[0].split(';').next().unwrap();
    assert!(look(&town.server, "/sign-in", device).text.contains("Scan your badge"));
}

#[test]
fn a_file_that_is_none_is_said_so_and_nobody_else_brings_one_in() {
    let town = Town::new();
    assert!(send_file(&town, "file", "").text.contains("There is nothing in the file"));
    assert!(send_file(&town, "other", "x").text.contains("No file was chosen"));
    let form = submit(&town.server, "/devices/bring-in", &town.admin, &[("facts", "{}")]);
    assert!(form.status == 415 && form.text.contains("multipart/form-data"), "{}", form.text);
    let unnamed = town.server.fact_now("seen", "roll/R-42", json!({"in": "F1"}));
    let said = send_file(&town, "file", &unnamed.to_string());
    assert!(said.text.contains("Name the device that it was read from"), "{}", said.text);
    let other = town.invite("B-17", false);
    assert_eq!(look(&town.server, "/devices/bring-in", &other).status, 403);
}

#[test]
fn a_program_asks_first_what_bringing_in_would_change() {
    let town = Town::new();
    revoked(&town);
    let body = json!({"entries": [kept(&town, 1)]});
    let before = town.server.last_seq();
    let said = town.post_as(("cookie", &town.admin), "/api/v1/devices/entries?dry_run=true", &body);
    assert_eq!(said.status, 200, "{}", said.text);
    assert_eq!(said.json()["results"][0]["status"], 201);
    assert_eq!(said.json()["effect"]["things"][0]["thing"], "roll/R-42");
    assert_eq!(town.server.last_seq(), before);
}

#[test]
fn a_device_is_revoked_once_its_meaning_was_read() {
    let town = Town::new();
    let (device, symbol) = (town.device("H-3"), town.badge("B-17"));
    let on_device = town.scan_on(&device, &symbol);
    let list = look(&town.server, "/devices", &town.admin).text;
    let address = between(&list, "href=\"/devices/revoke", "\"");
    let asked = look(&town.server, &format!("/devices/revoke{address}"), &town.admin);
    for words in [
        "Revoke H-3",
        "H-3 is enrolled: a handheld.",
        "The one person who is signed in on it is signed out",
        "brought in from a file",
    ] {
        assert!(read(&asked).contains(words), "{words}: {}", asked.text);
    }
    let shown = look(&town.server, "/devices/revoke?choice=ask&thing=device/H-3&why=dropped", &town.admin);
    assert!(shown.text.contains("What it would change") && shown.text.contains("Save"), "{}", shown.text);
    assert_eq!(look(&town.server, "/today", &on_device).status, 200, "looking revoked it");
    let value = |name: &str| between(&shown.text, &format!("name=\"{name}\" value=\""), "\"").to_owned();
    let fields = [
        ("id", value("id")),
        ("based_on", value("based_on")),
        ("thing", "device/H-3".into()),
        ("why", "dropped".into()),
    ];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let saved = submit(&town.server, "/devices/revoke", &town.admin, &fields);
    assert_eq!(saved.status, 303, "{}", saved.text);
    assert_eq!(look(&town.server, "/today", &on_device).status, 303);
    let entry = town.entries("device_revoked").pop().unwrap();
    assert_eq!((&entry["by"], &entry["body"]), (&json!("A-1"), &json!({"why": "dropped"})));
    // It takes a one-time code, and whoever has not shown one sees no button.
    let other = town.device("H-4");
    let by_badge = town.scan_on(&other, &town.badge("A-2"));
    assert_eq!(look(&town.server, "/devices/revoke?thing=device/H-4", &by_badge).status, 403);
    let list = look(&town.server, "/devices", &by_badge).text;
    assert!(!list.contains("/devices/revoke") && list.contains("signed in with a one-time code"), "{list}");
}

#[test]
fn what_a_devices_clock_shows_is_known_from_what_its_pages_send() {
    let town = Town::new();
    let cookies = town.scan_on(&town.device("H-3"), &town.badge("B-17"));
    let ahead =
        || town.get_as(("cookie", &town.admin), "/api/v1/devices").json()["devices"][0]["clock_ahead_ms"].clone();
    let move_with = |fields: &[(&str, &str)], cookies: &str| {
        let roll = look(&town.server, "/?code=R-42", cookies);
        let go = if roll.text.contains("value=\"take_out\"") { "take_out" } else { "put_away F1" };
        let id = between(&roll.text, "name=\"id\" value=\"", "\"").to_owned();
        let all = [&[("id", id.as_str()), ("thing", "roll/R-42"), ("go", go)], fields].concat();
        let moved = submit(&town.server, "/moves", cookies, &all);
        assert_eq!(moved.status, 303, "{}", moved.text);
        town.server.pass(1);
    };
    // Every page has the script that says it; without one nothing is claimed.
    assert!(look(&town.server, "/?code=R-42", &cookies).text.contains("src=\"/static/clock-"));
    move_with(&[], &cookies);
    assert_eq!(ahead(), json!(null));
    let shows = |minutes: i64| shared_types::Stamp::utc(town.server.clock_ahead_ms(minutes * 60_000)).to_string();
    move_with(&[("device_time", &shows(30))], &cookies);
    assert_eq!(ahead(), json!(1_800_000));
    let list = look(&town.server, "/devices", &town.admin).text;
    assert!(list.contains("its clock is 30 min fast"), "{list}");
    // What can't be read is as if it were not there, and what it belongs to is written all the same.
    move_with(&[("device_time", "half past eight")], &cookies);
    assert_eq!(ahead(), json!(1_800_000));
    // Of a desk nothing is kept, and what is only looked at measures nothing.
    let desk = town.invite("Q-03", true);
    move_with(&[("device_time", &shows(-90))], &desk);
    let asked = look(&town.server, &format!("/today?device_time={}", shows(5).replace('+', "%2B")), &cookies);
    assert_eq!((asked.status, ahead()), (400, json!(1_800_000)));
    move_with(&[("device_time", &shows(-2))], &cookies);
    assert_eq!(ahead(), json!(-120_000));
    assert!(look(&town.server, "/devices", &town.admin).text.contains("its clock is 2 min slow"));
}

#[test]
fn a_revoked_device_hears_no_more_of_the_log() {
    let town = Town::new();
    let device = town.device("H-3");
    let cookies = town.scan_on(&device, &town.badge("B-17"));
    let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
    let last = town.server.last_seq();
    let request = client.get(format!("http://{}/api/v1/entries?after={last}", town.server.address()));
    let answer = request.header("accept", "text/event-stream").header("cookie", &cookies).send().unwrap();
    assert_eq!(answer.status(), 200);
    let said = town.decide_as(&town.admin, "A-1", "revoke_device", "device/H-3", json!({"why": "stolen"}));
    assert_eq!(said.status, 201, "{}", said.text);
    let heard = answer.text().unwrap();
    assert!(heard.contains(": listening") && !heard.contains("stolen"), "{heard}");
}
