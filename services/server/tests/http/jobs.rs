//! Jobs, what is issued to them, boats' lists and what is installed: on pages, each written once.

use crate::browser::{Browser, Form, moves, signed_on, words};
use crate::strike::saving;
use crate::yard::{Said, Server};
use serde_json::{Value, json};

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

fn last(server: &Server) -> Value {
    server.get(&format!("/api/v1/entries/{}", server.last_seq())).json()
}

const PLAN: &str = "part=p-3&stages=skin,+core+bond&needs=pm-101+22.5&lay_at=2026-05-06+16:00&oven_at=2026-05-06+20:00&boat=nb-32&choice=ask";

#[test]
fn a_job_is_opened_planned_again_and_read() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    says(&browser.get("/job"), "Open a job");
    let page = browser.get(&format!("/job?code=j-118&{PLAN}"));
    says(&page, "needs nobody else");
    let before = server.last_seq();
    let form = saving(&page);
    let done = browser.post(&form, &[("by", "B-17"), ("second", "")]);
    says(&done, "Job J-118");
    says(&done, "It makes P-3, skin and core bond, for boat NB-32. Last ply down Wed 16:00, oven on Wed 20:00.");
    let body = json!({"part": "P-3", "stages": ["skin", "core bond"], "needs": [{"material": "PM-101", "length_mm": 22_500}],
                      "lay_at": "2026-05-06T16:00:00.000+01:00", "oven_at": "2026-05-06T20:00:00.000+01:00", "boat": "NB-32"});
    assert_eq!((&last(&server)["kind"], &last(&server)["body"]), (&json!("job_opened.v1"), &body));
    says(&browser.post(&form, &[("by", "B-17"), ("second", "")]), "It was written before, once:");
    assert_eq!(server.last_seq(), before + 1);
    // A second job of the same number.
    let again = browser.get(&format!("/job?code=J-118&{PLAN}"));
    assert_eq!(again.status, 400);
    says(&again, "J-118 is open already");

    let plan = browser.get("/job/J-118/plan");
    assert!(
        plan.text.contains("value=\"2026-05-06 16:00\"") && plan.text.contains("PM-101 22.5</textarea>"),
        "{}",
        plan.text
    );
    let page = browser.get(&format!("/job/J-118/plan?{}", PLAN.replace("06+20:00", "07+20:00")));
    let done = browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]);
    says(&done, "oven on Thu 20:00");
    assert_eq!(last(&server)["kind"], json!("job_replanned.v1"));
    says(&browser.get("/jobs"), "Open a job");
    assert!(browser.get("/jobs").text.contains("href=\"/job/J-118\""));
}

#[test]
fn a_plan_that_lacks_material_is_not_said_to_be_without_warnings() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    for (job, metres) in [("J-118", 22_500), ("J-119", 40_000)] {
        let plan = json!({"part": format!("P-{job}"), "stages": ["skin"], "lay_at": "2026-05-06T16:00:00+01:00",
                          "oven_at": "2026-05-06T20:00:00+01:00",
                          "needs": [{"material": "PM-101", "length_mm": metres}]});
        server.decide("open_job", &format!("job/{job}"), plan);
    }
    says(&browser.get("/job/J-118"), "Nothing warns of this plan.");
    let short = browser.get("/job/J-119");
    says(&short, "1 warning of this plan.");
    says(&short, "J-119 needs 40.0 m of PM-101; 27.5 m can be used.");
}

#[test]
fn all_that_is_wrong_with_a_plan_is_said_at_once() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let nothing = browser.get("/job?part=&choice=ask");
    assert_eq!(nothing.status, 400);
    for sentence in [
        "Nothing is written yet. Look at this again:",
        "Give the job a number",
        "Name the part",
        "at least one lay-up stage",
        "Say what it needs",
        "Say when it was",
    ] {
        says(&nothing, sentence);
    }
    // What another plan names is not entered by that.
    let plan = json!({"part": "P-9", "stages": ["skin"], "needs": [{"material": "QQ-9", "length_mm": 1_000}],
                      "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", "job/J-9000", plan);
    for (right, wrong, sentence) in [
        ("pm-101+22.5", "pm-101+-1", "Line 1: -1 m is less than nothing."),
        ("pm-101+22.5", "pm-101", "Line 1: a material and its metres are expected"),
        ("pm-101+22.5", "QQ-9+3", "Line 1: nobody has entered a material QQ-9."),
        ("2026-05-06+16:00", "2026-02-31+16:00", "is no time"),
        ("2026-05-06+20:00", "2026-05-06+15:00", "The oven is on before the last ply is down."),
        ("part=p-3", "part=a%2Fb", "1 to 40 printable characters"),
        ("skin,", "a%2Fb,", "1 to 40 printable characters"),
    ] {
        let page = browser.get(&format!("/job?code=J-1&{}", PLAN.replace(right, wrong)));
        assert_eq!(page.status, 400, "{wrong}");
        says(&page, sentence);
    }
    let long = browser.get(&format!("/job?code={}&{PLAN}", "x".repeat(10_000)));
    assert_eq!(long.status, 400);
    for (path, status) in [("/job/J-9", 404), ("/job/J-9/plan", 404), ("/job/a%2Fb", 400)] {
        assert_eq!(browser.get(path).status, status, "{path}");
    }
    let late = Form { action: format!("/job?{PLAN}"), fields: vec![("part".to_owned(), "P-3".to_owned())] };
    assert_eq!(browser.post(&late, &[("by", "B-17")]).status, 400);
}

