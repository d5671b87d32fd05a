//! The pages by which work is done: each button writes one fact, once.

use crate::browser::{Browser, moves, signed_on, words};
use crate::yard::Server;
use serde_json::{Value, json};

fn job(server: &Server, stages: &[&str]) {
    let plan = json!({"part": "P-3", "stages": stages, "needs": [{"material": "PM-101", "length_mm": 22_500}],
                      "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", "job/J-118", plan);
}

/// A kit of R-42, cut a moment ago.
fn kit(server: &Server) {
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let kits = json!([{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 12000}]}]);
    server.fact("nest_cut", "nest/N-7", json!({"kits": kits}));
}

fn last(server: &Server) -> Value {
    server.get(&format!("/api/v1/entries/{}", server.last_seq())).json()
}

#[test]
fn plies_are_laid_with_two_scans_and_a_tap_and_once() {
    let server = Server::yard();
    job(&server, &["skin"]);
    kit(&server);
    let mut browser = signed_on(&server);
    assert!(words(&browser.get("/lay")).contains("Scan the part."));
    assert!(words(&browser.get("/lay?code=P-3")).contains("P-3 skin: scan the kit or roll."));
    let asked = browser.get("/lay?part=P-3&stage=skin&code=K-5");
    let may = server.get("/api/v1/things/kit/K-5/may-use?act=lay&job=J-118").json();
    assert!(words(&asked).contains(may["say"].as_str().unwrap()), "{}", words(&asked));
    let before = server.last_seq();
    server.pass(5);
    let form = moves(&asked);
    let done = browser.post(&form, &[("go", "laid")]);
    assert!(words(&done).contains("P-3 skin: laid from K-5 Wed 06:36. Heating by"), "{}", words(&done));
    assert!(words(&done).contains(", because of R-42."), "{}", words(&done));
    let entry = last(&server);
    assert_eq!((&entry["kind"], &entry["thing"]), (&json!("plies_laid.v1"), &json!("part/P-3")), "{entry}");
    // Its first ply counts from the scan of the kit, five minutes before the tap.
    let body = json!({"stage": "skin", "from": "kit/K-5", "from_at": "2026-05-06T06:31:00.000+01:00"});
    assert_eq!(entry["body"], body);
    assert_eq!((&entry["by"], &entry["shown"]["answer"]), (&json!("B-17"), &may["answer"]), "{entry}");
    server.pass(5);
    browser.post(&form, &[("go", "laid")]);
    assert_eq!(server.last_seq(), before + 1);
    // Who goes back and presses the button of a page that was made anew writes it again, and is told.
    let once = words(&browser.get(&format!("/lay?part=P-3&stage=skin&done={}", before + 1)));
    assert!(!once.contains("Again"), "{once}");
    let anew = moves(&browser.get("/lay?part=P-3&stage=skin&from=kit/K-5"));
    let twice = words(&browser.post(&anew, &[("go", "laid")]));
    assert!(twice.contains("P-3 skin: laid from K-5 Wed 06:41. Again: also laid Wed 06:36."), "{twice}");
    let strike = json!({"entry": last(&server)["id"], "why": "pressed twice"});
    server.decide("strike", "part/P-3", strike);

    // Who comes back later finds what is laid, and the same button.
    let later = browser.get("/lay?code=P-3");
    assert!(words(&later).contains("P-3 skin: some of it is laid. Scan the next kit or roll. Heating by"));
    let complete = browser.post(&moves(&later), &[("go", "complete")]);
    assert!(words(&complete).contains("P-3 skin: lay-up complete Wed 06:41."), "{}", words(&complete));
    let entry = last(&server);
    assert_eq!((&entry["kind"], &entry["body"]), (&json!("layup_completed.v1"), &json!({"stage": "skin"})));
}

#[test]
fn a_part_of_several_stages_asks_which_and_bad_input_is_answered_in_words() {
    let server = Server::yard();
    job(&server, &["skin", "core bond"]);
    kit(&server);
    let mut browser = signed_on(&server);
    let which = browser.get("/lay?code=P-3");
    assert!(words(&which).contains("P-3: which stage?"), "{}", words(&which));
    assert!(which.text.contains("part=P-3&#38;stage=core%20bond"), "{}", which.text);
    for (path, sentence) in [
        ("/lay?code=P-77", "Nobody has named a part P-77."),
        ("/lay?code=F1", "F1 is a place: not asked for here."),
        ("/lay?code=a/b", "That is no code of a label"),
        ("/lay?part=P-77", "Nobody has named a part P-77."),
        ("/lay?part=P-3&stage=skin&from=kit/K-9", "Nobody has cut a kit K-9."),
    ] {
        assert!(words(&browser.get(path)).contains(sentence), "{path}: {}", words(&browser.get(path)));
    }
    let from = words(&browser.get("/lay?code=R-42"));
    assert!(from.contains("From R-42: now scan the part."), "{from}");
    let before = server.last_seq();
    let asked = browser.get("/lay?part=P-3&stage=skin&from=roll/R-42");
    for (length, problem) in [
        ("", "Say how many metres, such as 38.2."),
        ("all", "&#34;all&#34; is no length; write metres with a point, such as 38.2."),
        ("-3", "-3 m is less than nothing."),
    ] {
        // What was typed is asked for again where it was typed, and the range stays open from its scan.
        let form = moves(&asked);
        let began = form.fields.iter().find(|(name, _)| name == "from_at").unwrap().1.clone();
        let fields = form.fields.into_iter().filter(|(name, _)| name != "length").collect();
        server.pass(1);
        let said = browser.post(&crate::browser::Form { fields, ..form }, &[("length", length), ("go", "laid")]);
        assert!(words(&said).contains(problem), "{}", words(&said));
        assert!(said.text.contains(&format!("name=\"length\" value=\"{length}\"")), "{}", said.text);
        assert!(said.text.contains(&format!("name=\"from_at\" value=\"{began}\"")), "{}", said.text);
    }
    assert_eq!(server.last_seq(), before);
    let form = moves(&browser.get("/lay?part=P-3&stage=skin&from=kit/K-5"));
    let said = browser.post(&form, &[("go", "eaten")]);
    assert_eq!(said.status, 400);
    assert!(words(&said).contains("That button is not one of this page's."), "{}", words(&said));
    assert_eq!(server.last_seq(), before);
}

