//! What does not add up about where a thing was: what it is, in words, and the question that would settle it.

use crate::fact::Label;
use crate::finding::{Finding, shown};
use crate::history::{Found, Puzzle};
use crate::kit::kit_life;
use crate::roll::roll_life;
use crate::say::Say;
use crate::view::View;
use shared_types::{Instant, Kind, Mismatch};

/// The mismatches of a history alone, as an answer shows them.
pub(crate) fn from_found(view: View<'_>, label: Label, found: &[Found], say: &Say) -> Vec<Mismatch> {
    found.iter().filter_map(|one| shown(view, label, puzzle(view, label, one, say), say)).collect()
}

pub(crate) fn puzzle(view: View<'_>, label: Label, found: &Found, say: &Say) -> Finding {
    Finding {
        kind: found.puzzle.name(),
        seq: found.seq,
        say: statement(view, label, found, say),
        ask: found.settled_by.is_none().then(|| question(view, label, found, say)),
        settled_by: found.settled_by,
    }
}

fn statement(view: View<'_>, label: Label, found: &Found, say: &Say) -> String {
    let name = view.book.name(label).short();
    let at = view.book.entry(found.seq).map_or(found.since, |meta| meta.occurred_at);
    let (when, since) = (dated(at, say), dated(counts_since(view, label, found), say));
    let place = found.place.map_or("the freezer", |place| view.book.name(place).short());
    match found.puzzle {
        Puzzle::OutWhileOut => format!("{name} was taken out {when}; it was out already, since {since}."),
        Puzzle::InWhileIn => format!(
            "{name} was put away {when} in {place}, where the book has it already. It counts as out since {since}."
        ),
        Puzzle::InWhileInElsewhere if took_out(view, found.seq) => {
            format!(
                "{name} was taken out of {place} {when}, where the book does not have it. It counts as out since {since}."
            )
        }
        Puzzle::InWhileInElsewhere => {
            format!("{name} came into {place} {when} without having been taken out. It counts as out since {since}.")
        }
        Puzzle::SeenInsideWhileOut => format!("{name} was seen in {place} {when}; the book has it out since {since}."),
        Puzzle::ActedWhileInside => format!(
            "{name} was used or seen outside {when}; the book had it in {place}. It counts as out since {since}."
        ),
        Puzzle::PutAwayNotAfterTakeOut => {
            format!(
                "{name} was put away {when}, but not surely after it was taken out. Its clock runs on since {since}."
            )
        }
    }
}

fn took_out(view: View<'_>, seq: u32) -> bool {
    view.book.entry(seq).is_some_and(|meta| matches!(meta.kind, "roll_taken_out" | "kit_taken_out"))
}

/// Since when it counts as out: a stretch that ends where this one begins is told with it, as its card does.
fn counts_since(view: View<'_>, label: Label, found: &Found) -> Instant {
    let history = match view.book.kind(label) {
        Kind::Kit => kit_life(view, label).history,
        _ => std::sync::Arc::clone(&roll_life(view, label).history),
    };
    history.stretches.around(found.since).map_or(found.since, |(from, _)| from)
}

/// The question whose answer would settle it.
pub(crate) fn question(view: View<'_>, label: Label, found: &Found, say: &Say) -> String {
    let name = view.book.name(label).short();
    let at = view.book.entry(found.seq).map_or(found.since, |meta| meta.occurred_at);
    let place = found.place.map_or("the freezer", |place| view.book.name(place).short());
    match found.puzzle {
        Puzzle::OutWhileOut => {
            format!("Was {name} put away in between, or was one of the scans another {}?", view.book.kind(label))
        }
        Puzzle::InWhileIn => format!("Was the scan of {} a take-out?", dated(at, say)),
        Puzzle::InWhileInElsewhere => format!("Was it carried over to {place}?"),
        Puzzle::SeenInsideWhileOut => format!("Is {name} really in {place}, not only its bag?"),
        Puzzle::ActedWhileInside => format!("Since when was {name} out?"),
        Puzzle::PutAwayNotAfterTakeOut => format!("When was {name} put away?"),
    }
}

/// A time as it stands in what does not add up: with its date and year, so that it reads the same whenever it is read.
pub(crate) fn dated(at: Instant, say: &Say) -> String {
    say.whole_time(at)
}
