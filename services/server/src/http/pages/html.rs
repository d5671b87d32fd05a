//! Sentences as HTML: escaped, and each code of a label kept whole on its line.

use std::fmt::{self, Display, Formatter};

/// The sentence, escaped. A code such as `NB-31` stands in an element of its own, because browsers break lines at hyphens.
pub(crate) fn codes<T: AsRef<str>>(text: T) -> Codes<T> {
    Codes(text)
}

/// Written straight into the page: a page says hundreds of sentences.
pub(crate) struct Codes<T>(T);

impl<T: AsRef<str>> Display for Codes<T> {
    fn fmt(&self, html: &mut Formatter<'_>) -> fmt::Result {
        let mut rest = self.0.as_ref();
        while !rest.is_empty() {
            // Up to the next word that is a code, in one piece where nothing in it has to be escaped.
            let (plain, code, behind) = next_code(rest);
            escaped(plain, html)?;
            if !code.is_empty() {
                html.write_str("<code>")?;
                html.write_str(code)?;
                html.write_str("</code>")?;
            }
            rest = behind;
        }
        Ok(())
    }
}

/// What stands before the first code, the code, and what stands behind it.
fn next_code(text: &str) -> (&str, &str, &str) {
    // Every code has one, and most words have none.
    let mut from = if text.contains('-') { 0 } else { text.len() };
    while let Some(rest) = text.get(from..).filter(|rest| !rest.is_empty()) {
        let begin = from + rest.find(is_in_word).unwrap_or(rest.len());
        let word = text.get(begin..).unwrap_or_default();
        let word = word.get(..word.find(|c| !is_in_word(c)).unwrap_or(word.len())).unwrap_or_default();
        let code = word.trim_end_matches(['.', '/', '-']);
        if is_code(code) {
            let (plain, behind) = (text.get(..begin), text.get(begin + code.len()..));
            return (plain.unwrap_or_default(), code, behind.unwrap_or_default());
        }
        from = begin + word.len();
    }
    (text, "", "")
}

fn is_in_word(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '-' | '/' | '.' | '_')
}

/// A hyphen within, a digit, and no small letter: `P-3112`, `PM-101/B-2511-1`, and not `out-life`.
fn is_code(word: &str) -> bool {
    let inner = word.trim_matches('-');
    inner.contains('-') && inner.chars().any(|c| c.is_ascii_digit()) && !inner.chars().any(char::is_lowercase)
}

fn escaped(text: &str, html: &mut Formatter<'_>) -> fmt::Result {
    let mut rest = text;
    while let Some((before, sign, behind)) = split_at_sign(rest) {
        html.write_str(before)?;
        html.write_str(sign)?;
        rest = behind;
    }
    html.write_str(rest)
}

/// What stands before the first sign that HTML would read, how that sign is written, and what stands behind it.
fn split_at_sign(text: &str) -> Option<(&str, &'static str, &str)> {
    let at = text.bytes().position(|byte| matches!(byte, b'&' | b'<' | b'>' | b'"' | b'\''))?;
    let sign = match text.as_bytes().get(at)? {
        b'&' => "&#38;",
        b'<' => "&#60;",
        b'>' => "&#62;",
        b'"' => "&#34;",
        _ => "&#39;",
    };
    Some((text.get(..at)?, sign, text.get(at + 1..)?))
}

#[cfg(test)]
mod tests {
    fn html(text: &str) -> String {
        super::codes(text).to_string()
    }

    #[test]
    fn codes_stand_whole_and_everything_is_escaped() {
        assert_eq!(html("P-3112. Out-life of R-7, -18"), "<code>P-3112</code>. Out-life of <code>R-7</code>, -18");
        assert_eq!(html("PM-101/B-2511-1"), "<code>PM-101/B-2511-1</code>");
        assert_eq!(
            html("of R-7-. R-7/ & P--1 -2"),
            "of <code>R-7</code>-. <code>R-7</code>/ &#38; <code>P--1</code> -2"
        );
        assert_eq!(html("<b>'F1'</b>"), "&#60;b&#62;&#39;F1&#39;&#60;/b&#62;");
    }
}
