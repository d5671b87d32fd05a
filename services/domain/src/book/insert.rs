//! Putting entries into the book: under every label they name, where they happened; and what acts on an entry.

use super::{Book, EntryMeta, Shelf};
use crate::fact::{ActsOn, Does, Fact, Label, NEVER, What};
use crate::read::{self, Named};
use crate::rights;
use crate::standing::{Standing, device_by};
use crate::view::View;
use shared_types::{Body, Entry, Kind, KnownBy, MismatchName, ThingName};

impl Book {
    /// Puts an entry where it happened. Arrival order is forgotten here, but for what was known when.
    pub fn insert(&mut self, entry: &Entry) {
        let seq = u32::try_from(self.entries.len() + 1).unwrap_or(NEVER - 1);
        let thing = self.mention(Named::Thing(&entry.thing));
        let by = self.mention(Named::Code(Kind::Badge, &entry.by));
        let device = entry.device.as_ref().map(|code| self.mention(Named::Code(Kind::Device, code)));
        self.entries.push(EntryMeta {
            id: entry.id,
            recorded_at: entry.recorded_at,
            occurred_at: entry.occurred_at.at,
            thing,
            by,
            kind: entry.body.plain_kind(),
            of: entry.body.of(),
            by_known: entry.by_known,
            struck_by: NEVER,
        });
        self.ids.entry(entry.id).or_insert(seq);
        if let Some(device) = device.filter(|device| self.came_from(*device, entry, seq)) {
            self.sent.entry(device).or_default().push(seq);
            if let Some(counter) = entry.counter {
                self.counters.entry(device).or_default().entry(counter).or_insert(seq);
            }
        }
        let mut also = Vec::new();
        let on = self.target(entry);
        let what = read::what(entry, thing, on, &mut |named| self.mention(named), &mut also);
        if matches!(what, What::SetAside) {
            self.set_aside += 1;
        }
        let before = View::new(self, u64::from(seq) - 1);
        let second = rights::second_counts(before, entry);
        let fact = read::fact(entry, seq, by, device, (what, second));
        if matches!(entry.body, Body::BatchRegistered(_)) {
            self.registered.entry(thing).or_default().push(fact.clone());
        }
        if matches!(
            fact.what,
            What::Granted(_)
                | What::Enrolled(_)
                | What::DeviceRevoked(_)
                | What::TokenIssued(_)
                | What::TokenRevoked(_)
        ) {
            self.said.keep(thing, &fact);
        }
        if matches!(entry.body, Body::HoldPlaced(_)) && self.held.insert(thing) {
            self.newly_held = seq;
        }
        // Who decides about a badge need not look again because it signed in meanwhile.
        let counts =
            !matches!(entry.body, Body::Seen(_) | Body::PlaceDeclared(_) | Body::SignedIn(_) | Body::RightRefused(_));
        also.push(thing);
        also.sort_unstable();
        also.dedup();
        for label in also {
            if counts {
                self.named(label, seq);
            }
            self.changed_by(label, seq);
            self.keep(label, fact.clone());
        }
        self.act_on_another(entry, seq, by);
    }

    /// Whether an entry that names a device came from there. Of an enrolled one nobody else can say so.
    fn came_from(&self, device: Label, entry: &Entry, seq: u32) -> bool {
        entry.device_known != Some(KnownBy::Claimed) || device_by(self, device, seq - 1) != Standing::Enrolled
    }

    /// The label of a thing, made when it is mentioned for the first time.
    fn mention(&mut self, named: Named<'_>) -> Label {
        let known = self.labels_of(named.kind()).and_then(|labels| labels.get(named.code()));
        if let Some(label) = known {
            return *label;
        }
        let label = u32::try_from(self.shelves.len()).unwrap_or(u32::MAX);
        let name = named.name();
        if let Some(labels) = self.labels.get_mut(name.kind() as usize) {
            labels.insert(name.code().into(), label);
        }
        if name.kind() == Kind::Yard && name == ThingName::yard() {
            self.yard = Some(label);
        }
        if name.kind() == Kind::Batch {
            self.batches.entry(name.short().to_owned()).or_default().push(label);
        }
        self.in_order.insert(name.clone(), label);
        self.shelves.push(Shelf { name, facts: Vec::new(), last_named: 0, changed: 0 });
        self.links.add_thing();
        label
    }

