//! What the screens say after a scan: what doesn't add up, what was put away past its limits, jobs, places, parts.

use crate::browser::{Browser, buttons, moves, signed_on, words};
use crate::yard::{Said, Server};
use reqwest::Method;
use serde_json::json;

fn plan(lay: &str, oven: &str) -> serde_json::Value {
    json!({"part": "P-3", "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": 22_500}],
           "lay_at": format!("2026-05-{lay}:00+01:00"), "oven_at": format!("2026-05-{oven}:00+01:00")})
}

fn job(server: &Server) {
    server.decide("open_job", "job/J-118", plan("06T16:00", "06T20:00"));
}

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

#[test]
fn a_stop_shows_what_does_not_add_up_and_asks() {
    let server = Server::yard();
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    server.pass(11 * 24 * 60);
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    assert!(
        page.text.contains("class=\"answer stop\"") || page.text.contains("class=\"answer no\""),
        "{}",
        words(&page)
    );
    says(&page, "Doesn't add up: R-42 was put away");
    let asked = server.get("/api/v1/things/roll/R-42").json()["mismatches"][0].clone();
    let ask = asked["ask"].as_str().unwrap();
    assert_eq!(words(&page).matches(ask).count(), 1, "{}", words(&page));
}

#[test]
fn at_most_two_things_that_do_not_add_up_are_shown_the_newest_first() {
    let server = Server::yard();
    for _ in 0..4 {
        server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
        server.pass(1);
        server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
        server.pass(60);
    }
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(12 * 24 * 60);
    let page = signed_on(&server).scan("R-42");
    assert_eq!(words(&page).matches("Doesn't add up:").count(), 2, "{}", words(&page));
    let all = server.get("/api/v1/things/roll/R-42").json()["mismatches"].clone();
    let open: Vec<_> = all.as_array().unwrap().iter().filter(|one| one["ask"].is_string()).collect();
    assert!(2 < open.len());
    says(&page, open[open.len() - 1]["say"].as_str().unwrap());
    assert!(!words(&page).contains(open[0]["say"].as_str().unwrap()));
}

#[test]
fn a_settled_mismatch_is_not_shown() {
    let server = Server::yard();
    server.receive("R-43");
    let twice = server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(10);
    let again = server.fact("roll_taken_out", "roll/R-42", json!({}));
    assert_ne!(twice["id"], again["id"]);
    server.pass(11 * 24 * 60);
    let mut browser = signed_on(&server);
    says(&browser.scan("R-42"), "Doesn't add up: R-42 was taken out");
    let kind = again["mismatches"][0]["kind"].clone();
    let answer = json!({"mismatch": {"kind": kind, "entry": again["id"]}, "answer": {"other": "roll/R-43"}});
    server.decide("settle", "roll/R-42", answer);
    assert!(!words(&browser.scan("R-42")).contains("Doesn't add up: R-42 was taken out"));
}

#[test]
fn past_its_limits_the_answer_stays_below_the_put_away() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(11 * 24 * 60);
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    assert!(page.text.contains("class=\"answer stop\""));
    assert_eq!(buttons(&page)[0], "Put away in F1");
    let said = browser.post(&moves(&page), &[("go", "put_away F1")]);
    assert!(said.text.contains("class=\"answer no\""), "{}", said.text);
    says(&said, "R-42: put away in F1 Sun 06:31. Do not use it. Call 4711.");
    says(&said, "R-42 is 25 h 1 min over its out-life.");
    says(&said, "It counts as out 264 h.");
    assert!(!words(&said).contains("It was out") && !words(&said).contains(" -"), "{}", words(&said));
}

#[test]
fn over_its_tack_life_alone_it_is_said_without_a_minus() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(8 * 24 * 60);
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    let said = browser.post(&moves(&page), &[("go", "put_away F1")]);
    says(&said, "over its tack life.");
    assert!(!words(&said).contains(" -"), "{}", words(&said));
    says(&browser.scan("R-42"), "33 h 1 min over");
}

