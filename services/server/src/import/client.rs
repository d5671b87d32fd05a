//! The server as a client sees it: the few REST calls that an import needs.

use reqwest::blocking::{RequestBuilder, Response};
use serde::{Deserialize, de::DeserializeOwned};
use serde_json::{Value, json, value::RawValue};
use shared_types::{BatchResult, Code, Decided, DryRun, Entry, Problem, ThingName};
use std::time::Duration;

use crate::{cli::rest::without_a_token, http::in_a_path};

/// Talks to one server.
pub(crate) struct Client {
    http: reqwest::blocking::Client,
    base: String,
    token: Option<String>,
}

/// Why there is no answer, in words.
pub(crate) type Unanswered = String;

/// One page of stored lines.
#[derive(Deserialize)]
struct Lines {
    items: Vec<Box<RawValue>>,
    #[serde(default)]
    next: Option<String>,
    as_of_seq: u64,
}

/// What asks a server, and the address that its paths stand behind.
pub(crate) fn caller(server: &str) -> Result<(reqwest::blocking::Client, String), Unanswered> {
    let base = server.trim().trim_end_matches('/').to_owned();
    if !base.starts_with("http://") {
        return Err(format!("\"{server}\" is no address of a server here; write it as http://127.0.0.1:8787"));
    }
    let http = reqwest::blocking::Client::builder().no_proxy().timeout(Duration::from_secs(60)).build();
    http.map(|http| (http, base)).map_err(|error| format!("no connections can be made: {error}"))
}

impl Client {
    /// `server` is such as `http://127.0.0.1:8787`.
    pub(crate) fn new(server: &str, token: Option<&str>) -> Result<Client, Unanswered> {
        let (http, base) = caller(server)?;
        let token = token.map(|token| token.trim().to_owned()).filter(|token| !token.is_empty());
        Ok(Client { http, base, token })
    }

    /// Under whose badge a token writes; nothing without one.
    pub(crate) fn badge(&self) -> Result<Option<Code>, Unanswered> {
        #[derive(Deserialize)]
        struct Me {
            badge: Code,
        }
        match &self.token {
            None => Ok(None),
            Some(_) => Ok(self.get::<Me>("/api/v1/me")?.map(|me| me.badge)),
        }
    }

    /// Why this may not be written, by what the server would answer; nothing is written.
    pub(crate) fn not_allowed(&self, posted: &Value) -> Result<Option<Problem>, Unanswered> {
        let answer = match posted.get("decide") {
            Some(_) => self.post::<DryRun>("/api/v1/decisions?dry_run=true", posted)?,
            None => self.post::<DryRun>("/api/v1/entries?dry_run=true", &json!({ "entries": [posted] }))?,
        };
        Ok(answer.err().filter(|problem| problem.kind.ends_with("/not-allowed")))
    }

    /// The number of the log's last entry.
    pub(crate) fn end_of_log(&self) -> Result<u64, Unanswered> {
        Ok(self.get::<Lines>("/api/v1/entries?limit=1")?.map_or(0, |log| log.as_of_seq))
    }

    /// All entries of one thing; none if nobody ever mentioned it.
    pub(crate) fn entries(&self, thing: &ThingName) -> Result<Vec<Entry>, Unanswered> {
        let mut entries = Vec::new();
        let mut path = format!("/api/v1/things/{}/entries", in_a_path(thing));
        loop {
            let Some(page) = self.get::<Lines>(&path)? else { return Ok(entries) };
            for line in &page.items {
                let entry = Entry::read(line.get().as_bytes());
                entries.push(
                    entry.map_err(|error| format!("{thing} has an entry that this program can't read: {error}"))?,
                );
            }
            match page.next {
                Some(next) => path = next,
                None => return Ok(entries),
            }
        }
    }

    pub(crate) fn decide(&self, decision: &Value) -> Result<Result<Decided, Problem>, Unanswered> {
        self.post("/api/v1/decisions", decision)
    }

    pub(crate) fn facts(&self, facts: &[Value]) -> Result<Result<BatchResult, Problem>, Unanswered> {
        self.post("/api/v1/entries", &json!({ "entries": facts }))
    }

    /// Nothing for a 404.
    fn get<T: DeserializeOwned>(&self, path: &str) -> Result<Option<T>, Unanswered> {
        let answer = self.send(self.http.get(format!("{}{path}", self.base)))?;
        match answer.status().as_u16() {
            200 => answer.json().map(Some).map_err(|error| self.strange(&error)),
            404 => Ok(None),
            status => Err(self.refused(status, answer.json().ok())),
        }
    }

    fn post<T: DeserializeOwned>(&self, path: &str, body: &Value) -> Result<Result<T, Problem>, Unanswered> {
        let answer = self.send(self.http.post(format!("{}{path}", self.base)).json(body))?;
        match answer.status().as_u16() {
            200 | 201 | 207 => answer.json().map(Ok).map_err(|error| self.strange(&error)),
            status => match answer.json::<Problem>() {
                Ok(problem) if status < 500 && status != 401 => Ok(Err(problem)),
                problem => Err(self.refused(status, problem.ok())),
            },
        }
    }

    fn send(&self, request: RequestBuilder) -> Result<Response, Unanswered> {
        let request = match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        };
        request.send().map_err(|error| self.unreachable(&error))
    }

    fn unreachable(&self, error: &reqwest::Error) -> String {
        match error.is_connect() {
            true => format!("nobody answers at {}; is `rimebook serve` running there?", self.base),
            false => {
                format!("{} did not answer: {error}; run the import again, it goes on where it stopped", self.base)
            }
        }
    }

    fn strange(&self, error: &reqwest::Error) -> String {
        format!("{} does not answer as a rimebook of this version does: {error}", self.base)
    }

    fn refused(&self, status: u16, problem: Option<Problem>) -> String {
        if status == 401 && self.token.is_none() {
            return without_a_token("read and to write facts and decisions");
        }
        let detail = problem.map_or_else(|| format!("status {status}"), |problem| problem.detail);
        format!("{}: {detail}", self.base)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_that_is_none_is_said_so() {
        assert!(Client::new("localhost:8787", None).is_err_and(|say| say.contains("http://")));
    }
}
