//! A day on paper: one sheet, entered afterwards by two.

use crate::browser::{Browser, Form, signed_on, words};
use crate::people::town::Town;
use crate::receive::{entry, says};
use crate::yard::{Said, Server};
use serde_json::json;

fn sheet(page: &Said) -> Form {
    let id = page.text.split("name=\"id\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    Form { action: "/paper".to_owned(), fields: vec![("id".to_owned(), id)] }
}

const OUT: [(&str, &str); 4] = [("time1", "08:00"), ("what1", "out"), ("code1", "r-42"), ("place1", "f1")];
const IN: [(&str, &str); 4] = [("time2", "12:30"), ("what2", "in"), ("code2", "R-42"), ("place2", "F1")];
const DAY: (&str, &str) = ("day", "2026-05-06");
const TWO: [(&str, &str); 2] = [("by", "B-17"), ("second", "B-05")];

fn with<'a>(more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    [&OUT[..], &IN[..], &[DAY], more].concat()
}

#[test]
fn a_sheet_of_a_day_without_the_server_counts_as_confirmed_once_two_have_entered_it() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    server.pass(24 * 60);
    let empty = browser.get("/paper");
    says(&empty, "A day on paper");
    let form = sheet(&empty);
    let before = server.last_seq();
    let done = browser.post(&form, &with(&TWO));
    says(&done, "2 lines are in the log.");
    says(&done, "Wed 6 May 2026 08:00: R-42 taken out of F1");
    assert_eq!(server.last_seq(), before + 2);
    let (out, back) = (entry(&server, 1), entry(&server, 0));
    assert_eq!((&out["kind"], &back["kind"]), (&json!("roll_taken_out.v1"), &json!("roll_put_away.v1")));
    assert_eq!(
        (&out["told"], &out["second"]["by"], &out["uncertain_by_ms"]),
        (&json!(true), &json!("B-05"), &json!(60_000))
    );
    // An hour on its certificate, a minute until it was put away, 4 h 30 min by the sheet, and a minute at either end that
    // a watch and a pen may be wrong by; the number of the line is in its milliseconds.
    let card = server.get("/api/v1/things/roll/R-42").json();
    assert_eq!(card["whereabouts"]["state"], "inside", "{card}");
    let so_far = card["limits"].as_array().unwrap().iter().find(|row| row["limit"] == "out_life").unwrap();
    assert_eq!(so_far["so_far_s"], json!(3_600 + 60 + 4 * 3_600 + 1_800 + 2 * 60 + 1), "{card}");
    says(&browser.get("/confirm"), "Nothing waits to be confirmed.");
    // Sent again it is written once; with another line under the same number it is not written.
    says(&browser.post(&form, &with(&TWO)), "2 lines are in the log.");
    let changed: Vec<(&str, &str)> =
        with(&TWO).into_iter().map(|(name, value)| (name, if name == "time2" { "11:00" } else { value })).collect();
    let refused = browser.post(&form, &changed);
    assert_eq!((refused.status, server.last_seq()), (409, before + 2), "{}", words(&refused));
    assert_eq!(browser.get("/paper?sheet=none").status, 400);
}

#[test]
fn everything_that_is_wrong_with_a_sheet_is_said_at_once_and_nothing_of_it_is_written() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let form = sheet(&browser.get("/paper"));
    let before = server.last_seq();
    let wrong = [
        ("day", "2026-05-06"),
        ("time1", "25:00"),
        ("what1", "out"),
        ("code1", "R-42"),
        ("time2", "06:40"),
        ("code2", "CUT"),
        ("place2", "F1"),
        ("time3", "06:41"),
        ("what3", "in"),
        ("code3", "R-99"),
        ("place3", "F9"),
        ("time4", "23:00"),
        ("what4", "seen"),
        ("code4", "R-42"),
        ("by", "B-17"),
        ("second", "b-17"),
    ];
    let said = browser.post(&form, &wrong);
    assert_eq!((said.status, server.last_seq()), (400, before));
    for sentence in [
        "Line 1: \u{201c}",
        "Line 2: Say what happened: taken out, put away or seen.",
        "Line 2: CUT is a place. A sheet has rolls and kits.",
        "Line 3: Nobody has received R-99. If it is there all the same, write roll/R-99 or kit/R-99.",
        "Line 3: Nobody has declared a place F9.",
        "Line 4: That is still to come. A sheet says what happened.",
        "Line 4: Say where.",
        "The second badge is yours too.",
    ] {
        let sentence = sentence.replace('\u{201c}', "");
        says(&said, &sentence);
    }
    // What was typed stands there again.
    assert!(said.text.contains("value=\"R-99\"") && said.text.contains("value=\"06:41\""));
    for (fields, sentence) in [
        (vec![DAY, TWO[0], TWO[1]], "No line is filled in."),
        (with(&[("by", "B-17"), ("second", "")]), "A sheet is entered by two: scan the second person"),
    ] {
        let said = browser.post(&form, &fields);
        assert_eq!((said.status, server.last_seq()), (400, before));
        says(&said, sentence);
    }
    // A roll that nobody received is written down all the same, once its kind is named.
    let named = [DAY, ("time1", "06:10"), ("what1", "seen"), ("code1", "roll/R-99"), ("place1", "CUT"), TWO[0], TWO[1]];
    says(&browser.post(&form, &named), "R-99 seen in CUT");
    assert_eq!(server.last_seq(), before + 1);
}

#[test]
fn where_people_sign_in_the_second_of_a_sheet_shows_their_badge() {
    let town = Town::new();
    let cookie = town.invite("B-17", false);
    let early = |name, text| match name {
        "time1" => (name, "06:05"),
        "time2" => (name, "06:20"),
        _ => (name, text),
    };
    let lines =
        |second| with(&[("second", second)]).into_iter().map(|(name, text)| early(name, text)).collect::<Vec<_>>();
    let mut browser = Browser { server: &town.server, cookie };
    let form = sheet(&browser.get("/paper"));
    let before = town.server.last_seq();
    let claimed = browser.post(&form, &lines("Q-03"));
    assert_eq!((claimed.status, town.server.last_seq()), (400, before));
    says(&claimed, "Q-03 has not shown that they stand beside you.");
    let symbol = town.badge("Q-03");
    let before = town.server.last_seq();
    says(&browser.post(&form, &lines(&symbol)), "2 lines are in the log.");
    let lines = town.entries("roll_taken_out");
    assert_eq!(
        (&lines[0]["by_known"], &lines[0]["second"]["by_known"]),
        (&json!("password"), &json!("badge")),
        "{lines:?}"
    );
    assert!(before + 2 <= town.server.last_seq());
}
