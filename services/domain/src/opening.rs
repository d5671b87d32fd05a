//! An opening that is said to be as of later than something the book knows of the roll.

use crate::fact::Label;
use crate::finding::Finding;
use crate::history::{StepAct, steps};
use crate::puzzle::dated;
use crate::roll::Life;
use crate::say::{Say, so_far};
use crate::view::View;
use shared_types::Instant;

/// When something was done with a roll for the first time, its receipts left out, and what was told and waits.
pub fn first_done(view: View<'_>, roll: Label) -> Option<Instant> {
    let mut done = steps(view, roll).into_iter().filter(|step| step.act != StepAct::Received && !step.waits());
    done.next().map(|step| step.at)
}

/// What is known of the time before an opening counts where it comes to more; what was meant, a person has to say.
pub(crate) fn after_first_fact(view: View<'_>, label: Label, life: &Life, say: &Say) -> Option<Finding> {
    let opening = life.received.opening.as_ref()?;
    let as_of = life.received.counts_from(life.receipt.at);
    let first = first_done(view, label).filter(|first| *first < as_of)?;
    let name = view.book.name(label).short();
    let (as_of, first) = (dated(as_of, say), dated(first, say));
    let stated = so_far(opening.out_time_s.as_ms());
    let known_ms = life.clock.known_before_ms();
    let counts = match opening.out_time_s.as_ms() < known_ms {
        true => format!("it was out for {} until then, by what is known, and that counts", so_far(known_ms)),
        false => "of what is stated and what is known of the time before, the more counts".to_owned(),
    };
    let text = format!("{name} came with {stated} as of {as_of}, but the book knows of it since {first}: {counts}.");
    let ask = Some(format!("As of when had {name} been out for {stated}? Strike the receipt if that is wrong."));
    Some(Finding { ask, ..Finding::new("opening_after_first_fact", life.receipt.seq, text) })
}
