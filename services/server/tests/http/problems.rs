//! Every documented problem at least once, each in words and with a page of its own.

use crate::yard::Server;
use reqwest::Method;
use serde_json::json;
use server::yard::Options;
use std::sync::Arc;

#[test]
fn what_nobody_knows_is_not_found() {
    let server = Server::yard();
    let said = server.get("/api/v1/things/roll/R-99/may-use?act=cut").problem(404, "not-found");
    assert_eq!(said["detail"], "Nobody has received R-99.");
    for path in ["", "/out-time-card", "/trace", "/entries"] {
        server.get(&format!("/api/v1/things/roll/R-99{path}")).problem(404, "not-found");
    }
    server.get("/api/v1/things/batch/PM-101/B-999").problem(404, "not-found");
    assert_eq!(server.get("/api/v1/scan/R-99").problem(404, "not-found")["detail"], "Nobody has received R-99.");
    let last = server.last_seq();
    let said = server.get("/api/v1/entries/9999").problem(404, "not-found");
    assert_eq!(said["last_seq"], last);
    server.get("/api/v1/entries/0").problem(404, "not-found");
}

#[test]
fn a_question_that_cannot_be_read_is_a_problem_in_words() {
    let server = Server::yard();
    let questions = [
        "/api/v1/things/wheel/W-1",
        "/api/v1/things/batch/B-123",
        "/api/v1/things/roll/R-42?colour=green",
        "/api/v1/things/roll/R-42?at=yesterday",
        "/api/v1/things/roll/R-42?known=-1",
        "/api/v1/things/roll/R-42?known=1&known=2",
        "/api/v1/things/roll/R-42/may-use",
        "/api/v1/things/roll/R-42/may-use?act=eat",
        "/api/v1/things/roll/R-42/may-use?act=cut&job=",
        "/api/v1/things/place/F1/may-use?act=cut",
        "/api/v1/things/roll/R-42/trace?direction=sideways",
        "/api/v1/things/roll/R-42/entries?after=1",
        "/api/v1/entries?limit=0",
        "/api/v1/entries?after=x",
        "/api/v1/entries?kind=x",
        "/api/v1/entries/first",
        "/api/v1/runs-out?within_h=100000",
        "/api/v1/runs-out?within_h=-1",
        "/api/v1/mismatches?x=1",
        "/api/v1/scan/R-42?x=1",
        "/api/v1/openapi.json?x=1",
        "/healthz?x=1",
    ];
    for question in questions {
        server.get(question).problem(400, "cannot-read");
    }
    for (question, pointer) in [
        ("things/roll/R-42/may-use", "/act"),
        ("things/roll/R-42/may-use?act=eat", "/act"),
        ("things/roll/R-42/may-use?act=cut&job=", "/job"),
        ("rolls?held=true&place=F1&state=cold", "/state"),
        ("rolls?held=perhaps", "/held"),
        ("rolls?limit=0", "/limit"),
        ("rolls?limit=99999999999999999999", "/limit"),
        ("rolls?material=PM%FF&held=true", "/material"),
        ("runs-out?within_h=100000", "/within_h"),
        ("runs-out?within_h=", "/within_h"),
        ("mismatches?known=1&at=2026-13-01T00:00:00Z", "/at"),
        ("things/roll/R-42?known=1&colour=green", "/colour"),
        ("things/roll/R-42/changes?from=1&from=2", "/from"),
    ] {
        let problem = server.get(&format!("/api/v1/{question}")).problem(400, "cannot-read");
        assert_eq!(problem["errors"][0]["pointer"], pointer, "{question}: {problem}");
    }
    let label = "x".repeat(41);
    server.get(&format!("/api/v1/scan/{label}")).problem(400, "cannot-read");
    let ahead = server.last_seq() + 1;
    for path in
        ["things/roll/R-42", "things/roll/R-42/out-time-card", "things/roll/R-42/trace", "runs-out", "mismatches"]
    {
        let said = server.get(&format!("/api/v1/{path}?known={ahead}")).problem(400, "cannot-read");
        assert_eq!(said["last_seq"], ahead - 1);
    }
    server.get(&format!("/api/v1/things/roll/R-42/may-use?act=cut&known={ahead}")).problem(400, "cannot-read");
}

