//! What does not add up about a part: laid from what was not there, installed before it was cured, removed from a boat
//! it was never in.

use crate::fact::{Fact, Label, Laid, What};
use crate::finding::Finding;
use crate::holds;
use crate::kit::{kit_items, laid_before};
use crate::puzzle::dated;
use crate::say::Say;
use crate::stage::{Oven, Run, StageLife, stage_life, stages_of};
use crate::view::View;
use shared_types::Instant;

pub(crate) fn laid_wrongly(
    view: View<'_>,
    label: Label,
    fact: &Fact,
    life: &StageLife,
    say: &Say,
    found: &mut Vec<Finding>,
) {
    let What::Laid(laid) = &fact.what else { return };
    let part = view.book.name(label).short();
    // Whether anybody wrote yet what came of the run is nothing to it: it was heating, or may have been.
    let place = view.facts(label).position(|other| other.seq == fact.seq);
    let heating = |run: &Run| Some(run.place) < place && run.state(fact.at) != Oven::NotStarted;
    if life.runs.iter().any(heating) {
        found.push(Finding::new(
            "laid_after_oven_start",
            fact.seq,
            format!("Plies were laid in {part} {} after its oven run had started.", life.stage),
        ));
    }
    found.extend(begun_wrongly(view, &part_stage(part, life), fact, laid, say));
    if !laid.from_kit {
        return;
    }
    let cut = kit_items(view, laid.from);
    let kit = view.book.name(laid.from).short();
    if let Some(before) = laid_before(view, laid.from, fact.seq) {
        let (into, when) = (before_in(view, before), dated(before.at, say));
        found.push(Finding {
            ask: Some(format!("What was laid in {part} {}? Strike the lay-up that is wrong.", life.stage)),
            ..Finding::new(
                "laid_twice",
                fact.seq,
                format!("{kit} was laid in {part} {}, though its plies were laid{into} already, {when}.", life.stage),
            )
        });
    }
    let missing = laid.items.iter().flatten().find(|roll| cut.iter().all(|item| item.roll != **roll));
    if let Some(roll) = missing {
        let roll = view.book.name(*roll).short();
        found.push(Finding::new(
            "laid_not_in_kit",
            fact.seq,
            format!("{roll} was laid from {kit}, but nobody cut it into that kit."),
        ));
    } else if cut.is_empty() {
        found.push(Finding::new("laid_not_in_kit", fact.seq, format!("{kit} was laid, but nobody cut it.")));
    }
}

fn part_stage(part: &str, life: &StageLife) -> String {
    format!("{part} {}", life.stage)
}

/// The first ply said to be down before there was anything to lay, or after the last. It counts as the sooner of the two:
/// its wait for the oven is never shorter than what is said.
fn begun_wrongly(view: View<'_>, part: &str, fact: &Fact, laid: &Laid, say: &Say) -> Option<Finding> {
    let began = laid.from_at?;
    let from = view.book.name(laid.from).short();
    let there = match laid.from_kit {
        true => kit_items(view, laid.from).iter().map(|item| item.cut_at).min(),
        false => received_at(view, laid.from),
    };
    let how = match there.filter(|there| began < *there) {
        Some(there) if laid.from_kit => format!("but {from} was cut only {}", dated(there, say)),
        Some(there) => format!("but {from} was received only {}", dated(there, say)),
        None if fact.latest() < began => format!("but its last ply was down {}", dated(fact.at, say)),
        None => return None,
    };
    let text = format!("The first ply of {part} from {from} is said to have been down {}, {how}.", dated(began, say));
    let ask = Some(format!("When was the first of these plies down in {part}? Strike the lay-up that is wrong."));
    Some(Finding { ask, ..Finding::new("begun_wrongly", fact.seq, text) })
}

/// When a roll was received for the first time, as of its opening where that is earlier.
fn received_at(view: View<'_>, roll: Label) -> Option<Instant> {
    let receipts = view.facts(roll).filter_map(|fact| match &fact.what {
        What::Received(received) => Some(received.counts_from(fact.at)),
        _ => None,
    });
    receipts.min()
}

/// ` in P-1 skin`
fn before_in(view: View<'_>, before: &Fact) -> String {
    let What::Laid(laid) = &before.what else { return String::new() };
    format!(" in {} {}", view.book.name(laid.part).short(), laid.stage)
}

/// Nothing is installed without the record of its cure, nor while it is held.
pub(crate) fn installed_wrongly(view: View<'_>, label: Label, only: Option<u32>, say: &Say, found: &mut Vec<Finding>) {
    let part = view.book.name(label).short();
    let mut boats: Vec<(Label, Instant)> = Vec::new();
    for fact in view.facts(label) {
        match fact.what {
            What::Installed { part: of, boat } if of == label => {
                let still = boats.iter().rfind(|(other, _)| *other != boat);
                found.extend(still.map(|(other, since)| {
                    let (boat, other) = (view.book.name(boat).short(), view.book.name(*other).short());
                    let (when, since) = (dated(fact.at, say), dated(*since, say));
                    let text = format!(
                        "{part} was installed in {boat} {when}, and nobody removed it from {other}, where it is since {since}."
                    );
                    let ask = Some(format!("Which boat is {part} in? Record its removal, or strike what is wrong."));
                    Finding { ask, ..Finding::new("installed_twice", fact.seq, text) }
                }));
                boats.push((boat, fact.at));
                if only.is_none_or(|only| only == fact.seq) {
                    found.extend(not_ready(view, label, fact, say));
                }
            }
            What::Removed { part: of, boat } if of == label => {
                if boats.iter().all(|(other, _)| *other != boat) {
                    let text =
                        format!("{part} was removed from {}, where nobody had put it.", view.book.name(boat).short());
                    found.push(Finding::new("removed_not_installed", fact.seq, text));
                }
                boats.retain(|(other, _)| *other != boat);
            }
            _ => {}
        }
    }
}

fn not_ready(view: View<'_>, label: Label, fact: &Fact, say: &Say) -> Option<Finding> {
    let part = view.book.name(label).short();
    let when = dated(fact.at, say);
    let mut above = std::collections::BTreeSet::from([label]);
    let mut held = Vec::new();
    let mut uncured = None;
    for name in stages_of(view, label) {
        let stage = stage_life(view, label, &name);
        if stage.lying(fact.at).next().is_none() {
            continue;
        }
        let cured = matches!(stage.oven(fact.at), Oven::Started(run) if !run.told);
        uncured = uncured.or((!cured).then_some(name));
        above.extend(holds::above_stage(view, &stage, fact.at));
        held.extend(holds::by_rule(view, &stage, fact.at, say));
    }
    held.extend(holds::in_force(view, &above, fact.at, say));
    match (held.first(), uncured) {
        (Some(hold), _) => {
            let text = format!("{part} was installed {when} while it was held: {}.", hold.why);
            Some(Finding::new("acted_while_held", fact.seq, text))
        }
        (None, Some(stage)) => {
            let text = format!("{part} was installed {when} without a confirmed cure of its {stage}.");
            Some(Finding::new("installed_not_cured", fact.seq, text))
        }
        (None, None) => None,
    }
}
