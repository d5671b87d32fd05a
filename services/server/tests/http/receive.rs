//! Goods-in: what is chosen stands in the address, one scan receives a roll and puts it away, and nothing twice.

use crate::browser::{Browser, Form, signed_on, words};
use crate::strike::saving;
use crate::yard::{Said, Server};
use reqwest::Method;
use serde_json::{Value, json};

#[track_caller]
pub(crate) fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

pub(crate) const DELIVERY: &str = "/receive?choice=scan&delivery=0197a1c2-0000-7000-8000-000000000001&what=PM-101/3&batch=b-123\
    &length=50&width=1270&from=F2&into=F1&source=certificate&out_time=1:00&refreezes=0&as_of=2026-05-05+18:00";

/// The strip, as it stands on the page.
pub(crate) fn strip(page: &Said) -> Form {
    let form = page.text.split("<form class=\"strip\"").nth(1).unwrap_or_else(|| panic!("no strip: {}", words(page)));
    let form = form.split("</form>").next().unwrap();
    let attribute = |tag: &str, name: &str| {
        tag.split(&format!(" {name}=\"")).nth(1).map(|rest| rest.split('"').next().unwrap().to_owned())
    };
    let hidden = form.split("<input").filter(|tag| tag.contains("type=\"hidden\""));
    let fields = hidden.map(|tag| (attribute(tag, "name").unwrap(), attribute(tag, "value").unwrap()));
    Form { action: attribute(form, "action").unwrap(), fields: fields.collect() }
}

pub(crate) fn entry(server: &Server, back: u64) -> Value {
    server.get(&format!("/api/v1/entries/{}", server.last_seq() - back)).json()
}

#[test]
fn one_scan_a_roll_receives_it_and_puts_it_away_and_the_count_is_said() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let ready = browser.get(DELIVERY);
    says(&ready, "PM-101 rev. 3, batch B-123, 50.0 m: scan each roll.");
    assert!(!words(&ready).contains("can't be used"), "{}", words(&ready));
    let before = server.last_seq();
    let one = browser.post(&strip(&ready), &[("code", "]C1r-61")]);
    says(&one, "R-61: received, in F1 since Wed 06:31.");
    says(&one, "1 roll received. 1 can be used.");
    assert_eq!(server.last_seq(), before + 2);
    let (receipt, away) = (entry(&server, 1), entry(&server, 0));
    assert_eq!((&receipt["kind"], &receipt["thing"]), (&json!("roll_received.v1"), &json!("roll/R-61")));
    let opening =
        json!({"out_time_s": 3600, "refreezes": 0, "as_of": "2026-05-05T18:00:00.000+01:00", "source": "certificate"});
    let body = json!({"material": "PM-101", "revision": "3", "batch": "B-123", "length_mm": 50_000, "width_mm": 1270,
                      "from": "F2", "opening": opening});
    assert_eq!(receipt["body"], body);
    assert_eq!((&away["kind"], &away["body"]), (&json!("roll_put_away.v1"), &json!({"into": "F1"})));
    assert_eq!((&receipt["by"], &receipt["occurred_at"]), (&json!("B-17"), &away["occurred_at"]));
    // Its clock stood still in the truck: one hour was out, and no more.
    let card = server.get("/api/v1/things/roll/R-61").json();
    let out = card["limits"].as_array().unwrap().iter().find(|row| row["limit"] == "out_life").unwrap();
    assert_eq!(out["so_far_s"], 3600, "{card}");

    server.pass(1);
    let two = browser.post(&strip(&one), &[("code", "R-62")]);
    says(&two, "2 rolls received. 2 can be used.");
    // The same trigger pulled twice, the back button, the same form: said in words, written once.
    let again = browser.post(&strip(&two), &[("code", "R-62")]);
    says(&again, "R-62 was received before. Nothing was written. R-62 is in F1 since Wed 06:32.");
    says(&again, "2 rolls received.");
    says(&browser.post(&strip(&ready), &[("code", "R-61")]), "R-61 was received before.");
    says(&browser.post(&strip(&ready), &[("code", "R-42")]), "R-42 was received before.");
    assert_eq!(server.last_seq(), before + 4);
}

