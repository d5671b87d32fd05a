//! What can be posted: one shape per kind of fact and decision, for the document.

use super::stored::{Schemas, add, number, refer, text, uuid};
use shared_types::*;
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{
        ArrayBuilder, Discriminator, Object, ObjectBuilder, OneOfBuilder, Ref, RefOr, Schema,
        schema::{AdditionalProperties, Type},
    },
};

/// The body of `POST /entries`.
pub(crate) struct PostedFacts;
/// One fact of any kind.
pub(crate) struct Fact;
/// The body of `POST /decisions`: one decision of any kind.
pub(crate) struct Decision;

/// One kind that can be posted.
pub(super) struct Posted {
    pub(super) name: &'static str,
    /// Kinds of things it may be about; none: any.
    things: &'static [&'static str],
    body: fn() -> Ref,
    add: fn(&mut Schemas),
}

macro_rules! posted {
    ($($name:literal $type:ident [$($thing:literal),*];)*) => {
        &[$(Posted { name: $name, things: &[$($thing),*], body: refer::<$type>, add: add::<$type> }),*]
    };
}

pub(super) const FACTS: &[Posted] = posted! {
    "roll_received" RollReceived ["roll"];
    "roll_put_away" PutAway ["roll"];
    "kit_put_away" PutAway ["kit"];
    "roll_taken_out" TakenOut ["roll"];
    "kit_taken_out" TakenOut ["kit"];
    "seen" Seen ["roll", "kit"];
    "nest_cut" NestCut ["nest"];
    "plies_laid" PliesLaid ["part"];
    "oven_run_started" OvenRunStarted ["run"];
    "layup_completed" LayupCompleted ["part"];
    "oven_run_ended" OvenRunEnded ["run"];
    "oven_run_interrupted" OvenRunInterrupted ["run"];
    "part_installed" InBoat ["part"];
    "part_removed" InBoat ["part"];
    "disposed" Disposed ["roll", "kit"];
    "delivery_arrived" DeliveryArrived ["delivery"];
};

pub(super) const DECISIONS: &[Posted] = posted! {
    "declare_yard" Yard ["yard"];
    "declare_place" Place ["place"];
    "revise_material" Revision ["material"];
    "register_batch" Batch ["batch"];
    "open_job" Job ["job"];
    "replan_job" Job ["job"];
    "declare_boat" BoatList ["boat"];
    "issue" Issue ["roll", "kit"];
    "place_hold" PlaceHold [];
    "lift_hold" LiftHold [];
    "strike" StrikeAsked [];
    "confirm" Confirm [];
    "settle" Settle [];
    "grant_roles" GrantRoles ["badge"];
    "enrol_device" EnrolDevice ["device"];
    "revoke_device" RevokeDevice ["device"];
    "issue_token" IssueToken ["badge"];
    "revoke_token" RevokeToken ["badge"];
};

/// What a strike asks for: another shape than what is stored.
struct StrikeAsked;

impl PartialSchema for StrikeAsked {
    fn schema() -> RefOr<Schema> {
        closed()
            .description(Some("Which entry is wrong, why, and the fact that stands instead, if any"))
            .property("entry", uuid("The id of the wrong entry"))
            .property("why", text("Why it is wrong"))
            .property("instead", refer::<Fact>())
            .required("entry")
            .required("why")
            .into()
    }
}

impl ToSchema for StrikeAsked {}

fn closed() -> ObjectBuilder {
    ObjectBuilder::new().additional_properties(Some(AdditionalProperties::FreeForm(false)))
}

fn thing(posted: &Posted) -> Object {
    let about = ObjectBuilder::new().schema_type(Type::String);
    match posted.things {
        [] => about.description(Some("Any thing: its kind and its code")).examples(["roll/R-42"]).build(),
        ["batch"] => about.pattern(Some("^batch/[^/]{1,40}/[^/]{1,40}$")).build(),
        things => about.pattern(Some(format!("^({})/[^/]{{1,40}}$", things.join("|")))).build(),
    }
}

