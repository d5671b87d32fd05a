//! "May I use it?" The worst word that applies wins: stop, no, can't say, yes.

use crate::against::{Against, tests};
use crate::book::Book;
use crate::deadlines::{Bound, Deadlines, deadlines};
use crate::fact::Label;
use crate::guard::guarded;
use crate::history::Found;
use crate::limits::{At, Limit, LimitState};
use crate::plan::{PlanAnswer, against_plan};
use crate::question::{MayUseQuestion, NotAsked, When};
use crate::roll::Missing;
use crate::rows::{missing_words, rows};
use crate::say::{Say, left, limit};
use crate::subject::{Subject, subject};
use crate::view::View;
use crate::wording::{RETURN_ENDS_IT, kept_words, why_yes, yes, yes_for};
use crate::{RULES, puzzle};
use shared_types::{Act, HoldView, Instant, Kind, LimitName, MayUse, Outlook, StageName, ThingName, Word};

/// What was weighed for an answer; the issue of a roll to a job is decided on the same.
pub(crate) struct Weighed<'b> {
    pub read: At<'b>,
    pub say: Say,
    pub subject: Subject,
    pub against: Vec<Against>,
    pub deadlines: Deadlines,
    pub plan: Option<PlanAnswer>,
    pub spare_ms: i64,
}

pub fn may_use(book: &Book, question: &MayUseQuestion) -> Result<MayUse, NotAsked> {
    let view = View::new(book, question.when.known);
    let label = book.label(&question.thing).ok_or_else(|| NotAsked::UnknownThing(nobody(&question.thing)))?;
    let answered = guarded(|| Ok(answer(view, label, question, weigh(view, label, question)?)));
    let answered = answered.unwrap_or_else(|| Ok(unreadable(view, label, question)))?;
    Ok(match clock_doubt(view, question.when) {
        Some(why) => in_doubt(answered, why),
        None => answered,
    })
}

/// Why nothing can be said as of now. What is asked as of another time names that itself.
pub(crate) fn clock_doubt(view: View<'_>, when: When) -> Option<String> {
    let doubt = view.book.clock_doubt.as_ref().filter(|_| when.at == when.now)?;
    let call = Say::of(view, when.at).call;
    Some(format!("{doubt} What is counted from the time can't be said before somebody has looked at it: call {call}."))
}

/// The same answer while nobody knows what time it is: what is held stays held, and nothing that was counted is left. Any other
/// no may be one of the wrong time alone, and would throw good material away.
fn in_doubt(answer: MayUse, why: String) -> MayUse {
    let held = !answer.holds.is_empty() && Word::CannotSay < answer.answer;
    let (say, why, mut notes) = match held {
        true => (answer.say, answer.why, vec![why]),
        false => ("Can't say yet.".to_owned(), why, Vec::new()),
    };
    notes.extend(answer.notes);
    MayUse {
        answer: if held { answer.answer } else { Word::CannotSay },
        say,
        why,
        notes,
        last_ply_by: None,
        heating_by: None,
        governing: None,
        limits: Vec::new(),
        if_put_away_now: None,
        if_left_out: None,
        ..answer
    }
}

