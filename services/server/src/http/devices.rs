//! The yard's devices: which may record, what came from each, what never arrived, and how wrong its clock is.

use super::{
    ask::{AtKnown, ask_beside, json},
    contract::Listed,
    problems::Answer,
    query::Query,
};
use crate::{intake::NewFact, yard::Yard};
use actix_web::{HttpRequest, route, web};
use domain::{Book, When, say::Say, view::View};
use shared_types::{Code, DeviceList, Entry, Instant, KnownBy, Stamp};
use std::{
    borrow::Cow,
    collections::BTreeMap,
    sync::{Mutex, PoisonError},
};

/// What a device's own clock shows as it sends.
pub(crate) const DEVICE_TIME: &str = "Device-Time";

/// The same in a form that the script of a page sends.
pub(crate) const PAGE_TIME: &str = "device_time";

/// By how much the clock of each device was ahead when it sent something last, since the server started. No answer about
/// material depends on it.
#[derive(Default)]
pub(crate) struct Clocks(Mutex<BTreeMap<Code, Measured>>);

#[derive(Clone, Copy)]
struct Measured {
    at: Instant,
    ahead_ms: i64,
}

/// The clock of whoever sent a request, if it said what it shows. What can't be read is as if it were not there: nothing
/// that a device sends is lost for it.
pub(crate) struct Clock<'r> {
    clocks: Option<&'r web::Data<Clocks>>,
    measured: Option<Measured>,
}

impl<'r> Clock<'r> {
    pub(crate) fn of(request: &'r HttpRequest, now: Instant) -> Clock<'r> {
        let shows = request.headers().get(DEVICE_TIME).and_then(|value| Stamp::parse(value.to_str().ok()?.trim()).ok());
        let measured = shows.map(|shows| Measured { at: now, ahead_ms: shows.at.since(now) });
        Clock { clocks: request.app_data(), measured }
    }

    /// A fact with what is known of its device's clock, which is kept as long as the server runs.
    pub(crate) fn beside(&self, fact: NewFact) -> NewFact {
        let Some(measured) = self.measured.filter(|_| is_shown(&fact.entry)) else { return fact };
        if let (Some(clocks), Some(device)) = (self.clocks, &fact.entry.device) {
            let mut clocks = clocks.0.lock().unwrap_or_else(PoisonError::into_inner);
            clocks.insert(device.clone(), measured);
        }
        NewFact { clock_ahead_ms: Some(measured.ahead_ms), ..fact }
    }
}

/// Keeps what the clock of an enrolled device showed as one of its pages was sent. What a page writes happens when it arrives, by
/// the server's clock: this is for whoever looks after the device.
pub(crate) fn page_sent(request: &HttpRequest, device: &Code, form: &[u8], now: Instant) {
    let mut fields =
        serde_urlencoded::from_bytes::<Vec<(Cow<'_, str>, Cow<'_, str>)>>(form).unwrap_or_default().into_iter();
    let shows = fields.find(|(name, _)| name == PAGE_TIME).and_then(|(_, value)| Stamp::parse(value.trim()).ok());
    if let (Some(shows), Some(clocks)) = (shows, request.app_data::<web::Data<Clocks>>()) {
        let mut clocks = clocks.0.lock().unwrap_or_else(PoisonError::into_inner);
        clocks.insert(device.clone(), Measured { at: now, ahead_ms: shows.at.since(now) });
    }
}

/// Whether the device showed that it is that one.
fn is_shown(entry: &Entry) -> bool {
    entry.device_known.is_some_and(|known| known != KnownBy::Claimed)
}

/// The list, with what the clocks showed.
pub(crate) fn listed(book: &Book, clocks: &Clocks, when: When) -> DeviceList {
    let mut list = domain::devices::devices(book, when);
    let say = Say::of(View::new(book, when.known), when.at);
    let clocks = clocks.0.lock().unwrap_or_else(PoisonError::into_inner);
    for device in &mut list.devices {
        let measured = clocks.get(&device.device.own_code());
        device.clock_ahead_ms = measured.map(|clock| clock.ahead_ms);
        device.clock_measured_at = measured.map(|clock| say.stamp(clock.at));
    }
    list
}

/// Which devices does the yard have, and what of theirs never arrived?
///
/// Every device that was ever enrolled, or that a fact names. Each counts what it records by numbers of its own; a number in between that
/// never came stands under `missing`: the device still has it, or it is lost. A device that was revoked stays listed with what is missing.
#[utoipa::path(operation_id = "list_devices", tag = "things", params(AtKnown), responses(
    (status = 200, description = "All devices, by name.", body = DeviceList), Listed,
))]
#[route("/devices", method = "GET", method = "HEAD")]
pub(crate) async fn devices(yard: web::Data<Yard>, clocks: web::Data<Clocks>, query: Query<AtKnown>) -> Answer {
    let (shared, query) = (yard.clone(), *query);
    json(&ask_beside(&yard, move |book| Ok(listed(book, &clocks, query.when(&shared, book)?))).await?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::{Bench, START, asked, decision, fact, taken_out};
    use actix_web::test::TestRequest;
    use serde_json::json;

    #[test]
    fn a_devices_clock_is_read_from_its_request_and_kept() {
        let clocks = web::Data::new(Clocks::default());
        let sent = |shows: &str, known: KnownBy| {
            let request = TestRequest::default().app_data(clocks.clone()).insert_header((DEVICE_TIME, shows));
            let request = request.to_http_request();
            let mut item = taken_out(1, "R-42");
            item["device"] = json!("H-3");
            let read = fact(&item);
            let entry = Entry { device_known: Some(known), ..read.entry };
            Clock::of(&request, START).beside(NewFact::new(entry, None).unwrap()).clock_ahead_ms
        };
        // The start is 06:00 UTC.
        assert_eq!(sent("2026-05-06T08:30:00.000+02:00", KnownBy::Token), Some(1_800_000));
        assert_eq!(sent("2026-05-06T05:59:58.500Z", KnownBy::Token), Some(-1_500));
        assert_eq!(sent("half past eight", KnownBy::Token), None);
        // Of whoever only says that it is H-3 nothing is known.
        assert_eq!(sent("2026-05-06T09:00:00.000Z", KnownBy::Claimed), None);
        let bench = Bench::new();
        let yard = bench.open();
        let enrol = asked(900, "enrol_device", "device/H-3", 0, json!({"what": "handheld"}));
        yard.committer.submit_blocking(decision(&enrol));
        let list = listed(&yard.read(), &clocks, When::now(START));
        assert_eq!(list.devices[0].clock_ahead_ms, Some(-1_500));
        assert_eq!(list.devices[0].clock_measured_at.map(|stamp| stamp.at), Some(START));
    }
}
