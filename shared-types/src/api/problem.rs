//! A problem in words (RFC 9457).

use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::ToSchema;

/// `application/problem+json`. `detail` is the sentence a screen shows and says what to do.
#[derive(Serialize, Deserialize, Clone, PartialEq, Debug, ToSchema)]
pub struct Problem {
    /// A page of this server that says cause and cure: `/problems/<name>`.
    #[serde(rename = "type")]
    pub kind: String,
    pub title: String,
    pub status: u16,
    pub detail: String,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instance: Option<String>,
    /// Fields that could not be read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<FieldProblem>,
    /// Numbers and names behind the sentence.
    #[serde(flatten)]
    pub more: Map<String, Value>,
}

#[derive(Serialize, Deserialize, Clone, PartialEq, Debug, ToSchema)]
pub struct FieldProblem {
    /// A JSON pointer (RFC 6901) to the field of the body; of a parameter, its name behind a `/`.
    pub pointer: String,
    pub detail: String,
}
