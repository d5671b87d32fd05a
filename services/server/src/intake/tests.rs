use super::*;
use serde_json::json;

const ID: &str = "0197a1c2-0000-7000-8000-000000000001";
const OTHER: &str = "0197a1c2-0000-7000-8000-000000000002";

fn taken_out() -> Value {
    json!({"id": ID, "kind": "roll_taken_out", "thing": "roll/r-42", "occurred_at": "2026-05-06T06:02:11.000+02:00",
           "by": "B-17", "body": {"from": "F1", "to": "CUT"}})
}

fn with(pointer: &str, value: Value) -> Value {
    let mut item = taken_out();
    let (object, member) = pointer.rsplit_once('/').unwrap();
    item.pointer_mut(object).unwrap()[member] = value;
    item
}

fn wrong(item: &Value) -> (String, String) {
    let problem = fact(&item.to_string()).unwrap_err();
    let first = problem.errors.into_iter().next().unwrap();
    (first.pointer, first.detail)
}

#[test]
fn a_fact_is_read_as_it_was_posted() {
    let NewFact { entry, raw, .. } = fact(&taken_out().to_string()).unwrap();
    assert_eq!((entry.thing.to_string().as_str(), entry.body.kind()), ("roll/R-42", "roll_taken_out.v1"));
    assert_eq!(entry.occurred_at.to_string(), "2026-05-06T06:02:11.000+02:00");
    assert_eq!((entry.by_known, entry.device_known, raw), (KnownBy::Claimed, None, None));
}

#[test]
fn the_tail_is_the_line_from_its_id_on() {
    let new = fact(&with("/second", json!({"by": "B-2"})).to_string()).unwrap();
    let entry = Entry { seq: 7, recorded_at: Instant(1_000), told: true, ..new.entry };
    let mut line = Vec::new();
    entry.write(&mut line).unwrap();
    let head = br#"{"seq":7,"recorded_at":"1970-01-01T00:00:01.000+00:00","told":true,"#;
    assert_eq!(line, [head.as_slice(), &new.tail].concat());
}

#[test]
fn nobody_over_http_is_known_by_more_than_a_claim() {
    let item = with("/second", json!({"by": "B-2", "by_known": "password"}));
    let NewFact { entry, .. } = fact(&item.to_string()).unwrap();
    assert_eq!(entry.second.unwrap().by_known, KnownBy::Claimed);
    let NewFact { entry, .. } = fact(&with("/device", json!("H-3")).to_string()).unwrap();
    assert_eq!(entry.device_known, Some(KnownBy::Claimed));
    assert_eq!(entry.scanned_by(), None);
}

#[test]
fn null_and_absent_are_the_same() {
    let plain = fact(&taken_out().to_string()).unwrap().entry;
    for member in ["/second", "/device", "/body/to"] {
        let mut item = with(member, Value::Null);
        if member == "/body/to" {
            item["body"] = json!({"from": "F1", "to": "CUT", "x": null});
        }
        assert_eq!(fact(&item.to_string()).unwrap().entry, plain, "{member}");
    }
    assert_eq!(wrong(&with("/thing", Value::Null)), ("/thing".into(), "thing is missing".into()));
}

#[test]
fn what_cannot_be_read_is_refused_in_words_that_point_to_it() {
    let cases = [
        (with("/thing", json!("kit/K-5")), "/thing", "roll_taken_out is about a roll, not about kit/K-5"),
        (with("/thing", json!("roll")), "/thing", "name a thing as kind/code"),
        (with("/kind", json!("roll_flew_away")), "/kind", "no kind of entry"),
        (with("/kind", json!("issued")), "/kind", "ask for issue at /api/v1/decisions"),
        (with("/kind", json!("entry_set_aside.v1")), "/kind", "only the log itself"),
        (with("/decide", json!("issue")), "/decide", "post it to /api/v1/decisions"),
        (with("/occurred_at", json!("2026-05-06T06:02:11")), "/occurred_at", "is not a time"),
        (with("/occured_at", json!(1)), "/occured_at", "there is no field occured_at here"),
        (with("/uncertain_by_ms", json!(-1)), "/uncertain_by_ms", "whole number"),
        (with("/body/from", json!("")), "/body/from", "a code has 1 to 40"),
        (with("/body/too", json!("X")), "/body/too", "there is no field too here"),
        (with("/by", json!("x".repeat(2_001))), "/by", "at most 2000 characters"),
        (with("/id", json!("R-42")), "/id", "UUID"),
        (json!([]), "", ""),
        (json!("x"), "", ""),
    ];
    for (item, pointer, words) in cases {
        let (at, detail) = wrong(&item);
        assert!(at == pointer && detail.contains(words), "{item}\n{at}: {detail}");
    }
    assert_eq!(fact("{").unwrap_err().errors[0].pointer, "");
    assert_eq!(fact(&with("/by", json!(5)).to_string()).unwrap_err().id, Some(ID.parse().unwrap()));
}

