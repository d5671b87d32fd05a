//! A kit: plies of one or more rolls, each with its roll's life up to the cut and the kit's own from there on.

use crate::fact::{Fact, Label, Laid, What};
use crate::history::{History, kit_history, steps};
use crate::links::How;
use crate::roll::{End, RollLife, moved_in, roll_life};
use crate::view::View;
use shared_types::{Direction, Instant};
use std::collections::BTreeMap;
use std::sync::Arc;

pub struct KitLife {
    pub kit: Label,
    pub history: Arc<History>,
    pub items: Vec<KitItem>,
    pub end: Option<End>,
    pub rolls: BTreeMap<Label, Arc<RollLife>>,
}

/// Plies cut from one roll at one time.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct KitItem {
    pub roll: Label,
    pub cut_at: Instant,
    pub seq: u32,
}

pub fn kit_items(view: View<'_>, kit: Label) -> Vec<KitItem> {
    let links = view.links(kit).into_iter();
    let cuts = links.filter(|(link, _)| link.how == How::Cut && link.way == Direction::MadeFrom);
    cuts.map(|(link, source)| KitItem { roll: link.other, cut_at: source.at, seq: source.seq }).collect()
}

pub fn kit_life(view: View<'_>, kit: Label) -> KitLife {
    let mut steps = steps(view, kit);
    steps.extend(moved_in(view, kit));
    steps.sort_by_key(|step| step.at);
    let history = Arc::new(kit_history(view, &steps));
    let items = kit_items(view, kit);
    let rolls = items.iter().map(|item| item.roll).collect::<std::collections::BTreeSet<_>>();
    let rolls = rolls.into_iter().map(|roll| (roll, roll_life(view, roll))).collect();
    KitLife { kit, history, items, end: end(view, kit), rolls }
}

/// A kit is used up when all its items are laid; another cut into it opens it again.
fn end(view: View<'_>, kit: Label) -> Option<End> {
    let mut held: Vec<Label> = Vec::new();
    let mut laid: Vec<Label> = Vec::new();
    let mut end = None;
    for fact in view.facts(kit) {
        match &fact.what {
            What::Cut(cut) => {
                let own = cut
                    .kits
                    .iter()
                    .filter(|one| one.kit == kit)
                    .flat_map(|one| one.items.iter().map(|(roll, _)| *roll));
                for roll in own {
                    held.push(roll);
                    laid.retain(|other| *other != roll);
                }
                end = end.filter(|end: &End| end.disposed);
            }
            What::Laid(of) if of.from == kit => {
                laid.extend(of.items.as_ref().unwrap_or(&held));
                if !held.is_empty() && held.iter().all(|roll| laid.contains(roll)) {
                    end = end.or(Some(End { at: fact.at, latest: fact.latest(), seq: fact.seq, disposed: false }));
                }
            }
            What::Disposed { length_mm: None } => {
                end = end.or(Some(End {
                    at: fact.at,
                    latest: if view.waits(fact) { Instant::MAX } else { fact.latest() },
                    seq: fact.seq,
                    disposed: true,
                }));
            }
            _ => {}
        }
    }
    end
}

/// What a lay-up from a kit used: the items it names, else all that the kit then held. A kit that held nothing
/// yet by the times told is taken as holding what it ever held: a trace never loses a roll. Nothing at all: nobody
/// recorded what was cut into it.
pub fn laid_items(view: View<'_>, fact: &Fact, laid: &Laid) -> Vec<KitItem> {
    let all = kit_items(view, laid.from);
    let before = |item: &&KitItem| item.cut_at <= fact.at;
    if let Some(named) = &laid.items {
        let of = |roll: &Label| {
            let cuts: Vec<KitItem> = all.iter().filter(|item| item.roll == *roll).copied().collect();
            match (cuts.iter().any(|item| before(&item)), cuts.is_empty()) {
                (true, _) => cuts.into_iter().filter(|item| before(&item)).collect(),
                (false, false) => cuts,
                // A named roll that was never cut into the kit was laid all the same: straight from the roll.
                (false, true) => vec![KitItem { roll: *roll, cut_at: fact.at, seq: fact.seq }],
            }
        };
        return named.iter().flat_map(of).collect();
    }
    let held: Vec<KitItem> = all.iter().filter(before).copied().collect();
    if held.is_empty() { all } else { held }
}

impl KitLife {
    pub fn held_at(&self, at: Instant) -> impl Iterator<Item = &KitItem> {
        self.items.iter().filter(move |item| item.cut_at <= at)
    }

    pub fn ended(&self, at: Instant) -> Option<End> {
        self.end.filter(|end| end.at <= at)
    }
}
