//! A server as the command line asks it: an answer's bytes, or why there is none and what to do.

use crate::{http::ROWS, import::caller};
use shared_types::Problem;

pub(super) struct Rest {
    http: reqwest::blocking::Client,
    base: String,
    token: Option<String>,
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
        Ok(Rest { http, base, token: token.map(|token| token.trim().to_owned()).filter(|token| !token.is_empty()) })
    }

    /// The answer as it came, byte for byte.
    pub(super) fn get(&self, path: &str) -> Result<Vec<u8>, Unanswered> {
        let gone = |error: &reqwest::Error| Unanswered {
            say: match error.is_connect() {
                true => format!(
                    "Nobody answers at {}. Is `rimebook serve` running there? Name another with --server or RIMEBOOK_SERVER.",
                    self.base
                ),
                false => format!("{} did not answer: {error}. Ask again.", self.base),
            },
            ask_otherwise: false,
        };
        let mut request = self.http.get(format!("{}{path}", self.base));
        if let Some(token) = &self.token {
            request = request.bearer_auth(token);
        }
        let answer = request.send().map_err(|error| gone(&error))?;
        let status = answer.status().as_u16();
        let body = answer.bytes().map_err(|error| gone(&error))?;
        match (status, serde_json::from_slice::<Problem>(&body)) {
            (200, _) => Ok(body.to_vec()),
            (status, Ok(problem)) => Err(Unanswered { say: words(&problem), ask_otherwise: status == 400 }),
            (status, Err(_)) => Err(Unanswered {
                say: format!("{} answered {status}, as no rimebook does. Look at --server.", self.base),
                ask_otherwise: false,
            }),
        }
    }
}

/// What happened, and what to do.
fn words(problem: &Problem) -> String {
    let name = problem.kind.rsplit('/').next().unwrap_or_default();
    let cure = ROWS.iter().find(|row| row.name == name).map(|row| row.cure).unwrap_or_default();
    format!("{}\n{cure}", problem.detail).trim_end().to_owned()
}
