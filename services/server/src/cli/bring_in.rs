//! Brings in what a device recorded and never sent, from a file: first what it would change, then, asked for again, it is saved.

use super::{
    DONE, NOT_DONE,
    questions::{Ended, ended, read},
    rest::{Rest, Unanswered},
    tables::wrapped,
};
use crate::http::in_file;
use serde_json::{Value, json, value::RawValue};
use shared_types::{BatchResult, DryRun, ItemResult, ThingChange};
use std::{
    fs,
    io::{self, BufRead, IsTerminal, Write},
    path::PathBuf,
};

/// As many facts as the API takes at once, and about so many bytes.
const BATCH: usize = 100;
const BATCH_BYTES: usize = 200 * 1024;

#[derive(clap::Args)]
pub(super) struct BringIn {
    /// One fact as JSON a line, or {"entries": [fact, ..]}
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Write it, once you have read what it would change
    #[arg(long)]
    save: bool,
    /// Your badge, once the yard is set up: an administrator's. Password and one-time code are asked for, or are the first two
    /// lines of the standard input
    #[arg(long, value_name = "BADGE")]
    by: Option<String>,
    /// The server that writes it
    #[arg(long, value_name = "URL", env = "RIMEBOOK_SERVER", default_value = "http://127.0.0.1:8787")]
    server: String,
}

pub(super) fn run(asked: &BringIn, out: &mut dyn Write, err: &mut dyn Write) -> io::Result<u8> {
    ended(brought(asked, out).map(|done| if done { DONE } else { NOT_DONE }), err)
}

/// True if every fact is in, or could be.
fn brought(asked: &BringIn, out: &mut dyn Write) -> Result<bool, Ended> {
    let not_meant = |say: String| Unanswered { say, ask_otherwise: true };
    let file = fs::read_to_string(&asked.file);
    let file = file.map_err(|error| not_meant(format!("{} can't be read: {error}", asked.file.display())))?;
    let batches = batches(in_file(&file)).map_err(not_meant)?;
    let rest = Rest::new(&asked.server, None)?;
    let rest = match &asked.by {
        None => rest,
        Some(badge) => {
            let [password, code] = secrets().map_err(|error| not_meant(format!("nothing was typed: {error}")))?;
            rest.signed_in(&json!({ "badge": badge, "password": password, "one_time_code": code }))?
        }
    };
    let done = send(&rest, &batches, asked.save, out);
    if asked.by.is_some() {
        // The session was for this alone; one that can't be ended ends by itself.
        let _ = rest.post("/api/v1/sign-out", &json!({}));
    }
    done
}

fn send(rest: &Rest, batches: &[Vec<&RawValue>], save: bool, out: &mut dyn Write) -> Result<bool, Ended> {
    let (mut first, mut counts) = (1, Counts::default());
    for batch in batches {
        let body = json!({ "entries": batch });
        let results = match save {
            true => read::<BatchResult>(&post(rest, "/api/v1/devices/entries", &body)?)?.results,
            false => {
                let tried: DryRun = read(&post(rest, "/api/v1/devices/entries?dry_run=true", &body)?)?;
                for change in &tried.effect.things {
                    wrapped(&changed(change), "  ", out)?;
                }
                for new in &tried.effect.mismatches_new {
                    wrapped(&format!("Would not add up then: {}", new.say), "  ", out)?;
                }
                tried.results
            }
        };
        for (place, result) in results.iter().enumerate() {
            counts.add(result);
            if let Some(problem) = &result.problem {
                wrapped(&format!("Fact {}: {}", first + place, problem.detail), "", out)?;
            }
        }
        first += batch.len();
    }
    let Counts { new, already, not_taken } = counts;
    match save {
        true => writeln!(out, "Written: {new}. Already in: {already}. Not taken: {not_taken}.")?,
        false => {
            writeln!(
                out,
                "Would be written: {new}. Already in: {already}. Not taken: {not_taken}. Nothing was written."
            )?;
            if 0 < new {
                writeln!(
                    out,
                    "With --save it is brought in; what comes from a revoked device waits until two confirm it."
                )?;
            }
        }
    }
    Ok(not_taken == 0)
}

#[derive(Default)]
struct Counts {
    new: usize,
    already: usize,
    not_taken: usize,
}

impl Counts {
    fn add(&mut self, result: &ItemResult) {
        match (&result.problem, result.status) {
            (Some(_), _) => self.not_taken += 1,
            (None, 200) => self.already += 1,
            (None, _) => self.new += 1,
        }
    }
}

fn changed(change: &ThingChange) -> String {
    match &change.before {
        Some(before) if before.say != change.after.say => format!("Now: {} Then: {}", before.say, change.after.say),
        Some(_) => format!("{} would read otherwise.", change.thing.short()),
        None => format!("New: {}", change.after.say),
    }
}

/// Facts as they stand in the file, as many together as are taken at once.
fn batches(facts: Vec<&str>) -> Result<Vec<Vec<&RawValue>>, String> {
    let mut batches: Vec<Vec<&RawValue>> = Vec::new();
    let mut bytes = 0;
    for (place, fact) in facts.into_iter().enumerate() {
        let raw: &RawValue = serde_json::from_str(fact)
            .map_err(|error| format!("fact {} is not JSON: {error}. Nothing was written.", place + 1))?;
        bytes += fact.len();
        match batches.last_mut() {
            Some(batch) if batch.len() < BATCH && bytes <= BATCH_BYTES => batch.push(raw),
            _ => {
                bytes = fact.len();
                batches.push(vec![raw]);
            }
        }
    }
    if batches.is_empty() {
        return Err("There is nothing in the file.".to_owned());
    }
    Ok(batches)
}

fn post(rest: &Rest, path: &str, body: &Value) -> Result<Vec<u8>, Unanswered> {
    rest.post(path, body).map_err(|why| match why.say.contains("RIMEBOOK_TOKEN") {
        true => Unanswered {
            say: "This yard is set up, so an administrator brings this in: name your badge with --by.".to_owned(),
            ..why
        },
        false => why,
    })
}

/// Password and one-time code: never in the command itself, where every list of processes shows it.
fn secrets() -> io::Result<[String; 2]> {
    let ask = |what: &str| match io::stdin().is_terminal() {
        true => rpassword::prompt_password(format!("{what}: ")),
        false => {
            let mut line = String::new();
            io::stdin().lock().read_line(&mut line)?;
            Ok(line.trim_end_matches(['\r', '\n']).to_owned())
        }
    };
    Ok([ask("Password")?, ask("One-time code")?])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn facts_go_in_batches_that_the_server_takes() {
        let facts = vec!["{}"; 250];
        let sizes: Vec<usize> = batches(facts).unwrap().iter().map(Vec::len).collect();
        assert_eq!(sizes, [100, 100, 50]);
        let long = format!("\"{}\"", "x".repeat(150 * 1024));
        assert_eq!(batches(vec![&long, &long]).unwrap().len(), 2);
        assert!(batches(vec!["{}", "no"]).unwrap_err().starts_with("fact 2 is not JSON"));
        assert!(batches(Vec::new()).is_err());
    }
}
