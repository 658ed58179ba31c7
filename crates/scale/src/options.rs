//! How a set is computed: pitch and the limits that strings are held against.

use becket_acoustics::{MOST_PARTIALS, WindingModel};
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

/// Default room between neighbouring strings of a note in mm below which a warning tells. Common practice, no source.
pub const DEFAULT_CLEARANCE_LIMIT_MM: f64 = 0.5;
/// Default number of partials to which B is fitted, and which are told.
pub const DEFAULT_PARTIAL_COUNT: u32 = 16;
/// Fewest partials: through one alone no B can be fitted.
const FEWEST_PARTIALS: u32 = 2;

/// Which frequency the target pitch names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PitchBasis {
    /// The frequency f0 that the string would have without stiffness: T = μ·(2·L·f)².
    StiffnessFree,
    /// The first partial, which is what sounds: T = μ·(2·L·f)² − π²·E·I/L².
    FirstPartial,
}

/// How a string is taken to vibrate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum StringModel {
    /// As a uniform string, by closed formulas. Bare ends of a winding count in the linear density and not in B.
    ClosedForm,
    /// As the stiff string that it is, whose mass steps where windings begin and end: the boundary value problem is
    /// solved, so that tension and partials are exact. A plain string is uniform, and the closed formulas are exact for it.
    Stepped,
}

/// What a string is taken to be and which pitch it is given: the part of the options that decides tension, inharmonicity
/// and partials.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Models {
    /// Which frequency the pitch names.
    pub pitch_basis: PitchBasis,
    /// How a string is taken to vibrate.
    pub string_model: StringModel,
    /// How the mass of a winding is reckoned.
    pub winding_model: WindingModel,
    /// Partials to which B is fitted in the stepped model, 2 to 60.
    pub partial_count: u32,
}

impl Default for Models {
    fn default() -> Self {
        ComputeOptions::default().models()
    }
}

impl Models {
    /// Finds what is wrong with the models.
    ///
    /// # Errors
    /// The fault of `partial_count`, which alone can be out of range.
    pub fn check(&self) -> Result<(), Fault> {
        let (low, high) = (f64::from(FEWEST_PARTIALS), f64::from(MOST_PARTIALS));
        Fault::outside("partial_count", f64::from(self.partial_count), low, high, "partials")
            .map_or(Ok(()), Err)
    }
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
    /// Room between neighbouring strings of a note in mm below which it is warned about, 0 to 50; default 0.5 (common
    /// practice).
    pub clearance_limit_mm: Option<f64>,
    /// How a string is taken to vibrate; default [`StringModel::ClosedForm`].
    pub string_model: Option<Choice<StringModel>>,
    /// How the mass of a winding is reckoned; default [`WindingModel::Tube`].
    pub winding_model: Option<Choice<WindingModel>>,
    /// Partials to which B is fitted in the stepped model, and which are told, 2 to 60; default 16.
    pub partial_count: Option<i32>,
    /// Whether the figures of each string hold its partials; default no.
    pub include_partials: Option<bool>,
}

/// Options with every field decided and in range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ComputeOptions {
    a4_hz: f64,
    pitch_basis: PitchBasis,
    load_share_limit: f64,
    string_tension_limit_n: f64,
    tension_step_limit: f64,
    clearance_limit_mm: f64,
    string_model: StringModel,
    winding_model: WindingModel,
    partial_count: u32,
    include_partials: bool,
}

