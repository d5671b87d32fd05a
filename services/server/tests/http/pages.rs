//! The pages as a browser without JavaScript uses them: links followed, forms posted.

use crate::browser::{Browser, Form, buttons, moves, signed_on, words};
use crate::yard::Server;
use reqwest::Method;
use serde_json::json;

#[test]
fn asking_needs_no_badge_and_recording_does() {
    let server = Server::yard();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let said = browser.scan("R-42");
    assert!(words(&said).contains("Last ply by") && words(&said).contains("Heating by"), "{}", words(&said));
    assert!(words(&said).contains("in F1 since Wed 06:01"), "{}", words(&said));
    assert!(words(&said).contains("Scan your badge") && buttons(&said).is_empty());
    let form = Form {
        action: "/moves".to_owned(),
        fields: vec![
            ("id".into(), server.id()),
            ("thing".into(), "roll/R-42".into()),
            ("go".into(), "take_out".into()),
        ],
    };
    let before = server.last_seq();
    assert!(words(&browser.post(&form, &[])).contains("Who is it?"));
    assert_eq!(server.last_seq(), before);
    let badge = browser.get("/badge?then=roll/R-42");
    assert!(badge.text.contains("value=\"roll/R-42\""));
    let form = Form { action: "/badge".to_owned(), fields: vec![("then".into(), "roll/R-42".into())] };
    let back = browser.post(&form, &[("code", "b-17")]);
    // It lies in F1 by the book; where it was put away all the same is among all places.
    assert_eq!(buttons(&back), ["Take out", "Put away in F2"]);
    assert!(words(&back).contains("Another place"));
    assert_eq!(buttons(&browser.get("/?thing=roll/R-42&places=all")), ["Put away in F1", "Put away in F2"]);
}

#[test]
fn a_button_writes_one_fact_and_says_it_in_the_past_tense() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let before = server.last_seq();
    let page = browser.scan("R-42");
    let form = moves(&page);
    let said = browser.post(&form, &[("go", "take_out")]);
    assert!(words(&said).contains("R-42: taken out Wed 06:31."), "{}", words(&said));
    assert!(words(&said).contains("Last ply by") && words(&said).contains("Heating by"));
    let line = server.get(&format!("/api/v1/entries/{}", server.last_seq())).json();
    assert_eq!(
        (&line["kind"], &line["by"], &line["by_known"]),
        (&json!("roll_taken_out.v1"), &json!("B-17"), &json!("claimed"))
    );
    assert_eq!((&line["body"], &line["shown"]["answer"]), (&json!({"from": "F1"}), &json!("yes")));
    assert_eq!(line["told"], json!(null));

    server.pass(2);
    let twice = browser.post(&form, &[("go", "take_out")]);
    assert!(words(&twice).contains("R-42: taken out Wed 06:31."), "{}", words(&twice));
    assert_eq!(server.last_seq(), before + 1);

    let other = browser.post(&form, &[("go", "put_away F2")]);
    assert!(words(&other).contains("R-42: put away in F2 Wed 06:33."), "{}", words(&other));
    assert!(words(&other).contains("It counts as out 2 min."), "{}", words(&other));
    assert_eq!(server.last_seq(), before + 2);
}

#[test]
fn taken_out_again_is_written_again_and_said() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    browser.post(&moves(&page), &[("go", "take_out")]);
    server.pass(8);
    let before = server.last_seq();
    let page = browser.scan("R-42");
    assert_eq!(buttons(&page), ["Put away in F1", "Put away in F2", "Take out"]);
    let said = browser.post(&moves(&page), &[("go", "take_out")]);
    assert!(words(&said).contains("R-42: taken out Wed 06:39. Again: also taken out Wed 06:31."), "{}", words(&said));
    assert_eq!(server.last_seq(), before + 1);
}

#[test]
fn the_book_disagrees_and_asks_at_once() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    let asked = browser.post(&moves(&page), &[("go", "put_away F1")]);
    assert!(words(&asked).contains("The book has it inside already. Was this a take-out?"), "{}", words(&asked));
    assert_eq!(buttons(&asked), ["Yes, taken out", "No, put away"]);
    server.pass(1);
    let yes = browser.post(&moves(&asked), &[("go", "take_out")]);
    assert!(words(&yes).contains("R-42: taken out Wed 06:32."), "{}", words(&yes));

    server.pass(1);
    let page = browser.scan("R-42");
    browser.post(&moves(&page), &[("go", "put_away F1")]);
    server.pass(60);
    let page = browser.scan("R-42");
    let asked = browser.post(&moves(&page), &[("go", "put_away F1")]);
    server.pass(1);
    let no = browser.post(&moves(&asked), &[("go", "put_away F1")]);
    assert!(words(&no).contains("R-42: put away in F1 Wed 07:34."), "{}", words(&no));
    assert_eq!(server.get("/api/v1/things/roll/R-42").json()["whereabouts"]["state"], "inside");
}