#[test]
fn held_it_stays_so_in_the_cold_and_putting_away_comes_first() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.decide("place_hold", "roll/R-42", json!({"why": "no certificate"}));
    server.pass(5);
    let mut browser = signed_on(&server);
    let out = browser.scan("R-42");
    let said = browser.post(&moves(&out), &[("go", "put_away F1")]);
    assert!(said.text.contains("class=\"answer no\""), "{}", said.text);
    says(&said, "R-42: put away in F1 Wed 06:36. Do not use R-42. Held since Wed 06:31: no certificate.");
    let inside = browser.scan("R-42");
    // It lies in F1 already.
    assert_eq!(buttons(&inside), ["Put away in F2", "Take out"]);
    assert!(!inside.text.contains("class=\"main\""));
    let out = inside.text.split("<button").find(|button| button.contains("take_out")).unwrap();
    let out = out.split('>').next().unwrap();
    assert!(!out.contains("main") && !out.contains("whole"), "{out}");
}

#[test]
fn put_away_elsewhere_it_is_asked_at_once_whether_it_was_carried_over() {
    let server = Server::yard();
    server.pass(60);
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    let said = browser.post(&moves(&page), &[("go", "put_away F2")]);
    says(&said, "R-42: put away in F2");
    assert_eq!(words(&said).matches("carried over to F2?").count(), 1, "{}", words(&said));
    assert!(!words(&said).contains("Doesn't add up"), "{}", words(&said));
    let link = said.text.split("class=\"button\" href=\"").nth(1).unwrap();
    assert!(link.contains(">It was carried over</a>"), "{}", said.text);
    let address = link.split('"').next().unwrap().replace("&#38;", "&");
    let answer = browser.get(&address);
    assert_eq!(answer.status, 200, "{address}: {}", answer.text);
    let carried = answer.text.split("<input").find(|input| input.contains("value=\"carried\"")).unwrap();
    assert!(carried.split('>').next().unwrap().contains("checked"), "{carried}");
}

#[test]
fn what_nobody_received_is_said_once() {
    let server = Server::yard();
    server.fact("seen", "roll/X-NEVER", json!({"in": "CUT"}));
    let page = signed_on(&server).scan("X-NEVER");
    assert_eq!(words(&page).matches("Nobody has received X-NEVER.").count(), 1, "{}", words(&page));
}

#[test]
fn a_long_code_takes_a_line_of_its_own() {
    let server = Server::yard();
    server.receive("R-0123456789");
    let mut browser = signed_on(&server);
    assert!(browser.scan("R-0123456789").text.contains("class=\"strip long\""));
    assert!(browser.scan("R-42").text.contains("class=\"strip\""));
}

#[test]
fn another_place_takes_the_scan_of_its_placard() {
    let server = Server::yard();
    server.decide("declare_place", "place/F3", json!({"name": "chest", "frozen": true}));
    server.receive("R-43");
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(30);
    let mut browser = signed_on(&server);
    let places = browser.get("/?thing=roll/R-42&places=all");
    let strip = places.text.split("<form class=\"strip\"").nth(1).unwrap().split("</form>").next().unwrap();
    assert!(strip.contains("method=\"post\" action=\"/moves\"") && strip.contains("name=\"go\" value=\"scanned\""));
    let form = moves(&places);
    let before = server.last_seq();
    for other in ["R-43", "F9", "a/b", ""] {
        let said = browser.post(&form, &[("go", "scanned"), ("code", other)]);
        says(&said, "Nothing was recorded. Tap where R-42 was put away.");
        assert_eq!(buttons(&said), ["Put away in F1", "Put away in F2", "Put away in F3"]);
    }
    assert_eq!(server.last_seq(), before);
    let said = browser.post(&form, &[("go", "scanned"), ("code", "]C1f3 ")]);
    says(&said, "R-42: put away in F3 Wed 07:02. It counts as out 30 min.");
    // The button writes what the placard wrote: it is one move.
    browser.post(&form, &[("go", "put_away F3")]);
    assert_eq!(server.last_seq(), before + 1);
}

#[test]
fn put_away_in_a_room_is_said_to_be_out_of_the_cold() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(30);
    let mut browser = signed_on(&server);
    let form = moves(&browser.get("/?thing=roll/R-42&places=all"));
    let said = browser.post(&form, &[("go", "scanned"), ("code", "CUT")]);
    says(&said, "R-42: put away in CUT Wed 07:01.");
    says(&said, "CUT is not a frozen place: it counts as seen there, out of the cold.");
    says(&said, "Last ply by");
    assert_eq!(server.get("/api/v1/things/roll/R-42").json()["whereabouts"]["state"], "out");
}

