//! Where the book has a thing, fact after fact, and which minutes each fact therefore says it was outside.
//!
//! Nothing is added up here. Every rule leaves a mark, "outside from then until then", and a later pass looks at
//! each minute on its own and asks whether any mark covers it.

mod elsewhere;

use super::book::{Settled, Settlement};
use super::entry::Minute;
use super::marks::{Lump, Mark, Return, Start, Step, Walk, What};

/// Where the book has the thing.
#[derive(Clone, Debug)]
enum Whereabouts {
    /// Nothing is known yet, and it counts as cold.
    Nowhere,
    /// `known_since`: the earliest instant of the last fact that showed it there.
    Inside {
        place: String,
        known_since: Minute,
    },
    Outside(Stretch),
}

#[derive(Clone, Debug, Default)]
struct Stretch {
    start: Minute,
    /// Which marks end when it does.
    marks: Vec<usize>,
    /// Latest instant and device of every take-out in it: a put-away must be after all of them.
    take_outs: Vec<(Minute, Option<String>)>,
    last_place: Option<String>,
}

/// What the walk must know besides the facts.
#[derive(Clone, Copy)]
pub struct Ground<'a> {
    /// The settlements of this thing's mismatches.
    pub settlements: &'a [Settlement],
    pub rack_time: &'a dyn Fn(&str, Minute) -> Minute,
    pub start: Start,
    /// A roll's first put-away is goods-in's, and no return.
    pub is_roll: bool,
}

/// Walks the facts in their order, on every way on which they can be read: what may count or not does on one, and does
/// not on the other. On the first way nothing of that counts.
pub fn ways(steps: &[Step], ground: Ground) -> Vec<Walk> {
    let mut ways = Vec::new();
    let mut open: Vec<Vec<bool>> = vec![Vec::new()];
    while let Some(decisions) = open.pop() {
        let way = walk(steps, ground, &decisions);
        for turn in decisions.len()..way.decided.len() {
            let mut other: Vec<bool> = way.decided[..turn].iter().map(|(_, counts)| *counts).collect();
            other.push(true);
            open.push(other);
        }
        ways.push(way);
    }
    ways
}

