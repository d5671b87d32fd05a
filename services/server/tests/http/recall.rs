//! Recalling a batch: where it lies, and holds on what is ticked, each written once.

use crate::browser::{Browser, Form, signed_on, words};
use crate::yard::{Said, Server};
use serde_json::{Value, json};

const RECALL: &str = "/recall/batch/PM-101/B-123";

/// R-42 cut into K-1 and K-2, K-1 laid in P-1; R-43 in F1.
fn recalled() -> Server {
    let server = Server::yard();
    server.receive("R-43");
    server.fact("roll_taken_out", "roll/R-42", json!({"to": "CUT"}));
    for (nest, kit) in [("N-1", "K-1"), ("N-2", "K-2")] {
        let items = json!([{"roll": "R-42", "length_mm": 9_000}]);
        server.fact("nest_cut", &format!("nest/{nest}"), json!({"kits": [{"kit": kit, "job": "J-1", "items": items}]}));
    }
    server.fact("plies_laid", "part/P-1", json!({"stage": "skin", "from": "kit/K-1"}));
    server
}

fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

/// The form that places the holds, as it stands on the page.
fn form(page: &Said) -> Form {
    let form = page.text.split("method=\"post\"").nth(1).unwrap_or_else(|| panic!("no form: {}", words(page)));
    let form = form.split("</form>").next().unwrap();
    let value =
        |tag: &str, name: &str| tag.split(&format!("{name}=\"")).nth(1).unwrap().split('"').next().unwrap().to_owned();
    let inputs = form.split("<input").skip(1).map(|rest| rest.split('>').next().unwrap());
    Form { action: RECALL.to_owned(), fields: inputs.map(|tag| (value(tag, "name"), value(tag, "value"))).collect() }
}

fn holds(server: &Server) -> Vec<String> {
    let all = (1..=server.last_seq()).map(|seq| server.get(&format!("/api/v1/entries/{seq}")).json());
    let placed = all.filter(|entry| entry["kind"].as_str().unwrap().starts_with("hold_placed"));
    placed.map(|entry: Value| entry["thing"].as_str().unwrap().to_owned()).collect()
}

fn ask(things: &[&str]) -> String {
    let things: String = things.iter().map(|thing| format!("&thing={thing}")).collect();
    format!("{RECALL}?ask=1&why=a+bad+test&number=NC-9{things}")
}

#[test]
fn all_is_ticked_at_first_and_says_where_it_lies() {
    let server = recalled();
    let page = Browser { server: &server, cookie: String::new() }.get(RECALL);
    says(&page, "4 things of B-123 are still here, and none of them is held.");
    says(&page, "F1 roll R-43 R-43 is in F1 since");
    assert_eq!(page.text.matches("type=\"checkbox\"").count(), 4);
    assert_eq!(page.text.matches(" checked>").count(), 4);
    let traced = Browser { server: &server, cookie: String::new() }.get("/trace/batch/PM-101/B-123");
    assert!(traced.text.contains(&format!("href=\"{RECALL}\"")), "{}", traced.text);
    assert_eq!(Browser { server: &server, cookie: String::new() }.get("/recall/batch/PM-101/B-9").status, 404);
    assert_eq!(Browser { server: &server, cookie: String::new() }.get("/recall/roll/R-42").status, 200);
}

#[test]
fn the_effect_is_shown_first_and_each_hold_is_written_once_however_often_it_is_sent() {
    let server = recalled();
    let mut browser = signed_on(&server);
    let before = server.last_seq();
    let page = browser.get(&ask(&["part/P-1", "kit/K-2", "roll/R-42"]));
    says(&page, "3 things would be held: P-1, K-2, R-42.");
    says(&page, "Each hold ends only by lifting, which needs a second person.");
    assert_eq!(page.text.matches(" checked>").count(), 3);
    assert_eq!(server.last_seq(), before, "asking writes nothing");
    let form = form(&page);
    let done = browser.post(&form, &[]);
    says(&done, "P-1 is held: entry");
    says(&done, "R-42 is held: entry");
    says(&done, "4 things of B-123 are still here, 3 of them held.");
    assert_eq!(holds(&server), ["part/P-1", "kit/K-2", "roll/R-42"]);
    let again = browser.post(&form, &[]);
    says(&again, "K-2 is held: entry");
    assert_eq!(holds(&server).len(), 3);
    let other = browser.post(&crate::strike::with(&form, "why", "a good test"), &[]);
    assert_eq!((other.status, holds(&server).len()), (409, 3));
    says(&other, "This page was sent before with something else, and that stands as entry");
    let entry = server.get(&format!("/api/v1/entries/{}", server.last_seq())).json();
    assert_eq!((entry["by"].as_str(), entry["body"]["nonconformance"].as_str()), (Some("B-17"), Some("NC-9")));
}

#[test]
fn what_changed_meanwhile_is_named_and_the_rest_is_held() {
    let server = recalled();
    let mut browser = signed_on(&server);
    let form = form(&browser.get(&ask(&["roll/R-42", "roll/R-43"])));
    server.pass(5);
    server.fact("roll_taken_out", "roll/R-43", json!({"to": "CUT"}));
    let done = browser.post(&form, &[]);
    says(&done, "R-42 is held: entry");
    says(&done, "R-43 is not held: something that touches it was written after you looked. Look again, then hold it.");
    assert_eq!(holds(&server), ["roll/R-42"]);
    // Only what is still to be held is ticked.
    assert_eq!(done.text.matches(" checked>").count(), 1);
    assert!(done.text.contains("value=\"roll/R-43\" aria-label=\"Hold R-43\" checked"), "{}", done.text);
}

#[test]
fn without_a_reason_or_a_badge_nothing_is_written() {
    let server = recalled();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let before = server.last_seq();
    let page = browser.get(&format!("{RECALL}?ask=1&why=&thing=roll/R-42"));
    assert_eq!(page.status, 400);
    says(&page, "Say why.");
    let form = form(&browser.get(&ask(&["roll/R-42"])));
    let page = browser.post(&form, &[]);
    assert_eq!(page.status, 400);
    says(&page, "scan your badge");
    assert_eq!(server.last_seq(), before);
    assert_eq!(browser.get(&format!("{RECALL}?colour=red")).status, 400);
    assert_eq!(browser.get(&format!("{RECALL}?thing=wheel/1")).status, 400);
}

#[test]
fn what_is_not_of_the_batch_is_not_held_with_it() {
    let server = recalled();
    let other = json!({"material": "PM-101", "revision": "3", "batch": "B-200", "length_mm": 5_000});
    server.fact("roll_received", "roll/R-99", other);
    let mut browser = signed_on(&server);
    let form = form(&browser.get(&ask(&["roll/R-42"])));
    let before = server.last_seq();
    for other in ["roll/R-99", "roll/R-NOWHERE", "batch/PM-101/B-123", "place/F1"] {
        let refused = browser.get(&ask(&["roll/R-42", other]));
        assert_eq!(refused.status, 400, "{other}");
        says(&refused, &format!("{other} is not made of batch/PM-101/B-123, so it is not held with it."));
        let refused = browser.post(&form, &[("thing", other)]);
        assert_eq!((refused.status, server.last_seq()), (400, before), "{other}");
        says(&refused, "Nothing was written.");
    }
    says(&browser.post(&form, &[]), "R-42 is held: entry");
}
