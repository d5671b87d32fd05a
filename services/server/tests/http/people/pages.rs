//! The same with a browser: forms, without a script.

use super::town::{PASSWORD, Town, not_set_up};
use crate::yard::{Said, Server};
use reqwest::Method;

const HTML: (&str, &str) = ("accept", "text/html");
const FORM: (&str, &str) = ("content-type", "application/x-www-form-urlencoded");

pub(super) fn submit(server: &Server, path: &str, cookies: &str, fields: &[(&str, &str)]) -> Said {
    let encoded = |text: &str| -> String {
        text.bytes()
            .map(
                |byte| if byte.is_ascii_alphanumeric() { char::from(byte).to_string() } else { format!("%{byte:02X}") },
            )
            .collect()
    };
    let fields: Vec<String> = fields.iter().map(|(name, value)| format!("{name}={}", encoded(value))).collect();
    server.send(Method::POST, path, &[HTML, FORM, ("cookie", cookies)], fields.join("&").into_bytes())
}

pub(super) fn look(server: &Server, path: &str, cookies: &str) -> Said {
    server.send(Method::GET, path, &[HTML, ("cookie", cookies)], Vec::new())
}

pub(super) fn between<'a>(text: &'a str, from: &str, to: &str) -> &'a str {
    let (_, rest) = text.split_once(from).unwrap_or_else(|| panic!("no {from} in {text}"));
    rest.split_once(to).unwrap().0
}

