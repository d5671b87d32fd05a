//! Reading a request's body: its size, time, media type, text and depth, before anything is parsed.

use super::{
    pages,
    problems::{Fault, Kind},
    utf8,
};
use actix_web::{
    Error, HttpMessage, HttpRequest,
    body::{BodyStream, BoxBody, MessageBody},
    dev::{self, ServiceRequest, ServiceResponse},
    http::{Method, StatusCode, header},
    middleware::Next,
    rt::time::timeout,
    web::Bytes,
};
use futures_util::stream::once;
use std::{
    future::{poll_fn, ready},
    pin::Pin,
    time::Duration,
};

/// The longest body, in bytes.
pub(crate) const LONGEST_BODY: usize = 256 * 1024;
/// The deepest nesting of a body.
const DEEPEST: usize = 32;
/// How much of a body that is too long is still read, and for how long, so that its sender gets to see the answer.
const DRAINED: usize = 32 * 1024 * 1024;
const DRAINING: Duration = Duration::from_secs(1);
const PATIENCE: Duration = Duration::from_secs(30);

/// The body of a form, for who looks at it before its page does.
pub(crate) struct Form(pub(crate) Bytes);

/// Reads the body of any request before anything else looks at it, so that nothing waits for one that does not come.
pub(crate) async fn whole_first<B: MessageBody + 'static>(
    mut request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let spoken = only_http(&request);
    let payload = request.take_payload();
    let body = match spoken {
        Ok(()) => whole(payload).await,
        Err(fault) => {
            hold(BodyStream::new(payload));
            Err(fault)
        }
    };
    match body.and_then(|body| utf8::only(request.request(), &body).map(|()| Bytes::from(body))) {
        Ok(body) => {
            if utf8::is_form(request.request()) {
                request.extensions_mut().insert(Form(body.clone()));
            }
            request.set_payload(dev::Payload::Stream { payload: Box::pin(once(ready(Ok(body)))) });
            Ok(next.call(request).await?.map_into_boxed_body())
        }
        Err(fault) => {
            let answer = pages::or_problem(request.request(), fault);
            Ok(request.into_response(answer))
        }
    }
}

/// Of who asks for another protocol the framework takes the rest of the connection as a body, and that never ends.
fn only_http(request: &ServiceRequest) -> Result<(), Fault> {
    let asked = |value: &header::HeaderValue| value.as_bytes().trim_ascii().eq_ignore_ascii_case(b"websocket");
    match request.method() == Method::CONNECT || request.headers().get_all(header::UPGRADE).any(asked) {
        true => Err(Fault::cannot_read(
            "Only HTTP is spoken here, and nothing is passed on. Ask without Upgrade and CONNECT.",
        )),
        false => Ok(()),
    }
}

/// The whole body, if it comes in time and is not too long.
async fn whole(body: dev::Payload) -> Result<Vec<u8>, Fault> {
    let mut read = Vec::new();
    if matches!(body, dev::Payload::None) {
        return Ok(read);
    }
    // It is read to its end where that is near: an answer in the middle of it would not be seen.
    let mut stream = BodyStream::new(body);
    let whole = timeout(PATIENCE, gather(&mut stream, &mut read)).await;
    let ended = match whole {
        Ok(Ok(false)) => timeout(DRAINING, drain(&mut stream)).await == Ok(true),
        Ok(_) => true,
        Err(_) => false,
    };
    if !ended {
        hold(stream);
    }
    match whole {
        Ok(Ok(true)) => Ok(read),
        Ok(Ok(false)) => {
            let detail = "A request takes at most 256 KiB. Nothing was written; send less at a time.";
            Err(Fault::new(StatusCode::PAYLOAD_TOO_LARGE, Kind::TooLarge, detail))
        }
        Ok(Err(())) => Err(Fault::cannot_read("The body broke off. Nothing was written; send it again.")),
        Err(_) => {
            let detail = "The body did not arrive within 30 s. Nothing was written; send it again.";
            Err(Fault::new(StatusCode::REQUEST_TIMEOUT, Kind::TooSlow, detail))
        }
    }
}

