//! What would change if entries were written: asked before doing, so nothing is. The book handed in is a copy that they are
//! put into; "before" is then what was known up to its old end, the one filter that "as known then" is too.

use crate::RULES;
use crate::book::Book;
use crate::fact::Label;
use crate::guard::guarded;
use crate::question::When;
use crate::say::Say;
use crate::thing::{acts, thing_view};
use crate::trace::descendants;
use crate::view::View;
use shared_types::{Effect, Entry, Instant, JudgedOtherwise, Kind, Mismatch, ThingChange, ThingName, ThingView};
use std::collections::BTreeSet;

/// As many things are shown in full; of the others, how many there are.
const MOST: usize = 200;

/// What these entries would change at this instant, numbered as they would be behind the book's end.
pub fn effect(mut book: Book, entries: &[Entry], at: Instant) -> Effect {
    let end = book.last_seq();
    let things_known = book.things();
    let was_about: BTreeSet<Label> = entries.iter().flat_map(|entry| named_by(&book, entry)).collect();
    entries.iter().for_each(|entry| book.insert(entry));
    let ends = Ends { book: &book, before: View::new(&book, end), after: View::new(&book, u64::MAX), things_known };
    let mut about = was_about;
    about.extend(entries.iter().flat_map(|entry| named_by(&book, entry)));
    let mut effect = Effect {
        things: Vec::new(),
        more_things: 0,
        mismatches_new: Vec::new(),
        mismatches_gone: Vec::new(),
        judged_again: Vec::new(),
        at: Say::of(ends.before, at).stamp(at),
        as_of_seq: end,
        rules: RULES.to_owned(),
    };
    for label in ends.reached(about) {
        // A thing whose fold fails says so when it is asked for.
        if let Some(change) = guarded(|| ends.change(label, at)).flatten() {
            ends.add(change, label, at, &mut effect);
        }
    }
    effect.things.sort_by(|one, other| one.thing.cmp(&other.thing));
    let order = |one: &Mismatch, other: &Mismatch| {
        (one.seq, &one.kind, &one.thing).cmp(&(other.seq, &other.kind, &other.thing))
    };
    effect.mismatches_new.sort_by(order);
    effect.mismatches_gone.sort_by(order);
    effect.judged_again.sort_by(|one, other| (one.seq, &one.thing).cmp(&(other.seq, &other.thing)));
    effect
}

/// What an entry names, as far as the book knows those things.
fn named_by(book: &Book, entry: &Entry) -> Vec<Label> {
    let other = match &entry.body {
        shared_types::Body::MismatchSettled(settle) => match &settle.answer {
            shared_types::Settlement::Other(other) => book.label(other),
            _ => None,
        },
        _ => None,
    };
    let seq = |id| book.seq_of(id).and_then(|seq| u32::try_from(seq).ok());
    let acted_on = Some(book.target(entry)).filter(|seq| *seq != 0);
    let own = seq(&entry.id).into_iter().chain(acted_on).flat_map(|seq| book.kept_under(seq));
    let device = entry.device.as_ref().and_then(|code| book.label(&ThingName::new(Kind::Device, code)));
    own.chain(other).chain(device).chain(book.label(&entry.thing)).collect()
}

/// The book with the entries, read as it was before them and as it is with them.
struct Ends<'b> {
    book: &'b Book,
    before: View<'b>,
    after: View<'b>,
    things_known: usize,
}

