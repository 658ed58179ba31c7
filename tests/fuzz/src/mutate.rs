//! Mutations of inputs: of bytes, and of what such texts are made of.

use becket_e2e::random::Random;

/// Texts that readers stumble over.
const PIECES: [&str; 18] = [
    "0",
    "-1",
    "1e308",
    "nan",
    "inf",
    "-0.0",
    "9223372036854775808",
    "2026-02-30",
    "\"\"",
    "[",
    "{",
    "=",
    ",",
    "\u{0}",
    "\u{feff}",
    "\r\n",
    "#",
    "é\u{301}",
];
/// Longest input that is made.
const LONGEST: usize = 1 << 16;

/// Makes new inputs from known ones.
#[derive(Debug)]
pub struct Mutator {
    random: Random,
    corpus: Vec<Vec<u8>>,
}

impl Mutator {
    /// Begins with these inputs. There must be one at least.
    #[must_use]
    pub fn new(seed: u64, corpus: Vec<Vec<u8>>) -> Self {
        assert!(!corpus.is_empty(), "a corpus without inputs");
        Self { random: Random::new(seed), corpus }
    }

    /// The next input: one of the corpus after one to eight changes.
    pub fn next_input(&mut self) -> Vec<u8> {
        let mut input = self.random.choose(&self.corpus).clone();
        for _ in 0..=self.random.below(8) {
            self.change(&mut input);
        }
        input.truncate(LONGEST);
        input
    }

    fn change(&mut self, input: &mut Vec<u8>) {
        let random = &mut self.random;
        let at = random.below(input.len() + 1);
        let end = (at + random.below(40)).min(input.len());
        match random.below(8) {
            0 => {
                if let Some(byte) = input.get_mut(at) {
                    *byte ^= 1 << random.below(8);
                }
            }
            1 => drop(input.drain(at..end)),
            2 => {
                let bytes = random.bytes(8);
                drop(input.splice(at..at, bytes));
            }
            3 => {
                let piece = random.choose(&PIECES).as_bytes().to_vec();
                drop(input.splice(at..at, piece));
            }
            4 => {
                let copy = input[at..end].to_vec();
                let to = random.below(input.len() + 1);
                drop(input.splice(to..to, copy));
            }
            5 => {
                let other = random.choose(&self.corpus);
                let from = random.below(other.len() + 1);
                let to = (from + random.below(200)).min(other.len());
                let part = other[from..to].to_vec();
                drop(input.splice(at..end, part));
            }
            _ => replace_number(input, at, random),
        }
    }
}

/// Puts another number in place of the next one.
fn replace_number(input: &mut Vec<u8>, at: usize, random: &mut Random) {
    let Some(begin) = input[at..].iter().position(u8::is_ascii_digit).map(|found| at + found) else { return };
    let length = input[begin..].iter().take_while(|byte| byte.is_ascii_digit() || **byte == b'.').count();
    let piece = match random.below(3) {
        0 => random.number().to_string(),
        1 => (*random.choose(&PIECES)).to_owned(),
        _ => random.below(300).to_string(),
    };
    drop(input.splice(begin..begin + length, piece.into_bytes()));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inputs_follow_from_the_seed_and_differ() {
        let corpus = vec![b"speaking_mm = 1067.0".to_vec(), b"note = 27".to_vec()];
        let mut one = Mutator::new(5, corpus.clone());
        let mut two = Mutator::new(5, corpus);
        let inputs: Vec<_> = (0..200).map(|_| one.next_input()).collect();
        assert!(inputs.iter().all(|input| *input == two.next_input()));
        let different: std::collections::BTreeSet<_> = inputs.iter().collect();
        assert!(different.len() > 150, "{}", different.len());
    }
}
