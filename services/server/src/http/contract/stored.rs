//! What is answered as it is stored: the envelope's shape, for the document.

use shared_types::{Code, KnownBy, Second, Shown, Stamp, ThingName};
use utoipa::{
    PartialSchema, ToSchema,
    openapi::{
        ArrayBuilder, Object, ObjectBuilder, Ref, RefOr, Schema, SchemaFormat,
        schema::{KnownFormat, Type},
    },
};

/// One stored line.
pub(crate) struct StoredEntry;
/// A page of stored lines.
pub(crate) struct StoredLines;

pub(super) type Schemas = Vec<(String, RefOr<Schema>)>;

pub(super) fn refer<T: ToSchema>() -> Ref {
    Ref::from_schema_name(T::name())
}

/// Adds a schema and those it refers to.
pub(super) fn add<T: ToSchema>(schemas: &mut Schemas) {
    schemas.push((T::name().into_owned(), T::schema()));
    T::schemas(schemas);
}

pub(super) fn uuid(says: &str) -> Object {
    let format = SchemaFormat::KnownFormat(KnownFormat::Uuid);
    ObjectBuilder::new().schema_type(Type::String).format(Some(format)).description(Some(says)).build()
}

pub(super) fn number(says: &str, least: u32) -> Object {
    ObjectBuilder::new().schema_type(Type::Integer).minimum(Some(least)).description(Some(says)).build()
}

pub(super) fn text(says: &str) -> Object {
    ObjectBuilder::new().schema_type(Type::String).description(Some(says)).build()
}

impl PartialSchema for StoredEntry {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .description(Some(
                "One line of the log, exactly as it is stored. Members that say nothing are left out. `body` has the shape of its kind.",
            ))
            .property("seq", number("Its number, from 1", 1))
            .property("recorded_at", refer::<Stamp>())
            .property("told", ObjectBuilder::new().schema_type(Type::Boolean).description(Some("Its time differs from the moment it was made")))
            .property("id", uuid("Chosen by the client"))
            .property("fp", text("The first 16 bytes of SHA-256 over the item's RFC 8785 form, as 32 hexadecimal digits"))
            .property("kind", text("With its version: `roll_taken_out.v1`"))
            .property("thing", refer::<ThingName>())
            .property("occurred_at", refer::<Stamp>())
            .property("uncertain_by_ms", number("Give or take, in milliseconds", 0))
            .property("by", refer::<Code>())
            .property("by_known", refer::<KnownBy>())
            .property("second", refer::<Second>())
            .property("device", refer::<Code>())
            .property("device_known", refer::<KnownBy>())
            .property("counter", number("The device's own count", 0))
            .property("device_said", refer::<Stamp>())
            .property("shown", refer::<Shown>())
            .property("based_on", number("The as_of_seq that a decision was based on", 0))
            .property("strikes", uuid("The entry that this one strikes"))
            .property("body", ObjectBuilder::new())
            .required("seq")
            .required("recorded_at")
            .required("id")
            .required("fp")
            .required("kind")
            .required("thing")
            .required("occurred_at")
            .required("by")
            .required("by_known")
            .required("body")
            .into()
    }
}

impl ToSchema for StoredEntry {
    fn schemas(schemas: &mut Schemas) {
        add::<Stamp>(schemas);
        add::<ThingName>(schemas);
        add::<Code>(schemas);
        add::<KnownBy>(schemas);
        add::<Second>(schemas);
        add::<Shown>(schemas);
    }
}

impl PartialSchema for StoredLines {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .property("items", ArrayBuilder::new().items(refer::<StoredEntry>()))
            .property("as_of_seq", number("The last entry that was known", 0))
            .property("next", text("The address of the next page; left out on the last"))
            .property("say", text("What is to be said about it, as that the position is beyond the log's end"))
            .required("items")
            .required("as_of_seq")
            .into()
    }
}

impl ToSchema for StoredLines {
    fn schemas(schemas: &mut Schemas) {
        add::<StoredEntry>(schemas);
    }
}
