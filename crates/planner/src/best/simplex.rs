//! A small linear program that grows by columns: revised simplex with a dense inverse of the basis.

/// Rounding noise below this is nothing.
const TINY: f64 = 1e-9;
/// A column enters if it saves more than this.
const SAVES: f64 = 1e-7;

/// One column: its cost and its entries by row.
#[derive(Debug, Clone)]
pub(super) struct Column {
    pub(super) cost: f64,
    pub(super) entries: Vec<(usize, f64)>,
}

/// Minimise cost·x with A·x = b, x ≥ 0, from a start basis of one column a row whose only entry is 1 in that row.
#[derive(Debug)]
pub(super) struct Master {
    columns: Vec<Column>,
    rhs: Vec<f64>,
    basis: Vec<usize>,
    is_basic: Vec<bool>,
    inverse: Vec<Vec<f64>>,
    values: Vec<f64>,
    duals: Vec<f64>,
}

impl Master {
    /// A program whose first columns, one a row, are the identity, with these costs.
    pub(super) fn new(rhs: Vec<f64>, unit_costs: Vec<f64>) -> Self {
        let rows = rhs.len();
        let unit = |row: usize| (0..rows).map(|r| if r == row { 1.0 } else { 0.0 }).collect();
        Self {
            columns: unit_costs
                .iter()
                .enumerate()
                .map(|(row, cost)| Column { cost: *cost, entries: vec![(row, 1.0)] })
                .collect(),
            values: rhs.clone(),
            rhs,
            basis: (0..rows).collect(),
            is_basic: vec![true; rows],
            inverse: (0..rows).map(unit).collect(),
            duals: unit_costs,
        }
    }

    /// Adds a column and returns its number.
    pub(super) fn add(&mut self, column: Column) -> usize {
        self.columns.push(column);
        self.is_basic.push(false);
        self.columns.len() - 1
    }

    /// Prices of the rows at the present basis.
    pub(super) fn duals(&self) -> &[f64] {
        &self.duals
    }

    /// Value of every basic column.
    pub(super) fn basic_values(&self) -> impl Iterator<Item = (usize, f64)> {
        self.basis.iter().copied().zip(self.values.iter().copied())
    }

    /// What a column costs beyond the prices of its rows.
    fn reduced_cost(&self, column: &Column) -> f64 {
        column.cost - column.entries.iter().map(|(row, entry)| self.duals[*row] * entry).sum::<f64>()
    }

    /// Pivots until no column saves anything, or so often, or until `stop`.
    pub(super) fn optimise(&mut self, most: usize, stop: &dyn Fn() -> bool) {
        for pivot in 0..most {
            if pivot % 64 == 63 {
                self.refresh();
                if stop() {
                    return;
                }
            }
            let entering = self
                .columns
                .iter()
                .enumerate()
                .filter(|(number, _)| !self.is_basic[*number])
                .map(|(number, column)| (self.reduced_cost(column), number))
                .min_by(|a, b| a.0.total_cmp(&b.0));
            match entering {
                Some((saving, number)) if saving < -SAVES => {
                    if !self.enter(number, saving) {
                        return;
                    }
                }
                _ => return,
            }
        }
    }

    /// Brings a column into the basis; false if no row limits it.
    fn enter(&mut self, number: usize, saving: f64) -> bool {
        let entries = &self.columns[number].entries;
        let direction: Vec<f64> =
            self.inverse.iter().map(|row| entries.iter().map(|(at, entry)| row[*at] * entry).sum()).collect();
        let mut leaving: Option<(f64, usize)> = None;
        for (row, step) in direction.iter().enumerate().filter(|(_, step)| **step > TINY) {
            let ratio = self.values[row].max(0.0) / step;
            let better = leaving
                .is_none_or(|(best, at)| ratio < best - TINY || ratio < best + TINY && *step > direction[at]);
            if better {
                leaving = Some((ratio, row));
            }
        }
        let Some((ratio, row)) = leaving else { return false };
        let pivot = direction[row];
        for entry in &mut self.inverse[row] {
            *entry /= pivot;
        }
        let pivot_row = self.inverse[row].clone();
        for (other, step) in direction.iter().enumerate() {
            if other != row && step.abs() > TINY {
                self.values[other] -= step * ratio;
                for (entry, of_pivot) in self.inverse[other].iter_mut().zip(&pivot_row) {
                    *entry -= step * of_pivot;
                }
            }
        }
        self.values[row] = ratio;
        for (dual, entry) in self.duals.iter_mut().zip(&pivot_row) {
            *dual += saving * entry;
        }
        self.is_basic[self.basis[row]] = false;
        self.basis[row] = number;
        self.is_basic[number] = true;
        true
    }

    /// Computes values and prices anew from the inverse, against drift.
    fn refresh(&mut self) {
        for (value, row) in self.values.iter_mut().zip(&self.inverse) {
            *value = row.iter().zip(&self.rhs).map(|(a, b)| a * b).sum();
        }
        self.duals.fill(0.0);
        for (row, basic) in self.inverse.iter().zip(&self.basis) {
            let cost = self.columns[*basic].cost;
            for (dual, entry) in self.duals.iter_mut().zip(row) {
                *dual += cost * entry;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_program_by_hand() {
        // Minimise −3x − 5y with x ≤ 4, 2y ≤ 12, 3x + 2y ≤ 18: x = 2, y = 6, value −36, prices 0, −3/2, −1.
        let mut master = Master::new(vec![4.0, 12.0, 18.0], vec![0.0; 3]);
        let x = master.add(Column { cost: -3.0, entries: vec![(0, 1.0), (2, 3.0)] });
        let y = master.add(Column { cost: -5.0, entries: vec![(1, 2.0), (2, 2.0)] });
        master.optimise(100, &|| false);
        let value = |column| master.basic_values().find(|(c, _)| *c == column).map(|(_, v)| v).unwrap();
        assert!((value(x) - 2.0).abs() < 1e-9 && (value(y) - 6.0).abs() < 1e-9);
        for (dual, expected) in master.duals().iter().zip([0.0, -1.5, -1.0]) {
            assert!((dual - expected).abs() < 1e-9);
        }
    }
}
