//! `rimebook backup`, `restore` and `export` as a person runs them, beside a server at work, and killed at random points.

use std::{
    fs,
    os::unix::fs::PermissionsExt,
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

/// The signed checkpoint that a server gives now.
fn checkpoint(running: &Running) -> String {
    let client = Client::builder().no_proxy().build().unwrap();
    let asked = client.get(format!("{}/api/v1/checkpoint", running.url)).header("accept", "text/plain");
    asked.send().unwrap().text().unwrap()
}

/// Puts a roll somewhere, so that the log grows.
fn grow(running: &Running) {
    let client = Client::builder().no_proxy().build().unwrap();
    let id = fs::read_to_string("/proc/sys/kernel/random/uuid").unwrap();
    let fact = json!({"id": id.trim(), "kind": "seen", "thing": "roll/R-1", "occurred_at": "2026-05-06T08:00:00+02:00",
                      "by": "B-17", "body": {"in": "F1"}});
    let posted = client.post(format!("{}/api/v1/entries", running.url)).header("content-type", "application/json");
    let said = posted.body(json!({"entries": [fact]}).to_string()).send().unwrap().text().unwrap();
    assert!(said.contains("\"status\":201"), "{said}");
}

#[test]
fn keys_and_documents_come_back_too_for_their_owner_alone_and_the_authoritys_key_does_not() {
    let folder = tempfile::tempdir().unwrap();
    let at = |path: &str| folder.path().join(path);
    let backup = || {
        let (code, out, err) = said(folder.path(), &["backup", "--data", "yard", "--to", "safe"]);
        assert_eq!((code, err.as_str()), (Some(0), ""), "{out}");
        out
    };
    demo(folder.path());
    let mut running = Running::serve(&at("yard"));
    let origin = checkpoint(&running).lines().next().unwrap().to_owned();
    running.kill();
    assert_eq!(said(folder.path(), &["certify", "--data", "yard", "--host", "stores.yard.example"]).0, Some(0));
    fs::create_dir_all(at("yard/blobs/ab")).unwrap();
    fs::write(at("yard/blobs/ab/abcd"), "a certificate").unwrap();
    backup();
    // A file that is replaced is replaced in the backup, and what it held before is gone from there.
    let files = || fs::read_dir(at("safe/files")).unwrap().count();
    let before = files();
    assert_eq!(said(folder.path(), &["certify", "--data", "yard", "--host", "stores.yard.example"]).0, Some(0));
    backup();
    assert_eq!(files(), before);
    assert!(backup().contains(" 0 files written"), "nothing was new");
    let authority = fs::read(at("yard/people/authority.key")).unwrap();
    for file in fs::read_dir(at("safe/files")).unwrap().map(|file| file.unwrap().path()) {
        assert_ne!(fs::read(&file).unwrap(), authority, "the authority's key is in the backup");
        assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
    }
    let (code, _, err) = said(folder.path(), &["restore", "--from", "safe", "--data", "again"]);
    assert_eq!(code, Some(0), "{err}");
    for file in ["people/log-key", "people/server.key", "people/server.pem", "people/authority.pem", "blobs/ab/abcd"] {
        assert_eq!(fs::read(at("again").join(file)).unwrap(), fs::read(at("yard").join(file)).unwrap(), "{file}");
        assert_eq!(fs::metadata(at("again").join(file)).unwrap().permissions().mode() & 0o777, 0o600, "{file}");
    }
    assert!(!at("again/people/authority.key").exists());
    assert_eq!(
        checkpoint(&Running::serve(&at("again"))).lines().next(),
        Some(origin.as_str()),
        "the log's name changed"
    );
    // A bit of it that flipped is found before anything is put in place.
    let victim = fs::read_dir(at("safe/files")).unwrap().next().unwrap().unwrap().path();
    let mut bytes = fs::read(&victim).unwrap();
    bytes[0] ^= 1;
    fs::write(&victim, bytes).unwrap();
    for args in [&["verify", "--data", "safe"][..], &["restore", "--from", "safe", "--data", "third"]] {
        let (code, _, err) = said(folder.path(), args);
        assert_eq!(code, Some(1));
        assert!(err.contains("is not what it was"), "{err}");
    }
    assert!(!at("third").exists());
    assert!(
        said(folder.path(), &["backup", "--data", "yard", "--to", "safe"])
            .2
            .contains("is not what the backup has of it")
    );
}

#[test]
fn a_backup_with_less_than_somebody_has_seen_is_restored_only_by_who_knows_it() {
    let folder = tempfile::tempdir().unwrap();
    demo(folder.path());
    let running = Running::serve(&folder.path().join("yard"));
    let known = checkpoint(&running);
    let backup = ["backup", "--data", "yard", "--to", "safe"];
    assert_eq!(said(folder.path(), &backup).0, Some(0));
    grow(&running);
    let newer = checkpoint(&running);
    fs::write(folder.path().join("known"), &known).unwrap();
    fs::write(folder.path().join("newer"), &newer).unwrap();
    let size = newer.lines().nth(1).unwrap();
    fs::write(folder.path().join("forged"), newer.replace(&format!("\n{size}\n"), "\n7\n")).unwrap();
    let restore = |seen: &[&str], more: &[&str], to: &str| {
        let seen: Vec<&str> = seen.iter().flat_map(|file| ["--seen", file]).collect();
        said(folder.path(), &[&["restore", "--from", "safe", "--data", to], &seen[..], more].concat())
    };
    for (seen, words) in
        [("newer", "a newer one is better"), ("forged", "does not fit"), ("safe/backup.json", "no signed note")]
    {
        let (code, _, err) = restore(&[seen], &[], "again");
        assert_eq!(code, Some(1), "{seen}");
        assert!(err.contains(words), "{seen}: {err}");
        assert!(!folder.path().join("again").exists());
    }
    let (code, _, err) = restore(&["known"], &[], "again");
    assert_eq!(code, Some(0), "{err}");
    let (code, _, err) = restore(&["known", "newer"], &["--behind-is-known"], "behind");
    assert_eq!(code, Some(0), "{err}");
    // What it means is in the log, and nothing else was added.
    let exported = |data: &str| said(folder.path(), &["export", "--data", data]).1;
    let (whole, less) = (exported("behind"), exported("again"));
    let last: serde_json::Value = serde_json::from_str(whole.lines().last().unwrap()).unwrap();
    let seen: u64 = size.parse().unwrap();
    assert_eq!((&last["kind"], &last["by"]), (&serde_json::json!("done_beside.v1"), &serde_json::json!("LOG")));
    assert_eq!(last["body"], serde_json::json!({"what": "went_on", "seen": seen}));
    assert_eq!(whole.lines().count(), less.lines().count() + 1);
    let name = |note: &str| note.lines().next().unwrap().to_owned();
    let same = Running::serve(&folder.path().join("again"));
    let anew = Running::serve(&folder.path().join("behind"));
    assert_eq!(name(&checkpoint(&same)), name(&known));
    assert_ne!(name(&checkpoint(&anew)), name(&known), "a key signed two logs");
}

#[test]
fn a_server_takes_backups_by_itself_and_says_when_it_can_not() {
    let folder = tempfile::tempdir().unwrap();
    demo(folder.path());
    let (yard, safe) = (folder.path().join("yard"), folder.path().join("safe"));
    let to = safe.to_str().unwrap();
    let mut running = Running::serve_with(&yard, &["--backup-to", to, "--backup-every", "1h"]);
    assert!(tests::until(|| said(folder.path(), &["verify", "--data", "safe"]).0 == Some(0)), "no backup was taken");
    running.kill();
    // Where it can't be written, that is an alarm on the page of the day and for programs.
    fs::remove_dir_all(&safe).unwrap();
    fs::write(&safe, "no folder").unwrap();
    let running = Running::serve_with(&yard, &["--backup-to", to, "--backup-every", "1h"]);
    let client = Client::builder().no_proxy().build().unwrap();
    let get = |path: &str| client.get(format!("{}{path}", running.url)).send().unwrap().text().unwrap();
    assert!(tests::until(|| get("/readyz").contains("failed")), "{}", get("/readyz"));
    assert!(get("/today").contains("role=\"alert\""));
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
