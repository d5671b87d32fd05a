//! The document for people: every operation and every shape of the API on pages of their own, from the very document that
//! `/api/v1/openapi.json` gives. No script, nothing from elsewhere.

use super::{answer, assets::Assets, html::codes, page};
use crate::http::{
    contract::Contract,
    problems::{Fault, Kind},
};
use actix_web::{
    HttpRequest, HttpResponse,
    http::{StatusCode, header},
    route, web,
};
use askama::Template;
use serde_json::{Map, Value};

mod shape;

use shape::{Member, members, shape, words};

const SHAPES: &str = "/components/schemas";

/// Stricter than that of the pages that are worked with: here is nothing to send and no script.
const POLICY: &str =
    "default-src 'none'; style-src 'self'; img-src data:; form-action 'none'; base-uri 'none'; frame-ancestors 'none'";

#[derive(Template)]
#[template(path = "docs.html")]
struct Index {
    assets: Assets,
    version: String,
    says: String,
    groups: Vec<Group>,
    shapes: Vec<String>,
}

struct Group {
    name: String,
    says: String,
    operations: Vec<Line>,
}

struct Line {
    id: String,
    call: String,
    says: String,
}

#[derive(Template)]
#[template(path = "docs_operation.html")]
struct OperationPage {
    assets: Assets,
    title: String,
    call: String,
    says: Vec<String>,
    asked: String,
    parameters: Vec<Member>,
    body: Option<Body>,
    answers: Vec<Answered>,
}

struct Body {
    says: String,
    shape: String,
    examples: Vec<(String, String)>,
}

struct Answered {
    status: String,
    says: String,
    /// Media type, shape and example.
    contents: Vec<(String, String, String)>,
}

#[derive(Template)]
#[template(path = "docs_shape.html")]
struct ShapePage {
    assets: Assets,
    name: String,
    says: String,
    shape: String,
    members: Vec<Member>,
    used_by: Vec<String>,
}

/// An operation of the document, with where it is.
struct Operation<'a> {
    method: String,
    path: &'a str,
    says: &'a Value,
}

impl Operation<'_> {
    fn id(&self) -> &str {
        text(&self.says["operationId"])
    }

    fn call(&self) -> String {
        format!("{} {}", self.method, self.path)
    }

    /// The address with its examples in it.
    fn asked(&self) -> String {
        let mut path = self.path.to_owned();
        let mut query = Vec::new();
        for parameter in list(&self.says["parameters"]) {
            let (name, example) = (text(&parameter["name"]), plain(&parameter["example"]));
            match text(&parameter["in"]) {
                "path" => path = path.replace(&format!("{{{name}}}"), &super::in_a_query(&example)),
                "query" if parameter["required"] == true => {
                    query.push(format!("{name}={}", super::in_a_query(&example)));
                }
                _ => {}
            }
        }
        let query = if query.is_empty() { String::new() } else { format!("?{}", query.join("&")) };
        format!("{} {path}{query}", self.method)
    }
}

fn operations(document: &Value) -> impl Iterator<Item = Operation<'_>> {
    let items = document["paths"].as_object().into_iter().flatten();
    items.flat_map(|(path, item)| {
        let methods = item.as_object().into_iter().flatten();
        methods.map(move |(method, says)| Operation { method: method.to_ascii_uppercase(), path, says })
    })
}

/// What stands at a JSON pointer (RFC 6901); nothing where there is nothing.
fn at<'a>(value: &'a Value, pointer: &str) -> &'a Value {
    value.pointer(pointer).unwrap_or(&Value::Null)
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or_default()
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map(Vec::as_slice).unwrap_or_default()
}

fn object(value: &Value) -> impl Iterator<Item = (&String, &Value)> {
    value.as_object().into_iter().flatten()
}

/// An example as it is sent or comes: text as it is, everything else as JSON in lines.
fn plain(example: &Value) -> String {
    match example {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => serde_json::to_string_pretty(other).unwrap_or_default(),
    }
}

fn shown(template: &impl Template) -> Result<HttpResponse, Fault> {
    let mut page = page(StatusCode::OK, template)?;
    page.headers_mut().insert(header::CONTENT_SECURITY_POLICY, header::HeaderValue::from_static(POLICY));
    Ok(page)
}

