//! Sets of reachable sums.

/// Numbers from 0 to `limit` as a set of bits.
#[derive(Debug, Clone, Default, PartialEq)]
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

    /// The members of this set and each of them plus up to `count` times `length`, as far as they are within the limit. One set
    /// is read and another written: that goes many words at a time.
    pub(super) fn extended(&self, length: usize, count: usize) -> Self {
        let mut next = self.or_shifted(length, Vec::with_capacity(self.words.len()));
        let mut spare = Vec::new();
        let mut have = 2;
        while have <= count {
            let step = have.min(count + 1 - have);
            let further = next.or_shifted(step * length, spare);
            spare = std::mem::replace(&mut next, further).words;
            have += step;
        }
        if count == 0 { self.clone() } else { next }
    }

    /// The members and each of them plus `by`, in `words`.
    fn or_shifted(&self, by: usize, mut words: Vec<u64>) -> Self {
        let (skip, bits) = ((by / 64).min(self.words.len()), by % 64);
        let (below, above) = self.words.split_at(skip);
        words.clear();
        words.extend_from_slice(below);
        if bits == 0 {
            words.extend(above.iter().zip(&self.words).map(|(word, moved)| word | moved));
        } else if let (Some(first), Some(lowest)) = (above.first(), self.words.first()) {
            words.push(first | lowest << bits);
            let pairs = self.words.iter().zip(&self.words[1..]);
            let moved = pairs.map(|(low, high)| high << bits | low >> (64 - bits));
            words.extend(above[1..].iter().zip(moved).map(|(word, moved)| word | moved));
        }
        Self { words, limit: self.limit }
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
            sums = sums.extended(*length, count);
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
        assert_eq!(sums.extended(9, 0), sums);
        for top in [0, 1, 6, 7, 63, 64, 65, 127, 128, 499, 500] {
            let best = (0..=top).rev().find(|sum| plain[*sum]).unwrap();
            assert_eq!(sums.largest_up_to(top), best);
        }
    }
}