#[test]
fn a_part_with_several_stages_asks_which() {
    let server = Server::yard();
    let job = json!({"part": "P-3", "stages": ["skin", "second skin"], "needs": [],
                     "lay_at": "2026-05-06T16:00:00.000+01:00", "oven_at": "2026-05-06T20:00:00.000+01:00"});
    server.decide("open_job", "job/J-118", job);
    let said = server.get("/api/v1/things/part/P-3/may-use?act=oven").problem(400, "cannot-read");
    assert_eq!(said["errors"][0]["pointer"], "/stage");
    let named = server.get("/api/v1/things/part/P-3/may-use?act=oven&stage=second%20skin");
    assert_eq!((named.status, named.json()["stage"].as_str()), (200, Some("second skin")), "{}", named.text);
}

#[test]
fn another_address_is_404_and_another_method_405_with_what_is_allowed() {
    let server = Server::start();
    for path in
        ["/nothing", "/api/v1", "/api/v1/entries/1/2/3", "/api/v1/things/roll", "/static/look.css", "/problems/none"]
    {
        server.get(path).problem(404, "no-such-operation");
    }
    let allowed = [
        (Method::DELETE, "/api/v1/entries/1", "GET, HEAD"),
        (Method::PUT, "/api/v1/entries", "GET, HEAD, POST"),
        (Method::GET, "/api/v1/decisions", "POST"),
        (Method::HEAD, "/api/v1/decisions", "POST"),
        (Method::PATCH, "/api/v1/things/roll/R-42", "GET, HEAD"),
        (Method::OPTIONS, "/api/v1/things/roll/R-42/may-use", "GET, HEAD"),
        (Method::POST, "/", "GET, HEAD"),
        (Method::GET, "/moves", "POST"),
    ];
    for (method, path, allow) in allowed {
        let said = server.send(method.clone(), path, &[], Vec::new());
        assert_eq!((said.status, said.media.as_str()), (405, "application/problem+json"), "{method} {path}");
        assert_eq!(said.headers["allow"], allow, "{method} {path}");
    }
}

#[test]
fn decisions_are_refused_in_words_and_leave_no_trace() {
    let server = Server::yard();
    let before = server.last_seq();
    let unknown = server.decision_now("lift_hold", "roll/R-42", json!({"hold": server.id(), "why": "fine"}));
    server.post("/api/v1/decisions", &unknown).problem(404, "not-found");
    let mut blind = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    blind.as_object_mut().unwrap().remove("based_on");
    let said = server.post("/api/v1/decisions", &blind).problem(400, "cannot-read");
    assert_eq!(said["errors"][0]["pointer"], "/based_on");
    let mut ahead = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    ahead["based_on"] = json!(before + 7);
    assert_eq!(server.post("/api/v1/decisions", &ahead).problem(409, "ahead-of-log")["last_seq"], before);
    let twice = server.decision_now("register_batch", "batch/PM-101/B-123", json!({"made_on": "2026-02-11"}));
    server.post("/api/v1/decisions", &twice).problem(409, "already-there");
    assert_eq!(server.last_seq(), before);
}

#[test]
fn what_came_between_is_shown() {
    let server = Server::yard();
    let looked = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let said = server.post("/api/v1/decisions", &looked).problem(409, "changed-meanwhile");
    assert_eq!(said["between"][0]["thing"], "roll/R-42");
    assert_eq!(said["between"][0]["seq"], server.last_seq());
}

#[test]
fn what_gives_back_needs_a_second_person() {
    let server = Server::yard();
    let taken = server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(120);
    let mut alone =
        server.decision_now("strike", "roll/R-42", json!({"entry": taken["id"], "why": "it was another roll"}));
    alone.as_object_mut().unwrap().remove("second");
    let said = server.post("/api/v1/decisions", &alone).problem(403, "needs-second-person");
    assert!(!said["gives_back"].as_array().unwrap().is_empty());
}

