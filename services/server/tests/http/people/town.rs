//! A yard that is set up: an administrator, people of several roles with their sessions, two devices and a program.

use crate::yard::{START, Said, Server};
use reqwest::Method;
use serde_json::{Value, json};
use server::{
    clock::SetClock,
    yard::{Options, Yard},
};
use shared_types::Stamp;
use std::{cell::RefCell, collections::BTreeMap, sync::Arc};
use tempfile::TempDir;
use totp_rs::{Builder, Secret};

pub(crate) const PASSWORD: &str = "a boat on a cold slip";
pub(crate) const JSON: (&str, &str) = ("content-type", "application/json");

/// A server that nobody has set up yet, and the code that does it.
pub(crate) fn not_set_up(open_questions: bool) -> (Server, String) {
    let clock = Arc::new(SetClock::new(Stamp::parse(START).unwrap().at));
    let folder = TempDir::new().unwrap();
    let yard = Yard::open(folder.path(), Options::new(clock.clone())).unwrap();
    let code = yard.people.new_set_up_code().unwrap();
    if open_questions {
        yard.people.open_questions();
    }
    (Server::of(folder, yard, clock), code)
}

/// A yard with people in it.
pub(crate) struct Town {
    pub(crate) server: Server,
    /// The secret of one-time codes of each badge that has one.
    pub(crate) secrets: RefCell<BTreeMap<String, String>>,
    /// The administrator's session.
    pub(crate) admin: String,
}

impl Town {
    pub(crate) fn new() -> Town {
        Town::with(false, Server::fill_yard)
    }

    /// Filled while everything is open, then set up.
    pub(crate) fn with(open_questions: bool, fill: impl FnOnce(&Server)) -> Town {
        let (server, code) = not_set_up(open_questions);
        fill(&server);
        Town::set_up(server, &code)
    }

    pub(crate) fn set_up(server: Server, code: &str) -> Town {
        let town = Town { server, secrets: RefCell::default(), admin: String::new() };
        town.join(code, "A-1", "Ana Example", true);
        let admin = town.sign_in("A-1");
        let town = Town { admin, ..town };
        for (badge, roles) in [
            ("A-2", json!(["administrator"])),
            ("B-17", json!(["laminator", "stores", "supervisor"])),
            ("Q-03", json!(["quality"])),
            ("Q-01", json!(["quality"])),
            ("B-99", json!(["reader"])),
        ] {
            town.grant(badge, json!({ "roles": roles }));
        }
        town.grant("X-1", json!({"roles": ["integrator"], "scopes": ["read", "facts", "decisions"]}));
        town
    }

    /// Posts JSON with a session or a token.
    pub(crate) fn post_as(&self, who: (&str, &str), path: &str, body: &Value) -> Said {
        self.server.send(Method::POST, path, &[JSON, who], body.to_string().into_bytes())
    }

    pub(crate) fn get_as(&self, who: (&str, &str), path: &str) -> Said {
        self.server.send(Method::GET, path, &[who], Vec::new())
    }

    pub(crate) fn as_admin(&self, path: &str, body: &Value) -> Value {
        let said = self.post_as(("cookie", &self.admin), path, body);
        assert!((200..300).contains(&said.status), "{path}: {}", said.text);
        said.json()
    }

    fn join(&self, code: &str, badge: &str, name: &str, one_time: bool) {
        let begun = self.server.post("/api/v1/join/begin", &json!({ "code": code }));
        assert_eq!(begun.status, 200, "{}", begun.text);
        let secret = begun.json()["one_time_secret"].as_str().unwrap().to_owned();
        let digits = if one_time { self.digits(&secret) } else { String::new() };
        let body = json!({"code": code, "badge": badge, "name": name, "password": PASSWORD, "one_time_code": digits});
        let joined = self.server.post("/api/v1/join", &body);
        assert_eq!(joined.status, 201, "{}", joined.text);
        if one_time {
            self.secrets.borrow_mut().insert(badge.to_owned(), secret);
        }
    }