#[test]
fn a_reason_is_never_blank() {
    for why in ["", "  ", "\u{3000}"] {
        let asked = [
            asked("place_hold", "roll/R-42", json!({"why": why})),
            asked("lift_hold", "roll/R-42", json!({"hold": OTHER, "why": why})),
            asked("strike", "roll/R-42", json!({"entry": OTHER, "why": why})),
        ];
        for item in asked {
            let problem = decision(&item.to_string()).unwrap_err();
            assert_eq!(problem.detail(), "/body/why: say why, in a word or two", "{item}");
        }
    }
}

#[test]
fn thirty_two_levels_are_read_and_one_more_is_too_deep() {
    let nested = |levels: usize| (0..levels).fold(json!(1), |inner, _| json!({"in": inner}));
    // The item and its body are two levels.
    assert!(wrong(&with("/body/x", nested(30))).1.contains("no field x"));
    let (pointer, detail) = wrong(&with("/body/x", nested(31)));
    assert!(detail.contains("more than 32 deep"), "{pointer}: {detail}");
    assert!(fact(&format!("{}{}", "[".repeat(100_000), "]".repeat(100_000))).is_err());
}

#[test]
fn nothing_that_a_device_sends_is_lost() {
    let cases = [
        with("/kind", json!("roll_flew_away.v3")),
        with("/body", json!({"nowhere": true})),
        with("/body", json!("x".repeat(3_000))),
        with("/moon", json!("full")),
        with("/thing", json!("boat/H-1")),
        with("/kind", json!("issued")),
        with("/second", json!(5)),
    ];
    for mut item in cases {
        assert!(fact(&item.to_string()).is_err(), "{item}");
        item["device"] = json!("H-3");
        item["counter"] = json!(12);
        let raw = format!(" {item}");
        let NewFact { entry, .. } = fact(&raw).unwrap();
        let Body::SetAside(aside) = &entry.body else { panic!("{item}") };
        assert_eq!((aside.raw.as_str(), entry.counter, entry.by.as_str()), (raw.as_str(), Some(12), "B-17"));
        assert!(!aside.why.is_empty());
        assert_eq!(entry.id.to_string(), ID);
    }
}

#[test]
fn what_has_no_envelope_or_is_huge_is_refused_even_from_a_device() {
    let mut item = with("/device", json!("H-3"));
    item["occurred_at"] = json!("yesterday");
    assert_eq!(wrong(&item).0, "/occurred_at");
    let mut item = with("/device", json!("H-3"));
    item["body"] = json!({"x": vec!["y".repeat(1_900); 40]});
    assert_eq!(wrong(&item).0, "/body/x");
}

#[test]
fn an_id_used_again_is_set_aside_under_an_id_that_stays_the_same() {
    let new = fact(&with("/device", json!("H-3")).to_string()).unwrap();
    let [first, second] = [used_again(&new, 4).unwrap(), used_again(&new, 4).unwrap()];
    assert_eq!(first.entry, second.entry);
    assert_ne!(first.entry.id, new.entry.id);
    assert!(used_again(&fact(&taken_out().to_string()).unwrap(), 4).is_none());
}

fn asked(decide: &str, thing: &str, body: Value) -> Value {
    json!({"id": ID, "decide": decide, "thing": thing, "by": "B-17", "based_on": 48, "body": body})
}

#[test]
fn a_decision_becomes_a_wish() {
    let NewDecision { wish, .. } = decision(&asked("issue", "kit/K-5", json!({"job": "J-118"})).to_string()).unwrap();
    assert_eq!((wish.body.kind(), wish.based_on, wish.instead), ("issued.v1", Some(48), None));
}

