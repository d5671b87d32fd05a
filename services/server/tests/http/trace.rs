//! The trace of anything on a page: list, sheet and table for a spreadsheet, as known now or then.

use crate::browser::{Browser, words};
use crate::yard::{Said, Server};
use serde_json::json;

fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

/// R-42 cut into K-1 and K-2 for J-1; K-1 laid in P-1, cured, installed in NB-1; R-43 still in F1.
fn built() -> Server {
    let server = Server::yard();
    server.receive("R-43");
    let job = json!({"part": "P-1", "stages": ["skin"], "needs": [], "boat": "NB-1",
                     "lay_at": "2026-05-07T16:00:00+01:00", "oven_at": "2026-05-07T20:00:00+01:00"});
    server.decide("open_job", "job/J-1", job);
    server.fact("roll_taken_out", "roll/R-42", json!({"to": "CUT"}));
    for (nest, kit) in [("N-1", "K-1"), ("N-2", "K-2")] {
        let items = json!([{"roll": "R-42", "length_mm": 9_000}]);
        server.fact("nest_cut", &format!("nest/{nest}"), json!({"kits": [{"kit": kit, "job": "J-1", "items": items}]}));
    }
    server.pass(30);
    server.fact("plies_laid", "part/P-1", json!({"stage": "skin", "from": "kit/K-1"}));
    server.pass(30);
    server.fact(
        "oven_run_started",
        "run/RUN-1",
        json!({"oven": "OVEN-1", "stages": [{"part": "P-1", "stage": "skin"}]}),
    );
    server.pass(120);
    let committed = server.now();
    server.fact("oven_run_ended", "run/RUN-1", json!({"committed_at": committed, "cured": true, "source": "chart"}));
    server.fact("part_installed", "part/P-1", json!({"boat": "NB-1"}));
    server
}

#[test]
fn a_batch_says_where_its_rolls_are_and_what_they_went_into() {
    let server = built();
    let page = Browser { server: &server, cookie: String::new() }.get("/trace/batch/PM-101/B-123");
    says(&page, "B-123: 2 rolls received. 1 in F1, 1 out in CUT.");
    says(&Browser { server: &server, cookie: String::new() }.get("/hold?thing=batch/PM-101/B-123"), "Hold B-123");
    assert!(page.text.contains("href=\"/hold?thing=batch/PM-101/B-123\""), "{}", page.text);
    says(&page, "B-123 went into 2 kits, 1 part, 1 boat. In boat NB-1.");
    assert!(page.text.contains("<a href=\"/thing/part/P-1\"><code>P-1</code></a>, skin, entr"), "{}", page.text);
    assert_eq!(page.text.matches("<ul").count(), page.text.matches("</ul>").count());
    assert_eq!(page.text.matches("<li>").count(), page.text.matches("</li>").count());
}

#[test]
fn everything_has_a_trace_both_ways_as_a_list_and_as_a_sheet() {
    let server = built();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let all = [
        "boat/NB-1",
        "part/P-1",
        "kit/K-1",
        "roll/R-42",
        "batch/PM-101/B-123",
        "run/RUN-1",
        "job/J-1",
        "nest/N-1",
        "material/PM-101",
    ];
    for thing in all {
        for direction in ["made_from", "went_into"] {
            for form in ["list", "sheet"] {
                let page = browser.get(&format!("/trace/{thing}?direction={direction}&as={form}"));
                assert_eq!(page.status, 200, "{thing} {direction} {form}: {}", page.text);
                assert_eq!(page.text.matches("<h1").count(), 1);
            }
        }
    }
    for thing in ["boat/NB-1", "part/P-1", "run/RUN-1"] {
        says(&browser.get(&format!("/trace/{thing}?as=sheet")), "NB-1 P-1 skin K-1 R-42 PM-101/B-123");
    }
    for thing in ["batch/PM-101/B-123", "roll/R-42", "kit/K-1", "nest/N-1", "job/J-1"] {
        let page = browser.get(&format!("/trace/{thing}?direction=went_into&as=sheet"));
        says(&page, "NB-1 P-1 skin K-1 R-42 PM-101/B-123");
    }
    says(&browser.get("/trace/batch/PM-101/B-123?as=sheet"), "K-2 R-42 PM-101/B-123 in no part");
    says(&browser.get("/trace/batch/PM-101/B-123?as=sheet"), "R-43 PM-101/B-123 in no part");
    says(
        &browser.get("/trace/batch/PM-101/B-123?direction=made_from"),
        "The book does not know what B-123 is made from.",
    );
}

