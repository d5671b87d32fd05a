//! One roll or kit: its facts as steps, walked once without and once with what people only told.

use std::collections::BTreeMap;
use std::rc::Rc;

use super::book::{Book, Settled, Settlement};
use super::entry::{Entry, Minute, Order};
use super::marks::{Lump, Mark, Return, Start, Step, Walk, What};
use super::walk::{Ground, ways};

/// The minutes outside of one roll (under one of its receipts) or one kit.
#[derive(Clone, Debug)]
pub struct Life {
    /// Without the take-outs that were only told, on each way on which the rest can be read.
    firm: Vec<Walk>,
    /// With them.
    full: Vec<Walk>,
    /// When it was outside on any of them.
    marks: Vec<Mark>,
}

impl Life {
    fn new(firm: Vec<Walk>, full: Vec<Walk>) -> Self {
        let mut marks: Vec<Mark> = Vec::new();
        for mark in firm.iter().chain(&full).flat_map(|way| &way.marks) {
            if !marks.contains(mark) {
                marks.push(mark.clone());
            }
        }
        Life { firm, full, marks }
    }

    fn ways(&self) -> impl Iterator<Item = &Walk> {
        self.full.iter().chain(&self.firm)
    }

    /// Nothing that may count or not gives back: what is outside on one way is outside.
    pub fn outside(&self, minute: Minute) -> bool {
        self.marks.iter().any(|mark| mark.covers(minute))
    }

    /// The first minute that any mark covers.
    pub fn begins(&self) -> Option<Minute> {
        self.marks.iter().map(|mark| mark.from).min()
    }

    /// Hours that were assigned. No settlement is charged twice; they are charged at the earliest.
    pub fn assigned(&self) -> Vec<Lump> {
        let mut all: Vec<Lump> = Vec::new();
        for lump in self.ways().flat_map(|way| &way.lumps) {
            match all.iter_mut().find(|other| other.settlement == lump.settlement) {
                Some(other) => other.at = other.at.min(lump.at),
                None => all.push(lump.clone()),
            }
        }
        all
    }

    /// Returns into the cold longer than `longer_than` minutes for which `counts` holds, before an opening and since, on
    /// each way, and on the first with the told take-outs and without, for they make none undone. `begins` may move the
    /// beginning of a stretch.
    pub fn refreezes(
        &self,
        longer_than: Minute,
        opening: Minute,
        counts: impl Fn(&Order) -> bool,
        begins: impl Fn(Minute, &Order) -> Minute,
    ) -> Vec<(i64, i64)> {
        // A return is that of its scan, whenever a person says that it was.
        let on = |firm: &Walk, full: &Walk| {
            let mut stretches: BTreeMap<&str, (&Order, Minute, Minute)> = BTreeMap::new();
            let both: [&[Return]; 2] = [&firm.returns, &full.returns];
            for back in both.into_iter().flatten().filter(|back| counts(&back.order)) {
                let (_, from, to) = stretches.entry(&back.scan).or_insert((&back.order, back.from, back.to));
                (*from, *to) = ((*from).min(back.from), (*to).max(back.to));
            }
            let long = stretches.values().filter(|(order, from, to)| to - begins(*from, order) > longer_than);
            let early: Vec<bool> = long.map(|(order, ..)| order.0 < opening).collect();
            let (early, all) = (early.iter().filter(|early| **early).count() as i64, early.len() as i64);
            (early, all - early)
        };
        std::iter::once(on(&self.firm[0], &self.full[0])).chain(self.ways().map(|way| on(way, way))).collect()
    }

    /// The latest instant of the last take-out for which `counts` holds: without what was only told, and with it.
    pub fn last_take_out(&self, counts: impl Fn(&Order) -> bool) -> (Option<Minute>, Option<Minute>) {
        let last = |walk: &Walk| {
            let by_then = walk.take_outs.iter().filter(|(order, _)| counts(order));
            by_then.max_by(|a, b| a.0.cmp(&b.0)).map(|(_, latest)| *latest)
        };
        (last(&self.firm[0]), last(&self.full[0]))
    }

