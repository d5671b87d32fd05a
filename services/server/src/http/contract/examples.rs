//! Examples and what stands at every operation alike. The answers are those of the yard that `tests/http/documented` builds;
//! that test asks every one of them again, and writes `examples.json` anew when it is blessed.

use crate::http::{
    needs::{self, Need},
    problems::Fault,
};
use actix_web::http::Method;
use serde_json::{Map, Value, json};
use shared_types::Scope;
use utoipa::openapi::{
    Components, Header, OpenApi, Ref, RefOr,
    path::{Operation, Parameter, ParameterBuilder},
    response::Response,
    schema::{ObjectBuilder, Type},
    security::{ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityRequirement, SecurityScheme},
};

/// By operation and status and media type, or by operation and parameter.
const KEPT: &str = include_str!("examples.json");

/// The trace of every example (the example of W3C Trace Context, level 1).
const TRACE: &str = "0af7651916cd43dd8448eb211c80319c";

/// Where an answer names its trace.
const TRACED: &str = "traceresponse";

/// Completes the document of the handlers.
pub(super) fn complete(document: &mut OpenApi) {
    let kept: Map<String, Value> = serde_json::from_str(KEPT).unwrap_or_default();
    let components = document.components.get_or_insert_with(Components::new);
    components.headers.insert(TRACED.to_owned(), traced().into());
    components.security_schemes.extend(schemes().map(|(name, scheme)| (name, scheme.into())));
    for (path, item) in &mut document.paths.paths {
        for (method, operation) in [(Method::GET, &mut item.get), (Method::POST, &mut item.post)] {
            let Some(operation) = operation else { continue };
            let need = needs::of(&method, path);
            operation.security = Some(security(need));
            say_scope(operation, need);
            complete_one(operation, &kept);
        }
    }
}

/// What an operation asks of whoever asks: an empty requirement says *nothing*, where none at all would say nothing.
fn security(need: Need) -> Vec<SecurityRequirement> {
    let nothing: [&str; 0] = [];
    let of = |names: &[&str]| names.iter().map(|name| SecurityRequirement::new(*name, nothing)).collect();
    match need {
        Need::Open => vec![SecurityRequirement::default()],
        Need::Somebody(Scope::Decisions) => of(&[SESSION, TOKEN]),
        Need::Question | Need::Somebody(_) => of(&[SESSION, DEVICE, TOKEN]),
        Need::Person | Need::Administrator => of(&[SESSION]),
    }
}

/// OpenAPI lists scopes with OAuth only; of a token they are said in words.
fn say_scope(operation: &mut Operation, need: Need) {
    let scope = match need {
        Need::Question => Scope::Read,
        Need::Somebody(scope) => scope,
        Need::Open | Need::Person | Need::Administrator => return,
    };
    let before = operation.description.take().unwrap_or_default();
    operation.description =
        Some(format!("{before}\n\nA program's token needs the scope `{}`.", scope.word()).trim().to_owned());
}

const SESSION: &str = "session";
const DEVICE: &str = "device";
const TOKEN: &str = "token";

fn schemes() -> [(String, SecurityScheme); 3] {
    let cookie = "A session of somebody who signed in. Over TLS the cookie is `__Host-session`; on the server's own machine, without \
                  TLS, it is `session`.";
    let bearer = |says: &str| {
        SecurityScheme::Http(HttpBuilder::new().scheme(HttpAuthScheme::Bearer).description(Some(says)).build())
    };
    [
        (
            SESSION.to_owned(),
            SecurityScheme::ApiKey(ApiKey::Cookie(ApiKeyValue::with_description("__Host-session", cookie))),
        ),
        (
            DEVICE.to_owned(),
            bearer("The token that a device was enrolled with (`rmd_..`). A browser sends it as a cookie."),
        ),
        (TOKEN.to_owned(), bearer("A program's token (`rmp_..`) with the scope that is named beside it.")),
    ]
}

fn complete_one(operation: &mut Operation, kept: &Map<String, Value>) {
    let id = operation.operation_id.clone().unwrap_or_default();
    for parameter in operation.parameters.iter_mut().flatten() {
        if let RefOr::T(parameter) = parameter {
            let own = kept.get(&format!("{id} {}", parameter.name)).cloned();
            if let Some(example) = own.or_else(|| usual(&parameter.name)) {
                *parameter = with(parameter, example);
            }
        }
    }
    for (status, answer) in &mut operation.responses.responses {
        if let RefOr::T(answer) = answer {
            answer.headers.insert(TRACED.to_owned(), RefOr::Ref(Ref::new(format!("#/components/headers/{TRACED}"))));
            fill(answer, &id, status, kept);
        }
    }
}

fn fill(answer: &mut Response, id: &str, status: &str, kept: &Map<String, Value>) {
    for (media, content) in &mut answer.content {
        if let RefOr::T(content) = content {
            let own = kept.get(&format!("{id} {status} {media}")).cloned();
            content.example = own.or_else(|| (status == "500").then(went_wrong));
        }
    }
}

/// Only an error of the program or a disk that fails is answered so, and neither can be had for an example.
fn went_wrong() -> Value {
    let fault =
        Fault::went_wrong("Working this out failed. Nothing else is affected; tell whoever looks after this server.");
    let problem = fault.into_problem();
    let problem = shared_types::Problem { instance: Some(format!("urn:trace:{TRACE}")), ..problem };
    serde_json::to_value(problem).unwrap_or_default()
}

fn with(parameter: &Parameter, example: Value) -> Parameter {
    ParameterBuilder::from(parameter.clone()).example(Some(example)).build()
}

/// What a parameter of this name is asked with.
fn usual(name: &str) -> Option<Value> {
    Some(match name {
        "at" => json!("2026-05-06T08:00:00+01:00"),
        "until" => json!("2026-05-07T22:00:00+01:00"),
        "known" => json!(12),
        "after" => json!(7),
        "from" => json!(7),
        "to" => json!(20),
        "limit" => json!(50),
        "seq" => json!(9),
        "Last-Event-ID" => json!(8),
        "within_h" => json!(240),
        "shelf_within_h" => json!(1344),
        "dry_run" | "warnings" | "frozen" | "missing" => json!(true),
        "held" => json!(false),
        "kind" => json!("roll"),
        "code" => json!("R-42"),
        "thing" => json!("roll/R-42"),
        "act" => json!("lay"),
        "direction" => json!("went_into"),
        "stage" => json!("skin"),
        "job" => json!("J-118"),
        "material" => json!("PM-101"),
        "batch" => json!("B-123"),
        "place" => json!("F1"),
        "boat" => json!("118"),
        _ => return None,
    })
}

fn traced() -> Header {
    let text = ObjectBuilder::new().schema_type(Type::String).pattern(Some("^00-[0-9a-f]{32}-[0-9a-f]{16}-00$"));
    let mut header = Header::new(text.build());
    header.description = Some(
        "The trace that the request belongs to, and the request's own place in it. The trace is that of a `traceparent` \
         that was sent (W3C Trace Context, level 1), or a new one; a problem has it as its `instance`."
            .to_owned(),
    );
    header.example = Some(json!(format!("00-{TRACE}-b7ad6b7169203331-00")));
    header
}
