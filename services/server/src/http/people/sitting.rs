//! A sitting: a second person shows who they are beside the one who is signed in, once, and counts for a quarter of an hour.

use super::{
    Said,
    session::{Beside, SignInAsked, prove},
};
use crate::{
    http::{
        ask::created,
        contract::SignsIn,
        problems::{Answer, Fault, Kind},
        who::{By, Person, Who},
        written,
    },
    people::{SITTING_MS, Shows, Sitting},
    yard::Yard,
};
use actix_web::{HttpRequest, http::StatusCode, route, web};
use shared_types::Stamp;

/// The second person shows who they are.
pub(crate) async fn sit(
    request: &HttpRequest,
    yard: &web::Data<Yard>,
    first: &Person,
    shows: Shows,
) -> Result<Sitting, Fault> {
    let proven = prove(request, yard, shows).await?;
    if proven.badge == first.session.badge {
        let detail = format!("{} is signed in already: the second person is somebody else.", proven.badge);
        return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail));
    }
    let sitting = Sitting { badge: proven.badge, known: proven.known, until: yard.now().plus_ms(SITTING_MS) };
    first.session.sit(Some(sitting.clone()));
    let by = By { badge: sitting.badge.clone(), known: sitting.known, device: first.session.device.clone() };
    written::signed_in(yard, &by).await;
    Ok(sitting)
}

/// Let a second person stand beside you.
///
/// They show who they are as at signing in, within your session; a badge's symbol is enough anywhere. For 15 min, decisions and facts
/// of this session that name them as `second` say how they are known. Without a sitting a `second` is refused with 403.
#[utoipa::path(operation_id = "begin_sitting", tag = "people",
    request_body(content = SignInAsked, content_type = "application/json", description = "As at signing in.", examples(
        ("badge" = (summary = "A badge's symbol", value = json!({"symbol": "RMB.ONEXAMPLEOFASYMBOLONABADGE"}))),
        ("password" = (summary = "A password", value = json!({"badge": "Q-01", "password": "cold resin keeps its temper"})))
    )),
    responses((status = 201, description = "They stand beside you.", body = Beside), SignsIn),
)]
#[route("/sittings", method = "POST")]
pub(crate) async fn sittings(
    request: HttpRequest,
    yard: web::Data<Yard>,
    who: Who,
    Said(said): Said<SignInAsked>,
) -> Answer {
    let asked = said;
    let Who::Person(person) = who else {
        let detail = "Nobody signs in here yet, so nobody stands beside anybody. Name the second person in `second`.";
        return Err(Fault::new(StatusCode::FORBIDDEN, Kind::NotAllowed, detail));
    };
    let shows = asked.shows()?;
    let Sitting { badge, known, until } = sit(&request, &yard, &person, shows).await?;
    created(&Beside { badge, known, until: Stamp::utc(until) })
}
