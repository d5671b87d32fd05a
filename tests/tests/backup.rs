//! `rimebook backup`, `restore` and `export` as a person runs them, beside a server at work, and killed at random points.

use std::{
    fs,
    path::Path,
    process::{Command, Stdio},
    thread,
};

use reqwest::blocking::Client;
use serde_json::{Value, json};
use tests::{
    fresh::run,
    server::{Running, rimebook},
};

/// How often each is killed: more when RIMEBOOK_LONG is set.
fn kills() -> u64 {
    if std::env::var_os("RIMEBOOK_LONG").is_some() { 500 } else { 50 }
}

fn demo(folder: &Path) {
    let made = run(&["demo", "--data", "yard"], folder);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
}

fn said(folder: &Path, args: &[&str]) -> (Option<i32>, String, String) {
    let done = run(args, folder);
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (done.status.code(), text(&done.stdout), text(&done.stderr))
}

/// Answers that a restored yard has to give as the yard itself does.
fn answers(data: &Path) -> Vec<(String, Vec<u8>)> {
    let running = Running::serve(data);
    let client = Client::builder().no_proxy().build().unwrap();
    let get = |path: &str| client.get(format!("{}{path}", running.url)).send().unwrap().bytes().unwrap().to_vec();
    let log: Value = serde_json::from_slice(&get("/api/v1/entries?limit=500")).unwrap();
    let mut things: Vec<String> =
        log["items"].as_array().unwrap().iter().map(|entry| entry["thing"].as_str().unwrap().to_owned()).collect();
    things.sort();
    things.dedup();
    let last = log["items"].as_array().unwrap().last().unwrap();
    let fixed = format!("at={}&known={}", last["recorded_at"].as_str().unwrap(), last["seq"]);
    let of_things = things.iter().map(|thing| format!("/api/v1/things/{thing}?{fixed}"));
    let lists = ["rolls", "kits", "parts", "jobs"].map(|list| format!("/api/v1/{list}?{fixed}"));
    let more = ["/api/v1/entries?limit=500".to_owned(), format!("/api/v1/warnings?{fixed}")];
    of_things.chain(lists).chain(more).map(|path| (path.clone(), get(&path))).collect()
}

#[test]
fn a_yard_comes_back_from_its_backup_with_the_same_answers() {
    let folder = tempfile::tempdir().unwrap();
    demo(folder.path());
    let (code, out, err) = said(folder.path(), &["backup", "--data", "yard", "--to", "safe"]);
    assert_eq!((code, err.as_str()), (Some(0), ""), "{out}");
    assert!(out.starts_with("safe holds entries 1 to "), "{out}");
    let (code, out, _) = said(folder.path(), &["verify", "--data", "safe"]);
    assert_eq!(code, Some(0));
    assert!(out.starts_with("A backup, taken ") && out.contains("The end is sound."), "{out}");
    let (code, out, err) = said(folder.path(), &["restore", "--from", "safe", "--data", "again"]);
    assert_eq!((code, err.as_str()), (Some(0), ""), "{out}");
    assert_eq!(answers(&folder.path().join("again")), answers(&folder.path().join("yard")));
    // What it prints is what it takes.
    let (code, lines, err) = said(folder.path(), &["export", "--data", "again"]);
    assert_eq!((code, err.as_str()), (Some(0), ""));
    fs::write(folder.path().join("log.jsonl"), &lines).unwrap();
    let (code, _, err) = said(folder.path(), &["load", "log.jsonl", "--data", "loaded"]);
    assert_eq!(code, Some(0), "{err}");
    let (_, loaded, _) = said(folder.path(), &["export", "--data", "loaded", "--after", "1"]);
    let things = |text: &str| -> Vec<Value> {
        let line = |line: &str| serde_json::from_str::<Value>(line).unwrap();
        text.lines()
            .map(|text| {
                let line = line(text);
                json!([line["id"], line["kind"], line["thing"], line["body"], line["recorded_at"]])
            })
            .collect()
    };
    assert_eq!(things(&loaded), things(&lines));
}

