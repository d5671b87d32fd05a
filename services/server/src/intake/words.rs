//! Says where in a posted item something could not be read, and what was expected, in words.

use shared_types::FieldProblem;

/// The problem that reading `text` ended with. `prefix` is the pointer to `text` itself.
pub(super) fn problem(text: &str, prefix: &str, error: &serde_json::Error) -> FieldProblem {
    let message = error.to_string();
    let message = message.rsplit_once(" at line ").map_or(message.as_str(), |(message, _)| message);
    let end = offset(text, error.line(), error.column());
    match message.strip_prefix("missing field `").and_then(|rest| rest.strip_suffix('`')) {
        Some(missing) => {
            let mut steps = steps_to(text, before_brace(text, end));
            steps.pop();
            steps.push(Some(missing.to_owned()));
            FieldProblem { pointer: pointer(prefix, &steps), detail: format!("{missing} is missing") }
        }
        None => {
            // A value that was read well and then found impossible is reported where its object ends, or, if it is an
            // object itself, at the comma that follows it.
            let shape = OWN_WORDS.iter().any(|start| message.starts_with(start));
            let at_comma =
                message.starts_with(UNTAGGED) && text.get(end..).is_some_and(|rest| rest.trim_start().starts_with(','));
            let end = if shape || at_comma { end } else { before_brace(text, end) };
            FieldProblem { pointer: pointer(prefix, &steps_to(text, end)), detail: sentence(message) }
        }
    }
}

/// How serde begins what it says of a shape, at the place where it found it.
const OWN_WORDS: [&str; 5] =
    ["invalid type: ", "invalid value: ", "invalid length ", "unknown field `", "unknown variant `"];
const UNTAGGED: &str = "data did not match any variant of untagged enum ";

fn before_brace(text: &str, end: usize) -> usize {
    end - usize::from(text.get(..end).is_some_and(|read| read.ends_with('}')))
}

fn offset(text: &str, line: usize, column: usize) -> usize {
    let before: usize = text.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum();
    (before + column).min(text.len())
}

fn pointer(prefix: &str, steps: &[Option<String>]) -> String {
    steps.iter().flatten().fold(prefix.to_owned(), |pointer, step| pointer + "/" + &escape(step))
}

/// A member's name within a JSON pointer (RFC 6901).
pub(super) fn escape(step: &str) -> String {
    step.replace('~', "~0").replace('/', "~1")
}

struct Level {
    is_list: bool,
    index: usize,
    key: Option<String>,
}

/// The members and list places that are open when the text has been read up to `end`. The text is JSON.
fn steps_to(text: &str, end: usize) -> Vec<Option<String>> {
    let mut levels: Vec<Level> = Vec::new();
    let mut bytes = text.bytes().enumerate().take(end);
    while let Some((at, byte)) = bytes.next() {
        match byte {
            b'{' | b'[' => levels.push(Level { is_list: byte == b'[', index: 0, key: None }),
            b'}' | b']' => {
                levels.pop();
            }
            b',' => {
                if let Some(level) = levels.last_mut() {
                    level.index += 1;
                    level.key = None;
                }
            }
            b'"' => {
                let mut escaped = false;
                let close = bytes.find(|(_, byte)| {
                    let closes = *byte == b'"' && !escaped;
                    escaped = *byte == b'\\' && !escaped;
                    closes
                });
                let token = text.get(at..close.map_or(end, |(close, _)| close + 1)).unwrap_or_default();
                if let Some(level) = levels.last_mut().filter(|level| !level.is_list && level.key.is_none()) {
                    level.key = Some(serde_json::from_str(token).unwrap_or_default());
                }
            }
            _ => {}
        }
    }
    let step = |level: Level| if level.is_list { Some(level.index.to_string()) } else { level.key };
    levels.into_iter().map(step).collect()
}

/// What serde says, as a sentence for somebody who does not know serde.
fn sentence(message: &str) -> String {
    if let Some((got, expected)) = split(message, "unknown field `", "`, ") {
        let known = expected.trim_start_matches("expected one of ").trim_start_matches("expected ").replace('`', "");
        return format!("there is no field {got} here; there may be {known}");
    }
    if let Some((got, expected)) = split(message, "unknown variant `", "`, ") {
        let known = expected.trim_start_matches("expected one of ").trim_start_matches("expected ").replace('`', "");
        return format!("{got} can't stand here; it is one of {known}");
    }
    // The one thing that serde says so little of, once the text is JSON: an answer that is none, or two.
    if message == "expected value" {
        return "give one answer, such as {\"out_since\": \"2026-05-06T06:02:11.000+02:00\"}".to_owned();
    }
    if let Some(name) = message.strip_prefix(UNTAGGED) {
        return untagged(name).to_owned();
    }
    for start in ["invalid type: ", "invalid value: ", "invalid length "] {
        if let Some((got, expected)) = split(message, start, ", expected ") {
            return format!("{} is expected here, not {}", plain(expected), got.replace('`', ""));
        }
    }
    message.replace('`', "\"")
}

fn split<'a>(message: &'a str, start: &str, between: &str) -> Option<(&'a str, &'a str)> {
    message.strip_prefix(start)?.split_once(between)
}

fn plain(expected: &str) -> &str {
    match expected {
        "u64" | "u32" | "u16" | "u8" => "a whole number, 0 or more and not too large,",
        "i64" | "i32" => "a whole number",
        "a string" | "a borrowed string" | "str" => "a text",
        "a sequence" => "a list",
        "a boolean" => "true or false",
        other if other.starts_with("struct ") || other == "a map" => "an object",
        other => other,
    }
}

