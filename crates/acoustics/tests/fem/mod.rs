//! A stepped stiff string as cubic Hermite beam elements, to count its partials by another road than the product's.
//!
//! Bending, geometric stiffness and consistent mass: J. S. Przemieniecki, Theory of Matrix Structural Analysis
//! (1968), chapters 11 and 15 (from memory). By Sylvester's law of inertia the partials below a frequency are the
//! negative pivots of `K − ω²·M`. The finite elements' partials are never below those of the string.

use std::f64::consts::{PI, TAU};

use becket_acoustics::SteppedString;

/// Free displacements touch their three neighbours on either side.
const BAND: usize = 4;

pub(crate) struct Elements {
    /// Size in m and density in kg/m of each.
    elements: Vec<(f64, f64)>,
    tension_n: f64,
    stiffness_n_m2: f64,
}

impl Elements {
    /// A mesh for partials near a frequency: fine at the ends and steps, where the shape bends within `√(E·I/T)`, and
    /// elsewhere of `4·fineness` elements to a half wave. A finer one would only lose digits.
    pub(crate) fn new(string: &SteppedString<'_>, near_hz: f64, fineness: f64) -> Self {
        let (tension, stiffness) = (string.tension_n, string.bending_stiffness_n_m2);
        let mut elements = Vec::new();
        for segment in string.segments.iter().filter(|segment| segment.length_mm > 0.0) {
            let half = 0.5e-3 * segment.length_mm;
            let inertia = 4.0 * stiffness * 1e-3 * segment.linear_density_g_m * (TAU * near_hz).powi(2);
            let wave = (((tension * tension + inertia).sqrt() - tension) / (2.0 * stiffness)).sqrt();
            let coarsest = PI / wave / (4.0 * fineness);
            let finest = ((stiffness / tension).sqrt() / fineness).min(coarsest);
            let (mut sizes, mut size, mut sum) = (vec![], finest, 0.0);
            while sum < half {
                sizes.push(size);
                sum += size;
                size = (1.2 * size).min(coarsest);
            }
            let mirrored = sizes.iter().chain(sizes.iter().rev());
            elements.extend(mirrored.map(|size| (size * half / sum, 1e-3 * segment.linear_density_g_m)));
        }
        Self { elements, tension_n: tension, stiffness_n_m2: stiffness }
    }

    /// Partials below a frequency.
    pub(crate) fn below(&self, hz: f64) -> u32 {
        let square = (TAU * hz).powi(2);
        // The lower band of the symmetric matrix by rows; 0 and the last but one are the ends' displacements.
        let order = 2 * self.elements.len() + 2;
        let mut rows = vec![[0.0; BAND]; order];
        for (index, &(size, density)) in self.elements.iter().enumerate() {
            let element = self.element(size, density, square);
            for (row, values) in element.iter().enumerate() {
                for (column, value) in values.iter().enumerate().take(row + 1) {
                    rows[2 * index + row][row - column] += value;
                }
            }
        }
        for pinned in [0, order - 2] {
            rows[pinned] = [1.0, 0.0, 0.0, 0.0];
            for row in pinned + 1..order.min(pinned + BAND) {
                rows[row][row - pinned] = 0.0;
            }
        }
        negative_pivots(&mut rows)
    }

    /// One partial, by bisection of the count between two frequencies.
    pub(crate) fn partial_hz(&self, number: u32, mut low: f64, mut high: f64) -> f64 {
        while high - low > 1e-8 * high {
            let middle = 0.5 * (low + high);
            if self.below(middle) >= number {
                high = middle;
            } else {
                low = middle;
            }
        }
        0.5 * (low + high)
    }

    /// Dynamic stiffness of one element, rotations times its size.
    fn element(&self, size: f64, density: f64, square: f64) -> [[f64; 4]; 4] {
        const BENDING: [[f64; 4]; 4] = [
            [12.0, 6.0, -12.0, 6.0],
            [6.0, 4.0, -6.0, 2.0],
            [-12.0, -6.0, 12.0, -6.0],
            [6.0, 2.0, -6.0, 4.0],
        ];
        const GEOMETRIC: [[f64; 4]; 4] = [
            [36.0, 3.0, -36.0, 3.0],
            [3.0, 4.0, -3.0, -1.0],
            [-36.0, -3.0, 36.0, -3.0],
            [3.0, -1.0, -3.0, 4.0],
        ];
        const MASS: [[f64; 4]; 4] = [
            [156.0, 22.0, 54.0, -13.0],
            [22.0, 4.0, 13.0, -3.0],
            [54.0, 13.0, 156.0, -22.0],
            [-13.0, -3.0, -22.0, 4.0],
        ];
        let scale = [1.0, size, 1.0, size];
        let bending = self.stiffness_n_m2 / size.powi(3);
        let geometric = self.tension_n / (30.0 * size);
        let mass = square * density * size / 420.0;
        let mut element = [[0.0; 4]; 4];
        for row in 0..4 {
            for column in 0..4 {
                let value = bending * BENDING[row][column] + geometric * GEOMETRIC[row][column]
                    - mass * MASS[row][column];
                element[row][column] = scale[row] * scale[column] * value;
            }
        }
        element
    }
}

/// Negative pivots of a symmetric matrix given as the lower band of its rows, the diagonal first.
fn negative_pivots(rows: &mut [[f64; BAND]]) -> u32 {
    let mut negative = 0;
    for pivot in 0..rows.len() {
        let diagonal = rows[pivot][0];
        negative += u32::from(diagonal < 0.0);
        let last = rows.len().min(pivot + BAND);
        let column: Vec<f64> = (pivot + 1..last).map(|row| rows[row][row - pivot]).collect();
        for (i, left) in column.iter().enumerate() {
            for (j, right) in column.iter().enumerate().take(i + 1) {
                rows[pivot + 1 + i][i - j] -= left * right / diagonal;
            }
        }
    }
    negative
}
