//! Thrown away, and laid straight from a roll: every answer of these pages.

use crate::browser::{Browser, Form, moves, signed_on, words};
use crate::yard::{Said, Server};
use reqwest::Method;
use serde_json::{Value, json};

fn job(server: &Server, job: &str, part: &str, mm: u64) {
    let plan = json!({"part": part, "stages": ["skin"], "needs": [{"material": "PM-101", "length_mm": mm}],
                      "lay_at": "2026-05-06T16:00:00+01:00", "oven_at": "2026-05-06T20:00:00+01:00"});
    server.decide("open_job", &format!("job/{job}"), plan);
}

fn last(server: &Server) -> Value {
    server.get(&format!("/api/v1/entries/{}", server.last_seq())).json()
}

#[track_caller]
fn says(page: &Said, sentence: &str) {
    assert!(words(page).contains(sentence), "{sentence}: {}", words(page));
}

fn may(server: &Server, thing: &str, rest: &str) -> Value {
    server.get(&format!("/api/v1/things/{thing}/may-use?{rest}")).json()
}

#[test]
fn a_length_or_all_of_a_roll_is_thrown_away_once() {
    let server = Server::yard();
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let mut browser = signed_on(&server);
    says(&browser.get("/dispose"), "Scan the roll or kit that is thrown away.");
    says(&browser.get("/dispose?code=R-42"), "Thrown away, why?");
    let asked = browser.get("/dispose?thing=roll/R-42&why=left-over");
    says(&asked, "Left over. All 50 m of R-42 counts as thrown away from now on. Nobody may use R-42 after that.");
    let form = moves(&asked);
    let rest = |form: &Form| Form {
        action: form.action.clone(),
        fields: form.fields.iter().filter(|(name, _)| name != "metres").cloned().collect(),
    };
    let before = server.last_seq();
    for (bad, sentence) in [
        ("-1", "-1 m is less than nothing."),
        ("0", "0 m is no length of a roll: 0.001 to 100000 m."),
        ("all", "&#34;all&#34; is no length; write metres with a point, such as 38.2."),
        ("K-5", "&#34;K-5&#34; is no length; write metres with a point, such as 38.2."),
    ] {
        let said = browser.post(&rest(&form), &[("metres", bad), ("go", "dispose")]);
        says(&said, &format!("{sentence} Left over. All 50 m of R-42 counts as thrown away from now on."));
        assert!(said.text.contains(&format!("name=\"metres\" value=\"{bad}\"")), "{}", said.text);
    }
    assert_eq!(server.last_seq(), before);
    let some = browser.post(&rest(&form), &[("metres", "1.5"), ("go", "dispose")]);
    assert_eq!(last(&server)["body"], json!({"why": "Left over", "length_mm": 1500}));
    says(&some, "1.5 m of R-42 thrown away Wed 06:31: left over. 48.5 m left.");
    browser.post(&rest(&form), &[("metres", "1.5"), ("go", "dispose")]);
    assert_eq!(server.last_seq(), before + 1);

    let all = moves(&browser.get("/dispose?thing=roll/R-42&why=damaged"));
    says(&browser.post(&all, &[("go", "dispose")]), "R-42 thrown away Wed 06:31: damaged.");
    assert_eq!(last(&server)["body"], json!({"why": "Damaged"}));
    assert_eq!(may(&server, "roll/R-42", "act=lay")["answer"], "no");
    says(&browser.get("/dispose?thing=roll/R-42"), "R-42 was thrown away Wed 06:31.");
}

#[test]
fn out_of_life_is_no_reason_while_only_a_mismatch_says_so() {
    let server = Server::yard();
    server.fact("roll_put_away", "roll/R-42", json!({"into": "F1"}));
    server.pass(11 * 24 * 60);
    let answer = may(&server, "roll/R-42", "act=lay");
    let mut browser = signed_on(&server);
    let asked = browser.get("/dispose?thing=roll/R-42");
    says(&asked, "Whether it is out of life is not sure yet.");
    says(&asked, answer["ask"].as_str().unwrap());
    assert!(!asked.text.contains(">Out of life<") && asked.text.contains(">Damaged<"), "{}", words(&asked));
}