#[test]
fn what_is_held_or_missing_is_counted_with_its_reason() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let mut page = browser.get(DELIVERY);
    for roll in ["R-61", "R-62", "R-63"] {
        page = browser.post(&strip(&page), &[("code", roll)]);
    }
    server.decide("place_hold", "roll/R-62", json!({"why": "torn bag"}));
    let page = browser.post(&strip(&page), &[("code", "R-64")]);
    says(&page, "4 rolls received. 3 can be used. 1 held: R-62.");
    says(&page, "torn bag");
    // Two that came without a paper, in the same delivery.
    let unknown = DELIVERY.replace("source=certificate", "source=nobody");
    let page = browser.get(&unknown);
    says(&page, "No certificate and no card: nobody knows how long they were out, so they can't be used");
    let page = browser.post(&strip(&page), &[("code", "R-65")]);
    says(&page, "R-65: received, in F1 since");
    says(&page, "Can't say yet.");
    says(&page, "5 rolls received. 3 can be used. 1 held: R-62.");
    says(&page, "1 can't be said yet: R-65.");
}

#[test]
fn an_opening_as_of_later_than_what_was_done_first_is_not_written_here_and_does_not_add_up_elsewhere() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    server.fact("roll_taken_out", "roll/R-61", json!({}));
    server.pass(60);
    let last = server.last_seq();
    // As of half an hour after it was taken out.
    let late = DELIVERY.replace("2026-05-05+18:00", "2026-05-06+07:00");
    let ready = strip(&browser.get(&late));
    let page = browser.post(&ready, &[("code", "R-61")]);
    assert_eq!((page.status, server.last_seq()), (400, last), "{}", words(&page));
    says(
        &page,
        "R-61 was not written: its out-time is as of Wed 07:00, but something was done with it Wed 06:31 already.",
    );
    // Of the same delivery another roll is received.
    says(&browser.post(&strip(&page), &[("code", "R-62")]), "R-62: received, in F1 since");
    // Said over the API it is kept, and does not add up: half an hour is known, 0 h are stated.
    let opening = json!({"out_time_s": 0, "refreezes": 0, "as_of": "2026-05-06T07:01:00.000+01:00", "source": "card"});
    let receipt =
        json!({"material": "PM-101", "revision": "3", "batch": "B-123", "length_mm": 50_000, "opening": opening});
    let written = server.fact("roll_received", "roll/R-61", receipt);
    let kinds: Vec<&Value> = written["mismatches"].as_array().unwrap().iter().map(|one| &one["kind"]).collect();
    assert_eq!(kinds, ["opening_after_first_fact"], "{written}");
    let limits = server.get("/api/v1/things/roll/R-61").json()["limits"].clone();
    let out = limits.as_array().unwrap().iter().find(|row| row["limit"] == "out_life").unwrap();
    assert_eq!(out["so_far_s"], 3600, "{limits}");
    let list = browser.get("/mismatches");
    says(&list, "As of when had R-61 been out for 0 min? Strike the receipt if that is wrong.");
    says(&list, "It was looked into and may rest. Why?");
}

