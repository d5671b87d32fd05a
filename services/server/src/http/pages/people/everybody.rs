//! What an administrator looks after, on one page: who has which badge and role, devices and programs. What is shown once, a
//! badge's symbol or a code, has a sheet of its own to print.

use super::{
    super::{
        answer,
        assets::Assets,
        foot::Foot,
        page,
        thing::{history::entries, said::said},
    },
    symbol,
};
use crate::{
    http::{
        ask::ask,
        people::{
            DeviceAsked, Listed, TokenAsked, decide, end_sessions, issue, listed, make_badge, make_invitation,
            new_device_code, rename, withdraw,
        },
        problems::Fault,
        who::Who,
    },
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, post, route, web};
use askama::Template;
use domain::{When, say::Say, view::View};
use serde_json::json;
use shared_types::{BodyKind, Code, DeviceIs, Entry, Kind, Role, Scope, Stamp, ThingName};
use std::sync::Arc;

#[derive(Template)]
#[template(path = "people.html")]
struct PeoplePage {
    assets: Assets,
    foot: Foot,
    /// Without an administrator nobody is looked after.
    set_up: bool,
    listed: Listed,
    problem: Option<String>,
    done: Option<String>,
    /// What was done beside the server lately, the last first.
    beside: Vec<String>,
}

/// What is shown once.
#[derive(Template)]
#[template(path = "given.html")]
struct GivenPage {
    assets: Assets,
    title: String,
    /// What to do with it.
    says: String,
    /// What stands on it in letters.
    letters: String,
    /// The letters are printed too: a badge has its symbol alone.
    on_paper: bool,
    symbol: Option<String>,
    /// Below it on the sheet.
    under: String,
}

type Pairs = Vec<(String, String)>;

struct Form(Pairs);

impl Form {
    fn text(&self, name: &str) -> &str {
        self.0.iter().find(|(own, _)| own == name).map_or("", |(_, value)| value.trim())
    }

    fn all<T: Copy>(&self, name: &str, known: &[T], word: impl Fn(T) -> &'static str) -> Vec<T> {
        let said = |one: &T| self.0.iter().any(|(own, value)| own == name && value == word(*one));
        known.iter().copied().filter(said).collect()
    }
}

#[route("/people", method = "GET", method = "HEAD")]
pub(crate) async fn people_page(request: HttpRequest, yard: web::Data<Yard>) -> HttpResponse {
    answer(&request, shown(&yard, StatusCode::OK, None, None).await)
}

async fn shown(
    yard: &web::Data<Yard>,
    status: StatusCode,
    problem: Option<String>,
    done: Option<String>,
) -> Result<HttpResponse, Fault> {
    let when = When::now(yard.now());
    let foot = Foot::of(yard, View::new(&yard.read(), when.known), when);
    let set_up = yard.people.is_set_up();
    let beside = beside(yard, when).await?;
    page(status, &PeoplePage { assets: Assets::new(), foot, set_up, listed: listed(yard), problem, done, beside })
}

/// So much of what was done beside the server stands on the page; the yard's own page has all of it.
const MOST_BESIDE: usize = 5;

async fn beside(yard: &web::Data<Yard>, when: When) -> Result<Vec<String>, Fault> {
    let seqs = ask(yard, |book| {
        let is_one = |seq: &u64| {
            let entry = u32::try_from(*seq).ok().and_then(|seq| book.entry(seq));
            entry.is_some_and(|entry| entry.of == BodyKind::DoneBeside)
        };
        let all = book.entries_of(&ThingName::new(
            Kind::Yard,
            &Code::new("YARD").map_err(|_| Fault::went_wrong("The yard has no name."))?,
        ));
        let mut seqs: Vec<u64> = all.into_iter().filter(is_one).collect();
        seqs.sort_unstable_by(|one, other| other.cmp(one));
        seqs.truncate(MOST_BESIDE);
        Ok(seqs)
    })?;
    let entries = entries(yard, seqs).await?;
    let say = ask(yard, |book| Ok(Say::of(View::new(book, when.known), when.now)))?;
    let line = |entry: &Arc<Entry>| {
        format!("{}, entry {}: {}.", say.past(entry.recorded_at, when.now), entry.seq, said(entry, &say, when.now))
    };
    Ok(entries.iter().map(line).collect())
}

#[post("/people")]
pub(crate) async fn post_people(
    request: HttpRequest,
    yard: web::Data<Yard>,
    who: Who,
    form: web::Form<Pairs>,
) -> HttpResponse {
    let done = match act(&yard, &who, &Form(form.into_inner())).await {
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => shown(&yard, fault.status(), Some(fault.problem().detail.clone()), None).await,
        Ok(Done::Said(said)) => shown(&yard, StatusCode::OK, None, Some(said)).await,
        Ok(Done::Given(given)) => page(StatusCode::OK, &*given),
    };
    answer(&request, done)
}

enum Done {
    Said(String),
    Given(Box<GivenPage>),
}

