//! Upright axes: their range and the values that are written beside them.

/// Whether steps or ratios of a figure are to be seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// Equal steps.
    Linear,
    /// Equal steps, from zero on.
    LinearFromZero,
    /// Equal ratios; values must be above zero.
    Log,
}

/// An upright axis. Its coordinate is the value, or the value's decimal logarithm.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Axis {
    /// Name with unit.
    pub(crate) name: &'static str,
    kind: Kind,
    /// Lower end as a coordinate.
    pub(crate) low: f64,
    /// Upper end as a coordinate.
    pub(crate) high: f64,
    /// Coordinates that are labelled.
    pub(crate) ticks: Vec<f64>,
}

/// Steps between labels that an axis has at most.
const MOST_STEPS: f64 = 8.0;
/// Room above and below the data as a share of its span.
const MARGIN: f64 = 0.06;

impl Axis {
    /// An axis on which all the values can be drawn.
    pub(crate) fn over(name: &'static str, kind: Kind, values: impl Iterator<Item = f64>) -> Self {
        let from_zero = (kind == Kind::LinearFromZero).then_some(0.0);
        let coordinates = values.map(|value| at(kind, value)).chain(from_zero);
        let (low, high) = coordinates
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
        // Without any value, or with one alone, there is no span to take a share of.
        let (low, high) = if low > high { (0.0, 1.0) } else { (low, high) };
        let (low, high) =
            if high - low > 1e-9 * high.abs().max(1.0) { (low, high) } else { (low - 1.0, high + 1.0) };
        let span = high - low;
        let low = if kind == Kind::LinearFromZero && low >= 0.0 { 0.0 } else { low - MARGIN * span };
        let high = high + MARGIN * span;
        let ticks = if kind == Kind::Log { log_ticks(low, high) } else { linear_ticks(low, high) };
        Self { name, kind, low, high, ticks }
    }

    /// The coordinate of a value.
    pub(crate) fn coordinate(&self, value: f64) -> f64 {
        at(self.kind, value)
    }

    /// What is written at a coordinate.
    pub(crate) fn label(&self, coordinate: f64) -> String {
        if self.kind == Kind::Log { log_label(coordinate) } else { self.linear_label(coordinate) }
    }

    fn linear_label(&self, value: f64) -> String {
        let step = match self.ticks.as_slice() {
            [first, second, ..] => second - first,
            _ => 1.0,
        };
        let decimals = if step >= 0.999 {
            0
        } else if step >= 0.0999 {
            1
        } else {
            3
        };
        // Without this, zero can come out as -0.
        let value = if value.abs() < step * 1e-6 { 0.0 } else { value };
        format!("{value:.decimals$}")
    }
}

fn at(kind: Kind, value: f64) -> f64 {
    if kind == Kind::Log { value.log10() } else { value }
}

fn log_label(coordinate: f64) -> String {
    let value = 10.0_f64.powf(coordinate);
    let whole = (value - value.round()).abs() < 1e-6;
    if value >= 0.999 && (whole || value >= 10.0) {
        format!("{value:.0}")
    } else if value >= 0.0999 {
        format!("{value:.1}")
    } else {
        format!("{value:.0e}")
    }
}

/// Multiples of 1, 2 or 5 times a power of ten.
fn linear_ticks(low: f64, high: f64) -> Vec<f64> {
    let rough = (high - low) / MOST_STEPS;
    let power = 10.0_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0].map(|factor| factor * power).into_iter().find(|step| *step >= rough);
    let step = step.unwrap_or(10.0 * power);
    let first = (low / step).ceil();
    (0..32).map(|number| (first + f64::from(number)) * step).take_while(|tick| *tick <= high).collect()
}

/// Powers of ten, and 2 and 5 times them where the span is short enough for that.
fn log_ticks(low: f64, high: f64) -> Vec<f64> {
    let factors: &[f64] = if high - low < 0.9 {
        &[1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0]
    } else if high - low < 4.0 {
        &[1.0, 2.0, 5.0]
    } else {
        &[1.0]
    };
    let first = low.floor();
    (0..32)
        .map(|number| first + f64::from(number))
        .take_while(|power| *power <= high)
        .flat_map(|power| factors.iter().map(move |factor| power + factor.log10()))
        .filter(|tick| (low..=high).contains(tick))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn labels(kind: Kind, values: &[f64]) -> Vec<String> {
        let axis = Axis::over("length in mm", kind, values.iter().copied());
        axis.ticks.iter().map(|tick| axis.label(*tick)).collect()
    }

    #[test]
    fn ticks_are_round_and_lie_on_the_axis() {
        assert_eq!(labels(Kind::Linear, &[520.0, 1480.0]), ["600", "800", "1000", "1200", "1400"]);
        assert_eq!(labels(Kind::Log, &[52.0, 1950.0]), ["50", "100", "200", "500", "1000", "2000"]);
        assert_eq!(
            labels(Kind::Log, &[3e-5, 2e-2]),
            ["5e-5", "1e-4", "2e-4", "5e-4", "1e-3", "2e-3", "5e-3", "1e-2", "2e-2"]
        );
        assert_eq!(
            labels(Kind::LinearFromZero, &[900.0, 2300.0]),
            ["0", "500", "1000", "1500", "2000"].map(String::from)[..]
        );
    }

    #[test]
    fn labels_of_short_logarithmic_axes_differ() {
        assert_eq!(labels(Kind::Log, &[0.8, 2.1]), ["0.8", "1", "1.5", "2"]);
    }

    #[test]
    fn a_constant_figure_has_an_axis_too() {
        let axis = Axis::over("offset in cents", Kind::Linear, [0.0, 0.0].into_iter());
        assert!(axis.low < 0.0 && axis.high > 0.0 && axis.ticks.len() > 1, "{axis:?}");
        let axis = Axis::over("share in %", Kind::Linear, std::iter::empty());
        assert!(axis.low < axis.high, "{axis:?}");
        assert_eq!(labels(Kind::Linear, &[0.0]), ["-1.0", "-0.5", "0.0", "0.5", "1.0"]);
    }

    #[test]
    fn every_value_is_on_the_axis() {
        for kind in [Kind::Linear, Kind::LinearFromZero, Kind::Log] {
            let axis = Axis::over("x", kind, [0.3, 7.0, 21.5].into_iter());
            for value in [0.3, 7.0, 21.5] {
                let at = axis.coordinate(value);
                assert!(axis.low <= at && at < axis.high, "{value} on {axis:?}");
            }
        }
    }
}