impl Default for ComputeOptions {
    fn default() -> Self {
        Self {
            a4_hz: DEFAULT_A4_HZ,
            pitch_basis: PitchBasis::StiffnessFree,
            load_share_limit: DEFAULT_LOAD_SHARE_LIMIT,
            string_tension_limit_n: DEFAULT_STRING_TENSION_LIMIT_N,
            tension_step_limit: DEFAULT_TENSION_STEP_LIMIT,
            clearance_limit_mm: DEFAULT_CLEARANCE_LIMIT_MM,
            string_model: StringModel::ClosedForm,
            winding_model: WindingModel::Tube,
            partial_count: DEFAULT_PARTIAL_COUNT,
            include_partials: false,
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

    /// Room between neighbouring strings of a note in mm below which it is warned about, 0 to 50.
    pub const fn clearance_limit_mm(&self) -> f64 {
        self.clearance_limit_mm
    }

    /// How a string is taken to vibrate.
    pub const fn string_model(&self) -> StringModel {
        self.string_model
    }

    /// How the mass of a winding is reckoned.
    pub const fn winding_model(&self) -> WindingModel {
        self.winding_model
    }

    /// What a string is taken to be and which pitch it is given.
    pub const fn models(&self) -> Models {
        Models {
            pitch_basis: self.pitch_basis,
            string_model: self.string_model,
            winding_model: self.winding_model,
            partial_count: self.partial_count,
        }
    }

    /// Partials to which B is fitted in the stepped model, and which are told, 2 to 60.
    pub const fn partial_count(&self) -> u32 {
        self.partial_count
    }

    /// Whether the figures of each string hold its partials.
    pub const fn include_partials(&self) -> bool {
        self.include_partials
    }

    /// The same options with another string model.
    pub const fn with_string_model(self, string_model: StringModel) -> Self {
        Self { string_model, ..self }
    }

    /// The same options with partials told, or not told.
    pub const fn with_partials(self, include_partials: bool) -> Self {
        Self { include_partials, ..self }
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
        let share = Range::new(0.1, 1.0, "");
        let tension = Range::new(100.0, 5000.0, "N");
        let options = ComputeOptions {
            a4_hz: number("a4_hz", self.a4_hz, default.a4_hz, Range::new(380.0, 500.0, "Hz")),
            load_share_limit: number(
                "load_share_limit",
                self.load_share_limit,
                default.load_share_limit,
                share,
            ),
            string_tension_limit_n: number(
                "string_tension_limit_n",
                self.string_tension_limit_n,
                default.string_tension_limit_n,
                tension,
            ),
            tension_step_limit: number(
                "tension_step_limit",
                self.tension_step_limit,
                default.tension_step_limit,
                Range::new(0.01, 2.0, ""),
            ),
            clearance_limit_mm: number(
                "clearance_limit_mm",
                self.clearance_limit_mm,
                default.clearance_limit_mm,
                Range::new(0.0, 50.0, "mm"),
            ),
            pitch_basis: known(
                "pitch_basis",
                self.pitch_basis,
                default.pitch_basis,
                "stiffness-free or first partial, or no value for the default",
                &mut faults,
            ),
            string_model: known(
                "string_model",
                self.string_model,
                default.string_model,
                "closed form or stepped, or no value for the default",
                &mut faults,
            ),
            winding_model: known(
                "winding_model",
                self.winding_model,
                default.winding_model,
                "tube or helix, or no value for the default",
                &mut faults,
            ),
            partial_count: partial_count(self.partial_count, &mut faults),
            include_partials: self.include_partials.unwrap_or(default.include_partials),
        };
        let list = faults.into_list();
        if list.is_empty() { Ok(options) } else { Err(list) }
    }
}

/// A choice that may be left out.
fn known<T>(field: &str, choice: Option<Choice<T>>, default: T, allowed: &str, faults: &mut Faults) -> T {
    match choice {
        Some(Choice::Known(value)) => value,
        Some(Choice::Unknown(number)) => {
            faults.add(field, number, allowed);
            default
        }
        None => default,
    }
}

fn partial_count(stated: Option<i32>, faults: &mut Faults) -> u32 {
    let Some(stated) = stated else { return DEFAULT_PARTIAL_COUNT };
    let count = u32::try_from(stated).ok().filter(|count| (FEWEST_PARTIALS..=MOST_PARTIALS).contains(count));
    count.unwrap_or_else(|| {
        faults.add("partial_count", stated, format_args!("{FEWEST_PARTIALS} to {MOST_PARTIALS} partials"));
        DEFAULT_PARTIAL_COUNT
    })
}

impl From<&ComputeOptions> for ComputeOptionsDraft {
    fn from(options: &ComputeOptions) -> Self {
        Self {
            a4_hz: Some(options.a4_hz),
            pitch_basis: Some(Choice::Known(options.pitch_basis)),
            load_share_limit: Some(options.load_share_limit),
            string_tension_limit_n: Some(options.string_tension_limit_n),
            tension_step_limit: Some(options.tension_step_limit),
            clearance_limit_mm: Some(options.clearance_limit_mm),
            string_model: Some(Choice::Known(options.string_model)),
            winding_model: Some(Choice::Known(options.winding_model)),
            // At most 60.
            partial_count: i32::try_from(options.partial_count).ok(),
            include_partials: Some(options.include_partials),
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
            clearance_limit_mm: Some(-0.1),
            string_model: Some(Choice::Unknown(0)),
            winding_model: Some(Choice::Unknown(3)),
            partial_count: Some(1),
            include_partials: None,
        }
        .validate()
        .unwrap_err();
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(
            fields,
            [
                "a4_hz",
                "load_share_limit",
                "string_tension_limit_n",
                "tension_step_limit",
                "clearance_limit_mm",
                "pitch_basis",
                "string_model",
                "winding_model",
                "partial_count"
            ]
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
            clearance_limit_mm: Some(0.0),
            partial_count: Some(2),
            ..ComputeOptionsDraft::default()
        };
        assert_eq!(low.validate().unwrap().pitch_basis(), PitchBasis::FirstPartial);
        let high = ComputeOptionsDraft {
            a4_hz: Some(500.0),
            load_share_limit: Some(1.0),
            string_tension_limit_n: Some(5000.0),
            tension_step_limit: Some(2.0),
            clearance_limit_mm: Some(50.0),
            partial_count: Some(60),
            ..ComputeOptionsDraft::default()
        };
        assert_eq!(high.validate().unwrap().partial_count(), 60);
    }
}
