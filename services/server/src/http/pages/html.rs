//! Sentences as HTML: escaped, and each code of a label kept whole on its line.

/// The sentence, escaped. A code such as `NB-31` stands in an element of its own, because browsers break lines at hyphens.
pub(crate) fn codes(text: impl AsRef<str>) -> String {
    let mut rest = text.as_ref();
    let mut html = String::with_capacity(rest.len() + rest.len() / 4);
    while !rest.is_empty() {
        let (word, behind) = rest.split_at(rest.find(|c| !is_in_word(c)).unwrap_or(rest.len()));
        put(word, &mut html);
        let (between, more) = behind.split_at(behind.find(is_in_word).unwrap_or(behind.len()));
        between.chars().for_each(|c| escape(c, &mut html));
        rest = more;
    }
    html
}

fn is_in_word(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '-' | '/' | '.' | '_')
}

fn put(word: &str, html: &mut String) {
    let code = word.trim_end_matches(['.', '/', '-']);
    match is_code(code) {
        true => {
            html.push_str("<code>");
            html.push_str(code);
            html.push_str("</code>");
            html.push_str(word.get(code.len()..).unwrap_or_default());
        }
        false => html.push_str(word),
    }
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