#[test]
fn how_long_a_ply_may_wait_is_said_from_where_its_material_counts() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    says(&browser.scan("R-42"), "within 72 h of its first ply");
    let sheet = json!({"revision": "4", "name": "film adhesive", "form": "film adhesive", "storage_limit_millideg_c": -18000,
        "valid_up_to_millideg_c": 30000, "shelf_life": {"months": 12}, "out_life_s": 864_000, "tack_life_s": 576_000,
        "lay_to_cure": {"limit_s": 172_800, "from": "complete"}, "refreezes": {"allowed": 5}, "rate": {"model": "door_to_door"}});
    server.decide("revise_material", "material/PM-101", sheet);
    let roll = json!({"material": "PM-101", "revision": "4", "batch": "B-123", "length_mm": 50_000,
        "opening": {"out_time_s": 0, "refreezes": 0, "as_of": server.now(), "source": "card"}});
    server.fact("roll_received", "roll/FA-1", roll);
    says(&browser.scan("FA-1"), "within 48 h of lay-up complete");
}

#[test]
fn in_the_cold_the_times_are_those_if_it_comes_out_now() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    let page = browser.scan("R-42");
    says(&page, "If it comes out now: Last ply by");
    let note = server.get("/api/v1/things/roll/R-42/may-use?act=take_out").json()["notes"].clone();
    let spare = note
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|note| note.as_str())
        .find(|note| note.to_lowercase().contains("spare time"));
    says(&page, spare.unwrap());
    let out = browser.post(&moves(&page), &[("go", "take_out")]);
    assert!(!words(&out).contains("If it comes out now"), "{}", words(&out));
}

#[test]
fn a_last_ply_while_the_yard_is_closed_is_said_with_the_last_open_hour() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    assert!(!words(&browser.scan("R-42")).contains("Closed then"));
    // 158 h 59 min of tack life are left: they end on Tuesday 12 May, and nobody is there from Sunday 22:00 on.
    let yard = json!({"zone": "Europe/Lisbon", "spare_s": 1800, "on_call": "4711", "closed_weekdays": ["monday", "tuesday"],
                      "shift_start": "07:00", "shift_end": "22:00"});
    server.decide("declare_yard", "yard/YARD", yard);
    for page in [browser.scan("R-42"), browser.get("/thing/roll/R-42")] {
        says(&page, "Closed then: last ply by Sun 22:00");
    }
    // Laid now, its lay-to-cure limit ends on Saturday at 06:00, before anybody comes.
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 12_000}));
    for path in ["/?code=P-3", "/lay?part=P-3&stage=skin", "/oven?stages=P-3/skin"] {
        says(&browser.get(path), "Closed then: heating by Fri 22:00.");
    }
}

#[test]
fn a_job_and_a_roll_belong_together_whichever_is_scanned_first() {
    let server = Server::yard();
    job(&server);
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.scan("J-118");
    says(&page, "J-118: last ply Wed 16:00, oven Wed 20:00. Needs 22.5 m of PM-101. Now scan the roll.");
    assert!(page.text.contains("name=\"last\" value=\"job/J-118\""));
    says(&browser.get("/?code=R-42&last=job/J-118"), "Yes, for J-118.");
    says(&browser.get("/?code=J-118&last=roll/R-42"), "Yes, for J-118.");
    // A label that may mean two things keeps the job too.
    server.decide("open_job", "job/R-42", plan("06T16:00", "06T20:00"));
    let page = browser.get("/?code=R-42&last=job/J-118");
    assert!(page.text.contains("/?thing=roll/R-42&#38;job=J-118"), "{}", page.text);
}

