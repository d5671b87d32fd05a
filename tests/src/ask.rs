//! The one question that is asked of the product, and how it is asked over HTTP.

use serde_json::{Value, json};

use crate::histories::time;
use crate::stepper::Question;

/// Whoever answers "may I use it?".
pub trait Ask {
    /// The answer as the API gives it, or its problem with a `status`.
    fn may_use(&self, question: &Question) -> Value;
}

/// A server, by its address: `http://127.0.0.1:40123`.
pub struct OverHttp {
    client: reqwest::blocking::Client,
    base: String,
}

impl OverHttp {
    pub fn new(base: &str) -> Self {
        OverHttp { client: reqwest::blocking::Client::new(), base: base.trim_end_matches('/').to_owned() }
    }
}

impl Ask for OverHttp {
    fn may_use(&self, question: &Question) -> Value {
        let Question { thing, act, stage, job, known, .. } = question;
        let named = |key: &str, of: &Option<String>| of.as_ref().map_or(String::new(), |of| format!("&{key}={of}"));
        let (stage, job) = (named("stage", stage), named("job", job));
        let (base, at) = (&self.base, time(question.at));
        let url = format!("{base}/api/v1/things/{thing}/may-use?act={act}{stage}{job}&at={at}&known={known}");
        let response = self.client.get(&url).send().unwrap_or_else(|error| panic!("{error}: {url}"));
        let status = response.status().as_u16();
        let text = response.text().unwrap_or_else(|error| panic!("{error}: {url}"));
        let mut answer: Value =
            serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error}: {url} answered {status} {text}"));
        if status != 200 {
            answer["status"] = json!(status);
        }
        answer
    }
}