#[test]
fn a_strike_names_what_is_wrong_and_what_stands_instead() {
    let mut instead = taken_out();
    instead["id"] = json!(OTHER);
    let entry = "0197a1c2-0000-7000-8000-000000000003";
    let item = asked("strike", "roll/R-42", json!({"entry": entry, "why": "wrong roll", "instead": instead}));
    let NewDecision { wish, .. } = decision(&item.to_string()).unwrap();
    let why = "wrong roll".to_owned();
    assert_eq!(wish.body, Body::EntryStruck(Strike { why, instead: Some(OTHER.parse().unwrap()) }));
    assert_eq!(wish.strikes, Some(entry.parse().unwrap()));
    assert_eq!(wish.instead.unwrap(), fact(&instead.to_string()).unwrap().entry);
}

#[test]
fn a_decision_that_cannot_be_read_is_refused_in_words() {
    let strike = |instead: Value| asked("strike", "roll/R-42", json!({"entry": OTHER, "why": "w", "instead": instead}));
    let mut misplaced = taken_out();
    misplaced["id"] = json!("0197a1c2-0000-7000-8000-000000000004");
    misplaced["thing"] = json!("kit/K-1");
    let mut holey = misplaced.clone();
    holey["body"] = json!({"form": "F1"});
    let cases = [
        (taken_out(), "/kind", "a fact is posted to /api/v1/entries"),
        (asked("issued", "kit/K-5", json!({"job": "J"})), "/decide", "in the imperative: issue"),
        (asked("sell", "kit/K-5", json!({})), "/decide", "there is no decision sell; there are declare_yard"),
        (asked("issue", "boat/H-1", json!({"job": "J"})), "/thing", "issued is about a roll or a kit"),
        (asked("declare_yard", "yard/MINE", json!({"zone": "UTC", "spare_s": 0})), "/thing", "yard/YARD"),
        (asked("issue", "kit/K-5", json!({"job": "J", "x": 1})), "/body/x", "there is no field x here"),
        (
            asked(
                "open_job",
                "job/J",
                json!({"part": "P", "stages": [], "lay_at": "2026-05-06T06:00:00Z", "oven_at": "2026-05-06T06:00:00Z"}),
            ),
            "/body/stages",
            "at least one stage",
        ),
        (strike(taken_out()), "/body/instead/id", "an id of its own"),
        (strike(misplaced), "/body/instead/thing", "about a roll"),
        (strike(holey), "/body/instead/body/form", "there is no field form"),
        (strike(json!({})), "/body/instead/id", "id is missing"),
    ];
    for (item, pointer, words) in cases {
        let problem = decision(&item.to_string()).unwrap_err();
        let FieldProblem { pointer: at, detail } = &problem.errors[0];
        assert!(at == pointer && detail.contains(words), "{item}\n{at}: {detail}");
    }
}

#[test]
fn roles_scopes_and_tokens_say_what_they_are_for() {
    let cases = [
        ("grant_roles", "badge/X-1", json!({"roles": ["integrator"]}), "/body/scopes", "name what its programs may do"),
        (
            "grant_roles",
            "badge/B-1",
            json!({"roles": ["stores"], "scopes": ["read"]}),
            "/body/scopes",
            "integrator's alone",
        ),
        ("grant_roles", "badge/B-1", json!({"roles": ["captain"]}), "/body/roles/0", "captain"),
        ("grant_roles", "roll/R-1", json!({"roles": []}), "/thing", "is about a badge, not about roll/R-1"),
        ("grant_roles", "badge/LOG", json!({"roles": ["administrator"]}), "/thing", "nobody's badge"),
        ("enrol_device", "device/H-3", json!({"what": "gramophone"}), "/body/what", "gramophone"),
        ("revoke_device", "device/H-3", json!({"why": " "}), "/body/why", "say why"),
        ("issue_token", "badge/X-1", json!({"name": " ", "scopes": ["read"]}), "/body/name", "say what it is for"),
        ("issue_token", "badge/X-1", json!({"name": "plans", "scopes": []}), "/body/scopes", "name what it may do"),
    ];
    for (decide, thing, body, pointer, words) in cases {
        let problem = decision(&asked(decide, thing, body).to_string()).unwrap_err();
        let first = &problem.errors[0];
        assert!(first.pointer == pointer && first.detail.contains(words), "{decide}: {first:?}");
    }
    let granted = decision(&asked("grant_roles", "badge/B-1", json!({"roles": ["stores", "laminator"]})).to_string());
    assert!(granted.is_ok_and(|granted| granted.wish.by_known == KnownBy::Claimed));
    let own = with("/kind", json!("signed_in"));
    assert_eq!(wrong(&own), ("/kind".to_owned(), "only the log itself writes signed_in".to_owned()));
}
