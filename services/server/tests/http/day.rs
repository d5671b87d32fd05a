//! The pages and answers by which the day is run: warnings, the calendar, what comes out of the cold, the handover.

use crate::browser::{signed_on, words};
use crate::yard::Server;
use serde_json::{Value, json};

/// R-42 is out since the yard's first half hour; a job is planned for the evening of the next day.
fn day() -> Server {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
    server
}

fn job(server: &Server, job: &str, mm: u64, lay_in_h: i64, oven_in_h: i64) {
    let at = |hours: i64| {
        let at = server.clock_ahead_ms(hours * 3_600_000);
        shared_types::Stamp { at, offset_s: 3600 }.to_string()
    };
    let body = json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": mm}],
                      "lay_at": at(lay_in_h), "oven_at": at(oven_in_h)});
    server.decide("open_job", &format!("job/{job}"), body);
}

#[test]
fn a_warning_says_who_does_what_by_when_and_stands_in_the_calendar() {
    let server = day();
    // 160 h of tack life, of which an hour was used when it came and a minute on the dock: 158 h 59 min are left.
    let list = server.get("/api/v1/warnings").json();
    let warning = &list["warnings"][0];
    assert_eq!(
        (&warning["who"], &warning["act"], &warning["left_s"]),
        (&json!("clerk"), &json!("put_away"), &json!(572_340))
    );
    assert!(warning["say"].as_str().unwrap().starts_with("Clerk: put R-42 away in F1 by "), "{warning}");
    assert_eq!(list["warnings"].as_array().unwrap().len(), 1);
    assert_eq!(server.get("/api/v1/warnings?within_h=157").json()["warnings"], json!([]));
    assert_eq!(server.get("/api/v1/warnings?material=PM-101").json()["warnings"].as_array().unwrap().len(), 1);

    let calendar = server.get("/api/v1/warnings.ics");
    let unfolded = calendar.text.replace("\r\n ", "");
    let described: Vec<&str> = unfolded.lines().filter(|line| line.starts_with("DESCRIPTION:")).collect();
    assert!(!described.is_empty() && described.iter().all(|line| line.contains(" 2026 ") && !line.contains("\\, in ")));
    assert!(described.iter().all(|line| line.contains(" Said ")), "an alarm is read hours later: {described:?}");
    assert_eq!((calendar.status, calendar.media.as_str()), (200, "text/calendar; charset=utf-8"));
    let events = parsed(&calendar.text);
    assert_eq!(events.len(), 1);
    let uid = |events: &[Event]| events[0].iter().find(|(name, _)| name == "UID").unwrap().1.clone();
    let first = uid(&events);
    server.pass(10);
    assert_eq!(uid(&parsed(&server.get("/api/v1/warnings.ics").text)), first, "the same warning is the same event");
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    assert_eq!(parsed(&server.get("/api/v1/warnings.ics").text).len(), 0, "what no longer holds is not there");
}

type Event = Vec<(String, String)>;

/// Read by a parser that is not ours, the `ical` crate. RFC 5545: section 3.6.1 says what an event has, 3.8.4.7 and 3.8.7.2
/// that UID and DTSTAMP are there once, 3.1 that lines end in CRLF and are folded at 75 octets.
fn parsed(text: &str) -> Vec<Event> {
    assert!(text.ends_with("END:VCALENDAR\r\n") && !text.replace("\r\n", "").contains(['\r', '\n']));
    assert!(text.split("\r\n").all(|line| line.len() <= 75), "{text}");
    let mut calendars: Vec<_> = ical::IcalParser::new(text.as_bytes()).collect::<Result<_, _>>().unwrap();
    assert_eq!(calendars.len(), 1);
    let calendar = calendars.remove(0);
    let value = |name: &str| calendar.properties.iter().find(|one| one.name == name).and_then(|one| one.value.clone());
    assert_eq!(value("VERSION").as_deref(), Some("2.0"));
    assert_eq!(value("REFRESH-INTERVAL").as_deref(), Some("PT15M"));
    assert!(value("PRODID").is_some() && value("METHOD").is_none());
    let events = calendar.events.into_iter().map(|event| {
        assert_eq!(event.alarms.len(), 1);
        let has = |name: &str| event.properties.iter().filter(|one| one.name == name).count();
        for name in ["UID", "DTSTAMP", "DTSTART", "SUMMARY", "DESCRIPTION"] {
            assert_eq!(has(name), 1, "{name}");
        }
        let named = event.properties.into_iter().map(|one| (one.name, one.value.unwrap_or_default()));
        let event: Event = named.collect();
        for (_, time) in event.iter().filter(|(name, _)| name == "DTSTAMP" || name == "DTSTART") {
            assert!(time.len() == 16 && time.ends_with('Z'), "{time}");
        }
        event
    });
    events.collect()
}