impl Ends<'_> {
    /// What may read otherwise: the things themselves, what is kept with those that only join others, and all that
    /// descends from them. A place, a material or the yard reaches everything.
    fn reached(&self, about: BTreeSet<Label>) -> BTreeSet<Label> {
        let everywhere = |label: &Label| matches!(self.book.kind(*label), Kind::Place | Kind::Material | Kind::Yard);
        if about.iter().any(everywhere) {
            return self.book.labels().collect();
        }
        let mut reached = about;
        self.descend(&mut reached);
        self.join(&mut reached, &[Kind::Run, Kind::Job, Kind::Boat, Kind::Batch, Kind::Nest, Kind::Part]);
        // What was issued to a job is judged by what becomes of the job's part.
        self.join(&mut reached, &[Kind::Job]);
        self.descend(&mut reached);
        reached
    }

    fn descend(&self, reached: &mut BTreeSet<Label>) {
        let below = |label: &Label| descendants(self.before, *label).into_iter().chain(descendants(self.after, *label));
        let below: Vec<Label> = reached.iter().flat_map(below).collect();
        reached.extend(below);
    }

    /// Adds what shares an entry with things of these kinds.
    fn join(&self, reached: &mut BTreeSet<Label>, kinds: &[Kind]) {
        let these = reached.iter().filter(|label| kinds.contains(&self.book.kind(**label)));
        let facts = these.flat_map(|label| self.book.all_facts(*label));
        let beside: Vec<Label> = facts.flat_map(|fact| self.book.kept_under(fact.seq)).collect();
        reached.extend(beside);
    }

    /// A thing as it is and as it would be, if that differs.
    fn change(&self, label: Label, at: Instant) -> Option<ThingChange> {
        let thing = self.book.name(label).clone();
        let when = When::now(at);
        let known = usize::try_from(label).is_ok_and(|label| label < self.things_known);
        let then = When { known: u64::from(self.before.known), ..when };
        let before = known.then(|| thing_view(self.book, &thing, then)).flatten();
        // A badge or a place that is mentioned for the first time has nothing to say yet.
        let after = thing_view(self.book, &thing, when)
            .filter(|after| known || 0 < after.entries || !after.mismatches.is_empty())?;
        let differs =
            before.as_ref().is_none_or(|before| *before != ThingView { as_of_seq: before.as_of_seq, ..after.clone() });
        differs.then_some(ThingChange { thing, before, after })
    }

    fn add(&self, change: ThingChange, label: Label, at: Instant, effect: &mut Effect) {
        let before = change.before.as_ref().map_or(&[][..], |before| &before.mismatches);
        // What does not add up about a run is seen with each of its parts, and is the run's.
        let own = |one: &Mismatch| one.thing == change.thing;
        effect.mismatches_new.extend(only_in(&change.after.mismatches, before).into_iter().filter(own));
        effect.mismatches_gone.extend(only_in(before, &change.after.mismatches).into_iter().filter(own));
        effect.judged_again.extend(guarded(|| self.judged_otherwise(label, at)).unwrap_or_default());
        match effect.things.len() < MOST {
            true => effect.things.push(change),
            false => effect.more_things += 1,
        }
    }

    /// Recorded acts that would be judged otherwise.
    fn judged_otherwise(&self, label: Label, at: Instant) -> Vec<JudgedOtherwise> {
        let say = Say::of(self.after, at);
        let (before, after) = (acts(self.before, label), acts(self.after, label));
        let pairs = before.iter().filter_map(|(seq, when, was)| {
            let (_, _, would_be) = after.iter().find(|(of, _, judged)| of == seq && judged.act == was.act)?;
            (was != would_be).then(|| JudgedOtherwise {
                thing: self.book.name(label).clone(),
                entry: self.book.id_of(*seq),
                seq: u64::from(*seq),
                act: was.act,
                at: say.stamp(*when),
                before: was.shown(self.before),
                after: would_be.shown(self.after),
            })
        });
        pairs.collect()
    }
}

/// Open mismatches of one list that the other has not, or has as settled.
fn only_in(these: &[Mismatch], others: &[Mismatch]) -> Vec<Mismatch> {
    let open = |one: &&Mismatch| one.settled_by.is_none();
    let is_in = |one: &Mismatch| {
        others
            .iter()
            .filter(open)
            .any(|other| (other.entry, &other.kind, &other.thing) == (one.entry, &one.kind, &one.thing))
    };
    these.iter().filter(open).filter(|one| !is_in(one)).cloned().collect()
}
