//! The program is killed at random points while eight people post: nothing that was acknowledged is missing or
//! doubled afterwards, and every id is answered again as before.

use std::{
    collections::HashMap,
    path::Path,
    sync::{
        Mutex,
        atomic::{AtomicU64, Ordering},
    },
    thread,
};

use reqwest::blocking::Client;
use serde_json::{Value, json};
use tests::server::Running;

const POSTERS: u64 = 8;
/// So often on one folder; then a new one, so that reading a long log is not most of the time.
const KILLS_PER_FOLDER: u64 = 50;

/// How often it is killed: more when RIMEBOOK_LONG is set.
fn kills() -> u64 {
    if std::env::var_os("RIMEBOOK_LONG").is_some() { 1_000 } else { 50 }
}

/// Ids, with the seqs that the program answered.
type Acknowledged = Vec<(String, u64)>;

/// Everything that was ever posted, by id.
#[derive(Default)]
struct Posted {
    /// With the seq that the program answered.
    acknowledged: HashMap<String, u64>,
    /// Posted and never answered: they may be in the log.
    unanswered: Vec<Value>,
    /// The seqs up to here were compared with the log.
    compared: u64,
    /// What the log holds.
    in_log: HashMap<String, u64>,
}

#[test]
fn nothing_acknowledged_is_missing_or_doubled_after_a_kill() {
    let mut random = Random(0x0005_DEEC_E66D);
    for _ in 0..kills() / KILLS_PER_FOLDER {
        kill_again_and_again(&mut random);
    }
}

/// One folder, whose program is killed, started again, compared and killed.
fn kill_again_and_again(random: &mut Random) {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("data");
    let mut posted = Posted::default();
    for round in 0..KILLS_PER_FOLDER {
        if random.below(4) == 0 {
            kill_while_it_starts(&data, random);
        }
        let mut running = Running::serve(&data);
        compare(&running.url, &mut posted, random, round);
        let until = 1 + random.below(200);
        let (acknowledged, unanswered) = post_until_killed(&mut running, round, until);
        assert!(acknowledged.len() as u64 >= until, "round {round}");
        posted.acknowledged.extend(acknowledged);
        posted.unanswered.extend(unanswered);
    }
    let running = Running::serve(&data);
    compare(&running.url, &mut posted, random, KILLS_PER_FOLDER);
    // Once more from the beginning, because what was compared before must not have changed since.
    posted.compared = 0;
    posted.in_log.clear();
    compare(&running.url, &mut posted, random, KILLS_PER_FOLDER);
    assert_eq!(posted.in_log.len(), posted.acknowledged.len());
}

/// Killed before it said where it listens, so while it reads the journal, repairs its end or opens the archive.
fn kill_while_it_starts(data: &Path, random: &mut Random) {
    let mut starting = Running::start(data);
    let mut spin = 0;
    for turn in 0..random.below(3_000_000) {
        spin ^= std::hint::black_box(turn);
    }
    std::hint::black_box(spin);
    starting.kill();
}

/// Eight people post one fact after the other; the program is killed as soon as so many were acknowledged, while the
/// others wait for their answers.
fn post_until_killed(running: &mut Running, round: u64, until: u64) -> (Acknowledged, Vec<Value>) {
    let url = running.url.clone();
    let count = AtomicU64::new(0);
    let running = Mutex::new(running);
    let results: Vec<(Acknowledged, Option<Value>)> = thread::scope(|scope| {
        let (url, count, running) = (&url, &count, &running);
        let posters = (0..POSTERS).map(|poster| {
            scope.spawn(move || {
                let client = Client::new();
                let mut acknowledged = Vec::new();
                for number in 0.. {
                    let fact = fact(round, poster, number);
                    let Some(result) = post(&client, url, &fact) else { return (acknowledged, Some(fact)) };
                    assert_eq!(result["status"], 201, "{result}");
                    acknowledged.push((id(&fact), result["seq"].as_u64().unwrap()));
                    if count.fetch_add(1, Ordering::SeqCst) + 1 == until {
                        running.lock().unwrap().kill();
                    }
                }
                (acknowledged, None)
            })
        });
        let posters: Vec<_> = posters.collect();
        posters.into_iter().map(|poster| poster.join().unwrap()).collect()
    });
    let (acknowledged, unanswered): (Vec<_>, Vec<_>) = results.into_iter().unzip();
    (acknowledged.into_iter().flatten().collect(), unanswered.into_iter().flatten().collect())
}