fn opened(server: &Server) {
    let plan = json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 22_500}],
                      "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", "job/J-118", plan);
}

#[test]
fn a_roll_is_issued_with_two_scans_and_a_tap_and_once() {
    let server = Server::yard();
    opened(&server);
    let mut browser = signed_on(&server);
    says(&browser.get("/issue"), "Scan the job.");
    says(&browser.get("/issue?code=j-118"), "J-118: scan a roll or kit.");
    let asked = browser.get("/issue?job=J-118&code=R-42");
    says(&asked, "Yes, for J-118.");
    let before = server.last_seq();
    let form = moves(&asked);
    let done = browser.post(&form, &[("go", "issue")]);
    says(&done, "R-42: issued to J-118 Wed 06:31.");
    browser.post(&form, &[("go", "issue")]);
    assert_eq!(server.last_seq(), before + 1);
    assert_eq!((&last(&server)["kind"], &last(&server)["body"]), (&json!("issued.v1"), &json!({"job": "J-118"})));
    says(&browser.get("/issue?job=J-118&thing=roll/R-42"), "R-42 was issued to J-118 already.");
    let job = browser.get("/job/J-118");
    says(&job, "roll R-42");
    says(&job, "Yes, for J-118.");
}

#[test]
fn what_does_not_last_is_not_issued_and_says_why() {
    let server = Server::yard();
    opened(&server);
    server.receive("R-43");
    let mut browser = signed_on(&server);
    let asked = browser.get("/issue?job=J-118&thing=roll/R-43");
    server.decide("place_hold", "roll/R-43", json!({"why": "torn bag"}));
    let refused = browser.post(&moves(&asked), &[("go", "issue")]);
    assert_eq!(refused.status, 409);
    says(&refused, "Nothing was written.");
    let held = browser.get("/issue?job=J-118&code=R-43");
    says(&held, "Do not use it for J-118.");
    says(&held, "torn bag");
    assert!(!held.text.contains("<form class=\"moves"), "{}", words(&held));
    for (path, sentence) in [
        ("/issue?code=J-9", "Nobody"),
        ("/issue?job=J-9", "Nobody has opened J-9: open it first."),
        ("/issue?job=J-118&code=F1", "F1 is a place: not asked for here."),
        ("/issue?job=J-118&thing=roll/R-9", "Nobody has received R-9."),
        ("/issue?job=J-118&code=a/b", "That is no code of a label"),
    ] {
        says(&browser.get(path), sentence);
    }
    let bad = Form { action: "/issue".to_owned(), fields: vec![("job".to_owned(), "J-118".to_owned())] };
    assert_eq!(browser.post(&bad, &[]).status, 400);
}

