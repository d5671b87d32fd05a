//! Characters that nobody can take for another: what a new code is made of, and what may stand in a sentence.

use std::iter::once;
use unicode_normalization::UnicodeNormalization;

/// Letters that Latin alphabets write without a mark, beside those of ASCII.
const UNMARKED: &str = "ÆæŒœØøÞþŁł";

/// Why a text is no code of anything new. What is stored already is read as it is.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unclear {
    #[error(
        "{} is not taken in a code, because it can look like another: a code has the letters A to Z, also with accents, \
         digits, and the signs of a plain keyboard",
        named(*.0)
    )]
    Letter(char),
    #[error("two blanks in a row are not taken in a code, because they can look like one")]
    Blanks,
    #[error("{} is not taken in a text, because nobody sees it; write it without", named(*.0))]
    Unseen(char),
}

/// `"А" (U+0410)`, or its number alone where there is nothing to see.
fn named(c: char) -> String {
    let number = format!("U+{:04X}", u32::from(c));
    let joins = matches!(c, '\u{200c}' | '\u{200d}');
    if is_unseen(c) || joins || c.is_whitespace() || is_mark(c) { number } else { format!("\"{c}\" ({number})") }
}

/// Whether a code that somebody gives to something new could be taken for another code.
pub fn clear_code(text: &str) -> Result<(), Unclear> {
    let text = text.trim();
    // Nearly always it is a code, a time or a number of these.
    if text.bytes().all(|byte| byte.is_ascii_graphic()) {
        return Ok(());
    }
    if text.contains("  ") {
        return Err(Unclear::Blanks);
    }
    // As it was sent: a letter that would only turn into another one is not taken; then composed: a mark alone neither.
    let sent = text.chars().find(|c| !is_letter(*c) && !is_mark(*c));
    let composed = || text.nfc().find(|c| !is_letter(*c));
    sent.or_else(composed).map_or(Ok(()), |c| Err(Unclear::Letter(c)))
}

/// Whether all of a sentence can be seen. Tabs and ends of lines may stand in it.
pub fn clear_text(text: &str) -> Result<(), Unclear> {
    let unseen = text.chars().find(|c| !matches!(c, '\n' | '\r' | '\t') && is_unseen(*c));
    unseen.map_or(Ok(()), |c| Err(Unclear::Unseen(c)))
}

fn is_letter(c: char) -> bool {
    c.is_ascii_graphic() || c == ' ' || UNMARKED.contains(c) || is_accented(c)
}

/// A letter of ASCII with one mark or several.
fn is_accented(c: char) -> bool {
    let mut parts = once(c).nfd();
    let plain = parts.next().is_some_and(|base| base.is_ascii_alphabetic());
    let marks: Vec<char> = parts.collect();
    plain && !marks.is_empty() && marks.into_iter().all(is_mark)
}

/// A mark that joins the letter before it.
fn is_mark(c: char) -> bool {
    matches!(c, '\u{300}'..='\u{36f}')
}

/// Controls, what turns the direction of writing, and what has no width and joins nothing.
fn is_unseen(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff0}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
        || u32::from(c) & 0xfffe == 0xfffe
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each of these pairs looks alike; which do is said by `confusables.txt` of Unicode Technical Standard 39, from memory.
    #[test]
    fn what_can_look_like_another_letter_is_no_code_of_anything_new() {
        for alike in [
            "\u{410}-17",         // Cyrillic A
            "\u{391}-17",         // Greek Alpha
            "\u{13d2}-17",        // Cherokee letter like R
            "\u{ff32}\u{ff0d}42", // full width
            "R\u{2010}42",        // hyphen
            "R\u{2013}42",        // en dash
            "R\u{2212}42",        // minus
            "R-4\u{b2}",          // superscript two
            "\u{212a}-5",         // Kelvin sign, which becomes K
            "\u{131}-5",          // dotless i, which becomes I
            "\u{17f}-5",          // long s, which becomes S
            "stra\u{df}e",        // sharp s, which becomes SS
            "\u{fb01}-5",         // ligature, which becomes FI
            "R-4\u{301}",         // a mark on a digit
            "\u{301}R",           // a mark on nothing
            "R\u{a0}42",          // no-break blank
            "R\u{200d}42",
            "R-\u{661}",   // Arabic-Indic one
            "R-\u{1d7cf}", // mathematical bold one
        ] {
            assert!(matches!(clear_code(alike), Err(Unclear::Letter(_))), "{alike:?}");
        }
        assert_eq!(clear_code("R  42"), Err(Unclear::Blanks));
        for clear in
            ["R-42", " r-42 ", "R 42", "PM-101/B_7.3+x#1", "\u{dc}B-1", "e\u{301}-1", "\u{141}\u{f8}-2", "core bond"]
        {
            assert_eq!(clear_code(clear), Ok(()), "{clear:?}");
        }
        let said = clear_code("\u{410}-17").unwrap_err().to_string();
        assert!(said.starts_with("\"\u{410}\" (U+0410) is not taken in a code"), "{said}");
        assert!(clear_code("R\u{a0}42").unwrap_err().to_string().starts_with("U+00A0 is not taken"));
    }

    #[test]
    fn a_sentence_has_no_character_that_nobody_sees() {
        for unseen in [
            '\0', '\u{7}', '\u{1b}', '\u{7f}', '\u{85}', '\u{200b}', '\u{200f}', '\u{202e}', '\u{2066}', '\u{2069}',
            '\u{feff}', '\u{ffff}',
        ] {
            assert_eq!(clear_text(&format!("torn{unseen}bag")), Err(Unclear::Unseen(unseen)), "{unseen:?}");
        }
        for clear in ["torn bag", "two\nlines\r\n\tand a tab", "größer als Ω, температура", "冷凍庫", "👩‍🔧 looked"]
        {
            assert_eq!(clear_text(clear), Ok(()), "{clear}");
        }
    }
}