    /// When the stretch outside in which an act happened began.
    pub fn out_since(&self, act: &Entry) -> Minute {
        let since = self.ways().flat_map(|way| &way.out_since);
        let since = since.filter(|(id, _)| *id == act.id).map(|(_, from)| *from).min();
        // Told, and inside a stretch that is outside only by a later fact: back minute by minute to its beginning.
        since.unwrap_or_else(|| {
            let before = |minute: &Minute| self.outside(minute - 1);
            std::iter::successors(Some(act.at), |minute| before(minute).then(|| minute - 1)).last().unwrap_or(act.at)
        })
    }

    /// What does not add up where nothing counts that may not have been: entry and kind.
    pub fn mismatches(&self) -> &[(String, &'static str)] {
        &self.full[0].mismatches
    }
}

/// The life of a roll if this receipt were its only one.
pub fn roll_life(book: &Book, roll: &str, receipt: &Entry) -> Rc<Life> {
    walked(book, roll, &receipt.id, || walk_roll(book, roll, receipt))
}

fn walked(book: &Book, label: &str, receipt: &str, walk: impl FnOnce() -> Life) -> Rc<Life> {
    let key = (label.to_owned(), receipt.to_owned());
    if let Some(life) = book.walked.borrow().get(&key) {
        return life.clone();
    }
    let life = Rc::new(walk());
    book.walked.borrow_mut().insert(key, life.clone());
    life
}

fn walk_roll(book: &Book, roll: &str, receipt: &Entry) -> Life {
    let arrived = charged_from(receipt).unwrap_or(receipt.at);
    let limit = storage_limit(book, roll);
    let is_cold = |from: &str| book.is_frozen(from, arrived) && !book.is_too_warm(from, arrived, limit);
    let from_cold = receipt.text("from").is_some_and(is_cold);
    let start = match charged_from(receipt) {
        Some(as_of) if !from_cold => Start::OutSince(as_of),
        _ => Start::Cold,
    };
    live(book, roll, start, &|fact| fact.kind != "roll_received" || fact.id == receipt.id)
}

/// A kit begins with its first cut.
pub fn kit_life(book: &Book, kit: &str) -> Rc<Life> {
    walked(book, kit, "", || live(book, kit, Start::Cold, &|_| true))
}

/// The instant as of which a receipt states what was used, never later than the receipt; none if it states nothing.
pub fn charged_from(receipt: &Entry) -> Option<Minute> {
    let as_of = receipt.body["opening"]["as_of"].as_str()?;
    Some(super::entry::milliseconds(as_of).div_euclid(60_000).min(receipt.at))
}

fn live(book: &Book, label: &str, start: Start, counts: &dyn Fn(&Entry) -> bool) -> Life {
    let settlements: Vec<Settlement> =
        book.settlements().into_iter().filter(|settled| settled.thing == label).collect();
    let rack_time = |place: &str, at: Minute| book.rack_time(place, at);
    let is_roll = label.starts_with("roll/");
    let limit = storage_limit(book, label);
    // Between an opening and what was done with it first it was outside; what was done before says itself where it was.
    let walk = |steps: &[Step]| {
        let says = |step: &&Step| step.what != What::Look && !step.perhaps;
        let before = |as_of: Minute| steps.iter().filter(says).any(|step| step.order.0 < as_of);
        let perhaps_before = |as_of: Minute| steps.iter().any(|step| step.perhaps && step.order.0 < as_of);
        let start = match start {
            Start::OutSince(as_of) if before(as_of) => Start::Cold,
            start => start,
        };
        let ground = |start| Ground { settlements: &settlements, rack_time: &rack_time, start, is_roll };
        let from = |start| ways(steps, ground(start)).into_iter().map(|walk| with_warm_stays(book, walk, limit));
        // If what was told of the time before is so, it was not outside from then on.
        let otherwise = match start {
            Start::OutSince(as_of) if perhaps_before(as_of) => from(Start::Cold).collect(),
            _ => Vec::new(),
        };
        from(start).chain(otherwise).collect::<Vec<_>>()
    };

    let mut facts: Vec<&Entry> = book.entries.iter().copied().filter(|fact| concerns(fact, label)).collect();
    facts.extend(moved_here(book, label));
    facts.retain(|fact| counts(fact));
    let steps: Vec<(&Entry, Step)> =
        facts.iter().filter_map(|fact| step(book, fact, label).map(|step| (*fact, step))).collect();

    // Without the take-outs that were only told. A told receipt, the cut that makes a kit, a told cut, lay-up or
    // sighting in a room count as scanned ones do; a told return into the cold may have been or not.
    let told_take_out = |fact: &Entry, step: &Step| matches!(step.what, What::TakenOut { .. }) && book.only_told(fact);
    let look = |step: &Step| Step { what: What::Look, ..step.clone() };
    let firm: Vec<Step> =
        steps.iter().map(|(fact, step)| if told_take_out(fact, step) { look(step) } else { step.clone() }).collect();
    let firm = walk(&firm);

    // With them, but for what changes nothing: inside a stretch that is outside by the scans alone, from its earliest to its
    // latest instant.
    let scans: Vec<Step> = steps
        .iter()
        .map(|(fact, step)| match told_take_out(fact, step) || step.perhaps {
            true => Step { perhaps: false, ..look(step) },
            false => step.clone(),
        })
        .collect();
    let scans = walk(&scans);
    let outside = |minute: Minute| scans.iter().flat_map(|way| &way.marks).any(|mark| mark.covers(minute));
    let changes_nothing = |step: &Step| {
        scans[0].out_since.iter().any(|(id, _)| id == step.id()) && (step.earliest..=step.latest).all(outside)
    };
    let full: Vec<Step> = steps
        .iter()
        .map(|(fact, step)| match told_take_out(fact, step) && changes_nothing(step) {
            true => look(step),
            false => step.clone(),
        })
        .collect();
    Life::new(firm, walk(&full))
}

/// Where a place may be warmer than a thing may be stored at, it ages there as it does outside.
fn with_warm_stays(book: &Book, mut walk: Walk, limit: Option<i64>) -> Walk {
    for (place, from, until) in std::mem::take(&mut walk.stays) {
        let within = |at: &Minute| from < *at && until.is_none_or(|until| *at < until);
        let mut turns: Vec<Minute> = book.declared_at(&place).into_iter().filter(within).collect();
        turns.sort_unstable();
        turns.insert(0, from);
        let ends = turns.iter().skip(1).map(|at| Some(*at)).chain([until]);
        let pieces = turns.iter().zip(ends).filter(|(from, _)| book.is_too_warm(&place, **from, limit));
        walk.marks.extend(pieces.map(|(from, until)| Mark { from: *from, until }));
    }
    walk
}

/// The coldest storage limit that the materials of a roll state, or of the rolls that a kit was cut from.
fn storage_limit(book: &Book, label: &str) -> Option<i64> {
    let rolls = match label.strip_prefix("kit/") {
        Some(code) => {
            let kits = book.of_kind("nest_cut").flat_map(|cut| list(&cut.body["kits"]));
            let items = kits.filter(|kit| kit["kit"] == *code).flat_map(|kit| list(&kit["items"]));
            items.filter_map(|item| item["roll"].as_str()).map(|code| format!("roll/{code}")).collect()
        }
        None => vec![label.to_owned()],
    };
    let receipts = rolls.iter().flat_map(|roll| receipts(book, roll));
    receipts.filter_map(|receipt| book.material(receipt)?["storage_limit_millideg_c"].as_i64()).min()
}

/// Does the fact say anything about where this thing is?
fn concerns(fact: &Entry, label: &str) -> bool {
    match fact.kind.as_str() {
        "roll_received" | "roll_put_away" | "roll_taken_out" | "kit_put_away" | "kit_taken_out" | "seen" => {
            fact.thing == label
        }
        "nest_cut" => cut_rolls(fact).chain(cut_kits(fact)).any(|named| named == label),
        "plies_laid" => fact.text("from") == Some(label),
        _ => false,
    }
}

/// Labels of the rolls that a cut took from, waste included.
pub fn cut_rolls(cut: &Entry) -> impl Iterator<Item = String> + '_ {
    let items = list(&cut.body["kits"]).flat_map(|kit| list(&kit["items"]));
    items.chain(list(&cut.body["waste"])).filter_map(|item| item["roll"].as_str()).map(|code| format!("roll/{code}"))
}

