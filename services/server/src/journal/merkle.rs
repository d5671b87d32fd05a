//! The tree of RFC 9162, section 2.1: its root says in 32 bytes which lines the journal holds, in which order.

use sha2::{Digest, Sha256};

pub type Hash = [u8; 32];

/// The hash of one line, without its newline.
pub fn leaf(line: &[u8]) -> Hash {
    Sha256::new().chain_update([0]).chain_update(line).finalize().into()
}

/// The hash of two neighbours.
pub fn node(left: &Hash, right: &Hash) -> Hash {
    Sha256::new().chain_update([1]).chain_update(left).chain_update(right).finalize().into()
}

/// The tree as it grows to the right: only the roots of its full subtrees are kept, the largest first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tree {
    size: u64,
    peaks: Vec<Hash>,
}

impl Tree {
    /// The number of leaves.
    pub fn size(&self) -> u64 {
        self.size
    }

    pub fn push(&mut self, leaf: Hash) {
        let mut hash = leaf;
        // Every one at the end of the size in binary is a full subtree that the new leaf completes to a larger one.
        for _ in 0..self.size.trailing_ones() {
            if let Some(left) = self.peaks.pop() {
                hash = node(&left, &hash);
            }
        }
        self.peaks.push(hash);
        self.size += 1;
    }

    /// The root over all leaves so far; that of an empty tree is the hash of nothing.
    pub fn root(&self) -> Hash {
        match self.peaks.split_last() {
            Some((smallest, larger)) => larger.iter().rev().fold(*smallest, |right, left| node(left, &right)),
            None => Sha256::digest([]).into(),
        }
    }
}
