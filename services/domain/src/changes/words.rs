//! What changed, in words.

use crate::say::{Say, days, left, limit, so_far};
use shared_types::{
    Act, ActBetween, Changes, Direction, HoldView, Instant, Judgement, LifeLeft, LimitName, TraceLink, Word,
};

const DAY_S: i64 = 86_400;

pub(super) fn sentences(found: &Changes, say: &Say, now: Instant) -> Vec<String> {
    let mut said = vec![first(found)];
    let (from, to) = (found.from, found.to);
    said.extend(found.links_new.iter().map(|link| format!("New: {}.", went(link))));
    said.extend(found.links_gone.iter().map(|link| format!("No longer: {}.", went(link))));
    said.extend(found.judged_otherwise.iter().map(|act| judged(act, from, to, say, now)));
    said.extend(found.holds_new.iter().map(|hold| format!("New: {}.", held(hold, say, now))));
    said.extend(found.holds_gone.iter().map(|hold| format!("No longer: {}.", held(hold, say, now))));
    said
}

fn first(found: &Changes) -> String {
    let name = found.thing.short();
    let what = match found.direction {
        Direction::MadeFrom => "what it is made from",
        Direction::WentInto => "what it went into",
    };
    let between = match found.from == found.to {
        true => format!("Known at entry {} both times", found.from),
        false => format!("Between entry {} and entry {}", found.from, found.to),
    };
    let nothing = found.links_new.is_empty()
        && found.links_gone.is_empty()
        && found.judged_otherwise.is_empty()
        && found.holds_new.is_empty()
        && found.holds_gone.is_empty();
    let entries = match found.entries.len() {
        0 => format!("{between}, nothing was written about {name} or {what}"),
        1 => format!("{between}, 1 entry names {name} or {what}"),
        count => format!("{between}, {count} entries name {name} or {what}"),
    };
    match (nothing, found.entries.is_empty()) {
        (true, true) => format!("{entries}, and nothing changed."),
        (true, false) => format!("{entries}; no link, no judgement and no hold changed."),
        (false, _) => format!("{entries}. This changed:"),
    }
}

fn went(link: &TraceLink) -> String {
    let stage = link.stage.as_ref().map_or(String::new(), |stage| format!(", {stage}"));
    let (from, into) = (&link.from, &link.into);
    format!("{} {} went into {} {}{stage}, entry {}", from.kind(), from.short(), into.kind(), into.short(), link.seq)
}

fn held(hold: &HoldView, say: &Say, now: Instant) -> String {
    let number = hold.nonconformance.as_ref().map_or(String::new(), |number| format!(", {number}"));
    let (on, why) = (hold.on.short(), hold.why.trim_end_matches('.'));
    format!("{on} held since {} by {}: {why}{number}", say.time(hold.since.at, now), hold.by)
}

fn judged(act: &ActBetween, from: u64, to: u64, say: &Say, now: Instant) -> String {
    let done = match act.act {
        Act::TakeOut => "taken out",
        Act::Cut => "cut",
        Act::Lay => "laid",
        Act::Oven => "put into the oven",
    };
    let (name, at) = (act.thing.short(), say.time(act.at.at, now));
    let lead = format!("{name}, {done} {at} (entry {})", act.seq);
    match (&act.before, &act.after) {
        (Some(before), Some(after)) if before.answer != after.answer => format!(
            "{lead}: {} as known at entry {from}, {} as known at entry {to}{}.",
            answer(before),
            answer(after),
            apart(before, after)
        ),
        (Some(before), Some(after)) => format!("{lead}: {} both times{}.", answer(after), apart(before, after)),
        (Some(before), None) => {
            format!("{lead}: {} as known at entry {from}, no longer an act at entry {to}.", answer(before))
        }
        (None, Some(after)) => {
            format!("{lead}: not yet an act at entry {from}, {} as known at entry {to}.", answer(after))
        }
        (None, None) => format!("{lead}."),
    }
}

fn answer(judgement: &Judgement) -> &'static str {
    match judgement.answer {
        Word::Yes | Word::NotYet => "within every limit",
        Word::CannotSay => "can't be judged",
        Word::No | Word::Stop => "over a limit",
    }
}

/// `; tack life of R-9: 2 h left, then 1 h over`.
fn apart(before: &Judgement, after: &Judgement) -> String {
    let mut said = String::new();
    for is in &after.limits {
        let was = before.limits.iter().find(|was| was.limit == is.limit);
        if was != Some(is) {
            let was = was.map_or_else(|| "not counted".to_owned(), left_words);
            said.push_str(&format!("; {} of {}: {was}, then {}", limit(is.limit), is.item.short(), left_words(is)));
        }
    }
    let gone = before.limits.iter().filter(|was| after.limits.iter().all(|is| is.limit != was.limit));
    gone.for_each(|was| {
        said.push_str(&format!(
            "; {} of {}: {}, then not counted",
            limit(was.limit),
            was.item.short(),
            left_words(was)
        ));
    });
    said
}

/// What is over is rounded up, what is left down.
fn left_words(of: &LifeLeft) -> String {
    let (over, count) = (of.left < 0, of.left.saturating_abs());
    let words = match of.limit {
        LimitName::Refreezes => count.to_string(),
        LimitName::ShelfLife => days(if over { count.saturating_add(DAY_S - 1) } else { count } / DAY_S),
        _ if over => so_far(count.saturating_mul(1000)),
        _ => left(count.saturating_mul(1000)),
    };
    format!("{words} {}", if over { "over" } else { "left" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_over_is_rounded_up_and_what_is_left_down() {
        let words = |limit, left| left_words(&LifeLeft { limit, item: "roll/R-1".parse().unwrap(), left });
        for (seconds, tack, shelf) in [
            (119, "1 min left", "0 days left"),
            (-20, "1 min over", "1 day over"),
            (86_400, "24 h left", "1 day left"),
            (-86_401, "24 h 1 min over", "2 days over"),
        ] {
            assert_eq!(words(LimitName::TackLife, seconds), tack);
            assert_eq!(words(LimitName::ShelfLife, seconds), shelf);
        }
        assert_eq!(words(LimitName::Refreezes, -1), "1 over");
    }
}