/// P-3 laid of K-5 and, if so, cured.
fn part(server: &Server, cured: bool) {
    opened(server);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let kits = json!([{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 12000}]}]);
    server.fact("nest_cut", "nest/N-7", json!({"kits": kits}));
    server.pass(10);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "kit/K-5"}));
    server.pass(10);
    server.fact("oven_run_started", "run/OR-1", json!({"oven": "OV-1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    if cured {
        server.pass(30);
        let committed = server.now();
        server.pass(300);
        let body = json!({"committed_at": committed, "cured": true, "source": "chart"});
        server.fact("oven_run_ended", "run/OR-1", body);
    }
    server.pass(10);
}

#[test]
fn a_cured_part_is_installed_and_removed_with_two_scans_and_a_tap() {
    let server = Server::yard();
    part(&server, true);
    server.decide("declare_boat", "boat/NB-32", json!({"parts": ["P-3", "P-4"]}));
    let mut browser = signed_on(&server);
    says(&browser.get("/install"), "Scan the part.");
    says(&browser.get("/install?code=p-3"), "P-3 may be installed. Scan the boat.");
    let asked = browser.get("/install?part=P-3&code=NB-32");
    says(&asked, "laid and cured within life");
    let before = server.last_seq();
    let form = moves(&asked);
    let done = browser.post(&form, &[("go", "installed")]);
    says(&done, "P-3: installed in NB-32");
    browser.post(&form, &[("go", "installed")]);
    assert_eq!(server.last_seq(), before + 1);
    assert_eq!(
        (&last(&server)["kind"], &last(&server)["body"]),
        (&json!("part_installed.v1"), &json!({"boat": "NB-32"}))
    );
    assert_eq!(last(&server)["shown"]["answer"], json!("yes"));

    let inside = browser.get("/install?part=P-3&boat=NB-32");
    says(&inside, "Do not install P-3. It is in boat NB-32 since");
    let out = browser.post(&moves(&inside), &[("go", "removed")]);
    says(&out, "P-3: removed from NB-32");
    assert_eq!(last(&server)["kind"], json!("part_removed.v1"));
}

#[test]
fn what_is_not_cured_or_is_held_is_said_before_and_written_all_the_same() {
    let server = Server::yard();
    part(&server, false);
    let mut browser = signed_on(&server);
    let asked = browser.get("/install?part=P-3&boat=NB-32");
    says(&asked, "Do not install P-3.");
    says(&asked, "skin: no confirmed cure.");
    says(&asked, "Nobody has named a boat NB-32 before.");
    server.decide("place_hold", "batch/PM-101/B-123", json!({"why": "maker's letter"}));
    says(&browser.get("/install?part=P-3&boat=NB-32"), "Held with B-123 since");
    let done = browser.post(&moves(&asked), &[("go", "installed")]);
    says(&done, "P-3: installed in NB-32");
    says(&done, "while it was held");
    for (path, sentence) in [
        ("/install?code=P-77", "Nobody has named a part P-77."),
        ("/install?part=P-77", "Nobody has named a part P-77."),
        ("/install?code=F1", "F1 is a place: not asked for here."),
        ("/install?code=a/b", "That is no code of a label"),
    ] {
        says(&browser.get(path), sentence);
    }
    let before = server.last_seq();
    let form = moves(&browser.get("/install?part=P-3&boat=NB-32"));
    let wrong = browser.post(&form, &[("go", "eaten")]);
    assert_eq!((wrong.status, server.last_seq()), (400, before));
    let mut asking = Browser { server: &server, cookie: String::new() };
    says(&asking.get("/install?part=P-3&boat=NB-32"), "Scan your badge, then record it");
}

#[test]
fn while_the_clock_is_known_to_be_wrong_only_what_holds_a_part_is_said_of_it() {
    let server = Server::yard();
    part(&server, true);
    let ask = |query: &str| server.get(&format!("/api/v1/things/part/P-3/may-install{query}")).json();
    let told = ask("");
    assert_eq!(told["answer"], "yes", "{told}");
    server.clock.jump_ms(-3 * 60 * 60 * 1000);
    let doubt = "The server's clock jumped back by 3 h 00 min.";
    // Whoever wants to write has the committer look at the clock.
    let wants = |server: &Server| {
        let hold = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
        server.post("/api/v1/decisions", &hold).problem(503, "writes-stopped");
    };
    wants(&server);
    let found = ask("");
    assert!(found["why"].to_string().contains(doubt), "{found}");
    assert_eq!((&found["answer"], &found["say"]), (&json!("cannot_say"), &json!("Can't say yet.")));
    // As of a time that whoever asks names, it is what it was.
    let at = told["at"].as_str().unwrap().replace('+', "%2B");
    assert_eq!(ask(&format!("?at={at}"))["answer"], "yes");

    let held = Server::yard();
    part(&held, true);
    held.decide("place_hold", "part/P-3", json!({"why": "bridging seen"}));
    held.clock.jump_ms(25 * 60 * 60 * 1000);
    wants(&held);
    let answer = held.get("/api/v1/things/part/P-3/may-install").json();
    assert!(answer["answer"] == "no" && answer["why"][0].as_str().unwrap().contains("bridging seen"), "{answer}");
}

#[test]
fn a_program_asks_whether_a_part_may_go_into_a_boat() {
    let server = Server::yard();
    part(&server, true);
    let plan = json!({"part": "P-3", "stages": ["skin"], "needs": [], "boat": "NB-32",
                      "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    let known = server.last_seq();
    server.decide("replan_job", "job/J-118", plan);
    server.decide("declare_boat", "boat/NB-33", json!({"parts": ["P-4"]}));
    let ask = |query: &str| server.get(&format!("/api/v1/things/part/P-3/may-install{query}")).json();
    let own = ask("?boat=nb-32");
    assert_eq!(
        (&own["answer"], &own["say"], &own["boat"]),
        (&json!("yes"), &json!("P-3 may be installed."), &json!("NB-32"))
    );
    assert_eq!(own["why"], json!(["All that is laid of P-3 was laid and cured within life, and nothing holds it."]));
    assert_eq!((&own["notes"], &own["as_of_seq"]), (&json!([]), &json!(server.last_seq())));
    // The job names NB-32: of another boat it can't be said.
    let other = ask("?boat=NB-33");
    assert_eq!((&other["answer"], &other["say"]), (&json!("cannot_say"), &json!("Can't say yet.")));
    let why = json!(["P-3 was planned for boat NB-32, by J-118.", "P-3 is not on the list of boat NB-33."]);
    assert_eq!((&other["why"], &other["notes"]), (&why, &json!([])));
    assert_eq!(ask("?boat=NB-9")["why"][1], json!("Nobody has named a boat NB-9 before."));
    assert_eq!((&ask("")["boat"], &ask("")["notes"]), (&Value::Null, &json!([])));
    // As it was known before the hold, and before the chart was read.
    server.decide("place_hold", "part/P-3", json!({"why": "bridging seen"}));
    let held = ask("?boat=NB-32");
    assert_eq!((&held["answer"], &held["say"]), (&json!("no"), &json!("Do not install P-3.")));
    assert!(held["why"][0].as_str().unwrap().contains("bridging seen"), "{held}");
    assert_eq!(ask("?boat=NB-33")["notes"], why, "beside a no they are notes");
    assert_eq!(ask(&format!("?known={known}"))["answer"], json!("yes"));
    assert_eq!(ask(&format!("?known={}", known - 1))["why"], json!(["skin: no confirmed cure."]));
    let at = "/api/v1/things/part/P-3/may-install";
    server.get("/api/v1/things/part/P-77/may-install").problem(404, "not-found");
    for bad in ["?boat=a%2Fb", "?job=J-118", "?known=99999", "?at=noon"] {
        server.get(&format!("{at}{bad}")).problem(400, "cannot-read");
    }
    server.get("/api/v1/things/roll/R-42/may-install").problem(404, "no-such-operation");
    // The page says the same before anything is written.
    let mut browser = signed_on(&server);
    says(&browser.get("/install?part=P-3&boat=NB-33"), "P-3 was planned for boat NB-32, by J-118.");
}

#[test]
fn a_boat_that_no_job_plans_the_part_for_is_said_before_and_shown_after() {
    let server = Server::yard();
    part(&server, true);
    let plan = json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 22_500}], "boat": "NB-31",
                      "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("replan_job", "job/J-118", plan);
    let mut browser = signed_on(&server);
    let right = browser.get("/install?part=P-3&boat=NB-31");
    assert!(
        right.text.contains("class=\"answer yes\"") && !words(&right).contains("planned for boat"),
        "{}",
        words(&right)
    );
    let asked = browser.get("/install?part=P-3&boat=NB-32");
    says(&asked, "Can't say yet.");
    says(&asked, "P-3 was planned for boat NB-31, by J-118.");
    assert!(asked.text.contains("class=\"answer cannot\""), "{}", asked.text);
    says(&browser.get("/jobs"), "NB-31");
    browser.post(&moves(&asked), &[("go", "installed")]);
    assert_eq!(last(&server)["kind"], json!("part_installed.v1"), "a fact is never refused");
    assert_eq!(last(&server)["shown"]["answer"], json!("cannot_say"));
    says(&browser.get("/jobs"), "in NB-32, planned for NB-31");
    for boat in ["NB-31", "NB-32"] {
        says(&browser.get(&format!("/jobs?boat={boat}")), "J-118");
    }
    let job = browser.get("/job/J-118");
    says(&job, "It makes P-3, skin, for boat NB-31.");
    says(&job, "P-3 is in boat NB-32 and planned for boat NB-31.");
    // Taking it out again is no second mistake.
    assert!(!words(&browser.get("/install?part=P-3&boat=NB-32")).contains("was planned"));
}

#[test]
fn a_part_of_which_nothing_is_laid_can_t_be_said() {
    let server = Server::yard();
    opened(&server);
    let mut browser = signed_on(&server);
    let asked = browser.get("/install?part=P-3");
    says(&asked, "Can't say yet.");
    says(&asked, "skin: nothing is laid, by the book.");
}

#[test]
fn a_boats_list_is_declared_changed_and_compared_with_what_is_in_it() {
    let server = Server::yard();
    part(&server, true);
    server.fact("part_installed", "part/P-3", json!({"boat": "NB-32"}));
    let mut browser = signed_on(&server);
    let page = browser.get("/boat/nb-32/list");
    says(&page, "Nobody has said yet which parts NB-32 has.");
    let page = browser.get("/boat/NB-32/list?choice=ask&parts=p-4%0D%0A%0D%0A+P-5+");
    says(&page, "1 part is installed in it and not on this list: P-3.");
    says(&page, "2 parts on this list have no record of what was laid: P-4 and P-5.");
    says(&page, "P-4 and P-5 are new on NB-32's list.");
    let before = server.last_seq();
    let form = saving(&page);
    let done = browser.post(&form, &[("by", "B-17"), ("second", "")]);
    says(&done, "Written:");
    browser.post(&form, &[("by", "B-17"), ("second", "")]);
    assert_eq!(server.last_seq(), before + 1);
    assert_eq!(
        (&last(&server)["kind"], &last(&server)["body"]),
        (&json!("boat_declared.v1"), &json!({"parts": ["P-4", "P-5"]}))
    );
    let page = browser.get("/boat/NB-32/list");
    says(&page, "2 parts on its list now.");
    let other = browser.get("/boat/NB-32/list?choice=ask&parts=P-5%0AP-3");
    says(&other, "P-3 is new on NB-32's list. P-4 is off NB-32's list then.");
    assert!(!words(&other).contains("reads otherwise"), "{}", words(&other));
    assert!(page.text.contains("\nP-4\nP-5</textarea>"), "{}", page.text);
    for (typed, sentence) in [
        ("", "Name its parts, one a line."),
        ("P-4%0AP-5%0Ap-4", "P-4 stands there twice, on lines 1 and 3."),
        ("P-4%0Aa%2Fb", "Line 2: a code has 1 to 40 printable characters"),
    ] {
        let page = browser.get(&format!("/boat/NB-32/list?choice=ask&parts={typed}"));
        assert_eq!(page.status, 400, "{typed}");
        says(&page, "Nothing is written yet. Look at this again:");
        says(&page, sentence);
    }
    assert_eq!(browser.get(&format!("/boat/NB-32/list?choice=ask&parts={}", "x".repeat(10_000))).status, 400);
    assert_eq!(browser.get("/boat/a%2Fb/list").status, 400);
    assert!(browser.get("/boat/NB-32").text.contains("/boat/NB-32/list"));
}

#[test]
fn another_act_and_one_stage_are_asked_for_by_links() {
    let server = Server::yard();
    part(&server, false);
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.scan("R-42");
    says(&page, "Ask for: take out , cut , lay , oven .");
    for act in ["take_out", "cut", "lay", "oven"] {
        let page = browser.get(&format!("/?thing=roll/R-42&job=J-118&act={act}"));
        let may = server.get(&format!("/api/v1/things/roll/R-42/may-use?act={act}&job=J-118")).json();
        says(&page, may["say"].as_str().unwrap());
        says(&page, may["why"].as_str().unwrap());
    }
    assert!(browser.scan("P-3").text.contains("/?thing=part/P-3&#38;stage=skin"));
    let stage = browser.get("/?thing=part/P-3&stage=Skin");
    let may = server.get("/api/v1/things/part/P-3/may-use?act=oven&stage=skin").json();
    says(&stage, may["say"].as_str().unwrap());
    assert_eq!(browser.get("/?thing=roll/R-42&act=eat").status, 400);
    assert_eq!(browser.get(&format!("/?thing=part/P-3&stage={}", "x".repeat(10_000))).status, 400);
    says(&browser.get("/?thing=part/P-3&stage=nothing"), "Ask for: skin");
}

#[test]
fn other_work_is_a_list_of_pages_that_are_there() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.get("/");
    let list = page.text.split("aria-label=\"Other work\"").nth(1).unwrap().split("</nav>").next().unwrap();
    let links: Vec<&str> = list.split("href=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert!(
        ["/receive", "/issue", "/cut", "/lay", "/oven", "/install", "/today"].iter().all(|link| links.contains(link)),
        "{links:?}"
    );
    for link in links {
        assert_eq!(browser.get(link).status, 200, "{link}");
    }
}