#[test]
fn held_material_is_said_so_and_its_move_is_written_all_the_same() {
    let server = Server::yard();
    server.decide("place_hold", "roll/R-42", json!({"why": "no certificate"}));
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    assert!(words(&page).contains("Do not use R-42."), "{}", words(&page));
    let said = browser.post(&moves(&page), &[("go", "take_out")]);
    let held = "R-42: taken out Wed 06:31. Do not use R-42. Held since Wed 06:31: no certificate. Put it away.";
    assert!(words(&said).contains(held), "{}", words(&said));
}

#[test]
fn a_code_is_looked_up_as_it_comes_from_the_scanner() {
    let server = Server::yard();
    let mut browser = Browser { server: &server, cookie: String::new() };
    assert!(words(&browser.scan("R-99")).contains("Nobody has received R-99."));
    assert!(words(&browser.scan("]C1r-42 ")).contains("in F1 since"));
    assert!(words(&browser.scan("a/b")).contains("That is no code of a label"));
    assert!(words(&browser.scan("<script>")).contains("Nobody has received &#60;SCRIPT&#62;."));
    assert!(words(&browser.scan("PM-101")).contains("PM-101"));
    assert!(words(&browser.scan("Q-03")).contains("Q-03: now scan a roll or a kit."));
    assert!(words(&browser.scan("F1")).contains("F1"));
}

