//! Making an entry right: it didn't happen, it was another roll, another time or another length.

use super::lengths::{length_label, lengths, metres_words, with_lengths};
use super::thing::{history, said::said};
use super::wish::{self, Choice, Chosen, Draft, Field, WishPage};
use super::{answer, assets::Assets, badge, foot::Foot, page};
use crate::http::{ask::ask, problems::Fault};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use chrono::{DateTime, Utc};
use domain::{When, say::Say, view::View};
use serde_json::{Value, json};
use shared_types::{Code, Entry, Kind, ThingName};
use std::sync::Arc;
use uuid::Uuid;

#[route("/strike/{entry}", method = "GET", method = "HEAD")]
pub(crate) async fn strike_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    entry: web::Path<String>,
    query: web::Query<Chosen>,
) -> HttpResponse {
    let done = async {
        let (entry, shown) = asked(&request, &yard, &entry, query.into_inner()).await?;
        let draft = draft(&yard, &entry, &shown.1);
        let open = shown.0.is_open() && !shown.1.choice.is_empty();
        wish::show(&yard, shown.0, open.then_some(draft)).await
    };
    answer(&request, done.await)
}

#[actix_web::post("/strike/{entry}")]
pub(crate) async fn post_strike(
    request: HttpRequest,
    yard: web::Data<Yard>,
    entry: web::Path<String>,
    form: web::Form<Chosen>,
) -> HttpResponse {
    let done = async {
        let (entry, shown) = asked(&request, &yard, &entry, form.into_inner()).await?;
        let draft = draft(&yard, &entry, &shown.1);
        wish::save(&request, &yard, shown.0, draft).await
    };
    answer(&request, done.await)
}

/// The entry, by its number or its id, and the page about it.
async fn asked(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    which: &str,
    chosen: Chosen,
) -> Result<(Arc<Entry>, (WishPage, Chosen)), Fault> {
    // A reason that the choice gives is read above; in the field it would stay when another choice is made.
    let own = own_reason(&chosen).filter(|own| ["", own].contains(&chosen.why.trim()));
    let typed = if own.is_some() { String::new() } else { chosen.why.clone() };
    let chosen = Chosen { why: own.clone().unwrap_or(chosen.why), ..chosen };
    let nothing =
        || Fault::not_found("No entry has that number or id. Look at the thing's history and take one of its entries.");
    let (seq, struck_by, say) = ask(yard, |book| {
        let id = which.parse::<Uuid>().ok().and_then(|id| book.seq_of(&id));
        let seq = id.or_else(|| which.parse().ok()).and_then(|seq| u32::try_from(seq).ok()).ok_or_else(nothing)?;
        let meta = book.entry(seq).ok_or_else(nothing)?;
        let struck_by = (u64::from(meta.struck_by) <= book.last_seq()).then_some(u64::from(meta.struck_by));
        Ok((u64::from(seq), struck_by, Say::of(View::new(book, u64::MAX), yard.now())))
    })?;
    let seqs: Vec<u64> = [seq].into_iter().chain(struck_by).collect();
    let mut entries = history::entries(yard, seqs).await?.into_iter();
    let entry = entries.next().ok_or_else(nothing)?;
    let when = When::now(yard.now());
    let time = |at| say.time(at, when.now);
    let picked = if chosen.choice.is_empty() { &chosen.pick } else { &chosen.choice };
    let mut shown = WishPage::new(yard, request, Chosen { choice: picked.clone(), ..chosen.clone() });
    shown.title = format!("Entry {} about {}: what is wrong?", entry.seq, entry.thing.short());
    shown.address = format!("/strike/{}", entry.seq);
    shown.about = Some(entry.thing.clone());
    let recorded = history::recorded(&entry, &say, when).map_or(String::new(), |at| format!(", recorded {at}"));
    let what = said(&entry, &say, when.now);
    shown.lead.push(format!("{}{recorded}, {}: {what}.", time(entry.occurred_at.at), history::who(&entry)));
    match entries.next() {
        Some(by) => shown.lead.push(format!(
            "Already {}. Nothing more is to be done.",
            history::struck_words(&by, &time(by.recorded_at)).trim_end_matches('.')
        )),
        None if history::may_be_struck(entry.body.plain_kind()) => {
            shown.lead.extend(own.map(|why| format!("Why: {why}.")));
            choices(&entry, &chosen, &typed, &mut shown);
        }
        None => shown
            .lead
            .push("A strike is not struck: write the entry again. What the log wrote itself stays.".to_owned()),
    }
    Ok((entry, (shown, chosen)))
}

/// Another roll, another time and another length are reasons of their own.
fn own_reason(chosen: &Chosen) -> Option<String> {
    match chosen.choice.as_str() {
        "other" => other(chosen).map(|code| format!("it was {code}")),
        "time" => Some("it was at another time".to_owned()),
        "length" => Some("it was another length".to_owned()),
        _ => None,
    }
}

fn other(chosen: &Chosen) -> Option<Code> {
    let text = chosen.other.trim();
    Code::new(text.split_once('/').map_or(text, |(_, code)| code)).ok()
}

/// Whether it could have been another roll or kit.
fn names_one(entry: &Entry) -> bool {
    matches!(
        entry.body.plain_kind(),
        "roll_put_away" | "kit_put_away" | "roll_taken_out" | "kit_taken_out" | "seen" | "disposed"
    ) && matches!(entry.thing.kind(), Kind::Roll | Kind::Kit)
}

