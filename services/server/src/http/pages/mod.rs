//! The pages: what is read and pressed at the freezer, the tables and the ovens, what is read at a desk, and what a
//! program's maker reads. A file for each; rendered here, usable without JavaScript.

mod again;
mod asking;
mod assets;
mod authority;
mod badge;
mod boat;
mod boat_list;
mod boat_record;
mod changed;
mod chosen;
mod claim;
mod closed;
mod cut;
mod day;
mod declared;
mod deliveries;
mod devices;
mod dispose;
mod docs;
mod done;
mod effect;
mod foot;
mod hold;
pub(crate) mod html;
mod install;
mod issue;
mod job;
mod lay;
mod lengths;
mod listed;
mod moves;
mod named;
mod notice;
mod oven;
mod paper;
mod part;
mod people;
mod puzzles;
mod recall;
mod receive;
mod runs_out;
pub(crate) mod scan;
mod screen;
mod stock;
mod strike;
mod table;
mod thing;
mod traced;
mod typed;
mod unsure;
mod wish;
mod work;

use super::{path_of, problems::Fault};
use crate::{people::BADGE, yard::Yard};
use actix_web::{
    HttpRequest, HttpResponse, ResponseError,
    http::{StatusCode, header},
    web,
};
use askama::Template;
use shared_types::Stamp;

pub(crate) use notice::or_problem;
pub(crate) use people::sign_in_to_send;

/// What the pages answer, for the fallback's `Allow`.
pub(crate) const TABLE: &[(&str, &[&str])] = &[
    ("/", &["GET", "HEAD"]),
    ("/today", &["GET", "HEAD"]),
    ("/runs-out", &["GET", "HEAD"]),
    ("/runs-out.csv", &["GET", "HEAD"]),
    ("/take-out", &["GET", "HEAD"]),
    ("/handover", &["GET", "HEAD"]),
    ("/moves", &["POST"]),
    ("/lay", &["GET", "HEAD", "POST"]),
    ("/cut", &["GET", "HEAD", "POST"]),
    ("/dispose", &["GET", "HEAD", "POST"]),
    ("/oven", &["GET", "HEAD", "POST"]),
    ("/install", &["GET", "HEAD", "POST"]),
    ("/issue", &["GET", "HEAD", "POST"]),
    ("/job", &["GET", "HEAD", "POST"]),
    ("/job/{code}", &["GET", "HEAD"]),
    ("/job/{code}/plan", &["GET", "HEAD", "POST"]),
    ("/receive", &["GET", "HEAD"]),
    ("/deliveries", &["GET", "HEAD"]),
    ("/devices", &["GET", "HEAD"]),
    ("/devices/revoke", &["GET", "HEAD", "POST"]),
    ("/devices/bring-in", &["GET", "HEAD", "POST"]),
    ("/receive/scan", &["GET", "HEAD", "POST"]),
    ("/receive/batch", &["GET", "HEAD", "POST"]),
    ("/receive/note", &["GET", "HEAD", "POST"]),
    ("/receive/paper/{roll}", &["GET", "HEAD", "POST"]),
    ("/paper", &["GET", "HEAD", "POST"]),
    ("/badge", &["GET", "HEAD", "POST"]),
    ("/sign-in", &["GET", "HEAD", "POST"]),
    ("/sign-out", &["POST"]),
    ("/sitting", &["GET", "HEAD", "POST"]),
    ("/sessions", &["GET", "HEAD", "POST"]),
    ("/calendar", &["GET", "HEAD", "POST"]),
    ("/set-up", &["GET", "HEAD", "POST"]),
    ("/enrol", &["GET", "HEAD", "POST"]),
    ("/people", &["GET", "HEAD", "POST"]),
    ("/boat/{code}", &["GET", "HEAD"]),
    ("/boat/{code}/list", &["GET", "HEAD", "POST"]),
    ("/thing/{kind}/{code}", &["GET", "HEAD"]),
    ("/thing/batch/{material}/{batch}", &["GET", "HEAD"]),
    ("/strike/{entry}", &["GET", "HEAD", "POST"]),
    ("/last", &["GET", "HEAD"]),
    ("/mismatches", &["GET", "HEAD"]),
    ("/mismatches.csv", &["GET", "HEAD"]),
    ("/mismatches/{kind}/{entry}", &["GET", "HEAD", "POST"]),
    ("/hold", &["GET", "HEAD", "POST"]),
    ("/confirm", &["GET", "HEAD", "POST"]),
    ("/trace", &["GET", "HEAD"]),
    ("/trace/{kind}/{code}", &["GET", "HEAD"]),
    ("/trace/batch/{material}/{batch}", &["GET", "HEAD"]),
    ("/changes/{kind}/{code}", &["GET", "HEAD"]),
    ("/changes/batch/{material}/{batch}", &["GET", "HEAD"]),
    ("/recall/{kind}/{code}", &["GET", "HEAD", "POST"]),
    ("/recall/batch/{material}/{batch}", &["GET", "HEAD", "POST"]),
    ("/print.css", &["GET", "HEAD"]),
    ("/authority", &["GET", "HEAD"]),
    ("/authority.pem", &["GET", "HEAD"]),
    ("/docs", &["GET", "HEAD"]),
    ("/docs/operations/{id}", &["GET", "HEAD"]),
    ("/docs/shapes/{name}", &["GET", "HEAD"]),
    ("/problems", &["GET", "HEAD"]),
    ("/problems/{name}", &["GET", "HEAD"]),
    ("/deliveries.csv", &["GET", "HEAD"]),
    ("/rolls", &["GET", "HEAD"]),
    ("/rolls.csv", &["GET", "HEAD"]),
    ("/kits", &["GET", "HEAD"]),
    ("/kits.csv", &["GET", "HEAD"]),
    ("/parts", &["GET", "HEAD"]),
    ("/parts.csv", &["GET", "HEAD"]),
    ("/boats", &["GET", "HEAD"]),
    ("/boats.csv", &["GET", "HEAD"]),
    ("/jobs", &["GET", "HEAD"]),
    ("/jobs.csv", &["GET", "HEAD"]),
    ("/batches", &["GET", "HEAD"]),
    ("/batches.csv", &["GET", "HEAD"]),
    ("/materials", &["GET", "HEAD"]),
    ("/materials.csv", &["GET", "HEAD"]),
    ("/places", &["GET", "HEAD"]),
    ("/places.csv", &["GET", "HEAD"]),
    ("/static/{name}", &["GET", "HEAD"]),
];