fn cookie(said: &Said) -> String {
    said.headers["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_owned()
}

#[test]
fn a_yard_is_set_up_and_signed_in_to_with_forms_alone() {
    let (server, code) = not_set_up(false);
    assert!(look(&server, "/sign-in", "").text.contains("Nobody signs in here yet"));
    let wrong = submit(&server, "/set-up", "", &[("code", "AAAA-BBBB-CCCC-DDDD")]);
    assert!(wrong.status == 403 && wrong.text.contains("That code opens nothing"));
    let begun = submit(&server, "/set-up", "", &[("code", &code)]);
    let secret = between(&begun.text, "<p class=\"code-letters\"><code>", "</code>").to_owned();
    assert!(begun.text.contains("<svg class=\"symbol\""));
    let short = submit(
        &server,
        "/set-up",
        "",
        &[("code", &code), ("badge", "A-1"), ("name", "Ana Example"), ("password", "short")],
    );
    assert!(
        short.status == 400
            && short.text.contains("A password has 12 to 200 characters")
            && short.text.contains("value=\"Ana Example\"")
    );
    assert!(!short.text.contains("value=\"short\""));
    let digits = {
        // The same minute as this server's clock.
        let totp =
            totp_rs::Builder::new().with_secret(totp_rs::Secret::try_from_base32(&secret).unwrap()).build().unwrap();
        totp.generate(u64::try_from(server.clock_ahead_ms(0).0 / 1_000).unwrap()).to_string()
    };
    let fields = [
        ("code", code.as_str()),
        ("badge", "A-1"),
        ("name", "Ana Example"),
        ("password", PASSWORD),
        ("one_time", &digits),
    ];
    let done = submit(&server, "/set-up", "", &fields);
    assert!(done.status == 200 && done.text.contains("A-1 can sign in now"), "{}", done.text);
    // A person is led to where they sign in, and from there back.
    let led = look(&server, "/thing/roll/R-42?at=x", "");
    assert_eq!(
        (led.status, &led.headers["location"]),
        (303, &"/sign-in?then=/thing/roll/R-42%3Fat%3Dx".parse().unwrap())
    );
    let astray = look(&server, "/?code=RMB.ONEXAMPLEOFASYMBOLONABADGE", "");
    assert_eq!(&astray.headers["location"], "/sign-in", "a badge's symbol stands in an address");
    server.pass(1);
    let totp = totp_rs::Builder::new().with_secret(totp_rs::Secret::try_from_base32(&secret).unwrap()).build().unwrap();
    let digits = totp.generate(u64::try_from(server.clock_ahead_ms(0).0 / 1_000).unwrap()).to_string();
    let wrong =
        submit(&server, "/sign-in", "", &[("badge", "A-1"), ("password", "not the password"), ("one_time", &digits)]);
    assert!(
        wrong.status == 401 && wrong.text.contains("That is not right") && !wrong.text.contains("not the password\"")
    );
    let fields = [("badge", "A-1"), ("password", PASSWORD), ("one_time", digits.as_str()), ("then", "/today")];
    let signed_in = submit(&server, "/sign-in", "", &fields);
    assert_eq!(
        (signed_in.status, &signed_in.headers["location"]),
        (303, &"/today".parse().unwrap()),
        "{}",
        signed_in.text
    );
    let cookies = cookie(&signed_in);
    assert_eq!(look(&server, "/today", &cookies).status, 200);
    assert!(look(&server, "/sign-in", &cookies).text.contains("Ana Example (A-1) is signed in"));
    let out = submit(&server, "/sign-out", &cookies, &[]);
    assert_eq!(out.status, 303);
    assert_eq!(look(&server, "/today", &cookies).status, 303);
}

#[test]
fn an_administrator_looks_after_people_devices_and_programs_on_one_page() {
    let town = Town::new();
    let act = |fields: &[(&str, &str)]| submit(&town.server, "/people", &town.admin, fields);
    assert!(act(&[("do", "name"), ("badge", "B-40"), ("name", "Ida Example")]).text.contains("B-40 has that name now"));
    let taken = act(&[("do", "add"), ("badge", "B-40"), ("name", "Ivo Example")]);
    assert!(taken.status == 400 && taken.text.contains("is Ida Example already"), "{}", taken.text);
    assert!(act(&[("do", "add"), ("badge", "B-41"), ("name", "Ivo Example")]).text.contains("B-41 is added"));
    let granted = act(&[("do", "roles"), ("badge", "B-40"), ("roles", "stores"), ("roles", "laminator")]);
    assert!(
        granted.text.contains("B-40 has its roles") && granted.text.contains("stores, laminator"),
        "{}",
        granted.text
    );
    let sheet = act(&[("do", "symbol"), ("badge", "B-40")]);
    assert!(sheet.text.contains("<svg class=\"symbol\"") && sheet.text.contains("B-40 Ida Example"));
    // Its letters are for the screen: on paper it has its symbol alone.
    let symbol = between(&sheet.text, "<p class=\"code-letters noprint\"><code>", "</code>").to_owned();
    assert!(!look(&town.server, "/people", &town.admin).text.contains(&symbol), "it is shown once");
    let device = act(&[("do", "device"), ("device", "H-7"), ("what", "tablet"), ("place", "CUT")]);
    let code = between(&device.text, "<p class=\"code-letters\"><code>", "</code>").to_owned();
    let enrolled = submit(&town.server, "/enrol", "", &[("code", &code)]);
    assert!(enrolled.text.contains("This is H-7 from now on"), "{}", enrolled.text);
    let on_device = cookie(&enrolled);
    // On the device the badge's symbol is enough, and the scan screen never takes it.
    assert!(look(&town.server, "/sign-in", &on_device).text.contains("Scan your badge"));
    let astray = look(&town.server, &format!("/?code={symbol}"), &on_device);
    assert_eq!((astray.status, &astray.headers["location"]), (303, &"/sign-in".parse().unwrap()));
    let signed_in = submit(&town.server, "/sign-in", &on_device, &[("code", &symbol)]);
    assert_eq!(signed_in.status, 303, "{}", signed_in.text);
    let both = format!("{on_device}; {}", cookie(&signed_in));
    let roll = look(&town.server, "/?code=R-42", &both);
    assert!(roll.text.contains("name=\"go\" value=\"take_out\""), "{}", roll.text);
    let id = between(&roll.text, "name=\"id\" value=\"", "\"").to_owned();
    let moved = submit(&town.server, "/moves", &both, &[("id", &id), ("thing", "roll/R-42"), ("go", "take_out")]);
    assert_eq!(moved.status, 303, "{}", moved.text);
    let entry = town.entries("roll_taken_out").pop().unwrap();
    let said = ["by", "by_known", "device", "device_known"].map(|name| entry[name].as_str().unwrap().to_owned());
    assert_eq!(said, ["B-40", "badge", "H-7", "token"]);
    let people = look(&town.server, "/people", &town.admin).text;
    assert!(people.contains("href=\"/devices/revoke?thing=device/H-7\""), "{people}");
    let token = act(&[("do", "token"), ("badge", "X-1"), ("name", "planning"), ("scopes", "read")]);
    assert!(token.text.contains("rmp_"), "{}", token.text);
    assert!(act(&[("do", "roles"), ("badge", "A-1")]).text.contains("A-1 has no role any more"));
}

#[test]
fn two_badges_once_then_one_tap_a_line() {
    let town = Town::new();
    let (cookies, beside) = (town.invite("B-17", false), town.badge("Q-01"));
    // Told: it happened an hour ago.
    let mut told = town.server.fact_now("roll_taken_out", "roll/R-42", serde_json::json!({"from": "F1"}));
    town.server.pass(60);
    told["by"] = serde_json::json!("B-17");
    let posted = town.post_as(("cookie", &cookies), "/api/v1/entries", &serde_json::json!({"entries": [told]}));
    assert_eq!(posted.json()["results"][0]["status"], 201, "{}", posted.text);
    let page = look(&town.server, "/confirm", &cookies);
    assert!(
        page.text.contains("href=\"/sitting?then=%2Fconfirm\"") && !page.text.contains("<button aria-label=\"Confirm")
    );
    let sat = submit(&town.server, "/sitting", &cookies, &[("code", &beside), ("then", "/confirm")]);
    assert_eq!((sat.status, &sat.headers["location"]), (303, &"/confirm".parse().unwrap()), "{}", sat.text);
    let page = look(&town.server, "/confirm", &cookies).text;
    let value = |name: &str| between(&page, &format!("name=\"{name}\" value=\""), "\"").to_owned();
    let fields =
        [("id", value("id")), ("thing", value("thing")), ("other", value("other")), ("second", value("second"))];
    let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, value.as_str())).collect();
    let done = submit(&town.server, "/confirm", &cookies, &fields);
    assert_eq!(done.status, 303, "{}", done.text);
    let confirmed = town.entries("fact_confirmed").pop().unwrap();
    assert_eq!(confirmed["second"], serde_json::json!({"by": "Q-01", "by_known": "badge"}));
}

