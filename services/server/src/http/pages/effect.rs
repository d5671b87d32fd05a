//! What a decision would change, in sentences and as rows: nothing that would read otherwise goes unsaid.

use super::declared;
use domain::say::{Say, left, limit, so_far};
use shared_types::{
    BoatList, Code, DryRun, HoldView, Instant, Judgement, LifeLeft, LimitName, LimitRow, Metres, ThingChange,
    ThingView, Word,
};
use std::collections::BTreeMap;
use uuid::Uuid;

/// As many are written out; of the others, how many there are.
const MOST_SENTENCES: usize = 40;
const MOST_ROWS: usize = 80;
/// Under a minute nothing is said: what is left goes down while somebody reads.
const LEAST_S: u64 = 60;

pub(super) struct Effect {
    pub(super) sentences: Vec<String>,
    pub(super) rows: Vec<Row>,
    pub(super) needs_second: bool,
    pub(super) id: Uuid,
    pub(super) based_on: u64,
}

pub(super) struct Row {
    pub(super) thing: String,
    pub(super) limit: &'static str,
    pub(super) before: String,
    pub(super) after: String,
}

/// One limit of a thing, or of a stage of it.
struct Pair {
    of: String,
    was: LimitRow,
    then: LimitRow,
}

pub(super) fn effect(found: &DryRun, say: &Say, now: Instant, id: Uuid, based_on: u64) -> Effect {
    let (mut sentences, rows) = changes(found, say, now);
    // What is no number of hours, such as a thing that could be used again, is said as the refusal would say it.
    let gives = found.second_person.iter().flat_map(|second| &second.gives_back);
    sentences.extend(gives.filter(|gives| !gives.contains(" gets back ")).map(|gives| format!("{gives}.")));
    let needs_second = found.second_person.is_some();
    sentences.push(match (needs_second, sentences.is_empty()) {
        (true, _) => "It gives back: needs a second person.".to_owned(),
        (false, true) => "It changes nothing else, and needs nobody else.".to_owned(),
        (false, false) => "It needs nobody else.".to_owned(),
    });
    Effect { sentences, rows, needs_second, id, based_on }
}

/// What would read otherwise: in sentences, and each limit as a row.
pub(super) fn changes(found: &DryRun, say: &Say, now: Instant) -> (Vec<String>, Vec<Row>) {
    let (mut sentences, mut rows) = (Vec::new(), Vec::new());
    for one in &found.effect.judged_again {
        sentences.push(format!(
            "Entry {}, {} {} {}: judged {} now, {} then.",
            one.seq,
            one.thing.short(),
            act(one.act),
            say.time(one.at.at, now),
            judged(&one.before),
            judged(&one.after)
        ));
    }
    for change in &found.effect.things {
        sentences.extend(of_thing(change));
        rows.extend(pairs(change).iter().filter_map(row));
    }
    if 0 < found.effect.more_things {
        sentences.push(format!("{} more things would read otherwise.", found.effect.more_things));
    }
    sentences.extend(found.effect.mismatches_gone.iter().map(|one| format!("Answered or gone: {}", one.say)));
    sentences.extend(found.effect.mismatches_new.iter().map(|one| format!("Would not add up then: {}", one.say)));
    let unsaid = sentences.len().saturating_sub(MOST_SENTENCES);
    sentences.truncate(MOST_SENTENCES);
    if 0 < unsaid {
        sentences.push(format!("And {unsaid} more sentences like these."));
    }
    rows.truncate(MOST_ROWS);
    (sentences, rows)
}

fn of_thing(change: &ThingChange) -> Vec<String> {
    let (name, then) = (change.thing.short(), &change.after);
    let Some(was) = &change.before else { return vec![format!("New: {}", then.say)] };
    let mut sentences = holds(name, was, then);
    sentences.extend(amounts(change));
    sentences.extend(pairs(change).iter().filter_map(in_words));
    if was.whereabouts != then.whereabouts {
        sentences.push(format!("Now: {} Then: {}", was.say, then.say));
    }
    if let (Some(was_mm), Some(then_mm)) = (was.length_left_mm, then.length_left_mm)
        && was_mm != then_mm
    {
        sentences.push(format!("{name}: {} of it left, then {}.", metres(was_mm), metres(then_mm)));
    }
    let more = then.jobs.iter().filter(|job| !was.jobs.contains(job)).map(|job| format!("{name} is for {job} then."));
    let less = was.jobs.iter().filter(|job| !then.jobs.contains(job));
    sentences.extend(more.chain(less.map(|job| format!("{name} is no longer for {job}."))));
    if was.declared != then.declared {
        sentences.extend(declared(name, was, then));
    }
    if was.to_confirm != then.to_confirm {
        let waits = then.to_confirm.iter().filter(|one| !was.to_confirm.contains(one)).count();
        let gone = was.to_confirm.iter().filter(|one| !then.to_confirm.contains(one)).count();
        let entries = |count: usize| if count == 1 { "1 entry".to_owned() } else { format!("{count} entries") };
        // What stands instead of an entry that waited waits as that did: only the difference is a change.
        let (more, fewer) = (waits.saturating_sub(gone), gone.saturating_sub(waits));
        sentences.extend((0 < more).then(|| format!("{name}: {} more to confirm.", entries(more))));
        sentences.extend((0 < fewer).then(|| format!("{name}: {} fewer to confirm.", entries(fewer))));
    }
    sentences
}

