//! The partials of a stepped string, one after the other, each proved by the count.

use std::f64::consts::PI;

use super::{
    root::{self, Guess},
    sweep::{Span, sweep},
};

/// Half the width, over the frequency, within which the count must find a partial. The rounding of a sweep is a
/// hundred times smaller for a real string.
const WIDTH: f64 = 1e-12;

/// Returns the first `count` partials in the unit of the sweep, or `None` where the arguments are so extreme
/// that the arithmetic fails.
///
/// Each is guessed, refined by secants on the phase, and proved: the count must be one less than its number just
/// below it and its number just above. So none is missed and none is found twice, whatever the secants did. Where the
/// proof fails the partial is found by bisection of the count.
pub(super) fn partials(spans: &[Span], count: u32) -> Option<Vec<f64>> {
    let mut found = Vec::with_capacity(count as usize);
    let mut guesses = Guesses::new(spans);
    let mut low = 0.0;
    let mut slope = None;
    for number in 1..=count {
        let (start, spacing) = guesses.next(spans);
        let slope_guess = slope.unwrap_or(PI / spacing);
        let guess = Guess { low, high: f64::INFINITY, start, slope: slope_guess, scale: spacing };
        let below = |omega: f64| Some(sweep(spans, omega)?.below);
        let proved = |root: f64| {
            below(root * (1.0 - WIDTH)) == Some(number - 1) && below(root * (1.0 + WIDTH)) == Some(number)
        };
        let root = root::find(guess, |omega| {
            let sample = sweep(spans, omega)?;
            Some((sample.phase, sample.below >= number))
        });
        let partial = match root {
            Some(root) if proved(root.at) => {
                slope = Some(root.slope);
                root.at
            }
            // The slope found led astray: the next search starts from the spacing again.
            _ => {
                slope = None;
                root::bisect(low, spacing, |omega| Some(below(omega)? >= number))?
            }
        };
        low = partial;
        guesses.learn(partial);
        found.push(partial);
    }
    Some(found)
}

/// First guesses: the frequency at which a sine of n half waves, over the string's whole length, has the same
/// greatest potential and kinetic energy (Rayleigh), times the quotient learnt from the partials before.
struct Guesses {
    length: f64,
    number: u32,
    /// Rayleigh's frequencies of this partial and of the next.
    this: f64,
    next: f64,
    /// Found over guessed, of the last two partials.
    quotients: [f64; 2],
}

impl Guesses {
    fn new(spans: &[Span]) -> Self {
        let length = spans.iter().map(|span| span.length).sum();
        Self { length, number: 0, this: 0.0, next: rayleigh(spans, length, 1), quotients: [1.0; 2] }
    }

    /// The next partial and the distance to the one after.
    fn next(&mut self, spans: &[Span]) -> (f64, f64) {
        self.number += 1;
        self.this = self.next;
        self.next = rayleigh(spans, self.length, self.number + 1);
        let [older, last] = self.quotients;
        // Smooth for a real string; elsewhere the line through two quotients may lead anywhere.
        let quotient = last + (last - older).clamp(-0.1 * last, 0.1 * last);
        // Where the density varies wildly over the length, Rayleigh's frequencies need not even rise.
        let spacing = (self.next - self.this).max(0.2 * self.this / f64::from(self.number));
        (self.this * quotient, spacing * quotient)
    }

    fn learn(&mut self, partial: f64) {
        let quotient = partial / self.this;
        let last = if self.number == 1 { quotient } else { self.quotients[1] };
        self.quotients = [last, quotient];
    }
}

/// Rayleigh's quotient of `sin(nπx/L)`, in the unit of the sweep: never below the first partial if n is 1.
pub(super) fn rayleigh(spans: &[Span], length: f64, number: u32) -> f64 {
    let wave = f64::from(number) * PI / length;
    // Twice the integral of density times the sine's square.
    let (mut mass, mut at, mut sine) = (0.0, 0.0, 0.0);
    for span in spans {
        at += span.length;
        let next = (2.0 * wave * at).sin() / (2.0 * wave);
        mass += span.ratio * (span.length - (next - sine));
        sine = next;
    }
    wave * ((wave * wave + 1.0) * length / mass).sqrt()
}
