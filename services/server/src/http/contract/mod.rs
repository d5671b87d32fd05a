//! The contract: OpenAPI 3.1, made from the handlers themselves, and the table of what can be asked where.

mod answers;
mod examples;
mod posted;
mod stored;

use super::{pages, problems::Answer, things::Plain};
use actix_web::{App, HttpResponse, http::Method, http::header, route, web};
use serde_json::Value;
use utoipa::{
    OpenApi,
    openapi::{RefOr, path::Operation},
};
use utoipa_actix_web::AppExt;

pub(crate) use answers::{
    Alive, Asked, Fed, Issues, Joins, Listed, Makes, Managed, Refused, SignedIn, SignsIn, Told, Tries, Written,
};
pub(crate) use posted::{Decision, PostedFacts};
pub(crate) use stored::{StoredEntry, StoredLines};

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Rimebook",
        description = "The book of frozen composite material: facts and decisions in, answers out. A fact is posted in the \
            past tense and never refused for disagreeing with the book; a decision may be refused, with the reason in words. \
            Every operation that answers GET answers HEAD too. Errors are application/problem+json (RFC 9457), each `type` \
            opens a page that says cause and cure, and its `instance` is `urn:trace:` and the id of the trace that the request \
            belongs to: the one of `traceparent` where that was sent (W3C Trace Context), else a new one. Only what is no \
            HTTP has no body: a request line or a header that can't be read (a quote or a byte that is not ASCII within the \
            parameters, no Host or two of them, two lengths), is answered with 400, one that is too long with 431, one that does \
            not come with 408, and then the connection is closed. What a browser says to come from a page of another site \
            (`Origin`, `Sec-Fetch-Site`) writes nothing: 403. Until the yard is set up \
            with the code that the server gives at its start, nobody signs in: the server listens to this machine only, every \
            operation is open, and every entry is marked `by_known: claimed`. From then on each operation needs what its \
            `security` says: a person's session, an enrolled device's token, or a program's token with the scope that stands \
            beside it. Everybody writes under their own badge; which role a decision needs, its refusal says. The material maker's instructions come first, whatever an answer says.",
        license(name = "Apache-2.0", identifier = "Apache-2.0"),
    ),
    servers((url = "/", description = "This server")),
    tags(
        (name = "log", description = "Facts and decisions in, the log out"),
        (name = "life", description = "May it be used, until when, and what runs out"),
        (name = "things", description = "What the book has about one thing"),
        (name = "stock", description = "Lists of things of one kind"),
        (name = "trace", description = "What is made from what"),
        (name = "people", description = "Who it is: signing in, a second person beside, devices and programs"),
        (name = "health", description = "For whoever looks after the server"),
    )
)]
struct Base;

