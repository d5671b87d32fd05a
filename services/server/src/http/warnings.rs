//! What runs out soon and who has to act by when: as JSON, and as a calendar that other programs subscribe to.

use super::{
    ask::{AtKnown, ask_beside, json, stamp},
    calendar,
    contract::Listed,
    problems::{Answer, Fault},
    query::Query,
};
use crate::yard::Yard;
use actix_web::{HttpResponse, http::header, route, web};
use domain::{Book, TakeOutQuestion, WarningsQuestion, say::Dates};
use serde::{Deserialize, Deserializer, de::Error};
use shared_types::{Code, Handover, Kind, Stamp, TakeOutList, ThingName, Warnings};
use utoipa::IntoParams;

/// The farthest horizon, in hours: ten years.
pub(crate) const FARTHEST_H: u32 = 87_600;

#[derive(Deserialize, IntoParams, Clone, Default)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct WarningsQuery {
    /// How many hours to look ahead for clocks that run. Default: 168, a week.
    #[serde(default, deserialize_with = "hours")]
    #[param(value_type = Option<u32>, minimum = 0, maximum = 87600, default = 168)]
    pub(crate) within_h: Option<u32>,
    /// How many hours to look ahead for shelf lives. Default: 1344, eight weeks, because a retest takes weeks.
    #[serde(default, deserialize_with = "hours")]
    #[param(value_type = Option<u32>, minimum = 0, maximum = 87600, default = 1344)]
    pub(crate) shelf_within_h: Option<u32>,
    /// Only what was given to this job, cut for it or laid in its part. Default: everything.
    #[serde(default, deserialize_with = "code")]
    #[param(value_type = Option<String>)]
    pub(crate) job: Option<Code>,
    /// Only what is limited by this material. Default: everything.
    #[serde(default, deserialize_with = "code")]
    #[param(value_type = Option<String>)]
    pub(crate) material: Option<Code>,
    /// The instant at which the history is read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    pub(crate) at: Option<Stamp>,
    /// The last entry (`seq`) that counts as known. Default: all of them.
    #[serde(default)]
    pub(crate) known: Option<u64>,
}

/// How far to look ahead.
pub(crate) fn hours<'de, D: Deserializer<'de>>(from: D) -> Result<Option<u32>, D::Error> {
    let text = String::deserialize(from)?;
    let hours = text.trim().parse().ok().filter(|hours| *hours <= FARTHEST_H);
    let bad = || D::Error::custom(format!("look ahead a whole number of hours, 0 to {FARTHEST_H}"));
    hours.map(Some).ok_or_else(bad)
}

/// A field that a form leaves empty is one that was left out.
pub(crate) fn code<'de, D: Deserializer<'de>>(from: D) -> Result<Option<Code>, D::Error> {
    let text = String::deserialize(from)?;
    match text.trim() {
        "" => Ok(None),
        text => Code::new(text).map(Some).map_err(D::Error::custom),
    }
}

impl WarningsQuery {
    /// A job or material that nobody named would answer with an empty list, as if all were well.
    pub(crate) fn question(&self, yard: &Yard, book: &Book) -> Result<WarningsQuestion, Fault> {
        let when = AtKnown { at: self.at, known: self.known }.when(yard, book)?;
        for (kind, code) in [(Kind::Job, &self.job), (Kind::Material, &self.material)] {
            if let Some(code) = code
                && book.label(&ThingName::new(kind, code)).is_none()
            {
                let detail = format!("Nobody has named a {kind} {code}. Look at its code again.");
                return Err(Fault::cannot_read(detail).field(format!("/{kind}"), "nobody has named it"));
            }
        }
        let usual = WarningsQuestion::usual(when);
        Ok(WarningsQuestion {
            within_h: self.within_h.unwrap_or(usual.within_h),
            shelf_within_h: self.shelf_within_h.unwrap_or(usual.shelf_within_h),
            job: self.job.clone(),
            material: self.material.clone(),
            ..usual
        })
    }

    pub(crate) async fn ask(self, yard: &web::Data<Yard>, dates: Dates) -> Result<Warnings, Fault> {
        let shared = yard.clone();
        ask_beside(yard, move |book| {
            let question = self.question(&shared, book)?;
            Ok(domain::warnings(book, &WarningsQuestion { dates, ..question }))
        })
        .await
    }
}

/// What runs out soon or will not make its plan, and who has to do what by when?
///
/// Every limit that ends within the horizon, and every roll, kit and stage that will not make the lay-up or the oven
/// start that its job plans, spare time included. Each says in a sentence who has to do what by when; the act comes
/// while the yard is open, and never after the limit has ended. Soonest first.
#[utoipa::path(operation_id = "warnings", tag = "life", params(WarningsQuery), responses(
    (status = 200, description = "Warnings by when somebody has to act.", body = Warnings), Listed,
))]
#[route("/warnings", method = "GET", method = "HEAD")]
pub(crate) async fn warnings(yard: web::Data<Yard>, query: Query<WarningsQuery>) -> Answer {
    json(&query.into_inner().ask(&yard, Dates::Near).await?)
}