#[test]
fn an_issue_is_refused_for_each_reason_by_its_name() {
    let server = Server::yard();
    let plan =
        |lay: &str, oven: &str| json!({"part": "P-3", "stages": ["skin"], "needs": [], "lay_at": lay, "oven_at": oven});
    server.decide("open_job", "job/J-1", plan("2026-05-06T16:00:00+01:00", "2026-05-06T20:00:00+01:00"));
    server.decide("open_job", "job/J-LATE", plan("2026-05-20T16:00:00+01:00", "2026-05-20T20:00:00+01:00"));
    let issue = |server: &Server, roll: &str, job: &str| {
        let wish = server.decision_now("issue", &format!("roll/{roll}"), json!({"job": job}));
        server.post("/api/v1/decisions", &wish)
    };
    issue(&server, "R-42", "J-LATE").problem(409, "not-enough-life-for-job");
    issue(&server, "R-42", "J-9").problem(404, "not-found");
    let hold = server.decide("place_hold", "batch/PM-101/B-123", json!({"why": "no certificate"}));
    let held = issue(&server, "R-42", "J-1").problem(409, "on-hold");
    assert_eq!(held["holds"][0]["hold"], hold["id"]);
    server.decide("lift_hold", "batch/PM-101/B-123", json!({"hold": hold["id"], "why": "it came"}));
    server.fact(
        "roll_received",
        "roll/R-50",
        json!({"material": "PM-101", "revision": "3", "batch": "B-123", "length_mm": 1000}),
    );
    issue(&server, "R-50", "J-1").problem(409, "cannot-say");
    server.fact("disposed", "roll/R-50", json!({"why": "damaged"}));
    issue(&server, "R-50", "J-1").problem(409, "cannot-be-used");
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(11 * 24 * 60);
    server.decide("replan_job", "job/J-1", plan("2026-05-18T16:00:00+01:00", "2026-05-18T20:00:00+01:00"));
    issue(&server, "R-42", "J-1").problem(409, "out-life-used-up");
    server.receive("R-60");
    server.pass(320 * 24 * 60);
    server.decide("replan_job", "job/J-1", plan("2027-04-06T16:00:00+01:00", "2027-04-06T20:00:00+01:00"));
    issue(&server, "R-60", "J-1").problem(409, "past-shelf-life");
}

#[test]
fn an_id_that_says_something_else_is_refused_at_both_doors() {
    let server = Server::yard();
    let fact = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    server.post("/api/v1/entries", &json!({"entries": [fact]}));
    let mut other = fact.clone();
    other["kind"] = json!("roll_put_away");
    other["body"] = json!({"into": "F1"});
    let result = server.post("/api/v1/entries", &json!({"entries": [other]})).json()["results"][0].clone();
    assert_eq!((&result["status"], &result["problem"]["type"]), (&json!(409), &json!("/problems/id-reused")));
    assert_eq!(result["problem"]["seq"], server.last_seq());
    let mut hold = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    hold["id"] = fact["id"].clone();
    server.post("/api/v1/decisions", &hold).problem(409, "id-reused");
}

/// Which spellings of an id libraries read: RFC 9562, section 4, and the uuid crate's document.
#[test]
fn an_id_sent_again_in_another_spelling_is_the_same_id() {
    let server = Server::yard();
    let id = "0197a1c2-0000-7000-8000-0000000000aa";
    let spellings =
        [id.to_uppercase(), id.replace('-', ""), format!("{{{id}}}"), format!("urn:uuid:{id}"), id.to_owned()];
    let mut fact = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    let mut hold = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    hold["id"] = json!("0197A1C20000700080000000000000BB");
    for (sent, spelling) in spellings.iter().enumerate() {
        fact["id"] = json!(spelling);
        let result = server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone();
        let status = if sent == 0 { 201 } else { 200 };
        assert_eq!((&result["status"], &result["id"]), (&json!(status), &json!(id)), "{spelling}: {result}");
    }
    hold["based_on"] = json!(server.last_seq());
    assert_eq!(server.post("/api/v1/decisions", &hold).status, 201);
    hold["id"] = json!("0197a1c2-0000-7000-8000-0000000000bb");
    assert_eq!(server.post("/api/v1/decisions", &hold).status, 200);
    // The same where one entry names another.
    let mut lift = server.decision_now("lift_hold", "roll/R-42", json!({"hold": hold["id"], "why": "taped"}));
    assert_eq!(server.post("/api/v1/decisions", &lift).status, 201);
    lift["body"]["hold"] = json!("0197A1C2-0000-7000-8000-0000000000BB");
    assert_eq!(server.post("/api/v1/decisions", &lift).status, 200);
}