#[test]
fn a_batch_nobody_registered_costs_its_rolls_until_two_have_registered_it() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.get(&DELIVERY.replace("b-123", "B-777"));
    says(&page, "Nobody has registered batch B-777: until then its rolls can't be used.");
    let scanned = browser.post(&strip(&page), &[("code", "R-61")]);
    says(&scanned, "1 roll received. 0 can be used. 1 can't be said yet: R-61.");
    let at = scanned.text.split("href=\"/receive/batch?").nth(1).unwrap().split('"').next().unwrap();
    let at = format!("/receive/batch?{}", at.replace("&#38;", "&").replace("&amp;", "&"));
    says(&browser.get(&at), "Register batch PM-101/B-777");
    for (typed, sentence) in [
        ("made_on=", "Write the day as 2026-01-31"),
        ("made_on=2026-02-31", "Write the day as 2026-01-31"),
        ("made_on=2026-12-01", "That day lies ahead."),
        ("made_on=2026-02-01&certificate_ends=soon", "Write the day as 2026-01-31"),
    ] {
        let page = browser.get(&format!("{at}&choice=ask&{typed}"));
        assert_eq!(page.status, 400, "{typed}");
        says(&page, "Nothing is written yet. Look at this again:");
        says(&page, sentence);
    }
    let page = browser.get(&format!("{at}&choice=ask&made_on=2026-02-01"));
    says(&page, "needs a second person");
    let last = server.last_seq();
    let form = saving(&page);
    for second in ["", "B-17", "b-17 "] {
        let refused = browser.post(&form, &[("by", "B-17"), ("second", second)]);
        assert_eq!((refused.status, server.last_seq()), (403, last), "{second}");
    }
    let back = browser.post(&form, &[("by", "B-17"), ("second", "B-05")]);
    says(&back, "1 roll received. 1 can be used.");
    assert_eq!(server.last_seq(), last + 1);
    browser.post(&form, &[("by", "B-17"), ("second", "B-05")]);
    assert_eq!(server.last_seq(), last + 1);
    // Registered by somebody else meanwhile.
    let late = browser.get(&format!("{at}&choice=ask&made_on=2026-02-01"));
    assert_eq!(late.status, 400);
    says(&late, "registered already");
}

#[test]
fn a_batch_without_rolls_needs_nobody_else() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.get("/receive/batch?what=PM-101/3&batch=B-9&choice=ask&made_on=2026-01");
    says(&page, "needs nobody else");
    browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]);
    assert_eq!(entry(&server, 0)["body"], json!({"made_on": "2026-01"}));
    assert_eq!(browser.get("/receive/batch?batch=B-9").status, 400);
}

#[test]
fn all_that_is_wrong_is_said_beside_its_field_and_what_was_typed_stays() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    says(&browser.get("/receive"), "Receive a delivery");
    for (right, wrong, sentence) in [
        ("what=PM-101/3", "what=", "Say which material it is"),
        ("what=PM-101/3", "what=PM-101/9", "Nobody has entered revision 9 of PM-101."),
        ("batch=b-123", "batch=", "Say which batch it is"),
        ("batch=b-123", "batch=a%2Fb", "a code has 1 to 40 printable characters"),
        ("length=50", "length=-1", "-1 m is less than nothing."),
        ("length=50", "length=0", "0 m is no length of a roll"),
        ("width=1270", "width=1.5", "Write the width in whole millimetres"),
        ("from=F2", "from=CUT", "CUT is no frozen place that anybody declared."),
        ("into=F1", "into=", "Say which freezer they go into."),
        ("into=F1", "into=F9", "F9 is no frozen place that anybody declared."),
        ("source=certificate", "source=", "Say where its out-time stands"),
        ("out_time=1:00", "out_time=", "Say how long it was out before"),
        ("out_time=1:00", "out_time=-4+h", "is no duration"),
        ("refreezes=0", "refreezes=-1", "as a whole number"),
        ("as_of=2026-05-05+18:00", "as_of=2026-02-31+10:00", "is no time"),
        ("as_of=2026-05-05+18:00", "as_of=2026-05-07+10:00", "That time lies ahead."),
    ] {
        let page = browser.get(&DELIVERY.replace(right, wrong));
        assert_eq!(page.status, 400, "{wrong}");
        says(&page, "Nothing is written yet. Look at this again:");
        assert!(
            words(&page).to_lowercase().matches(&sentence.to_lowercase()).count() == 2,
            "{wrong}: {}",
            words(&page)
        );
        assert!(page.text.contains("<title>Look again: Receive a delivery"), "{wrong}");
        assert!(
            page.text.contains("name=\"batch\" value=") && page.text.contains("value=\"1270\"")
                || wrong.starts_with("width"),
            "{wrong}"
        );
    }
    let long = browser.get(&DELIVERY.replace("b-123", &"x".repeat(10_000)));
    assert_eq!(long.status, 400);
    // An address of the strip that somebody changed goes back to the fields.
    let back = browser.get(&DELIVERY.replace("/receive?", "/receive/scan?").replace("length=50", "length=much"));
    says(&back, "is no length");
}