pub fn cut_kits(cut: &Entry) -> impl Iterator<Item = String> + '_ {
    list(&cut.body["kits"]).filter_map(|kit| kit["kit"].as_str()).map(|code| format!("kit/{code}"))
}

pub fn list(value: &serde_json::Value) -> impl Iterator<Item = &serde_json::Value> + '_ {
    value.as_array().into_iter().flatten()
}

/// Facts about another thing whose mismatch somebody settled with "it was this one", while that mismatch arises.
fn moved_here<'log>(book: &Book<'log>, label: &str) -> Vec<&'log Entry> {
    let mut moved = Vec::new();
    for settled in book.settlements() {
        let last = book.settlements().into_iter().filter(|other| {
            (&other.thing, &other.kind, &other.entry) == (&settled.thing, &settled.kind, &settled.entry)
        });
        let is_last = last.map(|other| other.seq).max() == Some(settled.seq);
        let Settled::Other(other) = &settled.answer else { continue };
        if other != label || !is_last || settled.thing == label {
            continue;
        }
        let arises = lives(book, &settled.thing).iter().any(|life| {
            life.mismatches().iter().any(|(entry, kind)| (entry, *kind) == (&settled.entry, settled.kind.as_str()))
        });
        if arises {
            moved.extend(book.entries.iter().copied().filter(|entry| entry.id == settled.entry));
        }
    }
    moved
}