async fn act(yard: &web::Data<Yard>, who: &Who, form: &Form) -> Result<Done, Fault> {
    let badge = form.text("badge");
    match form.text("do") {
        "name" => {
            let badge = rename(yard, badge, form.text("name")).await?;
            Ok(Done::Said(format!("{badge} has that name now.")))
        }
        "add" => {
            let taken = yard.people.kept().people.get(badge).map(|person| person.name.clone());
            match taken.filter(|name| !name.is_empty()) {
                Some(name) => Err(Fault::cannot_read(format!(
                    "{badge} is {name} already. Take another badge for somebody new; a name is changed in its own line."
                ))),
                None => Ok(Done::Said(format!("{} is added.", rename(yard, badge, form.text("name")).await?))),
            }
        }
        "roles" => roles(yard, who, form).await,
        "symbol" => {
            let made = make_badge(yard, badge).await?;
            let kept = yard.people.kept();
            let name = kept.people.get(made.badge.as_str()).map(|person| person.name.clone()).unwrap_or_default();
            given(
                format!("Badge {}", made.badge),
                "Print it and give it to them: it is shown this once. Whoever has it signs in with it on every enrolled device. A lost one is ended by making another.",
                &made.symbol,
                format!("{} {name}", made.badge),
                Sheet::Badge,
            )
        }
        "invite" => {
            let made = make_invitation(yard, badge)?;
            given(
                format!("For {}", made.badge),
                "They type it at /set-up and choose their own password. It can be used once, until the time below.",
                &made.code,
                format!("until {}", time(yard, made.ends_at)),
                Sheet::Letters,
            )
        }
        "sign-out" => {
            let ended = end_sessions(yard, badge)?;
            let sessions = match ended.ended {
                1 => "1 session".to_owned(),
                count => format!("{count} sessions"),
            };
            let were = if ended.ended == 1 { "was" } else { "were" };
            Ok(Done::Said(format!("{sessions} of {} {were} ended.", ended.badge)))
        }
        "withdraw" => {
            let badge = withdraw(yard, badge).await?;
            Ok(Done::Said(format!(
                "The name of {badge} is withdrawn, and nothing signs in with that badge. Its roles are taken away by leaving all of them out."
            )))
        }
        "device" => device(yard, who, form),
        "token" => {
            let asked = TokenAsked {
                badge: badge.to_owned(),
                name: form.text("name").to_owned(),
                scopes: form.all("scopes", Scope::ALL, Scope::word),
                ends_at: None,
            };
            let issued = issue(yard, who, asked).await?;
            let says = "Copy it into the program: it is shown this once. It is sent as Authorization: Bearer, with every request.";
            given(format!("Token for {badge}"), says, &issued.token, format!("entry {}", issued.seq), Sheet::Letters)
        }
        "revoke-token" => {
            let body =
                json!({ "token": form.text("token"), "why": Some(form.text("why")).filter(|why| !why.is_empty()) });
            decide(yard, who, "revoke_token", &ThingName::new(Kind::Badge, &code(badge)?), &body).await?;
            Ok(Done::Said(format!("That token of {badge} opens nothing any more.")))
        }
        _ => Err(Fault::cannot_read("That button is not one of this page's. Open the page again.")),
    }
}

fn code(text: &str) -> Result<Code, Fault> {
    crate::http::people::code(text, "/badge", "badge")
}

async fn roles(yard: &web::Data<Yard>, who: &Who, form: &Form) -> Result<Done, Fault> {
    let badge = code(form.text("badge"))?;
    let roles = form.all("roles", Role::ALL, Role::word);
    let scopes = form.all("scopes", Scope::ALL, Scope::word);
    let scopes = if roles.contains(&Role::Integrator) { scopes } else { Vec::new() };
    let body = json!({ "roles": roles, "scopes": scopes });
    decide(yard, who, "grant_roles", &ThingName::new(Kind::Badge, &badge), &body).await?;
    Ok(Done::Said(match roles.is_empty() {
        true => format!("{badge} has no role any more."),
        false => format!("{badge} has its roles."),
    }))
}

fn device(yard: &web::Data<Yard>, who: &Who, form: &Form) -> Result<Done, Fault> {
    let what = DeviceIs::ALL.iter().copied().find(|what| what.word() == form.text("what"));
    let what = what.ok_or_else(|| Fault::cannot_read("Say what it is: a handheld, a tablet or a desk."))?;
    let place = Some(form.text("place").to_owned()).filter(|place| !place.is_empty());
    let made = new_device_code(yard, who, &DeviceAsked { device: form.text("device").to_owned(), what, place })?;
    let says = "Type or scan it on the device at /enrol, within 15 min. It can be used once.";
    given(
        format!("Enrol {}", made.device),
        says,
        &made.code,
        format!("until {}", time(yard, made.ends_at)),
        Sheet::Both,
    )
}

/// What is on the sheet that is printed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Sheet {
    /// A symbol and no letters: a badge is looked at by many.
    Badge,
    /// Both: a device may have no scanner yet.
    Both,
    Letters,
}

fn given(title: String, says: &str, letters: &str, under: String, sheet: Sheet) -> Result<Done, Fault> {
    let symbol = if sheet == Sheet::Letters { None } else { symbol::svg(letters, "the symbol to scan") };
    let page = GivenPage {
        assets: Assets::new(),
        title,
        says: says.to_owned(),
        letters: letters.to_owned(),
        on_paper: sheet != Sheet::Badge,
        symbol,
        under,
    };
    Ok(Done::Given(Box::new(page)))
}

fn time(yard: &Yard, at: Stamp) -> String {
    let now = yard.now();
    Say::of(View::new(&yard.read(), u64::MAX), now).time(at.at, now)
}
