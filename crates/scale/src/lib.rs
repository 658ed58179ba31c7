//! Scales of pianos and what follows from them: strings, pieces, totals, warnings.
//!
//! A [`ScaleDraft`] is a table as somebody wrote it. [`ScaleDraft::validate`] makes a [`Scale`] of it or reports every
//! fault at once; [`Scale::with_as_built`] merges what was measured on one instrument; [`compute`] says what the scale
//! means in wire: the tension and load of each string, the length of each piece, sums and warnings.
//!
//! Everything here is a pure function of its arguments: equal inputs give equal results to the bit. The crate reads no
//! file, knows no clock and no wire format, and keeps nothing. It does not decide what a plate may bear: it holds sums
//! against the limit that the plate's maker states.

mod allowances;
mod as_built;
mod compute;
mod draft;
mod fault;
mod ids;
mod looping;
mod model;
mod options;
mod set;
mod string;
mod totals;
mod validate;
mod warnings;

pub use allowances::{
    Allowances, DEFAULT_CUT_STEP, DEFAULT_EYE_MM, DEFAULT_HITCH_PIN_DIAMETER_MM,
    DEFAULT_TUNING_PIN_DIAMETER_MM, DEFAULT_TURNS, DEFAULT_WORKING_MM, ResolvedAllowances,
};
pub use as_built::{AsBuilt, AsBuiltScale};
pub use compute::{ComputeError, compute};
pub use draft::{Choice, HitchStyle, NoteDraft, ScaleDraft, SectionDraft, WindingDraft};
pub use ids::{
    HIGHEST_NOTE, IdError, LOWEST_NOTE, MAX_UNISONS, ModelId, PieceId, RevisionId, SectionId, StringId,
};
pub use looping::PieceKind;
pub use model::{Note, Scale, Section, Winding};
pub use options::{
    ComputeOptions, ComputeOptionsDraft, DEFAULT_A4_HZ, DEFAULT_LOAD_SHARE_LIMIT,
    DEFAULT_STRING_TENSION_LIMIT_N, DEFAULT_TENSION_STEP_LIMIT, PitchBasis,
};
pub use set::{Extreme, Piece, SectionTotal, SetTotals, StringFigures, StringSet, WindingFigures, WireTotal};
pub use validate::{MAX_NOTES, MAX_SECTIONS, MAX_TITLE_CHARS};
pub use warnings::{Severity, Warning, WarningCode};
