//! A server as those see it who look after it: its numbers, its log of itself, many who hold a connection and say nothing,
//! a stop, and a folder that an older version wrote.

use std::{
    fs,
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::Path,
    process::{Command, Stdio},
};

use reqwest::blocking::Client;
use serde_json::{Value, json};
use tests::{
    fresh::run,
    server::{Running, rimebook},
};

fn client() -> Client {
    Client::builder().no_proxy().build().unwrap()
}

fn get(running: &Running, path: &str) -> String {
    client().get(format!("{}{path}", running.url)).send().unwrap().text().unwrap()
}

/// A number of the text format (Prometheus: exposition formats, version 0.0.4; from memory).
fn number(text: &str, name: &str) -> f64 {
    let line = text.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(' '));
    line.unwrap_or_else(|| panic!("{name} is missing in\n{text}")).parse().unwrap()
}

#[test]
fn a_monitor_reads_how_much_was_written_refused_and_answered() {
    let folder = tempfile::tempdir().unwrap();
    let running = Running::serve(&folder.path().join("yard"));
    let before = get(&running, "/metrics");
    let post = |path: &str, body: Value| {
        let asked = client().post(format!("{}{path}", running.url)).header("content-type", "application/json");
        asked.body(body.to_string()).send().unwrap().status().as_u16()
    };
    let fact = json!({"id": "0197a1c2-0000-7000-8000-000000000001", "kind": "seen", "thing": "roll/R-1",
                      "occurred_at": "2026-05-06T08:00:00+02:00", "by": "B-17", "body": {"in": "F1"}});
    assert_eq!(post("/api/v1/entries", json!({"entries": [fact]})), 207);
    let issue = json!({"id": "0197a1c2-0000-7000-8000-000000000002", "decide": "issue", "thing": "kit/K-5", "by": "B-17",
                       "based_on": 1, "body": {"job": "J-118"}});
    assert!((400..500).contains(&post("/api/v1/decisions", issue)));
    let after = get(&running, "/metrics");
    for (name, more) in [
        ("rimebook_entries", 1.0),
        ("rimebook_group_entries_count", 1.0),
        ("rimebook_group_entries_sum", 1.0),
        ("rimebook_write_seconds_count", 1.0),
        ("rimebook_refusals_total", 1.0),
        ("rimebook_answers_total{status=\"4xx\"}", 1.0),
    ] {
        let was = if before.contains(&format!("{name} ")) { number(&before, name) } else { 0.0 };
        assert!((number(&after, name) - was - more).abs() < f64::EPSILON, "{name}\n{before}\n{after}");
    }
    assert!((number(&after, "rimebook_takes_entries") - 1.0).abs() < f64::EPSILON);
    assert!(number(&after, "rimebook_backup_age_seconds").is_nan());
    // Every line is an explanation or a number with a name, and nobody's codes are in it.
    for line in after.lines().filter(|line| !line.is_empty()) {
        let explains = line.starts_with("# HELP rimebook_") || line.starts_with("# TYPE rimebook_");
        let counts = line.starts_with("rimebook_") && line.rsplit(' ').next().unwrap().parse::<f64>().is_ok();
        assert!(explains || counts, "{line}");
    }
    assert!(!after.contains("R-1") && !after.contains("B-17"));
}

#[test]
fn its_log_names_traces_and_nothing_that_anybody_said_and_a_stop_ends_it_well() {
    let folder = tempfile::tempdir().unwrap();
    let mut child = Command::new(rimebook())
        .args(["serve", "--listen", "127.0.0.1:0", "--log", "info", "--data"])
        .arg(folder.path().join("yard"))
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    let url = line.trim().strip_prefix("listening on ").unwrap().to_owned();
    let trace = "0af7651916cd43dd8448eb211c80319c";
    let asked = client()
        .post(format!("{url}/api/v1/entries?dry_run=true"))
        .header("traceparent", format!("00-{trace}-00f067aa0ba902b7-01"))
        .header("authorization", "Bearer sesame-open")
        .header("content-type", "application/json");
    let fact = json!({"id": "0197a1c2-0000-7000-8000-000000000001", "kind": "seen", "thing": "roll/R-SECRET",
                      "occurred_at": "2026-05-06T08:00:00+02:00", "by": "B-SECRET", "body": {"in": "F1"}});
    assert!(asked.body(json!({"entries": [fact]}).to_string()).send().unwrap().status().is_success());
    client().get(format!("{url}/thing/roll/R-SECRET?at=2026-05-06")).send().unwrap();
    assert!(Command::new("kill").args(["-TERM", &child.id().to_string()]).status().unwrap().success());
    assert!(child.wait().unwrap().success());
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    let lines: Vec<Value> =
        said.lines().filter(|line| line.starts_with('{')).map(|line| serde_json::from_str(line).unwrap()).collect();
    let traced = lines.iter().find(|line| line["trace"] == trace).unwrap_or_else(|| panic!("{said}"));
    assert_eq!((&traced["method"], &traced["address"]), (&json!("POST"), &json!("/api/v1/entries")), "{traced}");
    assert!(lines.iter().any(|line| line["address"] == "/thing/{kind}/{code}"), "{said}");
    for secret in ["SECRET", "sesame", "2026-05-06T08", "dry_run"] {
        assert!(!said.contains(secret), "{secret}: {said}");
    }
    assert!(said.contains("stopped; the log is closed"), "{said}");
}

