//! What is begun with a code that is typed once: the yard, one's own sign-in, a device.

use super::{
    super::{answer, assets::Assets, page},
    symbol,
};
use crate::{
    http::{
        people::{Begun, Joining, begun, enrol_device, joined, remember},
        problems::Fault,
    },
    yard::Yard,
};
use actix_web::{HttpRequest, HttpResponse, http::StatusCode, post, route, web};
use askama::Template;
use serde::Deserialize;

#[derive(Template)]
#[template(path = "set_up.html")]
struct SetUpPage {
    assets: Assets,
    /// The yard has an administrator.
    set_up: bool,
    code: String,
    /// What the code begins, once it was typed.
    begun: Option<Begun>,
    /// The secret as a symbol.
    symbol: Option<String>,
    badge: String,
    name: String,
    problem: Option<String>,
    /// Whose sign-in was begun just now.
    done: Option<String>,
}

#[derive(Deserialize, Default)]
pub(crate) struct CodeForm {
    #[serde(default)]
    code: String,
    #[serde(default)]
    badge: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    password: Option<String>,
    #[serde(default)]
    one_time: String,
}

impl SetUpPage {
    fn new(yard: &Yard, form: &CodeForm, begun: Option<Begun>, problem: Option<&Fault>) -> SetUpPage {
        let symbol =
            begun.as_ref().and_then(|begun| symbol::svg(&begun.one_time_address, "the secret of one-time codes"));
        let known = begun.as_ref().and_then(|begun| begun.name.clone()).unwrap_or_default();
        SetUpPage {
            assets: Assets::new(),
            set_up: yard.people.is_set_up(),
            code: form.code.clone(),
            badge: form.badge.clone(),
            name: if form.name.is_empty() { known } else { form.name.clone() },
            symbol,
            begun,
            problem: problem.map(|fault| fault.problem().detail.clone()),
            done: None,
        }
    }
}

#[route("/set-up", method = "GET", method = "HEAD")]
pub(crate) async fn set_up_page(request: HttpRequest, yard: web::Data<Yard>) -> HttpResponse {
    answer(&request, page(StatusCode::OK, &SetUpPage::new(&yard, &CodeForm::default(), None, None)))
}

#[post("/set-up")]
pub(crate) async fn post_set_up(
    request: HttpRequest,
    yard: web::Data<Yard>,
    form: web::Form<CodeForm>,
) -> HttpResponse {
    let form = form.into_inner();
    answer(&request, step(&request, &yard, form).await)
}

/// First the code alone, then what is chosen.
async fn step(request: &HttpRequest, yard: &web::Data<Yard>, form: CodeForm) -> Result<HttpResponse, Fault> {
    let Some(password) = form.password.clone() else {
        return match begun(request, yard, &form.code) {
            Ok(begun) => page(StatusCode::OK, &SetUpPage::new(yard, &form, Some(begun), None)),
            Err(fault) if fault.status().is_server_error() => Err(fault),
            Err(fault) => page(fault.status(), &SetUpPage::new(yard, &form, None, Some(&fault))),
        };
    };
    let said = Joining {
        code: form.code.clone(),
        badge: form.badge.clone(),
        name: form.name.clone(),
        password,
        one_time_code: form.one_time.clone(),
    };
    match joined(request, yard, said).await {
        Ok(joined) => {
            let mut done = SetUpPage::new(yard, &CodeForm::default(), None, None);
            done.done = Some(joined.badge.to_string());
            page(StatusCode::OK, &done)
        }
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => {
            page(fault.status(), &SetUpPage::new(yard, &form, begun(request, yard, &form.code).ok(), Some(&fault)))
        }
    }
}

#[derive(Template)]
#[template(path = "enrol.html")]
struct EnrolPage {
    assets: Assets,
    problem: Option<String>,
    done: Option<String>,
}

#[route("/enrol", method = "GET", method = "HEAD")]
pub(crate) async fn enrol_page(request: HttpRequest) -> HttpResponse {
    answer(&request, page(StatusCode::OK, &EnrolPage { assets: Assets::new(), problem: None, done: None }))
}

#[post("/enrol")]
pub(crate) async fn post_enrol(request: HttpRequest, yard: web::Data<Yard>, form: web::Form<CodeForm>) -> HttpResponse {
    let done = match enrol_device(&request, &yard, &form.code, None).await {
        Ok(enrolled) => {
            let said = EnrolPage { assets: Assets::new(), problem: None, done: Some(enrolled.device.to_string()) };
            page(StatusCode::OK, &said).and_then(|mut answer| {
                remember(&request, &yard, &enrolled.token, &mut answer)?;
                Ok(answer)
            })
        }
        Err(fault) if fault.status().is_server_error() => Err(fault),
        Err(fault) => {
            let problem = Some(fault.problem().detail.clone());
            page(fault.status(), &EnrolPage { assets: Assets::new(), problem, done: None })
        }
    };
    answer(&request, done)
}
