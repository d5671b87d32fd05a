//! The edge: a posted item is read once, here, and inside it is right by its type.

mod aside;
mod fits;
mod ids;
mod shape;
mod signs;
mod words;

use std::borrow::Cow;

use domain::Wish;
use serde_json::Value;
use shared_types::{
    Body, BodyError, Code, Entry, FieldProblem, Fingerprint, Instant, KnownBy, PostedDecision, PostedFact, Second,
    Shown, Strike, StrikeRequest, ThingName,
    catalogue::{Door, KINDS},
};
use uuid::Uuid;

use crate::fingerprint;

pub(crate) use aside::used_again;

/// Where in a text something could not be read, and what was expected.
pub(crate) fn unread(text: &str, error: &serde_json::Error) -> FieldProblem {
    words::problem(text, "", error)
}

/// The longest text in an item, in characters.
pub const MAX_TEXT_CHARS: usize = 2_000;
/// The deepest nesting of an item.
pub const MAX_DEPTH: usize = 32;
/// The longest item, in bytes.
pub const MAX_ITEM_BYTES: usize = 256 << 10;
/// The longest item of a device that is kept although nobody can read it, in bytes.
pub const MAX_ASIDE_BYTES: usize = 64 << 10;

/// A fact that waits to be written: whole but for its place in the log.
#[derive(Clone, Debug)]
pub struct NewFact {
    /// With `seq` 0 and `recorded_at` 0.
    pub entry: Entry,
    /// What a device sent, as it came.
    pub(crate) raw: Option<Box<str>>,
    /// Its line from `"id"` on.
    pub(crate) tail: Vec<u8>,
    /// By how much the clock of the device that sent it was ahead then (behind: negative), as far as that was measured.
    pub(crate) clock_ahead_ms: Option<i64>,
}

/// A decision that waits for the book to allow it.
#[derive(Clone, Debug)]
pub struct NewDecision {
    pub wish: Wish,
    pub fp: Fingerprint,
    pub shown: Option<Shown>,
    /// The enrolled device on which it was decided.
    pub(crate) device: Option<Code>,
}

/// Why an item can't be read: 400 `cannot-read`. Pointers start at the item.
#[derive(Clone, PartialEq, Debug)]
pub struct ItemProblem {
    /// The item's id, when it had one that could be read.
    pub id: Option<Uuid>,
    pub errors: Vec<FieldProblem>,
}

impl ItemProblem {
    /// The first problem in words alone, for a person who sees no fields.
    pub fn words(&self) -> String {
        self.errors.first().map_or_else(|| self.detail(), |problem| problem.detail.clone())
    }

    /// The first problem as a sentence.
    pub fn detail(&self) -> String {
        match self.errors.first() {
            Some(FieldProblem { pointer, detail }) if !pointer.is_empty() => format!("{pointer}: {detail}"),
            Some(FieldProblem { detail, .. }) => detail.clone(),
            None => "this can't be read".to_owned(),
        }
    }
}

impl ItemProblem {
    /// The same for people, who know no pointers.
    pub(crate) fn plain(&self) -> String {
        self.errors.first().map_or_else(|| self.detail(), |error| error.detail.clone())
    }
}

/// How the line of an entry begins that has no place in the log yet.
const NOWHERE: &[u8] = br#"{"seq":0,"recorded_at":"1970-01-01T00:00:00.000+00:00","#;

impl NewFact {
    /// The entry has no place in the log yet: `seq` 0, `recorded_at` 0, not told.
    pub(crate) fn new(entry: Entry, raw: Option<Box<str>>) -> serde_json::Result<NewFact> {
        let mut line = Vec::with_capacity(512);
        entry.write(&mut line)?;
        match line.starts_with(NOWHERE) {
            true => drop(line.drain(..NOWHERE.len())),
            false => return Err(serde::ser::Error::custom("the entry has a place already")),
        }
        Ok(NewFact { entry, raw, tail: line, clock_ahead_ms: None })
    }
}

