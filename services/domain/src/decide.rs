//! Decisions: what the book can protect is refused, with the reason in plain words; the rest is written.

mod declared;
mod gives_back;
mod people;
mod second;
mod stands_on;

pub use gives_back::gives_back;
pub use stands_on::{names, stands_on};

use crate::book::Book;
use crate::fact::{Label, What};
use crate::history::Puzzle;
use crate::issue::may_issue;
use crate::mismatch;
use crate::puzzle::dated;
use crate::read::Named;
use crate::refusal::{Between, Refusal};
use crate::rights;
use crate::say::Say;
use crate::view::{Thought, View, WhatIf};
use crate::wish::Wish;
use second::{makers, needs_second};
use shared_types::{Batch, Body, Instant, Job, Kind, KnownBy, Settlement, ThingName};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Whether a wish may be written, at the time it would be recorded.
pub fn decide(book: &Book, wish: &Wish, at: Instant) -> Result<(), Refusal> {
    let view = View::new(book, u64::MAX);
    rights::allowed(view, wish)?;
    unchanged_since(book, wish)?;
    match &wish.body {
        Body::YardDeclared(yard) => declare_yard(view, wish, yard, at),
        Body::PlaceDeclared(place) => declare_place(view, wish, place, at),
        Body::MaterialRevised(revision) => revise_material(view, wish, revision),
        Body::BatchRegistered(batch) => register_batch(view, wish, batch),
        Body::JobOpened(job) => {
            let say = || format!("{} is open already: plan it again instead.", wish.thing.short());
            if opened(view, &wish.thing) { Err(Refusal::AlreadyThere { say: say() }) } else { plan_can_be(job) }
        }
        Body::JobReplanned(job) => {
            let say = || format!("Nobody has opened {}: open it first.", wish.thing.short());
            if opened(view, &wish.thing) { plan_can_be(job) } else { Err(Refusal::NotFound { say: say() }) }
        }
        Body::Issued(issue) => {
            let label = known(book, &wish.thing)?;
            if !opened(view, &ThingName::new(Kind::Job, &issue.job)) {
                return Err(Refusal::NotFound { say: format!("Nobody has opened {}: open it first.", issue.job) });
            }
            may_issue(view, label, &issue.job, at)
        }
        Body::HoldLifted(lift) => lift_hold(view, wish, lift.hold),
        Body::EntryStruck(_) => strike(view, wish, at),
        Body::FactConfirmed(confirm) => confirm_fact(view, wish, confirm.entry),
        Body::MismatchSettled(settle) => settle_mismatch(view, wish, settle, at),
        Body::RolesGranted(grant) => people::grant_roles(view, wish, grant),
        Body::DeviceEnrolled(_) => people::enrol_device(view, wish),
        Body::DeviceRevoked(_) => people::revoke_device(view, wish),
        Body::TokenIssued(token) => people::issue_token(view, wish, token, at),
        Body::TokenRevoked(revoke) => people::revoke_token(view, wish, revoke),
        _ => Ok(()),
    }
}

fn known(book: &Book, thing: &ThingName) -> Result<Label, Refusal> {
    book.label(thing).ok_or_else(|| Refusal::NotFound { say: crate::may_use::nobody(thing) })
}

fn opened(view: View<'_>, job: &ThingName) -> bool {
    view.book.label(job).is_some_and(|job| view.facts(job).any(|fact| matches!(fact.what, What::Planned(_))))
}

/// A revision never changes. One that rolls name already moves their answers, so a second person stands beside it.
fn revise_material(view: View<'_>, wish: &Wish, revision: &shared_types::Revision) -> Result<(), Refusal> {
    let (code, short) = (&revision.revision, wish.thing.short());
    let Some(material) = view.book.label(&wish.thing) else { return Ok(()) };
    if view.revision(material, code).is_some() {
        let say =
            format!("Revision {code} of {short} is entered already; a revision never changes. Enter the next one.");
        return Err(Refusal::AlreadyThere { say });
    }
    let names = |what: &What| matches!(what, What::Received(received) if received.material == material && received.revision == *code);
    let batches = view.book.labels().filter(|label| view.book.kind(*label) == Kind::Batch);
    let named = batches.into_iter().any(|batch| view.facts(batch).any(|fact| names(&fact.what)));
    let gives = named.then(|| format!("Rolls of {short} revision {code}, whose limits nobody knew, could be used"));
    needs_second(view, wish, &[], gives.into_iter().collect())
}

