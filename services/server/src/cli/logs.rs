//! The server's log of itself on standard error: one JSON object a line, with the trace of the request. No bodies, no
//! parameters, no addresses but as they are declared: nothing that anybody said is in it.

use tracing::level_filters::LevelFilter;
use tracing_subscriber::fmt::{format::Writer, time::FormatTime};

use crate::clock::{Clock, SystemClock};
use shared_types::Stamp;

/// How much is said.
#[derive(Clone, Copy, PartialEq, Eq, Debug, clap::ValueEnum)]
pub(super) enum Logs {
    /// Nothing
    Off,
    /// What somebody has to look at
    Warn,
    /// Each request too
    Info,
}

struct Wall;

impl FormatTime for Wall {
    fn format_time(&self, to: &mut Writer<'_>) -> std::fmt::Result {
        write!(to, "{}", Stamp::utc(SystemClock::new().now()))
    }
}

/// From here on whatever is said goes to standard error.
pub(super) fn begin(logs: Logs) {
    let most = match logs {
        Logs::Off => return,
        Logs::Warn => LevelFilter::WARN,
        Logs::Info => LevelFilter::INFO,
    };
    let lines = tracing_subscriber::fmt().json().flatten_event(true).with_target(false).with_current_span(false);
    let lines = lines.with_span_list(false).with_timer(Wall).with_writer(std::io::stderr).with_max_level(most).finish();
    // A second server in one process says what the first one does.
    let _ = tracing::subscriber::set_global_default(lines);
}
