//! How a set is computed: pitch and the limits that strings are held against.

use becket_units::Fault;

use crate::draft::Choice;
use crate::fault::{Faults, Field, Range};

/// Default pitch of A4 in Hz. Source: ISO 16.
pub const DEFAULT_A4_HZ: f64 = 440.0;
/// Default share of breaking load above which a string is warned about. Common practice, no source.
pub const DEFAULT_LOAD_SHARE_LIMIT: f64 = 0.70;
/// Default tension of one string in N above which it is warned about: 425 lbf, in round newtons. Common practice, no
/// source.
pub const DEFAULT_STRING_TENSION_LIMIT_N: f64 = 1890.0;
/// Default relative difference of tension between neighbouring notes. Common practice, no source.
pub const DEFAULT_TENSION_STEP_LIMIT: f64 = 0.20;

/// Which frequency the target pitch names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PitchBasis {
    /// The frequency f0 that the string would have without stiffness: T = μ·(2·L·f)².
    StiffnessFree,
    /// The first partial, which is what sounds: T = μ·(2·L·f)² − π²·E·I/L².
    FirstPartial,
}

/// Options before validation; an absent field takes its default.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ComputeOptionsDraft {
    /// Pitch of A4 in Hz, 380 to 500; default 440 (ISO 16).
    pub a4_hz: Option<f64>,
    /// Which frequency the pitch names; default [`PitchBasis::StiffnessFree`].
    pub pitch_basis: Option<Choice<PitchBasis>>,
    /// Share of breaking load above which a string is warned about, 0.1 to 1; default 0.70 (common practice).
    pub load_share_limit: Option<f64>,
    /// Tension of one string in N above which it is warned about, 100 to 5000; default 1890 (common practice).
    pub string_tension_limit_n: Option<f64>,
    /// Relative difference of tension between neighbouring notes above which it is warned about, 0.01 to 2; default
    /// 0.20.
    pub tension_step_limit: Option<f64>,
}

/// Options with every field decided and in range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComputeOptions {
    a4_hz: f64,
    pitch_basis: PitchBasis,
    load_share_limit: f64,
    string_tension_limit_n: f64,
    tension_step_limit: f64,
}

impl Default for ComputeOptions {
    fn default() -> Self {
        Self {
            a4_hz: DEFAULT_A4_HZ,
            pitch_basis: PitchBasis::StiffnessFree,
            load_share_limit: DEFAULT_LOAD_SHARE_LIMIT,
            string_tension_limit_n: DEFAULT_STRING_TENSION_LIMIT_N,
            tension_step_limit: DEFAULT_TENSION_STEP_LIMIT,
        }
    }
}

impl ComputeOptions {
    /// Pitch of A4 in Hz, 380 to 500.
    pub const fn a4_hz(&self) -> f64 {
        self.a4_hz
    }

    /// Which frequency the pitch names.
    pub const fn pitch_basis(&self) -> PitchBasis {
        self.pitch_basis
    }

    /// Share of breaking load above which a string is warned about, 0.1 to 1.
    pub const fn load_share_limit(&self) -> f64 {
        self.load_share_limit
    }

    /// Tension of one string in N above which it is warned about, 100 to 5000.
    pub const fn string_tension_limit_n(&self) -> f64 {
        self.string_tension_limit_n
    }

    /// Relative difference of tension between neighbouring notes above which it is warned about, 0.01 to 2. The
    /// difference is taken relative to the mean of the two, so that a step up and the same step down weigh alike.
    pub const fn tension_step_limit(&self) -> f64 {
        self.tension_step_limit
    }
}

impl ComputeOptionsDraft {
    /// Fills in the defaults and checks every field.
    ///
    /// # Errors
    /// All faults, with the field's name, the value and what is allowed.
    pub fn validate(&self) -> Result<ComputeOptions, Vec<Fault>> {
        let default = ComputeOptions::default();
        let mut faults = Faults::default();
        let mut number = |name, value: Option<f64>, default, range| {
            let value = value.unwrap_or(default);
            faults.check_range(Field { base: &"", name }, value, range);
            value
        };
        let mut options = ComputeOptions {
            a4_hz: number("a4_hz", self.a4_hz, default.a4_hz, Range::new(380.0, 500.0, "Hz")),
            load_share_limit: number(
                "load_share_limit",
                self.load_share_limit,
                default.load_share_limit,
                Range::new(0.1, 1.0, ""),
            ),
            string_tension_limit_n: number(
                "string_tension_limit_n",
                self.string_tension_limit_n,
                default.string_tension_limit_n,
                Range::new(100.0, 5000.0, "N"),
            ),
            tension_step_limit: number(
                "tension_step_limit",
                self.tension_step_limit,
                default.tension_step_limit,
                Range::new(0.01, 2.0, ""),
            ),
            pitch_basis: default.pitch_basis,
        };
        match self.pitch_basis {
            Some(Choice::Known(basis)) => options.pitch_basis = basis,
            Some(Choice::Unknown(number)) => {
                faults.add(
                    "pitch_basis",
                    number,
                    "stiffness-free or first partial, or no value for the default",
                );
            }
            None => {}
        }
        let list = faults.into_list();
        if list.is_empty() { Ok(options) } else { Err(list) }
    }
}

impl From<&ComputeOptions> for ComputeOptionsDraft {
    fn from(options: &ComputeOptions) -> Self {
        Self {
            a4_hz: Some(options.a4_hz),
            pitch_basis: Some(Choice::Known(options.pitch_basis)),
            load_share_limit: Some(options.load_share_limit),
            string_tension_limit_n: Some(options.string_tension_limit_n),
            tension_step_limit: Some(options.tension_step_limit),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use becket_units::LBF_N;

    #[test]
    fn nothing_stated_gives_the_defaults() {
        let options = ComputeOptionsDraft::default().validate().unwrap();
        assert_eq!(options, ComputeOptions::default());
        assert_eq!((options.string_tension_limit_n() / LBF_N).round(), 425.0);
        assert_eq!(ComputeOptionsDraft::from(&options).validate(), Ok(options));
    }

    #[test]
    fn all_faults_come_at_once() {
        let faults = ComputeOptionsDraft {
            a4_hz: Some(f64::NAN),
            pitch_basis: Some(Choice::Unknown(0)),
            load_share_limit: Some(1.01),
            string_tension_limit_n: Some(99.9),
            tension_step_limit: Some(0.0),
        }
        .validate()
        .unwrap_err();
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(
            fields,
            ["a4_hz", "load_share_limit", "string_tension_limit_n", "tension_step_limit", "pitch_basis"]
        );
    }

    #[test]
    fn the_ends_of_the_ranges_are_in() {
        let low = ComputeOptionsDraft {
            a4_hz: Some(380.0),
            pitch_basis: Some(Choice::Known(PitchBasis::FirstPartial)),
            load_share_limit: Some(0.1),
            string_tension_limit_n: Some(100.0),
            tension_step_limit: Some(0.01),
        };
        assert_eq!(low.validate().unwrap().pitch_basis(), PitchBasis::FirstPartial);
        let high = ComputeOptionsDraft {
            a4_hz: Some(500.0),
            load_share_limit: Some(1.0),
            string_tension_limit_n: Some(5000.0),
            tension_step_limit: Some(2.0),
            pitch_basis: None,
        };
        assert!(high.validate().is_ok());
    }
}
