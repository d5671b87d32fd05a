//! Proofs of RFC 9162: that an entry is in the log (section 2.1.3.1), and that the log only grew (section 2.1.4.1).
//!
//! The root of every so many lines that stand for ever is kept once it was needed, so that a proof reads few of them.

use std::{
    io,
    sync::{Mutex, PoisonError},
};

use super::{
    Reader,
    merkle::{Hash, Tree, leaf, node},
};

/// Lines under one root that is kept; a power of two.
const BLOCK: u64 = 256;

#[derive(Default)]
pub struct Proofs {
    blocks: Mutex<Vec<Hash>>,
}

impl Proofs {
    /// The root over the first `size` entries; all of them are durable.
    pub fn root(&self, reader: &Reader, size: u64) -> io::Result<Hash> {
        self.over(reader, 0, size)
    }

    /// The hashes that lead from an entry's leaf to the root over the first `size` entries: `1 <= seq <= size`.
    pub fn inclusion(&self, reader: &Reader, seq: u64, size: u64) -> io::Result<Vec<Hash>> {
        let at = seq.checked_sub(1).filter(|at| *at < size).ok_or(io::ErrorKind::InvalidInput)?;
        let (mut from, mut to, mut path) = (0, size, Vec::new());
        while 1 < to - from {
            let middle = from + split(to - from);
            if at < middle {
                path.push(self.over(reader, middle, to)?);
                to = middle;
            } else {
                path.push(self.over(reader, from, middle)?);
                from = middle;
            }
        }
        path.reverse();
        Ok(path)
    }

    /// The hashes that show that the first `old` of `size` entries are the first entries still: `1 <= old <= size`.
    pub fn consistency(&self, reader: &Reader, old: u64, size: u64) -> io::Result<Vec<Hash>> {
        if old == 0 || size < old {
            return Err(io::ErrorKind::InvalidInput.into());
        }
        let (mut from, mut to, mut whole, mut path) = (0, size, true, Vec::new());
        while old != to {
            let middle = from + split(to - from);
            if old <= middle {
                path.push(self.over(reader, middle, to)?);
                to = middle;
            } else {
                path.push(self.over(reader, from, middle)?);
                from = middle;
                whole = false;
            }
        }
        // Who asks has the old root itself.
        if !whole {
            path.push(self.over(reader, from, to)?);
        }
        path.reverse();
        Ok(path)
    }

    /// The root over the lines behind `from` up to `to`, counted from 0.
    fn over(&self, reader: &Reader, from: u64, to: u64) -> io::Result<Hash> {
        match to - from {
            BLOCK if from.is_multiple_of(BLOCK) => self.block(reader, from / BLOCK),
            0..=BLOCK => read(reader, from, to),
            many => {
                let middle = from + split(many);
                Ok(node(&self.over(reader, from, middle)?, &self.over(reader, middle, to)?))
            }
        }
    }

    fn block(&self, reader: &Reader, number: u64) -> io::Result<Hash> {
        let mut blocks = self.blocks.lock().unwrap_or_else(PoisonError::into_inner);
        let number = usize::try_from(number).map_err(io::Error::other)?;
        loop {
            if let Some(known) = blocks.get(number) {
                return Ok(*known);
            }
            let from = blocks.len() as u64 * BLOCK;
            blocks.push(read(reader, from, from + BLOCK)?);
        }
    }
}

/// The largest power of two below a number of leaves.
fn split(leaves: u64) -> u64 {
    1 << (leaves - 1).checked_ilog2().unwrap_or(0)
}

fn read(reader: &Reader, from: u64, to: u64) -> io::Result<Hash> {
    let mut tree = Tree::default();
    while from + tree.size() < to {
        let next = from + tree.size();
        let lines = reader.lines(next + 1, usize::try_from(to - next).map_err(io::Error::other)?)?;
        if lines.is_empty() {
            return Err(io::Error::new(io::ErrorKind::NotFound, format!("the journal has no entry {}", next + 1)));
        }
        lines.iter().for_each(|line| tree.push(leaf(line)));
    }
    Ok(tree.root())
}

#[cfg(test)]
mod tests {
    use super::split;

    #[test]
    fn the_left_tree_is_the_largest_full_one_that_leaves_something() {
        for (leaves, left) in [(2, 1), (3, 2), (4, 2), (5, 4), (8, 4), (9, 8), (257, 256), (512, 256)] {
            assert_eq!(split(leaves), left, "{leaves}");
        }
    }
}