/// A batch is registered once. A certificate that came later may be added to it: the earliest day of all counts, so that
/// nothing is given back.
fn register_batch(view: View<'_>, wish: &Wish, said: &Batch) -> Result<(), Refusal> {
    let short = wish.thing.short();
    let Some(batch) = view.book.label(&wish.thing) else { return Ok(()) };
    let known: Vec<&Batch> = view.registrations(batch).collect();
    let adds = |known: &Batch| known.made_on == said.made_on && known.certificate_ends != said.certificate_ends;
    if !known.is_empty() && (said.certificate_ends.is_none() || !known.iter().all(|known| adds(known))) {
        let say = format!(
            "Batch {short} is registered already. Strike that entry first if it is wrong; a certificate that came later is added \
             with the same day of making."
        );
        return Err(Refusal::AlreadyThere { say });
    }
    let received = view.facts(batch).any(|fact| matches!(fact.what, What::Received(_)));
    let gives = (received && known.is_empty())
        .then(|| format!("Rolls of batch {short}, whose dates nobody knew, could be used"));
    needs_second(view, wish, &[], gives.into_iter().collect())
}

/// Something came between the answer that somebody looked at and this wish.
fn unchanged_since(book: &Book, wish: &Wish) -> Result<(), Refusal> {
    let based_on = wish.based_on.ok_or(Refusal::BasedOnMissing)?;
    let last = book.last_seq();
    if last < based_on {
        return Err(Refusal::BasedOnAhead { based_on, last });
    }
    let seen = u32::try_from(based_on).unwrap_or(u32::MAX);
    let changed: Vec<Label> = stands_on(book, wish)
        .iter()
        .filter_map(|thing| book.label(thing))
        .filter(|label| seen < book.last_named(*label))
        .collect();
    if changed.is_empty() {
        return Ok(());
    }
    // Looked for among what is kept with those things, not in the whole log: it may have grown by a million entries.
    let facts = changed.iter().flat_map(|label| book.all_facts(*label));
    let of_fact = facts.flat_map(|fact| {
        let acts = book.acts_on(fact.seq).iter().flat_map(|act| [act.seq, act.struck_by]);
        [fact.seq, fact.struck_by].into_iter().chain(acts)
    });
    let came: BTreeSet<u32> = of_fact.filter(|seq| seen < *seq).collect();
    let names = |seq: &u32| book.kept_under(*seq).iter().any(|label| changed.contains(label));
    let between = came.into_iter().filter(names).filter_map(|seq| Some((seq, book.entry(seq)?)));
    let between = between.map(|(seq, meta)| Between {
        seq: u64::from(seq),
        kind: meta.kind.to_owned(),
        thing: book.name(meta.thing).clone(),
    });
    Err(Refusal::ChangedMeanwhile { based_on, between: between.take(20).collect() })
}

fn plan_can_be(job: &Job) -> Result<(), Refusal> {
    let refuse = |pointer: &str, detail: &str| {
        Err(Refusal::CannotRead { pointer: pointer.to_owned(), detail: detail.to_owned() })
    };
    match (job.stages.is_empty(), job.oven_at.at < job.lay_at.at) {
        (true, _) => refuse("/body/stages", "Name at least one lay-up stage."),
        (_, true) => {
            refuse("/body/oven_at", "The oven starts before the last ply is down: plan lay_at before oven_at.")
        }
        (false, false) => Ok(()),
    }
}

