//! What is answered once the yard is set up: who may not, and what people, devices and programs do. Each is asked of a yard of its
//! own, so that an example does not depend on what was asked before.

use super::{
    ask::{Operation, TRACE},
    yard,
};
use crate::{
    full_disk::FullDisk,
    people::town::{JSON, PASSWORD, Town, not_set_up},
    yard::{START, Said, Server},
};
use reqwest::Method;
use serde_json::{Value, json};
use server::{
    clock::SetClock,
    yard::{Options, Yard},
};
use shared_types::Stamp;
use std::sync::Arc;
use tempfile::TempDir;

fn town() -> Town {
    Town::with(false, yard::fill)
}

/// A yard for whoever may not: what is refused changes nothing.
struct Refusing {
    town: Town,
    /// Tokens with one scope each, and one that asked too often.
    read: String,
    facts: String,
    tired: String,
}

thread_local! {
    // Never dropped: a server that is stopped while its thread ends can't be waited for.
    static REFUSING: &'static Refusing = {
        let town = town();
        let [read, facts, tired] = [&["read"][..], &["facts"], &["read", "facts", "decisions"]].map(|scopes| town.token(scopes).0);
        for _ in 0..=100 {
            town.get_as(("authorization", &tired), "/api/v1/me");
        }
        Box::leak(Box::new(Refusing { town, read, facts, tired }))
    };
}

fn refused(operation: &Operation<'_>, by: impl FnOnce(&Refusing) -> Option<&String>) -> Said {
    REFUSING.with(|refusing| {
        let token = by(refusing);
        let who: Vec<(&str, &str)> = token.iter().map(|token| ("authorization", token.as_str())).collect();
        send(&refusing.town.server, operation, &who, &json!({}))
    })
}

fn send(server: &Server, operation: &Operation<'_>, who: &[(&str, &str)], body: &Value) -> Said {
    let headers: Vec<(&str, &str)> = [TRACE, JSON].into_iter().chain(who.iter().copied()).collect();
    let body = if operation.method == Method::POST { body.to_string().into_bytes() } else { Vec::new() };
    server.send(operation.method.clone(), &operation.address(None), &headers, body)
}

/// What the set-up yard answers; nothing where the open one does.
pub(super) fn ask(operation: &Operation<'_>, status: &str) -> Option<Said> {
    let is_open = operation.says["security"] == json!([{}]);
    Some(match (operation.id, status) {
        (_, "400" | "406" | "408" | "413" | "415" | "421") => return None,
        ("calendar_feed", "200" | "429") => {
            let town = town();
            let made = town.as_admin("/api/v1/feeds", &json!({"name": "office calendar"}));
            let times = if status == "429" { 7 } else { 1 };
            let asked = |_| town.server.send(Method::GET, made["address"].as_str().unwrap(), &[TRACE], Vec::new());
            (0..times).map(asked).last().unwrap()
        }
        (_, "401") if !is_open => refused(operation, |_| None),
        ("sign_in", "401") => {
            let town = town();
            send(
                &town.server,
                operation,
                &[],
                &json!({"badge": "A-1", "password": "not the password", "one_time_code": "492039"}),
            )
        }
        ("post_entries" | "post_decision", "403") => return None,
        (_, "403") if !is_open => match operation.says["description"].to_string().contains("the scope `read`") {
            true => refused(operation, |refusing| Some(&refusing.facts)),
            false => refused(operation, |refusing| Some(&refusing.read)),
        },
        ("sign_in", "403") => {
            send(&not_set_up(false).0, operation, &[], &json!({"badge": "A-1", "password": PASSWORD}))
        }
        ("begin_join" | "join" | "enrol_device", "403") => send(&town().server, operation, &[], &operation.body()),
        ("sign_in" | "begin_sitting" | "begin_join" | "join" | "enrol_device", "429") => too_often(operation),
        (_, "429") => refused(operation, |refusing| Some(&refusing.tired)),
        ("join" | "enrol_device" | "issue_token", "503" | "507") => unwritten(operation, status),
        _ if operation.says["tags"] == json!(["people"]) => done(operation, status),
        _ => return None,
    })
}

/// Tries wrong ones until it is enough.
fn too_often(operation: &Operation<'_>) -> Said {
    let town = town();
    let cookie = [("cookie", town.admin.as_str())];
    let who: &[(&str, &str)] = if operation.id == "begin_sitting" { &cookie } else { &[] };
    let body = match operation.id {
        "sign_in" | "begin_sitting" => json!({"badge": "A-2", "password": "not the password"}),
        _ => operation.body(),
    };
    (0..8).map(|_| send(&town.server, operation, who, &body)).find(|said| said.status == 429).unwrap()
}