/// Work other than taking out and putting away, as far as this server has pages for it.
const OTHER_WORK: &[(&str, &str)] = &[
    ("/receive", "Receive"),
    ("/issue", "Issue to a job"),
    ("/cut", "Cut"),
    ("/lay", "Lay up"),
    ("/oven", "Oven"),
    ("/dispose", "Throw away"),
    ("/install", "Install"),
    ("/today", "Today, lists"),
];

pub(crate) fn other_work() -> impl Iterator<Item = &'static (&'static str, &'static str)> {
    OTHER_WORK.iter().filter(|(address, _)| TABLE.iter().any(|(path, _)| path == address))
}

pub(crate) fn routes(config: &mut web::ServiceConfig) {
    // They are tried in this order: what needs no pattern, and what is asked most, comes first.
    config
        .configure(stock::routes)
        .service(scan::scan_page)
        .service(thing::thing_page)
        .service(boat::boat_page)
        .service(day::today_page)
        .service(runs_out::runs_out_page)
        .service(runs_out::runs_out_csv)
        .service(day::take_out_page)
        .service(day::handover_page)
        .service(moves::post_move)
        .service(lay::lay_page)
        .service(lay::post_lay)
        .service(cut::cut_page)
        .service(cut::post_cut)
        .service(dispose::dispose_page)
        .service(dispose::post_dispose)
        .service(oven::oven_page)
        .service(oven::post_oven)
        .service(install::install_page)
        .service(install::post_install)
        .service(issue::issue_page)
        .service(issue::post_issue)
        .service(job::open_page)
        .service(job::post_open)
        .service(job::plan_page)
        .service(job::post_plan)
        .service(job::job_page)
        .service(deliveries::deliveries_page)
        .service(devices::devices_page)
        .service(devices::revoke_page)
        .service(devices::post_revoke)
        .service(devices::bring_in_page)
        .service(devices::post_bring_in)
        .service(receive::receive_page)
        .service(receive::scan_page)
        .service(receive::post_scan)
        .service(receive::batch_page)
        .service(receive::post_batch)
        .service(receive::note_page)
        .service(receive::post_note)
        .service(receive::paper_page)
        .service(receive::post_paper)
        .service(paper::paper_page)
        .service(paper::post_paper)
        .service(badge::badge_page)
        .service(badge::post_badge)
        .service(people::sign_in_page)
        .service(people::post_sign_in)
        .service(people::post_sign_out)
        .service(people::sitting_page)
        .service(people::post_sitting)
        .service(people::sessions_page)
        .service(people::post_sessions)
        .service(people::calendar_page)
        .service(people::post_calendar)
        .service(people::set_up_page)
        .service(people::post_set_up)
        .service(people::enrol_page)
        .service(people::post_enrol)
        .service(people::people_page)
        .service(people::post_people)
        .service(boat_list::list_page)
        .service(boat_list::post_list)
        .service(strike::strike_page)
        .service(strike::post_strike)
        .service(strike::last_page)
        .service(puzzles::puzzles_page)
        .service(puzzles::puzzles_csv)
        .service(puzzles::puzzle_page)
        .service(puzzles::post_puzzle)
        .service(hold::hold_page)
        .service(hold::post_hold)
        .service(hold::confirm_page)
        .service(hold::post_confirm)
        .service(traced::find_page)
        .service(traced::trace_page)
        .service(changed::changes_page)
        .service(recall::recall_page)
        .service(recall::post_recall)
        .service(traced::print_css)
        .service(authority::authority_page)
        .service(authority::authority_pem)
        .service(docs::docs_page)
        .service(docs::operation_page)
        .service(docs::shape_page)
        .service(notice::problems_page)
        .service(notice::problem_page)
        .service(assets::asset);
}