fn declare_yard(view: View<'_>, wish: &Wish, yard: &shared_types::Yard, at: Instant) -> Result<(), Refusal> {
    if yard.zone.parse::<chrono_tz::Tz>().is_err() {
        let detail =
            format!("\"{}\" is no zone: name one as Europe/Lisbon.", yard.zone.chars().take(60).collect::<String>());
        return Err(Refusal::CannotRead { pointer: "/body/zone".to_owned(), detail });
    }
    let gives = view.yard(at).map_or(Vec::new(), |old| declared::yard_gives(old, yard));
    needs_second(view, wish, &[], gives)
}

/// A place that becomes colder on paper gives back to everything that was there.
fn declare_place(view: View<'_>, wish: &Wish, place: &shared_types::Place, at: Instant) -> Result<(), Refusal> {
    let Some(label) = view.book.label(&wish.thing) else { return Ok(()) };
    let from = place.effective_from.map_or(at, |from| from.at);
    needs_second(view, wish, &[], declared::place_gives(wish.thing.short(), view.place(label, from), place))
}

fn lift_hold(view: View<'_>, wish: &Wish, hold: Uuid) -> Result<(), Refusal> {
    let not_found = || Refusal::NotFound { say: format!("{} has no hold {hold}. Look at what holds it.", wish.thing) };
    let seq = view.book.seq_of(&hold).and_then(|seq| u32::try_from(seq).ok()).ok_or_else(not_found)?;
    let meta = view.book.entry(seq).ok_or_else(not_found)?;
    let makes_a_hold =
        |what: &What| matches!(what, What::RunInterrupted { .. } | What::RunEnded { cured: Some(false), .. });
    let by_rule = view.facts(meta.thing).any(|fact| fact.seq == seq && makes_a_hold(&fact.what));
    let on = view.book.label(&wish.thing).ok_or_else(not_found)?;
    if !by_rule && (meta.kind != "hold_placed" || meta.thing != on) || meta.struck_by != crate::fact::NEVER {
        return Err(not_found());
    }
    if view.lifted_at(seq).is_some() {
        return Err(Refusal::AlreadyThere { say: "That hold is lifted already.".to_owned() });
    }
    needs_second(view, wish, &makers(view, seq), vec![format!("A hold on {} would be gone", wish.thing.short())])
}

fn strike(view: View<'_>, wish: &Wish, at: Instant) -> Result<(), Refusal> {
    let not_found = || Refusal::NotFound {
        say: "No entry has that id. Look at the thing's history and name one of its entries.".to_owned(),
    };
    let seq = wish
        .strikes
        .and_then(|id| view.book.seq_of(&id))
        .and_then(|seq| u32::try_from(seq).ok())
        .ok_or_else(not_found)?;
    let meta = view.book.entry(seq).ok_or_else(not_found)?;
    if *view.book.name(meta.thing) != wish.thing {
        let detail = format!("That entry is about {}: strike it there.", view.book.name(meta.thing));
        return Err(Refusal::CannotRead { pointer: "/thing".to_owned(), detail });
    }
    if meta.struck_by != crate::fact::NEVER {
        return Err(Refusal::AlreadyThere {
            say: format!("Entry {seq} is struck already, by entry {}.", meta.struck_by),
        });
    }
    if let Some(say) = rights::never_struck(meta.of) {
        return Err(Refusal::CannotBeUsed { say: say.to_owned() });
    }
    let instead = wish.instead.as_ref().map(|entry| thought_of(view.book, entry, at));
    let what_if = WhatIf { strikes: Some(seq), instead, ..WhatIf::default() };
    let mut labels = view.book.kept_under(seq);
    labels.extend(what_if.instead.iter().flat_map(|(_, labels)| labels.iter().copied()));
    let mut gives = gives_back(view, &what_if, &labels, at);
    gives.extend(declared::striking_gives(view, &what_if, seq));
    let replaced =
        wish.instead.as_ref().is_some_and(|new| new.thing == wish.thing && new.body.plain_kind() == meta.kind);
    gives.extend(stands_on_it(view, seq).filter(|_| !replaced));
    gives.extend(second::untold(view, wish));
    let mut rests_on = makers(view, seq);
    rests_on.extend(wish.instead.as_ref().map(|instead| instead.by.clone()).filter(|by| *by != wish.by));
    needs_second(view, wish, &rests_on, gives)
}

