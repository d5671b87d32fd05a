//! One file of the disk that loses power, and the chance that decides what is kept.

use std::collections::BTreeSet;

/// What a disk writes whole or not at all, in bytes.
pub(crate) const SECTOR: usize = 512;

/// Chance that repeats: the generator of Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014
/// (constants from memory; any would do).
pub(crate) struct Chance(pub(crate) u64);

impl Chance {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to one less than `end`.
    pub(crate) fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % u64::try_from(end).unwrap()).unwrap()
    }

    pub(crate) fn one_in(&mut self, n: usize) -> bool {
        self.below(n) == 0
    }
}

/// A file: as it is read now, and as it is on the disk.
#[derive(Default)]
pub(crate) struct Content {
    pub(crate) bytes: Vec<u8>,
    pub(crate) durable: Vec<u8>,
    dirty: BTreeSet<usize>,
    dirty_length: bool,
}

impl Content {
    pub(crate) fn durable(bytes: Vec<u8>) -> Self {
        Self { durable: bytes.clone(), bytes, ..Self::default() }
    }

    pub(crate) fn write(&mut self, bytes: &[u8], at: usize) {
        if self.bytes.len() < at + bytes.len() {
            self.set_len(at + bytes.len());
        }
        self.bytes[at..at + bytes.len()].copy_from_slice(bytes);
        if !bytes.is_empty() {
            self.dirty.extend(at / SECTOR..=(at + bytes.len() - 1) / SECTOR);
        }
    }

    pub(crate) fn set_len(&mut self, length: usize) {
        let before = self.bytes.len();
        self.bytes.resize(length, 0);
        self.dirty_length = true;
        if before < length {
            self.dirty.extend(before / SECTOR..length.div_ceil(SECTOR));
        } else {
            self.dirty.retain(|sector| sector * SECTOR < length);
        }
    }

    /// Writes one sector out to the disk.
    fn land(&mut self, sector: usize) {
        let end = self.bytes.len().min((sector + 1) * SECTOR);
        if self.durable.len() < end {
            self.durable.resize(end, 0);
        }
        self.durable[sector * SECTOR..end].copy_from_slice(&self.bytes[sector * SECTOR..end]);
    }

    pub(crate) fn sync(&mut self) {
        for sector in std::mem::take(&mut self.dirty) {
            self.land(sector);
        }
        if std::mem::take(&mut self.dirty_length) {
            self.durable.resize(self.bytes.len(), 0);
        }
    }

    /// Some of what was not synced reaches the disk.
    pub(crate) fn land_some(&mut self, chance: &mut Chance) {
        for sector in std::mem::take(&mut self.dirty) {
            if chance.one_in(2) {
                self.land(sector);
            }
        }
        if std::mem::take(&mut self.dirty_length) && chance.one_in(2) {
            self.durable.resize(self.bytes.len(), 0);
        }
    }
}
