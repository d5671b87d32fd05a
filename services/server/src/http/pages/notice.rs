//! Problems for people: what happened, how to go on; and a page per problem type with cause and cure.

use super::{answer, assets::Assets, for_programs, page, problem, wants_html};
use crate::http::{
    path_of,
    problems::{Fault, Kind, ROWS, Row},
};
use actix_web::{
    HttpRequest, HttpResponse,
    http::{StatusCode, header::HeaderValue},
    route, web,
};
use askama::Template;

#[derive(Template)]
#[template(path = "notice.html")]
struct Notice {
    assets: Assets,
    title: String,
    detail: String,
    address: String,
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    assets: Assets,
    row: &'static Row,
}

#[derive(Template)]
#[template(path = "problems.html")]
struct ProblemsPage {
    assets: Assets,
    rows: &'static [Row],
}

/// A page for a person, problem+json for a program.
pub(crate) fn or_problem(request: &HttpRequest, fault: Fault) -> HttpResponse {
    if !wants_html(request) || for_programs(path_of(request)) {
        return problem(&fault);
    }
    let said = fault.problem();
    let (title, detail, address) = (said.title.clone(), said.detail.clone(), said.kind.clone());
    let notice = Notice { assets: Assets::new(), title, detail, address };
    let mut answer = page(fault.status(), &notice).unwrap_or_else(|_| problem(&fault));
    for (name, value) in fault.headers() {
        if let Ok(value) = HeaderValue::from_str(&value) {
            answer.headers_mut().insert(name, value);
        }
    }
    answer
}

#[route("/problems", method = "GET", method = "HEAD")]
pub(crate) async fn problems_page(request: HttpRequest) -> HttpResponse {
    answer(&request, page(StatusCode::OK, &ProblemsPage { assets: Assets::new(), rows: ROWS }))
}

#[route("/problems/{name}", method = "GET", method = "HEAD")]
pub(crate) async fn problem_page(request: HttpRequest, name: web::Path<String>) -> HttpResponse {
    let found = match ROWS.iter().find(|row| row.name == *name) {
        Some(row) => page(StatusCode::OK, &ProblemPage { assets: Assets::new(), row }),
        None => {
            let detail = "There is no problem of that name; /problems lists them all.";
            Err(Fault::new(StatusCode::NOT_FOUND, Kind::NoSuchOperation, detail))
        }
    };
    answer(&request, found)
}
