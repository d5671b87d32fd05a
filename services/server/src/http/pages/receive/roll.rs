//! One roll of a delivery: received and put away with one scan, once however often it is scanned; and what the rolls
//! of a delivery come to.

use super::Delivery;
use crate::http::who::By;
use crate::http::{
    ask::ask,
    pages::{
        claim::{list, number},
        work::{self, Wish},
    },
    problems::Fault,
};
use crate::yard::Yard;
use domain::fact::What;
use domain::{Book, MayUseQuestion, When, fact::Label, opening::first_done, say::Say, view::View};
use serde_json::json;
use shared_types::{Act, Instant, MayUse, ThingName, Word};
use uuid::Uuid;

/// A roll of a delivery is written once, whatever is said of the delivery later.
const WORKED_OUT: &[&str] = &["material", "revision", "batch", "length_mm", "width_mm", "from", "opening", "into"];

/// What a scan came to.
pub(super) enum Scanned {
    /// The number of its receipt.
    Received(u64),
    /// It was received before, and nothing was written.
    Before,
    /// Its opening would leave out what was done with it already; in words. Nothing was written.
    OpenedTooLate(String),
}

/// An entry of this delivery about a roll: written before, or to be written.
struct Entry {
    go: String,
    written: bool,
}

/// A struck entry leaves its id behind, so the next one has another. So often it may be struck.
const MOST: usize = 50;

fn entry(book: &Book, delivery: &Delivery, roll: &ThingName, what: &str) -> Entry {
    let id = |go: &str| Uuid::new_v5(&delivery.id, format!("{roll} {go}").as_bytes());
    let mut tries = (1..=MOST).map(|turn| format!("{what} {turn}"));
    let state = |go: &str| {
        let seq = book.seq_of(&id(go)).and_then(|seq| u32::try_from(seq).ok());
        seq.and_then(|seq| book.entry(seq)).map(|meta| u64::from(meta.struck_by) <= book.last_seq())
    };
    let go = tries.find(|go| state(go) != Some(true)).unwrap_or_else(|| what.to_owned());
    let written = state(&go) == Some(false);
    Entry { go, written }
}

/// Receives a roll and puts it away. What is half written is completed.
pub(super) async fn receive(yard: &Yard, delivery: &Delivery, by: &By, roll: &ThingName) -> Result<Scanned, Fault> {
    let stopping = |_| Fault::went_wrong("The server is stopping. Scan it again.");
    let _one_at_a_time = yard.receipts.acquire().await.map_err(stopping)?;
    let (receipt, away, received, too_late) = ask(yard, |book| {
        let view = View::new(book, u64::MAX);
        let label = book.label(roll);
        let is_receipt = |what: &What| matches!(what, What::Received(received) if Some(received.roll) == label);
        let received = label.into_iter().flat_map(|label| view.facts(label)).any(|fact| is_receipt(&fact.what));
        let too_late = label.and_then(|label| opened_too_late(view, delivery, label, yard.now()));
        Ok((entry(book, delivery, roll, "received"), entry(book, delivery, roll, "put away"), received, too_late))
    })?;
    if let Some(say) = too_late.filter(|_| !received) {
        return Ok(Scanned::OpenedTooLate(say));
    }
    if received && (!receipt.written || away.written) {
        return Ok(Scanned::Before);
    }
    let write = |entry: Entry, kind, body| async move {
        work::write(
            yard,
            Wish { id: delivery.id, go: &entry.go, by, kind, thing: roll, shown: None, body, worked_out: WORKED_OUT },
        )
        .await
    };
    let body = json!({
        "material": delivery.material, "revision": delivery.revision, "batch": delivery.batch,
        "length_mm": delivery.length_mm, "width_mm": delivery.width_mm, "from": delivery.from,
        "opening": delivery.opening,
    });
    let seq = write(receipt, "roll_received", body).await?;
    write(away, "roll_put_away", json!({ "into": delivery.into })).await?;
    Ok(Scanned::Received(seq))
}

/// An opening holds what was before it: it is never as of later than what was done with the roll first.
fn opened_too_late(view: View<'_>, delivery: &Delivery, roll: Label, now: Instant) -> Option<String> {
    let as_of = delivery.opening.as_ref()?.as_of.at;
    let first = first_done(view, roll).filter(|first| *first < as_of)?;
    let (say, name) = (Say::of(view, now), view.book.name(roll).short());
    let (as_of, first) = (say.time(as_of, now), say.time(first, now));
    Some(format!(
        "{name} was not written: its out-time is as of {as_of}, but something was done with it {first} already. \
         Choose again, with its out-time as of then or before."
    ))
}

/// So many entries back the rolls of a delivery are looked for, and so long.
const BACK: usize = 20_000;
const BACK_MS: i64 = 24 * 3_600_000;

/// "6 rolls received. 4 can be used. 2 can't be said: ..".
pub(super) fn comes_to(book: &Book, delivery: &Delivery, when: When) -> Vec<String> {
    let view = View::new(book, when.known);
    let last = u32::try_from(book.last_seq()).unwrap_or(u32::MAX);
    let lately = (1..=last).rev().take(BACK).map_while(|seq| {
        book.entry(seq).filter(|meta| when.now.since(meta.recorded_at) < BACK_MS).map(|meta| (seq, meta))
    });
    let of_delivery = |roll: &ThingName, id: Uuid| {
        (1..=MOST).any(|turn| Uuid::new_v5(&delivery.id, format!("{roll} received {turn}").as_bytes()) == id)
    };
    let receipts = lately.filter(|(_, meta)| meta.kind == "roll_received" && last < meta.struck_by);
    let rolls = receipts.map(|(_, meta)| (book.name(meta.thing), meta.id)).filter(|(roll, id)| of_delivery(roll, *id));
    let mut rolls: Vec<&ThingName> = rolls.map(|(roll, _)| roll).collect();
    rolls.reverse();
    if rolls.is_empty() {
        return Vec::new();
    }
    let may = |roll: &&ThingName| {
        let question = MayUseQuestion { thing: (*roll).clone(), act: Act::TakeOut, job: None, stage: None, when };
        domain::may_use(view.book, &question).ok()
    };
    let answers: Vec<MayUse> = rolls.iter().filter_map(may).collect();
    let usable = answers.iter().filter(|may| may.answer <= Word::NotYet).count();
    let mut said = vec![format!("{} received. {usable} can be used.", number(rolls.len(), "roll"))];
    let mut tell = |what: &str, of: fn(&MayUse) -> bool| {
        let these: Vec<&MayUse> = answers.iter().filter(|may| of(may)).collect();
        let Some(first) = these.first() else { return };
        let mut names: Vec<&str> = these.iter().map(|may| may.thing.short()).take(6).collect();
        let more = format!("{} more", these.len().saturating_sub(6));
        if 6 < these.len() {
            names.push(&more);
        }
        said.push(format!("{} {what}: {}. {}", these.len(), list(&names), first.why));
    };
    tell("held", |may| !may.holds.is_empty() && Word::NotYet < may.answer);
    tell("can't be said yet", |may| may.holds.is_empty() && may.answer == Word::CannotSay);
    tell("not to be used", |may| may.holds.is_empty() && Word::No <= may.answer);
    said
}
