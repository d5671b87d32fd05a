//! Devices: an administrator makes a code, the device is enrolled with it once, and the log says so.

use super::{Said, changed, code, no_such_code, wait};
use crate::{
    http::{
        ask::created,
        contract::{Joins, Makes},
        cookies::{self, Cookies},
        problems::{Answer, Fault, Kind},
        refusals::stored,
        who::{self, Who},
    },
    intake,
    people::{ENROLMENT_MS, Enrolment, For},
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, http::header, route, web};
use domain::standing::{self, Standing};
use serde::{Deserialize, Serialize};
use serde_json::json;
use shared_types::{Code, DeviceIs, Kind as ThingKind, KnownBy, Stamp, ThingName};
use utoipa::ToSchema;

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct DeviceAsked {
    /// The name that the device gets; one that was revoked is never used again.
    #[schema(example = "H-3")]
    pub(crate) device: String,
    pub(crate) what: DeviceIs,
    /// Where it mostly lies.
    #[serde(default)]
    #[schema(example = "CUT")]
    pub(crate) place: Option<String>,
}

/// A code that enrols one device.
#[derive(Serialize, ToSchema)]
pub(crate) struct DeviceCode {
    #[schema(value_type = String)]
    pub(crate) device: Code,
    pub(crate) code: String,
    pub(crate) ends_at: Stamp,
}

pub(crate) fn new_device_code(yard: &Yard, who: &Who, asked: &DeviceAsked) -> Result<DeviceCode, Fault> {
    let Who::Person(person) = who else { return Err(who::not_signed_in(None)) };
    let device = code(&asked.device, "/device", "device")?;
    let place = asked.place.as_deref().filter(|place| !place.trim().is_empty());
    let place = place.map(|place| code(place, "/place", "place")).transpose()?;
    let why = match standing::device(&yard.read(), &device) {
        Standing::NotEnrolled => None,
        Standing::Enrolled => Some(format!("{device} is enrolled already. Take another name, or revoke it first.")),
        Standing::Revoked => {
            Some(format!("{device} was revoked, and its name stays with what it sent. Take another name."))
        }
    };
    if let Some(why) = why {
        return Err(Fault::cannot_read(why.clone()).field("/device", why));
    }
    let by = person.by();
    let enrolment = Enrolment { device: device.clone(), what: asked.what, place, by: by.badge, by_known: by.known };
    let code = yard.people.codes.make(For::Device(enrolment), Some(ENROLMENT_MS), yard.clock.as_ref());
    let code = code.map_err(|error| Fault::went_wrong(error.to_string()))?;
    Ok(DeviceCode { device, code, ends_at: Stamp::utc(yard.now().plus_ms(ENROLMENT_MS)) })
}

/// Make a code that enrols a device.
///
/// For 15 min, once. Whoever types it on the device at /enrol, or posts it to /api/v1/devices/enrol, gets the device's token.
#[utoipa::path(operation_id = "make_device_code", tag = "people",
    request_body(content = DeviceAsked, content_type = "application/json", description = "The device.", examples(
        ("handheld" = (summary = "A handheld", value = json!({"device": "H-3", "what": "handheld", "place": "CUT"})))
    )),
    responses((status = 201, description = "The code, shown this once.", body = DeviceCode), Makes),
)]
#[route("/devices/codes", method = "POST")]
pub(crate) async fn make_device_code(yard: web::Data<Yard>, who: Who, Said(said): Said<DeviceAsked>) -> Answer {
    let made = new_device_code(&yard, &who, &said)?;
    created(&made)
}

#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct EnrolAsked {
    #[schema(example = "K3QF-7MWA-PZ2X-VH5N")]
    code: String,
    /// The name that the code was made for.
    #[schema(example = "H-3")]
    device: String,
}

/// A device that may record from now on.
#[derive(Serialize, ToSchema)]
pub(crate) struct Enrolled {
    #[schema(value_type = String)]
    pub(crate) device: Code,
    /// Sent as `Authorization: Bearer` with every request; shown this once. A browser keeps it in a cookie instead.
    pub(crate) token: String,
    /// The number of the entry that says so.
    pub(crate) seq: u64,
}

/// Uses the code up, keeps a token and writes that the device is enrolled. Whoever fails may try again with the same code.
pub(crate) async fn enrol_device(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    typed: &str,
    named: Option<&str>,
) -> Result<Enrolled, Fault> {
    let now = yard.now();
    let found = yard.people.try_code(who::address(request), || yard.people.codes.take(typed, now)).map_err(wait)?;
    let waiting = found.ok_or_else(no_such_code)?;
    let For::Device(enrolment) = waiting.what.clone() else {
        yard.people.codes.give_back(waiting);
        let detail = "That code begins somebody's sign-in, not a device. Type it at /set-up.";
        return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail).field("/code", "a device's code"));
    };
    let fits = named.map(|named| Code::new(named).ok()).is_none_or(|named| named.as_ref() == Some(&enrolment.device));
    let done = match fits {
        true => keep(yard, &enrolment).await,
        false => {
            let detail = format!("That code is for {}, not for this name.", enrolment.device);
            Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail)
                .field("/device", enrolment.device.to_string()))
        }
    };
    if done.is_err() {
        yard.people.codes.give_back(waiting);
    }
    done
}