#[test]
fn what_comes_out_of_the_cold_is_listed_with_what_is_short() {
    let server = Server::yard();
    job(&server, "J-118", 60_000, 20, 24);
    let list = server.get("/api/v1/take-out-list").json();
    assert_eq!(list["lines"][0]["thing"], "roll/R-42");
    assert_eq!(list["lines"][0]["length_mm"], 50_000);
    assert_eq!(list["short"][0]["say"], "J-118 needs 60.0 m of PM-101; 50.0 m can be used.");
    let page = server.get("/take-out");
    assert!(page.text.contains("Warm-up time is not stated for <code>PM-101</code>"), "{}", page.text);
    assert!(page.text.contains("60.0 m") && page.text.contains("/thing/roll/R-42"));
    assert!(page.text.contains("data-head=\"out well before\""), "{}", page.text);
    // What is out already is not late for coming out.
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    let out = server.get("/take-out");
    assert!(out.text.contains("is out already") && !out.text.contains("data-head=\"out well before\""), "{}", out.text);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    let now = server.now().replace('+', "%2B");
    assert_eq!(server.get(&format!("/api/v1/take-out-list?until={now}")).json()["lines"], json!([]));
}

#[test]
fn a_shift_is_handed_over() {
    let server = day();
    let list = server.get("/api/v1/handover").json();
    assert_eq!(list["say"], "Still out by the book: 1. Scan each where it lies.");
    assert_eq!(list["out"][0]["place"], "CUT");
    let page = server.get("/handover");
    assert!(page.text.contains("Still out by the book: 1.") && page.text.contains("Nothing waits to be confirmed."));
}

#[test]
fn the_managers_morning_says_what_is_empty_too() {
    let server = Server::yard();
    let page = server.get("/today").text;
    for said in [
        "Nothing that was given, cut or laid is known to miss its plan.",
        "Nothing has to be cured tonight.",
        "Everything adds up.",
    ] {
        assert!(page.contains(said), "{said}");
    }
    let order =
        ["Will not make the oven", "In the oven tonight", "Shortest life first", "Not enough for the next two weeks"];
    let places: Vec<usize> = order.iter().map(|title| page.find(&format!("<h2>{title}</h2>")).unwrap()).collect();
    assert!(places.is_sorted());
    job(&server, "J-118", 60_000, 2, 4);
    server.pass(180);
    let page = server.get("/today").text;
    assert!(page.contains("Manager: plan <code>J-118</code> again."), "{page}");
    // What is overdue needs its material as much, and takes it before what is planned.
    let short =
        "<code>J-118</code> needs 60.0 m of <code>PM-101</code>; 50.0 m can be used. Its lay-up was planned Wed 08:31.";
    assert!(page.contains(short) && page.contains("was Wed 08:31"), "{page}");
    job(&server, "J-119", 10_000, 20, 24);
    assert!(
        server.get("/today").text.contains("<code>J-119</code> needs 10.0 m of <code>PM-101</code>; none can be used.")
    );
    assert_eq!(
        server.get("/api/v1/take-out-list").json()["short"],
        json!([]),
        "nothing is taken out for what is overdue"
    );
    // A weekday alone would read as the one to come.
    server.pass(2 * 24 * 60);
    assert!(server.get("/today").text.contains("was Wed 6 May 10:31"), "{}", server.get("/today").text);
}

