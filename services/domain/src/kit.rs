//! A kit: plies of one or more rolls, each with its roll's life up to the cut and the kit's own from there on.

use crate::fact::{Fact, Label, Laid, What};
use crate::history::{History, Until, kit_history, steps};
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

impl KitItem {
    /// The roll's history counts up to the cut.
    pub fn until_cut(&self) -> Until {
        Until::Act { at: self.cut_at, seq: self.seq }
    }
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
    let history = Arc::new(kit_history(view, kit, &steps));
    let items = kit_items(view, kit);
    let rolls = items.iter().map(|item| item.roll).collect::<std::collections::BTreeSet<_>>();
    let rolls = rolls.into_iter().map(|roll| (roll, roll_life(view, roll))).collect();
    KitLife { kit, history, items, end: end(view, kit), rolls }
}

/// What a kit holds, as its facts go on: the rolls of its items, and which of them are laid.
#[derive(Default)]
struct Held {
    all: Vec<Label>,
    laid: Vec<(Label, u32)>,
}

impl Held {
    fn cut(&mut self, kit: Label, cut: &crate::fact::Cut) {
        let own = cut.kits.iter().filter(|one| one.kit == kit);
        for (roll, _) in own.flat_map(|one| &one.items) {
            self.all.push(*roll);
            self.laid.retain(|(other, _)| other != roll);
        }
    }

    /// The earlier lay-up of what this one lays again. One that names nothing lays what is left, if anything is.
    fn laid_by(&self, laid: &Laid) -> Option<u32> {
        let by = |roll: &Label| self.laid.iter().find(|(other, _)| other == roll).map(|(_, seq)| *seq);
        match &laid.items {
            Some(named) => named.iter().find_map(by),
            None if self.is_used_up() => self.laid.last().map(|(_, seq)| *seq),
            None => None,
        }
    }

    fn lay(&mut self, laid: &Laid, seq: u32) {
        let of = laid.items.as_ref().unwrap_or(&self.all);
        self.laid.extend(of.iter().map(|roll| (*roll, seq)));
    }

    fn is_used_up(&self) -> bool {
        !self.all.is_empty() && self.all.iter().all(|roll| self.laid.iter().any(|(other, _)| other == roll))
    }
}

/// The lay-up that had laid already what a later one lays once more.
pub(crate) fn laid_before(view: View<'_>, kit: Label, again: u32) -> Option<&Fact> {
    let mut held = Held::default();
    for fact in view.facts(kit) {
        match &fact.what {
            What::Cut(cut) => held.cut(kit, cut),
            What::Laid(laid) if laid.from == kit && fact.seq == again => {
                let by = held.laid_by(laid)?;
                return view.facts(kit).find(|fact| fact.seq == by);
            }
            What::Laid(laid) if laid.from == kit => held.lay(laid, fact.seq),
            _ => {}
        }
    }
    None
}

/// A kit is used up when all its items are laid; another cut into it opens it again.
fn end(view: View<'_>, kit: Label) -> Option<End> {
    let mut held = Held::default();
    let mut end = None;
    for fact in view.facts(kit) {
        match &fact.what {
            What::Cut(cut) => {
                held.cut(kit, cut);
                end = end.filter(|end: &End| end.disposed);
            }
            What::Laid(of) if of.from == kit => {
                held.lay(of, fact.seq);
                if held.is_used_up() {
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