/// The same as a calendar (RFC 5545) to subscribe to.
///
/// One event for each warning, at the instant by which somebody has to act, with an alarm an hour before. A warning
/// that no longer holds is no longer there. A calendar is read later: its sentences name full dates, and the moment at
/// which they were said, instead of how long it is until then. Subscribe for one material or job by naming it.
#[utoipa::path(operation_id = "warnings_calendar", tag = "life", params(WarningsQuery), responses(
    (status = 200, description = "A calendar.", body = String, content_type = "text/calendar"), Listed,
))]
#[route("/warnings.ics", method = "GET", method = "HEAD")]
pub(crate) async fn warnings_calendar(yard: web::Data<Yard>, query: Query<WarningsQuery>) -> Answer {
    calendar(&yard, query.into_inner()).await
}

pub(crate) async fn calendar(yard: &web::Data<Yard>, query: WarningsQuery) -> Answer {
    let asked = query.ask(yard, Dates::Full).await?;
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, "text/calendar; charset=utf-8"))
        .body(calendar::written(&asked)))
}

/// What an address of the calendar may be asked for: never another time, or what was known before.
#[derive(Deserialize, IntoParams, Clone, Default)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct FeedQuery {
    /// Only what was given to this job, cut for it or laid in its part. Default: everything.
    #[serde(default, deserialize_with = "code")]
    #[param(value_type = Option<String>)]
    job: Option<Code>,
    /// Only what is limited by this material. Default: everything.
    #[serde(default, deserialize_with = "code")]
    #[param(value_type = Option<String>)]
    material: Option<Code>,
}

impl From<FeedQuery> for WarningsQuery {
    fn from(FeedQuery { job, material }: FeedQuery) -> WarningsQuery {
        WarningsQuery { job, material, ..WarningsQuery::default() }
    }
}

#[derive(Deserialize, IntoParams, Clone, Copy, Default)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub(crate) struct TakeOutQuery {
    /// Lay-ups planned until then, RFC 3339 with an offset. Default: the end of the next day on which the yard is open.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    pub(crate) until: Option<Stamp>,
    /// The instant at which the history is read, RFC 3339 with an offset. Default: now.
    #[serde(default, deserialize_with = "stamp")]
    #[param(value_type = Option<String>, format = DateTime)]
    pub(crate) at: Option<Stamp>,
    /// The last entry (`seq`) that counts as known. Default: all of them.
    #[serde(default)]
    pub(crate) known: Option<u64>,
}

impl TakeOutQuery {
    pub(crate) async fn ask(self, yard: &web::Data<Yard>) -> Result<TakeOutList, Fault> {
        let shared = yard.clone();
        let until = self.until.map(|until| until.at);
        let when = AtKnown { at: self.at, known: self.known };
        ask_beside(yard, move |book| {
            Ok(domain::take_out_list(book, &TakeOutQuestion { until, when: when.when(&shared, book)? }))
        })
        .await
    }
}

/// What has to be out of the cold by when?
///
/// For every lay-up that is planned: kits cut for it, rolls given to it, else of the rolls that make it the one whose
/// life ends first. What there is not enough of stands beside. Warming up comes before: a material does not state how
/// long, so the maker's instructions do.
#[utoipa::path(operation_id = "take_out_list", tag = "life", params(TakeOutQuery), responses(
    (status = 200, description = "Soonest first.", body = TakeOutList), Listed,
))]
#[route("/take-out-list", method = "GET", method = "HEAD")]
pub(crate) async fn take_out_list(yard: web::Data<Yard>, query: Query<TakeOutQuery>) -> Answer {
    json(&query.into_inner().ask(&yard).await?)
}

/// What does one shift tell the next?
///
/// What is still out by the book, to be scanned where it lies; laid stages that wait for an oven, with heating by when;
/// told facts that wait for a second person; how much doesn't add up.
#[utoipa::path(operation_id = "handover", tag = "life", params(AtKnown), responses(
    (status = 200, description = "Soonest first.", body = Handover), Listed,
))]
#[route("/handover", method = "GET", method = "HEAD")]
pub(crate) async fn handover(yard: web::Data<Yard>, query: Query<AtKnown>) -> Answer {
    json(&handed_over(&yard, query.into_inner()).await?)
}

pub(crate) async fn handed_over(yard: &web::Data<Yard>, query: AtKnown) -> Result<Handover, Fault> {
    let shared = yard.clone();
    ask_beside(yard, move |book| Ok(domain::handover(book, query.when(&shared, book)?))).await
}
