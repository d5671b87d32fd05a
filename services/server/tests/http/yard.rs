//! A server in this process, in a temporary folder, under a clock that is set by hand; and a small yard in it.

use reqwest::{
    Method,
    blocking::{Client, Response},
    header,
};
use serde_json::{Value, json};
use server::{
    clock::{Clock, SetClock},
    http::serve,
    yard::{Options, Yard},
};
use shared_types::Stamp;
use std::{
    cell::Cell,
    net::TcpListener,
    sync::Arc,
    thread::{self, JoinHandle},
};
use tempfile::TempDir;
use tokio::sync::oneshot;

/// Wed 6 May 2026 06:00 in Lisbon.
pub(crate) const START: &str = "2026-05-06T06:00:00.000+01:00";

pub(crate) struct Server {
    pub(crate) clock: Arc<SetClock>,
    pub(crate) folder: TempDir,
    base: String,
    client: Client,
    ids: Cell<u128>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

pub(crate) struct Said {
    pub(crate) status: u16,
    pub(crate) media: String,
    pub(crate) headers: header::HeaderMap,
    pub(crate) text: String,
}

impl Said {
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or_else(|error| panic!("{error}: {}", self.text))
    }

    /// It is a problem in words of this status and name; gives it back.
    pub(crate) fn problem(&self, status: u16, name: &str) -> Value {
        assert_eq!((self.status, self.media.as_str()), (status, "application/problem+json"), "{}", self.text);
        let problem = self.json();
        assert_eq!(problem["type"], format!("/problems/{name}"), "{problem}");
        assert_eq!(problem["status"], status);
        assert!(problem["title"].as_str().is_some_and(|title| !title.is_empty()));
        let detail = problem["detail"].as_str().unwrap();
        // A sentence: a capital or a code at its start, a stop at its end.
        let first = detail.split_whitespace().next().unwrap();
        assert!(detail.ends_with(['.', '?', ')']) && !first.bytes().all(|byte| byte.is_ascii_lowercase()), "{detail}");
        problem
    }
}

impl Server {
    pub(crate) fn start() -> Server {
        let clock = Arc::new(SetClock::new(Stamp::parse(START).unwrap().at));
        let shared: Arc<dyn Clock> = clock.clone();
        Server::with(Options::new(shared), clock)
    }

    pub(crate) fn with(options: Options, clock: Arc<SetClock>) -> Server {
        let folder = TempDir::new().unwrap();
        let yard = Yard::open(folder.path(), options).unwrap();
        Server::of(folder, yard, clock)
    }

    /// Serves a yard that was opened in this folder.
    pub(crate) fn of(folder: TempDir, yard: Yard, clock: Arc<SetClock>) -> Server {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let base = format!("http://{}", listener.local_addr().unwrap());
        let (stop, stopped) = oneshot::channel::<()>();
        let thread = thread::spawn(move || {
            let until = async {
                stopped.await.ok();
            };
            actix_web::rt::System::new().block_on(serve(yard, listener, until)).unwrap();
        });
        let client = Client::builder().no_proxy().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        Server { clock, folder, base, client, ids: Cell::new(1), stop: Some(stop), thread: Some(thread) }
    }

    /// Waits until it has stopped by itself.
    pub(crate) fn stop(&mut self) {
        if let Some(stop) = self.stop.take() {
            stop.send(()).ok();
        }
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }

    pub(crate) fn address(&self) -> &str {
        self.base.strip_prefix("http://").unwrap()
    }

    pub(crate) fn send(&self, method: Method, path: &str, headers: &[(&str, &str)], body: Vec<u8>) -> Said {
        let mut request = self.client.request(method, format!("{}{path}", self.base)).body(body);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        said(request.send().unwrap())
    }

    pub(crate) fn get(&self, path: &str) -> Said {
        self.send(Method::GET, path, &[], Vec::new())
    }

    pub(crate) fn post(&self, path: &str, body: &Value) -> Said {
        self.send(Method::POST, path, &[("content-type", "application/json")], body.to_string().into_bytes())
    }

    pub(crate) fn id(&self) -> String {
        self.ids.set(self.ids.get() + 1);
        uuid::Uuid::from_u128(self.ids.get()).to_string()
    }