/// What a declaration says otherwise: of a boat's list, which parts come and go.
fn declared(name: &str, was: &ThingView, then: &ThingView) -> Vec<String> {
    let before = match was.declared {
        Some(_) => declared::body(was),
        None => Some(BoatList { parts: Vec::new() }),
    };
    let Some((was, then)) = before.zip(declared::body::<BoatList>(then)) else {
        return vec![format!("What is declared of {name} reads otherwise.")];
    };
    let only_in = |these: &BoatList, others: &BoatList| -> Vec<String> {
        these.parts.iter().filter(|part| !others.parts.contains(part)).map(Code::to_string).collect()
    };
    let tell = |parts: Vec<String>, one: &str, many: &str| {
        let names: Vec<&str> = parts.iter().map(String::as_str).collect();
        let what = if names.len() == 1 { one } else { many };
        (!names.is_empty()).then(|| format!("{} {what}.", and(&names)))
    };
    let comes = tell(only_in(&then, &was), &format!("is new on {name}'s list"), &format!("are new on {name}'s list"));
    let goes =
        tell(only_in(&was, &then), &format!("is off {name}'s list then"), &format!("are off {name}'s list then"));
    let order =
        (comes.is_none() && goes.is_none()).then(|| format!("{name}'s list has the same parts in another order."));
    [comes, goes, order].into_iter().flatten().collect()
}

fn holds(name: &str, was: &ThingView, then: &ThingView) -> Vec<String> {
    let on = |hold: &HoldView| match hold.on.short() == name {
        true => String::new(),
        false => format!(" by the hold on {}", hold.on.short()),
    };
    let only_in = |these: &[HoldView], others: &[HoldView]| -> Vec<HoldView> {
        let is_in = |one: &HoldView| others.iter().any(|other| other.hold == one.hold && other.on == one.on);
        these.iter().filter(|one| !is_in(one)).cloned().collect()
    };
    let placed = only_in(&then.holds, &was.holds);
    let lifted = only_in(&was.holds, &then.holds);
    let placed = placed.iter().map(|hold| format!("{name} is held then{}: {}", on(hold), sentence(&hold.why)));
    let lifted = lifted
        .iter()
        .map(|hold| format!("{name} is no longer held{}, which was for: {}", on(hold), sentence(&hold.why)));
    let mut all: Vec<String> = placed.chain(lifted).collect();
    if !was.holds.is_empty() && !then.holds.is_empty() && was.holds != then.holds {
        all.push(format!("{name} stays held."));
    }
    all
}

fn sentence(text: &str) -> String {
    match text.ends_with(['.', '!', '?']) {
        true => text.to_owned(),
        false => format!("{text}."),
    }
}

fn metres(mm: i64) -> String {
    match u64::try_from(mm) {
        Ok(mm) => Metres(mm).to_string(),
        Err(_) => format!("{} less than nothing", Metres(mm.unsigned_abs())),
    }
}

/// What is gained and lost, limits with the same amount together.
fn amounts(change: &ThingChange) -> Vec<String> {
    let mut by_amount: BTreeMap<(bool, String, String), Vec<&'static str>> = BTreeMap::new();
    for pair in pairs(change) {
        if let Some((gains, amount)) = amount(&pair) {
            let of = by_amount.entry((gains, pair.of, amount)).or_default();
            if !of.contains(&limit(pair.then.limit)) {
                of.push(limit(pair.then.limit));
            }
        }
    }
    let words = |((gains, of, amount), limits): ((bool, String, String), Vec<&'static str>)| {
        let verb = if gains { "gets back" } else { "loses" };
        match limits.as_slice() {
            [one] if *one == limit(LimitName::Refreezes) => format!("{of} {verb} {amount} of its returns to the cold."),
            _ => format!("{of} {verb} {amount} of {}.", and(&limits)),
        }
    };
    by_amount.into_iter().map(words).collect()
}

