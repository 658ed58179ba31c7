//! Sets of reachable sums.

/// Numbers from 0 to `limit` as a set of bits.
#[derive(Debug, Clone, Default)]
pub(super) struct Sums {
    words: Vec<u64>,
    limit: usize,
}

impl Sums {
    /// The set of 0 alone.
    pub(super) fn zero(limit: usize) -> Self {
        let mut words = vec![0; limit / 64 + 1];
        words[0] = 1;
        Self { words, limit }
    }

    pub(super) fn contains(&self, sum: usize) -> bool {
        sum <= self.limit && self.words[sum / 64] >> (sum % 64) & 1 == 1
    }

    /// Adds every member plus `by`, as far as it is within the limit.
    fn or_shifted(&mut self, by: usize) {
        let (skip, bits) = (by / 64, by % 64);
        for target in (skip..self.words.len()).rev() {
            let source = target - skip;
            let mut word = self.words[source] << bits;
            if bits > 0 && source > 0 {
                word |= self.words[source - 1] >> (64 - bits);
            }
            self.words[target] |= word;
        }
    }

    /// Adds every member plus up to `count` times `length`.
    pub(super) fn extend(&mut self, length: usize, count: usize) {
        let mut have = 1;
        while have <= count {
            let step = have.min(count + 1 - have);
            self.or_shifted(step * length);
            have += step;
        }
    }

    /// The largest member that is at most `top`.
    pub(super) fn largest_up_to(&self, top: usize) -> usize {
        let top = top.min(self.limit);
        let mut index = top / 64;
        let mut word = self.words[index] & (u64::MAX >> (63 - top % 64));
        while word == 0 && index > 0 {
            index -= 1;
            word = self.words[index];
        }
        if word == 0 { 0 } else { index * 64 + 63 - word.leading_zeros() as usize }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_are_those_of_plain_enumeration() {
        let (lengths, counts) = ([7usize, 64, 130], [5usize, 2, 3]);
        let mut sums = Sums::zero(500);
        for (length, count) in lengths.iter().zip(counts) {
            sums.extend(*length, count);
        }
        let mut plain = vec![false; 501];
        for (a, b, c) in (0..=5).flat_map(|a| (0..=2).flat_map(move |b| (0..=3).map(move |c| (a, b, c)))) {
            let sum: usize = a * 7 + b * 64 + c * 130;
            if sum <= 500 {
                plain[sum] = true;
            }
        }
        for (sum, reachable) in plain.iter().enumerate() {
            assert_eq!(sums.contains(sum), *reachable, "{sum}");
        }
        for top in [0, 1, 6, 7, 63, 64, 65, 127, 128, 499, 500] {
            let best = (0..=top).rev().find(|sum| plain[*sum]).unwrap();
            assert_eq!(sums.largest_up_to(top), best);
        }
    }
}
