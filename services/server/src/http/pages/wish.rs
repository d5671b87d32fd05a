//! A decision as a page asks for it: what is chosen stands in the address, the effect is shown before it is saved, and
//! a form that is sent twice writes once.

use super::{
    again::Meant,
    assets::Assets,
    badge,
    effect::{Effect, effect},
    foot::Foot,
    page, see,
};
use crate::http::{
    ask::{ask, beside},
    dry_run,
    fallback::in_a_path,
    problems::{Fault, Kind},
    refusals::{Stored, stored},
    who::{self, By},
    written,
};
use crate::{committer::Outcome, intake, yard::Yard};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, web};
use askama::Template;
use domain::{When, say::Say, view::View};
use serde_json::{Value, json};
use shared_types::{Code, KnownBy, Second, ThingName};
use uuid::Uuid;

pub(super) use super::chosen::{Choice, Chosen, Draft, Field};

#[derive(Template)]
#[template(path = "wish.html")]
pub(super) struct WishPage {
    assets: Assets,
    foot: Foot,
    pub(super) title: String,
    /// What stands above its fields.
    pub(super) asks: &'static str,
    /// What it is about.
    pub(super) lead: Vec<String>,
    pub(super) address: String,
    pub(super) about: Option<ThingName>,
    chosen: Chosen,
    pub(super) choices: Vec<Choice>,
    pub(super) fields: Vec<Field>,
    /// Fields of several lines.
    pub(super) areas: Vec<Field>,
    /// What goes along unseen.
    pub(super) kept: Vec<(&'static str, String)>,
    /// What is wrong with which field.
    pub(super) faults: Vec<(&'static str, String)>,
    /// Where to go when it is written; the thing's own page if nowhere else.
    pub(super) then: Option<String>,
    problem: Option<String>,
    /// What came between.
    between: Vec<String>,
    effect: Option<Effect>,
    badge: Option<String>,
    signs_in: bool,
    /// Who is signed in, where people sign in.
    signed_in: Option<By>,
    /// The second person's, as it was typed, or who stands beside in this sitting.
    second: String,
}

impl WishPage {
    pub(super) fn new(yard: &Yard, request: &HttpRequest, chosen: Chosen) -> WishPage {
        let when = When::now(yard.now());
        WishPage {
            assets: Assets::new(),
            foot: Foot::of(yard, View::new(&yard.read(), when.known), when),
            title: String::new(),
            asks: "What was it?",
            lead: Vec::new(),
            address: String::new(),
            about: None,
            chosen,
            choices: Vec::new(),
            fields: Vec::new(),
            areas: Vec::new(),
            kept: Vec::new(),
            faults: Vec::new(),
            then: None,
            problem: None,
            between: Vec::new(),
            effect: None,
            badge: badge::remembered(request).map(|badge| badge.to_string()),
            signed_in: badge::remembered(request).filter(|_| badge::signs_in(request)),
            second: badge::beside(request, yard).map(|second| second.by.to_string()).unwrap_or_default(),
            signs_in: badge::signs_in(request),
        }
    }

    /// Whether anything can be asked for here.
    pub(super) fn is_open(&self) -> bool {
        !self.choices.is_empty() || !self.fields.is_empty() || !self.areas.is_empty()
    }

    /// What was chosen goes on into the form that saves it.
    fn carried(&self) -> Vec<(&'static str, &str)> {
        let said = &self.chosen;
        let all = [
            ("choice", &said.choice),
            ("other", &said.other),
            ("at", &said.at),
            ("minutes", &said.minutes),
            ("why", &said.why),
            ("number", &said.number),
            ("thing", &said.thing),
            ("lift", &said.lift),
        ];
        let own = self.fields.iter().chain(&self.areas).filter(|field| all.iter().all(|(name, _)| *name != field.name));
        let kept = self.kept.iter().map(|(name, value)| (*name, value));
        let own = own.map(|field| (field.name, &field.value)).chain(kept);
        let said = all.iter().copied().chain(own);
        said.filter(|(_, value)| !value.is_empty()).map(|(name, value)| (name, value.as_str())).collect()
    }

    /// What is wrong with a field, to stand beside it.
    fn fault(&self, name: &str) -> Option<&str> {
        self.faults.iter().find(|(of, _)| *of == name).map(|(_, say)| say.as_str())
    }

    /// The form has no field of its own for the thing.
    fn carries_thing(&self) -> bool {
        !self.chosen.thing.is_empty() && self.fields.iter().all(|field| field.name != "thing")
    }

    /// Where a page with the same that asks again begins.
    fn about_address(&self) -> Option<String> {
        self.about.as_ref().map(|thing| format!("/thing/{}", in_a_path(thing)))
    }
}

/// Shows the page; with the effect, when it is clear what is asked for.
pub(super) async fn show(
    yard: &web::Data<Yard>,
    mut shown: WishPage,
    draft: Option<Result<Draft, String>>,
) -> Result<HttpResponse, Fault> {
    match draft {
        None => {}
        Some(Err(problem)) => shown.problem = Some(problem),
        Some(Ok(draft)) => {
            let (id, based_on) = (yard.clock.new_id(), yard.read().last_seq());
            weigh(yard, &mut shown, &draft, id, based_on).await?;
        }
    }
    let wrong = shown.problem.is_some() || !shown.faults.is_empty();
    page(if wrong { StatusCode::BAD_REQUEST } else { StatusCode::OK }, &shown)
}

/// What it would change, with the form that saves it; or what stands against it.
async fn weigh(
    yard: &web::Data<Yard>,
    shown: &mut WishPage,
    draft: &Draft,
    id: Uuid,
    based_on: u64,
) -> Result<(), Fault> {
    let by = match &shown.signed_in {
        Some(by) => by.clone(),
        None => {
            let typed = shown.badge.as_deref().and_then(|badge| Code::new(badge).ok());
            By::claimed(typed.unwrap_or_else(|| ThingName::nobody().own_code()))
        }
    };
    let wish = match intake::decision(&text(draft, id, &by, None, based_on)) {
        Ok(wish) => by.vouch_decision(wish, KnownBy::Claimed),
        Err(problem) => {
            shown.problem = Some(crate::http::say::sentence(&problem.plain()));
            return Ok(());
        }
    };
    match dry_run::weigh(yard, wish.into()).await {
        Err(fault) if fault.status().is_server_error() => return Err(fault),
        Err(fault) => shown.problem = Some(for_people(&fault)),
        Ok(found) => {
            let now = yard.now();
            let say = ask(yard, |book| Ok(Say::of(View::new(book, u64::MAX), now)))?;
            shown.effect = Some(effect(&found, &say, now, id, based_on));
        }
    }
    Ok(())
}

/// What stands against it, without the words of programs.
fn for_people(fault: &Fault) -> String {
    let gives =
        fault.problem().more.get("gives_back").and_then(Value::as_array).filter(|_| fault.is(Kind::NeedsSecondPerson));
    match gives {
        Some(gives) => {
            let gives: Vec<&str> = gives.iter().filter_map(Value::as_str).collect();
            let gives = gives.join("; ");
            format!(
                "{gives}: a second person must stand beside it. Scan the other badge into the form. Nothing was written yet."
            )
        }
        None => fault.problem().detail.clone(),
    }
}

/// Writes it, and goes to the thing's page, which says what was written; or shows the page again with what stands
/// against it.
pub(super) async fn save(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    mut shown: WishPage,
    draft: Result<Draft, String>,
) -> Result<HttpResponse, Fault> {
    let written = match &draft {
        Err(problem) => Err(Fault::cannot_read(problem.clone())),
        Ok(draft) => write(request, yard, &shown.chosen, draft).await.map(|seq| (seq, draft.thing.clone())),
    };
    match written {
        Ok(((seq, again, by), thing)) => {
            let again = if again { "&again=1" } else { "" };
            let then = shown.then.unwrap_or_else(|| format!("/thing/{}", in_a_path(&thing)));
            let more = if then.contains('?') { '&' } else { '?' };
            let mut back = see(&format!("{then}{more}done={seq}{again}"));
            badge::remember(request, &mut back, &by)?;
            Ok(back)
        }
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => {
            let sits = badge::beside(request, yard).map(|second| second.by.to_string());
            shown.second = sits.unwrap_or_else(|| badge::typed_second(&shown.chosen.second));
            shown.badge = Some(shown.chosen.by.trim().to_owned()).filter(|by| !by.is_empty()).or(shown.badge);
            // What only wants another badge is saved from the same form: nothing that was entered is lost.
            if let (Ok(draft), Some(id), Some(based_on)) = (&draft, shown.chosen.id, shown.chosen.based_on)
                && matches!(fault.status(), StatusCode::FORBIDDEN | StatusCode::BAD_REQUEST)
            {
                weigh(yard, &mut shown, draft, id, based_on).await?;
            }
            let problem = fault.problem();
            shown.problem = Some(for_people(&fault));
            let came = problem.more.get("between").and_then(Value::as_array).cloned().unwrap_or_default();
            let text = |one: &Value, name: &str| one.get(name).and_then(Value::as_str).unwrap_or_default().to_owned();
            let words = |one: &Value| {
                let seq = one.get("seq").and_then(Value::as_u64).unwrap_or_default();
                format!("Entry {seq}: {}, {}", domain::say::entry_kind(&text(one, "kind")), text(one, "thing"))
            };
            shown.between = came.iter().map(words).collect();
            page(fault.status(), &shown)
        }
    }
}

/// The entry's number, whether it had been written before, and whose badge it was.
async fn write(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    chosen: &Chosen,
    draft: &Draft,
) -> Result<(u64, bool, By), Fault> {
    let (by, second) = badges(request, yard, chosen).await?;
    let unread = || Fault::cannot_read("The form came without its number. Open the page again.");
    let (id, based_on) = (chosen.id.ok_or_else(unread)?, chosen.based_on.ok_or_else(unread)?);
    let (seq, again) = submit(yard, draft, id, &by, second.as_ref(), based_on).await?;
    Ok((seq, again, by))
}

/// The badge that is typed or remembered, and the second person's. Where people sign in, it is who did, and who shows here or
/// showed before in this sitting that they stand beside.
pub(super) async fn badges(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    chosen: &Chosen,
) -> Result<(By, Option<Second>), Fault> {
    let badge = |text: &str| {
        Code::new(text)
            .map_err(|_| Fault::cannot_read("That is no badge code. Scan the badge again, or type what stands on it."))
    };
    let typed = Some(chosen.second.trim()).filter(|text| !text.is_empty());
    if badge::signs_in(request) {
        let by = badge::remembered(request).ok_or_else(|| who::not_signed_in(None))?;
        let second = match typed {
            Some(typed) => Some(badge::stands_beside(request, yard, typed).await?),
            None => badge::beside(request, yard),
        };
        return Ok((by, second));
    }
    let by = match chosen.by.trim() {
        "" => badge::remembered(request)
            .ok_or_else(|| Fault::cannot_read("Say who it is: scan your badge into the form."))?,
        text => By::claimed(badge(text)?),
    };
    let second = typed.map(badge).transpose()?.map(|by| Second { by, by_known: KnownBy::Claimed });
    Ok((by, second))
}

pub(super) async fn submit(
    yard: &web::Data<Yard>,
    draft: &Draft,
    id: Uuid,
    by: &By,
    second: Option<&Second>,
    based_on: u64,
) -> Result<(u64, bool), Fault> {
    let wish = intake::decision(&text(draft, id, by, second.map(|second| &second.by), based_on))
        .map_err(|problem| Fault::cannot_read(crate::http::say::sentence(&problem.words())))?;
    let wish = by.vouch_decision(wish, second.map(|second| second.by_known).unwrap_or_default());
    let meant = Meant::of(&wish.wish.thing, &wish.wish.body, wish.wish.strikes, &[])?;
    let instead = wish.wish.instead.clone();
    let outcome = yard.committer.submit(wish).await;
    written::refused_by(yard, by, draft.decide, &outcome).await;
    match outcome {
        // The same form, sent again with another badge: what was written first stands.
        Outcome::IdReused { line } => {
            let entry = meant.same(&line)?;
            if let Some(instead) = instead {
                let meant = Meant::of(&instead.thing, &instead.body, None, &[])?.at(instead.occurred_at);
                if let Some(seq) = ask(yard, |book| Ok(book.seq_of(&instead.id)))? {
                    meant.same(&stored_line(yard, seq).await?)?;
                }
            }
            Ok((entry.seq, true))
        }
        outcome => Ok(match stored(outcome)? {
            Stored::Now(written) => (written.seq, false),
            Stored::Before(entry) => (entry.seq, true),
        }),
    }
}

async fn stored_line(yard: &web::Data<Yard>, seq: u64) -> Result<Vec<u8>, Fault> {
    let reader = yard.reader.clone();
    let unread = move |_| Fault::went_wrong(format!("Entry {seq} could not be read from the disk."));
    beside(move || reader.line(seq).map_err(unread)).await
}

fn text(draft: &Draft, id: Uuid, by: &Code, second: Option<&Code>, based_on: u64) -> String {
    let mut body = draft.body.clone();
    // What stands instead is a fact of its own; its id follows from the form's, so that it is written once too.
    if let Some(instead) = body.get_mut("instead").and_then(Value::as_object_mut) {
        instead.insert("id".to_owned(), json!(Uuid::new_v5(&id, b"instead")));
        instead.insert("by".to_owned(), json!(by));
    }
    let second = second.map(|second| json!({ "by": second }));
    json!({ "id": id, "decide": draft.decide, "thing": draft.thing, "by": by, "second": second, "based_on": based_on,
            "body": body })
    .to_string()
}

/// A time as typed, in the yard's zone unless it says otherwise.
pub(super) fn time(yard: &Yard, text: &str) -> Result<shared_types::Stamp, String> {
    let zone = ask(yard, |book| Ok(Say::of(View::new(book, u64::MAX), yard.now()).zone))
        .map_err(|fault| fault.problem().detail.clone())?;
    if text.trim().is_empty() {
        return Err("Say when it was, such as 2026-05-04 06:00.".to_owned());
    }
    crate::import::words::time_in(zone, text).map_err(|error| crate::http::say::sentence(&error))
}

/// Why, in words: never left out.
pub(super) fn why(chosen: &Chosen) -> Result<String, String> {
    match chosen.why.trim() {
        "" => Err("Say why.".to_owned()),
        why => Ok(why.to_owned()),
    }
}