#[test]
fn nobody_restores_over_a_yard_or_backs_up_into_something_else() {
    let folder = tempfile::tempdir().unwrap();
    demo(folder.path());
    fs::create_dir(folder.path().join("photos")).unwrap();
    fs::write(folder.path().join("photos/a.jpg"), "x").unwrap();
    for (args, words) in [
        (&["backup", "--data", "nowhere", "--to", "safe"][..], "it is no data folder"),
        (&["backup", "--data", "yard", "--to", "photos"], "is neither empty nor a backup"),
        (&["restore", "--from", "photos", "--data", "again"], "it is no backup"),
        (&["restore", "--from", "yard", "--data", "photos"], "it is no backup"),
    ] {
        let (code, out, err) = said(folder.path(), args);
        assert_eq!((code, out.as_str()), (Some(1), ""), "{args:?}");
        assert!(err.contains(words), "{args:?}: {err}");
    }
    assert_eq!(fs::read_dir(folder.path().join("photos")).unwrap().count(), 1);
}

#[test]
fn killed_at_any_point_there_is_a_sound_backup_and_a_restore_is_whole_or_absent() {
    let folder = tempfile::tempdir().unwrap();
    demo(folder.path());
    let (safe, again) = (folder.path().join("safe"), folder.path().join("again"));
    let mut running = Running::serve(&folder.path().join("yard"));
    let client = Client::builder().no_proxy().build().unwrap();
    let mut whole = 0;
    let (mut backed_up, mut broken_off, mut restored) = (0, 0, 0);
    for round in 0..kills() {
        // The yard goes on.
        let fact = json!({
            "id": format!("0197a1c2-0000-7000-8000-{round:012}"), "kind": "seen", "thing": "roll/R-1",
            "occurred_at": "2026-05-06T08:00:00+02:00", "by": "B-17", "body": {"in": "F1"},
        });
        let posted = client.post(format!("{}/api/v1/entries", running.url)).header("content-type", "application/json");
        let posted = posted.body(json!({"entries": [fact]}).to_string()).send().unwrap().text().unwrap();
        assert!(posted.contains("\"status\":201"), "{posted}");
        // One in five is let alone, and says how long one takes now; the others end somewhere between at once and well after.
        let after = if round % 5 == 4 { u64::MAX } else { whole * (round * 37 % 50) / 25 };
        let (was_killed, looks) = killed(folder.path(), &["backup", "--data", "yard", "--to", "safe"], after);
        match was_killed {
            true => broken_off += 1,
            false => {
                whole = looks;
                backed_up += 1;
            }
        }
        if !safe.join("backup.json").exists() {
            assert_eq!(backed_up, 0, "a backup that was there is gone");
            continue;
        }
        let (code, out, err) = said(folder.path(), &["verify", "--data", "safe"]);
        assert_eq!(code, Some(0), "round {round}: {out}{err}");
        if !killed(folder.path(), &["restore", "--from", "safe", "--data", "again"], after).0 {
            restored += 1;
        }
        if again.exists() {
            let (code, out, _) = said(folder.path(), &["verify", "--data", "again"]);
            assert!(code == Some(0) && out.contains("The end is sound."), "round {round}: {out}");
            fs::remove_dir_all(&again).unwrap();
        }
    }
    assert!(0 < broken_off && 0 < backed_up && 0 < restored, "{broken_off} {backed_up} {restored}");
    running.kill();
}

/// Whether the program was killed before it was done, after so many looks at it, and how many there were.
fn killed(folder: &Path, args: &[&str], looks: u64) -> (bool, u64) {
    let mut started = Command::new(rimebook())
        .args(args)
        .current_dir(folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut looked = 0;
    while looked < looks && started.try_wait().unwrap().is_none() {
        thread::yield_now();
        looked += 1;
    }
    let _ = started.kill();
    (!started.wait().unwrap().success(), looked)
}
