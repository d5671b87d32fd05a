//! What doesn't add up: one line each, its answers, the effect before saving, and the sentence after it.

use crate::browser::{signed_on, words};
use crate::strike::saving;
use crate::yard::{Said, Server};
use serde_json::json;

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

#[test]
fn a_line_is_answered_by_two_and_is_gone() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    says(&browser.get("/mismatches"), "Everything adds up.");
    server.pass(120);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    server.pass(5);
    let list = browser.get("/mismatches");
    says(&list, "where the book has it already");
    says(&list, "The scan was a take-out");
    assert!(server.get("/mismatches.csv").text.contains("roll/R-42"));
    let address = list.text.split("href=\"/mismatches/").nth(1).unwrap().split('"').next().unwrap();
    let address = format!("/mismatches/{}", address.replace("&#38;", "&").replace("&amp;", "&"));
    let base = address.split("&choice").next().unwrap().to_owned();
    says(&browser.get(&base), "It was another roll");
    let page = browser.get(&format!("{base}&choice=carried&minutes=10&why=door"));
    says(&page, "R-42 gets back");
    says(&page, "needs a second person");
    let form = saving(&page);
    assert_eq!(browser.post(&form, &[("by", "B-05"), ("second", "")]).status, 403);
    let written = browser.post(&form, &[("by", "B-05"), ("second", "Q-03")]);
    says(&written, "Written: answered about R-42: it was carried straight over, out 10 min: door, by B-05 with Q-03");
    says(&browser.post(&form, &[("by", "B-05"), ("second", "Q-03")]), "It was written before, once:");
    says(&browser.get("/mismatches"), "Everything adds up.");
    says(&browser.get(&base), "It is answered already.");
    for bad in ["choice=carried&minutes=x", "choice=put_away&at=soon", "choice=other&other=R-42", "choice=x"] {
        assert!(browser.get(&format!("{base}&{bad}")).status < 500, "{bad}");
    }
}

#[test]
fn bad_answers_are_told_in_words() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    server.pass(120);
    let entry = server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}))["id"].as_str().unwrap().to_owned();
    for bad in ["choice=carried&minutes=x", "choice=put_away&at=soon", "choice=other&other=R-42", "choice=x"] {
        let page = browser.get(&format!("/mismatches/in_while_in/{entry}?{bad}"));
        assert_eq!(page.status, 400, "{bad}: {}", words(&page));
        assert_eq!(page.text.matches("<h1").count(), 1);
    }
}
