//! Lists: filters, cursors that stay at the moment of their first page, pages and CSV.

use crate::yard::{Said, Server};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use reqwest::Method;
use serde_json::{Value, json};

/// A yard with so many more rolls, every third of which is out.
fn yard(rolls: usize) -> Server {
    let server = Server::yard();
    for number in 0..rolls {
        let roll = format!("roll/X-{number:03}");
        server.receive(&format!("X-{number:03}"));
        if number % 3 == 0 {
            server.fact("roll_taken_out", &roll, json!({"from": "F1", "to": "CUT"}));
        }
    }
    server
}

/// As a browser asks.
fn shown(server: &Server, path: &str) -> Said {
    server.send(Method::GET, path, &[("accept", "text/html")], Vec::new())
}

fn codes(page: &Value) -> Vec<String> {
    let code = |row: &Value| row["thing"].as_str().unwrap().split_once('/').unwrap().1.to_owned();
    page["items"].as_array().unwrap().iter().map(code).collect()
}

/// Every row of a list, by following `next`.
fn followed(server: &Server, first: &str) -> Vec<String> {
    let (mut all, mut next) = (Vec::new(), Some(first.to_owned()));
    while let Some(path) = next {
        let said = server.get(&path);
        assert_eq!(said.status, 200, "{path}: {}", said.text);
        let page = said.json();
        all.extend(codes(&page));
        next = page["next"].as_str().map(str::to_owned);
        let link = said.headers.get("link").map(|link| link.to_str().unwrap().to_owned());
        assert_eq!(link, next.as_ref().map(|next| format!("<{next}>; rel=\"next\"")));
    }
    all
}

#[test]
fn pages_one_after_another_are_the_whole_list_once_whatever_is_written_meanwhile() {
    let server = yard(25);
    let whole = codes(&server.get("/api/v1/rolls?limit=200").json());
    assert!(whole.is_sorted() && whole.len() >= 26, "{whole:?}");
    assert_eq!(followed(&server, "/api/v1/rolls?limit=7"), whole);
    assert_eq!(followed(&server, "/api/v1/rolls?limit=1"), whole);

    let first = server.get("/api/v1/rolls?limit=10").json();
    server.fact(
        "roll_received",
        "roll/X-0100",
        json!({"material": "PM-101", "revision": "3", "batch": "B-123", "length_mm": 5000}),
    );
    server.fact("roll_taken_out", "roll/X-024", json!({"from": "F1"}));
    let rest = followed(&server, first["next"].as_str().unwrap());
    assert_eq!([codes(&first), rest].concat(), whole);
    let second = server.get(first["next"].as_str().unwrap()).json();
    assert_eq!((&second["at"], &second["as_of_seq"]), (&first["at"], &first["as_of_seq"]));
    assert_eq!(codes(&server.get("/api/v1/rolls?limit=200").json()).len(), whole.len() + 1);
}

#[test]
fn filters_ask_for_what_a_row_says() {
    let server = yard(9);
    server.decide("place_hold", "roll/X-004", json!({"why": "its label can't be read"}));
    let of = |filter: &str| codes(&server.get(&format!("/api/v1/rolls?limit=200&{filter}")).json());
    let out = of("state=out");
    assert!(["X-000", "X-003", "X-006"].iter().all(|code| out.contains(&(*code).to_owned())), "{out:?}");
    assert_eq!(of("held=true"), ["X-004"]);
    assert!(!of("held=false").contains(&"X-004".to_owned()));
    assert_eq!(of("place=F1&state=inside").len() + of("state=out").len(), of("material=PM-101").len());
    assert_eq!(of("material=PM-999"), Vec::<String>::new());
    assert_eq!(of("batch=b-123"), of("material=PM-101"));
    let row = &server.get("/api/v1/rolls?place=F1&limit=1").json()["items"][0];
    assert_eq!((&row["whereabouts"]["place"], &row["material"]), (&json!("F1"), &json!("PM-101")));
    assert!(row["ends_first"]["limit"].is_string(), "{row}");
    assert!(!codes(&server.get("/api/v1/places?frozen=true").json()).contains(&"CUT".to_owned()));
}

