//! What a declaration of the yard or of a place gives back, and what striking one does.

use crate::fact::{Label, What};
use crate::view::{View, WhatIf};
use shared_types::{Instant, Place, Yard};

/// Less spare time gives back to every plan; another zone moves the end of days.
pub(super) fn yard_gives(old: &Yard, new: &Yard) -> Vec<String> {
    let mut gives = Vec::new();
    if new.spare_s < old.spare_s {
        gives.push("Every plan gets back spare time".to_owned());
    }
    if new.zone != old.zone {
        gives.push("Shelf lives end at another hour".to_owned());
    }
    gives
}

/// A place that becomes colder on paper gives back to everything that was there.
pub(super) fn place_gives(short: &str, old: Option<&Place>, new: &Place) -> Vec<String> {
    let Some(old) = old else {
        let out = format!("{short} counted as out for what was put away there before it was declared");
        return if new.frozen { vec![out] } else { Vec::new() };
    };
    let mut gives = Vec::new();
    if new.frozen && !old.frozen {
        gives.push(format!("{short} counted as out and would count as cold"));
    }
    if new.rack_s < old.rack_s {
        gives.push(format!("What is put away in {short} gets back rack time"));
    }
    if new.highest_millideg_c < old.highest_millideg_c {
        gives.push(format!("{short} would count as colder"));
    }
    gives
}

/// What striking a hold or a declaration gives back beside the things it names. A hold ends only by lifting.
pub(super) fn striking_gives(view: View<'_>, what_if: &WhatIf, seq: u32) -> Vec<String> {
    let Some(meta) = view.book.entry(seq) else { return Vec::new() };
    let after = View { what_if: Some(what_if), ..view };
    let short = view.book.name(meta.thing).short();
    let times = declared_at(view, meta.thing);
    let gives: Vec<Vec<String>> = match meta.kind {
        "hold_placed" if view.lifted_at(seq).is_none() => vec![vec![format!("A hold on {short} would be gone")]],
        "place_declared" => {
            let new = |at: &Instant| Some((view.place(meta.thing, *at), after.place(meta.thing, *at)?));
            times.iter().filter_map(new).map(|(old, new)| place_gives(short, old, new)).collect()
        }
        "yard_declared" => {
            let both = |at: &Instant| Some((view.yard(*at)?, after.yard(*at)?));
            times.iter().filter_map(both).map(|(old, new)| yard_gives(old, new)).collect()
        }
        _ => Vec::new(),
    };
    gives.concat()
}

/// The instants at which another declaration comes into force.
fn declared_at(view: View<'_>, label: Label) -> Vec<Instant> {
    let declared = view.facts(label).filter(|fact| matches!(fact.what, What::Place(_) | What::Yard(_)));
    declared.map(|fact| fact.at).collect()
}