/// The answer about a thing whose fold failed: a fault of ours, and never a yes.
fn unreadable(view: View<'_>, label: Label, question: &MayUseQuestion) -> MayUse {
    let say = Say::of(view, question.when.at);
    let entry = view.facts(label).map(|fact| fact.seq).max().unwrap_or(0);
    MayUse {
        answer: Word::CannotSay,
        thing: question.thing.clone(),
        stage: question.stage.clone(),
        act: question.act,
        say: "Can't say yet.".to_owned(),
        why: format!("Its history can't be worked out, up to entry {entry}: call {}.", say.call),
        last_ply_by: None,
        heating_by: None,
        governing: None,
        job: question.job.clone(),
        limits: Vec::new(),
        holds: Vec::new(),
        mismatches: Vec::new(),
        notes: Vec::new(),
        ask: None,
        if_put_away_now: None,
        if_left_out: None,
        at: say.stamp(question.when.at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    }
}

pub(crate) fn nobody(thing: &shared_types::ThingName) -> String {
    match thing.kind() {
        Kind::Roll => format!("Nobody has received {}.", thing.short()),
        Kind::Kit => format!("Nobody has cut a kit {}.", thing.short()),
        Kind::Part => format!("Nobody has named a part {}.", thing.short()),
        kind => format!("Nobody has named a {kind} {}.", thing.short()),
    }
}

pub(crate) fn weigh<'b>(view: View<'b>, label: Label, question: &MayUseQuestion) -> Result<Weighed<'b>, NotAsked> {
    let at = question.when.at;
    let read = At::new(view, at);
    let say = Say::of(view, at);
    let subject = subject(read, label, question, &say)?;
    let spare_ms = view.yard(at).map_or(0, |yard| yard.spare_s.as_ms());
    let mut against: Vec<Against> = subject.refusals.iter().cloned().map(Against::no).collect();
    against.extend(subject.holds.iter().map(|hold| Against::no(held(view.book.name(label), hold, at, &say))));
    let each = subject.limits.sets.iter().map(|set| deadlines(set, at, question.act, subject.laid, spare_ms));
    let deadlines = each.reduce(Deadlines::and).unwrap_or_default();
    let mut plan = None;
    over(read, &subject, question.act, &say, &mut against);
    if subject.refusals.is_empty() {
        missing(read, &subject, question.act, &mut against);
        match &question.job {
            Some(job) => {
                let mut planned = against_plan(read, &subject, question, job, spare_ms, &say);
                // Where nobody knows what is planned, it is no better than without a job.
                if planned.against.iter().any(|one| one.word == Word::CannotSay) {
                    too_late(at, question.act, deadlines, spare_ms, &say, &mut against);
                }
                against.append(&mut planned.against);
                plan = Some(planned);
            }
            None => too_late(at, question.act, deadlines, spare_ms, &say, &mut against),
        }
        if let Some((end, _)) = deadlines.now.filter(|(end, _)| *end < at) {
            against.push(Against {
                limit: Some(LimitName::ShelfLife),
                ..Against::no(format!("Its shelf life ended {}.", say.time(end, at)))
            });
        }
    }
    Ok(Weighed { read, say, subject, against, deadlines, plan, spare_ms })
}

fn held(name: &ThingName, hold: &HoldView, at: Instant, say: &Say) -> String {
    let on = if hold.on == *name { String::new() } else { format!(" {} is held.", hold.on.short()) };
    format!("Held since {}: {}.{on}", say.time(hold.since.at, at), hold.why.trim_end_matches('.'))
}

/// Why quality has to decide before anything else is done with it: it is held, or nobody can say whether it may be used.
pub(crate) fn quality_first(read: At<'_>, label: Label, stage: Option<&StageName>, act: Act) -> Option<String> {
    let when = When { at: read.at, known: u64::from(read.view.known), now: read.at };
    let thing = read.view.book.name(label).clone();
    let question = MayUseQuestion { thing, act, job: None, stage: stage.cloned(), when };
    let Weighed { subject, mut against, say, .. } = weigh(read.view, label, &question).ok()?;
    if !subject.refusals.is_empty() {
        missing(read, &subject, act, &mut against);
    }
    let held = subject.holds.iter().map(|hold| held(&question.thing, hold, read.at, &say));
    let missing = against.into_iter().filter(|one| one.word == Word::CannotSay).map(|one| one.say);
    let mut why: Vec<String> = held.chain(missing).collect();
    why.dedup();
    (!why.is_empty()).then(|| why.join(" "))
}

fn over(read: At<'_>, subject: &Subject, act: Act, say: &Say, against: &mut Vec<Against>) {
    let mut passed_while_running = Vec::new();
    let of_rows = subject.limits.rows.iter();
    for limit in of_rows.filter(|limit| tests(act, limit.name, subject.laid) && limit.state.is_over()) {
        let name = read.view.book.name(limit.item).short();
        match &limit.state {
            LimitState::Clock { runs: true, passed, .. } => {
                let passed = passed.map_or(String::new(), |passed| format!(" {}", say.time(passed, read.at)));
                passed_while_running.push((limit.name, name, format!("its {}{passed}", crate::say::limit(limit.name))));
            }
            LimitState::Count { allowed, so_far } => {
                let returns = if *so_far == 1 { "once".to_owned() } else { format!("{so_far} times") };
                let allows = if *allowed == 1 { "1 is allowed".to_owned() } else { format!("{allowed} are allowed") };
                let say = format!("{name} went back into the cold {returns}; {allows}.");
                against.push(Against { limit: Some(limit.name), ..Against::no(say) });
            }
            state => {
                let by = crate::say::so_far(state.left().unwrap_or(0).saturating_neg());
                let say = format!("{name} is {by} over its {}.", crate::say::limit(limit.name));
                against.push(Against { limit: Some(limit.name), ..Against::no(say) });
            }
        }
    }
    if let Some((first, item, _)) = passed_while_running.first() {
        let who = if subject.laid { read.view.book.name(subject.label).short() } else { item };
        let what = passed_while_running.iter().map(|(_, _, what)| what.as_str()).collect::<Vec<_>>().join(" and ");
        let say = format!("{who} passed {what}; it ages while you wait.");
        against.push(Against { word: Word::Stop, limit: Some(*first), ..Against::no(say) });
    }
}

