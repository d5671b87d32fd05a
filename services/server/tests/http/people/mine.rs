//! What people look after themselves: where they are signed in, their factors, and addresses of the calendar.

use super::{
    pages::{between, look, submit},
    town::Town,
};
use reqwest::Method;
use serde_json::{Value, json};

fn sessions(town: &Town, cookie: &str) -> Vec<Value> {
    let said = town.get_as(("cookie", cookie), "/api/v1/me/sessions");
    assert_eq!(said.status, 200, "{}", said.text);
    said.json()["sessions"].as_array().unwrap().clone()
}

#[test]
fn everybody_sees_where_they_are_signed_in_and_ends_one_of_their_own() {
    let town = Town::new();
    let desk = town.invite("B-17", false);
    town.server.pass(1);
    let on_device = town.scan_on(&town.device("H-3"), &town.badge("B-17"));
    let all = sessions(&town, &desk);
    let seen: Vec<[&Value; 3]> = all.iter().map(|one| [&one["known"], &one["device"], &one["this"]]).collect();
    assert_eq!(
        seen,
        [[&json!("badge"), &json!("H-3"), &json!(false)], [&json!("password"), &json!(null), &json!(true)]]
    );
    let token = desk.split('=').nth(1).unwrap();
    assert!(!all.iter().any(|one| one.to_string().contains(token)), "a session's name is its token");
    // Nobody ends another's.
    let end = |cookie: &str, session: &Value| {
        town.post_as(("cookie", cookie), "/api/v1/me/sessions/end", &json!({ "session": session }))
    };
    end(&town.admin, &all[0]["session"]).problem(404, "not-found");
    assert_eq!(town.get_as(("cookie", &on_device), "/api/v1/me").json()["badge"], "B-17");
    assert_eq!(end(&desk, &all[0]["session"]).status, 200);
    assert_eq!(town.get_as(("cookie", &on_device), "/api/v1/me").json()["badge"], "?");
    assert_eq!(sessions(&town, &desk).len(), 1);
    // With forms alone, and also the one that asks.
    let page = look(&town.server, "/sessions", &desk).text;
    assert!(page.contains("a desk, this one"), "{page}");
    let own = between(&page, "name=\"session\" value=\"", "\"");
    assert_eq!(submit(&town.server, "/sessions", &desk, &[("session", own)]).status, 303);
    town.get_as(("cookie", &desk), "/api/v1/me").problem(401, "not-signed-in");
}

#[test]
fn a_new_password_or_another_factor_ends_the_sessions_before() {
    let town = Town::new();
    let me = |cookie: &str| town.get_as(("cookie", cookie), "/api/v1/me").status;
    let (first, other) = (town.invite("B-17", false), town.invite("Q-03", true));
    let second = town.sign_in("B-17");
    assert_eq!([&first, &second, &other].map(|cookie| me(cookie)), [200; 3]);
    // Another password: whoever forgot theirs is invited again.
    let third = town.invite("B-17", false);
    assert_eq!([&first, &second, &third, &other].map(|cookie| me(cookie)), [401, 401, 200, 200]);
    // One-time codes are set up: what was begun without them ends too.
    let fourth = town.invite("B-17", true);
    assert_eq!([&third, &fourth, &other].map(|cookie| me(cookie)), [401, 200, 200]);
    // Another badge to scan: what the old one began ends, what a password began stays.
    let device = town.device("H-3");
    let old = town.badge("B-17");
    let on_device = town.scan_on(&device, &old);
    town.badge("B-17");
    assert_eq!(town.get_as(("cookie", &on_device), "/api/v1/me").json()["badge"], "?");
    assert_eq!(me(&fourth), 200);
    let again = json!({ "symbol": old });
    town.post_as(("cookie", &format!("device={device}")), "/api/v1/sign-in", &again).problem(401, "not-signed-in");
}

