//! A thing's page: the answer, its limits, its card and its whole history; and bad addresses, each answered in words.

use crate::browser::{Browser, signed_on, words};
use crate::yard::{Said, Server};
use serde_json::json;

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

#[track_caller]
fn whole(page: &Said) {
    assert_eq!(page.status, 200, "{}", page.text);
    assert_eq!(page.text.matches("<h1").count(), 1);
    assert!(page.text.contains("<title>") && page.text.contains("lang=\"en\""));
}

#[test]
fn a_roll_shows_answer_limits_card_history_and_what_the_screen_had_said() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let mut out = server.fact_now("roll_taken_out", "roll/R-42", json!({"from": "F1", "to": "CUT"}));
    out["shown"] = json!({"answer": "yes", "until": server.now(), "as_of_seq": 9, "rules": "2026.1"});
    assert_eq!(server.post("/api/v1/entries", &json!({"entries": [out]})).json()["results"][0]["status"], 201);
    server.pass(90);
    server.decide("place_hold", "batch/PM-101/B-123", json!({"why": "no certificate yet"}));
    let page = browser.get("/thing/roll/R-42");
    whole(&page);
    for sentence in [
        "Do not use",
        "Held with B-123 since Wed 08:01 by Q-03: no certificate yet.",
        "R-42 is out, in CUT, since Wed 06:31.",
        "batch B-123",
        "length left 50 m",
        "tack life 160 h 2 h 31 min 157 h 29 min",
        "157 h 29 min kept",
        "Wed 06:31 still out 1 h 30 min 2 h 31 min",
        "R-42 taken out of F1 to CUT B-17 yes, heating by Wed 06:31, as of entry 9",
        "from the log up to entry 10",
    ] {
        says(&page, sentence);
    }
    // Before the take-out was known it was inside.
    let then = browser.get("/thing/roll/R-42?known=8&at=");
    says(&then, "As known at entry 8");
    says(&then, "R-42 is in F1");
    assert!(!words(&then).contains("taken out of F1"));
    for (table, line) in [("card", "still out"), ("history", "R-42 taken out of F1 to CUT")] {
        let said = server.get(&format!("/thing/roll/R-42?csv={table}"));
        assert_eq!((said.status, said.media.as_str()), (200, "text/csv; charset=utf-8; header=present"));
        assert!(said.text.contains(line), "{}", said.text);
    }
}

#[test]
fn what_was_laid_is_told_with_its_length() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 12_500}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    for path in ["/thing/roll/R-42", "/thing/part/P-3"] {
        says(&browser.get(path), "plies laid into P-3, skin, from 12.5 m of R-42");
    }
}

#[test]
fn a_time_is_written_as_people_write_it_and_one_that_is_none_stays_in_its_field() {
    let server = Server::yard();
    server.pass(60);
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    for at in ["2026-05-06+06:35", "2026-05-06T06:35:00%2B01:00", "2026-05-06T06:35:00+01:00", "+2026-05-06T06:35+"] {
        let page = browser.get(&format!("/thing/roll/R-42?at={at}"));
        whole(&page);
        says(&page, "As of Wed 6 May 2026 06:35");
        says(&page, "R-42 is in F1");
    }
    let wrong = browser.get("/thing/roll/R-42?at=last+week&known=9");
    assert_eq!((wrong.status, wrong.text.matches("<h1").count()), (400, 1));
    says(
        &wrong,
        "That time was not understood. &#34;last week&#34; is no time; write 2026-05-04 06:00, with an offset if need be.",
    );
    assert!(wrong.text.contains("<title>Look again: ") && wrong.text.contains("value=\"last week\""), "{}", wrong.text);
    assert!(wrong.text.contains("name=\"known\" value=\"9\""));
    for path in ["/trace/roll/R-42", "/boat/118"] {
        server.decide("declare_boat", "boat/118", json!({"parts": ["P-3"]}));
        whole(&browser.get(&format!("{path}?at=2026-05-06+23:35")));
        let wrong = browser.get(&format!("{path}?at=last+week"));
        assert_eq!(wrong.status, 400);
        says(&wrong, "is no time; write 2026-05-04 06:00, with an offset if need be");
    }
}

