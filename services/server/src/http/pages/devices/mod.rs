//! The devices: which may record, when something came from each last, and what never arrived.

mod bring_in;
mod revoke;

pub(crate) use bring_in::{bring_in_page, post_bring_in};
pub(crate) use revoke::{post_revoke, revoke_page};

use super::{answer, assets::Assets, day::Moment, foot::Foot, html, in_a_query, page};
use crate::{
    http::{
        devices::{Clocks, listed},
        fallback::in_a_path,
        who::Who,
    },
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, route, web};
use askama::Template;
use domain::say::Say;
use shared_types::{DeviceStanding, DeviceView, Instant, Missing};

#[derive(Template)]
#[template(path = "devices.html")]
struct DevicesPage {
    assets: Assets,
    foot: Foot,
    lines: Vec<Line>,
    /// Whoever reads it may revoke a device and bring in what one had.
    may_change: bool,
}

struct Line {
    address: String,
    name: String,
    what: String,
    /// May record, revoked and why, or never enrolled.
    standing: String,
    last_seen: String,
    /// How wrong its clock is, where that is worth a word.
    clock: Option<String>,
    last_counter: String,
    /// Escaped, with its numbers kept whole.
    missing: Option<String>,
    /// Where it is revoked, as long as it may record.
    revoke: Option<String>,
}

fn line(device: &DeviceView, say: &Say, at: Instant) -> Line {
    let past = |stamp: &shared_types::Stamp| say.past(stamp.at, at);
    let what = device.what.map_or("", |what| what.word());
    let place = device.place.as_ref().map_or(String::new(), |place| format!(" at {place}"));
    let standing = match device.standing {
        DeviceStanding::NotEnrolled => "not enrolled: its scans are only said to be its own".to_owned(),
        DeviceStanding::Enrolled => {
            format!("enrolled {}", device.enrolled_at.as_ref().map_or(String::new(), past))
        }
        DeviceStanding::Revoked => {
            let why = device.revoked_because.as_deref().unwrap_or_default();
            format!("revoked {}: {why}", device.revoked_at.as_ref().map_or(String::new(), past))
        }
    };
    Line {
        address: format!("/thing/{}", in_a_path(&device.device)),
        name: device.device.short().to_owned(),
        what: format!("{what}{place}"),
        standing,
        last_seen: device.last_seen.as_ref().map_or_else(|| "nothing yet".to_owned(), past),
        clock: device.clock_ahead_ms.and_then(clock),
        last_counter: device.last_counter.map_or_else(|| "none".to_owned(), |counter| counter.to_string()),
        missing: missing(device),
        revoke: (device.standing == DeviceStanding::Enrolled)
            .then(|| format!("/devices/revoke?thing={}", in_a_query(&device.device.to_string()))),
    }
}

/// A clock that is no more than this wrong is right.
const RIGHT_MS: i64 = 10_000;

fn clock(ahead_ms: i64) -> Option<String> {
    let by = match ahead_ms.saturating_abs() {
        ms if ms <= RIGHT_MS => return None,
        ms if ms < 60_000 => format!("{} s", ms / 1_000),
        ms => domain::say::left(ms),
    };
    let way = if ahead_ms < 0 { "slow" } else { "fast" };
    Some(format!("its clock is {by} {way}"))
}

/// So many stretches stand in a line; the API names more.
const NAMED: usize = 6;

fn missing(device: &DeviceView) -> Option<String> {
    let stretch = |one: &Missing| match one.from == one.to {
        true => one.from.to_string(),
        false => format!("{} to {}", one.from, one.to),
    };
    // The last ones come first.
    let named: Vec<String> = device.missing.iter().take(NAMED).rev().map(stretch).collect();
    let all = device.missing.len() <= NAMED && device.more_missing == 0;
    let words = match (device.missing_count, all) {
        (0, _) => return None,
        (1, _) => format!("{} never arrived", named.concat()),
        (count, true) => format!("{}: {count} never arrived", named.join(", ")),
        (count, false) => format!("{count} never arrived, the last of them {}", named.join(", ")),
    };
    Some(html::codes(words).to_string())
}

#[route("/devices", method = "GET", method = "HEAD")]
pub(crate) async fn devices_page(
    request: HttpRequest,
    yard: web::Data<Yard>,
    clocks: web::Data<Clocks>,
    who: Who,
    query: web::Query<Moment>,
) -> HttpResponse {
    let found = async {
        let (lines, foot) = super::day::read(&yard, query.read(&yard)?, move |book, when, say| {
            let list = listed(book, &clocks, when);
            Ok(list.devices.iter().map(|device| line(device, say, when.at)).collect())
        })
        .await?;
        let may_change = who.may_manage(&yard);
        page(StatusCode::OK, &DevicesPage { assets: Assets::new(), foot, lines, may_change })
    };
    answer(&request, found.await)
}
