//! The book: every fact under every label it names, in occurred order. Late facts, strikes and "as known then"
//! are one filter over it; there are no past states and no snapshots.

use crate::fact::{ActsOn, Does, Fact, Label, NEVER, What};
use crate::links::Links;
use crate::read::{self, Named};
use shared_types::{Body, Code, Entry, Instant, Kind, MismatchName, ThingName};
use std::collections::{BTreeMap, HashMap};
use std::hash::{BuildHasherDefault, DefaultHasher};
use std::ops::Bound;
use uuid::Uuid;

/// Looked up only, never shown: the same everywhere, so no randomness comes in.
type Lookup<K, V> = HashMap<K, V, BuildHasherDefault<DefaultHasher>>;

/// A clone is a book of its own: what is inserted there is only thought of here.
#[derive(Default, Clone)]
pub struct Book {
    /// By label.
    shelves: Vec<Shelf>,
    /// By kind and code.
    labels: [Lookup<Box<str>, Label>; Kind::ALL.len()],
    /// The same in order, so that a list can go on where its last page ended.
    in_order: BTreeMap<ThingName, Label>,
    yard: Option<Label>,
    /// What the facts say of what is made from what.
    links: Links,
    entries: Vec<EntryMeta>,
    ids: Lookup<Uuid, u32>,
    acts_on: Lookup<u32, Vec<ActsOn>>,
    batches: BTreeMap<String, Vec<Label>>,
    /// Counters seen, by device.
    counters: BTreeMap<Label, BTreeMap<u64, u32>>,
    /// Registrations by batch, beside its receipts, of which there are many.
    registered: BTreeMap<Label, Vec<Fact>>,
    /// Labels that a hold was ever placed on.
    held: std::collections::BTreeSet<Label>,
    set_aside: u32,
}

/// What is kept under a label.
#[derive(Clone)]
struct Shelf {
    name: ThingName,
    facts: Vec<Fact>,
    /// The last entry that names it, sightings and places left out.
    last_named: u32,
}

/// What is kept of every entry.
#[derive(Clone, Debug)]
pub struct EntryMeta {
    pub id: Uuid,
    pub recorded_at: Instant,
    pub occurred_at: Instant,
    pub thing: Label,
    pub by: Label,
    pub kind: &'static str,
    pub struck_by: u32,
}

impl Book {
    pub fn last_seq(&self) -> u64 {
        self.entries.len() as u64
    }

    pub fn last_recorded_at(&self) -> Option<Instant> {
        self.entries.last().map(|entry| entry.recorded_at)
    }

    pub fn seq_of(&self, id: &Uuid) -> Option<u64> {
        self.ids.get(id).map(|seq| u64::from(*seq))
    }

    pub fn entry(&self, seq: u32) -> Option<&EntryMeta> {
        self.entries.get(usize::try_from(seq).ok()?.checked_sub(1)?)
    }

    pub fn id_of(&self, seq: u32) -> Uuid {
        self.entry(seq).map_or(Uuid::nil(), |entry| entry.id)
    }

    pub fn things(&self) -> usize {
        self.shelves.len()
    }

    pub fn label(&self, thing: &ThingName) -> Option<Label> {
        self.labels_of(thing.kind())?.get(thing.code()).copied()
    }

    fn labels_of(&self, kind: Kind) -> Option<&Lookup<Box<str>, Label>> {
        self.labels.get(kind as usize)
    }

    /// The yard itself, once something was said of it. Nearly every answer asks for it.
    pub(crate) fn yard(&self) -> Option<Label> {
        self.yard
    }

    pub fn name(&self, label: Label) -> &ThingName {
        // Labels are made only by this book, so the first name stands in only for one that can't be.
        static NOBODY: std::sync::LazyLock<ThingName> = std::sync::LazyLock::new(ThingName::nobody);
        self.shelves.get(label as usize).map_or(&NOBODY, |shelf| &shelf.name)
    }

    pub fn kind(&self, label: Label) -> Kind {
        self.name(label).kind()
    }

    pub fn code(&self, label: Label) -> Code {
        self.name(label).own_code()
    }

    pub fn labels(&self) -> impl Iterator<Item = Label> + use<> {
        0..u32::try_from(self.shelves.len()).unwrap_or(u32::MAX)
    }