#[test]
fn the_cards_of_a_part_say_which_roll_was_laid_where() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    for stage in ["skin", "skin", "second skin"] {
        server.fact("plies_laid", "part/P-3", json!({"stage": stage, "from": "roll/R-42", "length_mm": 500}));
        server.pass(5);
    }
    let kits = json!([{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 2_000}]}]);
    server.fact("nest_cut", "nest/N-7", json!({"kits": kits}));
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "kit/K-5"}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.get("/thing/part/P-3");
    for heading in ["R-42 , laid in skin", "R-42 , laid in second skin", "R-42 , laid in skin, from K-5"] {
        says(&page, &heading.replace(" ,", ","));
    }
    assert_eq!(page.text.matches("<h3>").count(), 3);
    assert!(server.get("/thing/part/P-3?csv=card").text.contains("\"laid in skin, from K-5\""));
    let card = server.get("/api/v1/things/part/P-3/out-time-card").json();
    assert!(
        card["cards"].as_array().unwrap().iter().any(|card| card["kit"] == "kit/K-5" && card["stage"] == "skin"),
        "{card}"
    );
    assert!(!browser.get("/thing/roll/R-42").text.contains("<h3>"));
}

#[test]
fn a_struck_line_of_the_card_is_struck_whole_and_leads_to_its_entry() {
    let server = Server::yard();
    let out = server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.pass(30);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    let card = |page: &Said| {
        page.text.split("<h2>Out-time card</h2>").nth(1).unwrap().split("<h2>").next().unwrap().to_owned()
    };
    let seq = out["seq"].as_u64().unwrap();
    let link = format!("<a href=\"/strike/{seq}\"");
    assert!(card(&browser.get("/thing/roll/R-42")).contains(&link));
    server.decide("strike", "roll/R-42", json!({"entry": out["id"], "why": "another roll"}));
    let struck = card(&browser.get("/thing/roll/R-42"));
    let row = struck.split("<tr class=\"struck\">").nth(1).unwrap().split("</tr>").next().unwrap();
    assert!(row.contains("<td><s>") && row.contains(&link), "{row}");
    let look = server.get("/").text.split("href=\"/static/").nth(1).unwrap().split('"').next().unwrap().to_owned();
    assert!(server.get(&format!("/static/{look}")).text.contains(".struck td { text-decoration: line-through }"));
}

#[test]
fn everything_that_is_declared_has_a_page_and_a_written_code_leads_to_its_own_address() {
    let server = Server::yard();
    let mut browser = Browser { server: &server, cookie: String::new() };
    for (address, sentence) in [
        ("/thing/place/F1", "walk-in freezer F1"),
        ("/thing/material/PM-101", "tack life 160 h"),
        ("/thing/batch/PM-101/B-123", "made Tue 10 Feb 2026"),
        ("/thing/yard/YARD", "zone Europe/Lisbon"),
        ("/thing/badge/B-17", "History"),
    ] {
        let page = browser.get(address);
        whole(&page);
        says(&page, sentence);
    }
    for written in ["/thing/roll/r-42", "/thing/roll/%20R-42%20", "/thing/batch/pm-101/b-123"] {
        let said = server.get(written);
        assert_eq!(said.status, 303, "{written}");
        whole(&browser.get(written));
    }
}

#[test]
fn a_bad_address_is_a_sentence() {
    let server = Server::yard();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let long = "A".repeat(10_000);
    for (address, status) in [
        ("/thing/roll/R-99", 404),
        ("/thing/nothing/R-42", 400),
        ("/thing/roll/R-42?known=abc", 400),
        ("/thing/roll/R-42?known=99999", 400),
        ("/thing/roll/R-42?at=yesterday", 400),
        ("/thing/roll/R-42?page=0", 400),
        ("/thing/roll/R-42?csv=all", 400),
        ("/strike/99999", 404),
        ("/strike/no", 404),
        ("/mismatches/in_while_in/no", 404),
        (&format!("/thing/roll/{long}"), 400),
    ] {
        let page = browser.get(address);
        assert_eq!(page.status, status, "{address}: {}", page.text);
        assert_eq!(page.text.matches("<h1").count(), 1);
    }
    says(&browser.get("/thing/roll/R-99"), "Nobody has received R-99.");
}

#[test]
fn a_long_history_is_paged_and_whole_on_paper() {
    let server = Server::yard();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let seen: Vec<_> = (0..98).map(|_| server.fact_now("seen", "roll/R-42", json!({"in": "F1"}))).collect();
    for some in seen.chunks(50) {
        assert_eq!(server.post("/api/v1/entries", &json!({"entries": some})).status, 207);
    }
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    says(&browser.get("/thing/roll/R-42"), "Page 3 of 3, 101 entries");
    says(&browser.get("/thing/roll/R-42?page=1"), "Page 1 of 3");
    says(&browser.get("/thing/roll/R-42?page=all"), "All 101 entries");
}
