//! Setting the yard up, and signing in and out.

use super::town::{PASSWORD, Town, cookie, not_set_up};
use crate::yard::Server;
use serde_json::json;
use server::yard::{Options, Yard};
use std::{fs, os::unix::fs::PermissionsExt};

#[test]
fn before_it_is_set_up_everything_is_open_and_nobody_signs_in() {
    let (server, code) = not_set_up(false);
    server.fill_yard();
    assert_eq!(server.get("/api/v1/rolls").status, 200);
    server.post("/api/v1/sign-in", &json!({"badge": "A-1", "password": PASSWORD})).problem(403, "not-allowed");
    // Nobody makes an administrator but with the code.
    let grant = server.decision_now("grant_roles", "badge/B-17", json!({"roles": ["administrator"]}));
    server.post("/api/v1/decisions", &grant).problem(403, "not-allowed");
    server.post("/api/v1/join/begin", &json!({"code": "AAAA-BBBB-CCCC-DDDD"})).problem(403, "not-allowed");
    // Nor does anybody give a way in that would still open afterwards.
    server.post("/api/v1/people/name", &json!({"badge": "Q-03", "name": "Kim Example"})).problem(403, "not-allowed");
    for way in ["badge", "invitation", "sign-out", "withdraw"] {
        server.post(&format!("/api/v1/people/{way}"), &json!({"badge": "Q-03"})).problem(403, "not-allowed");
    }
    let town = Town::set_up(server, &code);
    town.server.get("/api/v1/rolls").problem(401, "not-signed-in");
    // A code is used once.
    town.server.post("/api/v1/join/begin", &json!({ "code": code })).problem(403, "not-allowed");
}

#[test]
fn the_first_administrator_stands_in_the_log_and_no_name_does() {
    let town = Town::new();
    let granted = town.entries("roles_granted");
    let first = &granted[0];
    assert_eq!(
        (&first["thing"], &first["by"], &first["by_known"]),
        (&json!("badge/A-1"), &json!("A-1"), &json!("password"))
    );
    assert_eq!(first["body"], json!({"roles": ["administrator"]}));
    town.as_admin("/api/v1/people/name", &json!({"badge": "B-17", "name": "Rui Example"}));
    let symbol = town.badge("B-17");
    let people = town.get_as(("cookie", &town.admin), "/api/v1/people").json();
    let rui = people["people"].as_array().unwrap().iter().find(|one| one["badge"] == "B-17").unwrap().clone();
    assert_eq!(
        (&rui["name"], &rui["has_symbol"], &rui["has_password"]),
        (&json!("Rui Example"), &json!(true), &json!(false))
    );
    let log = town.get_as(("cookie", &town.admin), "/api/v1/entries").text;
    for secret in ["Rui", "Example", &symbol, PASSWORD, &town.secret_of("A-1")] {
        assert!(!log.contains(secret), "{secret} stands in the log");
    }
    // It can be withdrawn, and then nothing signs in with it.
    town.as_admin("/api/v1/people/withdraw", &json!({"badge": "B-17"}));
    let kept = fs::read_to_string(town.server.folder.path().join("people/people.json")).unwrap();
    assert!(!kept.contains("Rui") && kept.contains("Ana Example"));
}

#[test]
fn what_is_kept_of_people_is_for_the_servers_own_user_alone() {
    let town = Town::new();
    let folder = town.server.folder.path().join("people");
    let mode = |path: &std::path::Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode(&folder), mode(&folder.join("people.json"))), (0o700, 0o600));
}

#[test]
fn a_wrong_try_is_answered_alike_whatever_was_wrong() {
    let town = Town::new();
    town.invite("B-17", false);
    let tried = |body| town.server.post("/api/v1/sign-in", &body).problem(401, "not-signed-in")["detail"].clone();
    let password = tried(json!({"badge": "B-17", "password": "not the password"}));
    assert_eq!(password, tried(json!({"badge": "B-404", "password": "not the password"})));
    assert_eq!(password, tried(json!({"badge": "A-1", "password": PASSWORD, "one_time_code": "000000"})));
    assert_eq!(password, tried(json!({"badge": "A-1", "password": PASSWORD})));
    // Then it takes longer and longer, whatever is tried from here.
    let mut waited = 0;
    for _ in 0..6 {
        let said = town.server.post("/api/v1/sign-in", &json!({"badge": "B-17", "password": "not the password"}));
        if said.status == 429 {
            let problem = said.problem(429, "too-many-tries");
            assert_eq!(said.headers["retry-after"], problem["retry_after_s"].to_string().as_str());
            waited += 1;
        }
    }
    assert!(0 < waited);
    town.server.pass(15);
    assert_eq!(town.server.post("/api/v1/sign-in", &json!({"badge": "B-17", "password": PASSWORD})).status, 200);
}

