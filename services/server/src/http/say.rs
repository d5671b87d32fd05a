//! Sentences about what could not be read, from what the parsers say.

/// A parser's message in plain words: without its position, and without the words that blame.
pub(crate) fn plain(message: &str) -> String {
    let text = message.split(" at line ").next().unwrap_or(message).trim_end_matches('.');
    if let Some(field) = text.strip_prefix("missing field ") {
        return format!("{field} is missing");
    }
    if let Some(rest) = text.strip_prefix("unknown field ") {
        return match rest.split_once(", expected ") {
            Some((field, known)) => format!("{field} is not known here; known are {}", list(known)),
            None => format!("{} is not known here", rest.split(',').next().unwrap_or(rest)),
        };
    }
    if let Some(rest) = text.strip_prefix("unknown variant ") {
        return match rest.split_once(", expected ") {
            Some((word, known)) => format!("{word} is not known here; known are {}", list(known)),
            None => format!("{rest} is not known here"),
        };
    }
    if let Some(field) = text.strip_prefix("duplicate field ") {
        return format!("{field} stands there twice");
    }
    for start in ["invalid type: ", "invalid value: ", "invalid length "] {
        if let Some((found, expected)) = text.strip_prefix(start).and_then(|rest| rest.split_once(", expected ")) {
            return format!("{} stands where {} is expected", shape(found), shape(expected));
        }
    }
    if text.contains("integer from empty string") {
        return "a whole number is expected, and nothing stands there".to_owned();
    }
    if text.starts_with("number too large to fit") {
        return "the number is larger than any that counts here".to_owned();
    }
    if text.contains("was not `true` or `false`") {
        return "true or false is expected".to_owned();
    }
    // The one message quotes what it could not read, which may be long; the other quotes nothing.
    if text.contains("digit found in string") || text.starts_with("can not parse ") {
        return "a whole number is expected, 0 or more".to_owned();
    }
    without_parser(text).replace("invalid ", "wrong ")
}

/// What the reader of ids says, in words for people.
pub(crate) fn without_parser(text: &str) -> String {
    match text.split_once("UUID parsing failed") {
        Some((before, _)) => format!("{before}an id is a UUID such as 0197a1c2-0000-7000-8000-000000000001"),
        None => text.to_owned(),
    }
}

/// JSON has objects and lists, whatever the parser calls them.
fn shape(what: &str) -> &str {
    match what {
        "map" | "a map" => "an object",
        "sequence" | "a sequence" => "a list",
        what if what.starts_with("struct ") => "an object",
        what => what,
    }
}

fn list(known: &str) -> &str {
    known.strip_prefix("one of ").unwrap_or(known)
}

/// A sentence begins with a capital, unless with a code or a pointer, and ends with a stop.
pub(crate) fn sentence(text: &str) -> String {
    let text = &without_parser(text.trim());
    let first = text.split_whitespace().next().unwrap_or_default();
    let word = first.bytes().all(|byte| byte.is_ascii_lowercase());
    let mut sentence = match (word, text.get(..1), text.get(1..)) {
        (true, Some(capital), Some(rest)) => capital.to_uppercase() + rest,
        _ => text.clone(),
    };
    if !sentence.ends_with(['.', '?', '!', ')']) {
        sentence.push('.');
    }
    sentence
}

#[cfg(test)]
mod tests {
    use super::{plain, sentence};

    #[test]
    fn a_sentence_begins_and_ends_like_one() {
        assert_eq!(sentence("look again"), "Look again.");
        assert_eq!(sentence("roll/R-42 is held."), "roll/R-42 is held.");
        assert_eq!(sentence("based_on is missing"), "based_on is missing.");
        assert_eq!(sentence(""), ".");
    }

    #[test]
    fn what_a_parser_says_becomes_a_sentence_without_blame() {
        let said = [
            ("missing field `by` at line 1 column 20", "`by` is missing"),
            ("unknown field `x`, expected `at` or `known`", "`x` is not known here; known are `at` or `known`"),
            ("unknown field `x`, there are no fields", "`x` is not known here"),
            (
                "invalid type: string \"a\", expected u64 at line 1 column 3",
                "string \"a\" stands where u64 is expected",
            ),
            ("duplicate field `at`", "`at` stands there twice"),
            ("invalid digit found in string", "a whole number is expected, 0 or more"),
            ("cannot parse integer from empty string", "a whole number is expected, and nothing stands there"),
            ("number too large to fit in target type", "the number is larger than any that counts here"),
            ("provided string was not `true` or `false`", "true or false is expected"),
            ("can not parse \"first\" to a u64", "a whole number is expected, 0 or more"),
            (
                "UUID parsing failed: invalid character: found `R` at 0",
                "an id is a UUID such as 0197a1c2-0000-7000-8000-000000000001",
            ),
        ];
        for (message, sentence) in said {
            assert_eq!(plain(message), sentence);
        }
    }
}
