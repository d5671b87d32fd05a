//! The last instants for the last ply and for the oven, reckoned as if the thing were out from the time asked on.

use crate::limits::{Limit, LimitState};
use shared_types::{Act, Instant, LayToCureFrom, LimitName, TestedAt};

/// The end of one limit, and which.
pub type Bound = (Instant, LimitName);

/// Of one roll's material. None: nothing limits it.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Deadlines {
    pub last_ply: Option<Bound>,
    pub heating: Option<Bound>,
    /// The end of each limit that this act or a later one tests.
    pub governing: Option<Bound>,
    /// A shelf life that this act itself tests.
    pub now: Option<Bound>,
    /// What laying begins: lay-to-cure from the first ply.
    pub lay_to_cure: Option<(i64, LayToCureFrom)>,
    /// What the yard takes off each of them.
    pub spare_ms: i64,
}

fn sooner(one: Option<Bound>, other: Option<Bound>) -> Option<Bound> {
    [one, other].into_iter().flatten().min()
}

impl Deadlines {
    /// The sooner of each; what is laid together waits for its cure from the same last ply.
    pub fn and(self, other: Deadlines) -> Deadlines {
        let last_ply = sooner(self.last_ply, other.last_ply);
        let lay_to_cure = [self.lay_to_cure, other.lay_to_cure].into_iter().flatten().min();
        let spare_ms = self.spare_ms.max(other.spare_ms);
        let to_cure = last_ply.zip(lay_to_cure).map(|(last, (ms, _))| cured_from(last, ms, spare_ms));
        Deadlines {
            last_ply,
            heating: sooner(sooner(self.heating, other.heating), to_cure),
            governing: sooner(self.governing, other.governing),
            now: sooner(self.now, other.now),
            lay_to_cure,
            spare_ms,
        }
    }
}

/// A first ply is laid by the last ply's end less the spare time, and its cure waits from then on.
fn cured_from((last_ply, _): Bound, allowed_ms: i64, spare_ms: i64) -> Bound {
    (last_ply.minus_ms(spare_ms).plus_ms(allowed_ms), LimitName::LayToCure)
}

/// `laid`: a stage, whose plies have had their tack tested.
pub fn deadlines(set: &[Limit], at: Instant, act: Act, laid: bool, spare_ms: i64) -> Deadlines {
    let of = |name: LimitName| set.iter().find(|limit| limit.name == name).map(|limit| &limit.state);
    let clock_end = |name| match of(name) {
        Some(state @ LimitState::Clock { passed, .. }) => {
            Some((passed.unwrap_or_else(|| at.plus_ms(state.left_at_worst().unwrap_or(0))), name))
        }
        _ => None,
    };
    let out = clock_end(LimitName::OutLife);
    let tack = if laid { None } else { clock_end(LimitName::TackLife) };
    let (mut shelf_now, mut shelf_lay, mut shelf_oven) = (None, None, None);
    if let Some(LimitState::Date { end, by, tested, .. }) = of(LimitName::ShelfLife) {
        let bound = Some((*end, LimitName::ShelfLife));
        match by {
            // A take-out is asked about anew, whether it was out before or not.
            TestedAt::TakeOut if !tested || act == Act::TakeOut => shelf_now = bound,
            TestedAt::Lay if !tested && !laid => shelf_lay = bound,
            TestedAt::Oven if !tested => shelf_oven = bound,
            TestedAt::TakeOut | TestedAt::Lay | TestedAt::Oven => {}
        }
    }
    let first = |bounds: [Option<Bound>; 4]| bounds.into_iter().flatten().min();
    let last_ply = first([tack, out, shelf_lay, shelf_oven]);
    let (to_cure, lay_to_cure) = match of(LimitName::LayToCure) {
        Some(LimitState::NotLaid { allowed, from }) => {
            (last_ply.map(|last| cured_from(last, *allowed, spare_ms)), Some((*allowed, *from)))
        }
        Some(LimitState::Clock { .. }) => (clock_end(LimitName::LayToCure), None),
        _ => (None, None),
    };
    let heating = first([out, shelf_oven, to_cure, None]);
    let last_ply = if laid { heating } else { last_ply };
    let governing = match act {
        Act::Oven => heating,
        Act::TakeOut | Act::Cut | Act::Lay => first([last_ply, heating, shelf_now, None]),
    };
    Deadlines { last_ply, heating, governing, now: shelf_now, lay_to_cure, spare_ms }
}