#[test]
fn what_is_declared_is_said_in_a_sentence() {
    let server = Server::yard();
    job(&server);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let kits = json!({"kits": [{"kit": "K-5", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 12000}]}]});
    server.fact("nest_cut", "nest/N-7", kits);
    server.fact("oven_run_started", "run/214", json!({"oven": "OV1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    for (thing, sentence) in [
        ("place/F1", "F1: walk-in freezer F1, a frozen place, at most -18 °C."),
        ("place/CUT", "CUT: cutting room, a room, at most 24 °C."),
        ("batch/PM-101/B-123", "PM-101/B-123: made Tue 10 Feb 2026."),
        ("nest/N-7", "N-7: cut Wed 06:31 into kit K-5 for J-118, from R-42."),
        ("run/214", "214: started Wed 06:31 with P-3 skin; not ended yet."),
        ("yard/YARD", "Times are those of Europe/Lisbon. Spare time 30 min. Call 4711."),
        (
            "material/PM-101",
            "PM-101: carbon prepreg, revision 3. Tack life 160 h, out-life 240 h, lay-to-cure limit 72 h, shelf life 12 \
             months, refreezes 5.",
        ),
    ] {
        let page = browser.get(&format!("/?thing={thing}"));
        says(&page, sentence);
        assert!(!words(&page).contains("entries") && !words(&page).contains("1 entry"), "{}", words(&page));
    }
    server.decide("place_hold", "batch/PM-101/B-123", json!({"why": "no certificate"}));
    let held = browser.get("/?thing=batch/PM-101/B-123");
    says(&held, "Held since Wed 06:31: no certificate.");
    assert!(held.text.contains("class=\"answer no\""));
}

#[test]
fn a_part_shows_what_does_not_add_up_and_what_is_judged_again() {
    let server = Server::yard();
    job(&server);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let out = server.last_seq();
    server.pass(10);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 5000}));
    server.pass(10);
    // It came out eight days earlier than anybody had written down.
    let mut earlier = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    earlier["occurred_at"] = json!("2026-05-06T06:02:00.000+01:00");
    assert_eq!(server.post("/api/v1/entries", &json!({"entries": [earlier]})).json()["results"][0]["status"], 201);
    assert_eq!(server.last_seq(), out + 2);
    let mut browser = Browser { server: &server, cookie: String::new() };
    let again = server.get("/api/v1/things/part/P-3").json()["judged_again"].clone();
    assert_eq!(again[0]["act"], "lay", "{again}");
    says(
        &browser.scan("P-3"),
        "skin: its lay-up Wed 06:41 is judged yes, as it was then; what was left then has changed.",
    );

    // Struck, the receipt leaves nothing to judge by.
    let receipt = server.get("/api/v1/things/roll/R-42/entries").json()["items"][0]["id"].clone();
    server.decide("strike", "roll/R-42", json!({"entry": receipt, "why": "another roll"}));
    let page = browser.scan("P-3");
    says(&page, "Judged yes then.");
    says(&page, "skin: its lay-up Wed 06:41 is judged");
}

#[test]
fn laid_over_its_life_stands_on_the_part() {
    let server = Server::yard();
    job(&server);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(8 * 24 * 60);
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 5000}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    let all = server.get("/api/v1/things/part/P-3").json()["mismatches"].clone();
    says(&browser.scan("P-3"), &format!("Doesn't add up: {}", all[0]["say"].as_str().unwrap()));
}

#[test]
fn no_limit_by_a_document_spans_the_columns() {
    let server = Server::yard();
    server.decide(
        "revise_material",
        "material/CS-7",
        json!({"revision": "A", "name": "core splice", "form": "core splice", "shelf_life": {"months": 9}, "out_life_s": 604_800,
               "tack_life_s": {"none_by": "CS-7 data sheet, issue 4"}, "lay_to_cure": {"limit_s": 345_600},
               "refreezes": {"allowed": 3}, "rate": {"model": "door_to_door"}}),
    );
    server.decide("register_batch", "batch/CS-7/B-9", json!({"made_on": "2026-02-10"}));
    let opening = json!({"out_time_s": 0, "refreezes": 0, "as_of": server.now(), "source": "card"});
    let body = json!({"material": "CS-7", "revision": "A", "batch": "B-9", "length_mm": 9000, "opening": opening});
    server.fact("roll_received", "roll/R-50", body);
    let page = signed_on(&server).scan("R-50");
    assert!(
        page.text.contains("<td colspan=\"3\">no limit, by <code>CS-7</code> data sheet, issue 4</td>"),
        "{}",
        page.text
    );
}

#[test]
fn only_rolls_are_received_and_everything_else_is_named() {
    let server = Server::yard();
    job(&server);
    let mut browser = Browser { server: &server, cookie: String::new() };
    says(&browser.scan("R-99"), "Nobody has received R-99.");
    says(&browser.scan("J-9"), "Nobody has named a job J-9.");
    says(&browser.scan("P-77"), "Nobody has named a part P-77.");
    says(&browser.get("/?thing=job/J-9"), "Nobody has named a job J-9.");
    says(&browser.get("/?thing=place/F9"), "Nobody has named a place F9.");
    says(&browser.get("/?thing=kit/K-9"), "Nobody has cut a kit K-9.");
    says(&browser.get("/?thing=roll/R-99"), "Nobody has received R-99.");
    assert_eq!(server.get("/api/v1/scan/J-9").problem(404, "not-found")["detail"], "Nobody has named a job J-9.");
}

