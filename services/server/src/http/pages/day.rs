//! The pages by which the day is run: the manager's morning, the take-out list, the handover.

use super::{answer, asked_then, assets::Assets, foot::Foot, html, in_a_query, page};
use crate::http::{
    ask::{AtKnown, ask_beside},
    problems::Fault,
};
use crate::yard::Yard;
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::{Book, TakeOutQuestion, When, say::Say, view::View};
use serde::Deserialize;
use shared_types::{Handover, Stamp, TakeOutList, ThingName, WaitsForOven, Warning};
use std::collections::BTreeSet;

/// The moment a page is asked for, its time as people write it.
#[derive(Deserialize, Clone, Default)]
#[serde(deny_unknown_fields)]
pub(crate) struct Moment {
    #[serde(default)]
    at: String,
    #[serde(default)]
    known: Option<u64>,
}

impl Moment {
    pub(super) fn read(&self, yard: &Yard) -> Result<AtKnown, Fault> {
        Ok(AtKnown { at: asked_then(yard, &self.at)?, known: self.known })
    }
}

/// What comes out of the cold until when, as a form asks for it.
#[derive(Deserialize, Clone, Default)]
#[serde(deny_unknown_fields)]
pub(crate) struct TakeOutForm {
    #[serde(default)]
    until: String,
    #[serde(default)]
    at: String,
    #[serde(default)]
    known: Option<u64>,
}

/// One line of a list: what it is about, and the sentence.
pub(super) struct Line {
    pub(super) link: String,
    /// Escaped, as `say` is.
    pub(super) name: String,
    /// `Fri 22:00`, and in how long.
    pub(super) by: String,
    pub(super) of: String,
    /// Escaped, with its codes kept whole.
    pub(super) say: String,
}

fn codes(text: impl AsRef<str>) -> String {
    html::codes(text).to_string()
}

fn link(thing: &ThingName) -> String {
    format!("/thing/{}/{}", thing.kind(), in_a_query(thing.code()))
}

/// `Fri 22:00, in 8 h`; of what is late only when it was, with its date: the same weekday comes again.
fn by(say: &Say, by: Stamp, at: shared_types::Instant) -> String {
    match at <= by.at {
        true => format!("{}, in {}", say.time(by.at, at), domain::say::left(by.at.since(at))),
        false => format!("was {}", say.past(by.at, at)),
    }
}

pub(super) fn line(say: &Say, warning: &Warning, at: shared_types::Instant) -> Line {
    let stage = warning.stage.as_ref().map_or(String::new(), |stage| format!(" {stage}"));
    let of = warning.materials.iter().chain(&warning.jobs).map(ToString::to_string).collect::<Vec<_>>();
    Line {
        link: link(&warning.thing),
        name: codes(format!("{}{stage}", warning.thing.short())),
        by: by(say, warning.act_by, at),
        of: codes(of.join(", ")),
        say: codes(&warning.say),
    }
}

/// What is to be done to a thing is said once, for the limit that asks for it first: a later time beside *now* would read
/// as leave to wait until then.
pub(super) fn once(soonest_first: &[Warning]) -> impl Iterator<Item = &Warning> {
    let mut said = BTreeSet::new();
    soonest_first.iter().filter(move |one| one.limit.is_none() || said.insert((&one.thing, &one.stage, one.act)))
}

fn waiting(say: &Say, one: &WaitsForOven, at: shared_types::Instant) -> Line {
    Line {
        link: link(&one.part),
        name: codes(format!("{} {}", one.part.short(), one.stage)),
        by: one.heating_by.map_or(String::new(), |heating| by(say, heating, at)),
        of: String::new(),
        say: codes(&one.say),
    }
}

/// Asks beside the workers, with the words and the foot that stand on every page.
pub(super) async fn read<T: Send + 'static>(
    yard: &web::Data<Yard>,
    asked: AtKnown,
    question: impl FnOnce(&Book, When, &Say) -> Result<T, Fault> + Send + 'static,
) -> Result<(T, Foot), Fault> {
    let shared = yard.clone();
    ask_beside(yard, move |book| {
        let when = asked.when(&shared, book)?;
        let view = View::new(book, when.known);
        let found = question(book, when, &Say::of(view, when.at))?;
        Ok((found, Foot::of(&shared, view, when)))
    })
    .await
}

#[derive(Template)]
#[template(path = "today.html")]
struct TodayPage {
    assets: Assets,
    foot: Foot,
    alarms: Vec<String>,
    today: TodayLines,
}

