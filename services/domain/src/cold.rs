//! Whether a place is cold enough for what is put there. A frozen place without readings is as warm as its declared highest
//! temperature: above what a material may be stored at, that material ages there as it does outside.

use crate::fact::{Label, What};
use crate::kit::kit_items;
use crate::say::degrees;
use crate::view::View;
use shared_types::{Instant, Kind, Place};

/// The warmest that a thing may be stored at, and the material that says so.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Storage {
    pub limit_millideg_c: i32,
    pub material: Label,
}

/// Of a roll by its receipts, of a kit by the rolls it was cut from: the coldest of them. Nothing, where no material
/// states one: then a frozen place counts as cold.
pub(crate) fn storage(view: View<'_>, thing: Label) -> Option<Storage> {
    match view.book.kind(thing) {
        Kind::Roll => of_roll(view, thing),
        Kind::Kit => {
            let all = kit_items(view, thing).into_iter().filter_map(|item| of_roll(view, item.roll));
            all.min_by_key(|storage| storage.limit_millideg_c)
        }
        _ => None,
    }
}

fn of_roll(view: View<'_>, roll: Label) -> Option<Storage> {
    let stated = view.facts(roll).filter_map(|fact| match &fact.what {
        What::Received(received) if received.roll == roll => {
            let limit = view.revision(received.material, &received.revision)?.storage_limit_millideg_c?;
            Some(Storage { limit_millideg_c: limit, material: received.material })
        }
        _ => None,
    });
    stated.min_by_key(|storage| storage.limit_millideg_c)
}

/// Exactly at the limit is cold. A place that states no highest temperature counts as cold.
pub(crate) fn too_warm(place: &Place, storage: Option<Storage>) -> bool {
    let both = place.highest_millideg_c.zip(storage);
    both.is_some_and(|(highest, storage)| storage.limit_millideg_c < highest)
}

pub(crate) fn is_cold(place: &Place, storage: Option<Storage>) -> bool {
    place.frozen && !too_warm(place, storage)
}

/// Why what is in a frozen place counts as out there, in words; nothing, where it does not.
pub(crate) fn why_out(view: View<'_>, thing: Label, place: Label, at: Instant) -> Option<String> {
    let storage = storage(view, thing)?;
    let declared = view.place(place, at).filter(|declared| declared.frozen && too_warm(declared, Some(storage)))?;
    let (place, material) = (view.book.name(place).short(), view.book.name(storage.material).short());
    let highest = degrees(declared.highest_millideg_c?);
    let limit = degrees(storage.limit_millideg_c);
    Some(format!(
        "{place} may be at {highest}, above the storage limit of {material}, {limit}: it counts as out there."
    ))
}
