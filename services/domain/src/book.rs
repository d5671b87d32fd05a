//! The book: every fact under every label it names, in occurred order. Late facts, strikes and "as known then"
//! are one filter over it; there are no past states and no snapshots.

mod insert;

use crate::fact::{ActsOn, Does, Fact, Label, NEVER, What};
use crate::kept::{self, Kept};
use crate::links::{Link, Links, Source};
use crate::standing::Said;
use shared_types::{Body, BodyKind, Code, Entry, Instant, Kind, KnownBy, ThingName};
use std::any::Any;
use std::collections::{BTreeMap, HashMap};
use std::hash::{BuildHasherDefault, DefaultHasher};
use std::ops::Bound;
use std::sync::Arc;
use uuid::Uuid;

/// Looked up only, never shown: the same everywhere, so no randomness comes in.
type Lookup<K, V> = HashMap<K, V, BuildHasherDefault<DefaultHasher>>;

/// A clone is a book of its own: what is inserted there is only thought of here.
#[derive(Default, Clone)]
pub struct Book {
    /// Why nobody knows what time it is, if so: what the shell says of its clock. It is no entry, and stands in none.
    pub(crate) clock_doubt: Option<String>,
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
    /// Entries that came from each device, in the order of the log.
    sent: BTreeMap<Label, Vec<u32>>,
    /// Registrations by batch, beside its receipts, of which there are many.
    registered: BTreeMap<Label, Vec<Fact>>,
    /// Labels that a hold was ever placed on.
    held: std::collections::BTreeSet<Label>,
    /// The entry that placed a hold where there had never been one.
    newly_held: u32,
    /// Grants, enrolments and tokens.
    said: Said,
    set_aside: u32,
    kept: Kept,
}

/// What is kept under a label.
#[derive(Clone)]
struct Shelf {
    name: ThingName,
    facts: Vec<Fact>,
    /// The last entry that names it, sightings and places left out.
    last_named: u32,
    /// The last entry after which anything of it may read otherwise.
    changed: u32,
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
    pub of: BodyKind,
    /// How the log knows that it was they.
    pub by_known: KnownBy,
    pub struck_by: u32,
}

impl Book {
    /// From now on nothing is said as of now: this is what is wrong with the clock.
    pub fn doubt_clock(&mut self, what: String) {
        self.clock_doubt = Some(what);
    }

    /// What is wrong with the clock that says what is now, if anything is known to be.
    pub fn clock_doubt(&self) -> Option<&str> {
        self.clock_doubt.as_deref()
    }

    /// Not noted: nothing that is kept may say it.
    pub fn last_seq(&self) -> u64 {
        self.entries.len() as u64
    }

    pub fn last_recorded_at(&self) -> Option<Instant> {
        kept::note_more();
        self.entries.last().map(|entry| entry.recorded_at)
    }

    pub fn seq_of(&self, id: &Uuid) -> Option<u64> {
        kept::note_more();
        self.ids.get(id).map(|seq| u64::from(*seq))
    }

    pub fn entry(&self, seq: u32) -> Option<&EntryMeta> {
        let entry = self.entries.get(usize::try_from(seq).ok()?.checked_sub(1)?);
        entry.map_or_else(kept::note_more, |entry| kept::note(entry.thing));
        entry
    }

    pub fn id_of(&self, seq: u32) -> Uuid {
        self.entry(seq).map_or(Uuid::nil(), |entry| entry.id)
    }

    pub fn things(&self) -> usize {
        kept::note_more();
        self.shelves.len()
    }

    pub fn label(&self, thing: &ThingName) -> Option<Label> {
        let label = self.labels_of(thing.kind())?.get(thing.code()).copied();
        label.map_or_else(kept::note_more, kept::note);
        label
    }

    fn labels_of(&self, kind: Kind) -> Option<&Lookup<Box<str>, Label>> {
        self.labels.get(kind as usize)
    }

    /// The yard itself, once something was said of it. Nearly every answer asks for it.
    pub(crate) fn yard(&self) -> Option<Label> {
        self.yard.map_or_else(kept::note_more, kept::note);
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
        kept::note_more();
        0..u32::try_from(self.shelves.len()).unwrap_or(u32::MAX)
    }

    /// Things of a kind in the order of their codes, from behind one of them on.
    pub fn in_order(&self, kind: Kind, after: Option<&ThingName>) -> impl Iterator<Item = (&ThingName, Label)> {
        kept::note_more();
        let first = ThingName::first_of(kind);
        let from = Bound::Excluded(after.unwrap_or(&first));
        let all = self.in_order.range((from, Bound::Unbounded)).map(|(name, label)| (name, *label));
        all.take_while(move |(name, _)| name.kind() == kind)
    }

    /// Every fact under a label, struck ones too, in occurred order.
    pub fn all_facts(&self, label: Label) -> &[Fact] {
        kept::note(label);
        self.shelves.get(label as usize).map_or(&[], |shelf| &shelf.facts)
    }

    pub(crate) fn links(&self) -> &Links {
        kept::note_more();
        &self.links
    }

