//! The cutting page: roll, job and kit by scan, the length as planned, one tap; and what it takes over.

use crate::browser::{Browser, Form, moves, signed_on, words};
use crate::yard::{Said, Server};
use serde_json::{Value, json};

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

fn yard() -> Server {
    let server = Server::yard();
    for (job, part, lay_at) in
        [("J-118", "P-3", "2026-05-06T16:00:00+01:00"), ("J-119", "P-4", "2026-05-07T16:00:00+01:00")]
    {
        let plan = json!({"part": part, "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 22_500}],
                          "lay_at": lay_at, "oven_at": "2026-05-07T20:00:00+01:00"});
        server.decide("open_job", &format!("job/{job}"), plan);
    }
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(10);
    server
}

/// The page's form with these lengths typed.
fn typed(page: &Said, length: &str, waste: &str) -> Form {
    let Form { action, fields } = moves(page);
    let kept = fields.into_iter().filter(|(name, _)| name != "length" && name != "waste");
    let typed = [("length", length), ("waste", waste)].map(|(name, value)| (name.to_owned(), value.to_owned()));
    Form { action, fields: kept.chain(typed).collect() }
}

fn last(server: &Server) -> Value {
    server.get(&format!("/api/v1/entries/{}", server.last_seq())).json()
}

#[test]
fn a_kit_is_cut_with_three_scans_and_a_tap_once() {
    let server = yard();
    let mut browser = signed_on(&server);
    says(&browser.get("/cut"), "Scan the roll.");
    let which = browser.get("/cut?code=R-42");
    says(&which, "J-118: 22.5 m, lay Wed 16:00");
    says(&which, "J-119: 22.5 m, lay Thu 16:00");
    let kit = browser.get("/cut?roll=R-42&code=J-118");
    let may = server.get("/api/v1/things/roll/R-42/may-use?act=cut&job=J-118").json();
    says(&kit, may["say"].as_str().unwrap());
    says(&kit, "New kit KIT-260506-");
    let page = browser.get("/cut?roll=R-42&job=J-118&code=K-5");
    says(&page, "J-118 still needs 22.5 m. R-42 has 50.0 m.");
    assert!(page.text.contains("value=\"22.500\""), "as planned: {}", page.text);
    let form = typed(&page, "22.500", "");
    let before = server.last_seq();
    let done = browser.post(&form, &[("go", "cut")]);
    says(&done, "K-5 for J-118 cut from R-42 Wed 06:41.");
    says(&done, "K-5: Yes, for J-118.");
    let entry = last(&server);
    assert_eq!(entry["kind"], "nest_cut.v1");
    assert!(entry["thing"].as_str().unwrap().starts_with("nest/NEST-260506-0641-"), "{entry}");
    let items = json!([{"roll": "R-42", "length_mm": 22_500}]);
    assert_eq!(entry["body"], json!({"kits": [{"kit": "K-5", "job": "J-118", "items": items}]}));
    assert_eq!((&entry["by"], &entry["shown"]["answer"]), (&json!("B-17"), &may["answer"]), "{entry}");
    server.pass(7);
    says(&browser.post(&form, &[("go", "cut")]), "K-5 for J-118 cut from R-42 Wed 06:41.");
    assert_eq!(server.last_seq(), before + 1, "sent twice, written once");
    says(&browser.get("/cut?roll=R-42&job=J-118&kit=K-5"), "K-5 was cut before: this adds to it.");
    says(&browser.get("/cut?roll=R-42&job=J-118&kit=K-7"), "J-118 needs no more of it by its plan. R-42 has 27.5 m.");
}

#[test]
fn a_nest_gives_kits_for_several_jobs_and_waste() {
    let server = yard();
    let mut browser = signed_on(&server);
    let first = browser.get("/cut?roll=R-42&job=J-118&kit=K-5");
    let before = server.last_seq();
    let on = browser.post(&typed(&first, "12", ""), &[("go", "more")]);
    says(&on, "This nest so far, not written yet: K-5 for J-118: 12.0 m of R-42.");
    assert_eq!(server.last_seq(), before);
    let second = browser.get("/cut?roll=R-42&job=J-119&kit=K-6&items=K-5/J-118/R-42/12000");
    let done = browser.post(&typed(&second, "10.5", "0.4"), &[("go", "cut")]);
    says(&done, "K-6 for J-119 cut from R-42 Wed 06:41.");
    let kit =
        |kit: &str, job: &str, mm: u64| json!({"kit": kit, "job": job, "items": [{"roll": "R-42", "length_mm": mm}]});
    let body = json!({"kits": [kit("K-5", "J-118", 12_000), kit("K-6", "J-119", 10_500)],
                      "waste": [{"roll": "R-42", "length_mm": 400}]});
    assert_eq!(last(&server)["body"], body);
}

