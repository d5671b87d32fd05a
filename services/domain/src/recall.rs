//! Where all of a batch lies now, to be walked to and to be held: what it is and what was made of it, with what can't be
//! held any more because nothing of it is left.

use crate::book::Book;
use crate::fact::Label;
use crate::limits::At;
use crate::question::When;
use crate::say::Say;
use crate::thing::standing;
use crate::trace::descendants;
use crate::view::View;
use shared_types::{HoldView, Kind, ThingName, Whereabouts};
use std::collections::BTreeSet;

pub struct Recall {
    pub say: String,
    /// By place, then by kind and code.
    pub items: Vec<Recalled>,
}

pub struct Recalled {
    pub thing: ThingName,
    /// Where to walk to.
    pub place: String,
    /// Where it is and since when.
    pub say: String,
    /// Nothing of it is left to be held.
    pub gone: bool,
    /// The holds on it, its own and of what it is made of.
    pub holds: Vec<HoldView>,
}

impl Recalled {
    /// Somebody placed a hold on this very thing.
    pub fn is_held(&self) -> bool {
        self.holds.iter().any(|hold| hold.on == self.thing)
    }
}

/// Rolls, kits and parts can lie somewhere.
const KINDS: [Kind; 3] = [Kind::Roll, Kind::Kit, Kind::Part];

pub fn recall(book: &Book, thing: &ThingName, when: When) -> Option<Recall> {
    let view = View::new(book, when.known);
    let start = book.label(thing)?;
    let (read, say) = (At::new(view, when.at), Say::of(view, when.now));
    let all = descendants(view, start).into_iter().chain([start]);
    let things = all.filter(|label| KINDS.contains(&book.kind(*label)));
    let mut items: Vec<Recalled> = things.map(|label| item(read, label, &say)).collect();
    items.sort_by(|one, other| (one.gone, &one.place, &one.thing).cmp(&(other.gone, &other.place, &other.thing)));
    Some(Recall { say: sentence(thing, &items), items })
}

fn item(read: At<'_>, label: Label, say: &Say) -> Recalled {
    let seen = standing(read, label, say).shown;
    let (place, gone) = match &seen.whereabouts {
        Whereabouts::Inside { place, .. } | Whereabouts::OnItsWay { place, .. } => (place.to_string(), false),
        Whereabouts::Out { place: Some(place), .. } => (place.to_string(), false),
        Whereabouts::Out { place: None, .. } => ("out, nobody said where".to_owned(), false),
        Whereabouts::InRun { run, .. } => (format!("oven run {}", run.short()), false),
        Whereabouts::InBoat { boat, .. } => (format!("boat {boat}"), false),
        Whereabouts::Laid { .. } => ("lay-up".to_owned(), false),
        Whereabouts::Consumed { .. } => ("used up".to_owned(), true),
        Whereabouts::Disposed { .. } => ("thrown away".to_owned(), true),
        _ => ("no place recorded".to_owned(), false),
    };
    Recalled { thing: seen.thing, place, say: seen.say, gone, holds: seen.holds }
}

fn sentence(of: &ThingName, items: &[Recalled]) -> String {
    let name = of.short();
    let here: Vec<&Recalled> = items.iter().filter(|item| !item.gone).collect();
    let held = here.iter().filter(|item| item.is_held()).count();
    match (items.len(), here.len(), held) {
        (0, _, _) => format!("The book knows of no roll, kit or part of {name}."),
        (_, 0, _) => format!("Nothing of {name} is left: all of it is used up or thrown away."),
        (_, 1, 0) => format!("1 thing of {name} is still here, and it is not held."),
        (_, 1, _) => format!("1 thing of {name} is still here, and it is held."),
        (_, here, 0) => format!("{here} things of {name} are still here, and none of them is held."),
        (_, here, held) if here == held => format!("{here} things of {name} are still here, and all are held."),
        (_, here, held) => format!("{here} things of {name} are still here, {held} of them held."),
    }
}

/// In which order holds on these are placed. A hold changes what stands on its thing; so what was made last comes first,
/// and no hold of one sitting comes between another and what its person looked at.
pub fn order(things: &BTreeSet<ThingName>) -> Vec<&ThingName> {
    let mut all: Vec<&ThingName> = things.iter().collect();
    let made = |kind: Kind| match kind {
        Kind::Part => 0,
        Kind::Kit => 1,
        _ => 2,
    };
    all.sort_by_key(|thing| (made(thing.kind()), *thing));
    all
}

/// What holds on these would do, in words.
pub fn would_hold(book: &Book, things: &BTreeSet<ThingName>, when: When) -> Vec<String> {
    let view = View::new(book, when.known);
    let (read, say) = (At::new(view, when.at), Say::of(view, when.now));
    let names = |things: &[&ThingName]| things.iter().map(|thing| thing.short()).collect::<Vec<_>>().join(", ");
    let mut said = match order(things).as_slice() {
        [] => return vec!["Nothing is ticked, so nothing would be held.".to_owned()],
        [one] => vec![format!("1 thing would be held: {}.", one.short())],
        many => vec![format!("{} things would be held: {}.", many.len(), names(many))],
    };
    let labels: Vec<Label> = things.iter().filter_map(|thing| book.label(thing)).collect();
    let held = labels.iter().map(|label| item(read, *label, &say)).filter(Recalled::is_held);
    let held: Vec<ThingName> = held.map(|item| item.thing).collect();
    if !held.is_empty() {
        let held: Vec<&ThingName> = held.iter().collect();
        said.push(format!("Held already, and then twice: {}.", names(&held)));
    }
    let below = labels.iter().flat_map(|label| descendants(view, *label));
    let with: BTreeSet<(&ThingName, Label)> = below.map(|label| (book.name(label), label)).collect();
    let named = with.into_iter().filter(|(thing, _)| KINDS.contains(&thing.kind()) && !things.contains(*thing));
    let with: Vec<&ThingName> =
        named.filter(|(_, label)| !item(read, *label, &say).gone).map(|(thing, _)| thing).collect();
    if !with.is_empty() {
        said.push(format!("Held with them, as they are made of them: {}.", names(&with)));
    }
    said.push("Each hold ends only by lifting, which needs a second person.".to_owned());
    said
}
