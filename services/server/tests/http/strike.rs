//! Making an entry right: the effect before saving, two people where it gives back, written once.

use crate::browser::{Browser, Form, signed_on, words};
use crate::yard::{Said, Server};
use serde_json::{Value, json};

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

/// The form that saves, as it stands on the page; without the badges.
pub(crate) fn saving(page: &Said) -> Form {
    let form = page.text.split("<form").find(|form| form.contains("Save</button>"));
    let form = form.unwrap_or_else(|| panic!("nothing can be saved: {}", words(page)));
    let attribute = |tag: &str, name: &str| {
        tag.split(&format!(" {name}=\"")).nth(1).map(|rest| rest.split('"').next().unwrap().to_owned())
    };
    let hidden = form.split("<input").filter(|tag| tag.contains("type=\"hidden\""));
    let fields = hidden.map(|tag| (attribute(tag, "name").unwrap(), attribute(tag, "value").unwrap()));
    Form { action: attribute(form, "action").unwrap(), fields: fields.collect() }
}

/// in F1; R-24 was taken out by mistake for R-42, 3 h 10 min ago.
fn mistaken() -> (Server, u64) {
    let server = Server::yard();
    server.receive("R-24");
    server.pass(5);
    let seq = server.fact("roll_taken_out", "roll/R-24", json!({"from": "F1"}))["seq"].as_u64().unwrap();
    server.pass(190);
    (server, seq)
}

#[test]
fn it_was_another_roll_shows_who_gets_and_who_loses_and_asks_for_a_second_person() {
    let (server, seq) = mistaken();
    let mut browser = signed_on(&server);
    let page = browser.get(&format!("/strike/{seq}"));
    says(&page, "R-24 taken out of F1");
    says(&page, "It was another roll");
    let page = browser.get(&format!("/strike/{seq}?choice=other&other=r-42&why="));
    says(&page, "Now: R-24 is out since Wed 06:37. Then: R-24 is in F1 since Wed 06:32.");
    says(&page, "R-24 gets back 3 h 10 min of tack life and out-life.");
    says(&page, "R-42 loses 3 h 10 min of tack life and out-life.");
    says(&page, "needs a second person");
    // Why it is struck stands there to be read before it is saved.
    says(&page, "Why: it was R-42. What it would change");
    // Chosen otherwise on the same page, that reason is not sent along.
    let asking = page.text.split("<form").find(|form| form.contains("Show what it would change</button>")).unwrap();
    assert!(asking.contains("value=\"r-42\"") && !asking.contains("it was R-42"), "{asking}");
    says(&browser.get(&format!("/strike/{seq}?choice=other&other=R-42&why=it+was+R-42")), "Why: it was R-42.");
    let typed = browser.get(&format!("/strike/{seq}?choice=other&other=R-42&why=alike"));
    assert!(
        !words(&typed).contains("Why: it was") && typed.text.matches("value=\"alike\"").count() == 2,
        "{}",
        typed.text
    );
    let form = saving(&page);
    let last = server.last_seq();
    let refused = browser.post(&form, &[("by", "B-05"), ("second", "")]);
    assert_eq!((refused.status, server.last_seq()), (403, last));
    // The same form stands there again, with the badge that was typed, and in the words of people.
    assert!(refused.text.contains("name=\"by\" value=\"B-05\""), "{}", refused.text);
    assert_eq!(saving(&refused).fields, form.fields);
    says(
        &refused,
        "a second person must stand beside it. Scan the other badge into the form. Nothing was written yet.",
    );
    assert!(!words(&refused).contains("in second"), "{}", words(&refused));
    let wrong = browser.post(&form, &[("by", "B-17"), ("second", "a/b")]);
    assert_eq!((wrong.status, server.last_seq()), (400, last));
    assert!(wrong.text.contains("name=\"second\" value=\"a/b\""), "{}", wrong.text);
    assert_eq!(browser.post(&form, &[("by", "B-17"), ("second", "?")]).status, 400, "nobody is no second person");
    assert_eq!(server.last_seq(), last);
    says(&refused, "a second person must stand beside it");
    let written = browser.post(&form, &[("by", "B-17"), ("second", "B-05")]);
    assert_eq!(written.status, 200, "{}", words(&written));
    says(&written, "Written: an entry of R-24 struck: it was R-42; the next entry stands instead, by B-17 with B-05");
    says(&written, "struck by B-17");
    assert_eq!(server.last_seq(), last + 2);
    says(&browser.get("/thing/roll/R-42"), "R-42 is out");
    // The back button, and the same sent with another badge.
    let again = browser.post(&form, &[("by", "B-17"), ("second", "B-05")]);
    says(&again, "It was written before, once:");
    let other = browser.post(&form, &[("by", "B-17"), ("second", "Q-01")]);
    says(&other, "It was written before, once:");
    assert_eq!(server.last_seq(), last + 2);
}

