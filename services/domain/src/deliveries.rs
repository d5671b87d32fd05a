//! What came, newest first: what each delivery's note lists, against what anybody received.

use crate::book::Book;
use crate::fact::{Label, What};
use crate::guard::guarded;
use crate::jobs::material_of;
use crate::limits::At;
use crate::question::When;
use crate::say::Say;
use crate::thing::note;
use crate::view::View;
use shared_types::{Code, Delivered, Kind, ThingName};

/// A receipt names no delivery: a roll stands with the notes that list it.
pub fn deliveries(book: &Book, when: When) -> Vec<(ThingName, Delivered)> {
    let view = View::new(book, when.known);
    let (read, say) = (At::new(view, when.at), Say::of(view, when.at));
    let labels = book.labels().filter(|label| book.kind(*label) == Kind::Delivery);
    let one = |label| Some((book.name(label).clone(), delivered(read, label, &say)?));
    let mut all: Vec<(ThingName, Delivered)> = labels.filter_map(|label| guarded(|| one(label)).flatten()).collect();
    all.sort_by(|(one, at), (other, then)| (then.arrived_at.at, other).cmp(&(at.arrived_at.at, one)));
    all
}

/// What came with one delivery; nothing where nobody wrote down a note of it.
pub(crate) fn delivered(read: At<'_>, delivery: Label, say: &Say) -> Option<Delivered> {
    let (view, book) = (read.view, read.view.book);
    let note = note(read, delivery, say)?;
    let mut notes = view.facts(delivery).filter(|fact| matches!(fact.what, What::Noted(_)));
    let arrived_at = say.stamp(notes.next()?.at);
    let rolls = note.received.iter().filter_map(|roll| book.label(roll));
    let mut materials: Vec<Code> = rolls.filter_map(|roll| material_of(view, roll)).map(|of| book.code(of)).collect();
    materials.sort();
    materials.dedup();
    Some(Delivered { arrived_at, materials, note })
}
