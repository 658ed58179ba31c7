//! Numbers of tables in the user's units: the number alone, since the unit stands in the column's header.

use becket_units::{INCH_MM, LB_G, LBF_N, UnitSystem};

/// Micrometres in a millimetre.
const UM_PER_MM: f64 = 1000.0;

/// Numbers and unit names in one system.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Measures(pub(crate) UnitSystem);

impl Measures {
    const fn pick<T: Copy>(self, metric: T, inch: T) -> T {
        match self.0 {
            UnitSystem::Metric => metric,
            UnitSystem::Inch => inch,
        }
    }

    fn number(self, value: f64, metric: (f64, usize), inch: (f64, usize)) -> String {
        let (divisor, decimals) = self.pick(metric, inch);
        format!("{:.decimals$}", value / divisor)
    }

    /// Unit of [`Measures::length`].
    pub(crate) const fn length_unit(self) -> &'static str {
        self.pick("mm", "in")
    }

    /// A length given in mm: a tenth of a millimetre or a thousandth of an inch.
    pub(crate) fn length(self, mm: f64) -> String {
        self.number(mm, (1.0, 1), (INCH_MM, 3))
    }

    /// A length given in µm, as [`Measures::length`].
    pub(crate) fn length_um(self, um: i64) -> String {
        self.length(mm(um))
    }

    /// A diameter given in mm, finely enough to tell half sizes apart.
    pub(crate) fn diameter(self, mm: f64) -> String {
        self.number(mm, (1.0, 3), (INCH_MM, 4))
    }

    /// Unit of [`Measures::run`].
    pub(crate) const fn run_unit(self) -> &'static str {
        self.pick("m", "ft")
    }

    /// A long length given in m, as there is on a coil.
    pub(crate) fn run(self, m: f64) -> String {
        self.number(m, (1.0, 2), (12.0 * INCH_MM / 1000.0, 1))
    }

    /// A long length given in m, in the unit of [`Measures::run`].
    pub(crate) fn in_runs(self, m: f64) -> f64 {
        m / self.pick(1.0, 12.0 * INCH_MM / 1000.0)
    }

    /// A long length given in µm.
    pub(crate) fn run_um(self, um: i64) -> String {
        self.run(mm(um) / 1000.0)
    }

    /// Unit of [`Measures::force`].
    pub(crate) const fn force_unit(self) -> &'static str {
        self.pick("N", "lbf")
    }

    /// A force given in N.
    pub(crate) fn force(self, n: f64) -> String {
        self.number(n, (1.0, 1), (LBF_N, 1))
    }

    /// Unit of [`Measures::mass`].
    pub(crate) const fn mass_unit(self) -> &'static str {
        self.pick("g", "lb")
    }

    /// A mass given in g.
    pub(crate) fn mass(self, g: f64) -> String {
        self.number(g, (1.0, 1), (LB_G, 3))
    }

    /// Unit of [`Measures::heavy`].
    pub(crate) const fn heavy_unit(self) -> &'static str {
        self.pick("kg", "lb")
    }

    /// A large mass given in kg.
    pub(crate) fn heavy(self, kg: f64) -> String {
        self.number(kg * 1000.0, (1000.0, 3), (LB_G, 3))
    }

    /// Unit of [`Measures::stress`].
    pub(crate) const fn stress_unit(self) -> &'static str {
        self.pick("MPa", "ksi")
    }

    /// A stress given in MPa; 1 ksi is 1000 lbf on a square inch.
    pub(crate) fn stress(self, mpa: f64) -> String {
        self.number(mpa, (1.0, 0), (1000.0 * LBF_N / (INCH_MM * INCH_MM), 1))
    }
}

/// Micrometres as millimetres.
#[expect(
    clippy::cast_precision_loss,
    reason = "exact below 2^53 µm, which is nine million kilometres of wire"
)]
pub(crate) fn mm(um: i64) -> f64 {
    um as f64 / UM_PER_MM
}

/// A share as a percentage with one decimal.
pub(crate) fn percent(share: f64) -> String {
    format!("{:.1}", share * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_systems_show_the_same_quantity() {
        let (metric, inch) = (Measures(UnitSystem::Metric), Measures(UnitSystem::Inch));
        assert_eq!((metric.length(355.6), inch.length(355.6)), ("355.6".into(), "14.000".into()));
        assert_eq!((metric.length_um(355_600), inch.length_um(355_600)), ("355.6".into(), "14.000".into()));
        assert_eq!((metric.diameter(0.7874), inch.diameter(0.7874)), ("0.787".into(), "0.0310".into()));
        assert_eq!((metric.run(81.0), inch.run(30.48)), ("81.00".into(), "100.0".into()));
        assert_eq!((metric.force(757.1), inch.force(757.087_319)), ("757.1".into(), "170.2".into()));
        assert_eq!((metric.mass(453.6), inch.mass(453.592_37)), ("453.6".into(), "1.000".into()));
        assert_eq!((metric.heavy(0.5), inch.heavy(0.453_592_37)), ("0.500".into(), "1.000".into()));
        // 300 ksi is 2068.4 MPa.
        assert_eq!((metric.stress(2068.43), inch.stress(2068.427)), ("2068".into(), "300.0".into()));
    }
}
