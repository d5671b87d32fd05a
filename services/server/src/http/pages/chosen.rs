//! What is chosen on a page that asks for a decision, and the decision that comes of it.

use serde::Deserialize;
use serde_json::Value;
use shared_types::ThingName;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a person said on such a page, in the address while it is looked at, in the form when it is saved.
#[derive(Deserialize, Default, Clone)]
pub(crate) struct Chosen {
    #[serde(default)]
    pub(super) choice: String,
    /// What stands chosen when the page opens, before anything is asked.
    #[serde(default)]
    pub(super) pick: String,
    /// What belongs to the choice: another label, a time, minutes.
    #[serde(default)]
    pub(super) other: String,
    #[serde(default)]
    pub(super) at: String,
    #[serde(default)]
    pub(super) minutes: String,
    #[serde(default)]
    pub(super) length: String,
    #[serde(default)]
    pub(super) why: String,
    #[serde(default)]
    pub(super) number: String,
    #[serde(default)]
    pub(super) thing: String,
    #[serde(default)]
    pub(super) lift: String,
    #[serde(default)]
    pub(super) id: Option<Uuid>,
    #[serde(default)]
    pub(super) based_on: Option<u64>,
    #[serde(default)]
    pub(super) by: String,
    #[serde(default)]
    pub(super) second: String,
}

impl Chosen {
    /// Of a page whose fields are its own: only what every such form has.
    pub(super) fn of(said: &BTreeMap<String, String>) -> Chosen {
        let text = |name: &str| said.get(name).cloned().unwrap_or_default();
        Chosen {
            choice: text("choice"),
            id: text("id").parse().ok(),
            based_on: text("based_on").parse().ok(),
            by: text("by"),
            second: text("second"),
            ..Chosen::default()
        }
    }
}

/// What is asked for.
pub(super) struct Draft {
    pub(super) decide: &'static str,
    pub(super) thing: ThingName,
    pub(super) body: Value,
}

/// One field of the form.
pub(super) struct Field {
    pub(super) name: &'static str,
    pub(super) label: String,
    pub(super) value: String,
    /// What it looks like, or nothing.
    pub(super) like: &'static str,
}

/// An answer among which one is chosen.
pub(super) struct Choice {
    pub(super) value: &'static str,
    pub(super) label: String,
}