    /// Things of a kind in the order of their codes, from behind one of them on.
    pub fn in_order(&self, kind: Kind, after: Option<&ThingName>) -> impl Iterator<Item = (&ThingName, Label)> {
        let first = ThingName::first_of(kind);
        let from = Bound::Excluded(after.unwrap_or(&first));
        let all = self.in_order.range((from, Bound::Unbounded)).map(|(name, label)| (name, *label));
        all.take_while(move |(name, _)| name.kind() == kind)
    }

    /// Every fact under a label, struck ones too, in occurred order.
    pub fn all_facts(&self, label: Label) -> &[Fact] {
        self.shelves.get(label as usize).map_or(&[], |shelf| &shelf.facts)
    }

    pub(crate) fn links(&self) -> &Links {
        &self.links
    }

    pub fn last_named(&self, label: Label) -> u32 {
        self.shelves.get(label as usize).map_or(0, |shelf| shelf.last_named)
    }

    pub fn acts_on(&self, seq: u32) -> &[ActsOn] {
        self.acts_on.get(&seq).map_or(&[], Vec::as_slice)
    }

    /// A batch's registrations, struck ones too.
    pub fn registered(&self, batch: Label) -> &[Fact] {
        self.registered.get(&batch).map_or(&[], Vec::as_slice)
    }

    /// A thing's own history: entry numbers in occurred order.
    pub fn entries_of(&self, thing: &ThingName) -> Vec<u64> {
        let facts = self.label(thing).map_or(&[][..], |label| self.all_facts(label));
        facts.iter().map(|fact| u64::from(fact.seq)).collect()
    }

    /// Which things a label's code may mean. A batch is found by its own code too.
    pub fn with_code(&self, code: &Code) -> Vec<ThingName> {
        let one = |kind| Some(ThingName::new(kind, code)).filter(|name| self.label(name).is_some());
        let batches = self.batches.get(code.as_str()).into_iter().flatten().map(|label| self.name(*label).clone());
        let plain = Kind::ALL.into_iter().filter(|kind| *kind != Kind::Batch).filter_map(one);
        let mut found: Vec<ThingName> = plain.chain(batches).collect();
        found.sort();
        found
    }

    /// The last entry of the group an entry was written with: what was known once it was written.
    pub fn group_end(&self, seq: u32) -> u32 {
        let Some(own) = self.entry(seq) else { return seq };
        let end = self.entries.partition_point(|other| other.recorded_at <= own.recorded_at);
        u32::try_from(end).unwrap_or(u32::MAX)
    }

    /// The last entry before an entry's group: what was known when a decision was made.
    pub fn before_group(&self, seq: u32) -> u32 {
        let Some(own) = self.entry(seq) else { return seq };
        let end = self.entries.partition_point(|other| other.recorded_at < own.recorded_at);
        u32::try_from(end).unwrap_or(u32::MAX)
    }

    /// Counters that had not come by an entry, per device: the last before the gap, the one after it and its entry.
    pub fn counter_gaps(&self, device: Label, known: u32) -> Vec<(u64, u64, u32)> {
        let seen = self.counters.get(&device).into_iter().flatten().filter(|(_, seq)| **seq <= known);
        let pairs = seen.clone().zip(seen.skip(1));
        let gaps = pairs.filter(|((before, _), (next, _))| before.saturating_add(1) < **next);
        gaps.map(|((before, _), (next, seq))| (*before, *next, *seq)).collect()
    }