#[test]
fn a_role_that_judges_needs_a_one_time_code() {
    let town = Town::new();
    let invited = town.as_admin("/api/v1/people/invitation", &json!({"badge": "Q-03"}));
    let code = invited["code"].as_str().unwrap();
    let begun = town.server.post("/api/v1/join/begin", &json!({ "code": code })).json();
    assert_eq!((&begun["badge"], &begun["needs_one_time_code"]), (&json!("Q-03"), &json!(true)));
    let body = json!({"code": code, "name": "Kim Example", "password": PASSWORD});
    let problem = town.server.post("/api/v1/join", &body).problem(400, "cannot-read");
    assert_eq!(problem["errors"][0]["pointer"], "/one_time_code");
    // Somebody whose role came later signs in only once they have set one up.
    town.invite("B-17", false);
    town.grant("B-17", json!({"roles": ["quality"]}));
    town.server.post("/api/v1/sign-in", &json!({"badge": "B-17", "password": PASSWORD})).problem(403, "not-allowed");
}

#[test]
fn weak_passwords_and_codes_that_are_over_are_refused_in_words() {
    let town = Town::new();
    let invited = town.as_admin("/api/v1/people/invitation", &json!({"badge": "B-17"}));
    let body = |password: &str| json!({"code": invited["code"], "name": "Rui Example", "password": password});
    for weak in ["short", "password1234", "rui example 77"] {
        let problem = town.server.post("/api/v1/join", &body(weak)).problem(400, "cannot-read");
        assert_eq!(problem["errors"][0]["pointer"], "/password", "{weak}");
    }
    town.server.pass(24 * 60);
    town.server.post("/api/v1/join", &body(PASSWORD)).problem(403, "not-allowed");
}

#[test]
fn a_session_ends_by_signing_out_by_time_and_by_an_administrator() {
    let town = Town::new();
    let me = |cookie: &str| town.get_as(("cookie", cookie), "/api/v1/me");
    let first = town.invite("B-17", false);
    let said = me(&first).json();
    assert_eq!(
        (&said["badge"], &said["known"], &said["name"]),
        (&json!("B-17"), &json!("password"), &json!("B-17 Example"))
    );
    let out = town.post_as(("cookie", &first), "/api/v1/sign-out", &json!({}));
    assert!(out.headers["set-cookie"].to_str().unwrap().starts_with("session=; Path=/; Max-Age=0"));
    me(&first).problem(401, "not-signed-in");
    let second = town.sign_in("B-17");
    let ended = town.as_admin("/api/v1/people/sign-out", &json!({"badge": "B-17"}));
    assert_eq!(ended["ended"], 1);
    me(&second).problem(401, "not-signed-in");
    let third = town.sign_in("B-17");
    town.server.pass(119);
    assert_eq!(me(&third).status, 200);
    town.server.pass(120);
    me(&third).problem(401, "not-signed-in");
    // The administrator's was not used meanwhile either.
    let fresh = Town { admin: town.sign_in("A-1"), ..town };
    let who_has_none = fresh.sign_in("B-17");
    fresh.grant("B-17", json!({"roles": []}));
    fresh.get_as(("cookie", &who_has_none), "/api/v1/me").problem(403, "not-allowed");
}

#[test]
fn whoever_signs_out_hears_no_more_of_the_log() {
    let town = Town::new();
    let cookie = town.invite("B-17", false);
    let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
    let last = town.server.last_seq();
    let request = client.get(format!("http://{}/api/v1/entries?after={last}", town.server.address()));
    let answer = request.header("accept", "text/event-stream").header("cookie", &cookie).send().unwrap();
    assert_eq!(answer.status(), 200);
    town.post_as(("cookie", &cookie), "/api/v1/sign-out", &json!({}));
    // The next entry wakes the listener, and it ends instead of being sent.
    town.grant("B-98", json!({"roles": ["reader"]}));
    let heard = answer.text().unwrap();
    assert!(heard.contains(": listening") && !heard.contains("B-98"), "{heard}");
}