/// The document, as it is served and committed.
pub(crate) struct Contract {
    json: String,
    document: Value,
    table: Vec<(String, Vec<&'static str>)>,
    /// What an operation answers when all goes well, by method and address.
    answers: Vec<(&'static str, String, Vec<String>)>,
}

impl Contract {
    pub(crate) fn new() -> Contract {
        let (_, mut document) =
            App::new().into_utoipa_app().openapi(Base::openapi()).configure(super::routes).split_for_parts();
        examples::complete(&mut document);
        let mut table: Vec<(String, Vec<&'static str>)> =
            pages::TABLE.iter().map(|(path, methods)| ((*path).to_owned(), methods.to_vec())).collect();
        let mut answers = Vec::new();
        for (path, item) in &mut document.paths.paths {
            // HEAD answers like GET; two operations with one id would be no contract.
            item.head = None;
            for (method, operation) in [("GET", &item.get), ("POST", &item.post)] {
                if let Some(operation) = operation {
                    answers.push((method, path.clone(), answered(operation)));
                }
            }
            let methods = [(item.get.is_some(), "GET"), (item.get.is_some(), "HEAD"), (item.post.is_some(), "POST")];
            table.push((
                path.clone(),
                methods.into_iter().filter(|(there, _)| *there).map(|(_, method)| method).collect(),
            ));
        }
        let json = written(&document);
        let document = serde_json::from_str(&json).unwrap_or_default();
        Contract { json, document, table, answers }
    }

    /// The document, to be read from.
    pub(crate) fn document(&self) -> &Value {
        &self.document
    }

    /// Media types of what is answered when all goes well; none where there is no operation.
    pub(crate) fn answers_of(&self, method: &Method, path: &str) -> Vec<&str> {
        let method = if method == Method::HEAD { &Method::GET } else { method };
        let here = self.answers.iter().filter(|(own, template, _)| *own == method.as_str() && fits(template, path));
        here.flat_map(|(_, _, media)| media).map(String::as_str).collect()
    }

    /// An address as it is declared; nothing, where nothing is done there.
    pub(crate) fn declared(&self, path: &str) -> Option<&str> {
        self.table.iter().map(|(template, _)| template.as_str()).find(|template| fits(template, path))
    }

    /// What can be done at an address, as for `Allow`.
    pub(crate) fn methods_of(&self, path: &str) -> Vec<&'static str> {
        let mut methods: Vec<_> = self
            .table
            .iter()
            .filter(|(template, _)| fits(template, path))
            .flat_map(|(_, methods)| methods)
            .copied()
            .collect();
        methods.sort_unstable();
        methods.dedup();
        methods
    }
}

/// The media types of an operation's answers of status 2xx.
fn answered(operation: &Operation) -> Vec<String> {
    let good = operation.responses.responses.iter().filter(|(status, _)| status.starts_with('2'));
    let mut media: Vec<String> = good
        .filter_map(|(_, answer)| match answer {
            RefOr::T(answer) => Some(answer.content.keys().cloned()),
            RefOr::Ref(_) => None,
        })
        .flatten()
        .collect();
    media.sort();
    media.dedup();
    media
}

fn written(document: &utoipa::openapi::OpenApi) -> String {
    document.to_pretty_json().unwrap_or_default() + "\n"
}

/// Whether an address is one of a template's.
pub(crate) fn fits(template: &str, path: &str) -> bool {
    // Nearly every template is another one by its first words.
    let words = template.split_once('{').map_or(template, |(words, _)| words);
    if !path.starts_with(words) {
        return false;
    }
    let (mut template, mut path) = (template.split('/'), path.split('/'));
    loop {
        match (template.next(), path.next()) {
            (None, None) => return true,
            (Some(expected), Some(found)) if expected == found || expected.starts_with('{') && !found.is_empty() => {}
            (_, _) => return false,
        }
    }
}

/// The OpenAPI document of this version, pretty-printed, as `openapi/openapi.json` has it.
pub fn openapi_json() -> String {
    Contract::new().json
}

/// This document.
///
/// OpenAPI 3.1, made from the handlers of this very server.
#[utoipa::path(operation_id = "get_openapi", tag = "health", responses(
    (status = 200, description = "An OpenAPI 3.1 document.", body = Object, content_type = "application/json"), Alive,
))]
#[route("/openapi.json", method = "GET", method = "HEAD")]
pub(crate) async fn get_openapi(contract: web::Data<Contract>, _: Plain) -> Answer {
    Ok(HttpResponse::Ok().insert_header((header::CONTENT_TYPE, "application/json")).body(contract.json.clone()))
}

#[cfg(test)]
mod tests {
    use super::Contract;

    #[test]
    fn every_address_knows_its_methods() {
        let contract = Contract::new();
        assert_eq!(contract.methods_of("/api/v1/entries"), ["GET", "HEAD", "POST"]);
        assert_eq!(contract.methods_of("/api/v1/decisions"), ["POST"]);
        assert_eq!(contract.methods_of("/api/v1/things/batch/PM-101/B-123"), ["GET", "HEAD"]);
        assert_eq!(contract.methods_of("/boat/118"), ["GET", "HEAD"]);
        assert!(contract.methods_of("/api/v1/entries/").is_empty());
        assert!(contract.methods_of("/api/v1").is_empty());
    }
}