#[test]
fn a_clock_that_jumped_stops_writing_and_nothing_else() {
    let server = Server::yard();
    let before = server.last_seq();
    let may_use = "/api/v1/things/roll/R-42/may-use?act=cut";
    let told = server.get(may_use).json();
    assert_eq!(told["answer"], "yes");
    server.clock.jump_ms(-3 * 60 * 60 * 1000);
    // It is seen before anybody writes.
    server.get("/readyz").problem(503, "writes-stopped");
    let fact = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    let result = server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone();
    assert_eq!((&result["status"], &result["problem"]["type"]), (&json!(503), &json!("/problems/writes-stopped")));
    let hold = server.decision_now("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    let said = server.post("/api/v1/decisions", &hold).problem(503, "writes-stopped");
    assert!(said["detail"].as_str().unwrap().contains("clock"), "{said}");
    server.get("/readyz").problem(503, "writes-stopped");
    assert_eq!((server.get("/healthz").status, server.last_seq()), (200, before));

    // What is counted from the time can't be said; nothing that was counted is left in the answer.
    let doubtful = server.get(may_use).json();
    assert_eq!((&doubtful["answer"], &doubtful["say"]), (&json!("cannot_say"), &json!("Can't say yet.")));
    let why = "The server's clock jumped back by 3 h 00 min. What is counted from the time can't be said before somebody has \
               looked at it: call 4711.";
    assert_eq!(doubtful["why"], why);
    assert_eq!((&doubtful["last_ply_by"], &doubtful["limits"]), (&json!(null), &json!([])));
    let page = server.send(Method::GET, "/?code=R-42", &[("accept", "text/html")], Vec::new()).text;
    assert!(
        page.contains("Can&#39;t say yet.") || page.contains("Can't say yet.") || page.contains("Can&#x27;t say yet."),
        "{page}"
    );
    let html = [("accept", "text/html")];
    let believed = "reckons as of now is not to be believed";
    for page in ["/thing/roll/R-42", "/runs-out", "/today", "/take-out", "/rolls"] {
        assert!(server.send(Method::GET, page, &html, Vec::new()).text.contains(believed), "{page}");
    }
    let then = format!("/thing/roll/R-42?at={}", told["at"].as_str().unwrap().replace('+', "%2B"));
    assert!(!server.send(Method::GET, &then, &html, Vec::new()).text.contains(believed));
    // As of a time that whoever asks names, it is what it was.
    let at = told["at"].as_str().unwrap().replace('+', "%2B");
    let then = server.get(&format!("{may_use}&at={at}")).json();
    assert_eq!((&then["answer"], &then["limits"]), (&told["answer"], &told["limits"]));
}

#[test]
fn a_clock_that_jumped_ahead_is_noticed_by_a_server_at_rest_and_makes_nothing_of_a_no() {
    let server = Server::yard();
    server.decide("place_hold", "roll/R-42", json!({"why": "torn bag"}));
    server.clock.jump_ms(25 * 60 * 60 * 1000);
    let may_use = "/api/v1/things/roll/R-42/may-use?act=cut";
    // Nobody writes anything; the committer looks at the clock once a second.
    let doubt = "The server's clock jumped ahead by 25 h 00 min.";
    let noticed =
        (0..1_000_000).map(|_| server.get(may_use).json()).find(|answer| answer["notes"].to_string().contains(doubt));
    assert_eq!(noticed.unwrap()["answer"], "no");
}

#[test]
fn a_disk_without_space_is_507_and_reads_go_on() {
    let clock = Arc::new(server::clock::SetClock::new(shared_types::Stamp::parse(crate::yard::START).unwrap().at));
    let disk = Arc::new(crate::full_disk::FullDisk::default());
    let mut options = Options::new(clock.clone());
    options.disk = disk.clone();
    options.journal.segment_bytes = 64 * 1024;
    options.journal.retry = std::time::Duration::from_millis(200);
    let server = Server::with(options, clock);
    server.decide("declare_yard", "yard/YARD", json!({"zone": "Europe/Lisbon", "spare_s": 0}));
    disk.fill();
    let mut refused = None;
    for _ in 0..200 {
        let wish = server.decision_now("place_hold", "roll/R-42", json!({"why": "x".repeat(2000)}));
        let said = server.post("/api/v1/decisions", &wish);
        if said.status != 201 {
            refused = Some((said, wish));
            break;
        }
    }
    let (said, wish) = refused.unwrap();
    said.problem(507, "no-space");
    let ready = server.get("/readyz").problem(503, "writes-stopped");
    assert!(ready["detail"].as_str().unwrap().contains("no room for the next piece of the log"), "{ready}");
    assert_eq!(server.get("/api/v1/entries/1").status, 200);
    disk.empty();
    // Laying down is tried again in the background; nobody restarts anything.
    let written = (0..10_000).any(|_| server.post("/api/v1/decisions", &wish).status == 201);
    assert!(written);
    assert_eq!(server.get("/readyz").status, 200);
}

#[test]
fn every_problem_type_has_a_page_with_cause_and_cure() {
    let server = Server::start();
    let list = server.get("/problems").text;
    let names: Vec<&str> =
        list.split("href=\"/problems/").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    assert!(names.len() >= 20, "{names:?}");
    // What no operation answers is not listed either.
    assert!(!names.contains(&"quantity-over-remaining"));
    server.get("/problems/quantity-over-remaining").problem(404, "no-such-operation");
    for name in names {
        let page = server.get(&format!("/problems/{name}"));
        assert_eq!((page.status, page.media.as_str()), (200, "text/html; charset=utf-8"));
        assert!(page.text.contains("Cause") && page.text.contains("Cure"), "{name}");
    }
}