    pub fn devices(&self) -> impl Iterator<Item = Label> {
        self.counters.keys().copied()
    }

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
            struck_by: NEVER,
        });
        self.ids.entry(entry.id).or_insert(seq);
        if let (Some(device), Some(counter)) = (device, entry.counter) {
            self.counters.entry(device).or_default().entry(counter).or_insert(seq);
        }
        let mut also = Vec::new();
        let on = self.target(entry);
        let what = read::what(entry, thing, on, &mut |named| self.mention(named), &mut also);
        if matches!(what, What::SetAside) {
            self.set_aside += 1;
        }
        let fact = read::fact(entry, seq, by, device, what);
        if matches!(entry.body, Body::BatchRegistered(_)) {
            self.registered.entry(thing).or_default().push(fact.clone());
        }
        if matches!(entry.body, Body::HoldPlaced(_)) {
            self.held.insert(thing);
        }
        let counts = !matches!(entry.body, Body::Seen(_) | Body::PlaceDeclared(_));
        also.push(thing);
        also.sort_unstable();
        also.dedup();
        for label in also {
            if counts {
                self.named(label, seq);
            }
            self.keep(label, fact.clone());
        }
        self.act_on_another(entry, seq, by);
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
        self.shelves.push(Shelf { name, facts: Vec::new(), last_named: 0 });
        self.links.add_thing();
        label
    }

    fn named(&mut self, label: Label, seq: u32) {
        if let Some(shelf) = self.shelves.get_mut(label as usize) {
            shelf.last_named = seq;
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

    /// (occurred at, device, counter, rank of its kind, id): seq is never in it.
    pub(crate) fn before(&self, one: &Fact, other: &Fact) -> bool {
        one.at.cmp(&other.at).is_lt() || one.at == other.at && self.tie(one) < self.tie(other)
    }

    /// Devices letter by letter: how lists are sorted for people may change, and no answer with it.
    fn tie(&self, fact: &Fact) -> (Option<&str>, Option<u64>, u8, Uuid) {
        let device = fact.device;
        (
            device.map(|device| self.name(device).code()),
            fact.counter.filter(|_| device.is_some()),
            fact.rank,
            self.id_of(fact.seq),
        )
    }

    /// The entry that another acts on, 0 where nobody knows it.
    pub(crate) fn target(&self, entry: &Entry) -> u32 {
        let id = match &entry.body {
            Body::HoldLifted(body) => Some(body.hold),
            Body::FactConfirmed(body) => Some(body.entry),
            Body::MismatchSettled(body) => Some(body.mismatch.entry),
            _ => entry.strikes,
        };
        id.and_then(|id| self.ids.get(&id).copied()).unwrap_or(0)
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
        self.kept_under(target).into_iter().for_each(|label| self.named(label, seq));
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
        let acts = matches!(meta.kind, "hold_lifted" | "fact_confirmed" | "mismatch_settled");
        for label in self.kept_under(target) {
            let facts = self.shelves.get_mut(label as usize).map(|shelf| &mut shelf.facts);
            for fact in facts.into_iter().flatten().filter(|fact| fact.seq == target) {
                fact.struck_by = by_seq;
            }
            self.links.strike(label, target, by_seq);
            self.named(label, by_seq);
        }
        if acts {
            self.acts_on.values_mut().flatten().filter(|act| act.seq == target).for_each(|act| act.struck_by = by_seq);
        }
    }

    /// The labels under which an entry is kept, found again from its fact; with those of the entry it acts on.
    pub fn kept_under(&self, seq: u32) -> Vec<Label> {
        let Some(thing) = self.entry(seq).map(|meta| meta.thing) else { return Vec::new() };
        // Mostly it came lately.
        let fact = self.all_facts(thing).iter().rfind(|fact| fact.seq == seq);
        let mut labels = vec![thing];
        match fact.map(|fact| &fact.what) {
            Some(What::Received(received)) => labels.push(received.batch),
            Some(What::Cut(cut)) => {
                labels.extend(cut.kits.iter().flat_map(|kit| [kit.kit, kit.job]));
                labels.extend(cut.kits.iter().flat_map(|kit| kit.items.iter().map(|(roll, _)| *roll)));
                labels.extend(cut.waste.iter().map(|(roll, _)| *roll));
            }
            Some(What::Laid(laid)) => {
                labels.push(laid.from);
                labels.extend(laid.items.iter().flatten());
            }
            Some(What::RunStarted(run)) => labels.extend(run.stages.iter().map(|(part, _)| *part)),
            Some(What::Installed { boat, .. } | What::Removed { boat, .. }) => labels.push(*boat),
            Some(What::Planned(plan)) => labels.push(plan.part),
            Some(What::Issued { job, .. }) => labels.push(*job),
            Some(What::ActsOn(on)) if 0 < *on && *on < seq => labels.extend(self.kept_under(*on)),
            Some(_) | None => {}
        }
        labels.sort_unstable();
        labels.dedup();
        labels
    }

    pub fn ever_held(&self) -> &std::collections::BTreeSet<Label> {
        &self.held
    }

    pub fn has_set_aside(&self) -> bool {
        self.set_aside > 0
    }
}