#[test]
fn what_was_thrown_away_of_the_first_kit_is_written_with_the_nest() {
    let server = yard();
    let mut browser = signed_on(&server);
    let first = browser.get("/cut?roll=R-42&job=J-118&kit=K-5");
    let on = browser.post(&typed(&first, "12", "0.4"), &[("go", "more")]);
    says(&on, "This nest so far, not written yet: K-5 for J-118: 12.0 m of R-42; thrown away: 0.4 m of R-42.");
    // The next scan carries it along, and so does the next form.
    assert!(on.text.contains("name=\"wasted\" value=\"R-42/400\""), "{}", on.text);
    let second = browser.get("/cut?roll=R-42&job=J-119&kit=K-6&items=K-5/J-118/R-42/12000&wasted=R-42/400");
    browser.post(&typed(&second, "10.5", "0.2"), &[("go", "cut")]);
    let waste = json!([{"roll": "R-42", "length_mm": 400}, {"roll": "R-42", "length_mm": 200}]);
    assert_eq!(last(&server)["body"]["waste"], waste);
    assert_eq!(browser.get("/cut?roll=R-42&wasted=R-42").status, 400);
    assert_eq!(browser.get("/cut?roll=R-42&wasted=R-42/a%20lot").status, 400);
}

#[test]
fn bad_input_is_answered_in_words_and_nothing_is_written() {
    let server = yard();
    let mut browser = signed_on(&server);
    let before = server.last_seq();
    for (path, sentence) in [
        ("/cut?code=R-99", "Nobody has"),
        ("/cut?code=F1", "F1 is a place. Scan the roll first."),
        ("/cut?roll=R-42&code=F1", "F1 is a place: not asked for here."),
        ("/cut?code=a/b", "That is no code of a label"),
        ("/cut?roll=R-99", "R-99"),
        ("/cut?roll=R-42&job=J-9", "J-9"),
    ] {
        let page = browser.get(path);
        assert_eq!(page.status, 200, "{path}");
        says(&page, sentence);
    }
    assert_eq!(browser.get("/cut?items=K-5/J-118/R-42").status, 400);
    assert_eq!(browser.get("/cut?items=K-5/J-118/R-42/-1").status, 400);
    assert!(browser.get("/cut?roll=R-42&job=J-118&kit=K-5&items=K/J-118/R/18446744073709551615").status < 500);
    let page = browser.get("/cut?roll=R-42&job=J-118&kit=K-5");
    for bad in ["-1", "0", "", "a lot", "1e9", "99999999"] {
        let said = browser.post(&typed(&page, bad, ""), &[("go", "cut")]);
        assert!(said.text.contains("name=\"length\""), "{bad}: asked again: {}", words(&said));
        assert!(bad.is_empty() || said.text.contains(&format!("value=\"{bad}\"")), "{bad}: kept: {}", said.text);
    }
    assert_eq!(browser.post(&typed(&page, "1", ""), &[("go", "eaten")]).status, 400);
    let mut nobody = Browser { server: &server, cookie: String::new() };
    says(&nobody.get("/cut?roll=R-42&job=J-118&kit=K-5"), "Scan your badge, then record it");
    assert_eq!(server.last_seq(), before);
}