/// No inline anything, nothing from elsewhere; `data:` for the empty icon alone.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; \
    connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

fn page(status: StatusCode, template: &impl Template) -> Result<HttpResponse, Fault> {
    let html = template.render().map_err(|_| Fault::went_wrong("The page could not be written down."))?;
    Ok(HttpResponse::build(status)
        .insert_header((header::CONTENT_TYPE, "text/html; charset=utf-8"))
        .insert_header((header::CONTENT_SECURITY_POLICY, POLICY))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .insert_header((header::REFERRER_POLICY, "same-origin"))
        .body(html))
}

/// A page for a person, or the problem for a program.
fn answer(request: &HttpRequest, page: Result<HttpResponse, Fault>) -> HttpResponse {
    page.unwrap_or_else(|fault| or_problem(request, fault))
}

/// A person at an address of no page, or with another method than it has.
pub(crate) fn no_such_page(request: &HttpRequest, fault: Fault) -> HttpResponse {
    if !wants_html(request) || for_programs(path_of(request)) {
        return problem(&fault);
    }
    scan::no_such_page(request, fault.status()).unwrap_or_else(|_| problem(&fault))
}

/// Answers programs alone, whatever they say that they take.
pub(crate) fn for_programs(path: &str) -> bool {
    path.starts_with("/api/") || matches!(path, "/healthz" | "/readyz" | "/metrics")
}

/// Whether a person asks for a page.
pub(crate) fn is_for_people(request: &HttpRequest) -> bool {
    wants_html(request) && !for_programs(path_of(request))
}

/// Leads to where one signs in, and from there back to where one was.
pub(crate) fn sign_in_first(request: &HttpRequest) -> HttpResponse {
    let then = request.uri().path_and_query().map_or("/", |then| then.as_str());
    match then {
        "/" => see("/sign-in"),
        // What signs somebody in is not left standing in an address.
        then if then.contains(BADGE) => see("/sign-in"),
        then => see(&format!("/sign-in?then={}", in_a_query(then))),
    }
}

fn wants_html(request: &HttpRequest) -> bool {
    let accept = request.headers().get(header::ACCEPT).and_then(|value| value.to_str().ok());
    accept.is_some_and(|accept| accept.contains("text/html"))
}

pub(crate) fn see(address: &str) -> HttpResponse {
    HttpResponse::SeeOther().insert_header((header::LOCATION, address)).finish()
}

/// Text within a query.
pub(crate) fn in_a_query(text: &str) -> String {
    let mut query = String::new();
    for byte in text.bytes() {
        match byte {
            b'A'..=b'Z' | b'a'..=b'z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => query.push(char::from(byte)),
            _ => query.push_str(&format!("%{byte:02X}")),
        }
    }
    query
}

/// A time in an address, as people write it; an empty field asks for nothing.
fn then(yard: &Yard, text: &str) -> Result<Option<Stamp>, String> {
    // A `+` that was not percent-encoded arrives as a blank.
    match (text.trim(), Stamp::parse(&text.trim().replace(' ', "+"))) {
        ("", _) => Ok(None),
        (_, Ok(stamp)) => Ok(Some(stamp)),
        (text, Err(_)) => wish::time(yard, text).map(Some),
    }
}

/// The same, where a time that can't be read ends the page.
fn asked_then(yard: &Yard, text: &str) -> Result<Option<Stamp>, Fault> {
    then(yard, text).map_err(|problem| Fault::cannot_read(problem).field("/at", "no time"))
}

/// What a program gets for a problem.
fn problem(fault: &Fault) -> HttpResponse {
    fault.error_response()
}
