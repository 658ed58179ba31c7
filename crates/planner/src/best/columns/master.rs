//! A linear program that grows by columns: revised simplex that keeps the rows of coils out of the inverse.
//!
//! Every way to cut belongs to a set of coils that are alike, and a set gives no more cuts than it has coils. There are as many
//! such rows as there are different coils, thousands often; they are held by one key column each, and only the rows of
//! blocks are inverted.
//!
//! # Source
//!
//! G. B. Dantzig, R. M. Van Slyke, "Generalized upper bounding techniques", Journal of Computer and System Sciences 1
//! (1967), from memory.

/// Rounding noise below this is nothing.
const TINY: f64 = 1e-9;
/// A column enters if it saves more than this.
const SAVES: f64 = 1e-7;
/// Pivots after which the inverse is computed anew.
const REINVERT: usize = 150;
/// Set of a column that belongs to none.
pub(super) const NO_SET: usize = usize::MAX;

/// One column: its set, its cost and its entries by row.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub(super) set: usize,
    pub(super) cost: f64,
    pub(super) entries: Vec<(usize, f64)>,
}

/// Minimise cost·x with A·x + uncut − surplus = rhs, the columns of each set together at most its size, everything ≥ 0.
#[derive(Debug)]
pub(super) struct Master {
    rows: usize,
    rhs: Vec<f64>,
    sizes: Vec<f64>,
    /// Slack of each set, uncut of each row, surplus of each row, then what is added.
    columns: Vec<Column>,
    is_basic: Vec<bool>,
    /// The basic column of each set that is not in the inverse, and its value.
    keys: Vec<usize>,
    key_values: Vec<f64>,
    /// The other basic columns, and their values.
    working: Vec<usize>,
    values: Vec<f64>,
    /// Row by row.
    inverse: Vec<f64>,
    duals: Vec<f64>,
    /// By set, how fast its key falls while a column enters; 0 in between.
    rates: Vec<f64>,
    pivots: usize,
}

impl Master {
    /// A program in which nothing is cut yet: `uncut` is the cost of a block of each row that is not cut.
    pub(super) fn new(rhs: Vec<f64>, uncut: &[f64], sizes: Vec<f64>) -> Self {
        let rows = rhs.len();
        let slack = |set| Column { set, cost: 0.0, entries: Vec::new() };
        let one = |row, cost, entry| Column { set: NO_SET, cost, entries: vec![(row, entry)] };
        let mut columns: Vec<Column> = (0..sizes.len()).map(slack).collect();
        columns.extend(uncut.iter().enumerate().map(|(row, cost)| one(row, *cost, 1.0)));
        columns.extend((0..rows).map(|row| one(row, 0.0, -1.0)));
        let mut is_basic = vec![true; sizes.len() + rows];
        is_basic.resize(columns.len(), false);
        let mut inverse = vec![0.0; rows * rows];
        for row in 0..rows {
            inverse[row * rows + row] = 1.0;
        }
        Self {
            rows,
            values: rhs.clone(),
            rhs,
            is_basic,
            keys: (0..sizes.len()).collect(),
            key_values: sizes.clone(),
            working: (sizes.len()..sizes.len() + rows).collect(),
            inverse,
            duals: uncut.to_vec(),
            rates: vec![0.0; sizes.len()],
            sizes,
            columns,
            pivots: 0,
        }
    }

    /// Adds a column and returns its number.
    pub(super) fn add(&mut self, column: Column) -> usize {
        self.columns.push(column);
        self.is_basic.push(false);
        self.columns.len() - 1
    }

    /// Holds the price of each row within `spread` of `prices`, within 0 and `uncut`, by what uncut and surplus cost: prices of
    /// programs with few columns jump about. (O. du Merle, D. Villeneuve, J. Desrosiers, P. Hansen, "Stabilized column
    /// generation", Discrete Mathematics 194 (1999), from memory.)
    pub(super) fn set_box(&mut self, prices: &[f64], spread: &[f64], uncut: &[f64]) {
        let sets = self.sizes.len();
        for (row, (price, spread)) in prices.iter().zip(spread).enumerate() {
            self.columns[sets + row].cost = f64::min(price + spread, uncut[row]);
            self.columns[sets + self.rows + row].cost = -f64::max(price - spread, 0.0).min(uncut[row]);
        }
        self.refresh_duals();
    }

    /// Rows whose price is held by the box.
    pub(super) fn held(&self, uncut: &[f64]) -> Vec<usize> {
        let sets = self.sizes.len();
        let positive = self.working.iter().zip(&self.values).filter(|(_, value)| **value > 1e-7);
        let rows = positive.filter_map(|(column, _)| {
            let row = column.checked_sub(sets).filter(|at| *at < 2 * self.rows)?;
            let cost = self.columns[*column].cost;
            (cost < uncut[row % self.rows] && cost != 0.0).then_some(row % self.rows)
        });
        rows.collect()
    }