#[test]
fn a_label_that_may_mean_several_things_lists_them() {
    let server = Server::yard();
    let plan = json!({"part": "P-3", "stages": ["skin"], "needs": [], "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", "job/R-42", plan);
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.scan("R-42");
    assert!(words(&page).contains("Which R-42? roll R-42 job R-42"), "{}", words(&page));
    assert!(words(&browser.get("/?thing=roll/R-42")).contains("in F1 since"));
}

#[test]
fn a_job_scanned_after_a_roll_asks_for_that_job() {
    let server = Server::yard();
    let plan = json!({"part": "P-3", "stages": ["skin"], "needs": [], "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", "job/J-118", plan);
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.scan("R-42");
    assert!(page.text.contains("name=\"last\" value=\"roll/R-42\""));
    let said = browser.get("/?code=J-118&last=roll/R-42");
    assert!(words(&said).contains("Yes, for J-118."), "{}", words(&said));
}

#[test]
fn more_places_than_fit_are_a_list_of_their_own() {
    let server = Server::yard();
    server.decide("declare_place", "place/F3", json!({"name": "chest", "frozen": true}));
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    assert_eq!(buttons(&page), ["Take out", "Put away in F2"]);
    assert!(words(&page).contains("Another place"));
    let places = browser.get("/?thing=roll/R-42&places=all");
    assert_eq!(buttons(&places), ["Put away in F1", "Put away in F2", "Put away in F3"]);
    let said = browser.post(&moves(&places), &[("go", "put_away F3")]);
    assert!(words(&said).contains("R-42: put away in F3"), "{}", words(&said));
}

#[test]
fn a_form_from_another_site_writes_nothing() {
    let server = Server::yard();
    let before = server.last_seq();
    let body = format!("id={}&thing=roll%2FR-42&go=take_out", server.id()).into_bytes();
    for (name, value) in [("origin", "http://elsewhere.example"), ("sec-fetch-site", "cross-site"), ("origin", "null")]
    {
        let headers =
            [("content-type", "application/x-www-form-urlencoded"), ("cookie", "badge=422d3137"), (name, value)];
        let said = server.send(Method::POST, "/moves", &headers, body.clone());
        said.problem(403, "not-allowed");
        assert_eq!(server.last_seq(), before);
    }
}

#[test]
fn forms_that_are_not_of_this_page_are_problems() {
    let server = Server::yard();
    let before = server.last_seq();
    let form = [("content-type", "application/x-www-form-urlencoded"), ("cookie", "badge=422d3137")];
    let id = server.id();
    let bodies = [
        String::new(),
        "id=7&thing=roll%2FR-42&go=take_out".to_owned(),
        format!("id={id}&thing=R-42&go=take_out"),
        format!("id={id}&thing=place%2FF1&go=take_out"),
        format!("id={id}&thing=roll%2FR-42&go=eat"),
        format!("id={id}&thing=roll%2FR-42&go=put_away+a%2Fb"),
    ];
    for body in bodies {
        server.send(Method::POST, "/moves", &form, body.into_bytes()).problem(400, "cannot-read");
    }
    server.send(Method::POST, "/moves", &form, vec![b'a'; 20_000]).problem(413, "too-large");
    server
        .send(Method::POST, "/moves", &[("content-type", "text/plain")], b"x".to_vec())
        .problem(415, "wrong-media-type");
    assert_eq!(server.last_seq(), before);
}

#[test]
fn what_is_left_in_an_unconfirmed_run_stands_beside_what_is_if_it_never_started() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 2000}));
    server.fact("oven_run_started", "run/214", json!({"oven": "OV1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    server.pass(120);
    let mut browser = Browser { server: &server, cookie: String::new() };
    for page in ["/?thing=part/P-3&act=oven&stage=skin", "/thing/part/P-3"] {
        let page = words(&browser.get(page));
        // Out-life of 240 h: 1 h before it came, 1 min before it was put away, and 2 h since the start.
        assert!(page.contains("238 h 59 min; 236 h 59 min if the oven never started"), "{page}");
    }
}

#[test]
fn a_boat_answers_the_claim_first() {
    let server = Server::yard();
    let plan = json!({"part": "P-3", "stages": ["skin"], "needs": [], "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", "job/J-118", plan);
    server.decide("declare_boat", "boat/118", json!({"parts": ["P-3", "P-4"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.fact(
        "nest_cut",
        "nest/N-7",
        json!({"kits": [{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 12000}]}]}),
    );
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "kit/K-5"}));
    let laid = server.fact("part_installed", "part/P-3", json!({"boat": "118"}))["seq"].as_u64().unwrap();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let early = words(&browser.get("/boat/118"));
    assert!(
        early.contains("1 of the 2 parts on 118's list is installed: 1 roll of 1 batch. 1 has no record: P-4."),
        "{early}"
    );
    assert!(early.contains("0 were laid and cured within life. 1 is not cured, or not confirmed: P-3."), "{early}");
    server.fact("oven_run_started", "run/214", json!({"oven": "OV1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    let committed_at = server.now();
    server.pass(300);
    server.fact("oven_run_ended", "run/214", json!({"committed_at": committed_at, "cured": true, "source": "record"}));
    let page = browser.get("/boat/118");
    assert!(words(&page).contains("1 was laid and cured within life."), "{}", words(&page));
    for cell in ["P-3 skin", "K-5", "R-42", "PM-101/B-123", "214", "no record"] {
        assert!(words(&page).contains(cell), "{cell}: {}", words(&page));
    }
    assert!(words(&page).contains(&format!("from the log up to entry {}, root ", server.last_seq())));
    let then = words(&browser.get(&format!("/boat/118?known={laid}")));
    assert!(
        then.contains("1 is not cured, or not confirmed: P-3.") && then.contains(&format!("As known at entry {laid}")),
        "{then}"
    );
    assert!(words(&browser.scan("118")).contains("What is in boat 118?"));
    server.get("/boat/119").problem(404, "not-found");
    assert!(words(&browser.get("/boat/119")).contains("Nobody has named a boat 119."));
}

#[test]
fn the_style_and_the_script_are_served_under_the_name_of_their_content() {
    let server = Server::start();
    let page = server.get("/");
    let links = ["href", "src"].map(|name| {
        page.text.split(&format!("{name}=\"/static/")).nth(1).unwrap().split('"').next().unwrap().to_owned()
    });
    for (link, media) in links.iter().zip(["text/css; charset=utf-8", "text/javascript; charset=utf-8"]) {
        let said = server.get(&format!("/static/{link}"));
        assert_eq!((said.status, said.media.as_str()), (200, media));
        assert!(said.headers["cache-control"].to_str().unwrap().contains("immutable"));
    }
    for inline in [" style=", "<style", "onclick", "<script>"] {
        assert!(!page.text.contains(inline), "{inline}");
    }
}