/// The fields of a form that are hidden.
fn hidden(page: &str) -> Vec<(String, String)> {
    let mut fields = Vec::new();
    for (_, rest) in
        page.match_indices("<input type=\"hidden\" name=\"").map(|(at, from)| page.split_at(at + from.len()))
    {
        let (name, rest) = rest.split_once("\" value=\"").unwrap();
        let field = (name.to_owned(), rest.split_once('"').unwrap().0.to_owned());
        if !fields.contains(&field) {
            fields.push(field);
        }
    }
    fields
}

fn resubmit(server: &Server, path: &str, cookies: &str, page: &str, more: &[(&str, &str)]) -> Said {
    let fields = hidden(page);
    let fields = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).filter(|(name, _)| *name != "then");
    submit(server, path, cookies, &fields.chain(more.iter().copied()).collect::<Vec<_>>())
}

#[test]
fn what_was_entered_outlasts_the_session_and_is_sent_once_somebody_signed_in() {
    let town = Town::new();
    let device = format!("device={}", town.device("H-3"));
    let (symbol, second) = (town.badge("B-17"), town.badge("Q-01"));
    let id = "0197a1c2-0000-7000-8000-00000000a001";
    let sheet = [
        ("id", id),
        ("day", "2026-05-06"),
        ("time1", "06:31"),
        ("what1", "out"),
        ("code1", "R-42"),
        ("second", &second),
        ("device_time", "2026-05-06T06:32:00.000Z"),
    ];
    let before = town.server.last_seq();
    let refused = submit(&town.server, "/paper", &device, &sheet);
    assert_eq!(refused.status, 401);
    assert!(refused.text.contains("What you entered is kept"), "{}", refused.text);
    for secret in [&second, "device_time"] {
        assert!(!refused.text.contains(secret), "{}", refused.text);
    }
    // The wrong thing was scanned first.
    let wrong = resubmit(&town.server, "/sign-in", &device, &refused.text, &[("code", "R-42")]);
    assert!(wrong.status == 401 && wrong.text.contains("What you entered is kept"), "{}", wrong.text);
    let signed_in = resubmit(&town.server, "/sign-in", &device, &wrong.text, &[("code", &symbol)]);
    assert_eq!(signed_in.status, 200, "{}", signed_in.text);
    assert!(
        signed_in.text.contains("action=\"/paper\"") && signed_in.text.contains("Send it now"),
        "{}",
        signed_in.text
    );
    let cookies = format!("{device}; {}", cookie(&signed_in));
    assert_eq!(town.entries("roll_taken_out").len(), 0);
    let sent = resubmit(&town.server, "/paper", &cookies, &signed_in.text, &[("second", &second)]);
    assert_eq!(sent.status, 303, "{}", sent.text);
    let entry = town.entries("roll_taken_out").pop().unwrap();
    assert_eq!((&entry["by"], &entry["second"]["by"]), (&serde_json::json!("B-17"), &serde_json::json!("Q-01")));
    assert!(before < town.server.last_seq());
    // What counts from when it is sent is not kept for later: it would be counted too late.
    let roll = [("id", id), ("thing", "roll/R-42"), ("go", "take_out")];
    let refused = submit(&town.server, "/moves", &device, &roll);
    assert_eq!(refused.status, 401);
    assert!(refused.text.contains("Scan your badge") && !refused.text.contains("take_out"), "{}", refused.text);
    // Another site's form is carried nowhere, and what is not asked for by a person is a problem as before.
    let body = b"day=2026-05-06&time1=06:31".to_vec();
    let foreign = [HTML, FORM, ("origin", "https://yard.example")];
    let said = town.server.send(Method::POST, "/paper", &foreign, body.clone());
    assert!(said.status == 401 && !said.text.contains("06:31"), "{}", said.text);
    town.server.send(Method::POST, "/paper", &[FORM], body).problem(401, "not-signed-in");
}

#[test]
fn digits_that_came_over_a_connection_nobody_believes_yet_are_not_compared_with() {
    let server = Server::yard();
    let people = server.folder.path().join("people");
    std::fs::create_dir_all(&people).unwrap();
    let made = rcgen::generate_simple_self_signed(vec!["stores".to_owned()]).unwrap();
    std::fs::write(people.join("authority.pem"), made.cert.pem()).unwrap();
    let page = look(&server, "/authority", "").text;
    assert!(
        page.contains("at the server itself")
            && page.contains("On the device that is to believe it they prove nothing"),
        "{page}"
    );
}

#[test]
fn one_session_is_one_session() {
    let town = Town::new();
    town.invite("B-17", false);
    let act = || submit(&town.server, "/people", &town.admin, &[("do", "sign-out"), ("badge", "B-17")]).text;
    assert!(act().contains("1 session of B-17 was ended."));
    assert!(act().contains("0 sessions of B-17 were ended."));
}