fn fact(posted: &Posted) -> Object {
    let kinds = [posted.name.to_owned(), format!("{}.v1", posted.name)];
    closed()
        .property("id", uuid("Chosen by the client; the same id and content is written once"))
        .property("kind", ObjectBuilder::new().schema_type(Type::String).enum_values(Some(kinds)))
        .property("thing", thing(posted))
        .property("occurred_at", refer::<Stamp>())
        .property("uncertain_by_ms", number("Give or take, in milliseconds", 0))
        .property("by", refer::<Code>())
        .property("second", refer::<Second>())
        .property("device", refer::<Code>())
        .property("counter", number("The device's own count", 0))
        .property("device_said", refer::<Stamp>())
        .property("shown", refer::<Shown>())
        .property("body", (posted.body)())
        .required("id")
        .required("kind")
        .required("thing")
        .required("occurred_at")
        .required("by")
        .required("body")
        .build()
}

fn decision(posted: &Posted) -> Object {
    closed()
        .property("id", uuid("Chosen by the client; the same id and content is decided once"))
        .property("decide", ObjectBuilder::new().schema_type(Type::String).enum_values(Some([posted.name])))
        .property("thing", thing(posted))
        .property("by", refer::<Code>())
        .property("second", refer::<Second>())
        .property("based_on", number("The as_of_seq of the answer that was looked at", 0))
        .property("shown", refer::<Shown>())
        .property("body", (posted.body)())
        .required("id")
        .required("decide")
        .required("thing")
        .required("by")
        .required("based_on")
        .required("body")
        .build()
}

fn add_envelope(schemas: &mut Schemas) {
    add::<Stamp>(schemas);
    add::<Code>(schemas);
    add::<Second>(schemas);
    add::<Shown>(schemas);
}

fn one_of(prefix: &str, by: &str, kinds: &[Posted], versions: &[&str]) -> RefOr<Schema> {
    let reference = |posted: &Posted| Ref::from_schema_name(format!("{prefix}.{}", posted.name));
    let mapping = kinds.iter().flat_map(|posted| {
        versions.iter().map(move |version| (format!("{}{version}", posted.name), reference(posted).ref_location))
    });
    let choice = kinds.iter().fold(OneOfBuilder::new(), |choice, posted| choice.item(reference(posted)));
    choice.discriminator(Some(Discriminator::with_mapping(by, mapping))).into()
}

impl PartialSchema for PostedFacts {
    fn schema() -> RefOr<Schema> {
        closed()
            .property("entries", ArrayBuilder::new().items(refer::<Fact>()).min_items(Some(1)).max_items(Some(100)))
            .required("entries")
            .into()
    }
}

impl ToSchema for PostedFacts {
    fn schemas(schemas: &mut Schemas) {
        add::<Fact>(schemas);
    }
}

impl PartialSchema for Fact {
    fn schema() -> RefOr<Schema> {
        one_of("Fact", "kind", FACTS, &["", ".v1"])
    }
}

impl ToSchema for Fact {
    fn schemas(schemas: &mut Schemas) {
        add_envelope(schemas);
        for posted in FACTS {
            schemas.push((format!("Fact.{}", posted.name), fact(posted).into()));
            (posted.add)(schemas);
        }
    }
}

impl PartialSchema for Decision {
    fn schema() -> RefOr<Schema> {
        one_of("Decision", "decide", DECISIONS, &[""])
    }
}

impl ToSchema for Decision {
    fn schemas(schemas: &mut Schemas) {
        add_envelope(schemas);
        add::<Fact>(schemas);
        for posted in DECISIONS {
            schemas.push((format!("Decision.{}", posted.name), decision(posted).into()));
            (posted.add)(schemas);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{DECISIONS, FACTS};
    use shared_types::catalogue::{Door, KINDS};

    #[test]
    fn every_kind_that_can_be_posted_is_in_the_document() {
        let facts = KINDS.iter().filter(|(_, door)| *door == Door::Fact).map(|(name, _)| name.trim_end_matches(".v1"));
        assert!(facts.eq(FACTS.iter().map(|posted| posted.name)));
        let asked = KINDS.iter().filter_map(|(_, door)| match door {
            Door::Decision(asked) => Some(*asked),
            Door::Fact | Door::Log => None,
        });
        assert!(asked.eq(DECISIONS.iter().map(|posted| posted.name)));
    }
}
