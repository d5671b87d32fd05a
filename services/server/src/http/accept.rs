//! What a client takes (RFC 9110, 12.5.1): a request that takes none of an operation's answers is told so before anything
//! is looked up or written.

use super::{
    contract::Contract,
    pages, path_of,
    problems::{Fault, Kind},
};
use actix_web::{
    Error,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{StatusCode, header},
    middleware::Next,
    web,
};

/// One range of media types, and how much it is wanted, in thousandths.
struct Range {
    kind: String,
    part: String,
    wanted: u16,
}

/// All ranges; none: anything is taken.
pub(crate) struct Accept(Option<Vec<Range>>);

impl Accept {
    pub(crate) fn of(headers: &header::HeaderMap) -> Accept {
        let mut ranges = None;
        for value in headers.get_all(header::ACCEPT) {
            let text = String::from_utf8_lossy(value.as_bytes());
            for range in text.split(',').map(str::trim).filter(|range| !range.is_empty()) {
                // A range that can't be read takes nothing.
                ranges.get_or_insert_with(Vec::new).extend(Range::read(range));
            }
        }
        Accept(ranges)
    }

    /// How much a media type is wanted, in thousandths. The range that names it most closely counts.
    pub(crate) fn wants(&self, media: &str) -> u16 {
        let Some(ranges) = &self.0 else { return 1_000 };
        let closest = ranges.iter().filter_map(|range| Some((range.names(media)?, range.wanted))).max();
        closest.map_or(0, |(_, wanted)| wanted)
    }

    /// Whether every type there is is wanted.
    fn takes_anything(&self) -> bool {
        let Some(ranges) = &self.0 else { return true };
        ranges.iter().all(|range| 0 < range.wanted) && ranges.iter().any(|range| range.kind == "*" && range.part == "*")
    }

    /// Whether this very type is wanted by name, and no less than the other.
    pub(crate) fn prefers(&self, media: &str, other: &str) -> bool {
        let named = self.0.as_ref().is_some_and(|ranges| ranges.iter().any(|range| range.names(media) == Some(2)));
        named && 0 < self.wants(media) && self.wants(other) <= self.wants(media)
    }
}

impl Range {
    fn read(text: &str) -> Option<Range> {
        let mut parts = text.split(';').map(str::trim);
        let (kind, part) = parts.next()?.split_once('/')?;
        let weight = parts.filter_map(|one| one.split_once('=')).find(|(name, _)| name.eq_ignore_ascii_case("q"));
        let wanted = weight.map_or(Some(1_000), |(_, weight)| thousandths(weight))?;
        Some(Range { kind: kind.to_ascii_lowercase(), part: part.to_ascii_lowercase(), wanted })
    }

    /// How closely it names a media type: 2 by name, 1 by its first half, 0 as anything.
    fn names(&self, media: &str) -> Option<u8> {
        let (kind, part) = media.split_once('/')?;
        match (self.kind.as_str(), self.part.as_str()) {
            ("*", "*") => Some(0),
            (own, "*") if own == kind => Some(1),
            (own, rest) if own == kind && rest == part => Some(2),
            _ => None,
        }
    }
}

/// `0.5` as 500: at most three digits behind the point, and never more than 1.
fn thousandths(text: &str) -> Option<u16> {
    let (whole, behind) = text.split_once('.').unwrap_or((text, ""));
    let digits = behind.len() <= 3 && behind.bytes().all(|byte| byte.is_ascii_digit());
    let behind: u16 = format!("{behind:0<3}").parse().ok().filter(|_| digits)?;
    match whole {
        "0" => Some(behind),
        "1" if behind == 0 => Some(1_000),
        _ => None,
    }
}

/// Refuses what nobody would take the answer of.
pub(crate) async fn answerable<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let accept = Accept::of(request.headers());
    if accept.takes_anything() {
        return Ok(next.call(request).await?.map_into_boxed_body());
    }
    let contract = request.app_data::<web::Data<Contract>>();
    let answers =
        contract.map(|contract| contract.answers_of(request.method(), path_of(request.request()))).unwrap_or_default();
    if answers.is_empty() || answers.iter().any(|media| 0 < accept.wants(media)) {
        return Ok(next.call(request).await?.map_into_boxed_body());
    }
    let answers = answers.join(" or ");
    let detail =
        format!("This is answered as {answers}, and Accept takes neither that nor anything. Nothing was written.");
    let fault = Fault::new(StatusCode::NOT_ACCEPTABLE, Kind::NotAcceptable, detail);
    let answer = pages::or_problem(request.request(), fault);
    Ok(request.into_response(answer))
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::http::header::{HeaderMap, HeaderValue};

    fn of(values: &[&str]) -> Accept {
        let mut headers = HeaderMap::new();
        for value in values {
            headers.append(header::ACCEPT, HeaderValue::from_str(value).unwrap());
        }
        Accept::of(&headers)
    }

    #[test]
    fn a_missing_or_empty_header_takes_anything() {
        for taken in [of(&[]), of(&[""]), of(&[" , "]), of(&["*/*"]), of(&["application/*"]), of(&["APPLICATION/JSON"])]
        {
            assert_eq!(taken.wants("application/json"), 1_000);
        }
        for (anything, text) in
            [(true, "*/*"), (true, "text/html, */*;q=0.1"), (false, "*/*, text/html;q=0"), (false, "text/*")]
        {
            assert_eq!(of(&[text]).takes_anything(), anything, "{text}");
        }
    }

    /// RFC 9110, 12.5.1: the example of which range comes first.
    #[test]
    fn the_closest_range_counts() {
        let taken = of(&["text/*;q=0.3, text/plain;q=0.7", "text/html;level=1, */*;q=0.5"]);
        let wanted = ["text/plain", "text/csv", "text/html", "image/png"].map(|media| taken.wants(media));
        assert_eq!(wanted, [700, 300, 1_000, 500]);
        let refused = of(&["application/json;q=0, */*"]);
        assert_eq!((refused.wants("application/json"), refused.wants("text/csv")), (0, 1_000));
    }

    #[test]
    fn what_cannot_be_read_takes_nothing() {
        for text in
            ["json", "application", "application/json;q=2", "application/json;q=x", "application/json;q=0.0001", "*"]
        {
            assert_eq!(of(&[text]).wants("application/json"), 0, "{text}");
        }
        assert_eq!(of(&["nonsense, application/json;q=0.5"]).wants("application/json"), 500);
    }

    #[test]
    fn a_stream_is_sent_to_who_names_it() {
        let prefers = |text: &str| of(&[text]).prefers("text/event-stream", "application/json");
        assert!(prefers("text/event-stream") && prefers("application/json, text/event-stream"));
        for text in ["*/*", "text/*", "text/event-stream;q=0", "application/json, text/event-stream;q=0.5"] {
            assert!(!prefers(text), "{text}");
        }
    }
}