/// The same form with another value in one field.
pub(crate) fn with(form: &Form, name: &str, value: &str) -> Form {
    let kept = form.fields.iter().filter(|(field, _)| field != name).cloned();
    let fields = kept.chain([(name.to_owned(), value.to_owned())]).collect();
    Form { action: form.action.clone(), fields }
}

#[test]
fn a_form_of_a_decision_sent_again_with_other_words_writes_nothing_and_says_so() {
    let (server, seq) = mistaken();
    server.decide("declare_boat", "boat/NB-31", json!({"parts": ["P-1"]}));
    server.receive("R-77");
    let out = server.fact("roll_taken_out", "roll/R-77", json!({}))["seq"].as_u64().unwrap();
    server.pass(30);
    let plan = "part=P-3&choice=ask&stages=skin&needs=PM-101+22.5&lay_at=2026-05-07+16:00&oven_at=2026-05-07+20:00";
    for (address, field, other) in [
        ("/hold?thing=roll/R-42&choice=ask&why=torn+bag".to_owned(), "why", "crushed core"),
        ("/hold?thing=roll/R-42&choice=ask&why=torn+bag&number=NC-1".to_owned(), "number", "NC-2"),
        ("/hold?thing=roll/R-77&choice=ask&why=torn+bag".to_owned(), "thing", "roll/R-42"),
        ("/boat/NB-31/list?choice=ask&parts=P-1%0AP-2".to_owned(), "parts", "P-1"),
        (format!("/job?code=J-118&{plan}"), "boat", "NB-31"),
        (format!("/job?code=J-119&{plan}"), "needs", "PM-101 23"),
        (format!("/strike/{seq}?choice=other&other=R-42"), "other", "R-77"),
        (format!("/strike/{out}?choice=time&at=2026-05-06+09:55"), "at", "2026-05-06 09:56"),
    ] {
        let mut browser = signed_on(&server);
        let page = browser.get(&address);
        let form = saving(&page);
        let badges = [("by", "B-17"), ("second", "B-05")];
        says(&browser.post(&form, &badges), "Written:");
        let last = server.last_seq();
        says(&browser.post(&form, &badges), "It was written before, once:");
        let again = browser.post(&with(&form, field, other), &badges);
        assert_eq!((again.status, server.last_seq()), (409, last), "{address}: {}", words(&again));
        says(&again, "This page was sent before with something else, and that stands as entry");
        assert_eq!(again.text.matches("<h1").count(), 1);
    }
}

#[test]
fn the_second_of_two_tabs_reads_who_was_first() {
    let (server, seq) = mistaken();
    let mut browser = signed_on(&server);
    let address = format!("/strike/{seq}?choice=never&why=wrong+roll");
    let (one, two) = (browser.get(&address), browser.get(&address));
    assert_eq!(browser.post(&saving(&one), &[("by", "B-17"), ("second", "B-05")]).status, 200);
    let late = browser.post(&saving(&two), &[("by", "B-17"), ("second", "B-05")]);
    assert_eq!(late.status, 409);
    says(&late, "Already struck by B-17 Wed");
    says(&late, "wrong roll. Nothing more is to be done.");
    assert_eq!(late.text.matches("<h1").count(), 1);
}

#[test]
fn a_thing_thrown_away_by_mistake_says_that_it_could_be_used_again() {
    let server = Server::yard();
    let seq = server.fact("disposed", "roll/R-42", json!({"why": "left over"}))["seq"].as_u64().unwrap();
    server.pass(60 * 24 * 30);
    let mut browser = signed_on(&server);
    let page = browser.get(&format!("/strike/{seq}?choice=never&why=mistake"));
    says(&page, "R-42 could be used again. It gives back: needs a second person.");
    assert!(!words(&page).contains("loses"), "{}", words(&page));
}

