//! The oven page: what goes in, the start with one tap, and what came of the run.

use crate::browser::{Browser, Form, moves, signed_on, words};
use crate::yard::{Said, Server};
use serde_json::{Value, json};

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

/// P-3 with its skin laid from R-42.
fn laid() -> Server {
    let server = Server::yard();
    let plan = json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 22_500}],
                      "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", "job/J-118", plan);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(10);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 12_000}));
    server.pass(20);
    server
}

fn last(server: &Server) -> Value {
    server.get(&format!("/api/v1/entries/{}", server.last_seq())).json()
}

/// The form that says what came of a run, with neither source chosen yet.
fn ending(run: &Said) -> Form {
    let typed = ["source", "committed_at", "now", "why"];
    let Form { action, fields } = moves(run);
    Form { action, fields: fields.into_iter().filter(|(name, _)| !typed.contains(&name.as_str())).collect() }
}

/// The run that was started with two scans and a tap.
fn started(browser: &mut Browser<'_>) -> Said {
    browser.get("/oven?code=P-3");
    let asked = browser.get("/oven?stages=P-3/skin&code=OV-1");
    browser.post(&moves(&asked), &[("go", "started")])
}

#[test]
fn heating_starts_with_a_tap_once_and_is_confirmed_by_its_chart() {
    let server = laid();
    let mut browser = signed_on(&server);
    let first = browser.get("/oven");
    says(&first, "Scan a part that goes in.");
    says(&first, "These wait for it, soonest first. P-3 skin, by ");
    assert!(first.text.contains("/oven?stages=P-3/skin"), "{}", first.text);
    says(&browser.get("/oven?code=P-3"), "P-3 skin: which oven?");
    let asked = browser.get("/oven?stages=P-3/skin");
    says(&asked, "P-3 skin: which oven?");
    let may = server.get("/api/v1/things/part/P-3/may-use?act=oven&stage=skin").json();
    says(&asked, may["say"].as_str().unwrap());
    let asked = browser.get("/oven?stages=P-3/skin&code=OV-1");
    says(&asked, "P-3 skin: into OV-1.");
    let before = server.last_seq();
    let form = moves(&asked);
    let run = browser.post(&form, &[("go", "started")]);
    says(&run, "P-3 skin in OV-1 since Wed 07:01. Not confirmed yet.");
    let entry = last(&server);
    assert_eq!(entry["kind"], "oven_run_started.v1");
    assert!(entry["thing"].as_str().unwrap().starts_with("run/RUN-260506-0701-"), "{entry}");
    assert_eq!(entry["body"], json!({"oven": "OV-1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    assert_eq!(entry["shown"]["answer"], may["answer"], "{entry}");
    server.pass(5);
    says(&browser.post(&form, &[("go", "started")]), "since Wed 07:01.");
    assert_eq!(server.last_seq(), before + 1);
    // The next oven run of the day offers the oven; the part leads to its run.
    assert!(browser.get("/oven?stages=P-9/skin").status < 500);
    says(&browser.get("/oven?code=P-3"), "skin: in RUN-260506-0701-");
    server.pass(55);
    let form = ending(&run);
    // Nothing is chosen, and nothing looks as if it had been typed.
    assert!(!run.text.contains("checked") && !run.text.contains("placeholder=\"2026"), "{}", run.text);
    for (source, time, now, problem) in [
        ("", "", "", "Say first what shows it: the chart or a record."),
        ("", "2026-05-06 07:41", "", "Say first what shows it: the chart or a record."),
        ("chart", "", "", "Type since when the chart shows the cure under way, or tick that it is now."),
        ("record", "", "", "Type since when the record says the cure under way, or tick that it is now."),
        ("chart", "2026-05-06 07:41", "1", "A time is typed and now is ticked. Leave one of them."),
        ("chart", "soon", "", "2026-05-04 06:00"),
        ("chart", "2026-05-06 06:40", "", "That is before the run started."),
        ("chart", "2026-05-06 23:40", "", "That time is still to come."),
    ] {
        let fields = [("go", "cured"), ("source", source), ("committed_at", time), ("now", now)];
        let said = browser.post(&form, &fields);
        assert_eq!(said.text.contains("value=\"chart\" checked"), source == "chart", "{}", said.text);
        says(&said, problem);
        assert!(said.text.contains(&format!("value=\"{time}\"")), "what was typed is kept: {}", said.text);
    }
    assert_eq!(server.last_seq(), before + 1);
    let cured = browser.post(&form, &[("go", "cured"), ("committed_at", "2026-05-06 07:41"), ("source", "chart")]);
    says(&cured, "Confirmed: the cure was under way since Wed 07:41.");
    assert!(!cured.text.contains("name=\"committed_at\""));
    let body = json!({"committed_at": "2026-05-06T07:41:00.000+01:00", "cured": true, "source": "chart"});
    assert_eq!(last(&server)["body"], body);
}

#[test]
fn a_run_that_broke_off_or_did_not_cure_stopped_no_clock() {
    for (go, why, sentence, body) in [
        ("not_cured", "", "Not cured: it stopped no clock.", json!({"cured": false, "source": "chart"})),
        ("broke_off", "power", "It broke off: it stopped no clock.", json!({"why": "power"})),
    ] {
        let server = laid();
        let mut browser = signed_on(&server);
        let run = started(&mut browser);
        server.pass(30);
        let form = ending(&run);
        says(&browser.post(&form, &[("go", go), ("why", why), ("source", "chart")]), sentence);
        assert_eq!(last(&server)["body"], body);
    }
}

#[test]
fn a_run_that_broke_off_after_its_cure_was_under_way_is_held_and_contradicts_nothing() {
    for (fact, body, why) in [
        ("oven_run_interrupted", json!({"why": "power"}), "It broke off"),
        (
            "oven_run_ended",
            json!({"cured": false, "source": "chart", "committed_at": "2026-05-06T07:11:00+01:00"}),
            "It was not cured",
        ),
    ] {
        let server = laid();
        let mut browser = signed_on(&server);
        started(&mut browser);
        let name = last(&server)["thing"].as_str().unwrap().to_owned();
        server.pass(60);
        if fact == "oven_run_interrupted" {
            let under_way = json!({"source": "chart", "committed_at": "2026-05-06T07:11:00+01:00"});
            server.fact("oven_run_ended", &name, under_way);
        }
        let end = server.fact(fact, &name, body)["id"].clone();
        let address = format!("/oven?run={}", &name[4..]);
        let page = browser.get(&address);
        says(&page, &format!("{why} after the cure was under way: held."));
        assert!(!words(&page).contains("contradict"), "{}", words(&page));
        let lift = json!({"hold": end, "why": "looked at"});
        server.decide("lift_hold", "part/P-3", lift);
        says(&browser.get(&address), &format!("{why} after the cure was under way; quality lifted its hold."));
    }
}

#[test]
fn what_is_under_way_only_now_is_said_so_and_counts_from_then_and_never_from_the_start() {
    let server = laid();
    let mut browser = signed_on(&server);
    let run = started(&mut browser);
    server.pass(45);
    browser.post(&ending(&run), &[("go", "cured"), ("source", "record"), ("now", "1")]);
    let body = json!({"committed_at": "2026-05-06T07:46:00.000+01:00", "cured": true, "source": "record"});
    assert_eq!(last(&server)["body"], body);
}

#[test]
fn what_is_no_part_no_oven_and_no_run_is_said_and_nothing_is_written() {
    let server = laid();
    let mut browser = signed_on(&server);
    let before = server.last_seq();
    for (path, sentence) in [
        ("/oven?code=P-77", "Nobody has"),
        ("/oven?code=R-42", "R-42 is a roll: not asked for here."),
        ("/oven?code=a/b", "That is no code of a label"),
        ("/oven?part=P-77", "Nobody has named a part P-77."),
        ("/oven?run=RUN-9", "Nobody has recorded the start of run RUN-9."),
        ("/oven?stages=P-77/skin&oven=OV-1", "P-77"),
    ] {
        let page = browser.get(path);
        assert_eq!(page.status, 200, "{path}");
        says(&page, sentence);
    }
    assert_eq!(browser.get("/oven?stages=P-3").status, 400);
    let long = "x".repeat(10_000);
    assert!(browser.get(&format!("/oven?stages={long}")).status < 500);
    let form = moves(&browser.get("/oven?stages=P-3/skin&oven=OV-1"));
    assert_eq!(browser.post(&form, &[("go", "eaten")]).status, 400);
    let mut nobody = Browser { server: &server, cookie: String::new() };
    says(&nobody.get("/oven?stages=P-3/skin&oven=OV-1"), "Scan your badge, then record it");
    let asked = nobody.post(&form, &[("go", "started")]);
    assert!(asked.text.contains("name=\"then\""), "{}", words(&asked));
    assert_eq!(server.last_seq(), before);
}

#[test]
fn plies_laid_after_a_run_began_are_not_called_cured_by_it() {
    let server = laid();
    let mut browser = signed_on(&server);
    let run = started(&mut browser);
    let name = last(&server)["thing"].as_str().unwrap().to_owned();
    server.pass(40);
    browser.post(&ending(&run), &[("go", "cured"), ("source", "chart"), ("now", "1")]);
    let address = format!("/oven?run={}", &name[4..]);
    let page = browser.get(&address);
    says(&page, "Confirmed: the cure was under way since ");
    assert!(!words(&page).contains("after it began"), "{}", words(&page));
    server.pass(5);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 500}));
    says(&browser.get(&address), "Plies were laid after it began: P-3 skin. It does not cure them.");
    // What lies there may go into the next run.
    let again = browser.get("/oven?part=P-3");
    says(&again, "P-3 skin: which oven?");
}

