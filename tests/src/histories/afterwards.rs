//! What is found out later: strikes with and without a replacement, confirmations, settled mismatches.

use serde_json::{Value, json};

use super::{Draft, Writer, time};
use crate::stepper::{Minute, minute, mismatches, read_log};

/// Strikes a few entries, facts and decisions about them, and puts another time or nothing in their place.
pub(super) fn strike_some(writer: &mut Writer) {
    for draft in writer.drafts.clone() {
        let line = &draft.line;
        let declares = ["declare_yard", "declare_place", "revise_material", "register_batch", "strike"];
        let percent = match (line["kind"].as_str(), line["decide"].as_str()) {
            (Some("roll_received" | "nest_cut"), _) => 1,
            (_, Some(decide)) if declares.contains(&decide) => 0,
            _ => 3,
        };
        let struck = writer.drafts.iter().any(|other| other.line["body"]["entry"] == line["id"]);
        if struck || !writer.random.chance(percent) {
            continue;
        }
        let when = draft.recorded + writer.random.between(1, 3000);
        let mut body = json!({"entry": line["id"], "why": "scanned the wrong label"});
        let replaces = line["kind"].is_string() && writer.random.chance(50);
        if replaces {
            body["instead"] = replacement(writer, line);
        }
        writer.decision("strike", line["thing"].as_str().unwrap_or_default(), when, body);
        if replaces
            && writer.random.chance(30)
            && let Some(Draft { line, .. }) = writer.drafts.last_mut()
        {
            line["second"] = Value::Null;
            line["body"]["instead"]["told"] = json!(true);
        }
    }
}

/// The same fact half an hour off, by somebody at a desk.
fn replacement(writer: &mut Writer, line: &Value) -> Value {
    let at = line["occurred_at"].as_str().map(minute).unwrap_or_default() + writer.random.between(-30, 30);
    json!({
        "id": writer.random.uuid(), "kind": line["kind"], "thing": line["thing"], "by": "B-8",
        "occurred_at": time(at), "body": line["body"]
    })
}

/// A second person stands behind some of what was told.
pub(super) fn confirm_some(writer: &mut Writer) {
    for draft in writer.drafts.clone() {
        if draft.line["told"] == true && writer.random.chance(45) {
            let when = draft.recorded + writer.random.between(1, 4000);
            let thing = draft.line["thing"].as_str().unwrap_or_default();
            writer.decision("confirm", thing, when, json!({"entry": draft.line["id"]}));
        }
    }
}

/// Settles some of the mismatches that the history so far really has, in a way that fits each.
pub(super) fn settle_some(writer: &mut Writer) {
    let lines = writer.lines();
    let jsonl: String = lines.iter().map(|line| format!("{line}\n")).collect();
    let log = read_log(&jsonl);
    let mut when = writer.drafts.iter().map(|draft| draft.recorded).max().unwrap_or_default() + 10;
    for (thing, _) in writer.things.clone() {
        for (entry, kind) in mismatches(&log, &thing, u64::MAX) {
            let Some(line) = lines.iter().find(|line| line["id"] == *entry) else { continue };
            let Some(at) = line["occurred_at"].as_str().map(minute) else { continue };
            if !writer.random.chance(45) {
                continue;
            }
            let since = log
                .iter()
                .filter(|other| other.thing == thing && other.at < at && other.kind != "settle")
                .map(|other| other.at)
                .max()
                .unwrap_or(at);
            let is_put_away = line["kind"].as_str().is_some_and(|kind| kind.ends_with("_put_away"));
            let answers = fitting_answers(writer, kind, is_put_away, &thing, since, at);
            if answers.is_empty() {
                continue;
            }
            let answer = answers[writer.random.between(0, answers.len() as i64 - 1) as usize].clone();
            when += 1;
            let body = json!({"mismatch": {"kind": kind, "entry": entry}, "answer": answer});
            writer.decision("settle", &thing, when, body);
        }
    }
}

/// Two look into some of the cures that are said to have been under way too early or too late.
pub(super) fn look_into_some(writer: &mut Writer) {
    let mut when = writer.drafts.iter().map(|draft| draft.recorded).max().unwrap_or_default() + 10;
    for draft in writer.drafts.clone() {
        if draft.line["body"]["committed_at"].is_string() && writer.clocks.chance(25) {
            when += 1;
            let mismatch = json!({"kind": "commit_outside_run", "entry": draft.line["id"]});
            let body = json!({"mismatch": mismatch, "answer": {"looked_into": true}});
            writer.decision("settle", draft.line["thing"].as_str().unwrap_or_default(), when, body);
        }
    }
}

/// `since`: the fact before the one that does not add up. Between the two there is nothing.
fn fitting_answers(
    writer: &mut Writer,
    kind: &str,
    is_put_away: bool,
    thing: &str,
    since: Minute,
    at: Minute,
) -> Vec<Value> {
    let random = &mut writer.random;
    let between = random.between(since + 1, at.max(since + 2) - 1);
    let out_since = json!({"out_since": time(between)});
    let put_away_at = json!({"put_away_at": time(between)});
    let carried = json!({"carried_over_s": random.between(1, 90) * 60});
    let assigned = json!({"assigned_s": random.between(1, 600) * 60});
    let was_take_out = json!({"was_take_out": true});
    let mut answers = match kind {
        "in_while_in" => vec![out_since, put_away_at, carried, assigned, was_take_out],
        "in_while_in_elsewhere" if is_put_away => vec![out_since, put_away_at, carried, assigned, was_take_out],
        "acted_while_inside" => vec![out_since, carried, assigned, was_take_out],
        "out_while_out" | "seen_inside_while_out" => vec![put_away_at],
        "put_away_not_after_take_out" => vec![was_take_out],
        _ => Vec::new(),
    };
    // Another roll's scan goes to a roll with a lower number only, so that no two rolls wait for each other.
    let number = thing.strip_prefix("roll/R-").and_then(|number| number.parse::<i64>().ok());
    if let (Some(number @ 2..), true) = (number, kind.starts_with("in_while_in") && is_put_away) {
        answers.push(json!({"other": format!("roll/R-{}", random.between(1, number - 1))}));
    }
    answers
}