#[test]
fn laying_straight_from_a_roll_takes_a_length() {
    let server = Server::yard();
    job(&server, "J-118", "P-3", 22_500);
    server.fact("roll_taken_out", "roll/R-42", json!({}));
    let mut browser = signed_on(&server);
    let asked = browser.get("/lay?part=P-3&stage=skin&from=roll/R-42");
    says(&asked, "Metres of R-42");
    let form = moves(&asked);
    let form =
        Form { action: form.action, fields: form.fields.into_iter().filter(|(name, _)| name != "length").collect() };
    let before = server.last_seq();
    for bad in ["", "-1", "K-5", &"9".repeat(10_000)] {
        let said = browser.post(&form, &[("length", bad), ("go", "laid")]);
        assert_eq!(said.status, 200, "{bad}");
        assert!(said.text.contains("class=\"answer cannot\"") && words(&said).contains("Metres of R-42"), "{bad}");
    }
    assert_eq!(server.last_seq(), before);
    says(&browser.post(&form, &[("length", "4.25"), ("go", "laid")]), "P-3 skin: laid from R-42");
    assert_eq!(last(&server)["body"]["length_mm"], 4250);
    assert_eq!(server.get("/api/v1/things/roll/R-42").json()["length_left_mm"], 45_750);
}

#[test]
fn what_can_t_be_thrown_away_is_said_in_words() {
    let server = Server::yard();
    job(&server, "J-118", "P-3", 22_500);
    let mut browser = signed_on(&server);
    let before = server.last_seq();
    let long = "x".repeat(10_000);
    for (path, sentence) in [
        ("/dispose?code=r-42".to_owned(), "Thrown away, why?"),
        ("/dispose?code=P-3".to_owned(), "P-3 is a part: not asked for here."),
        (format!("/dispose?code={long}"), "That is no code of a label"),
        ("/dispose?thing=roll/R-99".to_owned(), "Nobody has received R-99."),
        ("/dispose?thing=part/P-3".to_owned(), "Only rolls and kits are thrown away here, not part/P-3."),
        ("/dispose?thing=nonsense".to_owned(), "Scan it again."),
    ] {
        says(&browser.get(&path), sentence);
    }
    let fields = |why: &str| {
        vec![
            ("id".to_owned(), server.id()),
            ("thing".to_owned(), "roll/R-42".to_owned()),
            ("why".to_owned(), why.to_owned()),
        ]
    };
    for (why, go, sentence) in
        [("boredom", "dispose", "Why it was thrown away is missing."), ("damaged", "eaten", "That button is not one")]
    {
        let said = browser.post(&Form { action: "/dispose".to_owned(), fields: fields(why) }, &[("go", go)]);
        assert_eq!(said.status, 400);
        says(&said, sentence);
    }
    // Without a badge it leads to the badge; from another site nowhere.
    let mut nobody = Browser { server: &server, cookie: String::new() };
    says(&nobody.get("/dispose?thing=roll/R-42&why=damaged"), "Scan your badge, then record it");
    says(
        &nobody.post(&Form { action: "/dispose".to_owned(), fields: fields("damaged") }, &[("go", "dispose")]),
        "badge",
    );
    let form = "id=00000000-0000-0000-0000-000000000001&thing=roll/R-42&why=damaged&go=dispose";
    let headers = [
        ("accept", "text/html"),
        ("cookie", browser.cookie.as_str()),
        ("content-type", "application/x-www-form-urlencoded"),
        ("origin", "http://elsewhere.example"),
    ];
    assert_eq!(server.send(Method::POST, "/dispose", &headers, form.as_bytes().to_vec()).status, 403);
    assert_eq!(server.last_seq(), before);
}
