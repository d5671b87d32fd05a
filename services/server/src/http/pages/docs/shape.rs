//! A schema in words: what stands there, with links to the shapes that have a name.

use super::{codes, list, object, text};
use serde_json::Value;

/// One member of an object, or one parameter.
pub(super) struct Member {
    pub(super) name: String,
    pub(super) needed: bool,
    /// Written as HTML.
    pub(super) shape: String,
    pub(super) says: String,
    /// Where a parameter stands; empty for a member.
    pub(super) place: &'static str,
    pub(super) example: String,
}

/// The members of an object.
pub(super) fn members(schema: &Value) -> Vec<Member> {
    let needed = |name: &String| list(&schema["required"]).iter().any(|one| one == name);
    let member = |(name, own): (&String, &Value)| Member {
        name: name.clone(),
        needed: needed(name),
        shape: shape(own),
        says: words(said(own)),
        place: "",
        example: String::new(),
    };
    object(&schema["properties"]).map(member).collect()
}

/// What is said about a member, also where it may be left out.
fn said(schema: &Value) -> &str {
    let own = text(&schema["description"]);
    let within = list(&schema["oneOf"]).iter().map(|one| text(&one["description"])).find(|says| !says.is_empty());
    if own.is_empty() { within.unwrap_or_default() } else { own }
}

/// A sentence as HTML; what stands in backticks is set as code.
pub(super) fn words(sentence: &str) -> String {
    let parts = sentence.split('`').enumerate().map(|(place, part)| match place % 2 {
        0 => codes(part).to_string(),
        _ => format!("<code>{}</code>", codes(part)),
    });
    parts.collect()
}

/// A schema as HTML, in a few words.
pub(super) fn shape(schema: &Value) -> String {
    if let Some(name) = schema["$ref"].as_str().and_then(|reference| reference.rsplit('/').next()) {
        return format!("<a href=\"/docs/shapes/{0}\">{0}</a>", codes(name));
    }
    for choice in ["oneOf", "anyOf"] {
        if schema[choice].is_array() {
            let kinds: Vec<String> = list(&schema[choice]).iter().map(shape).collect();
            return kinds.join(" or ");
        }
    }
    if schema["allOf"].is_array() {
        let kinds: Vec<String> = list(&schema["allOf"]).iter().map(shape).collect();
        return kinds.join(" together with ");
    }
    if schema["enum"].is_array() {
        let known: Vec<String> =
            list(&schema["enum"]).iter().map(|one| words(&format!("`{}`", super::plain(one)))).collect();
        return format!("one of {}", known.join(", "));
    }
    let kinds: Vec<&str> = match &schema["type"] {
        Value::Array(kinds) => kinds.iter().map(text).collect(),
        one => vec![text(one)],
    };
    let named: Vec<String> = kinds.iter().map(|kind| named(kind, schema)).collect();
    named.join(" or ")
}

fn named(kind: &str, schema: &Value) -> String {
    match (kind, text(&schema["format"])) {
        ("string", "date-time") => "time, RFC 3339 with an offset".to_owned(),
        ("string", "date") => "date".to_owned(),
        ("string", "uuid") => "UUID".to_owned(),
        ("string", _) => match schema["pattern"].as_str() {
            Some(pattern) => format!("text that fits <code>{}</code>", codes(pattern)),
            None => "text".to_owned(),
        },
        ("integer", _) => format!("whole number{}", bounds(schema)),
        ("number", _) => format!("number{}", bounds(schema)),
        ("boolean", _) => "true or false".to_owned(),
        ("null", _) => "nothing".to_owned(),
        ("array", _) => format!("list of {}", shape(&schema["items"])),
        ("object", _) => {
            match object(&schema["properties"]).map(|(name, _)| words(&format!("`{name}`"))).collect::<Vec<_>>() {
                names if names.is_empty() => "object".to_owned(),
                names => format!("object with {}", names.join(", ")),
            }
        }
        _ => "anything".to_owned(),
    }
}

/// `, 0 to 87600`, `, 1 or more`.
fn bounds(schema: &Value) -> String {
    match (schema["minimum"].as_i64(), schema["maximum"].as_i64()) {
        (Some(least), Some(most)) => format!(", {least} to {most}"),
        (Some(least), None) => format!(", {least} or more"),
        (None, Some(most)) => format!(", at most {most}"),
        (None, None) => String::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_schema_is_said_in_words() {
        let said = [
            (json!({"$ref": "#/components/schemas/Code"}), "<a href=\"/docs/shapes/Code\">Code</a>"),
            (json!({"type": ["string", "null"]}), "text or nothing"),
            (json!({"type": "integer", "minimum": 0, "maximum": 9}), "whole number, 0 to 9"),
            (json!({"type": "array", "items": {"type": "string", "format": "uuid"}}), "list of UUID"),
            (json!({"oneOf": [{"type": "null"}, {"type": "boolean"}]}), "nothing or true or false"),
            (json!({"enum": ["lay", "oven"], "type": "string"}), "one of <code>lay</code>, <code>oven</code>"),
            (json!({}), "anything"),
        ];
        for (schema, words) in said {
            assert_eq!(shape(&schema), words);
        }
        assert_eq!(words("Ask `a<b`."), "Ask <code>a&#60;b</code>.");
    }
}