/// What the rows of a page or of its CSV begin with.
fn in_order<'a>(text: &str, codes: &[&'a str]) -> Vec<&'a str> {
    let mut found: Vec<(usize, &str)> = codes
        .iter()
        .filter_map(|code| {
            Some((text.find(&format!("roll/{code}\"")).or_else(|| text.find(&format!("roll,{code},")))?, *code))
        })
        .collect();
    found.sort_unstable();
    found.into_iter().map(|(_, code)| code).collect()
}

#[test]
fn codes_stand_as_people_count_on_pages_in_csv_and_over_cursors() {
    let server = Server::yard();
    for code in ["X-10", "X-2", "X-1", "X-02", "X-9"] {
        server.receive(code);
    }
    let expected = ["R-42", "X-1", "X-02", "X-2", "X-9", "X-10"];
    assert_eq!(followed(&server, "/api/v1/rolls?limit=1"), expected);
    assert_eq!(codes(&server.get("/api/v1/rolls").json()), expected);
    for path in ["/rolls", "/rolls.csv"] {
        assert_eq!(in_order(&server.get(path).text, &expected), expected, "{path}");
    }
}

#[test]
fn people_are_shown_what_there_is_and_can_ask_for_the_rest() {
    let server = Server::yard();
    for code in ["A-1", "A-2", "A-3"] {
        server.receive(code);
    }
    server.fact("disposed", "roll/A-1", json!({"why": "left over"}));
    let all = ["A-1", "A-2", "A-3", "R-42"];
    let page = server.get("/rolls?material=PM-101").text;
    assert_eq!(in_order(&page, &all), all[1..]);
    assert_eq!(in_order(&server.get("/rolls.csv").text, &all), all[1..]);
    let link = "/rolls?material=PM-101&#38;state=all";
    assert!(page.contains(&format!("href=\"{link}\">also used up and thrown away")), "{page}");
    let every = server.get("/rolls?material=PM-101&state=all").text;
    assert_eq!(in_order(&every, &all), all);
    assert!(!every.contains(">also used up and thrown away</a>"));
    assert!(every.contains("href=\"/rolls.csv?material=PM-101&#38;state=all\""), "{every}");
    // Page after page it stays what was asked for.
    for (first, expected) in [("/rolls?limit=2&state=all", &all[..]), ("/rolls?limit=1", &all[1..])] {
        let (mut seen, mut next) = (Vec::new(), Some(first.to_owned()));
        while let Some(path) = next {
            let said = server.get(&path);
            assert_eq!(said.status, 200, "{path}: {}", said.text);
            seen.extend(in_order(&said.text, &all));
            let link = said
                .text
                .split("<a href=\"")
                .find(|rest| rest.contains("\">Next page</a>") && rest.starts_with("/rolls?"));
            next = link.and_then(|rest| Some(rest.split_once('"')?.0.replace("&#38;", "&")));
        }
        assert_eq!(seen, expected, "{first}");
    }
    // The other door is as it was.
    assert_eq!(codes(&server.get("/api/v1/rolls").json()), all);
    assert_eq!(in_order(&server.get("/rolls?state=disposed").text, &all), ["A-1"]);
}

#[test]
fn a_job_shows_its_plan_and_what_was_cut_for_it() {
    let server = Server::yard();
    let job = json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 12000}],
                     "lay_at": "2026-05-06T16:00:00.000+01:00", "oven_at": "2026-05-06T20:00:00.000+01:00", "boat": "118"});
    server.decide("open_job", "job/J-118", job);
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
    let kits = json!([{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 9000}]}]);
    server.fact("nest_cut", "nest/N-7", json!({"kits": kits}));
    let row = server.get("/api/v1/jobs?boat=118").json()["items"][0].clone();
    assert_eq!(row["planned"]["needs"], json!([{"material": "PM-101", "length_mm": 12000, "cut_mm": 9000}]));
    assert_eq!(row["planned"]["issued"], json!(["kit/K-5"]));
    assert_eq!(row["whereabouts"]["state"], "nothing_laid");
    assert_eq!(server.get("/api/v1/kits?job=J-118").json()["items"][0]["jobs"], json!(["J-118"]));
    assert_eq!(server.get("/api/v1/parts?job=J-118").json()["items"][0]["thing"], "part/P-3");
    let page = server.get("/jobs").text;
    assert!(page.contains("<code>PM-101</code>: 9.0 m cut, 12.0 m planned"), "{page}");
}