fn missing(read: At<'_>, subject: &Subject, act: Act, against: &mut Vec<Against>) {
    for (name, item, missing) in &subject.limits.missing {
        // The oven does not test the tack of what is laid; but an opening that nobody stated leaves nothing to say.
        let tack = *name == LimitName::TackLife && (subject.laid || act == Act::Oven);
        if tack && !matches!(missing, Missing::Opening | Missing::Cut) {
            continue;
        }
        let limit = Limit { name: *name, item: *item, state: LimitState::Missing(*missing) };
        against.push(Against {
            word: Word::CannotSay,
            say: missing_words(read, *missing, &limit).1,
            limit: Some(*name),
            ends: None,
        });
    }
}

/// Without a job: no, once the act's own time, less the spare time, has passed.
fn too_late(at: Instant, act: Act, deadlines: Deadlines, spare_ms: i64, say: &Say, against: &mut Vec<Against>) {
    let bound = if act == Act::Oven { deadlines.heating } else { deadlines.last_ply };
    let Some((end, name)) = bound else { return };
    let by = end.minus_ms(spare_ms);
    if by < at {
        let last = if act == Act::Oven { "Heating had to start" } else { "Its last ply had to be down" };
        let say = format!("{last} by {}, because of its {}.", say.time(by, at), limit(name));
        against.push(Against { limit: Some(name), ..Against::no(say) });
    }
}

fn answer(view: View<'_>, label: Label, question: &MayUseQuestion, weighed: Weighed<'_>) -> MayUse {
    let Weighed { read, say, subject, against, deadlines, plan, spare_ms } = weighed;
    let at = question.when.at;
    let word = against.iter().map(|one| one.word).max().unwrap_or(Word::Yes);
    let mut reasons: Vec<String> = against.iter().filter(|one| one.word == word).map(|one| one.say.clone()).collect();
    reasons.dedup();
    let too_many = subject.one_return_too_many(at).filter(|_| !subject.laid);
    let ask = match word {
        Word::No | Word::Stop if subject.open_puzzles().next().is_some() => asks(view, label, question, &subject, &say),
        _ => None,
    };
    let by = |bound: Option<(Instant, LimitName)>| bound.map(|(end, _)| end.minus_ms(spare_ms));
    // Held or refused as well, what is missing still leaves no time to say.
    let cannot_plan = against.iter().any(|one| one.word == Word::CannotSay) && !subject.limits.missing.is_empty();
    let (last_ply, heating) = if cannot_plan || !subject.refusals.is_empty() {
        (None, None)
    } else {
        let planned = plan.as_ref().and_then(|plan| plan.heating);
        (by(deadlines.last_ply), by([deadlines.heating, planned].into_iter().flatten().min()))
    };
    let last_ply = last_ply.filter(|_| !subject.laid || question.act == Act::Lay);
    let ends_first = plan.as_ref().and_then(|plan| plan.ends_first).or(deadlines.governing);
    let governing = governing(&against, word, question.act, ends_first, &subject);
    let sentence = match (word, &question.job, &ask) {
        (Word::Yes | Word::NotYet, Some(job), _) => yes_for(at, job.as_str(), plan.as_ref(), governing, &say),
        (Word::Yes | Word::NotYet, None, _) => yes(at, question.act, last_ply, heating, &deadlines, &say),
        (Word::No, _, Some(ask)) => format!("{} yet. {ask}", not_to(&subject, question.act)),
        (Word::No, Some(job), None) => format!("{} for {job}.", not_to(&subject, question.act)),
        (Word::No, None, None) => format!("{}.", not_to(&subject, question.act)),
        (Word::Stop, _, _) if subject.laid || too_many.is_some() => format!("Stop. Call {}.", say.call),
        (Word::Stop, _, _) => format!("Put it away{} now, then call {}.", subject.home_words(view), say.call),
        (Word::CannotSay, _, _) => "Can't say yet.".to_owned(),
    };
    let (put_away, left_out) = outlooks(read, &subject, &say);
    let why = match word {
        Word::Yes | Word::NotYet => why_yes(read, &subject, governing, question, &say),
        _ => {
            let mut why = reasons.join(" ");
            if word == Word::No
                && !subject.laid
                && subject.runs
                && question.job.is_some()
                && ask.is_none()
                && too_many.is_none()
            {
                why.push_str(&kept_words(put_away.as_ref()));
            }
            why
        }
    };
    let put_away = put_away.filter(|_| too_many.is_none());
    let mut notes = subject.notes.clone();
    notes.extend(too_many.filter(|left| *left == 0).map(|_| RETURN_ENDS_IT.to_owned()));
    if 0 < spare_ms && word == Word::Yes {
        notes.push(format!("Spare time of {} is taken off.", left(spare_ms)));
    }
    MayUse {
        answer: word,
        thing: question.thing.clone(),
        stage: subject.stage.as_ref().map(|stage| stage.stage.clone()),
        act: question.act,
        say: sentence,
        why,
        last_ply_by: last_ply.map(|at| say.stamp(at)),
        heating_by: heating.map(|at| say.stamp(at)),
        governing,
        job: question.job.clone(),
        limits: rows(read, &subject.limits, &say),
        holds: subject.holds.clone(),
        mismatches: puzzle::from_found(view, label, &subject.found, &say),
        notes,
        ask,
        if_put_away_now: put_away,
        if_left_out: left_out,
        at: say.stamp(at),
        as_of_seq: u64::from(view.known),
        rules: RULES.to_owned(),
    }
}