/// Reads a fact as it is posted. What a device sends is never lost: when only its envelope can be read, it is kept
/// as `entry_set_aside`.
pub fn fact(raw: &str) -> Result<NewFact, ItemProblem> {
    let item = Item::read(raw)?;
    let read = item.clear().and_then(|()| item.fact()).and_then(|entry| {
        let raw = entry.device.is_some().then(|| Box::from(raw));
        NewFact::new(entry, raw).map_err(|error| item.problem("", error.to_string()))
    });
    read.or_else(|problem| aside::unread(raw, &item.value, &problem).ok_or(problem))
}

/// Reads a decision as it is posted.
pub fn decision(raw: &str) -> Result<NewDecision, ItemProblem> {
    let item = Item::read(raw)?;
    item.clear()?;
    item.decision()
}

/// An item as JSON: nulls dropped, ids spelt as we write them.
pub(crate) struct Item<'a> {
    text: Cow<'a, str>,
    pub(crate) value: Value,
}

impl<'a> Item<'a> {
    pub(crate) fn read(raw: &'a str) -> Result<Item<'a>, ItemProblem> {
        let broken =
            |detail: String| ItemProblem { id: None, errors: vec![FieldProblem { pointer: String::new(), detail }] };
        if raw.len() > MAX_ITEM_BYTES {
            return Err(broken(format!(
                "an item has at most {} KiB, this has {}",
                MAX_ITEM_BYTES >> 10,
                raw.len() >> 10
            )));
        }
        let value = serde_json::from_str(raw).map_err(|error| broken(format!("this is not JSON: {error}")))?;
        Ok(Item::of(Cow::Borrowed(raw), value))
    }

    /// The item's text and the same as a value.
    pub(crate) fn of(text: Cow<'a, str>, mut value: Value) -> Item<'a> {
        match fingerprint::holds_null(&value) || ids::differ(&value) {
            true => {
                fingerprint::drop_nulls(&mut value);
                ids::spell(&mut value);
                Item { text: Cow::Owned(value.to_string()), value }
            }
            false => Item { text, value },
        }
    }

    fn problem(&self, pointer: &str, detail: String) -> ItemProblem {
        self.problems(vec![FieldProblem { pointer: pointer.to_owned(), detail }])
    }

    fn problems(&self, errors: Vec<FieldProblem>) -> ItemProblem {
        let id = self.value.get("id").and_then(Value::as_str).and_then(|id| id.parse().ok());
        ItemProblem { id, errors }
    }

    /// Nothing in it can be taken for something else.
    fn clear(&self) -> Result<(), ItemProblem> {
        signs::unclear(&self.value).map_or(Ok(()), |problem| Err(self.problems(vec![problem])))
    }

    /// Reads the item as a fact, and sets nothing aside.
    pub(crate) fn fact(&self) -> Result<Entry, ItemProblem> {
        self.check_size()?;
        if let Some(decide) = self.value.get("decide") {
            return Err(self.problem("/decide", format!("{decide} is a decision: post it to /api/v1/decisions")));
        }
        let posted: PostedFact = serde_json::from_str(&self.text)
            .map_err(|error| self.problems(vec![words::problem(&self.text, "", &error)]))?;
        self.entry(posted, "", &self.value)
    }

    /// Reads the item as a decision.
    pub(crate) fn decision(&self) -> Result<NewDecision, ItemProblem> {
        self.check_size()?;
        if self.value.get("decide").is_none() && self.value.get("kind").is_some() {
            return Err(
                self.problem("/kind", "a fact is posted to /api/v1/entries; a decision says what to decide".into())
            );
        }
        let posted: PostedDecision = serde_json::from_str(&self.text)
            .map_err(|error| self.problems(vec![words::problem(&self.text, "", &error)]))?;
        let kind = Body::asked_by(&posted.decide).ok_or_else(|| self.problem("/decide", no_such(&posted.decide)))?;
        let (body, strikes, instead) = match posted.decide.as_str() {
            "strike" => self.strike(&posted)?,
            _ => (self.body(kind, posted.body.get(), "")?, None, None),
        };
        let wrong = fits::problems(&body, &posted.thing);
        if !wrong.is_empty() {
            return Err(self.problems(wrong));
        }
        if posted.second.as_ref().is_some_and(|second| second.by == ThingName::nobody().own_code()) {
            return Err(self.problem("/second/by", "? is nobody. Name the second person's badge.".to_owned()));
        }
        let wish = Wish {
            id: posted.id,
            thing: posted.thing,
            by: posted.by,
            by_known: KnownBy::Claimed,
            second: posted.second.map(claimed),
            based_on: posted.based_on,
            body,
            strikes,
            instead,
        };
        Ok(NewDecision { wish, fp: self.fingerprint(&self.value)?, shown: posted.shown, device: None })
    }

    fn strike(&self, posted: &PostedDecision) -> Result<(Body, Option<Uuid>, Option<Entry>), ItemProblem> {
        let text = posted.body.get();
        let request: StrikeRequest =
            serde_json::from_str(text).map_err(|error| self.problems(vec![words::problem(text, "/body", &error)]))?;
        let at = "/body/instead";
        let instead = match (request.instead, self.value.pointer(at)) {
            (Some(fact), Some(value)) => Some(self.entry(fact, at, value)?),
            (_, _) => None,
        };
        if instead.as_ref().is_some_and(|fact| fact.id == posted.id || fact.id == request.entry) {
            return Err(
                self.problem("/body/instead/id", "what stands instead is a new entry with an id of its own".into())
            );
        }
        let body = Body::EntryStruck(Strike { why: request.why, instead: instead.as_ref().map(|fact| fact.id) });
        Ok((body, Some(request.entry), instead))
    }

    fn entry(&self, posted: PostedFact, prefix: &str, value: &Value) -> Result<Entry, ItemProblem> {
        let door = door(&posted.kind);
        if let Some(Door::Decision(asked)) = door {
            let detail = format!("{} is a decision: ask for {asked} at /api/v1/decisions", posted.kind);
            return Err(self.problem(&format!("{prefix}/kind"), detail));
        }
        if door == Some(Door::Log) {
            return Err(self.problem(&format!("{prefix}/kind"), format!("only the log itself writes {}", posted.kind)));
        }
        let body = self.body(&posted.kind, posted.body.get(), prefix)?;
        let wrong = fits::problems(&body, &posted.thing);
        if !wrong.is_empty() {
            let under =
                |problem: FieldProblem| FieldProblem { pointer: format!("{prefix}{}", problem.pointer), ..problem };
            return Err(self.problems(wrong.into_iter().map(under).collect()));
        }
        let fp = self.fingerprint(value)?;
        Ok(new_entry(Envelope::of(posted), fp, body))
    }

    fn body(&self, kind: &str, text: &str, prefix: &str) -> Result<Body, ItemProblem> {
        Body::read(kind, text).map_err(|error| match error {
            BodyError::UnknownKind(_) => self.problem(&format!("{prefix}/kind"), error.to_string()),
            BodyError::Shape { source, .. } => {
                self.problems(vec![words::problem(text, &format!("{prefix}/body"), &source)])
            }
        })
    }

    fn fingerprint(&self, value: &Value) -> Result<Fingerprint, ItemProblem> {
        fingerprint::of(value).map_err(|error| self.problem("", error.to_string()))
    }

    /// Nothing is nested too deep, and no text is too long.
    fn check_size(&self) -> Result<(), ItemProblem> {
        if let Some(pointer) = shape::misplaced_list(&self.value) {
            return Err(self.problem(&pointer, "a list stands where none is expected: name the fields".to_owned()));
        }
        match oversize(&self.value, 1) {
            Some(problem) => Err(self.problems(vec![problem])),
            None => Ok(()),
        }
    }
}

/// Who says what happened to what, when: what both a readable and an unreadable fact have.
pub(crate) struct Envelope {
    pub(crate) id: Uuid,
    pub(crate) thing: shared_types::ThingName,
    pub(crate) by: Code,
    pub(crate) second: Option<Second>,
    pub(crate) device: Option<Code>,
    pub(crate) counter: Option<u64>,
    pub(crate) device_said: Option<shared_types::Stamp>,
    pub(crate) occurred_at: shared_types::Stamp,
    pub(crate) uncertain_by_ms: u32,
    pub(crate) shown: Option<Shown>,
}

impl Envelope {
    fn of(posted: PostedFact) -> Envelope {
        Envelope {
            id: posted.id,
            thing: posted.thing,
            by: posted.by,
            second: posted.second,
            device: posted.device,
            counter: posted.counter,
            device_said: posted.device_said,
            occurred_at: posted.occurred_at,
            uncertain_by_ms: posted.uncertain_by_ms.unwrap_or_default(),
            shown: posted.shown,
        }
    }
}

/// Over HTTP nobody has shown who they are: the person and the device are claimed.
pub(crate) fn new_entry(envelope: Envelope, fp: Fingerprint, body: Body) -> Entry {
    Entry {
        seq: 0,
        recorded_at: Instant(0),
        told: false,
        id: envelope.id,
        fp,
        thing: envelope.thing,
        by: envelope.by,
        by_known: KnownBy::Claimed,
        second: envelope.second.map(claimed),
        device_known: envelope.device.as_ref().map(|_| KnownBy::Claimed),
        device: envelope.device,
        counter: envelope.counter,
        device_said: envelope.device_said,
        occurred_at: envelope.occurred_at,
        uncertain_by_ms: envelope.uncertain_by_ms,
        shown: envelope.shown,
        based_on: None,
        strikes: None,
        body,
    }
}

fn claimed(second: Second) -> Second {
    Second { by: second.by, by_known: KnownBy::Claimed }
}

/// The door of a kind, named with or without its version.
fn door(kind: &str) -> Option<Door> {
    let plain = |name: &str| name.rsplit_once(".v").is_some_and(|(plain, _)| plain == kind);
    KINDS.iter().find(|(name, _)| *name == kind || plain(name)).map(|(_, door)| *door)
}

fn no_such(decide: &str) -> String {
    let asked = |door: &Door| if let Door::Decision(asked) = door { Some(*asked) } else { None };
    match door(decide).as_ref().and_then(asked) {
        Some(asked) => format!("ask for it in the imperative: {asked}"),
        None => {
            let decide: String = decide.chars().take(60).collect();
            let known: Vec<&str> = KINDS.iter().filter_map(|(_, door)| asked(door)).collect();
            format!("there is no decision {decide}; there are {}", known.join(", "))
        }
    }
}

/// The pointer is put together only on the way back from what was found: nearly always nothing is.
fn oversize(value: &Value, depth: usize) -> Option<FieldProblem> {
    let found = |detail: String| Some(FieldProblem { pointer: String::new(), detail });
    let within = |step: &str, problem: FieldProblem| {
        let pointer = format!("/{}{}", words::escape(step), problem.pointer);
        FieldProblem { pointer, ..problem }
    };
    match value {
        Value::Object(_) | Value::Array(_) if depth > MAX_DEPTH => {
            found(format!("this is nested more than {MAX_DEPTH} deep"))
        }
        Value::Object(members) => {
            members.iter().find_map(|(name, value)| oversize(value, depth + 1).map(|problem| within(name, problem)))
        }
        Value::Array(items) => items
            .iter()
            .enumerate()
            .find_map(|(at, value)| oversize(value, depth + 1).map(|problem| within(&at.to_string(), problem))),
        Value::String(text) if text.len() > MAX_TEXT_CHARS && text.chars().count() > MAX_TEXT_CHARS => {
            found(format!("a text has at most {MAX_TEXT_CHARS} characters"))
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => None,
    }
}

#[cfg(test)]
mod tests;