    pub(crate) fn now(&self) -> String {
        Stamp { at: self.clock.now(), offset_s: 3600 }.to_string()
    }

    pub(crate) fn clock_ahead_ms(&self, ms: i64) -> shared_types::Instant {
        self.clock.now().plus_ms(ms)
    }

    /// The text of a fact that happens now.
    pub(crate) fn fact_now(&self, kind: &str, thing: &str, body: Value) -> Value {
        json!({"id": self.id(), "kind": kind, "thing": thing, "occurred_at": self.now(), "by": "B-17", "body": body})
    }

    /// Writes a fact that happens now; gives its result.
    pub(crate) fn fact(&self, kind: &str, thing: &str, body: Value) -> Value {
        let said = self.post("/api/v1/entries", &json!({"entries": [self.fact_now(kind, thing, body)]}));
        assert_eq!(said.status, 207, "{}", said.text);
        let result = said.json()["results"][0].clone();
        assert_eq!(result["status"], 201, "{result}");
        result
    }

    pub(crate) fn decision_now(&self, decide: &str, thing: &str, body: Value) -> Value {
        json!({"id": self.id(), "decide": decide, "thing": thing, "by": "Q-03", "second": {"by": "Q-01"},
               "based_on": self.last_seq(), "body": body})
    }

    pub(crate) fn decide(&self, decide: &str, thing: &str, body: Value) -> Value {
        let said = self.post("/api/v1/decisions", &self.decision_now(decide, thing, body));
        assert_eq!(said.status, 201, "{decide} {thing}: {}", said.text);
        said.json()
    }

    pub(crate) fn last_seq(&self) -> u64 {
        self.get("/healthz").json()["last_seq"].as_u64().unwrap()
    }

    pub(crate) fn pass(&self, minutes: i64) {
        self.clock.advance_ms(minutes * 60_000);
    }

    /// An invented yard: two freezers, a cutting room, one material, one batch, one roll in F1.
    pub(crate) fn yard() -> Server {
        let server = Server::start();
        server.fill_yard();
        server
    }

    /// The same in a server that is empty yet.
    pub(crate) fn fill_yard(&self) {
        self.decide("declare_yard", "yard/YARD", json!({"zone": "Europe/Lisbon", "spare_s": 1800, "on_call": "4711"}));
        for freezer in ["F1", "F2"] {
            let body =
                json!({"name": format!("walk-in freezer {freezer}"), "frozen": true, "highest_millideg_c": -18000});
            self.decide("declare_place", &format!("place/{freezer}"), body);
        }
        self.decide(
            "declare_place",
            "place/CUT",
            json!({"name": "cutting room", "frozen": false, "highest_millideg_c": 24000}),
        );
        self.decide(
            "revise_material",
            "material/PM-101",
            json!({"revision": "3", "name": "carbon prepreg", "form": "prepreg", "storage_limit_millideg_c": -18000,
                   "valid_up_to_millideg_c": 30000, "shelf_life": {"months": 12}, "out_life_s": 864_000, "tack_life_s": 576_000,
                   "lay_to_cure": {"limit_s": 259_200}, "refreezes": {"allowed": 5}, "rate": {"model": "door_to_door"}}),
        );
        self.decide("register_batch", "batch/PM-101/B-123", json!({"made_on": "2026-02-10"}));
        self.receive("R-42");
        self.pass(30);
    }

    pub(crate) fn receive(&self, roll: &str) {
        let opening = json!({"out_time_s": 3600, "refreezes": 0, "as_of": self.now(), "source": "certificate"});
        let body =
            json!({"material": "PM-101", "revision": "3", "batch": "B-123", "length_mm": 50_000, "opening": opening});
        self.fact("roll_received", &format!("roll/{roll}"), body);
        self.pass(1);
        self.fact("roll_put_away", &format!("roll/{roll}"), json!({"into": "F1"}));
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.stop();
    }
}

fn said(answer: Response) -> Said {
    let status = answer.status().as_u16();
    let headers = answer.headers().clone();
    let media = headers.get(header::CONTENT_TYPE).map_or("", |value| value.to_str().unwrap()).to_owned();
    Said { status, media, headers, text: answer.text().unwrap() }
}
