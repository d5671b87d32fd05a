//! Whether what was sent is text at all. The parsers of addresses and forms put a sign in the place of bytes that are none,
//! and what was meant would be lost without a word.

use super::problems::Fault;
use actix_web::{HttpRequest, http::header};

/// Refuses an address or a form with percent-encoded bytes that are not UTF-8.
pub(crate) fn only(request: &HttpRequest, body: &[u8]) -> Result<(), Fault> {
    if std::str::from_utf8(&decoded(request.uri().path().as_bytes())).is_err() {
        return Err(Fault::cannot_read(
            "The address is not UTF-8 where it is percent-encoded. Encode its text as UTF-8, then each byte as %XX.",
        ));
    }
    if let Some(name) = broken(request.query_string().as_bytes()) {
        let detail = format!("The parameter {name} is not UTF-8. Encode its text as UTF-8, then each byte as %XX.");
        return Err(Fault::cannot_read(detail).field(format!("/{name}"), "not UTF-8"));
    }
    match is_form(request).then(|| broken(body)).flatten() {
        Some(name) => Err(Fault::cannot_read(format!(
            "The field {name} of the form is not UTF-8. Nothing was written; type it again."
        ))),
        None => Ok(()),
    }
}

pub(crate) fn is_form(request: &HttpRequest) -> bool {
    let media = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    media.is_some_and(|media| media.to_ascii_lowercase().starts_with("application/x-www-form-urlencoded"))
}

/// The name of the first pair that is no text.
fn broken(pairs: &[u8]) -> Option<String> {
    let pair = pairs.split(|byte| *byte == b'&').find(|pair| std::str::from_utf8(&decoded(pair)).is_err())?;
    let name = decoded(pair.split(|byte| *byte == b'=').next().unwrap_or_default());
    // It is shown in a sentence, so it is kept short.
    Some(String::from_utf8_lossy(&name).chars().filter(|c| !c.is_control()).take(60).collect())
}

/// Without percent-encoding. What only looks like it stands for itself.
fn decoded(text: &[u8]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text;
    loop {
        match rest {
            [b'%', high, low, after @ ..] if high.is_ascii_hexdigit() && low.is_ascii_hexdigit() => {
                let value = |digit: &u8| char::from(*digit).to_digit(16).and_then(|value| u8::try_from(value).ok());
                bytes.push((value(high).unwrap_or_default() << 4) | value(low).unwrap_or_default());
                rest = after;
            }
            [byte, after @ ..] => {
                bytes.push(*byte);
                rest = after;
            }
            [] => return bytes,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{broken, decoded};

    #[test]
    fn a_pair_that_is_no_text_is_named() {
        assert_eq!(decoded(b"a%20%e2%82%AC%zz%4"), "a \u{20ac}%zz%4".as_bytes());
        for text in ["", "a=b&c=%C3%A9", "a=%ef%bf%bd", "a=%zz", "&&=%41"] {
            assert_eq!(broken(text.as_bytes()), None, "{text}");
        }
        assert_eq!(broken(b"a=b&job=J%ff&x=%fe").as_deref(), Some("job"));
        assert_eq!(broken(b"a=\xff").as_deref(), Some("a"));
        // Half a character, and one written longer than it is (RFC 3629, section 3).
        assert_eq!(broken(b"why=%C3").as_deref(), Some("why"));
        assert_eq!(broken(b"why=%C0%AF").as_deref(), Some("why"));
    }
}
