//! A small generator of numbers that look random and are the same for the same seed.

use uuid::{Builder, Uuid};

/// Counts on in steps of an odd number and mixes the bits of what it counted.
#[derive(Debug)]
pub(super) struct Rng(u64);

impl Rng {
    pub(super) fn new(seed: u64) -> Rng {
        Rng(seed)
    }

    pub(super) fn next(&mut self) -> u64 {
        // An odd step visits every number once; two rounds of multiply and fold spread each bit over all of them.
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let folded = (self.0 ^ (self.0 >> 32)).wrapping_mul(0xd6e8_feb8_6659_fd93);
        let folded = (folded ^ (folded >> 32)).wrapping_mul(0xd6e8_feb8_6659_fd93);
        folded ^ (folded >> 32)
    }

    /// One of `least..=most`.
    pub(super) fn between(&mut self, least: i64, most: i64) -> i64 {
        let span = u64::try_from(most.saturating_sub(least)).unwrap_or_default().saturating_add(1);
        least.saturating_add(i64::try_from(self.next() % span).unwrap_or_default())
    }

    pub(super) fn id(&mut self) -> Uuid {
        let bytes = (u128::from(self.next()) << 64) | u128::from(self.next());
        Builder::from_random_bytes(bytes.to_be_bytes()).into_uuid()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_seed_gives_the_same_numbers_and_another_gives_others() {
        let numbers = |seed| {
            let mut rng = Rng::new(seed);
            (0..100).map(|_| rng.between(-3, 3)).collect::<Vec<_>>()
        };
        assert_eq!(numbers(7), numbers(7));
        assert_ne!(numbers(7), numbers(8));
        assert!((-3..=3).all(|number| numbers(7).contains(&number)));
    }
}
