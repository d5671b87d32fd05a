//! Which trace a request belongs to (W3C Trace Context, level 1): a readable `traceparent` is gone on with, otherwise a
//! trace is begun. Its id stands in the answer's `traceresponse` and in the `instance` of a problem; never in what was asked
//! for, so that an answer stays the same however often it is asked for.

use super::problems::Fault;
use crate::{clock::Clock, yard::Yard};
use actix_web::{
    Error,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::header::{HeaderMap, HeaderName, HeaderValue},
    middleware::Next,
    web,
};
use shared_types::Problem;

const TRACEPARENT: HeaderName = HeaderName::from_static("traceparent");
const TRACERESPONSE: HeaderName = HeaderName::from_static("traceresponse");

/// `00-<trace id>-<parent id>-<flags>`: so many characters.
const LENGTH: usize = 55;

/// A trace, and this request's own place in it.
#[derive(Debug, PartialEq, Eq)]
struct Trace {
    id: String,
    own: String,
}

impl Trace {
    fn of(headers: &HeaderMap, clock: &dyn Clock) -> Trace {
        // Two of them say two things, so neither is followed.
        let mut sent = headers.get_all(TRACEPARENT);
        let only = sent.next().filter(|_| sent.next().is_none());
        let known = only.and_then(|value| value.to_str().ok()).and_then(trace_id);
        let id = known.map_or_else(|| clock.new_id().simple().to_string(), str::to_owned);
        // The half of an id that has its random part; never all zeros, because it holds the id's variant.
        let (_, own) = clock.new_id().as_u64_pair();
        Trace { id, own: format!("{own:016x}") }
    }

    /// As `traceresponse` has it. Nothing is recorded here, so no flag is set.
    fn answered(&self) -> Option<HeaderValue> {
        HeaderValue::from_str(&format!("00-{}-{}-00", self.id, self.own)).ok()
    }

    /// As the `instance` of a problem.
    fn instance(&self) -> String {
        format!("urn:trace:{}", self.id)
    }
}

/// The trace id of a `traceparent`, if it can be read.
fn trace_id(text: &str) -> Option<&str> {
    let part = |from: usize, to: usize| text.get(from..to).filter(|part| is_hex(part));
    let dash = |at: usize| text.as_bytes().get(at) == Some(&b'-');
    let (version, id, parent) = (part(0, 2)?, part(3, 35)?, part(36, 52)?);
    part(53, LENGTH)?;
    let whole = match version {
        "ff" => false,
        "00" => text.len() == LENGTH,
        // A later version may say more behind these four.
        _ => text.len() == LENGTH || dash(LENGTH),
    };
    let named = [id, parent].iter().all(|part| part.bytes().any(|byte| byte != b'0'));
    (whole && named && dash(2) && dash(35) && dash(52)).then_some(id)
}

fn is_hex(text: &str) -> bool {
    text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

/// Names the trace in every answer, and writes it into every problem.
pub(crate) async fn named<B: MessageBody + 'static>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let Some(yard) = request.app_data::<web::Data<Yard>>().cloned() else {
        return Ok(next.call(request).await?.map_into_boxed_body());
    };
    let trace = Trace::of(request.headers(), yard.clock.as_ref());
    let (began, method) = (yard.clock.ticks_us(), request.method().clone());
    let mut answer = next.call(request).await?.map_into_boxed_body();
    let status = answer.status().as_u16();
    yard.measured.answered(status);
    // The address as it is declared: what stands in a real one may be nobody else's business.
    let address = answer.request().match_pattern();
    tracing::info!(
        trace = %trace.id,
        method = %method,
        address = address.as_deref().unwrap_or("none"),
        status,
        us = yard.clock.ticks_us().saturating_sub(began),
        "answered"
    );
    if let Some(value) = trace.answered() {
        answer.headers_mut().insert(TRACERESPONSE, value);
    }
    let problem = answer.response_mut().extensions_mut().remove::<Problem>();
    Ok(match problem {
        Some(problem) => {
            let body = Fault::from(Problem { instance: Some(trace.instance()), ..problem }).body();
            answer.map_body(|_, _| BoxBody::new(body))
        }
        None => answer,
    })
}

#[cfg(test)]
mod tests {
    use super::{Trace, trace_id};
    use crate::clock::SetClock;
    use actix_web::http::header::{HeaderMap, HeaderValue};
    use shared_types::Instant;

    /// The standard's own example, and its rules: https://www.w3.org/TR/trace-context-1/, sections 3.2.2 and 4.3.
    const SENT: &str = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01";
    const ID: &str = "0af7651916cd43dd8448eb211c80319c";

    #[test]
    fn what_the_standard_lets_pass_is_gone_on_with() {
        for sent in [
            SENT,
            "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-00",
            // Flags that nobody knows yet.
            "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-ff",
            // Later versions, with more behind and without.
            "cc-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
            "cc-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-what-comes-later",
            "01-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-",
        ] {
            assert_eq!(trace_id(sent), Some(ID), "{sent}");
        }
    }

    #[test]
    fn what_the_standard_forbids_is_not() {
        for sent in [
            "",
            "00",
            "ff-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
            "00-00000000000000000000000000000000-b7ad6b7169203331-01",
            "00-0af7651916cd43dd8448eb211c80319c-0000000000000000-01",
            "00-0AF7651916CD43DD8448EB211C80319C-B7AD6B7169203331-01",
            "0A-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
            "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-0G",
            "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-more",
            "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01-",
            "cc-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01.more",
            "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331",
            "00-0af7651916cd43dd8448eb211c80319-b7ad6b7169203331-01",
            "00_0af7651916cd43dd8448eb211c80319c_b7ad6b7169203331_01",
            "0-af7651916cd43dd8448eb211c80319c0-b7ad6b7169203331-01",
            " 00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
            "00-äf7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01",
        ] {
            assert_eq!(trace_id(sent), None, "{sent}");
        }
    }

    #[test]
    fn a_trace_is_gone_on_with_or_begun_and_the_place_in_it_is_always_new() {
        let clock = SetClock::new(Instant(0));
        let of = |sent: &[&str]| {
            let mut headers = HeaderMap::new();
            for sent in sent {
                headers.append(super::TRACEPARENT, HeaderValue::from_str(sent).unwrap());
            }
            Trace::of(&headers, &clock)
        };
        let (first, second) = (of(&[SENT]), of(&[SENT]));
        assert_eq!((first.id.as_str(), second.id.as_str()), (ID, ID));
        assert_ne!(first.own, second.own);
        assert_ne!(first.own, "b7ad6b7169203331");
        for begun in [of(&[]), of(&["nonsense"]), of(&[SENT, SENT])] {
            assert_ne!(begun.id, ID);
            let whole = begun.answered().unwrap();
            assert_eq!(trace_id(whole.to_str().unwrap()), Some(begun.id.as_str()));
        }
    }
}
