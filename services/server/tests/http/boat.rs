//! A boat's page: its first sentence is true in every combination, as of an instant and as known at an entry.

use crate::browser::{Browser, words};
use crate::yard::{Said, Server};
use serde_json::json;

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

fn lay(server: &Server, part: &str, stage: &str, roll: &str) {
    let body = json!({"stage": stage, "from": format!("roll/{roll}"), "length_mm": 1000});
    server.fact("plies_laid", &format!("part/{part}"), body);
    server.pass(1);
}

fn cure(server: &Server, part: &str, stage: &str) {
    let run = format!("run/RUN-{}", server.last_seq());
    server.fact("oven_run_started", &run, json!({"oven": "OV1", "stages": [{"part": part, "stage": stage}]}));
    let committed_at = server.now();
    server.pass(60);
    server.fact("oven_run_ended", &run, json!({"committed_at": committed_at, "cured": true, "source": "record"}));
}

fn install(server: &Server, part: &str, boat: &str) {
    server.fact("part_installed", &format!("part/{part}"), json!({"boat": boat}));
}

/// Five parts on the list: installed, installed over life, cured, laid, nothing.
fn boat() -> Server {
    let server = Server::yard();
    server.receive("R-43");
    server.decide("declare_boat", "boat/NB-31", json!({"parts": ["P-1", "P-2", "P-3", "P-4", "P-5"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    for part in ["P-1", "P-3"] {
        lay(&server, part, "skin", "R-42");
        cure(&server, part, "skin");
    }
    install(&server, "P-1", "NB-31");
    server.fact("roll_taken_out", "roll/R-43", json!({}));
    lay(&server, "P-4", "skin", "R-43");
    server.pass(8 * 24 * 60);
    lay(&server, "P-2", "skin", "R-42");
    cure(&server, "P-2", "skin");
    install(&server, "P-2", "NB-31");
    server
}

#[test]
fn the_first_sentence_counts_installed_cured_laid_and_nothing() {
    let server = boat();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.get("/boat/NB-31");
    says(
        &page,
        "2 of the 5 parts on NB-31's list are installed: 1 roll of 1 batch. P-3 is cured, not installed. P-4 is laid, not \
         cured, not installed. 1 has no record: P-5. 1 was laid and cured within life. 1 was not: P-2.",
    );
    says(&page, "PM-101/B-123");
    says(&page, "no kit");
    for of in ["part/P-2", "roll/R-42", "batch/PM-101/B-123"] {
        assert!(
            page.text.contains(&format!("<td class=\"code\"><a href=\"/thing/{of}\""))
                || page.text.contains(&format!("<a href=\"/thing/{of}\"><code>")),
            "{of}: {}",
            page.text
        );
    }
    assert!(!words(&page).contains("straight"));
    lay(&server, "P-5", "skin", "R-42");
    cure(&server, "P-5", "skin");
    let over = browser.get("/boat/NB-31");
    says(&over, "P-3 and P-5 are cured, not installed.");
    says(&over, "Of those not installed, not within life or can't be judged: P-5.");
    install(&server, "P-3", "NB-32");
    let page = browser.get("/boat/NB-31");
    says(&page, "P-3 is in boat NB-32.");
    assert!(!words(&page).contains("P-3 is cured, not installed"));
    says(
        &browser.get("/boat/NB-32"),
        "Nobody has said which parts NB-32 has. 1 part is installed in it: 1 roll of 1 batch.",
    );
}

#[test]
fn all_none_and_strangers_are_said_as_they_are() {
    let server = Server::yard();
    let mut browser = Browser { server: &server, cookie: String::new() };
    server.decide("declare_boat", "boat/NB-1", json!({"parts": ["P-1"]}));
    server.decide("declare_boat", "boat/NB-2", json!({"parts": ["P-1", "P-2"]}));
    says(&browser.get("/boat/NB-1"), "The 1 part on NB-1's list is not installed. 1 has no record: P-1.");
    says(&browser.get("/boat/NB-2"), "None of the 2 parts on NB-2's list is installed. 2 have no record: P-1 and P-2.");
    install(&server, "P-1", "NB-1");
    let page = browser.get("/boat/NB-1");
    says(&page, "The 1 part on NB-1's list is installed: 0 rolls of 0 batches.");
    says(&page, "1 has no record of what was laid: P-1.");
    assert!(!words(&page).contains("within life"), "{}", words(&page));
    install(&server, "P-9", "NB-1");
    says(&browser.get("/boat/NB-1"), "1 is in it and not on its list: P-9.");
    install(&server, "P-2", "NB-2");
    server.fact("part_removed", "part/P-1", json!({"boat": "NB-1"}));
    install(&server, "P-1", "NB-2");
    says(&browser.get("/boat/NB-2"), "All 2 parts on NB-2's list are installed:");
}

#[test]
fn a_planned_stage_that_nobody_laid_is_not_cured() {
    let server = Server::yard();
    let job = json!({"part": "P-1", "stages": ["skin", "second skin"], "needs": [], "boat": "NB-1",
                     "lay_at": "2026-05-07T16:00:00+01:00", "oven_at": "2026-05-07T20:00:00+01:00"});
    server.decide("open_job", "job/J-1", job);
    server.decide("declare_boat", "boat/NB-1", json!({"parts": ["P-1"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    lay(&server, "P-1", "skin", "R-42");
    cure(&server, "P-1", "skin");
    let mut browser = Browser { server: &server, cookie: String::new() };
    says(&browser.get("/boat/NB-1"), "P-1 is begun, not installed.");
    server.fact("plies_laid", "part/P-1", json!({"stage": "second skin", "from": "roll/R-42", "length_mm": 500}));
    says(&browser.get("/boat/NB-1"), "P-1 is laid, not cured in all stages, not installed.");
    let wrong = server.get(&format!("/api/v1/entries/{}", server.last_seq())).json()["id"].clone();
    server.decide("strike", "part/P-1", json!({"entry": wrong, "why": "another part"}));
    install(&server, "P-1", "NB-1");
    let page = browser.get("/boat/NB-1");
    says(&page, "0 were laid and cured within life. 1 is not cured, or not confirmed: P-1.");
    says(&page, "nothing laid in second skin");
}

#[test]
fn at_and_known_are_said_and_the_sheet_is_read_there() {
    let server = Server::yard();
    server.decide("declare_boat", "boat/NB-1", json!({"parts": ["P-1"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    lay(&server, "P-1", "skin", "R-42");
    let (then, laid) = (server.now(), server.last_seq());
    server.pass(60);
    cure(&server, "P-1", "skin");
    install(&server, "P-1", "NB-1");
    let mut browser = Browser { server: &server, cookie: String::new() };
    let at = then.replace('+', "%2B");
    let page = browser.get(&format!("/boat/NB-1?at={at}&known={laid}"));
    let asked = format!("As of Wed 6 May 2026 06:32, as known at entry {laid}");
    says(
        &page,
        &format!("{asked}: The 1 part on NB-1's list is not installed. P-1 is laid, not cured, not installed."),
    );
    let page = browser.get(&format!("/boat/NB-1?at={at}"));
    says(&page, "As of Wed 6 May 2026 06:32: The 1 part on NB-1's list is not installed.");
    let page = browser.get(&format!("/boat/NB-1?known={laid}"));
    says(&page, &format!("As known at entry {laid}: The 1 part on NB-1's list is not installed."));
    says(&page, &format!("from the log up to entry {laid}, root at entry {} ", server.last_seq()));
    says(&browser.get("/boat/NB-1"), "The 1 part on NB-1's list is installed: 1 roll of 1 batch.");
}

#[test]
fn stages_stand_in_the_order_in_which_they_were_laid() {
    let server = Server::yard();
    server.decide("declare_boat", "boat/NB-1", json!({"parts": ["P-1"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    for stage in ["skin", "core bond", "second skin"] {
        lay(&server, "P-1", stage, "R-42");
        cure(&server, "P-1", stage);
    }
    let page = words(&Browser { server: &server, cookie: String::new() }.get("/boat/NB-1"));
    let places: Vec<_> =
        ["P-1 skin", "P-1 core bond", "P-1 second skin"].iter().map(|one| page.find(one).unwrap()).collect();
    assert!(places.is_sorted(), "{places:?} {page}");
}

#[test]
fn every_sheet_of_paper_names_the_boat_and_from_how_much_of_the_log() {
    let server = boat();
    let page = server.get("/boat/NB-31").text;
    assert!(page.contains("media=\"print\" href=\"/print.css?head=Boat%20NB-31"), "{page}");
    assert!(page.contains(&format!("from%20the%20log%20up%20to%20entry%20{}", server.last_seq())), "{page}");
    // The table follows the claim, and no cell of it spans the whole boat.
    let behind = page.split("class=\"answer plain\"").nth(1).unwrap();
    assert!(behind.split("<table").next().unwrap().len() < 1200);
    assert!(page.matches("<tbody>").count() == 5);
}

#[test]
fn each_part_has_its_record_with_limits_at_cure_holds_strikes_and_what_the_screen_had_said() {
    let server = Server::yard();
    server.decide("declare_boat", "boat/NB-1", json!({"parts": ["P-1", "P-9"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(60);
    lay(&server, "P-1", "skin", "R-42");
    server.decide("place_hold", "roll/R-42", json!({"why": "the bag was torn", "nonconformance": "NC-7"}));
    server.fact("plies_laid", "part/P-1", json!({"stage": "skin", "from": "roll/R-43", "length_mm": 1000}));
    let wrong = server.get(&format!("/api/v1/entries/{}", server.last_seq())).json()["id"].clone();
    server.decide("strike", "part/P-1", json!({"entry": wrong, "why": "it was another part"}));
    cure(&server, "P-1", "skin");
    install(&server, "P-1", "NB-1");
    let mut browser = Browser { server: &server, cookie: String::new() };
    let brief = browser.get("/boat/NB-1");
    assert!(!words(&brief).contains("its record"), "{}", words(&brief));
    says(&brief, "With each part's record");
    let page = browser.get("/boat/NB-1?parts=whole");
    says(&page, &format!("Part P-1, its record skin. In oven run RUN-{}", server.last_seq() - 3));
    says(&page, "confirmed ");
    says(&page, "by Q-03: the bag was torn, NC-7.");
    says(&page, "limit when its cure began");
    // By hand: 1 h by its certificate, 1 min until it was first put away, 61 min from taken out to the oven; of 240 h.
    says(&page, "out-life of R-42 240 h 2 h 2 min 237 h 58 min");
    let struck = page.text.split("<s>").nth(1).unwrap().split("</tr>").next().unwrap().to_owned();
    assert!(struck.contains("R-43") && struck.contains("it was another part"), "{struck}");
    says(&page, "Part P-9, its record Nothing was recorded of it.");
    says(&page, "1 has no record: P-9.");
    assert_eq!(browser.get("/boat/NB-1?parts=all").status, 400);
}

#[test]
fn the_root_is_that_of_the_log() {
    let server = boat();
    let page = Browser { server: &server, cookie: String::new() }.get("/boat/NB-31");
    let text = words(&page);
    let root = text.split(&format!("entry {}, root ", server.last_seq())).nth(1).unwrap().split('.').next().unwrap();
    let lines: Vec<Vec<u8>> =
        (1..=server.last_seq()).map(|seq| server.get(&format!("/api/v1/entries/{seq}")).text.into_bytes()).collect();
    assert_eq!(root, tree(&lines).iter().map(|byte| format!("{byte:02x}")).collect::<String>());
}

/// RFC 6962, section 2.1: leaves begin with 0, nodes with 1, the left side holds the largest power of two.
fn tree(lines: &[Vec<u8>]) -> Vec<u8> {
    use sha2::{Digest, Sha256};
    if let [line] = lines {
        return Sha256::new().chain_update([0]).chain_update(line).finalize().to_vec();
    }
    let left = lines.len().next_power_of_two() / 2;
    let (one, other) = (tree(&lines[..left]), tree(&lines[left..]));
    Sha256::new().chain_update([1]).chain_update(one).chain_update(other).finalize().to_vec()
}

/// What else is known of a run.
type End<'a> = &'a dyn Fn(&Server);

/// P-1, laid and installed from a run whose cure got under way; `end` says what else is known of that.
fn installed_after(end: End<'_>) -> String {
    let server = Server::yard();
    server.decide("declare_boat", "boat/NB-1", json!({"parts": ["P-1"]}));
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    lay(&server, "P-1", "skin", "R-42");
    let stages = json!([{"part": "P-1", "stage": "skin"}]);
    server.fact("oven_run_started", "run/RUN-1", json!({"oven": "OV1", "stages": stages}));
    server.fact("oven_run_ended", "run/RUN-1", json!({"committed_at": server.now(), "source": "record"}));
    server.pass(60);
    end(&server);
    let made = words(&Browser { server: &server, cookie: String::new() }.get("/boat/NB-1"));
    install(&server, "P-1", "NB-1");
    made + &words(&Browser { server: &server, cookie: String::new() }.get("/boat/NB-1"))
}

#[test]
fn a_cure_that_is_held_or_in_doubt_is_not_claimed_to_be_within_life() {
    let sound = installed_after(&|_| {});
    assert!(sound.contains("P-1 is cured, not installed.") && sound.contains("1 was laid and cured within life."));
    let ended = |server: &Server, body| drop(server.fact("oven_run_ended", "run/RUN-1", body));
    let unconfirmed = "1 is not cured, or not confirmed: P-1.";
    let ends: [(End<'_>, &str); 3] = [
        (&|server| drop(server.fact("oven_run_interrupted", "run/RUN-1", json!({}))), unconfirmed),
        (&|server| ended(server, json!({"cured": false, "source": "chart"})), unconfirmed),
        (&|server| ended(server, json!({"committed_at": server.now(), "source": "chart"})), "1 can't be judged: P-1."),
    ];
    for (end, said) in ends {
        let said_of = installed_after(end);
        assert!(said_of.contains("P-1 is laid, not cured, not installed."), "{said_of}");
        assert!(said_of.contains(&format!("0 were laid and cured within life. {said}")), "{said_of}");
    }
}
