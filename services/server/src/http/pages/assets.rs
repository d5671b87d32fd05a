//! The style sheet and the script, under names that change with their content.

use super::super::problems::{Answer, Fault, Kind};
use actix_web::{HttpResponse, http::StatusCode, http::header, route, web};
use sha2::{Digest, Sha256};
use std::sync::LazyLock;

const LOOK: &str = include_str!("../../../static/look.css");
const SCAN: &str = include_str!("../../../static/scan.js");

const LIVE: &str = include_str!("../../../static/live.js");
const SEEN: &str = include_str!("../../../static/seen.js");
const CLOCK: &str = include_str!("../../../static/clock.js");

static LOOK_NAME: LazyLock<String> = LazyLock::new(|| named("look", LOOK, "css"));
static SCAN_NAME: LazyLock<String> = LazyLock::new(|| named("scan", SCAN, "js"));
static LIVE_NAME: LazyLock<String> = LazyLock::new(|| named("live", LIVE, "js"));
static CLOCK_NAME: LazyLock<String> = LazyLock::new(|| named("clock", CLOCK, "js"));
static SEEN_NAME: LazyLock<String> = LazyLock::new(|| named("seen", SEEN, "js"));

fn named(stem: &str, content: &str, ending: &str) -> String {
    let hash: String = Sha256::digest(content).iter().take(6).map(|byte| format!("{byte:02x}")).collect();
    format!("{stem}-{hash}.{ending}")
}

/// Where pages find them.
pub(super) struct Assets {
    pub(super) look: String,
    pub(super) scan: String,
    pub(super) live: String,
    pub(super) seen: String,
    pub(super) clock: String,
}

impl Assets {
    pub(super) fn new() -> Assets {
        Assets {
            look: format!("/static/{}", *LOOK_NAME),
            scan: format!("/static/{}", *SCAN_NAME),
            live: format!("/static/{}", *LIVE_NAME),
            seen: format!("/static/{}", *SEEN_NAME),
            clock: format!("/static/{}", *CLOCK_NAME),
        }
    }
}

#[route("/static/{name}", method = "GET", method = "HEAD")]
pub(crate) async fn asset(name: web::Path<String>) -> Answer {
    let (kind, content) = match name.as_str() {
        name if name == *LOOK_NAME => ("text/css; charset=utf-8", LOOK),
        name if name == *SCAN_NAME => ("text/javascript; charset=utf-8", SCAN),
        name if name == *LIVE_NAME => ("text/javascript; charset=utf-8", LIVE),
        name if name == *CLOCK_NAME => ("text/javascript; charset=utf-8", CLOCK),
        name if name == *SEEN_NAME => ("text/javascript; charset=utf-8", SEEN),
        _ => {
            let detail = "There is no such file; this server's pages name those that there are.";
            return Err(Fault::new(StatusCode::NOT_FOUND, Kind::NoSuchOperation, detail));
        }
    };
    Ok(HttpResponse::Ok()
        .insert_header((header::CONTENT_TYPE, kind))
        .insert_header((header::CACHE_CONTROL, "public, max-age=31536000, immutable"))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(content))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_load_stays_small() {
        assert!(LOOK.len() <= 12_000, "{}", LOOK.len());
        assert!(SCAN.len() <= 4_500, "{}", SCAN.len());
        assert!(SEEN.len() <= 4_500, "{}", SEEN.len());
        assert!(LIVE.len() <= 1_000, "{}", LIVE.len());
        assert!(CLOCK.len() <= 500, "{}", CLOCK.len());
    }
}