    pub(crate) fn digits(&self, secret: &str) -> String {
        let totp = Builder::new().with_secret(Secret::try_from_base32(secret).unwrap()).build().unwrap();
        totp.generate(u64::try_from(self.server.clock_ahead_ms(0).0 / 1_000).unwrap()).to_string()
    }

    pub(crate) fn secret_of(&self, badge: &str) -> String {
        self.secrets.borrow()[badge].clone()
    }

    /// Signs in with the password, and a one-time code where there is one; the session's cookie.
    pub(crate) fn sign_in(&self, badge: &str) -> String {
        // A code is taken once.
        self.server.pass(1);
        let digits = self.secrets.borrow().get(badge).map(|secret| self.digits(secret)).unwrap_or_default();
        let body = json!({"badge": badge, "password": PASSWORD, "one_time_code": digits});
        cookie(&self.server.post("/api/v1/sign-in", &body))
    }

    /// Invites them, lets them choose their password, and signs them in.
    pub(crate) fn invite(&self, badge: &str, one_time: bool) -> String {
        let invited = self.as_admin("/api/v1/people/invitation", &json!({ "badge": badge }));
        self.join(invited["code"].as_str().unwrap(), badge, &format!("{badge} Example"), one_time);
        self.sign_in(badge)
    }

    pub(crate) fn decide_as(&self, cookie: &str, by: &str, decide: &str, thing: &str, body: Value) -> Said {
        let mut wish = self.server.decision_now(decide, thing, body);
        wish["by"] = json!(by);
        wish.as_object_mut().unwrap().remove("second");
        self.post_as(("cookie", cookie), "/api/v1/decisions", &wish)
    }

    pub(crate) fn grant(&self, badge: &str, body: Value) {
        let said = self.decide_as(&self.admin, "A-1", "grant_roles", &format!("badge/{badge}"), body);
        assert_eq!(said.status, 201, "{}", said.text);
    }

    /// The symbol of a new badge.
    pub(crate) fn badge(&self, badge: &str) -> String {
        self.as_admin("/api/v1/people/badge", &json!({ "badge": badge }))["symbol"].as_str().unwrap().to_owned()
    }

    /// Enrols a device; its token.
    pub(crate) fn device(&self, device: &str) -> String {
        let made = self.as_admin("/api/v1/devices/codes", &json!({"device": device, "what": "handheld"}));
        let said = self.server.post("/api/v1/devices/enrol", &json!({"code": made["code"], "device": device}));
        assert_eq!(said.status, 201, "{}", said.text);
        said.json()["token"].as_str().unwrap().to_owned()
    }

    /// Scans a badge on a device; the cookies that the device sends from then on.
    pub(crate) fn scan_on(&self, device: &str, symbol: &str) -> String {
        let device = format!("device={device}");
        let said = self.post_as(("cookie", &device), "/api/v1/sign-in", &json!({ "symbol": symbol }));
        format!("{device}; {}", cookie(&said))
    }

    /// Issues a token for X-1 with these scopes; the token and the id of its entry.
    pub(crate) fn token(&self, scopes: &[&str]) -> (String, String) {
        let issued = self.as_admin("/api/v1/tokens", &json!({"badge": "X-1", "name": "planning", "scopes": scopes}));
        let text = |name: &str| issued[name].as_str().unwrap().to_owned();
        (format!("Bearer {}", text("token")), text("id"))
    }

    /// The last entries of a kind.
    pub(crate) fn entries(&self, kind: &str) -> Vec<Value> {
        let said = self.get_as(("cookie", &self.admin), &format!("/api/v1/entries?kind={kind}"));
        said.json()["items"].as_array().unwrap_or_else(|| panic!("{}", said.text)).clone()
    }
}

/// The cookie of an answer, as it is sent back.
pub(crate) fn cookie(said: &Said) -> String {
    assert_eq!(said.status, 200, "{}", said.text);
    let set = said.headers["set-cookie"].to_str().unwrap();
    assert!(set.contains("; Path=/;") && set.contains("; HttpOnly") && set.contains("; SameSite=Strict"), "{set}");
    set.split(';').next().unwrap().to_owned()
}
