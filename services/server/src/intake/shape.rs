//! Lists stand only where a list is meant: a record written as a list of its values would be read by position.

use serde_json::Value;

use super::words::escape;

/// The members that are lists.
const LISTS: [&str; 11] =
    ["rolls", "kits", "items", "waste", "stages", "parts", "needs", "closed_weekdays", "closed_on", "roles", "scopes"];

/// The pointer to the first list that stands where a record or a value is expected.
pub(super) fn misplaced_list(item: &Value) -> Option<String> {
    match item {
        Value::Array(_) => Some(String::new()),
        Value::Object(members) => members.iter().find_map(|(name, value)| {
            let found = match value {
                Value::Array(of) if LISTS.contains(&name.as_str()) => of
                    .iter()
                    .enumerate()
                    .find_map(|(at, one)| misplaced_list(one).map(|within| format!("/{at}{within}"))),
                other => misplaced_list(other),
            };
            found.map(|within| format!("/{}{within}", escape(name)))
        }),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_record_written_as_a_list_is_found_wherever_it_stands() {
        assert_eq!(misplaced_list(&json!({"body": []})), Some("/body".to_owned()));
        assert_eq!(misplaced_list(&json!({"body": {"kits": [["K-1", "J-1", []]]}})), Some("/body/kits/0".to_owned()));
        assert_eq!(misplaced_list(&json!({"body": {"opening": [0, 0]}})), Some("/body/opening".to_owned()));
        assert_eq!(misplaced_list(&json!({"body": {"kits": [{"items": []}], "parts": ["P-1"]}})), None);
    }
}
