//! A row of a list, in the words of the trade.

use domain::say::{Say, left, limit};
use shared_types::{Code, Day, Delivered, Kind, Stamp, StockRow, ThingName};

pub(super) fn heads(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::Roll => &["where", "material", "batch", "length left", "ends first", "jobs", "to look at"],
        Kind::Kit => &["where", "ends first", "jobs", "to look at"],
        Kind::Part => &["how far", "ends first", "jobs", "boat", "to look at"],
        Kind::Job => &["lay-up", "oven", "part", "how far", "needs", "issued", "boat", "to look at"],
        Kind::Delivery => &["came", "material", "on the note", "received", "missing", "to look at"],
        Kind::Batch => &["made", "to look at"],
        Kind::Boat => &["its list", "to look at"],
        _ => &["what it is", "to look at"],
    }
}

/// Where a row stands: on a page it is read now, in a file on any day.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Read {
    Now,
    Later,
}

pub(super) fn cells(kind: Kind, row: &StockRow, say: &Say, at: shared_types::Instant, read: Read) -> Vec<String> {
    let in_full = say.in_full();
    let say = if read == Read::Later { &in_full } else { say };
    let codes = |codes: &[Code]| codes.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ");
    let (ends, jobs, look) = (ends_first(row, say, at, read), codes(&row.jobs), to_look_at(row));
    let boat = row.boat.as_ref().map_or(String::new(), ToString::to_string);
    let spot = || super::screen::place_words(&row.whereabouts, &row.thing, say, at);
    let place = || if read == Read::Later { spot() } else { row.say.clone() };
    match kind {
        Kind::Roll => {
            let material = [&row.material, &row.revision].map(|code| code.as_ref().map(ToString::to_string));
            let material: Vec<String> = material.into_iter().flatten().collect();
            let batch = row.batch.as_ref().map_or(String::new(), |batch| batch.short().to_owned());
            let length = row.length_left_mm.map_or(String::new(), metres);
            vec![spot(), material.join(" rev. "), batch, length, ends, jobs, look]
        }
        Kind::Kit => vec![spot(), ends, jobs, look],
        Kind::Part => vec![place(), ends, jobs, boat, look],
        Kind::Job => {
            let Some(plan) = &row.planned else {
                let nobody = format!("Nobody has opened the job {}.", row.thing.short());
                return [nobody].into_iter().chain(std::iter::repeat_n(String::new(), 6)).chain([look]).collect();
            };
            let time = |stamp: Stamp| say.time(stamp.at, at);
            let need = |need: &shared_types::NeedMet| {
                let of = |mm: u64| metres(i64::try_from(mm).unwrap_or(i64::MAX));
                format!("{}: {} cut, {} planned", need.material, of(need.cut_mm), of(need.length_mm))
            };
            let needs: Vec<String> = plan.needs.iter().map(need).collect();
            let issued: Vec<&str> = plan.issued.iter().map(|thing| thing.short()).collect();
            let part = plan.part.short().to_owned();
            let boat = match (&row.boat, &plan.boat) {
                (Some(is_in), Some(planned)) if is_in != planned => format!("in {is_in}, planned for {planned}"),
                _ => boat,
            };
            vec![time(plan.lay_at), time(plan.oven_at), part, place(), needs.join("; "), issued.join(", "), boat, look]
        }
        Kind::Delivery => {
            let Some(Delivered { arrived_at, materials, note }) = &row.delivered else {
                return ["no note", "", "", "", ""].map(str::to_owned).into_iter().chain([look]).collect();
            };
            let missing: Vec<&str> = note.missing.iter().map(ThingName::short).collect();
            let (noted, received) = (note.noted.to_string(), note.received.len().to_string());
            let before = note.received_before.iter();
            let before = before.map(|one| format!("{} received before it came", one.roll.short()));
            let look = before.chain(Some(look).filter(|look| !look.is_empty())).collect::<Vec<_>>().join("; ");
            vec![say.time(arrived_at.at, at), codes(materials), noted, received, missing.join(", "), look]
        }
        _ => vec![declared(kind, row), look],
    }
}

fn metres(mm: i64) -> String {
    format!("{}.{} m", mm / 1000, (mm % 1000).abs() / 100)
}

fn ends_first(row: &StockRow, say: &Say, at: shared_types::Instant, read: Read) -> String {
    let Some(first) = &row.ends_first else { return String::new() };
    let ms = first.left_s.saturating_mul(1000);
    let stage = first.stage.as_ref().map_or(String::new(), |stage| format!("{stage}: "));
    let what = limit(first.limit);
    match first.ends_at {
        Some(ends) if ms < 0 => format!("{stage}{what} over since {}", say.time(ends.at, at)),
        Some(ends) if read == Read::Later => format!("{stage}{what} ends {}", say.time(ends.at, at)),
        Some(ends) => format!("{stage}{what} {}, in {}", say.time(ends.at, at), left(ms)),
        None => format!("{stage}{what}, {} left", left(ms)),
    }
}

fn to_look_at(row: &StockRow) -> String {
    let mut look = Vec::new();
    if !row.holds.is_empty() {
        look.push("held".to_owned());
    }
    if row.mismatches > 0 {
        look.push(format!("{} that don't add up", row.mismatches).replace("1 that don't", "1 that doesn't"));
    }
    look.join("; ")
}

/// What was declared, in a few words.
fn declared(kind: Kind, row: &StockRow) -> String {
    let Some(body) = &row.declared else {
        return match kind {
            Kind::Batch => "not registered",
            Kind::Boat => "no list",
            Kind::Material => "not entered",
            _ => "not declared",
        }
        .to_owned();
    };
    let text = |name: &str| body.get(name).and_then(|value| value.as_str()).unwrap_or_default().to_owned();
    match kind {
        Kind::Material => {
            let (name, form) = (text("name"), text("form"));
            let form =
                if name.to_lowercase().contains(&form.to_lowercase()) { String::new() } else { format!(", {form}") };
            format!("{name}{form}, rev. {}", text("revision"))
        }
        Kind::Batch => Day::parse(&text("made_on")).map_or_else(|_| text("made_on"), super::declared::day),
        Kind::Place => {
            let frozen = body.get("frozen").and_then(serde_json::Value::as_bool).unwrap_or_default();
            format!("{}, {}", text("name"), if frozen { "frozen" } else { "a room" })
        }
        _ => {
            let parts = body.get("parts").and_then(|parts| parts.as_array()).map_or(0, Vec::len);
            format!("{} on its list", super::claim::number(parts, "part"))
        }
    }
}
