//! An id has one spelling, so that what is sent again is the same however it is written: RFC 9562, section 4, takes capitals
//! too, and libraries write it without dashes or in braces.

use serde_json::Value;
use uuid::Uuid;

/// The members that are ids.
const IDS: [&str; 3] = ["id", "entry", "hold"];

/// Whether some id is spelt otherwise than we write it.
pub(super) fn differ(item: &Value) -> bool {
    match item {
        Value::Object(members) => members.iter().any(|(name, value)| match value {
            Value::String(text) => spelt(name, text).is_some(),
            other => differ(other),
        }),
        Value::Array(items) => items.iter().any(differ),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => false,
    }
}

/// Spells every id as we write it.
pub(super) fn spell(item: &mut Value) {
    match item {
        Value::Object(members) => members.iter_mut().for_each(|(name, value)| match value {
            Value::String(text) => {
                if let Some(id) = spelt(name, text) {
                    *text = id;
                }
            }
            other => spell(other),
        }),
        Value::Array(items) => items.iter_mut().for_each(spell),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// The spelling of an id that differs from it.
fn spelt(member: &str, text: &str) -> Option<String> {
    let id = Uuid::parse_str(text).ok().filter(|_| IDS.contains(&member))?;
    Some(id.to_string()).filter(|id| id != text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn ids_have_one_spelling_and_nothing_else_is_touched() {
        let plain = "0197a1c2-0000-7000-8000-00000000000a";
        let (upper, simple) = (plain.to_uppercase(), plain.replace('-', ""));
        let mut item = json!({"id": upper, "body": {"entry": simple, "hold": format!("{{{plain}}}"), "why": simple,
                                                    "instead": {"id": format!("urn:uuid:{plain}")}}, "list": [{"id": "R-42"}, simple]});
        assert!(differ(&item));
        spell(&mut item);
        assert_eq!(
            item,
            json!({"id": plain, "body": {"entry": plain, "hold": plain, "why": simple, "instead": {"id": plain}},
                   "list": [{"id": "R-42"}, simple]})
        );
        assert!(!differ(&item));
    }
}