/// The life of a thing under each of its receipts.
pub fn lives(book: &Book, label: &str) -> Vec<Rc<Life>> {
    match label.starts_with("roll/") {
        true => receipts(book, label).into_iter().map(|receipt| roll_life(book, label, receipt)).collect(),
        false => vec![kit_life(book, label)],
    }
}

pub fn receipts<'log>(book: &Book<'log>, roll: &str) -> Vec<&'log Entry> {
    book.of_kind("roll_received").filter(|fact| fact.thing == roll).collect()
}

fn step(book: &Book, fact: &Entry, label: &str) -> Option<Step> {
    // A place that is not frozen, or that nobody declared, is a place outside.
    let inside = |key: &str| {
        let place = fact.text(key).filter(|place| book.is_frozen(place, fact.at))?.to_owned();
        // Where its position was scanned, it was in the rack at the scan.
        let rack = if fact.text("position").is_some() { 0 } else { book.rack_time(&place, fact.at) };
        Some((place, rack))
    };
    let what = match fact.kind.as_str() {
        "roll_received" => What::Received,
        "roll_put_away" | "kit_put_away" => match inside("into") {
            Some((place, rack)) => What::PutAway { place, rack },
            None => What::ActOutside,
        },
        "seen" => match inside("in") {
            Some((place, rack)) => What::SeenInside { place, rack },
            None => What::ActOutside,
        },
        "roll_taken_out" | "kit_taken_out" => {
            let from = fact.text("from").map(|from| (from.to_owned(), book.is_frozen(from, fact.at)));
            What::TakenOut { from }
        }
        "nest_cut" if label.starts_with("kit/") => What::Born,
        "nest_cut" | "plies_laid" => What::ActOutside,
        _ => return None,
    };
    let perhaps = book.only_told(fact) && matches!(what, What::PutAway { .. } | What::SeenInside { .. });
    let proves_order = !book.only_told(fact) && !fact.told && !fact.device_only_claimed;
    let device = fact.device.clone().filter(|_| proves_order);
    Some(Step { order: fact.order(), earliest: fact.earliest(), latest: fact.latest(), device, perhaps, what })
}