/// What carries the limits themselves can't be taken away by one alone: what stands on it would be judged without it,
/// and written again it would begin anew.
fn stands_on_it(view: View<'_>, seq: u32) -> Option<String> {
    let meta = view.book.entry(seq)?;
    let name = view.book.name(meta.thing);
    let received = |label: Label| {
        view.facts(label).filter(|fact| matches!(fact.what, What::Received(_)) && fact.seq != seq).count() > 0
    };
    let carries = match meta.kind {
        // Of two receipts the other still binds.
        "roll_received" => !received(meta.thing),
        "nest_cut" | "plies_laid" | "layup_completed" | "material_revised" | "yard_declared" => true,
        "batch_registered" => received(meta.thing),
        // Nobody knows its limits, so nobody can reckon what this would give back.
        _ => name.kind() == Kind::Roll && !received(meta.thing),
    };
    carries.then(|| format!("What stands on this entry of {} would be judged without it", name.short()))
}

/// A fact that is only thought of: things nobody knows yet get labels beyond the book's.
fn thought_of(book: &Book, entry: &shared_types::Entry, at: Instant) -> (crate::fact::Fact, Vec<Label>) {
    // It would be written now.
    let entry = &shared_types::Entry { recorded_at: at, ..entry.clone() };
    let mut new: Vec<ThingName> = Vec::new();
    let mut mention = |named: Named<'_>| {
        let name = named.name();
        book.label(&name).unwrap_or_else(|| {
            let at = new.iter().position(|other| *other == name).unwrap_or_else(|| {
                new.push(name);
                new.len() - 1
            });
            u32::try_from(book.things() + at).unwrap_or(u32::MAX)
        })
    };
    let thing = mention(Named::Thing(&entry.thing));
    let by = mention(Named::Code(Kind::Badge, &entry.by));
    let device = entry.device.as_ref().map(|code| mention(Named::Code(Kind::Device, code)));
    let mut labels = vec![thing];
    let what = crate::read::what(entry, thing, 0, &mut mention, &mut labels);
    let seq = u32::try_from(book.last_seq() + 1).unwrap_or(u32::MAX - 1);
    let second = rights::second_counts(View::new(book, u64::MAX), entry);
    (crate::read::fact(entry, seq, by, device, (what, second)), labels)
}

fn confirm_fact(view: View<'_>, wish: &Wish, entry: Uuid) -> Result<(), Refusal> {
    let not_found =
        || Refusal::NotFound { say: "No entry has that id. Name one of those that wait to be confirmed.".to_owned() };
    let seq = view.book.seq_of(&entry).and_then(|seq| u32::try_from(seq).ok()).ok_or_else(not_found)?;
    let meta = view.book.entry(seq).ok_or_else(not_found)?;
    let fact = view.facts(meta.thing).find(|fact| fact.seq == seq).ok_or_else(not_found)?;
    if *view.book.name(meta.thing) != wish.thing {
        let detail = format!("That entry is about {}: confirm it there.", view.book.name(meta.thing));
        return Err(Refusal::CannotRead { pointer: "/thing".to_owned(), detail });
    }
    if !view.waits(fact) {
        return Err(Refusal::AlreadyThere {
            say: format!("Entry {seq} does not wait for anybody: nothing is to be confirmed."),
        });
    }
    let maker = view.book.code(meta.by);
    let gives = || vec![format!("{} may get back life", wish.thing.short())];
    // Whoever only said that it was somebody else's fact would confirm it alone.
    let may_be_anybodys = rights::counts(view) && meta.by_known == KnownBy::Claimed;
    match (wish.by == maker, wish.second_person()) {
        (false, None) if !may_be_anybodys => Ok(()),
        (true, None) => {
            let say = format!("{maker} made this entry: another badge must confirm it.");
            Err(Refusal::NeedsSecondPerson { say, gives_back: gives() })
        }
        (false, None) => {
            let say = format!("Nobody showed that it was {maker} who made this entry: two badges must confirm it.");
            Err(Refusal::NeedsSecondPerson { say, gives_back: gives() })
        }
        (false, Some(_)) if !may_be_anybodys => Ok(()),
        (_, Some(_)) => needs_second(view, wish, &[maker], gives()),
    }
}

