//! A server as the command line asks it: an answer's bytes, or why there is none and what to do.

use crate::{http::ROWS, import::caller};
use reqwest::blocking::{RequestBuilder, Response};
use serde_json::Value;
use shared_types::Problem;

pub(super) struct Rest {
    http: reqwest::blocking::Client,
    base: String,
    shows: Shows,
}

/// What a request shows of who asks.
enum Shows {
    Nothing,
    /// A program's.
    Token(String),
    /// The cookie of somebody who signed in.
    Session(String),
}

/// Why there is no answer, in words.
pub(super) struct Unanswered {
    pub(super) say: String,
    /// Nobody knows what was asked about, or it could not be read: asked otherwise there may be an answer.
    pub(super) ask_otherwise: bool,
}

impl Rest {
    pub(super) fn new(server: &str, token: Option<&str>) -> Result<Rest, Unanswered> {
        let (http, base) = caller(server).map_err(|say| Unanswered { say, ask_otherwise: true })?;
        let token = token.map(|token| token.trim().to_owned()).filter(|token| !token.is_empty());
        Ok(Rest { http, base, shows: token.map_or(Shows::Nothing, Shows::Token) })
    }

    /// The same as somebody who signs in with a password and a one-time code.
    pub(super) fn signed_in(self, shows: &Value) -> Result<Rest, Unanswered> {
        let answer = self.sent(self.http.post(format!("{}/api/v1/sign-in", self.base)).json(shows))?;
        let cookie = answer.headers().get("set-cookie").and_then(|cookie| cookie.to_str().ok());
        let cookie = cookie.and_then(|cookie| cookie.split(';').next()).unwrap_or_default().to_owned();
        let rest = Rest { shows: Shows::Session(cookie), ..self };
        rest.read(answer)?;
        Ok(rest)
    }

    /// The answer as it came, byte for byte.
    pub(super) fn get(&self, path: &str) -> Result<Vec<u8>, Unanswered> {
        self.read(self.sent(self.http.get(format!("{}{path}", self.base)))?)
    }

    pub(super) fn post(&self, path: &str, body: &Value) -> Result<Vec<u8>, Unanswered> {
        self.read(self.sent(self.http.post(format!("{}{path}", self.base)).json(body))?)
    }

    fn sent(&self, request: RequestBuilder) -> Result<Response, Unanswered> {
        let request = match &self.shows {
            Shows::Nothing => request,
            Shows::Token(token) => request.bearer_auth(token),
            Shows::Session(cookie) => request.header("cookie", cookie),
        };
        request.send().map_err(|error| self.gone(&error))
    }

    fn gone(&self, error: &reqwest::Error) -> Unanswered {
        Unanswered {
            say: match error.is_connect() {
                true => format!(
                    "Nobody answers at {}. Is `rimebook serve` running there? Name another with --server or RIMEBOOK_SERVER.",
                    self.base
                ),
                false => format!("{} did not answer: {error}. Ask again.", self.base),
            },
            ask_otherwise: false,
        }
    }

    fn read(&self, answer: Response) -> Result<Vec<u8>, Unanswered> {
        let status = answer.status().as_u16();
        let body = answer.bytes().map_err(|error| self.gone(&error))?;
        match (status, serde_json::from_slice::<Problem>(&body)) {
            (200 | 201 | 207, _) => Ok(body.to_vec()),
            (401, Ok(_)) if matches!(self.shows, Shows::Nothing) => {
                Err(Unanswered { say: without_a_token("read"), ask_otherwise: false })
            }
            (status, Ok(problem)) => Err(Unanswered { say: words(&problem), ask_otherwise: status == 400 }),
            (status, Err(_)) => Err(Unanswered {
                say: format!("{} answered {status}, as no rimebook does. Look at --server.", self.base),
                ask_otherwise: false,
            }),
        }
    }
}

/// The yard is set up, and nothing shows who asks.
pub(crate) fn without_a_token(scopes: &str) -> String {
    format!(
        "This yard is set up, so it asks who it is. An administrator issues a token at /people, to {scopes}; set RIMEBOOK_TOKEN to it and ask again."
    )
}

/// What happened, and what to do.
fn words(problem: &Problem) -> String {
    let name = problem.kind.rsplit('/').next().unwrap_or_default();
    let cure = ROWS.iter().find(|row| row.name == name).map(|row| row.cure).unwrap_or_default();
    format!("{}\n{cure}", problem.detail).trim_end().to_owned()
}