fn no_such(what: &str) -> Fault {
    let detail = format!("There is no such {what}; /docs lists them all.");
    Fault::new(StatusCode::NOT_FOUND, Kind::NoSuchOperation, detail)
}

#[route("/docs", method = "GET", method = "HEAD")]
pub(crate) async fn docs_page(request: HttpRequest, contract: web::Data<Contract>) -> HttpResponse {
    let document = contract.document();
    let groups = list(&document["tags"]).iter().map(|tag| {
        let own = operations(document).filter(|operation| at(operation.says, "/tags/0") == &tag["name"]);
        let line = |operation: Operation<'_>| Line {
            id: operation.id().to_owned(),
            call: operation.call(),
            says: words(text(&operation.says["summary"])),
        };
        Group {
            name: text(&tag["name"]).to_owned(),
            says: words(text(&tag["description"])),
            operations: own.map(line).collect(),
        }
    });
    let index = Index {
        assets: Assets::new(),
        version: text(at(document, "/info/version")).to_owned(),
        says: words(text(at(document, "/info/description"))),
        groups: groups.collect(),
        shapes: object(at(document, SHAPES)).map(|(name, _)| name.clone()).collect(),
    };
    answer(&request, shown(&index))
}

#[route("/docs/operations/{id}", method = "GET", method = "HEAD")]
pub(crate) async fn operation_page(
    request: HttpRequest,
    contract: web::Data<Contract>,
    id: web::Path<String>,
) -> HttpResponse {
    let found = operations(contract.document()).find(|operation| operation.id() == id.as_str());
    let page = found.ok_or_else(|| no_such("operation")).and_then(|operation| shown(&whole(&operation)));
    answer(&request, page)
}

fn whole(operation: &Operation<'_>) -> OperationPage {
    let says = operation.says;
    let answers = object(&says["responses"]).map(|(status, answer)| Answered {
        status: status.clone(),
        says: words(text(&answer["description"])),
        contents: object(&answer["content"])
            .map(|(media, content)| (media.clone(), shape(&content["schema"]), plain(&content["example"])))
            .collect(),
    });
    let parameters = list(&says["parameters"]).iter().map(|parameter| Member {
        name: text(&parameter["name"]).to_owned(),
        needed: parameter["required"] == true,
        shape: shape(&parameter["schema"]),
        says: words(text(&parameter["description"])),
        place: match text(&parameter["in"]) {
            "path" => "in the path",
            "header" => "in the head",
            _ => "in the query",
        },
        example: plain(&parameter["example"]),
    });
    OperationPage {
        assets: Assets::new(),
        title: words(text(&says["summary"])),
        call: operation.call(),
        says: text(&says["description"]).split("\n\n").map(words).collect(),
        asked: operation.asked(),
        parameters: parameters.collect(),
        body: says.get("requestBody").map(body),
        answers: answers.collect(),
    }
}

fn body(says: &Value) -> Body {
    let content = at(says, "/content/application~1json");
    let example = |(_, example): (&String, &Value)| (text(&example["summary"]).to_owned(), plain(&example["value"]));
    Body {
        says: words(text(&says["description"])),
        shape: shape(&content["schema"]),
        examples: object(&content["examples"]).map(example).collect(),
    }
}

#[route("/docs/shapes/{name}", method = "GET", method = "HEAD")]
pub(crate) async fn shape_page(
    request: HttpRequest,
    contract: web::Data<Contract>,
    name: web::Path<String>,
) -> HttpResponse {
    let document = contract.document();
    let shapes: Option<&Map<String, Value>> = at(document, SHAPES).as_object();
    let found = shapes.and_then(|shapes| shapes.get_key_value(name.as_str()));
    let page = found.ok_or_else(|| no_such("shape")).and_then(|(name, schema)| {
        let reference = format!("\"#/components/schemas/{name}\"");
        let uses = |value: &Value| value.to_string().contains(&reference);
        let used = object(at(document, SHAPES)).filter(|(_, other)| uses(other));
        shown(&ShapePage {
            assets: Assets::new(),
            name: name.clone(),
            says: words(text(&schema["description"])),
            shape: shape(schema),
            members: members(schema),
            used_by: used.map(|(other, _)| other.clone()).filter(|other| other != name).collect(),
        })
    });
    answer(&request, page)
}