#[test]
fn a_run_that_nobody_confirmed_stands_with_what_has_to_be_cured_tonight() {
    let server = day();
    job(&server, "J-118", 10_000, 2, 60);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 10_000}));
    let page = server.get("/today").text;
    assert!(page.contains("Nothing has to be cured tonight."), "{page}");
    server.fact("oven_run_started", "run/OR-1", json!({"oven": "OV-1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    let page = server.get("/today").text;
    assert!(page.contains("is in run <code>OR-1</code>, not confirmed yet. If that never started:"), "{page}");
    assert!(!page.contains("Nothing has to be cured tonight."), "{page}");
}

#[test]
fn what_is_held_is_not_sent_to_the_oven_tonight() {
    let server = day();
    job(&server, "J-118", 10_000, 2, 6);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 10_000}));
    server.decide("place_hold", "part/P-3", json!({"why": "a ply was turned"}));
    let list = server.get("/api/v1/handover").json();
    let waits = &list["waiting"][0];
    assert!(waits["heating_by"].is_null(), "{waits}");
    let page = server.get("/today").text;
    let said = "quality has to say first whether it may be cured. Held since";
    assert!(waits["say"].as_str().unwrap().contains(said) && page.contains(said), "{page}");
    assert!(!page.contains("Oven: have") && !page.contains("heating by Wed"), "{page}");
}

#[test]
fn a_mismatch_and_the_page_of_its_roll_say_the_same_since() {
    let server = Server::yard();
    server.pass(4 * 60);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(60);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    server.pass(8 * 24 * 60);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    let page = server.get("/thing/roll/R-42").text;
    assert!(page.contains("<code>R-42</code> is out since Wed 6 May 10:31."), "{page}");
    assert!(page.contains("It counts as out since Wed 6 May 2026 10:31."), "{page}");
}

#[test]
fn what_runs_out_is_a_page_a_form_and_a_table() {
    let server = day();
    let page = server.get("/runs-out?days=7&weeks=8&material=PM-101");
    assert!(page.text.contains("/runs-out.csv?days=7&#38;weeks=8&#38;material=PM-101"), "{}", page.text);
    assert!(page.text.contains("/thing/roll/R-42"));
    assert!(server.get("/runs-out?days=1").text.contains("no out-life within 1 day,"));
    let csv = server.get("/runs-out.csv");
    assert_eq!(csv.media, "text/csv; charset=utf-8; header=present");
    let mut rows = csv::Reader::from_reader(csv.text.as_bytes());
    let rows: Vec<csv::StringRecord> = rows.records().collect::<Result<_, _>>().unwrap();
    assert_eq!((rows.len(), &rows[0][1], &rows[0][3]), (1, "roll/R-42", "tack life"));
    assert_eq!((&rows[0][8], &rows[0][9]), ("clerk", "put_away"));
    // A file is read on another day: nothing in it is only true today.
    assert!(
        csv.text.contains("2026-05-") && !csv.text.contains(", in ") && !csv.text.contains("today"),
        "{}",
        csv.text
    );
    let rolls = server.get("/rolls.csv").text;
    assert!(rolls.contains("since Wed 6 May 2026") && !rolls.contains(", in "), "{rolls}");
    for sheet in ["history", "card"] {
        let text = server.get(&format!("/thing/roll/R-42?csv={sheet}")).text;
        assert!(text.contains("Wed 6 May 2026 06:"), "{text}");
    }
}

#[test]
fn what_is_to_be_done_is_said_once_for_the_limit_that_ends_first() {
    let server = day();
    let mut browser = signed_on(&server);
    // Tack life ends after 158 h 59 min, out-life 80 h later: both are of one putting away.
    let page = browser.get("/runs-out?days=20");
    assert_eq!(page.text.matches("Clerk: put").count(), 1, "{}", page.text);
    assert!(words(&page).contains("Its tack life ends"), "{}", words(&page));
    let both = server.get("/api/v1/warnings?within_h=480").json();
    assert_eq!(both["warnings"].as_array().unwrap().len(), 2, "{both}");
}

