//! The same log gives the same answers, byte for byte: after a restart, without the archive, and with one full of noise.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};
use tempfile::TempDir;
use tests::server::{Running, rimebook};

const ROLLS: usize = 40;
/// Enough that a segment is sealed (5,000 entries), so that the archive holds something.
const CYCLES: usize = 70;

fn stamp(minute: usize) -> String {
    let at = chrono::DateTime::from_timestamp(1_750_000_000 + 60 * minute as i64, 0).unwrap();
    at.format("%Y-%m-%dT%H:%M:%S.000+00:00").to_string()
}

fn id(number: usize) -> String {
    uuid::Uuid::from_u128(0x5ea1_ed00_0000_4000_8000_0000_0000_0000 + number as u128).to_string()
}

/// A yard, a material, a batch, rolls that go in and out, and a part that is laid from one of them.
fn history() -> String {
    let mut lines: Vec<Value> = Vec::new();
    let mut decide = |decide: &str, thing: &str, body: Value| {
        let number = lines.len();
        lines.push(json!({"id": id(number), "decide": decide, "thing": thing, "by": "B-1", "based_on": number,
            "recorded_at": stamp(number), "body": body}));
    };
    decide("declare_yard", "yard/YARD", json!({"zone": "Europe/Lisbon", "spare_s": 3600, "on_call": "4711"}));
    decide("declare_place", "place/F1", json!({"name": "freezer 1", "frozen": true}));
    decide(
        "revise_material",
        "material/PM-101",
        json!({"revision": "1", "name": "PM-101", "form": "prepreg",
        "shelf_life": {"months": 12, "tested_at": "oven"}, "out_life_s": 864_000, "tack_life_s": 576_000,
        "lay_to_cure": {"limit_s": 259_200, "from": "first_ply"}, "refreezes": {"allowed": 99, "after_s": 0},
        "rate": {"model": "door_to_door"}}),
    );
    decide("register_batch", "batch/PM-101/B-1", json!({"made_on": "2025-06-01"}));
    let mut minute = 10;
    let mut fact_of = |kind: &str, thing: String, body: Value, lines: &mut Vec<Value>| {
        minute += 1;
        let number = lines.len();
        lines.push(json!({"id": id(number), "kind": kind, "thing": thing, "by": "B-17",
            "occurred_at": stamp(minute), "recorded_at": stamp(minute), "body": body}));
    };
    let mut fact = |kind: &str, roll: usize, body: Value, lines: &mut Vec<Value>| {
        fact_of(kind, format!("roll/R-{roll}"), body, lines);
    };
    for roll in 0..ROLLS {
        let opening = json!({"out_time_s": 0, "refreezes": 0, "as_of": stamp(minute_of(roll)), "source": "card"});
        fact(
            "roll_received",
            roll,
            json!({"material": "PM-101", "revision": "1", "batch": "B-1", "length_mm": 50_000,
            "opening": opening}),
            &mut lines,
        );
        fact("roll_put_away", roll, json!({"into": "F1"}), &mut lines);
    }
    for _ in 0..CYCLES {
        for roll in 0..ROLLS {
            fact("roll_taken_out", roll, json!({"from": "F1", "to": "CUT"}), &mut lines);
            fact("roll_put_away", roll, json!({"into": "F1"}), &mut lines);
        }
    }
    fact("roll_taken_out", 7, json!({"from": "F1", "to": "CUT"}), &mut lines);
    let laid = json!({"stage": "skin", "from": "roll/R-7", "length_mm": 2_000});
    fact_of("plies_laid", "part/P-1".to_owned(), laid, &mut lines);
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// When a roll's receipt was written.
fn minute_of(roll: usize) -> usize {
    11 + 2 * roll
}

fn ask(url: &str) -> Vec<String> {
    let at = "2025-06-20T12:00:00Z";
    let mut paths = vec![
        format!("/api/v1/runs-out?within_h=9000&at={at}"),
        format!("/api/v1/mismatches?at={at}"),
        "/api/v1/entries?after=4990&limit=20".to_owned(),
        format!("/api/v1/things/batch/PM-101/B-1/trace?direction=went_into&at={at}"),
    ];
    for roll in [0, 7, ROLLS - 1] {
        for question in ["", "/out-time-card", "/may-use"] {
            let act = if question == "/may-use" { "&act=take_out" } else { "" };
            paths.push(format!("/api/v1/things/roll/R-{roll}{question}?at={at}{act}"));
            paths.push(format!("/api/v1/things/roll/R-{roll}{question}?at={at}&known=3000{act}"));
        }
        paths.push(format!("/api/v1/things/roll/R-{roll}/entries"));
    }
    paths.extend(every_question(url, at));
    let answer = |path: &String| {
        let answer = reqwest::blocking::get(format!("{url}{path}")).unwrap();
        assert_eq!(answer.status(), 200, "{path}");
        format!("{path}\n{}", answer.text().unwrap())
    };
    paths.iter().map(answer).collect()
}

/// Every address that answers GET, as the document of that very server has it, for things of this yard.
fn every_question(url: &str, at: &str) -> Vec<String> {
    let document: Value = reqwest::blocking::get(format!("{url}/api/v1/openapi.json")).unwrap().json().unwrap();
    // How the server does is no answer from the log, nor what somebody who signed in has begun.
    let is_own = |path: &str| ["/metrics", "/api/v1/feeds", "/api/v1/me/"].iter().any(|own| path.starts_with(own));
    let is_asked = |path: &str, item: &Value| item.get("get").is_some() && !is_own(path);
    let paths = document["paths"].as_object().unwrap().iter().filter(|(path, item)| is_asked(path, item));
    let filled = paths.map(|(template, item)| {
        let path = template
            .replace("scan/{code}", "scan/R-7")
            .replace("{kind}/{code}", "roll/R-7")
            .replace("part/{code}", "part/P-1");
        let path = path.replace("{material}", "PM-101").replace("{batch}", "B-1").replace("{seq}", "4995");
        assert!(!path.contains('{'), "say here what {template} is asked for");
        let takes = |name: &str| {
            item["get"]["parameters"].as_array().is_some_and(|all| all.iter().any(|one| one["name"] == name))
        };
        let query = [("at", at), ("act", "take_out"), ("boat", "NB-1"), ("entry", "9"), ("from", "9")]
            .into_iter()
            .filter(|(name, _)| takes(name));
        let query: Vec<String> = query.map(|(name, value)| format!("{name}={value}")).collect();
        format!("{path}?{}", query.join("&"))
    });
    filled.collect()
}

fn served(data: &Path) -> Vec<String> {
    let mut running = Running::serve(data);
    let answers = ask(&running.url);
    running.kill();
    answers
}

#[test]
fn the_same_log_answers_the_same_after_a_restart_without_the_archive_and_with_noise_in_it() {
    let folder = TempDir::new().unwrap();
    let (lines, data) = (folder.path().join("history.jsonl"), folder.path().join("data"));
    fs::write(&lines, history()).unwrap();
    let loaded = Command::new(rimebook()).arg("load").arg(&lines).arg("--data").arg(&data).output().unwrap();
    assert!(loaded.status.success(), "{}", String::from_utf8_lossy(&loaded.stderr));

    let first = served(&data);
    assert!(first.iter().any(|answer| answer.contains("\"tack_life\"")));
    assert_eq!(served(&data), first, "after a kill");
    fs::remove_dir_all(data.join("sled")).unwrap();
    assert_eq!(served(&data), first, "without the archive");
    let sled = data.join("sled");
    let mut noise = 0x9e37_79b9_7f4a_7c15_u64;
    for name in ["db", "conf", "snap.0000000000000001"] {
        let bytes: Vec<u8> = (0..70_000)
            .map(|_| {
                noise ^= noise << 13;
                noise ^= noise >> 7;
                noise ^= noise << 17;
                noise.to_le_bytes()[3]
            })
            .collect();
        fs::create_dir_all(&sled).unwrap();
        fs::write(sled.join(name), bytes).unwrap();
    }
    assert_eq!(served(&data), first, "with noise in the archive");
}