/// What is asked when all goes well, with the codes and symbols of this yard.
fn done(operation: &Operation<'_>, status: &str) -> Said {
    let town = town();
    let admin: &[(&str, &str)] = &[("cookie", &town.admin)];
    let (who, body): (&[(&str, &str)], Value) = match (operation.id, status) {
        ("begin_join", "200") => {
            let invited = town.as_admin("/api/v1/people/invitation", &json!({"badge": "B-17"}));
            (&[], json!({"code": invited["code"]}))
        }
        ("join", "201") => {
            let invited = town.as_admin("/api/v1/people/invitation", &json!({"badge": "B-17"}));
            (&[], json!({"code": invited["code"], "name": "Rui Example", "password": PASSWORD}))
        }
        ("sign_in", "200") => {
            town.server.pass(1);
            let code = town.digits(&town.secret_of("A-1"));
            (&[], json!({"badge": "A-1", "password": PASSWORD, "one_time_code": code}))
        }
        ("begin_sitting", "201") => (admin, json!({"symbol": town.badge("Q-01")})),
        ("revoke_feed", "200") => {
            let made = town.as_admin("/api/v1/feeds", &json!({"name": "office calendar"}));
            (admin, json!({"feed": made["feed"]}))
        }
        ("list_feeds", "200") => {
            town.as_admin("/api/v1/feeds", &json!({"name": "office calendar"}));
            (admin, Value::Null)
        }
        ("end_session", "200") => {
            town.sign_in("A-1");
            let all = town.get_as(("cookie", &town.admin), "/api/v1/me/sessions").json();
            (admin, json!({"session": all["sessions"][0]["session"]}))
        }
        ("revoke_feed" | "end_session", "404") => (admin, operation.body()),
        (_, "404") => (admin, json!({"badge": "B-404"})),
        ("enrol_device", "201" | "409") => {
            let device = json!({"device": "H-3", "what": "handheld", "place": "CUT"});
            let made = town.as_admin("/api/v1/devices/codes", &device);
            if status == "409" {
                let said =
                    town.decide_as(&town.admin, "A-1", "enrol_device", "device/H-3", json!({"what": "handheld"}));
                assert_eq!(said.status, 201, "{}", said.text);
            }
            (&[], json!({"code": made["code"], "device": "H-3"}))
        }
        ("sign_out", "200") => (admin, json!({})),
        ("bring_in_entries", "200") => {
            let asked = operation.address(Some(("dry_run", "true")));
            let body = operation.body().to_string().into_bytes();
            return town.server.send(Method::POST, &asked, &[TRACE, JSON, ("cookie", &town.admin)], body);
        }
        (_, "200" | "201" | "207") => (admin, operation.body()),
        (id, status) => panic!("nothing is asked so that {id} answers {status}: say in documented/people.rs what"),
    };
    send(&town.server, operation, who, &body)
}

/// A yard that can't write any more, because its clock jumped or its disk is full.
fn unwritten(operation: &Operation<'_>, status: &str) -> Said {
    let clock = Arc::new(SetClock::new(Stamp::parse(START).unwrap().at));
    let disk = Arc::new(FullDisk::default());
    let mut options = Options::new(clock.clone());
    options.disk = disk.clone();
    options.journal.segment_bytes = 64 * 1024;
    let folder = TempDir::new().unwrap();
    let opened = Yard::open(folder.path(), options).unwrap();
    let code = opened.people.new_set_up_code().unwrap();
    let server = Server::of(folder, opened, clock);
    yard::fill(&server);
    if operation.id == "join" {
        let begun = server.post("/api/v1/join/begin", &json!({ "code": code })).json();
        no_more(&server, &disk, status, |wish| server.post("/api/v1/decisions", wish));
        let totp = totp_rs::Secret::try_from_base32(begun["one_time_secret"].as_str().unwrap()).unwrap();
        let totp = totp_rs::Builder::new().with_secret(totp).build().unwrap();
        let digits = totp.generate(u64::try_from(server.clock_ahead_ms(0).0 / 1_000).unwrap()).to_string();
        let body =
            json!({"code": code, "badge": "A-1", "name": "Ana Example", "password": PASSWORD, "one_time_code": digits});
        return send(&server, operation, &[], &body);
    }
    let town = Town::set_up(server, &code);
    let made = town.as_admin("/api/v1/devices/codes", &json!({"device": "H-3", "what": "handheld"}));
    no_more(&town.server, &disk, status, |wish| {
        let mut wish = wish.clone();
        wish["by"] = json!("A-1");
        wish.as_object_mut().unwrap().remove("second");
        town.post_as(("cookie", &town.admin), "/api/v1/decisions", &wish)
    });
    match operation.id {
        "enrol_device" => send(&town.server, operation, &[], &json!({"code": made["code"], "device": "H-3"})),
        _ => send(&town.server, operation, &[("cookie", &town.admin)], &operation.body()),
    }
}

fn no_more(server: &Server, disk: &FullDisk, status: &str, decide: impl Fn(&Value) -> Said) {
    if status == "503" {
        server.clock.jump_ms(-3 * 60 * 60 * 1_000);
        let wish = server.decision_now("place_hold", "roll/R-42", json!({"why": "backing paper torn"}));
        assert_eq!(decide(&wish).status, 503);
        return;
    }
    disk.fill();
    // First with much, then with little, so that nothing more fits.
    for why in [2_000, 1] {
        let filled = (0..200).any(|_| {
            let wish = server.decision_now("place_hold", "roll/R-42", json!({"why": "x".repeat(why)}));
            decide(&wish).status == 507
        });
        assert!(filled, "the disk never filled up");
    }
}