    /// Steps that the pivots took, about.
    pub(super) fn work(&self) -> u64 {
        (self.pivots * (2 * self.rows * self.rows + 2000)) as u64
    }

    /// Prices of the rows at the present basis.
    pub(super) fn duals(&self) -> &[f64] {
        &self.duals
    }

    /// Price of one more coil of a set: 0 or less at the optimum.
    pub(super) fn price_of_set(&self, set: usize) -> f64 {
        let key = &self.columns[self.keys[set]];
        key.cost - self.worth(key)
    }

    /// Values of the basic columns that were added.
    pub(super) fn basic_values(&self) -> impl Iterator<Item = (usize, f64)> {
        let working = self.working.iter().copied().zip(self.values.iter().copied());
        let keys = self.keys.iter().copied().zip(self.key_values.iter().copied());
        let first = self.sizes.len() + 2 * self.rows;
        working.chain(keys).filter(move |(column, _)| *column >= first)
    }

    /// Of the columns that were added, the `most` that cost least beyond the prices, by number.
    pub(super) fn near(&self, most: usize) -> Vec<usize> {
        let first = self.sizes.len() + 2 * self.rows;
        let mut by_cost: Vec<(f64, usize)> =
            (first..self.columns.len()).map(|number| (self.reduced_cost(number), number)).collect();
        if by_cost.len() > most {
            by_cost.select_nth_unstable_by(most, |a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            by_cost.truncate(most);
        }
        let mut near: Vec<usize> = by_cost.into_iter().map(|(_, number)| number).collect();
        near.sort_unstable();
        near
    }

    /// What the prices of its rows give for a column.
    fn worth(&self, column: &Column) -> f64 {
        column.entries.iter().map(|(row, entry)| self.duals[*row] * entry).sum()
    }

    /// What a column costs beyond the prices of its rows and its set.
    fn reduced_cost(&self, number: usize) -> f64 {
        let column = &self.columns[number];
        let of_set = if column.set == NO_SET { 0.0 } else { self.price_of_set(column.set) };
        column.cost - self.worth(column) - of_set
    }

    /// Pivots until none of the columns `candidates`, the uncut and the surplus saves anything, or so often, or until `stop`.
    pub(super) fn optimise(&mut self, candidates: &[usize], most: usize, stop: &dyn Fn() -> bool) {
        let sets = self.sizes.len();
        let mut list: Vec<usize> = (sets..sets + 2 * self.rows).chain(candidates.iter().copied()).collect();
        for _ in 0..most {
            if self.pivots % 64 == 63 && stop() {
                return;
            }
            let open = list.iter().filter(|number| !self.is_basic[**number]);
            let entering =
                open.map(|number| (self.reduced_cost(*number), *number)).min_by(|a, b| a.0.total_cmp(&b.0));
            match entering {
                Some((saving, number)) if saving < -SAVES => {
                    if !self.enter(number) {
                        list.retain(|other| *other != number);
                    }
                }
                _ => return,
            }
        }
    }

    /// Slacks of sets that would save something.
    pub(super) fn saving_slacks(&self) -> Vec<usize> {
        (0..self.sizes.len()).filter(|set| !self.is_basic[*set] && self.price_of_set(*set) > SAVES).collect()
    }

    /// How fast the working columns fall when a column enters.
    fn direction(&self, number: usize) -> Vec<f64> {
        let column = &self.columns[number];
        let key = (column.set != NO_SET).then(|| &self.columns[self.keys[column.set]]);
        let less = key.into_iter().flat_map(|key| key.entries.iter().map(|(row, entry)| (*row, -entry)));
        let entries: Vec<(usize, f64)> = column.entries.iter().copied().chain(less).collect();
        let rows = self.inverse.chunks_exact(self.rows.max(1));
        rows.map(|row| entries.iter().map(|(at, entry)| row[*at] * entry).sum()).collect()
    }

    /// Cost of what is taken now.
    pub(super) fn objective(&self) -> f64 {
        let w: f64 = self.working.iter().zip(&self.values).map(|(c, v)| self.columns[*c].cost * v).sum();
        let k: f64 = self.keys.iter().zip(&self.key_values).map(|(c, v)| self.columns[*c].cost * v).sum();
        w + k
    }

    /// Brings a column into the basis; false if nothing limits it.
    fn enter(&mut self, number: usize) -> bool {
        let mut direction = self.direction(number);
        let set = self.columns[number].set;
        let mut touched = Vec::new();
        if set != NO_SET {
            self.rates[set] += 1.0;
            touched.push(set);
        }
        for (at, step) in direction.iter().enumerate() {
            let of = self.columns[self.working[at]].set;
            if of != NO_SET {
                self.rates[of] -= step;
                if !touched.contains(&of) {
                    touched.push(of);
                }
            }
        }
        let leaving = self.leaving(&direction, &touched);
        if let Some((ratio, leaves)) = leaving {
            for (value, step) in self.values.iter_mut().zip(&direction) {
                *value = (*value - ratio * step).max(0.0);
            }
            for of in &touched {
                self.key_values[*of] = (self.key_values[*of] - ratio * self.rates[*of]).max(0.0);
            }
            match leaves {
                Leaves::Working(at) => self.replace(at, number, ratio, &direction),
                Leaves::Key(of) => match self.working.iter().position(|w| self.columns[*w].set == of) {
                    None => {
                        self.is_basic[self.keys[of]] = false;
                        self.is_basic[number] = true;
                        self.keys[of] = number;
                        self.key_values[of] = ratio;
                    }
                    Some(at) => {
                        self.swap_key(of, at);
                        direction[at] = self.rates[of];
                        self.replace(at, number, ratio, &direction);
                    }
                },
            }
            self.pivots += 1;
            if self.pivots.is_multiple_of(REINVERT) {
                self.reinvert();
            }
        }
        for of in touched {
            self.rates[of] = 0.0;
        }
        leaving.is_some()
    }

    /// What reaches 0 first, and how much of the entering column there is then.
    fn leaving(&self, direction: &[f64], touched: &[usize]) -> Option<(f64, Leaves)> {
        let working =
            direction.iter().enumerate().map(|(at, step)| (*step, self.values[at], Leaves::Working(at)));
        let keys = touched.iter().map(|set| (self.rates[*set], self.key_values[*set], Leaves::Key(*set)));
        let mut best: Option<(f64, f64, Leaves)> = None;
        for (step, value, leaves) in working.chain(keys).filter(|(step, _, _)| *step > TINY) {
            let ratio = value.max(0.0) / step;
            let better = best
                .is_none_or(|(least, pivot, _)| ratio < least - TINY || ratio < least + TINY && step > pivot);
            if better {
                best = Some((ratio, step, leaves));
            }
        }
        best.map(|(ratio, _, leaves)| (ratio, leaves))
    }

    /// Makes the working column `at` the key of its set, and the key a working column.
    fn swap_key(&mut self, set: usize, at: usize) {
        let mut sum = vec![0.0; self.rows];
        for (row, of_row) in self.working.iter().zip(self.inverse.chunks_exact(self.rows)) {
            if self.columns[*row].set == set {
                for (sum, entry) in sum.iter_mut().zip(of_row) {
                    *sum -= entry;
                }
            }
        }
        self.inverse[at * self.rows..(at + 1) * self.rows].copy_from_slice(&sum);
        std::mem::swap(&mut self.keys[set], &mut self.working[at]);
        std::mem::swap(&mut self.key_values[set], &mut self.values[at]);
    }

    /// Puts a column in the place of a working one.
    fn replace(&mut self, at: usize, number: usize, value: f64, direction: &[f64]) {
        let rows = self.rows;
        let pivot = direction[at];
        let mut pivot_row = self.inverse[at * rows..(at + 1) * rows].to_vec();
        for entry in &mut pivot_row {
            *entry /= pivot;
        }
        for (other, step) in direction.iter().enumerate().filter(|(o, step)| *o != at && step.abs() > 1e-13) {
            let row = &mut self.inverse[other * rows..(other + 1) * rows];
            for (entry, of_pivot) in row.iter_mut().zip(&pivot_row) {
                *entry -= step * of_pivot;
            }
        }
        self.inverse[at * rows..(at + 1) * rows].copy_from_slice(&pivot_row);
        self.is_basic[self.working[at]] = false;
        self.is_basic[number] = true;
        self.working[at] = number;
        self.values[at] = value;
        self.refresh_duals();
    }

    fn refresh_duals(&mut self) {
        self.duals.fill(0.0);
        for (working, row) in self.working.iter().zip(self.inverse.chunks_exact(self.rows)) {
            let column = &self.columns[*working];
            let of_key = if column.set == NO_SET { 0.0 } else { self.columns[self.keys[column.set]].cost };
            let cost = column.cost - of_key;
            if cost != 0.0 {
                for (dual, entry) in self.duals.iter_mut().zip(row) {
                    *dual += cost * entry;
                }
            }
        }
    }

    /// Computes inverse, values and prices anew, against drift. A basis that turns out singular is kept as it is.
    fn reinvert(&mut self) {
        if let Some(inverse) = self.fresh_inverse() {
            self.inverse = inverse;
        }
        let mut rest = self.rhs.clone();
        for (key, size) in self.keys.iter().zip(&self.sizes) {
            for (row, entry) in &self.columns[*key].entries {
                rest[*row] -= entry * size;
            }
        }
        self.key_values.copy_from_slice(&self.sizes);
        for (at, row) in self.inverse.chunks_exact(self.rows).enumerate() {
            let value: f64 = row.iter().zip(&rest).map(|(a, b)| a * b).sum();
            self.values[at] = value.max(0.0);
            let set = self.columns[self.working[at]].set;
            if set != NO_SET {
                self.key_values[set] -= self.values[at];
            }
        }
        for value in &mut self.key_values {
            *value = value.max(0.0);
        }
        self.refresh_duals();
    }

    /// Gauss–Jordan elimination of the working columns.
    fn fresh_inverse(&self) -> Option<Vec<f64>> {
        let rows = self.rows;
        let mut matrix = vec![0.0; rows * rows];
        for (at, working) in self.working.iter().enumerate() {
            let column = &self.columns[*working];
            for (row, entry) in &column.entries {
                matrix[row * rows + at] += entry;
            }
            if column.set != NO_SET {
                for (row, entry) in &self.columns[self.keys[column.set]].entries {
                    matrix[row * rows + at] -= entry;
                }
            }
        }
        let mut inverse = vec![0.0; rows * rows];
        for row in 0..rows {
            inverse[row * rows + row] = 1.0;
        }
        for at in 0..rows {
            let pivot = (at..rows)
                .max_by(|a, b| matrix[a * rows + at].abs().total_cmp(&matrix[b * rows + at].abs()))?;
            if matrix[pivot * rows + at].abs() < 1e-10 {
                return None;
            }
            for column in 0..rows {
                matrix.swap(at * rows + column, pivot * rows + column);
                inverse.swap(at * rows + column, pivot * rows + column);
            }
            eliminate(&mut matrix, &mut inverse, rows, at);
        }
        Some(inverse)
    }
}

/// Makes column `at` of the matrix a unit column, and does the same to the inverse.
fn eliminate(matrix: &mut [f64], inverse: &mut [f64], rows: usize, at: usize) {
    let pivot = matrix[at * rows + at];
    for column in 0..rows {
        matrix[at * rows + column] /= pivot;
        inverse[at * rows + column] /= pivot;
    }
    let of_matrix = matrix[at * rows..(at + 1) * rows].to_vec();
    let of_inverse = inverse[at * rows..(at + 1) * rows].to_vec();
    for row in (0..rows).filter(|row| *row != at) {
        let factor = matrix[row * rows + at];
        if factor != 0.0 {
            for column in 0..rows {
                matrix[row * rows + column] -= factor * of_matrix[column];
                inverse[row * rows + column] -= factor * of_inverse[column];
            }
        }
    }
}

/// What leaves the basis.
#[derive(Debug, Clone, Copy)]
enum Leaves {
    /// The working column at this place.
    Working(usize),
    /// The key of this set.
    Key(usize),
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_program_by_hand() {
        // Two coils of 5 and one of 4; blocks of 2 (three) and 3 (two). A block uncut costs 10, a way to cut its waste.
        // 5 = 2 + 3 twice and 4 = 2 + … leave waste 0 + 0 + 2.
        let mut master = Master::new(vec![3.0, 2.0], &[10.0, 10.0], vec![2.0, 1.0]);
        let column =
            |set, cost, two: f64, three: f64| Column { set, cost, entries: vec![(0, two), (1, three)] };
        let both = master.add(column(0, 0.0, 1.0, 1.0));
        let twos = master.add(column(0, 1.0, 2.0, 0.0));
        let short = master.add(column(1, 2.0, 1.0, 0.0));
        let full = master.add(column(1, 0.0, 2.0, 0.0));
        master.optimise(&[twos, short, both], 100, &|| false);
        let value = |master: &Master, column| {
            master.basic_values().find(|(c, _)| *c == column).map_or(0.0, |(_, v)| v)
        };
        assert!((value(&master, both) - 2.0).abs() < 1e-9, "{master:?}");
        assert!((value(&master, short) - 1.0).abs() < 1e-9);
        // With half a way to cut that has no waste, one block is still needed: the surplus is free.
        master.optimise(&[full], 100, &|| false);
        assert!((value(&master, full) - 1.0).abs() < 1e-9 || (value(&master, full) - 0.5).abs() < 1e-9);
        let before: Vec<f64> = master.duals().to_vec();
        master.reinvert();
        for (a, b) in before.iter().zip(master.duals()) {
            assert!((a - b).abs() < 1e-9);
        }
    }
}