/// The body as JSON text: UTF-8, at most 32 levels deep.
pub(crate) fn json_text(request: &HttpRequest, body: &[u8]) -> Result<String, Fault> {
    let unsupported = |detail: &str| Fault::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, Kind::WrongMediaType, detail);
    if !is_json(request) {
        return Err(unsupported("Send JSON in UTF-8, with the header Content-Type: application/json."));
    }
    if request.headers().contains_key("content-encoding") {
        return Err(unsupported("Send the JSON as it is, without a Content-Encoding."));
    }
    let text = std::str::from_utf8(body).map_err(|error| {
        let at = error.valid_up_to();
        Fault::cannot_read(format!("The body is not UTF-8: byte {at} does not belong to any character."))
    })?;
    match deeper_than(text, DEEPEST) {
        true => Err(Fault::cannot_read("The body is nested more than 32 levels deep; nothing here needs that.")),
        false => Ok(text.to_owned()),
    }
}

type Stream = BodyStream<dev::Payload>;

async fn chunk(stream: &mut Stream) -> Option<Result<Bytes, ()>> {
    let chunk = poll_fn(|context| Pin::new(&mut *stream).poll_next(context)).await;
    chunk.map(|chunk| chunk.map_err(|_| ()))
}

/// False as soon as the body is too long.
async fn gather(stream: &mut Stream, into: &mut Vec<u8>) -> Result<bool, ()> {
    while let Some(chunk) = chunk(stream).await {
        let chunk = chunk?;
        if LONGEST_BODY < into.len().saturating_add(chunk.len()) {
            return Ok(false);
        }
        into.extend_from_slice(&chunk);
    }
    Ok(true)
}

/// True if the body ended, false if there was too much of it.
async fn drain(stream: &mut Stream) -> bool {
    let mut length = 0_usize;
    while let Some(Ok(chunk)) = chunk(stream).await {
        length = length.saturating_add(chunk.len());
        if DRAINED < length {
            return false;
        }
    }
    true
}

/// Keeps a body that does not end until its connection is closed. Of one that was dropped the framework would read on
/// for ever; while it is held, the connection is closed a second after the answer.
fn hold(mut stream: Stream) {
    actix_web::rt::spawn(async move {
        // It ends with the connection at the latest, and nobody asks how.
        drop(timeout(PATIENCE, async { while !drain(&mut stream).await {} }).await);
    });
}

/// JSON, and in UTF-8 if it says in what.
fn is_json(request: &HttpRequest) -> bool {
    let header = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    header.is_some_and(says_json)
}

fn says_json(media: &str) -> bool {
    let mut parts = media.split(';').map(str::trim);
    let is_json = parts.next().is_some_and(|kind| kind.eq_ignore_ascii_case("application/json"));
    is_json
        && parts.filter_map(|part| part.split_once('=')).all(|(name, value)| {
            !name.trim().eq_ignore_ascii_case("charset") || value.trim().trim_matches('"').eq_ignore_ascii_case("utf-8")
        })
}

/// Counts brackets outside of texts; whether it is JSON at all is for the parser to say.
fn deeper_than(text: &str, deepest: usize) -> bool {
    let (mut depth, mut within, mut escaped) = (0_usize, false, false);
    for byte in text.bytes() {
        match (within, byte) {
            (true, _) if escaped => escaped = false,
            (true, b'\\') => escaped = true,
            (_, b'"') => within = !within,
            (false, b'[' | b'{') => {
                depth += 1;
                if deepest < depth {
                    return true;
                }
            }
            (false, b']' | b'}') => depth = depth.saturating_sub(1),
            (_, _) => {}
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn json_is_in_utf_8_whatever_it_says() {
        for media in [
            "application/json",
            "Application/JSON ; charset=UTF-8",
            "application/json;charset=\"utf-8\"",
            "application/json; profile=x",
            "application/json;",
        ] {
            assert!(says_json(media), "{media}");
        }
        for media in [
            "application/json; charset=utf-16",
            "application/json; profile=x; Charset = \"latin1\"",
            "application/json; charset=",
            "application/json; charset=utf-8; charset=utf-16",
            "application/jsonp",
            "text/json",
            "",
        ] {
            assert!(!says_json(media), "{media}");
        }
    }

    #[test]
    fn only_brackets_outside_of_texts_are_levels() {
        let nested = |levels: usize| format!("{}{}", "[".repeat(levels), "]".repeat(levels));
        assert!(!deeper_than(&nested(32), 32));
        assert!(deeper_than(&nested(33), 32));
        assert!(!deeper_than(&format!("\"{}\\\"{}\"", nested(40), nested(40)), 32));
        assert!(!deeper_than(&"[],".repeat(100), 32));
    }
}