/// The token first: it opens nothing before the log has the device enrolled.
async fn keep(yard: &web::Data<Yard>, enrolment: &Enrolment) -> Result<Enrolled, Fault> {
    let Enrolment { device, what, place, by, by_known } = enrolment.clone();
    let standing = standing::device(&yard.read(), &device);
    if standing != Standing::NotEnrolled {
        let detail = format!("{device} was enrolled otherwise meanwhile. Make a code for another name.");
        return Err(Fault::new(StatusCode::CONFLICT, Kind::AlreadyThere, detail));
    }
    let of = device.clone();
    let token = changed(yard, move |yard| yard.people.keep_device(&of)).await?;
    let thing = ThingName::new(ThingKind::Device, &device);
    let body = json!({ "what": what, "place": place });
    let seq = decided(yard, "enrol_device", &thing, &by, by_known, &body, yard.clock.new_id()).await?;
    Ok(Enrolled { device, token, seq })
}

/// Writes a decision about people by who is signed in; its number.
pub(crate) async fn decide(
    yard: &Yard,
    who: &Who,
    decide: &str,
    thing: &ThingName,
    body: &serde_json::Value,
) -> Result<u64, Fault> {
    let Who::Person(person) = who else { return Err(who::not_signed_in(None)) };
    let by = person.by();
    decided(yard, decide, thing, &by.badge, by.known, body, yard.clock.new_id()).await
}

/// Writes a decision of an administrator's about people; its number.
pub(super) async fn decided(
    yard: &Yard,
    decide: &str,
    thing: &ThingName,
    by: &Code,
    by_known: KnownBy,
    body: &serde_json::Value,
    id: uuid::Uuid,
) -> Result<u64, Fault> {
    let based_on = yard.read().last_seq();
    let text = json!({ "id": id, "decide": decide, "thing": thing, "by": by, "based_on": based_on, "body": body });
    let mut wish = intake::decision(&text.to_string()).map_err(|problem| Fault::cannot_read(problem.words()))?;
    wish.wish.by_known = by_known;
    match stored(yard.committer.submit(wish).await)? {
        crate::http::refusals::Stored::Now(written) => Ok(written.seq),
        crate::http::refusals::Stored::Before(entry) => Ok(entry.seq),
    }
}

/// Enrol a device.
///
/// With a code that an administrator made for it. The token is given this once, in the answer and as a cookie; the log says that the
/// device is enrolled, by the administrator who made the code.
#[utoipa::path(operation_id = "enrol_device", tag = "people",
    request_body(content = EnrolAsked, content_type = "application/json", description = "The code and the device's name.", examples(
        ("code" = (summary = "A code as it was given", value = json!({"code": "K3QF-7MWA-PZ2X-VH5N", "device": "H-3"})))
    )),
    responses((status = 201, description = "Enrolled; the cookie stands in `Set-Cookie`.", body = Enrolled), Joins,
        (status = 409, description = "The name was enrolled otherwise meanwhile (`already-there`).", body = shared_types::Problem,
            content_type = "application/problem+json")),
)]
#[route("/devices/enrol", method = "POST")]
pub(crate) async fn enrol(request: HttpRequest, yard: web::Data<Yard>, Said(asked): Said<EnrolAsked>) -> Answer {
    let EnrolAsked { code, device } = asked;
    let enrolled = enrol_device(&request, &yard, &code, Some(&device)).await?;
    let mut answer = created(&enrolled)?;
    remember(&request, &yard, &enrolled.token, &mut answer)?;
    Ok(answer)
}

/// What a browser keeps from then on: that it is the device. Whoever was signed in on it, at a desk until now, is so no more: the
/// next one scans a badge.
pub(crate) fn remember(
    request: &HttpRequest,
    yard: &Yard,
    token: &str,
    answer: &mut HttpResponse,
) -> Result<(), Fault> {
    answer.headers_mut().append(header::SET_COOKIE, cookies::of_device(request, token)?);
    if let Some(session) = Cookies::of(request).session() {
        yard.people.sessions.end(session);
        answer.headers_mut().append(header::SET_COOKIE, cookies::cookie(request, "session", "", 0)?);
    }
    Ok(())
}