#[test]
fn what_is_held_or_over_is_said_first_and_recorded_all_the_same() {
    let server = yard();
    server.decide("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    let mut browser = signed_on(&server);
    let page = browser.get("/cut?roll=R-42&job=J-118&kit=K-5");
    says(&page, "Do not use it for J-118. Held since Wed 06:41: torn bag.");
    assert!(page.text.contains("class=\"answer no\""), "{}", page.text);
    let before = server.last_seq();
    let done = browser.post(&typed(&page, "60", ""), &[("go", "cut")]);
    assert_eq!(server.last_seq(), before + 1);
    says(&done, "More of R-42 was cut Wed 6 May 2026 06:41 than was left of it.");
    assert!(done.text.contains("class=\"answer cannot\""), "{}", done.text);
    let found = server.get("/api/v1/mismatches").json().to_string();
    assert!(found.contains("R-42"), "{found}");
}

#[test]
fn the_job_that_a_roll_was_issued_to_is_offered_first() {
    let server = yard();
    server.decide("issue", "roll/R-42", json!({"job": "J-119"}));
    let mut browser = signed_on(&server);
    let which = words(&browser.get("/cut?roll=R-42"));
    let (issued, soonest) = (which.find("J-119, issued: 22.5 m, lay Thu 16:00"), which.find("J-118: 22.5 m, lay Wed"));
    assert!(issued.is_some() && issued < soonest, "{which}");
}

#[test]
fn under_a_no_no_job_is_offered_and_the_button_says_what_it_is() {
    let server = yard();
    let mut browser = signed_on(&server);
    let calm = browser.get("/cut?roll=R-42&job=J-118&kit=K-5");
    assert!(calm.text.contains("class=\"main\"") && !calm.text.contains("all the same"), "{}", calm.text);
    server.decide("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    let which = browser.get("/cut?roll=R-42");
    says(&which, "Cut all the same? Scan the job it is for.");
    assert!(!words(&which).contains("J-118"), "{}", words(&which));
    for (page, label) in [
        ("/cut?roll=R-42&job=J-118&kit=K-5", "Cut, all the same"),
        ("/lay?part=P-3&stage=skin&from=roll/R-42", "Laid from R-42, all the same"),
        ("/install?part=P-3&boat=NB-31", "Installed in NB-31, all the same"),
    ] {
        let page = browser.get(page);
        says(&page, label);
        assert!(page.text.contains("anyway") && !page.text.contains("class=\"main\""), "{}", page.text);
    }
    // What was mistyped is no answer about the roll.
    let typed_wrong = browser.post(&typed(&calm, "much", ""), &[("go", "cut")]);
    says(&typed_wrong, "all the same");
    server.decide("lift_hold", "roll/R-42", json!({"hold": hold(&server), "why": "new bag"}));
    let typed_wrong = browser.post(&typed(&calm, "much", ""), &[("go", "cut")]);
    assert!(!words(&typed_wrong).contains("all the same"), "{}", words(&typed_wrong));
}

fn hold(server: &Server) -> Value {
    server.get("/api/v1/things/roll/R-42").json()["holds"][0]["hold"].clone()
}

#[test]
fn what_the_book_has_in_the_cold_is_scanned_out_first() {
    let server = yard();
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    let mut browser = signed_on(&server);
    let page = browser.get("/cut?roll=R-42&job=J-118&kit=K-5");
    says(&page, "R-42 is in F1 by the book. Scan it out first.");
    assert!(page.text.contains("href=\"/?thing=roll/R-42\""), "{}", page.text);
    says(&browser.get("/lay?part=P-3&stage=skin&from=roll/R-42"), "R-42 is in F1 by the book. Scan it out first.");
    // What may not be used is not asked out of the cold first.
    server.decide("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    says(&browser.get("/cut?roll=R-42"), "Do not use it. R-42 is in F1 by the book. Scan it out first.");
}

#[test]
fn a_page_sent_again_with_something_else_writes_nothing_and_says_so() {
    let server = yard();
    let mut browser = signed_on(&server);
    let page = browser.get("/cut?roll=R-42&job=J-118&kit=K-5");
    browser.post(&typed(&page, "1.5", ""), &[("go", "cut")]);
    let last_seq = server.last_seq();
    let other = browser.post(&typed(&page, "2.5", ""), &[("go", "cut")]);
    assert_eq!(other.status, 409);
    says(&other, &format!("This page was sent before with something else, and that stands as entry {last_seq}."));
    assert_eq!(server.last_seq(), last_seq);
    assert_eq!(last(&server)["body"]["kits"][0]["items"][0]["length_mm"], 1_500);
}