#[test]
fn a_sheet_of_one_roll_does_not_say_that_the_rest_of_a_part_is_missing() {
    let server = built();
    server.fact("plies_laid", "part/P-1", json!({"stage": "second skin", "from": "roll/R-43"}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    let page = browser.get("/trace/roll/R-43?as=sheet");
    says(&page, "NB-1 P-1 second skin no kit R-43 PM-101/B-123");
    assert!(!words(&page).contains("nothing laid in"), "{}", words(&page));
}

#[test]
fn a_boat_is_traced_with_its_claim() {
    let server = built();
    server.decide("declare_boat", "boat/NB-1", json!({"parts": ["P-1", "P-2"]}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    says(
        &browser.get("/trace/boat/NB-1"),
        "1 of the 2 parts on NB-1's list is installed: 1 roll of 1 batch. 1 has no record: P-2.",
    );
}

#[test]
fn the_trace_is_read_as_known_then_and_says_so() {
    let server = built();
    let mut browser = Browser { server: &server, cookie: String::new() };
    let before = server.last_seq() - 1;
    says(
        &browser.get(&format!("/trace/batch/PM-101/B-123?known={before}&at=")),
        &format!("As known at entry {before}: B-123: 2 rolls").replace("As", "as"),
    );
    says(&browser.get(&format!("/trace/batch/PM-101/B-123?known={before}")), "went into 2 kits, 1 part.");
    says(&browser.get("/trace/batch/PM-101/B-123?at=2026-05-06T06:31:00%2B01:00"), "as of Wed 6 May 2026 06:31");
}

#[test]
fn what_cannot_be_asked_is_said_in_words() {
    let server = built();
    let mut browser = Browser { server: &server, cookie: String::new() };
    for (path, status, sentence) in [
        ("/trace/roll/R-42?direction=up", 400, "made_from"),
        ("/trace/roll/R-42?as=graph", 400, "as a list, as a sheet"),
        ("/trace/roll/R-42?known=x", 400, "As known at which entry"),
        ("/trace/roll/R-42?known=9999", 400, "The log ends at entry"),
        ("/trace/roll/R-42?at=soon", 400, "soon"),
        ("/trace/roll/R-42?colour=red", 400, "not known here"),
        ("/trace/wheel/W-1", 400, "is no kind of thing"),
        ("/trace/roll/R-99", 404, "Nobody has received R-99."),
        ("/trace/batch/PM-101/B-9", 404, "Nobody has named a batch"),
    ] {
        let page = browser.get(path);
        assert_eq!(page.status, status, "{path}");
        says(&page, sentence);
    }
}

#[test]
fn a_code_is_found_and_one_with_several_meanings_is_asked_about() {
    let server = built();
    server.decide("place_hold", "job/R-42", json!({"why": "a job with a roll's code"}));
    let mut browser = Browser { server: &server, cookie: String::new() };
    says(&browser.get("/trace?code=nb-1"), "Trace of boat NB-1");
    says(&browser.get("/trace?code=Roll/r-42"), "Trace of roll R-42");
    says(&browser.get("/trace?code=b-123"), "Trace of batch PM-101/B-123");
    // As it is written with its material, and as its own page leads there.
    says(&browser.get("/trace?code=PM-101/b-123"), "Trace of batch PM-101/B-123");
    let page = browser.get("/thing/batch/PM-101/B-123");
    for link in ["/trace/batch/PM-101/B-123", "/recall/batch/PM-101/B-123"] {
        assert!(page.text.contains(&format!("href=\"{link}\"")), "{link}: {}", page.text);
    }
    says(&browser.get("/trace?code=R-42"), "Which R-42? roll R-42 job R-42");
    says(&browser.get("/trace?code=R-99"), "Nobody has received R-99.");
    // As everywhere: what nobody has is not there, what can't be read is not understood.
    for (code, status) in [("R-99", 404), ("wheel/1", 400), ("%01", 400), ("R-42", 200), ("", 200)] {
        assert_eq!(browser.get(&format!("/trace?code={code}")).status, status, "{code}");
    }
    says(&browser.get("/trace?code=wheel/1"), "is no kind of thing");
    assert_eq!(browser.get("/trace").status, 200);
}

#[test]
fn the_sheet_is_a_table_for_a_spreadsheet_and_no_code_in_it_is_a_sum() {
    let server = built();
    server.receive("=1+1");
    let said = server.get("/trace/batch/PM-101/B-123?as=csv");
    assert_eq!((said.status, said.media.as_str()), (200, "text/csv; charset=utf-8; header=present"));
    let lines: Vec<&str> = said.text.split("\r\n").collect();
    assert!(lines[0].starts_with("boat,part,stage,kit,roll,batch,"), "{}", said.text);
    assert!(lines[1].starts_with("NB-1,P-1,skin,K-1,R-42,PM-101/B-123,"), "{}", said.text);
    assert!(lines[1].ends_with(",RUN-1,within life"), "{}", said.text);
    assert!(said.text.contains(",'=1+1,PM-101/B-123,"), "{}", said.text);
}

#[test]
fn every_sheet_of_paper_says_of_what_and_from_how_much_of_the_log() {
    let server = built();
    let page = server.get("/trace/boat/NB-1").text;
    let address = page.split("media=\"print\" href=\"").nth(1).unwrap().split('"').next().unwrap();
    let css = server.get(&address.replace("&#38;", "&").replace("&amp;", "&"));
    assert_eq!((css.status, css.media.as_str()), (200, "text/css; charset=utf-8"));
    let text: String = css
        .text
        .split('\\')
        .skip(1)
        .map(|piece| char::from_u32(u32::from_str_radix(piece.split(' ').next().unwrap(), 16).unwrap()).unwrap())
        .collect();
    assert!(text.starts_with("boat NB-1"), "{text}");
    assert!(text.contains(&format!("from the log up to entry {}, root ", server.last_seq())), "{text}");
    let odd = server.get("/print.css?head=a%22%7D%5C&foot=%7D").text;
    assert_eq!((odd.matches('"').count(), odd.matches('}').count()), (4, 3), "{odd}");
}