#[test]
fn laying_is_asked_without_a_badge_and_recorded_with_one() {
    let server = Server::yard();
    job(&server, &["skin"]);
    kit(&server);
    let mut browser = Browser { server: &server, cookie: String::new() };
    let asked = browser.get("/lay?part=P-3&stage=skin&from=kit/K-5");
    assert!(words(&asked).contains("Scan your badge, then record it"), "{}", words(&asked));
    let badge = crate::browser::Form { action: "/badge".to_owned(), fields: Vec::new() };
    let back = browser.post(&badge, &[("code", "B-17"), ("then", "/lay?part=P-3&stage=skin&from=kit/K-5")]);
    assert!(words(&back).contains("Laid from K-5"), "{}", words(&back));
    // Another server's address is none of this one's.
    let home = browser.post(&badge, &[("code", "B-17"), ("then", "//example.org/lay?")]);
    assert!(home.text.contains("id=\"code\""));
}

#[test]
fn what_is_in_the_oven_or_cured_says_so_where_somebody_wants_to_lay_onto_it() {
    let server = Server::yard();
    job(&server, &["skin"]);
    kit(&server);
    let mut browser = signed_on(&server);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "kit/K-5"}));
    server.fact("oven_run_started", "run/RUN-1", json!({"oven": "OV-1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    server.pass(30);
    let heating = browser.get("/lay?code=P-3");
    assert!(words(&heating).contains("P-3 skin is in the oven since"), "{}", words(&heating));
    assert!(
        words(&heating).contains("in run RUN-1. Nothing is laid onto it. If it is not in there, say first what came")
    );
    assert!(
        heating.text.contains("href=\"/oven?run=RUN-1\"") && !heating.text.contains("name=\"go\""),
        "{}",
        heating.text
    );
    let under_way = server.now();
    server.fact("oven_run_ended", "run/RUN-1", json!({"committed_at": under_way, "cured": true, "source": "chart"}));
    let cured = browser.get("/lay?code=P-3");
    assert!(words(&cured).contains("P-3 skin is cured: it went into the oven"), "{}", words(&cured));
    assert!(words(&cured).contains("A repair is a stage of its own: ask quality. Or scan another part."));
    // It may have happened all the same: then it is written, and against what the screen said.
    let asked = browser.get("/lay?part=P-3&stage=skin&from=roll/R-42");
    assert!(words(&asked).contains("Nothing more is laid onto it."), "{}", words(&asked));
    assert!(words(&asked).contains("Laid from R-42, all the same"), "{}", words(&asked));
    let before = server.last_seq();
    let mut form = moves(&asked);
    form.fields.retain(|(name, _)| name != "length");
    let done = browser.post(&form, &[("go", "laid"), ("length", "1.5")]);
    assert_eq!(server.last_seq(), before + 1);
    assert!(words(&done).contains("P-3 skin: laid from R-42"), "{}", words(&done));
}

#[test]
fn what_was_typed_wrong_is_made_right_from_where_it_was_written_and_every_work_page_leads_home() {
    let server = Server::yard();
    job(&server, &["skin"]);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let mut browser = signed_on(&server);
    let asked = browser.get("/lay?part=P-3&stage=skin&from=roll/R-42");
    let mut form = moves(&asked);
    form.fields.retain(|(name, _)| name != "length");
    let mixed = browser.post(&form, &[("go", "laid"), ("length", "1.234,5")]);
    assert!(words(&mixed).contains("can be read in two ways"), "{}", words(&mixed));
    assert!(mixed.text.contains("name=\"length\" value=\"1.234,5\""), "{}", mixed.text);
    let done = browser.post(&form, &[("go", "laid"), ("length", "12,5 m")]);
    let seq = server.last_seq();
    let entry = server.get(&format!("/api/v1/entries/{seq}")).json();
    assert_eq!(entry["body"]["length_mm"], 12_500, "{entry}");
    for (pick, label) in [("length", "Another length"), ("never", "It didn't happen")] {
        let link = format!("href=\"/strike/{seq}?pick={pick}\"");
        assert!(done.text.contains(&link) && words(&done).contains(label), "{}", done.text);
        let page = browser.get(&format!("/strike/{seq}?pick={pick}"));
        assert_eq!(page.status, 200);
        assert!(page.text.contains(&format!("value=\"{pick}\" checked")), "{}", page.text);
        assert!(!page.text.contains("name=\"based_on\"") && !page.text.contains("role=\"alert\""), "{}", page.text);
    }
    // The effect stands there before anything is saved.
    let effect = browser.get(&format!("/strike/{seq}?choice=length&length=11,5"));
    assert!(words(&effect).contains("What it would change") && effect.text.contains("name=\"based_on\""));
    assert_eq!(server.last_seq(), seq);
    for path in ["/lay", "/cut", "/oven", "/dispose", "/dispose?thing=roll/R-42", "/install", "/issue"] {
        let page = browser.get(path);
        assert!(page.text.contains("href=\"/\">Scan screen</a>"), "{path}: {}", page.text);
    }
}