#[test]
fn ten_thousand_who_hold_a_connection_keep_nobody_from_asking() {
    // As many as a test may have open files, and some for itself.
    let limits = fs::read_to_string("/proc/self/limits").unwrap();
    let open = limits.lines().find(|line| line.starts_with("Max open files")).unwrap();
    let soft: usize = open.split_whitespace().nth(3).unwrap().parse().unwrap_or(usize::MAX);
    let many = soft.saturating_sub(500).min(10_000);
    let folder = tempfile::tempdir().unwrap();
    let running = Running::serve(&folder.path().join("yard"));
    let address = running.url.strip_prefix("http://").unwrap();
    let ask = |mut stream: &TcpStream| {
        stream.write_all(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n").unwrap();
        let mut said = [0; 512];
        let length = stream.read(&mut said).unwrap();
        assert!(said[..length].starts_with(b"HTTP/1.1 200 "), "{}", String::from_utf8_lossy(&said[..length]));
    };
    // Half of them have asked once and are kept alive, half never say anything.
    let held: Vec<TcpStream> = (0..many)
        .map(|number| {
            let stream = TcpStream::connect(address).unwrap();
            if number % 2 == 0 {
                ask(&stream);
            }
            stream
        })
        .collect();
    ask(&TcpStream::connect(address).unwrap());
    assert!(get(&running, "/readyz").contains("\"ok\""));
    drop(held);
}

#[test]
fn a_folder_of_an_older_version_is_opened_and_says_what_it_always_said() {
    // A backup that the first version with keys took (rimebook-backup.v2) of an invented yard's year; never to be changed.
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/folder-v2");
    let folder = tempfile::tempdir().unwrap();
    let from = folder.path().join("from");
    fs::create_dir_all(from.join("journal")).unwrap();
    fs::copy(kept.join("backup.json"), from.join("backup.json")).unwrap();
    for file in fs::read_dir(kept.join("journal")).unwrap().map(|file| file.unwrap().path()) {
        fs::copy(&file, from.join("journal").join(file.file_name().unwrap())).unwrap();
    }
    for format in ["rimebook-backup.v2", "rimebook-backup.v1"] {
        let manifest: Value = serde_json::from_str(&fs::read_to_string(kept.join("backup.json")).unwrap()).unwrap();
        let mut manifest = manifest.as_object().unwrap().clone();
        manifest.insert("format".to_owned(), json!(format));
        if format == "rimebook-backup.v1" {
            manifest.remove("beside");
        }
        fs::write(from.join("backup.json"), Value::Object(manifest).to_string()).unwrap();
        let done = run(&["restore", "--from", "from", "--data", format], folder.path());
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
        // Its last entry is long past, and somebody looked at the clock: that is an entry of its own.
        let running = Running::serve_with(&folder.path().join(format), &["--clock-checked"]);
        let proof: Value = serde_json::from_str(&get(&running, "/api/v1/proofs/consistency?from=576&to=576")).unwrap();
        assert_eq!(proof["to_root"], "7f11645283feba20e9782e183130dbba61f7a3aa8e80c290b1b595f5033bfb30");
        let things: Value = serde_json::from_str(&get(&running, "/api/v1/rolls")).unwrap();
        assert!(!things["items"].as_array().unwrap().is_empty(), "{things}");
        // What is written now goes on from it.
        let fact = json!({"id": "0197a1c2-0000-7000-8000-000000000009", "kind": "seen", "thing": "roll/R-27",
                          "occurred_at": "2026-05-06T08:00:00+02:00", "by": "B-17", "body": {"in": "F1"}});
        let asked = client().post(format!("{}/api/v1/entries", running.url)).header("content-type", "application/json");
        let said = asked.body(json!({"entries": [fact]}).to_string()).send().unwrap().text().unwrap();
        assert!(said.contains("\"seq\":578"), "{said}");
    }
}
