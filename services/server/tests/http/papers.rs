//! Papers of goods-in: what came later than its rolls, and what a delivery's note lists.

use crate::browser::{Browser, Form, signed_on, words};
use crate::receive::{DELIVERY, entry, says, strip};
use crate::strike::saving;
use crate::yard::{Said, Server};
use serde_json::json;

#[test]
fn a_paper_that_came_later_is_written_roll_after_roll_with_a_second_person() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let mut page = browser.get(&DELIVERY.replace("source=certificate", "source=nobody"));
    for roll in ["R-65", "R-66"] {
        page = browser.post(&strip(&page), &[("code", roll)]);
    }
    server.pass(120);
    let thing = browser.get("/thing/roll/R-65");
    assert!(thing.text.contains("href=\"/receive/paper/R-65\""), "{}", words(&thing));
    let asked = browser.get("/receive/paper/R-65");
    says(&asked, "Received Wed 06:31, and nobody stated its out-time.");
    let at = "/receive/paper/R-65?choice=certificate&out_time=12:30&refreezes=1&as_of=";
    let late = browser.get(&format!("{at}2026-05-06+06:45"));
    assert_eq!(late.status, 400);
    says(&late, "It was received Wed 06:31: say as of when at that time or before.");
    let page = browser.get(&format!("{at}2026-05-05+18:00"));
    says(&page, "needs a second person");
    let before = server.last_seq();
    let alone = browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]);
    assert_eq!((alone.status, server.last_seq()), (403, before));
    // The next roll of the batch comes with the same paper filled in.
    let next = browser.post(&saving(&page), &[("by", "B-17"), ("second", "B-05")]);
    says(&next, "A paper of roll R-66 that came later");
    assert_eq!(server.last_seq(), before + 2);
    let (strike, receipt) = (entry(&server, 1), entry(&server, 0));
    assert_eq!(
        (&strike["kind"], &strike["body"]["why"]),
        (&json!("entry_struck.v1"), &json!("its certificate came later"))
    );
    let opening = json!({"out_time_s": 45_000, "refreezes": 1, "as_of": "2026-05-05T18:00:00.000+01:00", "source": "certificate"});
    assert_eq!((&receipt["thing"], &receipt["body"]["opening"]), (&json!("roll/R-65"), &opening));
    assert_eq!((&receipt["body"]["width_mm"], &receipt["body"]["from"]), (&json!(1270), &json!("F2")));
    // 12 h 30 min stand on the paper; since then it was in the truck and in F1.
    let card = server.get("/api/v1/things/roll/R-65").json();
    let out = card["limits"].as_array().unwrap().iter().find(|row| row["limit"] == "out_life").unwrap();
    assert_eq!(out["so_far_s"], 45_000, "{card}");
    let last = browser.post(&saving(&next), &[("by", "B-17"), ("second", "B-05")]);
    says(&last, "roll R-66");
    says(&browser.get("/receive/paper/R-66"), "R-66 came with its paper.");
    assert!(!browser.get("/thing/roll/R-66").text.contains("/receive/paper/"));
    for (path, status) in [("/receive/paper/R-77", 404), ("/receive/paper/a%2Fb", 400)] {
        assert_eq!(browser.get(path).status, status, "{path}");
    }
    assert_eq!(server.last_seq(), before + 4);
}

#[test]
fn a_certificate_of_a_batch_that_came_later_is_added_from_its_page() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let batch = browser.get("/thing/batch/PM-101/B-123");
    assert!(batch.text.contains("href=\"/receive/batch?what=PM-101&#38;batch=B-123\""), "{}", batch.text);
    let at = "/receive/batch?what=PM-101&batch=B-123";
    let asked = browser.get(at);
    says(&asked, "It is registered as made on 2026-02-10, and nobody said what day its certificate names.");
    let page = browser.get(&format!("{at}&choice=ask&made_on=2026-02-10&certificate_ends=2026-12-31"));
    says(&page, "needs nobody else");
    let done = browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]);
    says(&done, "keeps until, by its certificate Thu 31 Dec 2026");
    let other = browser.get(&format!("{at}&choice=ask&made_on=2026-02-11&certificate_ends=2026-12-31"));
    assert_eq!(other.status, 400);
    says(&other, "registered already");
}

