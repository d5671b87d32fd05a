//! Lists of things of one kind, page by page. All pages of a list are of one moment, whatever is written meanwhile.

mod cursor;
mod operations;
mod page;

pub(crate) use operations::*;
pub(crate) use page::{Page, Paged, page};

use domain::stock::Filter;
use shared_types::{Kind, State};

/// A list: its address, its words, and what may be asked of it.
pub(crate) struct List {
    pub(crate) kind: Kind,
    pub(crate) name: &'static str,
    pub(crate) title: &'static str,
    pub(crate) filters: &'static [&'static str],
    pub(crate) states: &'static [State],
}

const ITEM: &[State] = &[State::Inside, State::Out, State::Consumed, State::Disposed, State::NotReceived];
const MADE: &[State] = &[State::NothingLaid, State::Laid, State::InRun, State::InBoat];

pub(crate) const ROLLS: List = List {
    kind: Kind::Roll,
    name: "rolls",
    title: "Rolls",
    filters: &["material", "batch", "place", "state", "job", "held"],
    states: &[State::OnItsWay, State::Inside, State::Out, State::Consumed, State::Disposed, State::NotReceived],
};
pub(crate) const KITS: List =
    List { kind: Kind::Kit, name: "kits", title: "Kits", filters: &["place", "state", "job", "held"], states: ITEM };
pub(crate) const PARTS: List =
    List { kind: Kind::Part, name: "parts", title: "Parts", filters: &["state", "job", "boat", "held"], states: MADE };
pub(crate) const BOATS: List =
    List { kind: Kind::Boat, name: "boats", title: "Boats", filters: &["held"], states: &[] };
pub(crate) const JOBS: List = List {
    kind: Kind::Job,
    name: "jobs",
    title: "Jobs",
    filters: &["material", "state", "boat", "held"],
    states: MADE,
};
pub(crate) const BATCHES: List =
    List { kind: Kind::Batch, name: "batches", title: "Batches", filters: &["material", "held"], states: &[] };
pub(crate) const MATERIALS: List =
    List { kind: Kind::Material, name: "materials", title: "Materials", filters: &["held"], states: &[] };
pub(crate) const PLACES: List =
    List { kind: Kind::Place, name: "places", title: "Places", filters: &["frozen", "held"], states: &[] };
/// Its page is one of its own: what came last stands first there.
pub(crate) const DELIVERIES: List = List {
    kind: Kind::Delivery,
    name: "deliveries",
    title: "Deliveries",
    filters: &["material", "missing", "held"],
    states: &[],
};

pub(crate) const LISTS: [&List; 8] = [&ROLLS, &KITS, &PARTS, &BOATS, &JOBS, &BATCHES, &MATERIALS, &PLACES];

/// The filters that are set, as they stand in an address.
pub(crate) fn set(filter: &Filter) -> Vec<(&'static str, String)> {
    // Whether what has ended is left out is asked by pages alone, which write it in words of their own.
    let Filter { material, batch, place, state, job, boat, held, frozen, missing, ended: _ } = filter;
    let code = |code: &Option<shared_types::Code>| code.as_ref().map(ToString::to_string);
    let all = [
        ("material", code(material)),
        ("batch", code(batch)),
        ("place", code(place)),
        ("state", state.map(|state| word(state).to_owned())),
        ("job", code(job)),
        ("boat", code(boat)),
        ("held", held.map(|held| held.to_string())),
        ("frozen", frozen.map(|frozen| frozen.to_string())),
        ("missing", missing.map(|missing| missing.to_string())),
    ];
    all.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
}

impl List {
    /// Some of its things end: they are used up or thrown away.
    pub(crate) fn ends(&self) -> bool {
        self.states.contains(&State::Consumed)
    }
}

/// A state as the API writes it.
pub(crate) fn word(state: State) -> &'static str {
    match state {
        State::NotReceived => "not_received",
        State::OnItsWay => "on_its_way",
        State::Inside => "inside",
        State::Out => "out",
        State::Consumed => "consumed",
        State::Disposed => "disposed",
        State::NothingLaid => "nothing_laid",
        State::Laid => "laid",
        State::InRun => "in_run",
        State::InBoat => "in_boat",
        State::Standing => "standing",
    }
}

/// A state in words for a page.
pub(crate) fn words(state: State) -> &'static str {
    match state {
        State::NotReceived => "not received",
        State::OnItsWay => "on its way",
        State::Inside => "in the cold",
        State::Out => "out",
        State::Consumed => "used up",
        State::Disposed => "thrown away",
        State::NothingLaid => "nothing laid",
        State::Laid => "laid",
        State::InRun => "in an oven run",
        State::InBoat => "in a boat",
        State::Standing => "standing",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_state_is_written_as_the_answers_write_it() {
        for state in [ITEM, MADE, ROLLS.states, &[State::Standing]].concat() {
            assert_eq!(serde_json::to_value(state).unwrap(), word(state));
        }
    }
}
