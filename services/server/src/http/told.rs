//! Warnings between the entries of a stream. They are worked out from the book as it is, never stored, and carry no number, so
//! that `Last-Event-ID` stays a position in the log.

use super::{ask::ask_beside, problems::Fault};
use crate::yard::Yard;
use actix_web::web;
use domain::{WarningsQuestion, When};
use serde_json::json;
use shared_types::{Instant, Warning};
use std::{collections::BTreeMap, sync::Arc};
use tokio::sync::Mutex;

/// So long nobody works them out again while no entry comes, in milliseconds.
const FRESH_MS: i64 = 15_000;

/// What is warned of now, worked out once for all who listen.
#[derive(Default)]
pub(crate) struct Current(Mutex<Option<WorkedOut>>);

struct WorkedOut {
    as_of_seq: u64,
    at: Instant,
    warnings: Arc<Vec<Warning>>,
}

impl Current {
    pub(crate) async fn warnings(&self, yard: &web::Data<Yard>) -> Result<Arc<Vec<Warning>>, Fault> {
        // Who comes second waits here, and takes what the first one worked out.
        let mut kept = self.0.lock().await;
        let (now, last) = (yard.now(), *yard.tail.borrow());
        if let Some(kept) = kept.as_ref()
            && kept.as_of_seq == last
            && (0..FRESH_MS).contains(&now.since(kept.at))
        {
            return Ok(Arc::clone(&kept.warnings));
        }
        let asked =
            ask_beside(yard, move |book| Ok(domain::warnings(book, &WarningsQuestion::usual(When::now(now))))).await?;
        let warnings = Arc::new(asked.warnings);
        *kept = Some(WorkedOut { as_of_seq: asked.as_of_seq, at: now, warnings: Arc::clone(&warnings) });
        Ok(warnings)
    }
}

/// What one listener was told.
#[derive(Default)]
pub(crate) struct Told(BTreeMap<String, Warning>);

impl Told {
    /// What differs from what was told, as events; empty if nothing does.
    pub(crate) fn news(&mut self, current: &[Warning]) -> Vec<u8> {
        let mut events = String::new();
        let now: BTreeMap<String, Warning> =
            current.iter().map(|warning| (warning.name.clone(), meaning(warning))).collect();
        for name in self.0.keys().filter(|name| !now.contains_key(*name)) {
            events.push_str(&format!("event: warning_gone\ndata: {}\n\n", json!({"name": name})));
        }
        for warning in current.iter().filter(|warning| self.0.get(&warning.name) != now.get(&warning.name)) {
            if let Ok(data) = serde_json::to_string(warning) {
                events.push_str(&format!("event: warning\ndata: {data}\n\n"));
            }
        }
        self.0 = now;
        events.into_bytes()
    }
}

/// A warning without what only the passing of time changes: how long it is from now.
fn meaning(warning: &Warning) -> Warning {
    Warning { left_s: 0, say: String::new(), ..warning.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn warning(name: &str, act_by: &str, left_s: i64) -> Warning {
        serde_json::from_value(json!({"name": name, "about": "limit_ends", "thing": "roll/R-42", "materials": [], "jobs": [],
            "who": "clerk", "act": "put_away", "act_by": act_by, "ends_at": "2026-05-09T10:00:00.000+01:00", "left_s": left_s,
            "runs": true, "say": format!("In {left_s} s.")})).unwrap()
    }

    #[test]
    fn each_is_told_once_until_it_changes_or_goes() {
        let mut told = Told::default();
        let mut news = |current: &[Warning]| String::from_utf8(told.news(current)).unwrap();
        let (early, late) = ("2026-05-08T10:00:00.000+01:00", "2026-05-08T22:00:00.000+01:00");
        let first = news(&[warning("a", early, 60), warning("b", early, 70)]);
        assert_eq!(first.matches("event: warning\n").count(), 2, "{first}");
        assert!(first.contains("\"left_s\":60,") && !first.contains("id:"), "{first}");
        // Time passes, and says the same in other words.
        assert_eq!(news(&[warning("a", early, 30), warning("b", early, 40)]), "");
        let changed = news(&[warning("a", late, 30), warning("b", early, 40)]);
        assert!(
            changed.starts_with("event: warning\ndata: {\"name\":\"a\",") && !changed.contains("\"b\""),
            "{changed}"
        );
        assert_eq!(news(&[warning("a", late, 30)]), "event: warning_gone\ndata: {\"name\":\"b\"}\n\n");
        assert!(news(&[warning("a", late, 30), warning("b", early, 1)]).contains("\"name\":\"b\""));
    }
}