#[test]
fn what_no_list_can_answer_is_said_in_words() {
    let server = yard(3);
    let next = server.get("/api/v1/rolls?limit=1").json()["next"].as_str().unwrap().to_owned();
    let cursor = next.split_once("cursor=").unwrap().1;
    for path in [
        format!("/api/v1/rolls?state=out&cursor={cursor}"),
        format!("/api/v1/kits?cursor={cursor}"),
        format!("/api/v1/rolls?cursor={cursor}&known=3"),
        format!("/api/v1/rolls?cursor={}", &cursor[..cursor.len() - 3]),
        // Made by hand: a moment outside of every calendar, and one that was never known.
        format!("/api/v1/rolls?cursor={}", altered(cursor, "at", json!(1_000_000_000_000_000_000_i64))),
        format!("/api/v1/rolls?cursor={}", altered(cursor, "at", json!(-1_000_000_000_000_000_000_i64))),
        format!("/api/v1/rolls?cursor={}", altered(cursor, "at", json!(i64::MAX))),
        format!("/api/v1/rolls?cursor={}", altered(cursor, "known", json!(9_999))),
        format!("/api/v1/rolls?cursor={}", altered(cursor, "after", json!("R-42"))),
        "/api/v1/rolls?cursor=!".to_owned(),
        "/api/v1/rolls?limit=0".to_owned(),
        "/api/v1/rolls?limit=-1".to_owned(),
        "/api/v1/rolls?limit=ten".to_owned(),
        "/api/v1/rolls?state=melted".to_owned(),
        "/api/v1/rolls?colour=red".to_owned(),
        "/api/v1/rolls?held=perhaps".to_owned(),
        "/api/v1/rolls?known=99999".to_owned(),
        format!("/api/v1/rolls?material={}", "X".repeat(10_000)),
        "/rolls.csv?colour=red".to_owned(),
    ] {
        server.get(&path).problem(400, "cannot-read");
    }
    for path in ["/rolls?colour=red", "/rolls?limit=-1", "/rolls?state=melted", "/rolls?cursor=x"] {
        let said = shown(&server, path);
        assert_eq!(said.status, 400, "{path}");
        assert!(said.text.contains("role=\"alert\""), "{}", said.text);
    }
    assert_eq!(server.get("/api/v1/rolls?limit=100000").status, 200);
    assert_eq!(server.send(Method::POST, "/api/v1/rolls", &[], Vec::new()).headers["allow"], "GET, HEAD");
    assert_eq!(server.send(Method::HEAD, "/api/v1/rolls", &[], Vec::new()).status, 200);
    assert_eq!(server.send(Method::HEAD, "/rolls", &[], Vec::new()).status, 200);
}

#[test]
fn every_list_is_a_page_and_a_csv_with_a_row_a_thing() {
    let server = yard(5);
    server.fact(
        "roll_received",
        "roll/=1+1",
        json!({"material": "PM-101", "revision": "3", "batch": "B-123", "length_mm": 5000}),
    );
    let head = |list: &str| server.get(&format!("/{list}.csv")).text.lines().next().unwrap_or_default().to_owned();
    assert_eq!(
        ["boats", "batches", "materials", "places"].map(head),
        [
            "kind,code,its list,to look at",
            "kind,code,made,to look at",
            "kind,code,what it is,to look at",
            "kind,code,what it is,to look at",
        ]
    );
    for list in ["rolls", "kits", "parts", "boats", "jobs", "batches", "materials", "places"] {
        let page = shown(&server, &format!("/{list}"));
        assert_eq!(page.status, 200, "{}", page.text);
        assert_eq!(page.text.matches("<h1").count(), 1);
        let csv = server.get(&format!("/{list}.csv"));
        assert!(csv.media.starts_with("text/csv"), "{}", csv.media);
        let mut read = csv::Reader::from_reader(csv.text.as_bytes());
        let rows: Vec<csv::StringRecord> = read.records().map(Result::unwrap).collect();
        let all = codes(&server.get(&format!("/api/v1/{list}?limit=200")).json());
        assert_eq!(rows.len(), all.len(), "{list}");
        for (row, code) in rows.iter().zip(&all) {
            assert_eq!(row[1].trim_start_matches('\''), code);
        }
    }
    assert!(server.get("/rolls.csv").text.contains("roll,'=1+1,"));
    let filtered = shown(&server, "/rolls?state=out&material=&held=");
    assert!(filtered.text.contains("X-003") && !filtered.text.contains("X-001"), "{}", filtered.text);
}

