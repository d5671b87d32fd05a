//! A last instant at which nobody is there: what it comes to in the yard's hours.

use domain::{Book, When, calendar::Calendar, say::Say, view::View};
use shared_types::{MayUse, Stamp, Word};

/// `Closed then: last ply by Fri 22:00.`, where an answer's times fall outside the yard's hours.
pub(super) fn closed_then(book: &Book, answer: &MayUse, say: &Say, when: When) -> Option<String> {
    let calendar = Calendar::of(View::new(book, when.known), when.now);
    let told = |what: &str, by: Option<Stamp>| {
        let by = by.filter(|_| answer.answer == Word::Yes)?.at;
        let open = calendar.last_open(by);
        // What nobody can do any more before it is too late is said as it is.
        let last = if open < when.now { "now".to_owned() } else { format!("by {}", say.time(open, when.now)) };
        (open != by).then(|| format!("{what} {last}"))
    };
    let told: Vec<String> =
        [told("last ply", answer.last_ply_by), told("heating", answer.heating_by)].into_iter().flatten().collect();
    (!told.is_empty()).then(|| format!("Closed then: {}.", told.join(", ")))
}