#[test]
fn what_a_deliverys_note_lists_is_counted_against_what_was_received() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let form = |page: &Said| {
        let id = page.text.split("name=\"id\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        Form { action: "/receive/note".to_owned(), fields: vec![("id".to_owned(), id)] }
    };
    // Without a badge the page asks for one, and is come back to.
    let mut stranger = Browser { server: &server, cookie: String::new() };
    assert!(stranger.get("/receive/note").text.contains("href=\"/badge?then=%2Freceive%2Fnote%3F\""));
    let badge = Form { action: "/badge".to_owned(), fields: vec![("then".to_owned(), "/receive/note?".to_owned())] };
    says(&stranger.post(&badge, &[("code", "B-17")]), "A delivery's note");
    let asked = form(&browser.get("/receive/note"));
    let before = server.last_seq();
    for (note, rolls, sentence) in [
        ("", "R-61", "Say which number the note has."),
        ("DN-7", " \n", "Name the rolls on the note, one a line."),
        ("DN-7", "R-61\nR-62, R-63", "Line 2: write each roll on a line of its own, without commas."),
        ("DN-7", "R-61\nF1", "F1 is a place and no roll. Look at the note again."),
        ("DN-7", "R-61\na/b", "Line 2: a code has 1 to 40 printable characters"),
        ("DN-7", "R-61\n\u{420}-62", "Line 2: \"\u{420}\" (U+0420) is not taken"),
    ] {
        let said = browser.post(&asked, &[("note", note), ("rolls", rolls)]);
        assert_eq!((said.status, server.last_seq()), (400, before), "{rolls}");
        says(&said, &sentence.replace('"', "&#34;"));
    }
    let done = browser.post(&asked, &[("note", "dn-7"), ("rolls", "R-61\r\nr-62\r\n\r\nR-63\r\nR-61")]);
    says(&done, "delivery DN-7 came, its note lists R-61, R-62, R-63, by B-17");
    says(&done, "The 1 entry that names it.");
    says(&done, "Delivery DN-7: 0 of 3 rolls on its note received. Missing: R-61, R-62, R-63.");
    browser.post(&asked, &[("note", "dn-7"), ("rolls", "R-61\r\nr-62\r\n\r\nR-63")]);
    assert_eq!(server.last_seq(), before + 1);
    assert_eq!(entry(&server, 0)["body"], json!({"rolls": ["R-61", "R-62", "R-63"]}));
    assert!(done.text.contains("href=\"/receive?note=DN-7\""), "{}", done.text);
    // What is only noted is not received.
    says(&browser.scan("R-61"), "Nobody has received R-61.");
    let mut page = browser.get(&format!("{DELIVERY}&note=DN-7"));
    says(&page, "0 of 3 rolls on its note received.");
    for roll in ["R-61", "R-63", "R-70"] {
        page = browser.post(&strip(&page), &[("code", roll)]);
    }
    // What the note does not list is taken all the same, and said.
    says(&page, "R-70: received, in F1 since Wed 06:31. The note DN-7 does not list it. It is taken all the same.");
    says(&page, "3 rolls received. 3 can be used.");
    says(&page, "Delivery DN-7: 2 of 3 rolls on its note received. Missing: R-62.");
    says(
        &browser.get(&format!("{DELIVERY}&note=DN-8")),
        "Nobody has written down yet which rolls the note DN-8 lists.",
    );
    // A program reads the same, also as it was known before.
    let seen = server.get("/api/v1/things/delivery/DN-7").json();
    let (received, missing) = (json!(["roll/R-61", "roll/R-63"]), json!(["roll/R-62"]));
    assert_eq!(seen["note"], json!({"noted": 3, "received": received, "missing": missing}));
    let then = server.get(&format!("/api/v1/things/delivery/DN-7?known={}", before + 1)).json();
    assert_eq!(then["note"]["received"], json!([]));
    // A second sheet of the same note, from a program; nothing on it is no note.
    server.fact("delivery_arrived", "delivery/DN-7", json!({"rolls": ["R-42", "R-61"]}));
    let seen = server.get("/api/v1/things/delivery/DN-7").json();
    assert_eq!(seen["say"], json!("Delivery DN-7: 3 of 4 rolls on its note received. Missing: R-62."));
    let nothing = server.fact_now("delivery_arrived", "delivery/DN-7", json!({"rolls": []}));
    let refused = server.post("/api/v1/entries", &json!({"entries": [nothing]})).json();
    assert_eq!(refused["results"][0]["problem"]["errors"][0]["pointer"], "/entries/0/body/rolls", "{refused}");
}