#[test]
fn a_calendar_program_reads_that_calendar_alone_until_it_is_taken_back() {
    let town = Town::with(false, |server| {
        server.fill_yard();
        server.decide("place_hold", "roll/R-42", json!({"why": "torn by Rui at the dock"}));
        let out = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
        server.post("/api/v1/entries", &json!({"entries": [out]}));
    });
    let supervisor = town.invite("B-17", false);
    let made = town.post_as(("cookie", &supervisor), "/api/v1/feeds", &json!({"name": "office calendar"}));
    assert_eq!(made.status, 201, "{}", made.text);
    let (address, feed) = (made.json()["address"].as_str().unwrap().to_owned(), made.json()["feed"].clone());
    let asked = town.server.get(&address);
    assert_eq!((asked.status, asked.media.as_str()), (200, "text/calendar; charset=utf-8"), "{}", asked.text);
    assert_eq!(
        (&asked.headers["referrer-policy"], &asked.headers["cache-control"]),
        (&"no-referrer".parse().unwrap(), &"no-store".parse().unwrap())
    );
    assert!(asked.text.starts_with("BEGIN:VCALENDAR\r\n") && asked.text.contains("BEGIN:VEVENT"), "{}", asked.text);
    let whole = town.get_as(("cookie", &supervisor), "/api/v1/warnings.ics").text;
    assert_eq!(whole, asked.text);
    for name in ["Rui", "Example", "B-17", "Q-03", "A-1"] {
        assert!(!asked.text.contains(name), "{name}: {}", asked.text);
    }
    assert_eq!(town.server.get(&format!("{address}?material=PM-101")).status, 200);
    // It reads no other time, and opens nothing else.
    town.server.get(&format!("{address}?known=3")).problem(400, "cannot-read");
    let token = between(&address, "/feeds/", "/").to_owned();
    let bearer = format!("Bearer {token}");
    for path in ["/api/v1/warnings.ics", "/api/v1/warnings", "/api/v1/rolls", "/api/v1/me", "/api/v1/feeds"] {
        town.get_as(("authorization", &bearer), path).problem(401, "not-signed-in");
    }
    town.server.send(Method::POST, &address, &[], Vec::new()).problem(405, "no-such-operation");
    town.server.get(&address.replace("rmc_", "rmc_A")).problem(404, "not-found");
    // What is kept does not open it, and it is not shown again.
    let kept = std::fs::read_to_string(town.server.folder.path().join("people/people.json")).unwrap();
    let list = town.get_as(("cookie", &supervisor), "/api/v1/feeds");
    assert!(!kept.contains(&token) && !list.text.contains(&token));
    assert_eq!(
        (&list.json()["feeds"][0]["feed"], &list.json()["feeds"][0]["name"]),
        (&feed, &json!("office calendar"))
    );
    // Nobody else takes it back.
    let body = json!({ "feed": feed });
    town.post_as(("cookie", &town.admin), "/api/v1/feeds/revoke", &body).problem(404, "not-found");
    assert_eq!(town.post_as(("cookie", &supervisor), "/api/v1/feeds/revoke", &body).status, 200);
    town.server.get(&address).problem(404, "not-found");
}

#[test]
fn an_address_of_the_calendar_is_asked_seldom_and_ends_with_its_persons_roles() {
    let town = Town::new();
    let person = town.invite("B-99", false);
    let make = || town.post_as(("cookie", &person), "/api/v1/feeds", &json!({"name": "desk"}));
    let address = make().json()["address"].as_str().unwrap().to_owned();
    let asked: Vec<u16> = (0..8).map(|_| town.server.get(&address).status).collect();
    assert_eq!(asked, [200, 200, 200, 200, 200, 200, 429, 429]);
    let late = town.server.get(&address);
    late.problem(429, "quota-exceeded");
    assert_eq!(late.headers["retry-after"], "11");
    town.server.pass(1);
    assert_eq!(town.server.get(&address).status, 200);
    let more: Vec<u16> = (0..10).map(|_| make().status).collect();
    assert_eq!(more, [201, 201, 201, 201, 201, 201, 201, 201, 201, 403]);
    town.grant("B-99", json!({"roles": []}));
    town.server.get(&address).problem(404, "not-found");
    town.grant("B-99", json!({"roles": ["reader"]}));
    assert_eq!(town.server.get(&address).status, 200);
    town.as_admin("/api/v1/people/withdraw", &json!({"badge": "B-99"}));
    town.server.get(&address).problem(404, "not-found");
}

#[test]
fn the_token_of_an_address_stands_in_no_entry() {
    let town = Town::new();
    let (token, _) = town.token(&["facts"]);
    let made = town.as_admin("/api/v1/feeds", &json!({"name": "desk"}));
    let address = made["address"].as_str().unwrap().replace("warnings.ics", "other.ics");
    for address in [address.clone(), address.replace("rmc_", "%72mc_")] {
        town.get_as(("authorization", &token), &address).problem(403, "not-allowed");
    }
    let log = town.get_as(("cookie", &town.admin), "/api/v1/entries").text;
    assert!(log.contains("right_refused") && !log.contains("mc_"), "{log}");
}

#[test]
fn an_address_is_made_and_taken_back_with_forms_alone() {
    let town = Town::new();
    assert!(look(&town.server, "/runs-out", &town.admin).text.contains("href=\"/calendar\""));
    let nameless = submit(&town.server, "/calendar", &town.admin, &[("name", " ")]);
    assert!(nameless.status == 400 && nameless.text.contains("a name has 1 to 80 characters"), "{}", nameless.text);
    let made = submit(&town.server, "/calendar", &town.admin, &[("name", "office")]);
    let shown = between(&made.text, "<p class=\"code-letters\"><code>", "</code>").to_owned();
    assert!(shown.starts_with(&format!("http://{}/api/v1/feeds/rmc_", town.server.address())), "{shown}");
    let address = shown.split_once("/api/").map(|(_, path)| format!("/api/{path}")).unwrap();
    assert_eq!(town.server.get(&address).status, 200);
    let page = look(&town.server, "/calendar", &town.admin).text;
    assert!(page.contains("office") && !page.contains("rmc_"), "{page}");
    let feed = between(&page, "name=\"feed\" value=\"", "\"");
    submit(&town.server, "/calendar", &town.admin, &[("feed", feed)]);
    town.server.get(&address).problem(404, "not-found");
}