fn choices(entry: &Entry, chosen: &Chosen, why: &str, shown: &mut WishPage) {
    let mut choice = |value, label: String| shown.choices.push(Choice { value, label });
    choice(
        "never",
        if entry.body.is_fact() { "It didn't happen" } else { "It should not have been written" }.to_owned(),
    );
    let mut field = |name, label: String, value: &str, like| {
        shown.fields.push(Field { name, label, value: value.to_owned(), like });
    };
    if names_one(entry) {
        let kind = entry.thing.kind();
        choice("other", format!("It was another {kind}"));
        field("other", format!("The other {kind}: scan it, or type its code"), &chosen.other, "");
    }
    if entry.body.is_fact() {
        choice("time", "It was at another time".to_owned());
        field("at", "The right time".to_owned(), &chosen.at, "2026-05-04 06:00");
    }
    let lengths = lengths(&entry.body);
    if !lengths.is_empty() {
        choice("length", "It was another length".to_owned());
        let was: Vec<String> = lengths.iter().map(|one| metres_words(one.mm)).collect();
        let value = if chosen.length.trim().is_empty() { was.join(" ") } else { chosen.length.clone() };
        field("length", length_label(&lengths), &value, "12.5");
    }
    field("why", "Why".to_owned(), why, "");
}

fn draft(yard: &Yard, entry: &Entry, chosen: &Chosen) -> Result<Draft, String> {
    let mut body = json!({ "entry": entry.id });
    let was = || entry.body.write().ok().and_then(|body| serde_json::from_str::<Value>(body.get()).ok());
    let instead = |thing: &ThingName, at: shared_types::Stamp| json!({ "kind": entry.body.plain_kind(), "thing": thing, "occurred_at": at, "body": was() });
    let instead = match chosen.choice.as_str() {
        "never" => None,
        "other" if names_one(entry) => {
            let kind = entry.thing.kind();
            let code = other(chosen).ok_or_else(|| format!("Say which {kind} it was: scan its label."))?;
            let other = ThingName::new(kind, &code);
            if other == entry.thing {
                return Err(format!("{code} is what the entry says already. Scan the other one."));
            }
            Some(instead(&other, entry.occurred_at))
        }
        "time" if entry.body.is_fact() => Some(instead(&entry.thing, wish::time(yard, &chosen.at)?)),
        "length" => {
            let body = with_lengths(was().unwrap_or_default(), &lengths(&entry.body), &chosen.length)?;
            let instead = json!({ "kind": entry.body.plain_kind(), "thing": entry.thing,
                                  "occurred_at": entry.occurred_at, "body": body });
            Some(instead)
        }
        _ => return Err("Say what it was: choose one of these.".to_owned()),
    };
    let why = wish::why(chosen)?;
    if let Some(body) = body.as_object_mut() {
        body.insert("why".to_owned(), json!(why));
        body.extend(instead.map(|instead| ("instead".to_owned(), instead)));
    }
    Ok(Draft { decide: "strike", thing: entry.thing.clone(), body })
}

#[derive(Template)]
#[template(path = "last.html")]
struct LastPage {
    assets: Assets,
    foot: Foot,
    badge: Option<String>,
    lines: Vec<Own>,
}

struct Own {
    seq: u64,
    at: String,
    what: String,
    strikable: bool,
}

/// As many entries are listed.
const MOST: usize = 100;

/// What this badge wrote today.
#[route("/last", method = "GET", method = "HEAD")]
pub(crate) async fn last_page(request: HttpRequest, yard: web::Data<Yard>) -> HttpResponse {
    let done = async {
        let badge = badge::remembered(&request);
        let when = When::now(yard.now());
        let (say, seqs, struck) = ask(&yard, |book| {
            let say = Say::of(View::new(book, u64::MAX), when.now);
            let day = |at: shared_types::Instant| {
                DateTime::<Utc>::from_timestamp_millis(at.0).map(|at| at.with_timezone(&say.zone).date_naive())
            };
            let mine = badge.as_ref().and_then(|badge| book.label(&ThingName::new(Kind::Badge, badge)));
            let back = (1..=u32::try_from(book.last_seq()).unwrap_or(u32::MAX)).rev();
            let today = back.map_while(|seq| {
                book.entry(seq).filter(|meta| day(meta.recorded_at) == day(when.now)).map(|meta| (seq, meta))
            });
            let own = today.filter(|(_, meta)| Some(meta.by) == mine).take(MOST);
            let (seqs, struck): (Vec<u64>, Vec<bool>) =
                own.map(|(seq, meta)| (u64::from(seq), u64::from(meta.struck_by) <= book.last_seq())).unzip();
            Ok((say, seqs, struck))
        })?;
        let entries = history::entries(&yard, seqs).await?;
        let lines = entries.iter().zip(struck).map(|(entry, struck)| Own {
            seq: entry.seq,
            at: say.time(entry.occurred_at.at, when.now),
            what: format!("{}{}", said(entry, &say, when.now), if struck { ", struck" } else { "" }),
            strikable: !struck && history::may_be_struck(entry.body.plain_kind()),
        });
        let lines = lines.collect();
        let foot = Foot::of(&yard, View::new(&yard.read(), when.known), when);
        page(
            StatusCode::OK,
            &LastPage { assets: Assets::new(), foot, badge: badge.map(|badge| badge.to_string()), lines },
        )
    };
    answer(&request, done.await)
}
