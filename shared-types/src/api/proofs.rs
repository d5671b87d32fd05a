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

/// How many entries the log has and the root over them, signed with the log's own key.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct SignedCheckpoint {
    /// The log's own name.
    pub origin: String,
    /// How many entries it stands over.
    pub size: u64,
    /// The root over them, SHA-256 in hex.
    pub root: String,
    /// The signed note, as it is kept and checked: origin, size and root (in base64), an empty line, the signature (C2SP:
    /// tlog-checkpoint and signed-note, Ed25519).
    pub checkpoint: String,
    /// The key that it is checked with, in one line: name, id and key. Keep the first one that you see.
    pub key: String,
    /// Whether the log goes on from the checkpoint that was asked about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seen: Option<SeenCheckpoint>,
}

/// A checkpoint that somebody kept, against the log as it is.
#[derive(Clone, PartialEq, Eq, Debug, Serialize, Deserialize, ToSchema)]
pub struct SeenCheckpoint {
    /// How many entries it stands over.
    pub size: u64,
    /// The log begins with those entries.
    pub continues: bool,
    /// The same in words.
    pub say: String,
    /// The path of RFC 9162, section 2.1.4, from there to this checkpoint: with it nobody has to believe `continues`.
    pub path: Vec<String>,
}
