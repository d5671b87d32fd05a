//! The code that sets a yard up, with the program itself: where it is told, where it never is, and how it is made anew.

use serde_json::{Value, json};
use std::{
    fs,
    io::{BufRead, BufReader, Read},
    os::unix::fs::PermissionsExt,
    path::Path,
    process::{Child, Command, Stdio},
};
use tests::{fresh::run, server::rimebook};

/// The program at work, with all that it says.
struct Serving {
    child: Child,
    url: String,
}

impl Serving {
    fn on(data: &Path) -> Serving {
        let mut child = Command::new(rimebook())
            .args(["serve", "--listen", "127.0.0.1:0", "--data"])
            .arg(data)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        let url = line.split_whitespace().find(|word| word.starts_with("http://")).unwrap().to_owned();
        Serving { child, url }
    }

    fn post(&self, path: &str, body: &Value) -> (u16, Value) {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        let answer = client.post(format!("{}{path}", self.url)).json(body).send().unwrap();
        (answer.status().as_u16(), answer.json().unwrap())
    }

    fn status(&self, path: &str) -> u16 {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        client.get(format!("{}{path}", self.url)).send().unwrap().status().as_u16()
    }

    /// Ends it; what it said on standard error.
    fn ended(mut self) -> String {
        let mut said = String::new();
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        self.child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        said
    }
}

#[test]
fn a_service_leaves_the_code_in_a_file_of_its_own_and_prints_it_nowhere() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("yard");
    let serving = Serving::on(&data);
    let path = data.join("people/set-up-code");
    let code = fs::read_to_string(&path).unwrap().trim().to_owned();
    assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
    let (status, begun) = serving.post("/api/v1/join/begin", &json!({ "code": code }));
    assert_eq!((status, &begun["sets_up"]), (200, &json!(true)));
    assert_eq!(serving.status("/api/v1/rolls"), 200);
    let said = serving.ended();
    assert!(said.contains("people/set-up-code") && !said.contains(&code), "{said}");
    // The next start gives another.
    let serving = Serving::on(&data);
    assert_ne!(fs::read_to_string(&path).unwrap().trim(), code);
    assert_eq!(serving.post("/api/v1/join/begin", &json!({ "code": code })).0, 403);
    serving.ended();
}

#[test]
fn who_lost_every_way_in_begins_anew_beside_the_stopped_server() {
    let folder = tempfile::tempdir().unwrap();
    let granted = json!({"decide": "grant_roles", "id": "0197a1c3-0000-7000-8000-000000000001", "thing": "badge/A-1", "by": "A-1",
        "based_on": 0, "recorded_at": "2026-05-06T06:00:00.000+00:00", "body": {"roles": ["administrator"]}});
    fs::write(folder.path().join("log.jsonl"), format!("{granted}\n")).unwrap();
    let loaded = run(&["load", "log.jsonl", "--data", "yard"], folder.path());
    assert!(loaded.status.success(), "{}", String::from_utf8_lossy(&loaded.stderr));
    let data = folder.path().join("yard");
    let serving = Serving::on(&data);
    assert_eq!(serving.status("/api/v1/rolls"), 401);
    let said = serving.ended();
    assert!(said.contains("No administrator can sign in here"), "{said}");
    let reset = run(&["people", "reset", "--data", "yard"], folder.path());
    let text = String::from_utf8(reset.stdout).unwrap();
    assert!(reset.status.success(), "{text}");
    let code = text.lines().next().unwrap().rsplit(' ').next().unwrap().to_owned();
    let kept = fs::read_to_string(data.join("people/people.json")).unwrap();
    assert!(!kept.contains(&code));
    let serving = Serving::on(&data);
    let (status, begun) = serving.post("/api/v1/join/begin", &json!({ "code": code }));
    assert_eq!((status, &begun["sets_up"]), (200, &json!(true)));
    // Beside a server at work nothing is reset.
    let beside = run(&["people", "reset", "--data", "yard"], folder.path());
    assert!(!beside.status.success(), "{}", String::from_utf8_lossy(&beside.stdout));
    assert!(!serving.ended().contains("No administrator"));
    let nothing = run(&["people", "reset", "--data", "nowhere"], folder.path());
    assert!(String::from_utf8_lossy(&nothing.stderr).contains("no data folder"));
}
