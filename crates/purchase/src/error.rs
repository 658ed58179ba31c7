//! Refusals.

use becket_planner::PlanError;
use becket_units::Um;

/// Why a question about a wire has no answer.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EstimateError {
    /// A build names a kind of instrument that the question does not have.
    #[error("a build names kind {instrument}, but the question has {kinds} kinds of instruments")]
    InstrumentUnknown {
        /// Kind that was named.
        instrument: usize,
        /// Kinds that there are.
        kinds: usize,
    },
    /// A piece has no length above 0.
    #[error("a piece of {length} is not a length above 0")]
    PieceNotPositive {
        /// The refused length.
        length: Um,
    },
    /// A winding has a negative length.
    #[error("a winding of {length} is not a length of 0 or more")]
    WindingNegative {
        /// The refused length.
        length: Um,
    },
    /// The surplus is not a share from 0 to 1.
    #[error("a surplus share of {share} is not 0 to 1")]
    SurplusOutOfRange {
        /// The refused share.
        share: f64,
    },
    /// The linear density is not a number above 0.
    #[error("a linear density of {linear_density_g_m} g/m is not a number above 0")]
    DensityOutOfRange {
        /// The refused density in g/m.
        linear_density_g_m: f64,
    },
    /// The mass of a pack is not a number from 0.001 g to 10 t.
    #[error("a pack of {mass_g} g is not 0.001 to 10000000 g")]
    PackMassOutOfRange {
        /// The refused mass in g.
        mass_g: f64,
    },
    /// Lengths add up to more than can be represented. Ask for fewer instruments.
    #[error("the schedule needs more wire than can be reckoned with")]
    TooLong,
    /// The pieces and coils are not a problem that can be planned, in size or in content.
    #[error(transparent)]
    Plan(#[from] PlanError),
}
