//! What is almost right is read or refused in words, never with a panic or a 5xx; and what is read is read back the same.

use reqwest::blocking::Client;
use serde_json::{Value, json};
use server::intake;
use shared_types::{Code, Day, Entry, Instant, Stamp, ThingName};
use std::{
    fs,
    path::{Path, PathBuf},
};
use tests::{
    fresh::Fresh,
    fuzz::{Random, rounds},
};

fn fixture(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures").join(name)
}

fn corpus(name: &str) -> Vec<String> {
    let lines: Vec<String> = fs::read_to_string(fixture(name)).unwrap().lines().map(str::to_owned).collect();
    assert!(5 < lines.len());
    lines
}

#[test]
fn a_fact_that_is_taken_is_stored_as_it_was_read() {
    let (corpus, mut random, mut taken) = (corpus("fuzz/facts.jsonl"), Random::new(1), 0);
    for round in 0..rounds(20_000) {
        let text = random.changed(&corpus);
        let Ok(new) = intake::fact(&text) else { continue };
        taken += 1;
        let entry = Entry { seq: 7, recorded_at: Instant(1_000_000), ..new.entry };
        let (mut line, mut again) = (Vec::new(), Vec::new());
        entry.write(&mut line).unwrap();
        let back = Entry::read(&line).unwrap_or_else(|error| panic!("round {round}: {error}: {text}"));
        assert_eq!(back, entry, "round {round}: {text}");
        back.write(&mut again).unwrap();
        assert_eq!(line, again, "round {round}: {text}");
    }
    assert!(rounds(200) < taken, "only {taken} were taken: the changes are too wild to find anything");
}

#[test]
fn a_decision_is_read_the_same_each_time_or_refused_in_words() {
    let (corpus, mut random, mut taken) = (corpus("fuzz/decisions.jsonl"), Random::new(2), 0);
    for round in 0..rounds(20_000) {
        let text = random.changed(&corpus);
        match intake::decision(&text) {
            Ok(read) => {
                taken += 1;
                assert_eq!(
                    format!("{read:?}"),
                    format!("{:?}", intake::decision(&text).unwrap()),
                    "round {round}: {text}"
                );
            }
            Err(problem) => {
                assert!(
                    !problem.errors.is_empty() && !problem.detail().is_empty(),
                    "round {round}: {problem:?}: {text}"
                );
            }
        }
    }
    assert!(rounds(200) < taken, "only {taken} were taken");
}

#[test]
fn codes_names_and_times_are_read_back_as_they_are_written() {
    let (corpus, mut random, mut read) = (corpus("fuzz/words.txt"), Random::new(3), 0);
    for _ in 0..rounds(40_000) {
        let text = random.changed(&corpus);
        if let Ok(stamp) = Stamp::parse(&text) {
            read += 1;
            assert_eq!(Stamp::parse(&stamp.to_string()).unwrap(), stamp, "{text}");
        }
        if let Ok(day) = Day::parse(&text) {
            read += 1;
            assert_eq!(Day::parse(&day.to_string()).unwrap(), day, "{text}");
        }
        if let Ok(code) = Code::new(&text) {
            read += 1;
            assert_eq!(Code::new(code.as_str()).unwrap(), code, "{text}");
            assert!((1..=40).contains(&code.as_str().chars().count()), "{text}");
        }
        if let Ok(thing) = text.parse::<ThingName>() {
            read += 1;
            assert_eq!(thing.to_string().parse::<ThingName>().unwrap(), thing, "{text}");
        }
    }
    assert!(rounds(1_000) < read, "only {read} were read");
}

#[test]
fn no_question_and_no_fact_makes_the_server_go_wrong() {
    let mut server = Fresh::start();
    let client = Client::builder().no_proxy().redirect(reqwest::redirect::Policy::none()).build().unwrap();
    let entries = format!("{}/api/v1/entries", server.url);
    let (facts, questions, mut random) = (corpus("fuzz/facts.jsonl"), corpus("fuzz/questions.txt"), Random::new(5));
    let mut written = 0;
    for round in 0..rounds(150) {
        // Some as they are, so that there is something to ask about.
        let text = match round < facts.len() {
            true => facts[round].clone(),
            false => random.changed(&facts),
        };
        let sent = format!("{{\"entries\": [{text}]}}");
        let answer = client.post(&entries).header("content-type", "application/json").body(sent).send().unwrap();
        let (status, body) = (answer.status().as_u16(), answer.text().unwrap());
        assert!(status < 500, "{status} {body}: {text}");
        if status != 207 {
            continue;
        }
        for result in serde_json::from_str::<Value>(&body).unwrap()["results"].as_array().unwrap() {
            assert!(result["status"].as_u64().unwrap() < 500, "{result}: {text}");
            if result["status"] == 201 {
                written += 1;
                let stored: Value = client.get(format!("{entries}/{}", result["seq"])).send().unwrap().json().unwrap();
                let id = json!(result["id"].as_str().unwrap().to_lowercase());
                assert!(stored["id"] == id || stored["kind"] == "entry_set_aside.v1", "{stored}: {text}");
            }
        }
    }
    assert!(5 < written, "{written}");
    let mut read = 0;
    for _ in 0..rounds(800) {
        let path = random.changed(&questions);
        // What is no address at all never leaves a client.
        let Ok(url) = reqwest::Url::parse(&format!("{}/{}", server.url, path.trim_start_matches('/'))) else {
            continue;
        };
        if url.origin().ascii_serialization() != server.url {
            continue;
        }
        let answer = client.get(url.clone()).send().unwrap();
        let status = answer.status().as_u16();
        assert!(status < 500, "{status}: {url}");
        read += usize::from(status == 200);
        let media = answer.headers().get("content-type").map_or("", |value| value.to_str().unwrap()).to_owned();
        if 400 <= status && !media.is_empty() {
            assert!(media == "application/problem+json" || media.starts_with("text/html"), "{status} {media}: {url}");
        }
    }
    assert!(rounds(20) < read, "{read}");
    assert!(server.stop());
}
