//! What does not add up about a part: laid from what was not there, installed before it was cured, removed from a boat
//! it was never in.

use crate::fact::{Fact, Label, What};
use crate::finding::Finding;
use crate::holds;
use crate::kit::kit_items;
use crate::puzzle::dated;
use crate::say::Say;
use crate::stage::{Oven, Run, StageLife, stage_life, stages_of};
use crate::view::View;

pub(crate) fn laid_wrongly(view: View<'_>, label: Label, fact: &Fact, life: &StageLife, found: &mut Vec<Finding>) {
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
    if !laid.from_kit {
        return;
    }
    let cut = kit_items(view, laid.from);
    let kit = view.book.name(laid.from).short();
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

/// Nothing is installed without the record of its cure, nor while it is held.
pub(crate) fn installed_wrongly(view: View<'_>, label: Label, only: Option<u32>, say: &Say, found: &mut Vec<Finding>) {
    let part = view.book.name(label).short();
    let mut boats: Vec<Label> = Vec::new();
    for fact in view.facts(label) {
        match fact.what {
            What::Installed { part: of, boat } if of == label => {
                boats.push(boat);
                if only.is_none_or(|only| only == fact.seq) {
                    found.extend(not_ready(view, label, fact, say));
                }
            }
            What::Removed { part: of, boat } if of == label => {
                if !boats.contains(&boat) {
                    let text =
                        format!("{part} was removed from {}, where nobody had put it.", view.book.name(boat).short());
                    found.push(Finding::new("removed_not_installed", fact.seq, text));
                }
                boats.retain(|other| *other != boat);
            }
            _ => {}
        }
    }
}

fn not_ready(view: View<'_>, label: Label, fact: &Fact, say: &Say) -> Option<Finding> {
    let part = view.book.name(label).short();
    let when = dated(view, fact.at, say);
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
