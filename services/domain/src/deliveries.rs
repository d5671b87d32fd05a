//! What came, newest first: what each delivery's note lists, against what anybody received.

use crate::book::Book;
use crate::fact::What;
use crate::guard::guarded;
use crate::jobs::material_of;
use crate::limits::At;
use crate::question::When;
use crate::say::Say;
use crate::thing::note;
use crate::view::View;
use shared_types::{Code, DeliveryNote, Kind, Stamp, ThingName};

pub struct Delivery {
    pub thing: ThingName,
    /// When its first note was written down as having come.
    pub arrived: Stamp,
    /// Of those of its rolls that anybody received.
    pub materials: Vec<Code>,
    pub note: DeliveryNote,
}

/// A receipt names no delivery: a roll stands with the notes that list it.
pub fn deliveries(book: &Book, when: When) -> Vec<Delivery> {
    let view = View::new(book, when.known);
    let say = Say::of(view, when.at);
    let labels = book.labels().filter(|label| book.kind(*label) == Kind::Delivery);
    let one = |label| {
        let note = note(At::new(view, when.at), label)?;
        let mut notes = view.facts(label).filter(|fact| matches!(fact.what, What::Noted(_)));
        let arrived = say.stamp(notes.next()?.at);
        let rolls = note.received.iter().filter_map(|roll| book.label(roll));
        let mut materials: Vec<Code> =
            rolls.filter_map(|roll| material_of(view, roll)).map(|of| book.code(of)).collect();
        materials.sort();
        materials.dedup();
        Some(Delivery { thing: book.name(label).clone(), arrived, materials, note })
    };
    let mut all: Vec<Delivery> = labels.filter_map(|label| guarded(|| one(label)).flatten()).collect();
    all.sort_by(|one, other| (other.arrived.at, &other.thing).cmp(&(one.arrived.at, &one.thing)));
    all
}
