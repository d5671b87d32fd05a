//! Backups of data folders as released versions left them, restored and opened by this one: nothing is lost, and each question gets the answer it got then.
//! A folder here never changes. What was once a right answer may turn out to be none: `RIMEBOOK_BLESS=1` writes `answers.json` anew,
//! and its difference is read like a change of the rules. The log's own lines and its root are never blessed.

use reqwest::blocking::Client;
use serde_json::{Map, Value};
use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
};
use tests::server::{Running, rimebook};

/// What is asked, as of a time and an entry that the folder has, so that nothing in the answers runs.
const QUESTIONS: &[&str] = &[
    "things/roll/R-1/may-use?act=lay",
    "things/roll/R-2/may-use?act=take_out",
    "things/roll/R-4/may-use?act=cut",
    "things/roll/R-6/out-time-card?",
    "things/part/P-3102/out-time-card?",
    "things/part/P-3102?",
    "things/part/P-3101/may-install?boat=NB-31",
    "things/boat/NB-31/trace?direction=made_from",
    "things/roll/R-1/trace?direction=went_into",
    "mismatches?",
    "runs-out?within_h=2000",
];
const WHEN: &str = "at=2025-06-30T09:00:00%2B02:00&known=70";
/// Nothing of these ever changes: what stands in the log, and what proves it.
const FOR_EVER: &[&str] = &[
    "entries?after=0&limit=200",
    "entries/17",
    "proofs/inclusion?entry=17&size=70",
    "proofs/consistency?from=40&to=70",
];

fn folders() -> Vec<PathBuf> {
    let all = fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/folders")).unwrap();
    let mut all: Vec<PathBuf> = all.map(|folder| folder.unwrap().path()).collect();
    all.sort();
    all
}

fn ask(running: &Running, path: &str) -> String {
    let answer =
        Client::builder().no_proxy().build().unwrap().get(format!("{}/api/v1/{path}", running.url)).send().unwrap();
    let (status, text) = (answer.status().as_u16(), answer.text().unwrap());
    assert_eq!(status, 200, "{path}: {text}");
    text
}

/// Without which version of the rules gave it: that one says itself when it gives another.
fn without_rules(answer: &str) -> String {
    let Some((before, after)) = answer.split_once("\"rules\":\"") else { return answer.to_owned() };
    format!("{before}\"rules\":\"…\"{}", after.split_once('"').map_or("", |(_, rest)| rest))
}

fn answers(data: &Path) -> Map<String, Value> {
    let running = Running::serve(data);
    let at =
        QUESTIONS.iter().map(|question| format!("{question}{}{WHEN}", if question.ends_with('?') { "" } else { "&" }));
    let all = at.chain(FOR_EVER.iter().map(|question| (*question).to_owned()));
    all.map(|path| (path.clone(), Value::from(without_rules(&ask(&running, &path))))).collect()
}

#[test]
fn what_an_earlier_version_wrote_is_read_by_this_one_and_answered_as_then() {
    let folders = folders();
    assert!(!folders.is_empty());
    for folder in folders {
        let temporary = tempfile::tempdir().unwrap();
        let restored = temporary.path().join("restored");
        let backup: Value = serde_json::from_slice(&fs::read(folder.join("backup.json")).unwrap()).unwrap();
        let root = backup["root"].as_str().unwrap();
        let said = Command::new(rimebook())
            .args(["restore", "--from"])
            .arg(&folder)
            .arg("--data")
            .arg(&restored)
            .output()
            .unwrap();
        assert!(said.status.success(), "{}", String::from_utf8_lossy(&said.stderr));
        let said = Command::new(rimebook()).args(["verify", "--data"]).arg(&restored).output().unwrap();
        let text = String::from_utf8_lossy(&said.stdout).into_owned();
        assert!(said.status.success() && text.contains(&format!("Root over all of them: {root}")), "{text}");
        let now = answers(&restored);
        let kept = folder.join("answers.json");
        if std::env::var_os("RIMEBOOK_BLESS").is_some() {
            fs::write(&kept, serde_json::to_string_pretty(&now).unwrap() + "\n").unwrap();
        }
        let then: Map<String, Value> = serde_json::from_slice(&fs::read(&kept).unwrap()).unwrap();
        for (path, answer) in &then {
            assert_eq!(now.get(path), Some(answer), "{}: {path}", folder.display());
        }
        assert_eq!(now.len(), then.len());
        // The lines are those that the root is over, whatever was blessed.
        let lines = then[FOR_EVER[0]].as_str().unwrap();
        let page: Value = serde_json::from_str(lines).unwrap();
        assert_eq!(page["items"].as_array().unwrap().len() as u64, backup["entries"].as_u64().unwrap());
    }
}