/// A roll or kit is used. What is laid is heated, or laid onto.
fn not_to(subject: &Subject, act: Act) -> &'static str {
    match (&subject.stage, act) {
        (Some(_), Act::Oven) => "Do not heat it",
        (Some(_), _) => "Lay nothing onto it",
        (None, _) => "Do not use it",
    }
}

/// The limit that ends first; of those already over the one that passed first.
fn governing(
    against: &[Against],
    word: Word,
    act: Act,
    ends_first: Option<Bound>,
    subject: &Subject,
) -> Option<LimitName> {
    let tack_counts = !subject.laid && act != Act::Oven;
    let passed = subject.limits.rows.iter().filter_map(|limit| match limit.state {
        LimitState::Clock { .. } if limit.name == LimitName::TackLife && !tack_counts => None,
        LimitState::Clock { passed: Some(passed), .. } => Some((passed, limit.name)),
        _ => None,
    });
    let named = against.iter().filter(|one| one.word == word).find_map(|one| one.limit);
    match word {
        Word::Stop | Word::No if named.is_some_and(|name| name == LimitName::Refreezes) => named,
        _ => passed.chain(ends_first).min().map(|(_, name)| name),
    }
}

/// The question that would settle it, where the answer would be yes if an open mismatch were read the kind way.
fn asks(view: View<'_>, label: Label, question: &MayUseQuestion, subject: &Subject, say: &Say) -> Option<String> {
    let kindly = weigh(View { kindly: true, ..view }, label, question).ok()?;
    let still = kindly.against.iter().any(|one| Word::CannotSay < one.word);
    if still {
        return None;
    }
    // Its own before its rolls', and of several the last that happened.
    let last = |(of, found): &(Label, &Found)| {
        let at = view.book.entry(found.seq).map(|meta| meta.occurred_at);
        (*of == label, at, view.book.name(*of))
    };
    let (of, open) = subject.open_puzzles().max_by_key(last)?;
    Some(puzzle::question(view, of, open, say))
}

fn outlooks(read: At<'_>, subject: &Subject, say: &Say) -> (Option<Outlook>, Option<Outlook>) {
    if !subject.refusals.is_empty() {
        return (None, None);
    }
    let mut out = Outlook::default();
    let mut away = Outlook::default();
    let rack = subject
        .home
        .and_then(|home| read.view.place(home, read.at))
        .and_then(|place| place.rack_s)
        .map_or(0, |rack| rack.as_ms());
    for limit in &subject.limits.rows {
        let Some(left) = limit.state.left() else { continue };
        match (&limit.state, limit.name) {
            (LimitState::Clock { passed, .. }, LimitName::TackLife | LimitName::OutLife) => {
                away.left_s.insert(limit.name, crate::say::floor_s(left - rack));
                out.left_s.insert(limit.name, crate::say::floor_s(left));
                out.ends_at.insert(limit.name, say.stamp(passed.unwrap_or_else(|| read.at.plus_ms(left))));
            }
            (LimitState::Clock { passed, .. }, _) => {
                out.left_s.insert(limit.name, crate::say::floor_s(left));
                out.ends_at.insert(limit.name, say.stamp(passed.unwrap_or_else(|| read.at.plus_ms(left))));
            }
            (LimitState::Count { .. }, _) => {
                out.refreezes_left = Some(left);
                away.refreezes_left = Some(left - i64::from(subject.would_refreeze(read.at)));
            }
            (_, _) => {}
        }
    }
    (Some(away).filter(|_| subject.runs && !subject.laid), Some(out))
}