/// Reads what came since the last time, asks again what was never answered and some of what was, and compares.
fn compare(url: &str, posted: &mut Posted, random: &mut Random, round: u64) {
    let client = Client::new();
    read_log(&client, url, posted);
    for (id, seq) in &posted.acknowledged {
        assert_eq!(posted.in_log.get(id), Some(seq), "round {round}: {id} was acknowledged as entry {seq}");
    }
    for fact in std::mem::take(&mut posted.unanswered) {
        let result = post(&client, url, &fact).expect("the server is up");
        let seq = result["seq"].as_u64().unwrap();
        let expected = if posted.in_log.contains_key(&id(&fact)) { 200 } else { 201 };
        assert_eq!(result["status"], expected, "round {round}: {result}");
        posted.acknowledged.insert(id(&fact), seq);
    }
    read_log(&client, url, posted);
    if round > 0 {
        for _ in 0..20 {
            let known = fact(random.below(round), random.below(POSTERS), random.below(10));
            let before = posted.acknowledged.get(&id(&known)).copied();
            // Not everybody came to ten facts in every round.
            if let Some(seq) = before {
                let result = post(&client, url, &known).expect("the server is up");
                assert_eq!((&result["status"], &result["seq"]), (&json!(200), &json!(seq)), "round {round}");
            }
        }
    }
    let (entries, acknowledged) = (posted.in_log.len(), posted.acknowledged.len());
    assert_eq!(entries, acknowledged, "round {round}: everything in the log was posted, and nothing is doubled");
}

fn read_log(client: &Client, url: &str, posted: &mut Posted) {
    loop {
        let page = client.get(format!("{url}/api/v1/entries?after={}", posted.compared)).send().unwrap();
        let page: Value = serde_json::from_str(&page.text().unwrap()).unwrap();
        let items = page["items"].as_array().unwrap();
        if items.is_empty() {
            return;
        }
        for entry in items {
            let seq = entry["seq"].as_u64().unwrap();
            assert_eq!(seq, posted.compared + 1, "no number is left out");
            posted.compared = seq;
            // What a torn end leaves behind is written down by the log itself.
            if entry["kind"] != "log_cut.v1" {
                let doubled = posted.in_log.insert(id(entry), seq);
                assert_eq!(doubled, None, "{entry} stands in the log twice");
            }
        }
    }
}

/// The result of one fact; nothing if the program went away.
fn post(client: &Client, url: &str, fact: &Value) -> Option<Value> {
    let body = json!({"entries": [fact]}).to_string();
    let request = client.post(format!("{url}/api/v1/entries")).header("content-type", "application/json").body(body);
    let answer: Value = serde_json::from_str(&request.send().ok()?.text().ok()?).ok()?;
    Some(answer["results"][0].clone())
}

fn id(item: &Value) -> String {
    item["id"].as_str().unwrap().to_owned()
}

fn fact(round: u64, poster: u64, number: u64) -> Value {
    json!({
        "id": format!("0197a1c2-0000-7000-8{poster:03}-{round:04}{number:08}"),
        "kind": if number.is_multiple_of(2) { "roll_taken_out" } else { "roll_put_away" },
        "thing": format!("roll/R-{poster}"),
        "occurred_at": "2026-05-06T06:02:11.000+02:00",
        "by": "B-17",
        "body": if number.is_multiple_of(2) { json!({"from": "F1"}) } else { json!({"into": "F1"}) },
    })
}

/// Numbers that come in the same order every time (xorshift).
struct Random(u64);

impl Random {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % limit.max(1)
    }
}
