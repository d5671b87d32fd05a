//! Kits cut from the rolls, parts laid from kits and rolls, oven runs that count and others that don't.

use serde_json::{Value, json};

use super::scans::{Roll, Walk};
use super::{Writer, time, yard};
use crate::stepper::Minute;

pub(super) struct Kit {
    code: String,
    rolls: Vec<String>,
    last: Minute,
}

/// Some nests, each cutting one or two kits from up to three rolls, mostly soon after one of them was taken out.
pub(super) fn cut_kits(writer: &mut Writer, rolls: &[Roll]) -> Vec<Kit> {
    let mut kits = Vec::new();
    for nest in 1..=writer.random.between(2, 6) {
        let first = &rolls[writer.random.between(0, rolls.len() as i64 - 1) as usize];
        let took_out = first.take_outs.get(writer.random.between(0, 3) as usize).copied();
        let at = took_out.unwrap_or(first.received) + writer.random.between(1, 150);
        let mut from = vec![first.code.clone()];
        for _ in 0..writer.random.between(0, 2) {
            let other = &rolls[writer.random.between(0, rolls.len() as i64 - 1) as usize];
            if other.received < at && !from.contains(&other.code) {
                from.push(other.code.clone());
            }
        }
        let mut cut = Vec::new();
        for _ in 0..writer.random.between(1, 2) {
            let code = format!("K-{}", kits.len() + 1);
            let items: Vec<Value> = from
                .iter()
                .map(|roll| json!({"roll": roll, "length_mm": writer.random.between(1, 24) * 500, "plies": 2}))
                .collect();
            cut.push(json!({"kit": code, "job": yard::job_after(at), "items": items}));
            kits.push(Kit { code, rolls: from.clone(), last: at });
        }
        let mut body = json!({"kits": cut});
        if writer.random.chance(40) {
            body["waste"] = json!([{"roll": from[0], "length_mm": writer.random.between(1, 10) * 100}]);
        }
        writer.fact("nest_cut", &format!("nest/N-{nest}"), at, body);
    }
    for kit in &mut kits {
        let label = format!("kit/{}", kit.code);
        writer.things.push((label.clone(), None));
        let mut walk = Walk { at: kit.last + 1, place: None, take_outs: Vec::new() };
        (0..writer.random.between(0, 8)).for_each(|_| walk.step(writer, &label));
        kit.last = walk.at;
        if writer.random.chance(5) {
            writer.fact("disposed", &label, walk.at + 700, json!({"why": "dropped"}));
        }
    }
    kits
}

/// A part for most kits: laid whole or by named items, perhaps with a length straight from a roll, then heated.
pub(super) fn lay(writer: &mut Writer, kits: &[Kit], rolls: &[Roll]) {
    for (number, kit) in kits.iter().enumerate() {
        if writer.random.chance(75) {
            let part = format!("P-{}", number + 1);
            writer.things.push((format!("part/{part}"), Some("skin".to_owned())));
            let mut at = kit.last + writer.random.between(1, 300);
            at = lay_kit(writer, kit, &part, at);
            if writer.random.chance(25) {
                let roll = &rolls[writer.random.between(0, rolls.len() as i64 - 1) as usize];
                at = at.max(roll.received) + writer.random.between(1, 200);
                let length_mm = writer.random.between(1, 20) * 500;
                let body = json!({"stage": "skin", "from": format!("roll/{}", roll.code), "length_mm": length_mm});
                writer.fact("plies_laid", &format!("part/{part}"), at, body);
            }
            if writer.random.chance(60) {
                at += writer.random.between(1, 240);
                writer.fact("layup_completed", &format!("part/{part}"), at, json!({"stage": "skin"}));
            }
            heat(writer, &part, at, 1);
            if writer.random.chance(20) {
                // One ply more, whether it is heating or not.
                let roll = &rolls[writer.random.between(0, rolls.len() as i64 - 1) as usize];
                let late = at.max(roll.received) + writer.random.between(1, 3000);
                let body = json!({"stage": "skin", "from": format!("roll/{}", roll.code), "length_mm": 500});
                writer.fact("plies_laid", &format!("part/{part}"), late, body);
            }
        }
    }
}

fn lay_kit(writer: &mut Writer, kit: &Kit, part: &str, at: Minute) -> Minute {
    let thing = format!("part/{part}");
    let mut at = at;
    if kit.rolls.len() > 1 && writer.random.chance(50) {
        // Item by item, the last one sometimes left in the kit.
        let left_over = usize::from(writer.random.chance(30));
        for roll in kit.rolls.iter().skip(left_over) {
            let body = json!({"stage": "skin", "from": format!("kit/{}", kit.code), "items": [roll]});
            writer.fact("plies_laid", &thing, at, body);
            at += writer.random.between(1, 400);
        }
        return at;
    }
    let mut body = json!({"stage": "skin", "from": format!("kit/{}", kit.code)});
    if writer.random.chance(50) {
        let began = (at - writer.random.between(0, 60)).max(kit.last);
        body["from_at"] = json!(time(began));
    }
    writer.fact("plies_laid", &thing, at, body);
    at
}

/// A run that is confirmed, told, broken off, not recorded at all, or broken off and followed by another one.
fn heat(writer: &mut Writer, part: &str, after: Minute, attempt: usize) {
    if writer.random.chance(25) {
        return;
    }
    let run = format!("run/X-{part}-{attempt}");
    let start = after + writer.random.between(1, 1500);
    let into = json!({"oven": "O-1", "stages": [{"part": part, "stage": "skin"}]});
    writer.fact("oven_run_started", &run, start, into.clone());
    if writer.random.chance(8) {
        let again = start + writer.random.between(1, 90);
        writer.fact("oven_run_started", &run, again, into);
    }
    if writer.random.chance(8) {
        let denied = start + writer.random.between(200, 900);
        writer.fact("oven_run_ended", &run, denied, json!({"cured": false, "source": "record"}));
    }
    // Mostly in time; before the start; about a day after it, when a start without a record was taken for none.
    let in_time = writer.random.between(60, 200);
    let committed = start
        + match writer.clocks.between(1, 20) {
            1 => -writer.clocks.between(0, 120),
            2..=4 => 1440 + writer.clocks.between(-40, 40),
            5 => writer.clocks.between(1440, 6000),
            _ => in_time,
        };
    let source = if writer.random.chance(50) { "chart" } else { "record" };
    match writer.random.between(1, 10) {
        1..=5 => {
            let body = json!({"committed_at": time(committed), "cured": true, "source": source});
            writer.fact("oven_run_ended", &run, committed + 300, body);
        }
        6 => {
            writer.fact("oven_run_ended", &run, committed + 300, json!({"cured": true, "source": source}));
        }
        7 | 8 => {
            let broken = start + writer.random.between(1, 300);
            writer.fact("oven_run_interrupted", &run, broken, json!({"why": "power"}));
            if writer.random.chance(40) {
                let body = json!({"committed_at": time(committed), "source": source});
                writer.fact("oven_run_ended", &run, broken.max(committed) + 5, body);
            }
            heat(writer, part, broken.max(committed) + 10, attempt + 1);
        }
        _ => {}
    }
}
