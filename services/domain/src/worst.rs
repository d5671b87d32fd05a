//! Of the limits of all that a thing holds, for each the worst.

use crate::limits::{At, Limit, LimitState, Limits, ORDER, OvenMark};
use shared_types::Instant;

/// For each limit the worst: what ends first, ties by the smallest left. What is missing is kept beside it.
pub(crate) fn worst(read: At<'_>, sets: Vec<Vec<Limit>>) -> Limits {
    let all = || sets.iter().flatten();
    let missing = all().filter_map(|limit| match limit.state {
        LimitState::Missing(missing) => Some((limit.name, limit.item, missing)),
        _ => None,
    });
    let mut missing: Vec<_> = missing.collect();
    missing.sort_by_key(|(name, item, missing)| (*name, read.view.book.name(*item), *missing));
    missing.dedup();
    let of_name = |name| all().filter(move |limit| limit.name == name);
    let worst_of = |name| {
        let first = of_name(name).min_by_key(|limit| urgency(read.at, &limit.state))?;
        Some(Limit { state: never_started(first.state.clone(), of_name(name)), ..first.clone() })
    };
    let rows = match &*sets {
        // Mostly there is one, and each set is in order.
        [one] => one.clone(),
        _ => ORDER.into_iter().filter_map(worst_of).collect(),
    };
    Limits { rows, missing, sets }
}

/// A start that is not confirmed may never have been: then the clock of what was in it ran on, whichever ends first now.
fn never_started<'l>(mut state: LimitState, all: impl Iterator<Item = &'l Limit>) -> LimitState {
    let unconfirmed = all.filter_map(|limit| match limit.state {
        LimitState::Clock { oven, .. } if oven.not_confirmed => Some((oven.left_if_never?, limit.item)),
        _ => None,
    });
    let least = unconfirmed.min_by_key(|(never, _)| *never);
    if let (LimitState::Clock { allowed, so_far, oven, .. }, Some((never, item))) = (&mut state, least) {
        let left = allowed.saturating_sub(*so_far);
        let item_if_never = Some(item).filter(|_| never < left);
        *oven = OvenMark { not_confirmed: true, left_if_never: Some(never.min(left)), item_if_never };
    }
    state
}

fn urgency(at: Instant, state: &LimitState) -> (u8, i64, i64) {
    match state {
        LimitState::Clock { allowed, so_far, passed, .. } => {
            let left = allowed.saturating_sub(*so_far);
            (0, passed.unwrap_or_else(|| at.plus_ms(left)).0, left)
        }
        LimitState::NotLaid { allowed, .. } => (0, at.plus_ms(*allowed).0, *allowed),
        LimitState::Date { end, read_at, .. } => (0, end.since(*read_at), 0),
        LimitState::Count { allowed, so_far } => (0, allowed.saturating_sub(*so_far), 0),
        LimitState::Missing(_) => (1, 0, 0),
        LimitState::NoneBy(_) => (2, 0, 0),
    }
}