struct TodayLines {
    misses: Vec<Line>,
    tonight: Vec<Line>,
    tonight_until: String,
    ends_first: Vec<Line>,
    short: Vec<String>,
    mismatches: u64,
}

#[route("/today", method = "GET", method = "HEAD")]
pub(crate) async fn today_page(request: HttpRequest, yard: web::Data<Yard>, query: web::Query<Moment>) -> HttpResponse {
    let found = async {
        let (today, foot) = read(&yard, query.read(&yard)?, |book, when, say| {
            let today = domain::today(book, when);
            let lines = |all: &[Warning]| once(all).map(|one| line(say, one, when.at)).collect();
            Ok(TodayLines {
                misses: lines(&today.misses),
                tonight: today.tonight.iter().map(|one| waiting(say, one, when.at)).collect(),
                tonight_until: say.time(today.tonight_until, when.at),
                ends_first: lines(&today.ends_first),
                short: today.short.iter().map(|one| codes(&one.say)).collect(),
                mismatches: today.mismatches,
            })
        })
        .await?;
        page(StatusCode::OK, &TodayPage { assets: Assets::new(), foot, alarms: yard.alarms(), today })
    };
    answer(&request, found.await)
}

#[derive(Template)]
#[template(path = "take_out.html")]
struct TakeOutPage {
    assets: Assets,
    foot: Foot,
    until: String,
    lines: Vec<Line>,
    short: Vec<String>,
    notes: Vec<String>,
}

#[route("/take-out", method = "GET", method = "HEAD")]
pub(crate) async fn take_out_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<TakeOutForm>,
) -> HttpResponse {
    let found = async {
        let until = asked_then(&yard, &query.until)?.map(|until| until.at);
        let asked = AtKnown { at: asked_then(&yard, &query.at)?, known: query.known };
        let ((list, lines, until), foot) = read(&yard, asked, move |book, when, say| {
            let list: TakeOutList = domain::take_out_list(book, &TakeOutQuestion { until, when });
            let line = |one: &shared_types::TakeOutLine| Line {
                link: link(&one.thing),
                name: codes(one.thing.short()),
                // What is out already is not late for coming out.
                by: if one.out { String::new() } else { by(say, one.out_by, when.at) },
                of: codes(one.job.as_str()),
                say: codes(&one.say),
            };
            let lines: Vec<Line> = list.lines.iter().map(line).collect();
            let until = say.time(list.until.at, when.at);
            Ok((list, lines, until))
        })
        .await?;
        let short = list.short.iter().map(|one| codes(&one.say)).collect();
        let notes = list.notes.iter().map(codes).collect();
        page(StatusCode::OK, &TakeOutPage { assets: Assets::new(), foot, until, lines, short, notes })
    };
    answer(&request, found.await)
}

#[derive(Template)]
#[template(path = "handover.html")]
struct HandoverPage {
    assets: Assets,
    foot: Foot,
    say: String,
    out: Vec<Line>,
    waiting: Vec<Line>,
    to_confirm: Vec<Line>,
    mismatches: u64,
}

#[route("/handover", method = "GET", method = "HEAD")]
pub(crate) async fn handover_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    query: web::Query<Moment>,
) -> HttpResponse {
    let found = async {
        let ((list, lines), foot) = read(&yard, query.read(&yard)?, |book, when, say| {
            let list: Handover = domain::handover(book, when);
            let plain = |thing: &ThingName, first: Option<Stamp>, text: &str| Line {
                link: link(thing),
                name: codes(thing.short()),
                by: first.map_or(String::new(), |first| by(say, first, when.at)),
                of: String::new(),
                say: codes(text),
            };
            let out: Vec<Line> = list.out.iter().map(|one| plain(&one.thing, one.last_ply_by, &one.say)).collect();
            let wait: Vec<Line> = list.waiting.iter().map(|one| waiting(say, one, when.at)).collect();
            let told: Vec<Line> = list.to_confirm.iter().map(|one| plain(&one.thing, None, &one.say)).collect();
            Ok((list, (out, wait, told)))
        })
        .await?;
        let (out, waiting, to_confirm) = lines;
        let Handover { say, mismatches, .. } = list;
        page(StatusCode::OK, &HandoverPage { assets: Assets::new(), foot, say, out, waiting, to_confirm, mismatches })
    };
    answer(&request, found.await)
}
