//! Proofs over the log, RFC 9162: leaves, roots and paths are SHA-256 in hex.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// That an entry is among the first `size` entries under `root`.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct InclusionProof {
    pub entry: u64,
    pub size: u64,
    /// SHA-256 of a zero byte and the entry's line.
    pub leaf: String,
    /// From the leaf to the root.
    pub path: Vec<String>,
    pub root: String,
}

/// That the log of `from` entries under `from_root` is what the log of `to` entries under `to_root` begins with.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct ConsistencyProof {
    pub from: u64,
    pub to: u64,
    pub from_root: String,
    pub to_root: String,
    pub path: Vec<String>,
}