/// A time after the scan it settles, or a thing that nobody received, settles nothing.
fn can_be(view: View<'_>, thing: Label, seq: u32, (puzzle, answer): (Puzzle, &Settlement)) -> Result<(), Refusal> {
    let Some(scan) = view.facts(thing).find(|fact| fact.seq == seq).map(|fact| fact.latest()) else { return Ok(()) };
    let named = match answer {
        Settlement::Other(other) => view.book.label(other),
        _ => None,
    };
    if crate::history::can_be(view, puzzle, scan, (answer, named)) {
        return Ok(());
    }
    let (pointer, detail) = match answer {
        Settlement::Other(other) => {
            ("other", format!("{} Name one that is there, or receive it first.", crate::may_use::nobody(other)))
        }
        other => {
            let pointer = if matches!(other, Settlement::OutSince(_)) { "out_since" } else { "put_away_at" };
            let scan = dated(scan, &Say::of(view, scan));
            (pointer, format!("The scan was {scan}: name a time that is not after it."))
        }
    };
    Err(Refusal::CannotRead { pointer: format!("/body/answer/{pointer}"), detail })
}

fn settle_mismatch(view: View<'_>, wish: &Wish, settle: &shared_types::Settle, at: Instant) -> Result<(), Refusal> {
    let name = &settle.mismatch;
    let not_found = || Refusal::NotFound {
        say: format!("{}: that entry has no question about {}. Look again.", wish.thing, mismatch::words(&name.kind)),
    };
    let label = known(view.book, &wish.thing)?;
    let seq = view.book.seq_of(&name.entry).and_then(|seq| u32::try_from(seq).ok()).ok_or_else(not_found)?;
    let arises = mismatch::of_thing(view, label, Some(seq)).into_iter().any(|one| one.kind == name.kind);
    if !arises {
        return Err(not_found());
    }
    if !mismatch::answer_fits(&name.kind, &settle.answer) {
        let detail = format!("That answer can't settle {}.", mismatch::words(&name.kind));
        return Err(Refusal::CannotRead { pointer: "/body/answer".to_owned(), detail });
    }
    let other = match &settle.answer {
        Settlement::Other(other) if other.kind() != wish.thing.kind() || *other == wish.thing => {
            let detail = format!("Name another {} than {}.", wish.thing.kind(), wish.thing.short());
            return Err(Refusal::CannotRead { pointer: "/body/answer/other".to_owned(), detail });
        }
        // One that nobody knows yet gets the label it would have.
        Settlement::Other(other) => view.book.label(other).or_else(|| u32::try_from(view.book.things()).ok()),
        _ => None,
    };
    if let Some(puzzle) = mismatch::puzzle_named(&name.kind) {
        can_be(view, label, seq, (puzzle, &settle.answer))?;
    }
    let what_if = WhatIf {
        settles: Some(Thought { thing: label, on: seq, kind: name.kind.clone(), answer: settle.answer.clone(), other }),
        ..WhatIf::default()
    };
    // An earlier answer may have given the fact to another thing, which this one takes it away from.
    let labels: Vec<Label> = [label].into_iter().chain(other).chain(view.book.kept_under(seq)).collect();
    let mut gives = gives_back(view, &what_if, &labels, at);
    // What is no question of where a thing was changes no limit: it is laid to rest in words, by two.
    if mismatch::puzzle_named(&name.kind).is_none() {
        if settle.why.as_ref().is_none_or(|why| why.trim().is_empty()) {
            let detail = format!("Say why it is settled: {}.", mismatch::words(&name.kind));
            return Err(Refusal::CannotRead { pointer: "/body/why".to_owned(), detail });
        }
        let what = mismatch::words(&name.kind);
        gives.push(format!("{} would no longer show {what}", wish.thing.short()));
    }
    needs_second(view, wish, &makers(view, seq), gives)
}