#[test]
fn what_came_between_is_shown() {
    let (server, seq) = mistaken();
    let mut browser = signed_on(&server);
    let page = browser.get(&format!("/strike/{seq}?choice=never&why=mistake"));
    server.fact("roll_put_away", "roll/R-24", json!({"into": "F1"}));
    let late = browser.post(&saving(&page), &[("by", "B-17"), ("second", "B-05")]);
    assert_eq!(late.status, 409);
    says(&late, "What came between: Entry");
    says(&late, "roll put away, roll/R-24");
    // The same question again, as things stand now.
    says(&late, "Look again");
    let again = late.text.split("<form class=\"why\" method=\"get\"").nth(1).unwrap().split("</form>").next().unwrap();
    assert!(again.contains(&format!("action=\"/strike/{seq}\"")), "{again}");
    assert!(again.contains("name=\"choice\" value=\"never\""), "{again}");
    assert!(again.contains("name=\"why\" value=\"mistake\""), "{again}");
    assert!(words(&browser.get(&format!("/strike/{seq}?choice=never&why=mistake"))).contains("What it would change"));
}

#[test]
fn that_it_never_happened_is_said_with_a_reason() {
    let (server, seq) = mistaken();
    let mut browser = signed_on(&server);
    for why in ["", "++"] {
        let page = browser.get(&format!("/strike/{seq}?choice=never&why={why}"));
        assert_eq!(page.status, 400);
        says(&page, "Say why.");
        assert!(!page.text.contains("Save</button>"), "{}", page.text);
    }
    let form = saving(&browser.get(&format!("/strike/{seq}?choice=never&why=scanned+twice")));
    let last = server.last_seq();
    let refused = browser.post(&with(&form, "why", " "), &[("by", "B-17"), ("second", "B-05")]);
    assert_eq!((refused.status, server.last_seq()), (400, last));
}

#[test]
fn a_mistyped_length_is_put_right_by_two_where_that_gives_back() {
    let server = Server::yard();
    // 48 m into K-1 and 2 m of waste of the 50 m there were, where 4.8 m was meant.
    let cut = json!({"kits": [{"kit": "K-1", "job": "J-1", "items": [{"roll": "R-42", "length_mm": 48_000}]}],
                     "waste": [{"roll": "R-42", "length_mm": 2_000}]});
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let seq = server.fact("nest_cut", "nest/N-1", cut)["seq"].as_u64().unwrap();
    let mut browser = signed_on(&server);
    says(&browser.get("/thing/roll/R-42"), "R-42 was used up");
    let page = browser.get(&format!("/strike/{seq}"));
    says(&page, "It was another length");
    says(&page, "one after the other with a space between: R-42 into K-1, waste of R-42");
    assert!(page.text.contains("value=\"48 2\""), "{}", page.text);
    for (typed, sentence) in [
        ("4.8", "The entry states 2 lengths; you wrote 1."),
        ("48+2", "That is what the entry says already."),
        ("4.8+much", "is no length"),
        ("4.8+0", "is no length of a roll"),
    ] {
        let page = browser.get(&format!("/strike/{seq}?choice=length&length={typed}"));
        assert_eq!(page.status, 400, "{typed}: {}", words(&page));
        says(&page, sentence);
    }
    let page = browser.get(&format!("/strike/{seq}?choice=length&length=4.8+2"));
    says(&page, "R-42 could be used again");
    says(&page, "needs a second person");
    let form = saving(&page);
    let last = server.last_seq();
    assert_eq!(browser.post(&form, &[("by", "B-17"), ("second", "")]).status, 403);
    assert_eq!(browser.post(&form, &[("by", "B-17"), ("second", "B-05")]).status, 200);
    browser.post(&form, &[("by", "B-17"), ("second", "B-05")]);
    assert_eq!(server.last_seq(), last + 2);
    let roll = || server.get("/api/v1/things/roll/R-42").json();
    assert_eq!(roll()["length_left_mm"], 43_200);
    let written = server.get(&format!("/api/v1/entries/{}", last + 2)).json();
    assert_eq!(
        (&written["kind"], &written["body"]["kits"][0]["items"][0]["length_mm"]),
        (&json!("nest_cut.v1"), &json!(4_800))
    );
    assert_eq!(written["body"]["waste"][0]["length_mm"], 2_000);
    // A receipt of 50 m where 40 m came: less is left, and that needs nobody else.
    let receipt = roll_receipt(&server);
    let page = browser.get(&format!("/strike/{receipt}?choice=length&length=40"));
    says(&page, "needs nobody else");
    // What stands instead is written later than it happened: it waits, and written once more it waits as that did.
    says(&page, "R-42: 1 entry more to confirm.");
    says(
        &browser.get(&format!("/strike/{receipt}?choice=length&length=40+2")),
        "The entry states one length; you wrote 2.",
    );
    assert_eq!(browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]).status, 200);
    assert_eq!(roll()["length_left_mm"], 33_200);
    let page = browser.get(&format!("/strike/{}?choice=length&length=35", server.last_seq()));
    says(&page, "33.2 m of it left, then 28.2 m.");
    assert!(!words(&page).contains("to confirm"), "{}", words(&page));
    // What states no length is offered none.
    let out = server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}))["seq"].as_u64().unwrap();
    assert!(!words(&browser.get(&format!("/strike/{out}"))).contains("another length"));
    assert_eq!(browser.get(&format!("/strike/{out}?choice=length&length=4")).status, 400);
}