#[test]
fn every_screen_has_one_heading() {
    let server = Server::yard();
    let mut browser = signed_on(&server);
    for path in ["/", "/?code=R-99999", "/?code=R-42", "/badge", "/no-such-page"] {
        let page = browser.get(path);
        assert_eq!(page.text.matches("<h1").count(), 1, "{path}: {}", page.text);
    }
}

#[test]
fn an_address_of_no_page_is_a_page_for_people() {
    let server = Server::start();
    let mut browser = Browser { server: &server, cookie: String::new() };
    for path in ["/nothing", "/boat", "/moves/1", "/api"] {
        let said = browser.get(path);
        assert_eq!(said.status, 404, "{path}");
        says(&said, "There is no such page. Scan or type a code.");
        assert!(said.text.contains("id=\"code\""), "{path}");
        server.get(path).problem(404, "no-such-operation");
    }
    let said = browser.get("/moves");
    assert_eq!((said.status, said.headers["allow"].to_str().unwrap()), (405, "POST"));
    says(&said, "There is no such page. Scan or type a code.");
    let api = server.send(Method::GET, "/api/v1/nothing", &[("accept", "text/html")], Vec::new());
    api.problem(404, "no-such-operation");
}

#[test]
fn the_script_is_there_before_the_page_and_codes_stand_whole() {
    let server = Server::yard();
    for path in ["/", "/badge"] {
        let page = server.get(path).text;
        let head = page.split("</head>").next().unwrap();
        let mut scripts = head.split("<script").filter_map(|script| script.split('>').next());
        let script = scripts.find(|script| script.contains("/static/scan-")).unwrap();
        assert!(!script.contains("defer") && !script.contains("async"), "{script}");
    }
    let page = signed_on(&server).scan("R-42");
    assert!(page.text.contains("<code>R-42</code>"), "{}", page.text);
    let link = page.text.split("href=\"/static/").nth(1).unwrap().split('"').next().unwrap();
    let look = server.get(&format!("/static/{link}")).text;
    assert!(look.contains("code { font: inherit; display: inline-block; max-width: 100%; text-decoration: inherit }"));
}

#[test]
fn what_a_parser_says_is_not_shown_to_people() {
    let server = Server::yard();
    let mut fact = server.fact_now("roll_taken_out", "roll/R-42", json!({}));
    fact["id"] = json!("R-42");
    let result = server.post("/api/v1/entries", &json!({"entries": [fact]})).json()["results"][0].clone();
    for text in [&result["problem"]["detail"], &result["problem"]["errors"][0]["detail"]] {
        let text = text.as_str().unwrap();
        assert!(text.contains("n id is a UUID such as ") && !text.contains("parsing"), "{text}");
    }
    let said = server.get("/api/v1/runs-out?within_h=soon").problem(400, "cannot-read");
    assert!(
        said["detail"]
            .as_str()
            .unwrap()
            .contains("The parameter within_h could not be read: look ahead a whole number of hours"),
        "{said}"
    );
    let said = server.get("/api/v1/things/roll/R-42?known=last").problem(400, "cannot-read");
    assert!(!said["detail"].as_str().unwrap().contains("digit found"), "{said}");
}

#[test]
fn a_put_away_that_was_only_told_is_named_where_its_clock_runs_on() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.pass(120);
    let mut told = server.fact_now("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    told["occurred_at"] = json!("2026-05-06T07:00:00.000+01:00");
    server.post("/api/v1/entries", &json!({"entries": [told]}));
    let mut browser = signed_on(&server);
    let hint = "B-17 told that it was put away Wed 07:00: scan it where it lies now; that counts at once.";
    says(&browser.scan("R-42"), hint);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    assert!(!words(&browser.scan("R-42")).contains("told that"));
}

#[test]
fn a_part_in_a_run_that_nobody_confirmed_is_told_by_when_it_has_to_heat() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}));
    server.fact("plies_laid", "part/P-3", json!({"stage": "skin", "from": "roll/R-42", "length_mm": 500}));
    server.fact("oven_run_started", "run/RUN-1", json!({"oven": "OV-1", "stages": [{"part": "P-3", "stage": "skin"}]}));
    let mut browser = signed_on(&server);
    says(
        &browser.scan("P-3"),
        "P-3 skin is in run RUN-1, not confirmed yet. If that never started: heating by Sat 06:01",
    );
    server.decide("place_hold", "part/P-3", json!({"why": "a dry patch"}));
    says(&browser.get("/?thing=part/P-3&stage=skin"), "Do not heat it. Held since Wed 06:31: a dry patch.");
}
