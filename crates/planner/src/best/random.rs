//! A seeded sequence of numbers: searches that shuffle must do so alike on every machine.

/// The generator "splitmix64" (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators",
/// OOPSLA 2014; constants from memory).
#[derive(Debug, Clone)]
pub(super) struct Random(u64);

impl Random {
    pub(super) fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 to `below` − 1; 0 if `below` is 0.
    pub(super) fn below(&mut self, below: usize) -> usize {
        let below = below.max(1) as u64;
        usize::try_from(self.next() % below).unwrap_or_default()
    }

    /// Brings a list into another order.
    pub(super) fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            list.swap(last, self.below(last + 1));
        }
    }
}