/// The number of R-42's receipt.
fn roll_receipt(server: &Server) -> u64 {
    let entries = server.get("/api/v1/things/roll/R-42/entries?limit=100").json();
    let mut items = entries["items"].as_array().unwrap().iter();
    items.find(|one| one["kind"] == "roll_received.v1").unwrap()["seq"].as_u64().unwrap()
}

#[test]
fn another_time_in_the_yards_clock_and_bad_input_in_words() {
    let (server, seq) = mistaken();
    let mut browser = signed_on(&server);
    let page = browser.get(&format!("/strike/{seq}?choice=time&at=2026-05-06+06:32"));
    says(&page, "R-24 loses");
    says(&page, "It needs nobody else.");
    assert_eq!(browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]).status, 200);
    let last = server.last_seq();
    for bad in ["choice=time&at=soon", "choice=time", "choice=other&other=", "choice=other&other=R-24", "choice=x"] {
        let page = browser.get(&format!("/strike/{}?{bad}", last));
        assert_eq!(page.status, 400, "{bad}");
    }
    let form = Form { action: format!("/strike/{last}"), fields: vec![("choice".to_owned(), "never".to_owned())] };
    assert_eq!(browser.post(&form, &[("by", "B-17")]).status, 400);
    says(&browser.get("/last"), "R-24 taken out of F1");
}

#[test]
fn a_hold_is_placed_by_one_and_lifted_by_two() {
    let server = Server::yard();
    server.fact(
        "nest_cut",
        "nest/N-1",
        json!({"kits": [{"kit": "K-1", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 1_000}]}]}),
    );
    let mut browser = signed_on(&server);
    let page = browser.get("/hold?thing=roll/R-42&choice=ask&why=torn+bag&number=CN-1");
    let written = browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]);
    says(&page, "R-42 is held then: torn bag.");
    says(&page, "K-1 is held then by the hold on R-42: torn bag.");
    says(&page, "It needs nobody else.");
    says(&written, "Written: R-42 held: torn bag (CN-1)");
    let lift =
        written.text.split("href=\"/hold?").find_map(|rest| rest.split('"').next().filter(|at| at.contains("lift")));
    let lift = format!("/hold?{}&choice=ask&why=new+bag", lift.unwrap().replace("&#38;", "&").replace("&amp;", "&"));
    let page = browser.get(&lift);
    says(&page, "R-42 is no longer held, which was for: torn bag.");
    says(&page, "needs a second person");
    assert_eq!(browser.post(&saving(&page), &[("by", "B-17"), ("second", "")]).status, 403);
    says(&browser.post(&saving(&page), &[("by", "B-17"), ("second", "Q-03")]), "Written: hold on R-42 lifted: new bag");
    for bad in ["choice=ask&thing=R-42&why=x", "choice=ask&thing=roll/R-42", "choice=ask&thing=roll/R-42&why=x&lift=no"]
    {
        assert_eq!(browser.get(&format!("/hold?{bad}")).status, 400, "{bad}");
    }
}