/// Walks them on one way: what may count does as decided, and beyond those decisions it does not.
fn walk(steps: &[Step], ground: Ground, decisions: &[bool]) -> Walk {
    let mut granted: Vec<Step> = Vec::new();
    let mut settled_by_grant: Vec<(String, &'static str)> = Vec::new();
    loop {
        let mut all: Vec<Step> = steps.iter().chain(&granted).cloned().collect();
        all.sort_by(|a, b| a.order.cmp(&b.order));
        let mut pass = Pass::new(ground, &settled_by_grant, decisions);
        all.iter().for_each(|step| pass.take_noting_stays(step));
        let Pass { grant, walk, .. } = pass;
        match grant {
            // A put-away that a settlement states changes what comes after it: look at everything again.
            Some((put_away, mismatch)) => {
                granted.push(put_away);
                settled_by_grant.push(mismatch);
            }
            None => {
                let mismatches = walk.mismatches.into_iter().chain(settled_by_grant).collect();
                return Walk { mismatches, ..walk };
            }
        }
    }
}

struct Pass<'a> {
    ground: Ground<'a>,
    settled_by_grant: &'a [(String, &'static str)],
    decisions: &'a [bool],
    place: Whereabouts,
    was_put_away: bool,
    walk: Walk,
    grant: Option<(Step, (String, &'static str))>,
}

impl<'a> Pass<'a> {
    fn new(ground: Ground<'a>, settled_by_grant: &'a [(String, &'static str)], decisions: &'a [bool]) -> Self {
        let (place, walk) = (Whereabouts::Nowhere, Walk::default());
        let mut pass = Pass { ground, settled_by_grant, decisions, place, was_put_away: false, walk, grant: None };
        if let Start::OutSince(from) = ground.start {
            pass.leave(from, None);
        }
        pass
    }

    fn take(&mut self, step: &Step) {
        if self.grant.is_some() {
            return;
        }
        let what = if step.perhaps && !self.decide(step) { What::Look } else { step.what.clone() };
        match what {
            // A receipt shows it on the dock, unless it was put away first and booked in later.
            What::Received => {
                if matches!(self.place, Whereabouts::Nowhere) {
                    self.leave(step.earliest, None);
                }
            }
            What::TakenOut { from } => {
                if !self.seen_elsewhere(step, from) {
                    self.taken_out(step);
                }
            }
            What::PutAway { place, rack } => self.put_away(step, place, rack),
            What::SeenInside { place, rack } => self.seen_inside(step, place, rack),
            What::ActOutside | What::Born => self.act_outside(step),
            What::Look => {}
            What::Granted { place, rack, .. } => self.granted(step, place, rack),
        }
        if (step.perhaps || matches!(step.what, What::ActOutside | What::Born | What::Look))
            && let Whereabouts::Outside(stretch) = &self.place
        {
            self.walk.out_since.push((step.id().to_owned(), stretch.start));
        }
    }

    /// Whether a fact that may count does on this way.
    fn decide(&mut self, step: &Step) -> bool {
        let counts = self.decisions.get(self.walk.decided.len()).copied().unwrap_or(false);
        self.walk.decided.push((step.id().to_owned(), counts));
        counts
    }

    /// Outside from `from` on, until something ends it.
    fn leave(&mut self, from: Minute, take_out: Option<&Step>) {
        let mut stretch = match &self.place {
            Whereabouts::Outside(stretch) => stretch.clone(),
            Whereabouts::Inside { place, .. } => {
                Stretch { start: from, last_place: Some(place.clone()), ..Stretch::default() }
            }
            Whereabouts::Nowhere => Stretch { start: from, ..Stretch::default() },
        };
        stretch.start = stretch.start.min(from);
        stretch.marks.push(self.walk.marks.len());
        self.walk.marks.push(Mark { from, until: None });
        stretch.take_outs.extend(take_out.map(|step| (step.latest, step.device.clone())));
        self.place = Whereabouts::Outside(stretch);
    }

    /// Ends the running stretch, if every take-out in it was certainly before this: seen by the same device, or
    /// over before the earliest instant of this. Otherwise the clock runs on.
    fn come_back(&mut self, step: &Step, place: String, back_at: Minute) -> bool {
        let Whereabouts::Outside(stretch) = self.place.clone() else { return true };
        let is_after = |(latest, device): &(Minute, Option<String>)| {
            (device.is_some() && *device == step.device) || step.earliest > *latest
        };
        if !stretch.take_outs.iter().all(is_after) {
            return false;
        }
        for mark in stretch.marks {
            self.walk.marks[mark].until = Some(back_at);
        }
        self.returned(step, stretch.start, back_at);
        self.place = Whereabouts::Inside { place, known_since: step.earliest };
        true
    }

    /// It came back into the cold from a stretch outside. A roll's first put-away is goods-in's and no return.
    fn returned(&mut self, step: &Step, from: Minute, to: Minute) {
        if self.was_put_away || !self.ground.is_roll {
            self.walk.returns.push(Return { order: step.order.clone(), scan: step.scan().to_owned(), from, to });
        }
    }

    fn taken_out(&mut self, step: &Step) {
        self.walk.take_outs.push((step.order.clone(), step.latest));
        if let Whereabouts::Outside(stretch) = self.place.clone() {
            // Out while out: the clock runs on from the first.
            match self.mismatch(step, "out_while_out") {
                Some(Settled::Other(_)) => {
                    self.walk.take_outs.pop();
                    return;
                }
                Some(Settled::OutSince(since)) => self.leave(since, None),
                Some(Settled::AssignedSeconds(seconds)) => {
                    self.lump(step, "out_while_out", stretch.start, seconds);
                }
                _ => {}
            }
        }
        self.leave(step.earliest, Some(step));
    }

    fn put_away(&mut self, step: &Step, place: String, rack: Minute) {
        let back_at = step.latest + rack;
        match self.place.clone() {
            Whereabouts::Nowhere => {
                self.place = Whereabouts::Inside { place, known_since: step.earliest };
            }
            Whereabouts::Outside(stretch) => {
                if !self.come_back(step, place.clone(), back_at) {
                    match self.mismatch(step, "put_away_not_after_take_out") {
                        Some(Settled::WasTakeOut) => self.was_take_out(step),
                        Some(Settled::OutSince(since)) => {
                            self.leave(since, None);
                            self.end_anyway(step, place, back_at);
                        }
                        Some(Settled::AssignedSeconds(seconds)) => {
                            self.lump(step, "put_away_not_after_take_out", stretch.start, seconds);
                        }
                        Some(Settled::Other(_)) => return,
                        None if !self.is_granted(step) && self.decide(step) => self.end_anyway(step, place, back_at),
                        _ => {}
                    }
                }
            }
            Whereabouts::Inside { place: here, known_since } => {
                self.in_while_in(step, place, here, known_since, back_at);
            }
        }
        self.was_put_away = true;
    }

    /// Put away while the book has it in the cold already.
    fn in_while_in(&mut self, step: &Step, place: String, here: String, known_since: Minute, back_at: Minute) {
        let same = place == here;
        let kind = if same { "in_while_in" } else { "in_while_in_elsewhere" };
        let inside = Whereabouts::Inside { place, known_since: step.earliest };
        if same && self.is_granted(step) {
            // The settlement put the put-away itself into history; this scan only shows that it was there.
            self.place = inside;
            return;
        }
        match self.mismatch(step, kind) {
            Some(Settled::OutSince(since)) => {
                self.walk.marks.push(Mark { from: since, until: Some(back_at) });
                self.returned(step, since, back_at);
                self.place = inside;
            }
            Some(Settled::CarriedOver(minutes)) => {
                self.walk.marks.push(Mark { from: step.earliest - minutes, until: Some(back_at) });
                self.place = inside;
            }
            Some(Settled::AssignedSeconds(seconds)) => {
                self.lump(step, kind, known_since, seconds);
                self.place = inside;
            }
            Some(Settled::WasTakeOut) => self.was_take_out(step),
            Some(Settled::Other(_)) => {}
            // A put-away at T would have been granted; unanswered, it is counted the unsafe way.
            Some(Settled::PutAwayAt(_) | Settled::Nothing) | None => {
                if same {
                    // Probably a take-out with the wrong placard: out since last known inside, and it runs on.
                    self.leave(known_since, Some(step));
                } else {
                    self.walk.marks.push(Mark { from: known_since, until: Some(back_at) });
                    self.returned(step, known_since, back_at);
                    self.place = inside;
                }
            }
        }
    }

    fn seen_inside(&mut self, step: &Step, place: String, rack: Minute) {
        match self.place.clone() {
            Whereabouts::Nowhere => {
                self.place = Whereabouts::Inside { place, known_since: step.earliest };
            }
            Whereabouts::Inside { place: here, .. } if here == place => {
                self.place = Whereabouts::Inside { place, known_since: step.earliest };
            }
            // Seen in another frozen place: as if it had been put away there, but no refreeze.
            Whereabouts::Inside { place: here, known_since } => {
                let returns = self.walk.returns.len();
                self.in_while_in(step, place, here, known_since, step.latest + rack);
                self.walk.returns.truncate(returns);
            }
            // A count may read a bag that was left behind: it changes nothing.
            Whereabouts::Outside(_) => {
                if !self.is_granted(step)
                    && let Some(Settled::WasTakeOut) = self.mismatch(step, "seen_inside_while_out")
                {
                    self.was_take_out(step);
                }
            }
        }
    }

    /// Seen, cut, kitted or laid outside. While the book has it inside: out since last known inside, and it runs on.
    fn act_outside(&mut self, step: &Step) {
        match self.place.clone() {
            Whereabouts::Outside(_) => {}
            Whereabouts::Nowhere => {
                // A cut joins two histories at its own instant.
                let born = step.what == What::Born;
                self.leave(if born { step.order.0 } else { step.earliest }, None);
            }
            Whereabouts::Inside { known_since, .. } => match self.mismatch(step, "acted_while_inside") {
                Some(Settled::OutSince(since)) => self.leave(since, None),
                Some(Settled::CarriedOver(minutes)) => self.leave(step.earliest - minutes, None),
                Some(Settled::AssignedSeconds(seconds)) => {
                    self.lump(step, "acted_while_inside", known_since, seconds);
                    self.leave(step.earliest, None);
                }
                Some(Settled::WasTakeOut) => self.was_take_out(step),
                Some(Settled::Other(_)) => {}
                Some(Settled::PutAwayAt(_) | Settled::Nothing) | None => self.leave(known_since, None),
            },
        }
    }

    /// A put-away that a settlement states, at exactly that time.
    fn granted(&mut self, step: &Step, place: String, rack: Minute) {
        match self.place.clone() {
            Whereabouts::Inside { known_since, .. } => {
                self.walk.marks.push(Mark { from: known_since, until: Some(step.latest + rack) });
                self.returned(step, known_since, step.latest + rack);
                self.place = Whereabouts::Inside { place, known_since: step.earliest };
            }
            Whereabouts::Outside(_) => {
                self.come_back(step, place, step.latest + rack);
            }
            Whereabouts::Nowhere => self.place = Whereabouts::Inside { place, known_since: step.earliest },
        }
        self.was_put_away = true;
    }

    fn was_take_out(&mut self, step: &Step) {
        self.walk.take_outs.push((step.order.clone(), step.latest));
        self.leave(step.earliest, Some(step));
    }

    fn end_anyway(&mut self, step: &Step, place: String, back_at: Minute) {
        if let Whereabouts::Outside(stretch) = &mut self.place {
            stretch.take_outs.clear();
        }
        self.come_back(step, place, back_at);
    }

    fn lump(&mut self, step: &Step, kind: &'static str, at: Minute, seconds: i64) {
        let settlement = self.settlement(step, kind).map(|settled| settled.id.clone()).unwrap_or_default();
        self.walk.lumps.push(Lump { settlement, at, act_at: step.order.0, seconds });
    }

    fn is_granted(&self, step: &Step) -> bool {
        self.settled_by_grant.iter().any(|(entry, _)| entry == step.id())
    }

    /// Of two settlements the later counts.
    fn settlement(&self, step: &Step, kind: &str) -> Option<&'a Settlement> {
        let about = |settled: &&Settlement| settled.entry == step.id() && settled.kind == kind;
        self.ground.settlements.iter().filter(about).max_by_key(|settled| settled.seq)
    }

    /// Notes what does not add up, and says how it was settled, if it was. "It was put away at T" becomes a put-away
    /// in the scan's place or, for a take-out, in the place where it last was; of an act outside it says nothing.
    fn mismatch(&mut self, step: &Step, kind: &'static str) -> Option<Settled> {
        if self.is_granted(step) {
            return None;
        }
        let late = |settled: &Settlement| match settled.answer {
            Settled::OutSince(at) => step.latest < at,
            Settled::PutAwayAt(at) => step.latest < at && kind != "put_away_not_after_take_out",
            _ => false,
        };
        // Nothing is settled by a time after the scan.
        let settlement = self.settlement(step, kind).filter(|settled| !late(settled)).cloned();
        if let Some(Settlement { answer: Settled::PutAwayAt(at), id, .. }) = &settlement
            && let Some(place) = self.put_away_where(step)
        {
            let rack = (self.ground.rack_time)(&place, *at);
            // Before whatever else happened at that instant: the scan itself comes after it.
            let order = (*at, None, None, 0, format!("!{id}"));
            let put_away = What::Granted { place, rack, scan: step.id().to_owned() };
            let step_at = Step { order, earliest: *at, latest: *at, device: None, perhaps: false, what: put_away };
            self.grant = Some((step_at, (step.id().to_owned(), kind)));
        } else {
            self.walk.mismatches.push((step.id().to_owned(), kind));
        }
        settlement.map(|settlement| settlement.answer)
    }

    fn put_away_where(&self, step: &Step) -> Option<String> {
        match (&step.what, &self.place) {
            (What::PutAway { place, .. } | What::SeenInside { place, .. }, _) => Some(place.clone()),
            (What::TakenOut { .. }, Whereabouts::Outside(stretch)) => stretch.last_place.clone(),
            _ => None,
        }
    }
}