#[test]
fn deliveries_are_listed_newest_first_with_what_is_missing() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    says(&browser.get("/deliveries"), "Nobody has written down a delivery's note.");
    server.fact("delivery_arrived", "delivery/DN-1", json!({"rolls": ["R-42"]}));
    server.pass(60);
    server.fact("delivery_arrived", "delivery/DN-2", json!({"rolls": ["R-42", "R-77", "R-78"]}));
    let before = server.last_seq();
    let page = browser.get("/deliveries");
    let (newer, older) = (page.text.find(">DN-2<").unwrap(), page.text.find(">DN-1<").unwrap());
    assert!(newer < older, "{}", page.text);
    says(&page, "DN-2 Wed 07:31 PM-101 3 1 R-77 , R-78 Receive");
    says(&page, "DN-1 Wed 06:31 PM-101 1 1 none");
    assert!(page.text.contains("href=\"/receive?note=DN-2\"") && page.text.contains("href=\"/thing/delivery/DN-2\""));
    // As it was known before the second came; and what can't be read is said.
    let then = browser.get(&format!("/deliveries?known={}", before - 1));
    assert!(then.text.contains(">DN-1<") && !then.text.contains(">DN-2<"), "{}", then.text);
    says(&browser.get("/deliveries?page=2"), "There are none on this page.");
    for wrong in ["/deliveries?page=-1", "/deliveries?x=1", "/deliveries?known=99999", "/deliveries?at=soon"] {
        assert_eq!(browser.get(wrong).status, 400, "{wrong}");
    }
    for sheet in 3..110 {
        server.fact("delivery_arrived", &format!("delivery/DN-{sheet}"), json!({"rolls": ["R-42"]}));
    }
    let first = browser.get("/deliveries");
    assert!(first.text.contains("href=\"/deliveries?page=2\""), "{}", first.text);
    says(&browser.get("/deliveries?page=2"), "DN-2");
}

#[test]
fn what_was_received_days_before_its_delivery_came_is_named() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    server.pass(60);
    server.fact("delivery_arrived", "delivery/DN-1", json!({"rolls": ["R-42"]}));
    let soon = words(&browser.get("/thing/delivery/DN-1"));
    assert!(soon.contains("all 1 roll on its note received.") && !soon.contains("Received before"), "{soon}");
    server.pass(3 * 24 * 60);
    server.fact("delivery_arrived", "delivery/DN-2", json!({"rolls": ["R-42", "R-77"]}));
    let page = browser.get("/thing/delivery/DN-2");
    says(&page, "Received before this delivery came, so look whether the label is right: R-42 Wed 6 May 06:00."); // Another program hears the same, and the list names it among what is to be looked at.
    let expected = json!([{"roll": "roll/R-42", "received_at": "2026-05-06T06:00:00.000+01:00"}]);
    let of = |delivery: &str| server.get(&format!("/api/v1/things/delivery/{delivery}")).json()["note"].clone();
    assert_eq!((&of("DN-2")["received_before"], &of("DN-1")["received_before"]), (&expected, &json!(null)));
    let listed = server.get("/api/v1/deliveries?limit=9").json();
    let listed = listed["items"].as_array().unwrap().iter().find(|row| row["thing"] == "delivery/DN-2").unwrap();
    assert_eq!(listed["delivered"]["note"]["received_before"], expected);
    says(&browser.get("/deliveries"), "DN-2 Sat 07:31 PM-101 2 1, 1 before it came R-77");
    let file = server.get("/deliveries.csv").text;
    assert!(file.contains("R-77,R-42 received before it came"), "{file}");
}
