//! What a monitor reads: counts and times, in the text format of Prometheus. Names and units are ours and never change;
//! nothing of what was asked or written is in them.

use std::sync::Arc;

use metrics::{Counter, Gauge, Histogram, Key, KeyName, Label, Level, Metadata, Recorder, Unit};
use metrics_exporter_prometheus::{BuildError, Matcher, PrometheusBuilder, PrometheusHandle};

use crate::yard::Yard;

const DAY_MS: f64 = 24.0 * 60.0 * 60.0 * 1_000.0;
const SEEN_FROM: Metadata<'static> = Metadata::new("rimebook", Level::INFO, None);

/// Where work is counted while it is done.
pub(crate) struct Measured {
    handle: PrometheusHandle,
    /// Entries of each group.
    pub(crate) group: Histogram,
    /// How long its write and barrier took, in seconds.
    pub(crate) write: Histogram,
    /// Decisions that the book refused.
    pub(crate) refused: Counter,
    answers: [Counter; 5],
    now: Now,
}

/// What is looked up when somebody asks.
struct Now {
    entries: Gauge,
    takes_entries: Gauge,
    alarms: Gauge,
    listeners: Gauge,
    backup_age: Gauge,
    certificate_days: Gauge,
}

impl Measured {
    pub(crate) fn new() -> Result<Arc<Measured>, BuildError> {
        let builder = PrometheusBuilder::new()
            .set_buckets_for_metric(
                Matcher::Full("rimebook_group_entries".to_owned()),
                &[1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 512.0],
            )?
            .set_buckets_for_metric(
                Matcher::Full("rimebook_write_seconds".to_owned()),
                &[0.000_5, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.5, 2.0],
            )?;
        let made = builder.build_recorder();
        let says = |name: &'static str, text: &'static str, unit: Option<Unit>| (KeyName::from(name), text, unit);
        let gauge = |name: &'static str, text: &'static str| {
            let (key, text, unit) = says(name, text, None);
            made.describe_gauge(key, unit, text.into());
            made.register_gauge(&Key::from_static_name(name), &SEEN_FROM)
        };
        let histogram = |name: &'static str, text: &'static str| {
            let (key, text, unit) = says(name, text, None);
            made.describe_histogram(key, unit, text.into());
            made.register_histogram(&Key::from_static_name(name), &SEEN_FROM)
        };
        let counter = |name: &'static str, text: &'static str, labels: Vec<Label>| {
            let (key, text, unit) = says(name, text, None);
            made.describe_counter(key, unit, text.into());
            made.register_counter(&Key::from_parts(name, labels), &SEEN_FROM)
        };
        let answers = ["1xx", "2xx", "3xx", "4xx", "5xx"].map(|status| {
            counter(
                "rimebook_answers_total",
                "Answers by their status",
                vec![Label::from_static_parts("status", status)],
            )
        });
        Ok(Arc::new(Measured {
            group: histogram("rimebook_group_entries", "Entries that were written with one barrier"),
            write: histogram("rimebook_write_seconds", "How long one write and its barrier took"),
            refused: counter("rimebook_refusals_total", "Decisions that the book refused", Vec::new()),
            answers,
            now: Now {
                entries: gauge("rimebook_entries", "Entries of the log"),
                takes_entries: gauge(
                    "rimebook_takes_entries",
                    "1 while entries are taken, 0 while writing has stopped or waits",
                ),
                alarms: gauge("rimebook_alarms", "Things that somebody has to do now; /readyz says which"),
                listeners: gauge("rimebook_listeners", "Who listens to the log"),
                backup_age: gauge(
                    "rimebook_backup_age_seconds",
                    "Age of the last backup; NaN where the server takes none",
                ),
                certificate_days: gauge(
                    "rimebook_certificate_days",
                    "Days until the certificate ends; NaN where none is shown",
                ),
            },
            handle: made.handle(),
        }))
    }

    /// Counts an answer by its status.
    pub(crate) fn answered(&self, status: u16) {
        if let Some(counter) = self.answers.get(usize::from(status / 100).saturating_sub(1)) {
            counter.increment(1);
        }
    }

    /// Folds what was measured into its buckets, so that it takes no more memory while nobody asks.
    pub(crate) fn fold(&self) {
        self.handle.run_upkeep();
    }

    /// All of it, as text.
    pub(crate) fn text(&self, yard: &Yard, listeners: usize) -> String {
        let (now, at) = (yard.now(), &self.now);
        at.entries.set(float(yard.reader.last_seq()));
        at.takes_entries.set(if yard.waits().is_none() { 1.0 } else { 0.0 });
        at.alarms.set(float(yard.alarms().len() as u64));
        at.listeners.set(float(listeners as u64));
        let taken = yard.schedule().and_then(|schedule| schedule.last());
        at.backup_age.set(taken.map_or(f64::NAN, |taken| float(now.since(taken).max(0).unsigned_abs()) / 1_000.0));
        let ends = yard.identity().map(|identity| identity.ends().since(now));
        at.certificate_days.set(ends.map_or(f64::NAN, |left| signed(left) / DAY_MS));
        self.handle.render()
    }
}

/// Counts are far below 2^53, where every whole number has its float.
#[expect(clippy::cast_precision_loss, reason = "counts and milliseconds are far below 2^53")]
fn float(number: u64) -> f64 {
    number as f64
}

fn signed(number: i64) -> f64 {
    if number < 0 { -float(number.unsigned_abs()) } else { float(number.unsigned_abs()) }
}