#[test]
fn other_labels_are_no_rolls_a_placard_chooses_the_place_and_a_badge_signs_on() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.get(DELIVERY);
    let before = server.last_seq();
    for (code, sentence) in [
        ("B-123", "B-123 is a batch, not a roll. Nothing was written."),
        ("a/b", "That is no code of a label"),
        ("", "That is no code of a label"),
        (&"x".repeat(5_000), "That is no code of a label"),
    ] {
        let said = browser.post(&strip(&page), &[("code", code)]);
        assert_eq!(said.status, 400);
        says(&said, sentence);
    }
    let other = browser.post(&strip(&page), &[("code", "f2")]);
    says(&other, "Into F2");
    browser.post(&strip(&other), &[("code", "Q-01")]);
    assert_eq!(server.last_seq(), before);
    let page = browser.post(&strip(&other), &[("code", "R-61")]);
    says(&page, "R-61: received, in F2 since");
    assert_eq!(entry(&server, 0)["by"], json!("Q-01"));
    // A room is no freezer.
    let room = browser.post(&strip(&other), &[("code", "CUT")]);
    says(&room, "CUT is no frozen place that anybody declared.");
}

#[test]
fn without_a_badge_nothing_is_written_and_the_roll_is_named() {
    let server = Server::yard();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.get(DELIVERY);
    says(&page, "Scan your badge, then the rolls");
    let fields = DELIVERY.split_once('?').unwrap().1.replace('+', " ");
    let fields = fields.split('&').map(|pair| pair.split_once('=').unwrap());
    let form = Form {
        action: "/receive/scan".to_owned(),
        fields: fields.map(|(name, value)| (name.to_owned(), value.to_owned())).collect(),
    };
    let before = server.last_seq();
    let asked = browser.post(&form, &[("code", "R-61")]);
    says(&asked, "Who is it?");
    let then = asked.text.split("name=\"then\" value=\"").nth(1).unwrap().split('"').next().unwrap();
    let then = then.replace("&#38;", "&").replace("&amp;", "&");
    let badge = Form { action: "/badge".to_owned(), fields: vec![("then".to_owned(), then)] };
    says(&browser.post(&badge, &[("code", "B-17")]), "R-61 was not written. Scan it again.");
    assert_eq!(server.last_seq(), before);
}

#[test]
fn a_page_of_another_site_receives_nothing() {
    let server = Server::yard();
    let before = server.last_seq();
    for path in ["/receive/scan", "/receive/batch", "/job", "/job/J-118/plan", "/issue", "/install", "/boat/NB-1/list"]
    {
        let headers = [
            ("accept", "text/html"),
            ("content-type", "application/x-www-form-urlencoded"),
            ("origin", "https://elsewhere.example"),
            ("cookie", "badge=422d3137"),
        ];
        let body = "id=0197a1c2-0000-7000-8000-000000000009&based_on=1&part=P-3&boat=NB-1&parts=P-3&go=installed&job=J-1&thing=roll/R-42";
        let said = server.send(Method::POST, path, &headers, body.as_bytes().to_vec());
        assert_eq!(said.status, 403, "{path}: {}", said.text);
        // Where it came from is looked at first: without a badge, and with fields that can't be read.
        let elsewhere = [headers[0], headers[1], headers[2]];
        for body in [body, "", "id=none&based_on=much"] {
            let said = server.send(Method::POST, path, &elsewhere, body.as_bytes().to_vec());
            assert_eq!(said.status, 403, "{path} {body}: {}", said.text);
        }
    }
    assert_eq!(server.last_seq(), before);
}