#[test]
fn what_can_not_be_read_is_a_problem_in_words() {
    let server = day();
    for asked in [
        "warnings?within_h=-1",
        "warnings?within_h=87601",
        "warnings?within_h=x",
        "warnings?within_h=",
        "warnings?job=J-404",
        "warnings?material=PM-404",
        "warnings?material=a%2Fb",
        "warnings?days=1",
        "warnings?at=yesterday",
        "warnings?known=9999999",
        "warnings.ics?shelf_within_h=1e9",
        "take-out-list?until=soon",
        "handover?within_h=1",
    ] {
        server.get(&format!("/api/v1/{asked}")).problem(400, "cannot-read");
    }
    for asked in ["/runs-out?days=521", "/runs-out?weeks=-1", "/runs-out.csv?job=J-404", "/take-out?x=1", "/today?at=1"]
    {
        assert_eq!(server.get(asked).status, 400, "{asked}");
    }
    let far = "at=9999-12-31T23:59:59.999%2B00:00";
    for asked in ["warnings", "warnings.ics", "take-out-list", "handover"] {
        assert_eq!(server.get(&format!("/api/v1/{asked}?{far}")).status, 200, "{asked}");
        assert_eq!(server.get(&format!("/api/v1/{asked}?at=0000-01-01T00:00:00Z")).status, 200, "{asked}");
    }
    assert_eq!(server.get(&format!("/today?{far}")).status, 200);
}

#[test]
fn a_moment_is_asked_for_as_people_write_it() {
    let server = day();
    server.pass(60);
    for page in ["today", "runs-out", "take-out", "handover", "rolls", "jobs", "places", "rolls.csv", "runs-out.csv"] {
        for at in ["2026-05-06+06:20", "2026-05-06T06:20:00%2B01:00", "2026-05-06T06:20:00+01:00", "", "+"] {
            assert_eq!(server.get(&format!("/{page}?at={at}")).status, 200, "/{page}?at={at}");
        }
        for at in ["soon", "2026-02-31+06:20", "1"] {
            assert_eq!(server.get(&format!("/{page}?at={at}")).status, 400, "/{page}?at={at}");
        }
    }
    // R-42 was still in the cold then.
    let then = server.get("/rolls?at=2026-05-06+06:20");
    assert!(
        then.text.contains("in F1 since Wed 06:01") && then.text.contains("as of Wed 6 May 2026 06:20"),
        "{}",
        then.text
    );
    assert!(
        then.text.contains("/rolls.csv?at=2026-05-06%2006%3A20") && then.text.contains("name=\"at\" value="),
        "{}",
        then.text
    );
    assert!(server.get("/rolls.csv?at=2026-05-06+06:20").text.contains("in F1 since"));
    assert!(server.get("/rolls").text.contains("out in CUT since Wed 06:31"));
    assert_eq!(server.get("/take-out?until=2026-05-08+06:00").status, 200);
    assert_eq!(server.get("/take-out?until=soon").status, 400);
}

#[test]
fn a_yard_declares_when_it_is_closed() {
    let server = day();
    let yard = json!({"zone": "Europe/Lisbon", "spare_s": 1800, "on_call": "4711", "closed_weekdays": ["saturday", "sunday"],
                      "closed_on": ["2026-05-11", "2026-08"], "shift_start": "06:00", "shift_end": "22:00"});
    assert_eq!(server.decide("declare_yard", "yard/YARD", yard.clone())["kind"], "yard_declared.v2");
    assert_eq!(server.get("/api/v1/things/yard/YARD").json()["declared"], yard);
    for (field, bad) in [
        ("closed_weekdays", json!(["caturday"])),
        ("closed_weekdays", json!("sunday")),
        ("closed_on", json!(["2026-02-30"])),
        ("shift_end", json!("24:00")),
        ("shift_start", json!(["06:00"])),
    ] {
        let mut body: Value = yard.clone();
        body[field] = bad;
        server
            .post("/api/v1/decisions", &server.decision_now("declare_yard", "yard/YARD", body))
            .problem(400, "cannot-read");
    }
}
