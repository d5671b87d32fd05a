//! What the files would write, in order: decisions first, then two facts for each roll.

use serde_json::{Value, json};
use shared_types::{
    Body, Code, Kind, Metres, Opening, OpeningSource, PutAway, RollReceived, Stamp, ThingName, catalogue::Door,
};
use uuid::{Uuid, uuid};

use super::{
    cards_file::Card,
    problems::Spot,
    words::say_duration,
    yard_file::{Cards, YardFile},
};

/// Ids are made from codes under this name of our own, so that a second run meets what the first one wrote.
const NAMESPACE: Uuid = uuid!("144696eb-2212-4479-ab48-2d7df8959e4d");

/// The put-away comes this long after the receipt: in one instant nobody could say which was first.
pub(crate) const PUT_AWAY_AFTER_MS: i64 = 1_000;

/// One entry that may be written.
#[derive(Clone, Debug)]
pub(crate) struct Planned {
    pub(crate) spot: Spot,
    pub(crate) id: Uuid,
    pub(crate) thing: ThingName,
    /// When it happened; decisions happen when they are recorded.
    pub(crate) occurred_at: Option<Stamp>,
    pub(crate) by: Code,
    pub(crate) second: Code,
    pub(crate) body: Body,
}

impl Planned {
    pub(crate) fn is_fact(&self) -> bool {
        self.body.is_fact()
    }

    /// As it is posted. `based_on` is for decisions.
    pub(crate) fn posted(&self, based_on: u64) -> Value {
        let second = json!({ "by": self.second });
        match self.body.door() {
            Door::Decision(decide) => json!({
                "id": self.id, "decide": decide, "thing": self.thing, "by": self.by, "second": second,
                "based_on": based_on, "body": self.body,
            }),
            Door::Fact | Door::Log => json!({
                "id": self.id, "kind": self.body.plain_kind(), "thing": self.thing, "occurred_at": self.occurred_at,
                "by": self.by, "second": second, "body": self.body,
            }),
        }
    }

    /// One line for a person, or nothing for the put-away, which belongs to its receipt.
    pub(crate) fn say(&self) -> Option<String> {
        let code = self.thing.code();
        match &self.body {
            Body::YardDeclared(yard) => {
                Some(format!("the yard: zone {}, spare time {}", yard.zone, say_duration(yard.spare_s)))
            }
            Body::PlaceDeclared(place) => {
                let kind = if place.frozen { "a frozen place" } else { "a room" };
                Some(format!("place {code}: {}, {kind}", place.name))
            }
            Body::MaterialRevised(body) => Some(format!("material {code} revision {}: {}", body.revision, body.name)),
            Body::BatchRegistered(batch) => Some(format!("batch {code}: made {}", batch.made_on)),
            Body::RollReceived(roll) => {
                let (out_time, refreezes) = roll
                    .opening
                    .as_ref()
                    .map_or_else(Default::default, |opening| (say_duration(opening.out_time_s), opening.refreezes));
                let place = roll.from.as_ref().map_or("", Code::as_str);
                let left = Metres(roll.length_mm.get());
                let RollReceived { material, batch, .. } = roll;
                Some(format!(
                    "roll {code}: {material}, batch {batch}, {left}, {out_time} out, refreezes {refreezes}, in {place}"
                ))
            }
            _ => None,
        }
    }
}

fn id(parts: &[&str]) -> Uuid {
    Uuid::new_v5(&NAMESPACE, parts.join("/").as_bytes())
}

/// All that the files say, as entries.
pub(crate) fn plan(yard: &YardFile, cards: &[Card]) -> Vec<Planned> {
    let decisions = decisions(yard);
    let facts = cards.iter().flat_map(|card| facts(&yard.cards, card));
    decisions.into_iter().chain(facts).collect()
}

fn decisions(file: &YardFile) -> Vec<Planned> {
    let decision = |spot: &Spot, id: Uuid, thing: ThingName, body: Body| {
        let Cards { copied_by, compared_by, .. } = &file.cards;
        let (by, second) = (copied_by.clone(), compared_by.clone());
        Planned { spot: spot.clone(), id, thing, occurred_at: None, by, second, body }
    };
    let (spot, yard) = &file.yard;
    let yard_name = Code::new("YARD").map(|code| ThingName::new(Kind::Yard, &code));
    let yard = yard_name.ok().map(|name| decision(spot, id(&["yard"]), name, Body::YardDeclared(yard.clone())));
    // Rooms first: a frozen place names the room it stands in.
    let rooms_first = [false, true]
        .into_iter()
        .flat_map(|frozen| file.places.iter().filter(move |(_, _, place)| place.frozen == frozen));
    let places = rooms_first.map(|(spot, code, place)| {
        let name = ThingName::new(Kind::Place, code);
        decision(spot, id(&["place", code.as_str()]), name, Body::PlaceDeclared(place.clone()))
    });
    let materials = file.materials.iter().map(|(spot, code, body)| {
        let name = ThingName::new(Kind::Material, code);
        let id = id(&["material", code.as_str(), body.revision.as_str()]);
        decision(spot, id, name, Body::MaterialRevised(body.clone()))
    });
    let batches = file.batches.iter().map(|(spot, material, code, body)| {
        let name = ThingName::batch(material, code);
        decision(spot, id(&["batch", material.as_str(), code.as_str()]), name, Body::BatchRegistered(body.clone()))
    });
    yard.into_iter().chain(places).chain(materials).chain(batches).collect()
}

fn facts(cards: &Cards, card: &Card) -> [Planned; 2] {
    let received = RollReceived {
        material: card.material.clone(),
        revision: card.revision.clone(),
        batch: card.batch.clone(),
        length_mm: card.left,
        width_mm: card.width,
        from: Some(card.place.clone()),
        opening: Some(Opening {
            out_time_s: card.out_time,
            refreezes: card.refreezes,
            as_of: cards.as_of,
            source: OpeningSource::Card,
        }),
    };
    let put_away = PutAway { into: card.place.clone(), position: None };
    let fact = |kind: &str, at: Stamp, body: Body| Planned {
        spot: card.spot.clone(),
        id: id(&[kind, card.roll.as_str()]),
        thing: ThingName::roll(&card.roll),
        occurred_at: Some(at),
        by: cards.copied_by.clone(),
        second: cards.compared_by.clone(),
        body,
    };
    let later = Stamp { at: cards.as_of.at.plus_ms(PUT_AWAY_AFTER_MS), offset_s: cards.as_of.offset_s };
    [
        fact("roll_received", cards.as_of, Body::RollReceived(received)),
        fact("roll_put_away", later, Body::RollPutAway(put_away)),
    ]
}
