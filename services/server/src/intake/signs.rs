//! What is written anew is written in characters that nobody takes for others. What a log holds already is read as it is.

use super::words::escape;
use serde_json::Value;
use shared_types::{FieldProblem, clear_code, clear_text};

/// Members whose text is a sentence or a name for people; every other text is a code, a time or a word of ours.
const SENTENCES: [&str; 8] = ["why", "name", "form", "none_by", "on_call", "nonconformance", "answer", "rules"];

/// The first text in an item that could be taken for another, with its pointer.
pub(super) fn unclear(item: &Value) -> Option<FieldProblem> {
    within("", item)
}

fn within(member: &str, value: &Value) -> Option<FieldProblem> {
    let under = |step: &str, problem: FieldProblem| FieldProblem {
        pointer: format!("/{}{}", escape(step), problem.pointer),
        ..problem
    };
    match value {
        Value::Object(members) => {
            members.iter().find_map(|(name, value)| within(name, value).map(|found| under(name, found)))
        }
        Value::Array(items) => {
            let mut places = items.iter().enumerate();
            places.find_map(|(at, item)| within(member, item).map(|found| under(&at.to_string(), found)))
        }
        Value::String(text) => {
            let clear = if SENTENCES.contains(&member) { clear_text(text) } else { clear_code(text) };
            clear.err().map(|why| FieldProblem { pointer: String::new(), detail: why.to_string() })
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => None,
    }
}