#[test]
fn of_two_scans_in_two_deliveries_at_once_one_is_written_and_the_other_reads_so() {
    let server = Server::yard();
    let before = server.last_seq();
    let rolls = 20;
    let (start, address) = (std::sync::Barrier::new(2), format!("http://{}/receive/scan", server.address()));
    let scan = |delivery: &str, roll: usize| {
        let fields = DELIVERY.split_once('?').unwrap().1.replace("000000000001", delivery);
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        let form = client
            .post(&address)
            .header("accept", "text/html")
            .header("cookie", "badge=422d3137")
            .header("content-type", "application/x-www-form-urlencoded");
        start.wait();
        form.body(format!("{fields}&code=R-{roll}")).send().unwrap().text().unwrap()
    };
    for roll in 100..100 + rolls {
        let (scan, deliveries) = (&scan, ["00000000000a", "00000000000b"]);
        let said = std::thread::scope(|threads| {
            let both = deliveries.map(|delivery| threads.spawn(move || scan(delivery, roll)));
            both.map(|one| one.join().unwrap())
        });
        let refused = said.iter().filter(|page| {
            page.contains("was received before. Nothing") || page.contains("</code> was received before")
        });
        assert_eq!(refused.count(), 1, "R-{roll}");
    }
    // One receipt and one put-away each, and nothing that does not add up.
    assert_eq!(server.last_seq(), before + 2 * rolls as u64);
    assert_eq!(server.get("/api/v1/mismatches").json()["mismatches"], json!([]));
    // A receipt that comes over the API is kept, and named.
    server.receive("R-100");
    assert!(server.get("/api/v1/mismatches").text.contains("received_twice"));
}

#[test]
fn a_roll_whose_receipt_was_struck_can_be_scanned_again() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.get(DELIVERY);
    let page = browser.post(&strip(&page), &[("code", "R-61")]);
    for back in [1, 1] {
        let wrong = entry(&server, back);
        server.decide("strike", "roll/R-61", json!({"entry": wrong["id"], "why": "another roll"}));
    }
    let before = server.last_seq();
    let again = browser.post(&strip(&page), &[("code", "R-61")]);
    says(&again, "R-61: received, in F1 since");
    assert_eq!(server.last_seq(), before + 2);
}

#[test]
fn a_label_that_can_look_like_another_receives_nothing() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.get(DELIVERY);
    let before = server.last_seq();
    for (code, named) in
        [("\u{420}-61", "(U+0420) is not taken in a code"), ("R\u{ff0d}61", "(U+FF0D)"), ("R  61", "Two blanks")]
    {
        let said = browser.post(&strip(&page), &[("code", code)]);
        assert_eq!(said.status, 400, "{code}");
        says(&said, named);
        says(&said, "Nothing was written.");
    }
    let batch = browser.get(&DELIVERY.replace("b-123", "%D0%92-123"));
    assert_eq!(batch.status, 400);
    says(&batch, "(U+0412) is not taken in a code");
    // A badge neither, and what nobody has is said as what it is.
    let form = Form { action: "/badge".to_owned(), fields: Vec::new() };
    let badge = browser.post(&form, &[("code", "\u{412}-17"), ("then", "")]);
    says(&badge, "(U+0412) is not taken in a code");
    assert_eq!(browser.cookie, "badge=422d3137");
    says(&browser.scan("\u{420}-42"), "(U+0420) is not taken in a code");
    assert_eq!(server.last_seq(), before);
}
