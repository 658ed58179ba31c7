//! Targets given as a curve over the notes.

use crate::check::{Faults, NOTE};
use crate::error::DesignError;

/// Values along the notes, such as a course of tension: a few points, and straight lines in the logarithm between.
///
/// # Examples
/// ```
/// use becket_design::Curve;
/// let tension_n = Curve::new(&[(1, 1600.0), (21, 900.0)])?;
/// assert!((tension_n.at(11) - 1200.0).abs() < 1e-9); // √(1600·900)
/// assert_eq!(tension_n.at(30), 900.0);
/// assert!(Curve::new(&[(5, 900.0), (5, 800.0)]).is_err());
/// # Ok::<(), becket_design::DesignError>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Curve {
    first: (i16, f64),
    more: Vec<(i16, f64)>,
}

impl Curve {
    /// Takes points by rising note, 1 to 100 of them, with values of 10⁻⁹ to 10⁹.
    ///
    /// # Errors
    /// [`DesignError::Faults`] with every point that is out of range or not above the one before.
    pub fn new(points: &[(i16, f64)]) -> Result<Self, DesignError> {
        let mut faults = Faults::default();
        faults.count("points", points.len(), 100);
        for (at, (note, value)) in points.iter().enumerate() {
            if !(NOTE.0..=NOTE.1).contains(note) {
                faults.add(format!("points[{at}].note"), note, format!("{} to {}", NOTE.0, NOTE.1));
            }
            faults.range(format!("points[{at}].value"), *value, (1e-9, 1e9), "");
        }
        for (at, pair) in points.windows(2).enumerate() {
            if let [(below, _), (above, _)] = pair
                && above <= below
            {
                faults.add(format!("points[{}].note", at + 1), above, format!("above {below}"));
            }
        }
        faults.finish()?;
        // The count was checked above; an empty list never comes here.
        let (&first, more) = points.split_first().ok_or_else(|| DesignError::Faults(Vec::new()))?;
        Ok(Self { first, more: more.to_vec() })
    }

    /// Value at a note; before the first and after the last point it is theirs.
    #[must_use]
    pub fn at(&self, note: i16) -> f64 {
        let mut low = self.first;
        for &high in &self.more {
            if note < high.0 {
                let along = f64::from(note.max(low.0)) - f64::from(low.0);
                let share = along / (f64::from(high.0) - f64::from(low.0));
                return low.1 * (share * (high.1 / low.1).ln()).exp();
            }
            low = high;
        }
        low.1
    }
}
