//! A small random number generator, so that a seed gives the same history for ever.

/// Xorshift with a multiplication at the end (George Marsaglia, "Xorshift RNGs", 2003; constants from memory).
pub(super) struct Random {
    state: u64,
}

impl Random {
    pub(super) fn new(seed: u64) -> Self {
        let mut random = Random { state: seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1 };
        (0..8).for_each(|_| _ = random.next());
        random
    }

    pub(super) fn next(&mut self) -> u64 {
        self.state ^= self.state >> 12;
        self.state ^= self.state << 25;
        self.state ^= self.state >> 27;
        self.state.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    /// From `low` to `high`, both included.
    pub(super) fn between(&mut self, low: i64, high: i64) -> i64 {
        low + (self.next() >> 33) as i64 % (high - low + 1)
    }

    pub(super) fn chance(&mut self, percent: i64) -> bool {
        self.between(1, 100) <= percent
    }

    pub(super) fn pick<'a, T: ?Sized>(&mut self, from: &[&'a T]) -> &'a T {
        from[self.between(0, from.len() as i64 - 1) as usize]
    }

    /// In the form of a random UUID (RFC 9562, version 4).
    pub(super) fn uuid(&mut self) -> String {
        let (high, low) = (self.next(), self.next());
        format!(
            "{:08x}-{:04x}-4{:03x}-{:04x}-{:012x}",
            high >> 32,
            (high >> 16) & 0xffff,
            high & 0xfff,
            0x8000 | (low >> 50),
            low & 0xffff_ffff_ffff
        )
    }
}
