//! The problems that operations can answer, for the document: one set per kind of operation.

use crate::http::problems::PROBLEM_JSON;
use shared_types::Problem;
use std::collections::BTreeMap;
use utoipa::{
    IntoResponses, ToSchema,
    openapi::{ContentBuilder, Ref, RefOr, Response, ResponseBuilder},
};

const SAYS: &[(u16, &str)] = &[
    (400, "It could not be read (`cannot-read`); `errors` points at what was meant."),
    (
        401,
        "Nobody is signed in, or what was shown opens nothing (`not-signed-in`). Before the yard is set up it is never answered.",
    ),
    (
        403,
        "Whoever asked has not the right (`not-allowed`): the role, the token's scope, or it was said by or beside somebody who did \
           not show who they are; or a page of another site asked. A decision may need a second person (`needs-second-person`): \
           `gives_back` says why.",
    ),
    (404, "Nobody knows this thing or entry (`not-found`)."),
    (406, "`Accept` takes nothing that is answered here (`not-acceptable`)."),
    (408, "The body did not arrive within 30 s (`too-slow`)."),
    (
        409,
        "Refused: `on-hold`, `out-life-used-up`, `past-shelf-life`, `not-enough-life-for-job`, `cannot-be-used`, `cannot-say`, \
           `already-there`, `changed-meanwhile`, `ahead-of-log` or `id-reused`. It left no trace.",
    ),
    (413, "More than 256 KiB (`too-large`)."),
    (415, "Not application/json in UTF-8 (`wrong-media-type`)."),
    (421, "The host that was asked for is not one of this machine's own names (`other-name`)."),
    (
        429,
        "A program's token asked too often (`quota-exceeded`), or something wrong was tried too often (`too-many-tries`). `Retry-After` says when to ask again.",
    ),
    (500, "The server made a mistake while working this out (`went-wrong`)."),
    (503, "Writing has stopped or waits for a person (`writes-stopped`); send it again later with the same id."),
    (507, "The disk is full (`no-space`); nothing was written."),
];

fn problems(statuses: &[u16]) -> BTreeMap<String, RefOr<Response>> {
    let says = SAYS.iter().filter(|(status, _)| statuses.contains(status));
    says.map(|(status, says)| (status.to_string(), problem(says).into())).collect()
}

fn problem(says: &str) -> Response {
    let content = ContentBuilder::new().schema(Some(Ref::from_schema_name(Problem::name()))).build();
    ResponseBuilder::new().description(says).content(PROBLEM_JSON, content).build()
}

macro_rules! sets {
    ($($(#[$doc:meta])* $name:ident = [$($status:literal),*];)*) => {
        $(
            $(#[$doc])*
            pub(crate) struct $name;
            impl IntoResponses for $name {
                fn responses() -> BTreeMap<String, RefOr<Response>> {
                    problems(&[$($status),*])
                }
            }
        )*
    };
}

sets! {
    /// Of a question about everything that anybody may ask.
    Alive = [400, 406, 421, 500];
    /// Of a question about everything.
    Listed = [400, 401, 403, 406, 421, 429, 500];
    /// Of a question about something.
    Asked = [400, 401, 403, 404, 406, 421, 429, 500];
    /// Of facts: each has its own result beside.
    Written = [400, 401, 403, 406, 408, 413, 415, 421, 429, 500];
    /// Of a decision.
    Refused = [400, 401, 403, 404, 406, 408, 409, 413, 415, 421, 429, 500, 503, 507];
    /// Of showing who one is.
    SignsIn = [400, 401, 403, 406, 408, 413, 415, 421, 429, 500];
    /// Of an address whose token lets in.
    Fed = [400, 404, 406, 421, 429, 500];
    /// Of what a person does without saying more.
    SignedIn = [400, 401, 403, 406, 421, 500];
    /// Of a code that is typed once.
    Tries = [400, 403, 406, 408, 413, 415, 421, 429, 500];
    /// The same, where the log says what came of it.
    Joins = [400, 403, 406, 408, 413, 415, 421, 429, 500, 503, 507];
    /// Of what administrators look at.
    Told = [400, 401, 403, 406, 421, 500];
    /// Of what administrators do with somebody.
    Managed = [400, 401, 403, 404, 406, 408, 413, 415, 421, 500];
    /// Of what administrators make.
    Makes = [400, 401, 403, 406, 408, 413, 415, 421, 500];
    /// The same, where the log says so.
    Issues = [400, 401, 403, 406, 408, 413, 415, 421, 500, 503, 507];
}
