//! Where a thing lies from when until when; and what a take-out says of where it lay.

use super::{Pass, Settled, Step, What, Whereabouts};

impl Pass<'_> {
    fn inside(&self) -> Option<String> {
        match &self.place {
            Whereabouts::Inside { place, .. } => Some(place.clone()),
            Whereabouts::Nowhere | Whereabouts::Outside(_) => None,
        }
    }

    /// Where it is inside from a fact on, until a fact finds it elsewhere.
    pub(super) fn take_noting_stays(&mut self, step: &Step) {
        let before = self.inside();
        self.take(step);
        let after = self.inside();
        if before != after {
            if let Some(stay) = self.walk.stays.last_mut() {
                stay.2 = stay.2.or(Some(step.order.0));
            }
            self.walk.stays.extend(after.map(|place| (place, step.order.0, None)));
        }
    }

    /// Taken out of a place where the book does not have it: it was seen there, and then taken out.
    pub(super) fn seen_elsewhere(&mut self, step: &Step, from: Option<(String, bool)>) -> bool {
        let (Some((place, frozen)), Whereabouts::Inside { place: here, .. }) = (from, &self.place) else {
            return false;
        };
        if place == *here || self.is_granted(step) {
            return false;
        }
        let kind = if frozen { "in_while_in_elsewhere" } else { "acted_while_inside" };
        let moved = self.settlement(step, kind).is_some_and(|settled| matches!(settled.answer, Settled::Other(_)));
        match frozen {
            true => {
                let seen = What::SeenInside { place: place.clone(), rack: 0 };
                self.seen_inside(&Step { what: seen, ..step.clone() }, place, 0);
            }
            false => self.act_outside(&Step { what: What::ActOutside, ..step.clone() }),
        }
        if !moved && self.grant.is_none() {
            self.was_take_out(step);
        }
        true
    }
}
