//! The lists as operations. Whoever adds a filter adds it to `Filter`, to the list's row and here.

use super::{List, Page, Paged, page};
use crate::{
    http::{
        ask::{json, stamp},
        contract::Listed,
        problems::Answer,
        query::Query,
    },
    yard::Yard,
};
use actix_web::{http::header, route, web};
use domain::stock::Filter;
use serde::Deserialize;
use shared_types::{Code, Stamp, State, Stock};
use utoipa::IntoParams;

async fn answered(yard: &web::Data<Yard>, list: &'static List, filter: Filter, paged: Paged) -> Answer {
    let Page { stock, .. } = page(yard, list, filter, paged).await?;
    let mut answer = json(&stock)?;
    let link = stock.next.and_then(|next| header::HeaderValue::from_str(&format!("<{next}>; rel=\"next\"")).ok());
    if let Some(link) = link {
        answer.headers_mut().insert(header::LINK, link);
    }
    Ok(answer)
}

macro_rules! list {
    ($list:ident, $handler:ident, $query:ident, $path:literal, $id:literal, $summary:literal, { $($(#[$meta:meta])* $field:ident: $type:ty),* $(,)? }) => {
        #[derive(Deserialize, IntoParams)]
        #[serde(deny_unknown_fields)]
        #[into_params(parameter_in = Query)]
        pub(crate) struct $query {
            $($(#[$meta])* #[serde(default)] $field: Option<$type>,)*
            /// From the page before: where the list goes on. It belongs to these very filters.
            #[serde(default)]
            cursor: Option<String>,
            /// At most so many rows; more than 200 counts as 200.
            #[serde(default)]
            #[param(minimum = 1, default = 50, format = "uint64")]
            limit: Option<u64>,
            /// The instant at which the history is read, RFC 3339 with an offset. Default: now, or the first page's.
            #[serde(default, deserialize_with = "stamp")]
            #[param(value_type = Option<String>, format = DateTime)]
            at: Option<Stamp>,
            /// The last entry (`seq`) that counts as known. Default: all of them, or the first page's.
            #[serde(default)]
            known: Option<u64>,
        }

        #[doc = $summary]
        ///
        /// By code, page by page; `next` is the address of the page after. All pages are of the first one's moment.
        #[utoipa::path(operation_id = $id, tag = "stock", params($query), responses(
            (status = 200, description = "A page of the list.", body = Stock), Listed,
        ))]
        #[route($path, method = "GET", method = "HEAD")]
        pub(crate) async fn $handler(yard: web::Data<Yard>, query: Query<$query>) -> Answer {
            let $query { $($field,)* cursor, limit, at, known } = query.into_inner();
            let filter = Filter { $($field,)* ..Filter::default() };
            answered(&yard, &super::$list, filter, Paged { cursor, limit, at, known }).await
        }
    };
}

list!(ROLLS, list_rolls, RollsQuery, "/rolls", "list_rolls", "Rolls: where they are, what is left, what ends first.", {
    /// Of this material.
    #[param(value_type = Option<String>, example = "PM-101")]
    material: Code,
    /// Of the batch with this number of the supplier's.
    #[param(value_type = Option<String>, example = "B-123")]
    batch: Code,
    /// In this place, by the book.
    #[param(value_type = Option<String>, example = "F1")]
    place: Code,
    /// Where they are, in a word.
    #[param(inline)]
    state: State,
    /// Issued to this job.
    #[param(value_type = Option<String>, example = "J-118")]
    job: Code,
    /// With a hold in force, or without.
    held: bool,
});
list!(KITS, list_kits, KitsQuery, "/kits", "list_kits", "Kits: where they are, for which job, what ends first.", {
    /// In this place, by the book.
    #[param(value_type = Option<String>, example = "F1")]
    place: Code,
    /// Where they are, in a word.
    #[param(inline)]
    state: State,
    /// Cut for or issued to this job.
    #[param(value_type = Option<String>, example = "J-118")]
    job: Code,
    /// With a hold in force, or without.
    held: bool,
});
list!(PARTS, list_parts, PartsQuery, "/parts", "list_parts", "Parts: how far they are made, which boat they are in.", {
    /// How far they are, in a word.
    #[param(inline)]
    state: State,
    /// Made by this job.
    #[param(value_type = Option<String>, example = "J-118")]
    job: Code,
    /// In this boat.
    #[param(value_type = Option<String>, example = "118")]
    boat: Code,
    /// With a hold in force, or without.
    held: bool,
});
list!(BOATS, list_boats, BoatsQuery, "/boats", "list_boats", "Boats, and their lists of structural parts.", {
    /// With a hold in force, or without.
    held: bool,
});
list!(JOBS, list_jobs, JobsQuery, "/jobs", "list_jobs", "Jobs: planned for when, what is issued, how far the part is.", {
    /// That need this material.
    #[param(value_type = Option<String>, example = "PM-101")]
    material: Code,
    /// How far the job's part is, in a word.
    #[param(inline)]
    state: State,
    /// For this boat.
    #[param(value_type = Option<String>, example = "118")]
    boat: Code,
    /// With a hold in force, or without.
    held: bool,
});
list!(BATCHES, list_batches, BatchesQuery, "/batches", "list_batches", "Batches, and when they were made.", {
    /// Of this material.
    #[param(value_type = Option<String>, example = "PM-101")]
    material: Code,
    /// With a hold in force, or without.
    held: bool,
});
list!(MATERIALS, list_materials, MaterialsQuery, "/materials", "list_materials", "Materials, with their latest revision.", {
    /// With a hold in force, or without.
    held: bool,
});
list!(PLACES, list_places, PlacesQuery, "/places", "list_places", "Places: freezers and rooms.", {
    /// Frozen places, or rooms.
    frozen: bool,
    /// With a hold in force, or without.
    held: bool,
});
list!(DELIVERIES, list_deliveries, DeliveriesQuery, "/deliveries", "list_deliveries", "Deliveries: what their notes list, against what was received.", {
    /// With a roll of this material that was received.
    #[param(value_type = Option<String>, example = "PM-101")]
    material: Code,
    /// With a roll on a note that nobody received, or with all of them received.
    missing: bool,
    /// With a hold in force, or without.
    held: bool,
});