#[test]
fn told_lines_are_confirmed_one_tap_each() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    server.pass(60);
    let told = server.fact_now("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    server.pass(30);
    assert_eq!(server.post("/api/v1/entries", &json!({"entries": [told]})).status, 207);
    let mut browser: Browser<'_> = signed_on(&server);
    says(&browser.get("/thing/roll/R-42"), "Until another badge confirms it");
    let page = browser.get("/confirm?second=B-05");
    says(&page, "R-42 put away in F1");
    let form = page.text.split("<form").find(|form| form.contains("Confirm</button>")).unwrap().to_owned();
    let field = |name: &str| {
        let rest = form.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap();
        (name.to_owned(), rest.split('"').next().unwrap().to_owned())
    };
    let form = Form { action: "/confirm".to_owned(), fields: ["id", "thing", "other", "second"].map(field).to_vec() };
    let done = browser.post(&form, &[]);
    says(&done, "Confirmed: it is entry");
    says(&done, "Nothing waits to be confirmed.");
    let last = server.last_seq();
    says(&browser.post(&form, &[]), "Confirmed: it is entry");
    assert_eq!(server.last_seq(), last);
    says(&browser.get("/thing/roll/R-42"), "told, confirmed by B-05");
    // Struck, it waits again, and the same two confirm it again.
    let confirmed = server.get(&format!("/api/v1/entries/{last}")).json()["id"].clone();
    server.decide("strike", "roll/R-42", json!({"entry": confirmed, "why": "too early"}));
    let page = browser.get("/confirm?second=B-05");
    says(&page, "R-42 put away in F1");
    let id = page.text.split("name=\"id\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let kept = form.fields.iter().filter(|(name, _)| name != "id").cloned();
    let again = Form { action: form.action.clone(), fields: kept.chain([("id".to_owned(), id)]).collect() };
    says(&browser.post(&again, &[]), "Nothing waits to be confirmed.");
    assert_eq!(server.last_seq(), last + 2);
}

#[test]
fn told_lines_beyond_the_first_fifty_are_not_hidden() {
    let server = Server::yard();
    let told = |server: &Server, count: usize| {
        let now: Vec<Value> = (0..count).map(|_| server.fact_now("seen", "roll/R-42", json!({"in": "F1"}))).collect();
        server.pass(30);
        assert_eq!(server.post("/api/v1/entries", &json!({"entries": now})).status, 207);
    };
    told(&server, 50);
    let mut browser = signed_on(&server);
    assert!(!words(&browser.get("/confirm")).contains("that wait."), "all are shown");
    told(&server, 3);
    says(&browser.get("/confirm"), "The first 50 of 53 that wait. The others follow as these are confirmed.");
}

#[test]
fn acts_that_would_be_judged_otherwise_and_refreezes_are_named() {
    let server = Server::yard();
    let out = server.fact("roll_taken_out", "roll/R-42", json!({"from": "F1"}))["seq"].as_u64().unwrap();
    // Out for longer than its tack life, and cut then.
    server.pass(60 * 24 * 9);
    server.fact(
        "nest_cut",
        "nest/N-1",
        json!({"kits": [{"kit": "K-1", "job": "J-118", "items": [{"roll": "R-42", "length_mm": 1_000}]}]}),
    );
    server.pass(5);
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    let mut browser = signed_on(&server);
    let page = browser.get(&format!("/strike/{out}?choice=never&why=it+stayed"));
    says(
        &page,
        "Entry 10, R-42 cut Fri 06:31: judged R-42 57 h 1 min over its tack life now, R-42 57 h 31 min over its tack life then.",
    );
    says(&page, "R-42 loses 30 min of tack life and out-life.");
    says(&page, "K-1 loses 30 min of tack life and out-life.");
    says(&page, "R-42 tack life 57 h 6 min over 57 h 36 min over");
    let page = browser.get(&format!("/strike/{}?choice=never&why=it+stayed+out", server.last_seq()));
    says(&page, "R-42 gets back 1 of its returns to the cold.");
    says(&page, "Now: R-42 is in F1 since Fri 06:36. Then: R-42 is out since Wed 6 May 06:31.");
}