    fn named(&mut self, label: Label, seq: u32) {
        if let Some(shelf) = self.shelves.get_mut(label as usize) {
            shelf.last_named = seq;
        }
    }

    fn changed_by(&mut self, label: Label, seq: u32) {
        if let Some(shelf) = self.shelves.get_mut(label as usize) {
            shelf.changed = seq;
        }
    }

    fn keep(&mut self, label: Label, fact: Fact) {
        let order = |other: &Fact| self.before(other, &fact);
        let facts = self.shelves.get(label as usize).map_or(&[][..], |shelf| &shelf.facts);
        let at = match facts.last() {
            Some(last) if !order(last) => facts.partition_point(order),
            Some(_) | None => facts.len(),
        };
        let later = facts.get(at..).unwrap_or_default();
        let same = later.iter().take_while(|other| other.at == fact.at).count();
        self.links.keep(label, &fact, later.get(..same).unwrap_or_default());
        if let Some(shelf) = self.shelves.get_mut(label as usize) {
            shelf.facts.insert(at, fact);
        }
    }

    fn act_on_another(&mut self, entry: &Entry, seq: u32, by: Label) {
        let second = entry.second.as_ref().map(|second| self.mention(Named::Code(Kind::Badge, &second.by)));
        let (target, does) = match &entry.body {
            Body::HoldLifted(body) => (body.hold, Does::Lifts),
            Body::FactConfirmed(body) => (body.entry, Does::Confirms),
            Body::MismatchSettled(body) => {
                let MismatchName { kind, entry } = &body.mismatch;
                let other = match &body.answer {
                    shared_types::Settlement::Other(other) => Some(self.mention(Named::Thing(other))),
                    _ => None,
                };
                (*entry, Does::Settles { kind: kind.clone(), answer: body.answer.clone(), other })
            }
            Body::EntryStruck(_) => return self.strike(entry, seq),
            _ => return,
        };
        let Some(target) = self.ids.get(&target).copied() else { return };
        let thing = self.label(&entry.thing).unwrap_or_default();
        let acts = self.acts_on.entry(target).or_default();
        acts.push(ActsOn { seq, thing, at: entry.occurred_at.at, struck_by: NEVER, by, second, does });
        // Everything that the other names may read otherwise now.
        for label in self.kept_under(target) {
            self.named(label, seq);
            self.changed_by(label, seq);
        }
    }

    /// Marks the struck entry wherever it is kept. A strike is not struck.
    fn strike(&mut self, entry: &Entry, by_seq: u32) {
        let target = entry.strikes.and_then(|id| self.ids.get(&id).copied());
        let Some(target) = target.filter(|target| *target < by_seq) else { return };
        let index = usize::try_from(target).unwrap_or(0).saturating_sub(1);
        let Some(meta) =
            self.entries.get_mut(index).filter(|meta| meta.kind != "entry_struck" && meta.struck_by == NEVER)
        else {
            return;
        };
        meta.struck_by = by_seq;
        let registered = self.registered.get_mut(&meta.thing).into_iter().flatten();
        registered.filter(|fact| fact.seq == target).for_each(|fact| fact.struck_by = by_seq);
        self.said.strike(meta.thing, target, by_seq);
        let acts = matches!(meta.kind, "hold_lifted" | "fact_confirmed" | "mismatch_settled");
        for label in self.kept_under(target) {
            let facts = self.shelves.get_mut(label as usize).map(|shelf| &mut shelf.facts);
            for fact in facts.into_iter().flatten().filter(|fact| fact.seq == target) {
                fact.struck_by = by_seq;
            }
            self.links.strike(label, target, by_seq);
            self.named(label, by_seq);
            self.changed_by(label, by_seq);
        }
        if acts {
            self.acts_on.values_mut().flatten().filter(|act| act.seq == target).for_each(|act| act.struck_by = by_seq);
        }
    }
}
