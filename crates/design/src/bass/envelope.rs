//! The least of many parabolas of one width.

/// The lower envelope of f_i + γ·(x − t_i)²: where each parabola is the least one.
#[derive(Debug, Default)]
pub(crate) struct Envelope {
    /// Vertex t, height f and the caller's number of each parabola that is least somewhere, by rising t.
    parts: Vec<Part>,
}

#[derive(Debug, Clone, Copy)]
struct Part {
    vertex: f64,
    height: f64,
    id: u32,
    /// From here on to the next part's `from` it is the least.
    from: f64,
}

impl Envelope {
    /// Builds the envelope of parabolas with vertices that do not fall, in linear time. γ is 0 or above; with 0 the
    /// parabolas are level and the lowest is least everywhere.
    ///
    /// Of parabolas that are equal at a place the earlier one is kept.
    pub(crate) fn build(&mut self, gamma: f64, parabolas: impl Iterator<Item = (f64, f64, u32)>) {
        self.parts.clear();
        for (vertex, height, id) in parabolas {
            let mut from = f64::NEG_INFINITY;
            let mut hidden = false;
            while let Some(last) = self.parts.last() {
                if gamma == 0.0 || vertex <= last.vertex {
                    // One of the two is below the other everywhere.
                    if last.height <= height {
                        hidden = true;
                        break;
                    }
                    self.parts.pop();
                    continue;
                }
                from = crossing(gamma, last, vertex, height);
                if from > last.from {
                    break;
                }
                self.parts.pop();
                from = f64::NEG_INFINITY;
            }
            if !hidden {
                self.parts.push(Part { vertex, height, id, from });
            }
        }
    }

    /// Reads the envelope at places that do not fall.
    pub(crate) const fn reader(&self, gamma: f64) -> Reader<'_> {
        Reader { envelope: self, gamma, at: 0 }
    }
}

/// Where two parabolas meet. The midpoint and a correction lose fewer digits than a quotient of differences of squares.
fn crossing(gamma: f64, last: &Part, vertex: f64, height: f64) -> f64 {
    0.5 * (last.vertex + vertex) + (height - last.height) / (2.0 * gamma * (vertex - last.vertex))
}

/// Reads an envelope from left to right.
#[derive(Debug)]
pub(crate) struct Reader<'a> {
    envelope: &'a Envelope,
    gamma: f64,
    at: usize,
}

impl Reader<'_> {
    /// Least value at `x`, which is not left of the place before, and whose it is; `None` for no parabolas.
    pub(crate) fn least(&mut self, x: f64) -> Option<(f64, u32)> {
        while self.envelope.parts.get(self.at + 1).is_some_and(|next| next.from < x) {
            self.at += 1;
        }
        let part = self.envelope.parts.get(self.at)?;
        let d = x - part.vertex;
        Some((part.height + self.gamma * d * d, part.id))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn is_the_least_of_all(
            gamma in prop_oneof![Just(0.0), 1e-6..1e3_f64],
            mut vertices in prop::collection::vec((-5.0..5.0_f64, 0.0..2.0_f64), 1..40),
            mut places in prop::collection::vec(-10.0..10.0_f64, 1..40),
        ) {
            // Repeated vertices occur in stocks with equal sizes.
            let repeated = vertices[0];
            vertices.push((repeated.0, repeated.1 / 2.0));
            vertices.sort_by(|a, b| a.0.total_cmp(&b.0));
            places.sort_by(f64::total_cmp);
            let mut envelope = Envelope::default();
            envelope.build(gamma, (0..).zip(&vertices).map(|(id, &(t, f))| (t, f, id)));
            let mut reader = envelope.reader(gamma);
            for x in places {
                let least = vertices.iter().map(|(t, f)| f + gamma * (x - t) * (x - t)).fold(f64::INFINITY, f64::min);
                let (found, id) = reader.least(x).unwrap();
                prop_assert!((found - least).abs() <= 1e-9 * (1.0 + least), "{found} {least}");
                let (t, f) = vertices[usize::try_from(id).unwrap()];
                prop_assert_eq!(found, f + gamma * (x - t) * (x - t));
            }
        }
    }

    #[test]
    fn nothing_has_no_least() {
        assert_eq!(Envelope::default().reader(1.0).least(0.0), None);
    }
}