#[test]
fn a_badge_signs_in_on_an_enrolled_device_and_nowhere_else() {
    let town = Town::new();
    let symbol = town.badge("B-17");
    town.server.post("/api/v1/sign-in", &json!({ "symbol": symbol })).problem(403, "not-allowed");
    let device = town.device("H-3");
    let cookies = town.scan_on(&device, &symbol);
    let said = town.get_as(("cookie", &cookies), "/api/v1/me").json();
    assert_eq!((&said["badge"], &said["known"], &said["device"]), (&json!("B-17"), &json!("badge"), &json!("H-3")));
    let entry = town.entries("signed_in").pop().unwrap();
    assert_eq!((&entry["by"], &entry["body"]), (&json!("B-17"), &json!({"how": "badge", "device": "H-3"})));
    assert_eq!((&entry["device"], &entry["device_known"]), (&json!("H-3"), &json!("token")));
    // The browser keeps for another 400 days what it is.
    let again = town.post_as(("cookie", &format!("device={device}")), "/api/v1/sign-in", &json!({ "symbol": symbol }));
    let set: Vec<&str> = again.headers.get_all("set-cookie").iter().map(|cookie| cookie.to_str().unwrap()).collect();
    assert!(set[1].starts_with(&format!("device={device}; Path=/; Max-Age=34560000;")), "{set:?}");
    let cookies = format!("device={device}; {}", set[0].split(';').next().unwrap());
    // Half an hour without a scan, and somebody else may have it in their hands.
    town.server.pass(30);
    let alone = town.get_as(("cookie", &cookies), "/api/v1/me").json();
    assert_eq!((&alone["badge"], &alone["device"]), (&json!("?"), &json!("H-3")));
}

#[test]
fn signing_in_again_and_again_writes_one_entry_a_minute() {
    let town = Town::new();
    let (device, symbol) = (town.device("H-3"), town.badge("B-17"));
    for _ in 0..5 {
        town.scan_on(&device, &symbol);
    }
    let own = |town: &Town| town.entries("signed_in").iter().filter(|entry| entry["by"] == "B-17").count();
    assert_eq!(own(&town), 1);
    town.server.pass(1);
    town.scan_on(&device, &symbol);
    assert_eq!(own(&town), 2);
}

#[test]
fn a_restart_signs_everybody_out_and_forgets_nobody() {
    let Town { server, admin, .. } = &mut Town::new();
    let (clock, admin) = (server.clock.clone(), admin.clone());
    server.stop();
    let folder = std::mem::replace(&mut server.folder, tempfile::TempDir::new().unwrap());
    let yard = Yard::open(folder.path(), Options::new(clock.clone())).unwrap();
    let again = Server::of(folder, yard, clock);
    again.get("/api/v1/rolls").problem(401, "not-signed-in");
    again.send(reqwest::Method::GET, "/api/v1/rolls", &[("cookie", &admin)], Vec::new()).problem(401, "not-signed-in");
    // The password is known, and without its one-time code it opens nothing.
    again.post("/api/v1/sign-in", &json!({"badge": "A-1", "password": PASSWORD})).problem(401, "not-signed-in");
}

#[test]
fn a_cookie_is_that_of_one_session_only() {
    let town = Town::new();
    let one = town.invite("B-17", false);
    let body = json!({"badge": "B-17", "password": PASSWORD});
    let other = cookie(&town.post_as(("cookie", &one), "/api/v1/sign-in", &body));
    assert_ne!(one, other);
    town.get_as(("cookie", &one), "/api/v1/me").problem(401, "not-signed-in");
    assert_eq!(town.get_as(("cookie", &other), "/api/v1/me").status, 200);
}

#[test]
fn whoever_scans_the_wrong_thing_in_gloves_never_waits() {
    let town = Town::new();
    let device = format!("device={}", town.device("H-3"));
    let symbol = town.badge("B-17");
    let scan = |text: &str| town.post_as(("cookie", &device), "/api/v1/sign-in", &json!({ "symbol": text }));
    for _ in 0..20 {
        scan("R-42").problem(401, "not-signed-in");
    }
    assert_eq!(scan(&symbol).status, 200);
}