#[test]
fn entries_that_contradict_each_other_confirm_nothing_on_the_screen() {
    let server = laid();
    let mut browser = signed_on(&server);
    let run = started(&mut browser);
    let name = last(&server)["thing"].as_str().unwrap().to_owned();
    server.pass(40);
    let form = ending(&run);
    browser.post(&form, &[("go", "cured"), ("source", "chart"), ("now", "1")]);
    // The same press a minute later: its time is that of the first.
    let before = server.last_seq();
    server.pass(1);
    assert_eq!(browser.post(&form, &[("go", "cured"), ("source", "chart"), ("now", "1")]).status, 200);
    assert_eq!(server.last_seq(), before);
    server.fact("oven_run_ended", &name, json!({"cured": false, "source": "record"}));
    let address = format!("/oven?run={}", &name[4..]);
    let page = browser.get(&address);
    says(&page, "Its entries contradict each other");
    says(
        &page,
        "it was said Wed 6 May 2026 07:41 that its cure was under way Wed 6 May 2026 07:41, and Wed 6 May 2026 07:42 that it was not cured.",
    );
    assert!(page.text.contains(&format!("href=\"/thing/{name}\"")), "{}", page.text);
    let open = server.get("/api/v1/mismatches").json()["mismatches"].clone();
    let kinds: Vec<&Value> = open.as_array().unwrap().iter().map(|one| &one["kind"]).collect();
    assert_eq!(kinds, ["ends_contradict"], "{open}");
    says(&browser.get("/mismatches"), &format!("What came of {}? Strike what is wrong.", &name[4..]));
    says(&browser.get("/thing/part/P-3"), "that it was not cured.");
    // Started again under the same label, that is one more.
    server.fact("oven_run_started", &name, json!({"oven": "OV-1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    says(&browser.get("/mismatches"), &format!("Which start of {} is right? Strike the other one.", &name[4..]));
    let page = browser.get(&address);
    says(&page, "Its entries contradict each other");
    says(&page, "what was in both waits until the later start.");
    let nobody = browser
        .post(&Form { action: "/oven".to_owned(), fields: form.fields.clone() }, &[("go", "cured"), ("run", "NORUN")]);
    assert!(nobody.status == 400, "{}", words(&nobody));
}

#[test]
fn a_freezer_is_no_oven_and_an_oven_that_nobody_used_is_asked_about() {
    let server = laid();
    let mut browser = signed_on(&server);
    let no = "F1 is a frozen place and no oven. Scan what stands on the oven.";
    for path in ["/oven?stages=P-3/skin&code=F1", "/oven?stages=P-3/skin&oven=F1"] {
        let said = browser.get(path);
        says(&said, no);
        assert!(!said.text.contains("value=\"started\"") && !words(&said).contains("lately"), "{}", said.text);
    }
    let asked = browser.get("/oven?stages=P-3/skin&oven=OV-1");
    says(&asked, "Nobody heated anything in OV-1 lately: look whether that is the oven.");
    browser.post(&moves(&asked), &[("go", "started")]);
    let again = words(&browser.get("/oven?stages=P-3/skin&oven=OV-1"));
    assert!(!again.contains("lately"), "{again}");
    // What may not be heated says so before it asks for anything.
    assert!(again.contains("Do not heat it. P-3 skin: into OV-1. P-3 skin is in run "), "{again}");
    // Pressed all the same, it is in two runs by the book: that is said, and what came of this one can still be.
    let anew = browser.get("/oven?stages=P-3/skin&oven=OV-1");
    let second = browser.post(&moves(&anew), &[("go", "started")]);
    says(&second, "with P-3 skin, which was in RUN-");
    assert!(second.text.contains("value=\"cured\""), "{}", second.text);
}

#[test]
fn every_run_that_nobody_confirmed_is_asked_about() {
    let server = laid();
    let mut browser = signed_on(&server);
    for run in ["RUN-1", "RUN-2"] {
        let body = json!({"oven": "OV-1", "stages": [{"part": "P-3", "stage": "skin"}]});
        server.fact("oven_run_started", &format!("run/{run}"), body);
        server.pass(5);
    }
    let page = browser.get("/oven");
    says(&page, "Nobody has said yet what came of these runs.");
    for run in ["RUN-1", "RUN-2"] {
        says(&page, &format!("{run}: what came of it?"));
    }
    let under_way = server.now();
    let body = json!({"committed_at": under_way, "cured": true, "source": "chart"});
    server.fact("oven_run_ended", "run/RUN-1", body);
    says(&browser.get("/oven?part=P-3"), "skin: cured in RUN-1");
}