fn untagged(name: &str) -> &'static str {
    match name {
        "StatedSeconds" => "state whole seconds, or {\"none_by\": \"the document that says there is no limit\"}",
        "ShelfLife" => {
            "state {\"months\": 12, \"tested_at\": \"take_out\", \"lay\" or \"oven\"}, or {\"none_by\": \"the document\"}"
        }
        "LayToCure" => {
            "state {\"limit_s\": 259200, \"from\": \"first_ply\" or \"complete\"}, or {\"none_by\": \"the document\"}"
        }
        "Refreezes" => "state {\"allowed\": 3, \"after_s\": 1800}, or {\"none_by\": \"the document\"}",
        _ => "this can't be read; see the API's description of the field",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use shared_types::Body;

    fn said(kind: &str, body: &str) -> (String, String) {
        let error = match Body::read(kind, body).unwrap_err() {
            shared_types::BodyError::Shape { source, .. } => source,
            other => panic!("{other}"),
        };
        let FieldProblem { pointer, detail } = problem(body, "/body", &error);
        (pointer, detail)
    }

    #[test]
    fn a_problem_points_to_its_field() {
        let cases = [
            ("roll_put_away", r#"{"into":"F1","postion":"A"}"#, "/body/postion", "there is no field postion here"),
            ("roll_put_away", r#"{"position":"A"}"#, "/body/into", "into is missing"),
            ("roll_put_away", r#"{"into":"a/b"}"#, "/body/into", "a code has 1 to 40"),
            ("roll_put_away", r#"{"into":5}"#, "/body/into", "a text is expected here, not integer 5"),
            (
                "nest_cut",
                "{\"kits\":[{\"kit\":\"K\",\n \"job\":\"J\",\"items\":[{\"roll\":\"R\",\"length_mm\":5},{\"roll\":\"R\",\"length_mm\":0}]}]}",
                "/body/kits/0/items/1/length_mm",
                "whole number from 1 to",
            ),
            (
                "nest_cut",
                r#"{"kits":[{"kit":"K","job":"J","items":[{"roll":"R"}]}]}"#,
                "/body/kits/0/items/0/length_mm",
                "length_mm is missing",
            ),
            (
                "nest_cut",
                r#"{"kits":[{"kit":"K","job":"J","items":[{"roll":"R","length_mm":-5}]}]}"#,
                "/body/kits/0/items/0/length_mm",
                "whole number",
            ),
            ("nest_cut", r#"{"kits":{}}"#, "/body/kits", "a list is expected here"),
            ("layup_completed", r#"{"stage":"sk\"in","stage":"x"}"#, "/body/stage", "duplicate field"),
            (
                "oven_run_ended",
                r#"{"source":"guess"}"#,
                "/body/source",
                "guess can't stand here; it is one of chart or record",
            ),
            (
                "material_revised",
                r#"{"revision":"A","name":"n","form":"f","out_life_s":{"x":1},"rate":{"model":"door_to_door"}}"#,
                "/body/out_life_s",
                "state whole seconds",
            ),
            (
                "material_revised",
                r#"{"revision":"A","name":"n","form":"f","rate":{"model":"door_to_door"},"out_life_s":{"x":1}}"#,
                "/body/out_life_s",
                "state whole seconds",
            ),
            (
                "material_revised",
                r#"{"revision":"A","name":"n","form":"f","out_life_s":-1,"rate":{"model":"door_to_door"}}"#,
                "/body/out_life_s",
                "state whole seconds",
            ),
            (
                "nest_cut",
                r#"{"kits":[{"kit":"K","job":"J","items":[{"roll":"R","length_mm":0},{"roll":"R","length_mm":1}]}]}"#,
                "/body/kits/0/items/0/length_mm",
                "whole number from 1 to",
            ),
            (
                "nest_cut",
                r#"{"kits":[{"kit":"K","job":"J","items":[{"length_mm":0 , "roll":"R"}]}]}"#,
                "/body/kits/0/items/0/length_mm",
                "whole number from 1 to",
            ),
            (
                "mismatch_settled",
                r#"{"mismatch":{"kind":"k","entry":"0197a1c2-0000-7000-8000-000000000001"},"answer":{"carried_over_s":99999999999}}"#,
                "/body/answer/carried_over_s",
                "whole number from 0",
            ),
            (
                "mismatch_settled",
                r#"{"mismatch":{"kind":"k","entry":"0197a1c2-0000-7000-8000-000000000001"},"answer":{}}"#,
                "/body/answer",
                "give one answer",
            ),
            (
                "mismatch_settled",
                r#"{"mismatch":{"kind":"k","entry":"0197a1c2-0000-7000-8000-000000000001"},"answer":{"carried_over_s":5,"assigned_s":5}}"#,
                "/body/answer/carried_over_s",
                "give one answer",
            ),
            ("roll_put_away", "[]", "/body", ""),
            (
                "roll_received",
                r#"{"material":"M","revision":"A","batch":"B","length_mm":5,"opening":{"out_time_s":0,"as_of":"yesterday","source":"card"}}"#,
                "/body/opening/as_of",
                "is not a time",
            ),
        ];
        for (kind, body, pointer, words) in cases {
            let (at, detail) = said(kind, body);
            assert!(at == pointer && detail.contains(words), "{body}\n{at}: {detail}");
        }
    }
}