    /// A thing's links, each with the fact that says so.
    pub(crate) fn links_of(&self, label: Label) -> impl Iterator<Item = (Link, Source)> {
        kept::note(label);
        let (links, place) = self.links.of(label);
        links.iter().copied().zip((place..).map_while(|place| self.links.source(place)))
    }

    pub fn last_named(&self, label: Label) -> u32 {
        kept::note(label);
        self.shelves.get(label as usize).map_or(0, |shelf| shelf.last_named)
    }

    pub fn acts_on(&self, seq: u32) -> &[ActsOn] {
        // Whatever acts on an entry is noted with what that entry is about.
        self.entry(seq);
        self.acts_on.get(&seq).map_or(&[], Vec::as_slice)
    }

    /// A batch's registrations, struck ones too.
    pub fn registered(&self, batch: Label) -> &[Fact] {
        kept::note(batch);
        self.registered.get(&batch).map_or(&[], Vec::as_slice)
    }

    /// A thing's own history: entry numbers in occurred order.
    pub fn entries_of(&self, thing: &ThingName) -> Vec<u64> {
        let facts = self.label(thing).map_or(&[][..], |label| self.all_facts(label));
        facts.iter().map(|fact| u64::from(fact.seq)).collect()
    }

    /// Which things a label's code may mean. A batch is found by its own code too.
    pub fn with_code(&self, code: &Code) -> Vec<ThingName> {
        kept::note_more();
        let one = |kind| Some(ThingName::new(kind, code)).filter(|name| self.label(name).is_some());
        let batches = self.batches.get(code.as_str()).into_iter().flatten().map(|label| self.name(*label).clone());
        let plain = Kind::ALL.into_iter().filter(|kind| *kind != Kind::Batch).filter_map(one);
        let mut found: Vec<ThingName> = plain.chain(batches).collect();
        found.sort();
        found
    }

    /// The last entry of the group an entry was written with: what was known once it was written.
    pub fn group_end(&self, seq: u32) -> u32 {
        let Some(own) = self.entry(seq) else {
            kept::note_more();
            return seq;
        };
        // A group is small beside a log.
        let after = usize::try_from(seq).ok().and_then(|seq| self.entries.get(seq..)).unwrap_or_default();
        let same = after.iter().take_while(|other| other.recorded_at <= own.recorded_at).count();
        let end = seq.saturating_add(u32::try_from(same).unwrap_or(u32::MAX));
        // The last group may still grow; an earlier one stays as it is.
        if self.last_seq() <= u64::from(end) {
            kept::note_more();
        }
        end
    }

    /// Counters that had not come by an entry, per device: the last before the gap, the one after it and its entry.
    pub fn counter_gaps(&self, device: Label, known: u32) -> Vec<(u64, u64, u32)> {
        kept::note_more();
        let seen = self.counters.get(&device).into_iter().flatten().filter(|(_, seq)| **seq <= known);
        let pairs = seen.clone().zip(seen.skip(1));
        let gaps = pairs.filter(|((before, _), (next, _))| before.saturating_add(1) < **next);
        gaps.map(|((before, _), (next, seq))| (*before, *next, *seq)).collect()
    }

    /// The highest number of a device's own count that had come by an entry.
    pub fn last_counter(&self, device: Label, known: u32) -> Option<u64> {
        kept::note_more();
        let seen = self.counters.get(&device)?;
        seen.iter().rev().find(|(_, seq)| **seq <= known).map(|(counter, _)| *counter)
    }

    /// Entries that had come from a device by an entry, in the order of the log.
    pub fn sent_by(&self, device: Label, known: u32) -> &[u32] {
        kept::note_more();
        let all = self.sent.get(&device).map_or(&[][..], Vec::as_slice);
        all.get(..all.partition_point(|seq| *seq <= known)).unwrap_or_default()
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

    /// The labels under which an entry is kept, found again from its fact; with those of the entry it acts on, and of
    /// whatever it was ever said to be a fact of instead: striking either moves it there or away.
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
        labels.extend(self.acts_on(seq).iter().filter_map(|act| match act.does {
            Does::Settles { other, .. } => other,
            Does::Lifts | Does::Confirms => None,
        }));
        labels.sort_unstable();
        labels.dedup();
        labels
    }

    /// Not noted: `standing` says what of it may change.
    pub(crate) fn said(&self) -> &Said {
        &self.said
    }

    pub fn ever_held(&self) -> &std::collections::BTreeSet<Label> {
        &self.held
    }

    /// What is worked out of everything that stands about a thing, kept until something of that changes. There is one
    /// answer of a type.
    pub(crate) fn kept<T: Any + Send + Sync>(&self, label: Label, work: impl FnOnce() -> T) -> Arc<T> {
        let last = u32::try_from(self.entries.len()).unwrap_or(NEVER);
        // A first hold on anything is looked for among all that is held.
        let changed = |label: Label| self.shelves.get(label as usize).map_or(NEVER, |shelf| shelf.changed);
        self.kept.get(label, last, |label| changed(label).max(self.newly_held), work)
    }

    pub fn has_set_aside(&self) -> bool {
        kept::note_more();
        self.set_aside > 0
    }
}
