//! Sentences as HTML: escaped, and each code of a label kept whole on its line.

/// The sentence, escaped. A code such as `NB-31` stands in an element of its own, because browsers break lines at hyphens.
pub(crate) fn codes(text: impl AsRef<str>) -> String {
    let mut html = String::new();
    let mut word = String::new();
    for c in text.as_ref().chars() {
        if c.is_alphanumeric() || matches!(c, '-' | '/' | '.' | '_') {
            word.push(c);
        } else {
            put(&word, &mut html);
            word.clear();
            escape(c, &mut html);
        }
    }
    put(&word, &mut html);
    html
}

fn put(word: &str, html: &mut String) {
    let code = word.trim_end_matches(['.', '/', '-']);
    let rest = word.get(code.len()..).unwrap_or_default();
    match is_code(code) {
        true => {
            html.push_str("<code>");
            html.push_str(code);
            html.push_str("</code>");
        }
        false => html.push_str(code),
    }
    html.push_str(rest);
}

/// A hyphen within, a digit, and no small letter: `P-3112`, `PM-101/B-2511-1`, and not `out-life`.
fn is_code(word: &str) -> bool {
    let inner = word.trim_matches('-');
    inner.contains('-') && inner.chars().any(|c| c.is_ascii_digit()) && !inner.chars().any(char::is_lowercase)
}

fn escape(c: char, html: &mut String) {
    match c {
        '&' => html.push_str("&#38;"),
        '<' => html.push_str("&#60;"),
        '>' => html.push_str("&#62;"),
        '"' => html.push_str("&#34;"),
        '\'' => html.push_str("&#39;"),
        other => html.push(other),
    }
}

#[cfg(test)]
mod tests {
    use super::codes;

    #[test]
    fn codes_stand_whole_and_everything_is_escaped() {
        assert_eq!(codes("P-3112. Out-life of R-7, -18"), "<code>P-3112</code>. Out-life of <code>R-7</code>, -18");
        assert_eq!(codes("PM-101/B-2511-1"), "<code>PM-101/B-2511-1</code>");
        assert_eq!(codes("<b>'F1'</b>"), "&#60;b&#62;&#39;F1&#39;&#60;/b&#62;");
    }
}