fn and(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [only] => (*only).to_owned(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

fn amount(pair: &Pair) -> Option<(bool, String)> {
    let (was, then) = (&pair.was, &pair.then);
    if let (Some(was), Some(then)) = (was.left, then.left) {
        let by = then.saturating_sub(was);
        return (by != 0).then(|| (0 < by, by.unsigned_abs().to_string()));
    }
    // A shelf life ends on a date: the same date is no loss, however long a thing that is gone has been gone.
    if then.ends_on.is_some() && then.ends_on == was.ends_on {
        return None;
    }
    let by = then.left_s?.saturating_sub(was.left_s?);
    if by.unsigned_abs() < LEAST_S {
        return None;
    }
    let ms = by.saturating_abs().saturating_mul(1000);
    let words = match then.limit {
        LimitName::ShelfLife => days(by),
        // What is gained reads as no more, what is lost as no less.
        _ if 0 < by => left(ms),
        _ => so_far(ms),
    };
    Some((0 < by, words))
}

fn days(seconds: i64) -> String {
    let (of, whole) = (seconds.unsigned_abs(), seconds.unsigned_abs() / 86_400);
    match (seconds < 0 && !of.is_multiple_of(86_400), whole) {
        (false, 0) => "less than a day".to_owned(),
        (false, 1) => "1 day".to_owned(),
        (false, whole) => format!("{whole} days"),
        (true, 0) => "1 day".to_owned(),
        (true, whole) => format!("{} days", whole + 1),
    }
}

/// Where a number comes or goes: a limit that nobody can tell, or that a document says there is none of.
fn in_words(pair: &Pair) -> Option<String> {
    let words = |row: &LimitRow| match (&row.missing, &row.none_by) {
        (Some(missing), _) => Some(format!("can't be told ({missing})")),
        (None, Some(document)) => Some(format!("is none, by {document}")),
        (None, None) => None,
    };
    let (was, then) = (words(&pair.was), words(&pair.then));
    let told = || "can be told".to_owned();
    (was != then).then(|| {
        let name = limit(pair.then.limit);
        format!("{}: its {name} {} now and {} then.", pair.of, was.unwrap_or_else(told), then.unwrap_or_else(told))
    })
}

fn row(pair: &Pair) -> Option<Row> {
    (amount(pair).is_some() || in_words(pair).is_some()).then(|| Row {
        thing: pair.of.clone(),
        limit: limit(pair.then.limit),
        before: left_words(&pair.was),
        after: left_words(&pair.then),
    })
}

fn left_words(row: &LimitRow) -> String {
    let over = |words: String| format!("{words} over");
    match (row.left, row.left_s) {
        (Some(count), _) if count < 0 => over(count.unsigned_abs().to_string()),
        (Some(count), _) => count.to_string(),
        (None, Some(seconds)) if row.limit == LimitName::ShelfLife && seconds < 0 => over(days(seconds)),
        (None, Some(seconds)) if row.limit == LimitName::ShelfLife => days(seconds),
        (None, Some(seconds)) if seconds < 0 => over(so_far(seconds.saturating_neg().saturating_mul(1000))),
        (None, Some(seconds)) => left(seconds.saturating_mul(1000)),
        (None, None) if row.none_by.is_some() => "no limit".to_owned(),
        (None, None) => "can't say".to_owned(),
    }
}

/// The limits that both have: of the same roll where it still binds, else of the one that binds then.
fn pairs(change: &ThingChange) -> Vec<Pair> {
    let Some(before) = &change.before else { return Vec::new() };
    let short = change.thing.short();
    let (was, then) = (limits(before), limits(&change.after));
    let mut pairs = Vec::new();
    for (stage, then_row) in then {
        let fits = |(of, row): &&(Option<String>, LimitRow)| *of == stage && row.limit == then_row.limit;
        let same = was.iter().filter(fits).find(|(_, row)| row.item == then_row.item);
        if let Some((_, was_row)) = same.or_else(|| was.iter().find(fits)) {
            let of = stage.map_or_else(|| short.to_owned(), |stage| format!("{short} {stage}"));
            pairs.push(Pair { of, was: was_row.clone(), then: then_row });
        }
    }
    pairs
}

fn limits(seen: &ThingView) -> Vec<(Option<String>, LimitRow)> {
    let own = seen.limits.iter().map(|row| (None, row.clone()));
    let of_stages = seen.stages.iter().flat_map(|stage| {
        let name = Some(stage.stage.to_string());
        stage.limits.iter().map(move |row| (name.clone(), row.clone()))
    });
    own.chain(of_stages).collect()
}

fn act(act: shared_types::Act) -> &'static str {
    use shared_types::Act;
    match act {
        Act::TakeOut => "taken out",
        Act::Cut => "cut",
        Act::Lay => "laid",
        Act::Oven => "put into the oven",
    }
}

/// How an act was judged.
pub(super) fn judged(judgement: &Judgement) -> String {
    let over = judgement.limits.iter().filter(|one| one.left < 0);
    let by = |one: &LifeLeft| match one.limit {
        LimitName::Refreezes => one.left.unsigned_abs().to_string(),
        LimitName::ShelfLife => days(one.left),
        _ => so_far(one.left.saturating_neg().saturating_mul(1000)),
    };
    let over = over.map(|one| format!("{} {} over its {}", one.item.short(), by(one), limit(one.limit)));
    let over: Vec<String> = over.collect();
    match (judgement.answer, over.is_empty()) {
        (Word::Yes | Word::NotYet, _) => "within every limit".to_owned(),
        (Word::CannotSay, _) => "can't say".to_owned(),
        (Word::No | Word::Stop, true) => "not within its limits, or held".to_owned(),
        (Word::No | Word::Stop, false) => over.join(", "),
    }
}