/// The cursor with another value of one of its members.
fn altered(cursor: &str, member: &str, value: Value) -> String {
    let mut held: Value = serde_json::from_slice(&URL_SAFE_NO_PAD.decode(cursor).unwrap()).unwrap();
    assert!(!held[member].is_null());
    held[member] = value;
    URL_SAFE_NO_PAD.encode(held.to_string())
}

#[test]
fn deliveries_are_a_list_of_what_their_notes_say_against_what_was_received() {
    let server = Server::yard();
    server.fact("delivery_arrived", "delivery/DN-7", json!({"rolls": ["X-1", "X-2", "X-3"]}));
    server.fact("delivery_arrived", "delivery/DN-8", json!({"rolls": ["X-4"]}));
    let before = server.last_seq();
    server.receive("X-1");
    server.receive("X-3");
    server.receive("X-4");
    server.decide("place_hold", "delivery/DN-9", json!({"why": "its truck was warm"}));
    assert_eq!(followed(&server, "/api/v1/deliveries?limit=1"), ["DN-7", "DN-8", "DN-9"]);
    let rows = server.get("/api/v1/deliveries").json()["items"].clone();
    let came = &rows[0]["delivered"];
    assert_eq!(
        came["note"],
        json!({"noted": 3, "received": ["roll/X-1", "roll/X-3"], "missing": ["roll/X-2"]}),
        "{came}"
    );
    assert_eq!(
        (&came["materials"], &came["arrived_at"]),
        (&json!(["PM-101"]), &json!("2026-05-06T06:31:00.000+01:00"))
    );
    assert_eq!((&rows[2]["delivered"], rows[2]["holds"].as_array().map(Vec::len)), (&Value::Null, Some(1)));
    let of = |filter: &str| codes(&server.get(&format!("/api/v1/deliveries?{filter}")).json());
    assert_eq!(of("missing=true"), ["DN-7"]);
    assert_eq!(of("missing=false"), ["DN-8"]);
    assert_eq!(of("held=true"), ["DN-9"]);
    assert_eq!(of("material=PM-101"), ["DN-7", "DN-8"]);
    assert_eq!(of("material=PM-999"), Vec::<String>::new());
    // As known before anything of it was received: all of it is missing, and nobody knows of what it is.
    assert_eq!(of(&format!("missing=true&known={before}")), ["DN-7", "DN-8"]);
    assert_eq!(of(&format!("material=PM-101&known={before}")), Vec::<String>::new());
    server.get("/api/v1/deliveries?state=out").problem(400, "cannot-read");
    let first = server.get("/api/v1/deliveries?missing=true&limit=1").json()["next"].clone();
    let other = first.as_str().unwrap().replace("missing=true", "missing=false");
    let said = server.get(&other).problem(400, "cannot-read");
    assert_eq!(said["detail"], "The cursor belongs to other filters. Begin the list again without one.");

    let csv = server.get("/deliveries.csv");
    assert_eq!(csv.media, "text/csv; charset=utf-8; header=present");
    let lines: Vec<&str> = csv.text.lines().collect();
    assert_eq!(lines[0], "kind,code,came,material,on the note,received,missing,to look at");
    assert_eq!(lines[1], "delivery,DN-7,Wed 6 May 2026 06:31,PM-101,3,2,X-2,");
    assert_eq!(lines[3], "delivery,DN-9,no note,,,,,held");
    let page = shown(&server, &format!("/deliveries?known={before}")).text;
    assert!(page.contains(&format!("href=\"/deliveries.csv?known={before}\"")), "{page}");
}

/// What it holds is in the words of the address, so that it is read by another build of the same version.
#[test]
fn a_cursor_holds_its_filters_as_the_address_has_them() {
    let server = yard(4);
    let next = server.get("/api/v1/rolls?held=false&limit=1").json()["next"].as_str().unwrap().to_owned();
    let cursor = next.split("cursor=").nth(1).unwrap();
    let held: Value = serde_json::from_slice(&URL_SAFE_NO_PAD.decode(cursor).unwrap()).unwrap();
    assert_eq!(held["filter"], "held=false");
}
