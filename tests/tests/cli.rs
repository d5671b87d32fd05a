//! The command line against a running server: answers in words that fit a terminal, the API's own bytes, exit codes.

use std::process::{Command, Output};
use tests::{
    fresh::run,
    server::{Running, rimebook},
};

/// The demo's yard, served as it stood at its end.
struct Demo {
    running: Running,
    _folder: tempfile::TempDir,
}

fn demo() -> Demo {
    let folder = tempfile::tempdir().unwrap();
    let made = run(&["demo", "--data", "yard"], folder.path());
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    Demo { running: Running::serve(&folder.path().join("yard")), _folder: folder }
}

impl Demo {
    fn ask(&self, args: &[&str]) -> Output {
        Command::new(rimebook()).args(args).env("RIMEBOOK_SERVER", &self.running.url).output().unwrap()
    }

    fn api(&self, path: &str) -> Vec<u8> {
        let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
        client.get(format!("{}{path}", self.running.url)).send().unwrap().bytes().unwrap().to_vec()
    }

    fn json(&self, path: &str) -> serde_json::Value {
        serde_json::from_slice(&self.api(path)).unwrap()
    }
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn questions_are_answered_in_words_in_bytes_and_by_exit_codes() {
    let demo = demo();
    let first = demo.json("/api/v1/runs-out?within_h=87600");
    let at = first["at"].as_str().unwrap();
    let end = demo.json("/api/v1/mismatches")["as_of_seq"].to_string();
    let (fixed, query) = (["--at", at, "--known", &end], format!("at={}&known={end}", at.replace('+', "%2B")));
    let thing = first["lines"][0]["thing"].as_str().unwrap().to_owned();
    // As the API answers, byte for byte.
    for (args, path) in [
        (vec!["runs-out", "--within-h", "24"], format!("/api/v1/runs-out?within_h=24&{query}")),
        (vec!["trace", &thing, "--into"], format!("/api/v1/things/{thing}/trace?direction=went_into&{query}")),
        (vec!["warnings"], format!("/api/v1/warnings?{query}")),
        (vec!["mismatches"], format!("/api/v1/mismatches?{query}")),
    ] {
        let said = demo.ask(&[&args[..], &fixed, &["--json"]].concat());
        assert_eq!(said.status.code(), Some(0), "{args:?} {}", text(&said.stderr));
        assert_eq!(text(&said.stdout), text(&demo.api(&path)), "{args:?}");
    }
    // Yes is 0 and everything else 3, in words and in bytes.
    let mut codes = std::collections::BTreeSet::new();
    let lines = demo.json("/api/v1/runs-out?within_h=87600");
    let things = lines["lines"].as_array().unwrap().iter().map(|line| line["thing"].as_str().unwrap());
    let rolls: std::collections::BTreeSet<&str> = things.filter(|thing| thing.starts_with("roll/")).collect();
    for roll in rolls.into_iter().take(12) {
        let answer = demo.json(&format!("/api/v1/things/{roll}/may-use?act=lay&known={end}"));
        let said = demo.ask(&["ask", roll, "--act", "lay", "--known", &end]);
        let code = said.status.code().unwrap();
        assert_eq!(code == 0, answer["answer"] == "yes", "{roll} {answer}");
        assert!(code == 0 || code == 3, "{roll} {}", text(&said.stderr));
        assert!(text(&said.stdout).lines().all(|line| line.chars().count() <= 110), "{}", text(&said.stdout));
        assert!(text(&said.stdout).contains("out-life"), "{}", text(&said.stdout));
        let bytes = demo.ask(&["ask", roll, "--act", "lay", "--known", &end, "--at", at, "--json"]);
        assert_eq!(text(&bytes.stdout), text(&demo.api(&format!("/api/v1/things/{roll}/may-use?act=lay&{query}"))));
        codes.insert(code);
    }
    assert_eq!(codes.len(), 2, "the demo has rolls that may be used and rolls that may not");
    // Whether a part may be installed, with the code alone.
    let part = demo.json("/api/v1/parts?state=in_boat")["items"][0]["thing"].as_str().unwrap().to_owned();
    let said = demo.ask(&["ask", part.trim_start_matches("part/"), "--act", "install", "--boat", "NB-99"]);
    assert_eq!(said.status.code(), Some(3), "{}", text(&said.stderr));
    assert!(text(&said.stdout).starts_with("Do not install P-"), "{}", text(&said.stdout));
    assert!(text(&said.stdout).contains("\nNobody has named a boat NB-99 before."), "{}", text(&said.stdout));
    let bytes = demo.ask(&[&["ask", part.as_str(), "--act", "install", "--json"][..], &fixed].concat());
    assert_eq!(text(&bytes.stdout), text(&demo.api(&format!("/api/v1/things/{part}/may-install?{query}"))));
    // Words.
    let said = demo.ask(&["trace", "boat/NB-31"]);
    assert_eq!(said.status.code(), Some(0));
    let said = text(&said.stdout);
    assert!(said.starts_with("boat/NB-31 is made from:\n  part/P-"), "{said}");
    assert!(said.contains("\n        batch/PM-"), "{said}");
    assert_eq!(said, text(&demo.ask(&["trace", "nb-31", "--from"]).stdout).as_str());
    let said = text(&demo.ask(&["runs-out", "--within-h", "87600"]).stdout);
    assert!(said.starts_with("ends "), "{said}");
    assert!(said.lines().all(|line| line.chars().count() <= 110), "{said}");
    let said = text(&demo.ask(&["runs-out", "--at", "2020-01-01T00:00:00Z", "--within-h", "0"]).stdout);
    assert!(said.starts_with("Nothing runs out within 0 h."), "{said}");
    let said = text(&demo.ask(&["warnings"]).stdout);
    let warned = demo.json("/api/v1/warnings")["warnings"].as_array().unwrap().len();
    assert!(0 < warned && warned < said.lines().count(), "{said}");
    // What can't be asked.
    for (args, code, says) in [
        (&["ask", "roll/R-NOWHERE", "--act", "lay"][..], 1, "Nobody has received R-NOWHERE."),
        (&["trace", "wheel/W-1"], 2, "is no kind of thing"),
        (&["ask", "roll/R-1", "--act", "install"], 2, "only parts are installed"),
        (&["ask", &part, "--act", "install", "--job", "J-1"], 2, "leave out --job"),
        (&["ask", &part, "--act", "lay", "--boat", "NB-1"], 2, "--boat goes with --act install"),
        (&["mismatches", "--known", "999999999"], 2, "The log ends at entry"),
    ] {
        let said = demo.ask(args);
        assert_eq!(said.status.code(), Some(code), "{args:?}: {}", text(&said.stderr));
        assert!(text(&said.stderr).contains(says) && said.stdout.is_empty(), "{args:?}: {}", text(&said.stderr));
    }
}

#[test]
fn a_reader_that_goes_away_is_told_nothing() {
    let mut child = Command::new(rimebook())
        .args(["completions", "bash"])
        .stdout(std::process::Stdio::piped())
        .stderr(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let said = child.wait_with_output().unwrap();
    assert_eq!(text(&said.stderr), "");
}

#[test]
fn long_work_says_how_far_it_has_come_to_who_asks_for_it() {
    let folder = tempfile::tempdir().unwrap();
    let said = |args: &[&str]| {
        let said = run(args, folder.path());
        assert!(said.status.success(), "{args:?}: {}", text(&said.stderr));
        (text(&said.stdout), text(&said.stderr))
    };
    let (_, made) = said(&["demo", "--data", "yard", "--progress"]);
    let last = made.lines().last().unwrap().to_owned();
    let steps: Vec<&str> = last.split(' ').collect();
    assert!(matches!(steps[..], ["Written:", done, "of", of, "entries"] if done == of), "{made}");
    assert!((10..=12).contains(&made.lines().count()), "{made}");

    // Standard error is no terminal here, so that nobody who did not ask is told.
    let (sound, silent) = said(&["verify", "--data", "yard"]);
    let (told, progress) = said(&["verify", "--data", "yard", "--progress"]);
    assert_eq!((silent.as_str(), &told), ("", &sound));
    assert!(progress.starts_with("Read: 1 entries\n"), "{progress}");

    let running = Running::serve(&folder.path().join("yard"));
    let client = reqwest::blocking::Client::builder().no_proxy().build().unwrap();
    let page = client.get(format!("{}/api/v1/entries?limit=50", running.url)).send().unwrap().text().unwrap();
    drop(running);
    let page: serde_json::Value = serde_json::from_str(&page).unwrap();
    let lines: Vec<String> = page["items"].as_array().unwrap().iter().map(|line| format!("{line}\n")).collect();
    std::fs::write(folder.path().join("log.jsonl"), lines.concat()).unwrap();
    let (_, silent) = said(&["load", "log.jsonl", "--data", "quiet"]);
    let (_, progress) = said(&["load", "log.jsonl", "--data", "loud", "--progress"]);
    assert_eq!((silent.as_str(), progress.as_str()), ("", "Written: 51 of 51 entries\n"));
}
