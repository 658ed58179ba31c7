//! Scales of pianos and what follows from them: strings, pieces, totals, warnings.
//!
//! A [`ScaleDraft`] is a table as somebody wrote it. [`ScaleDraft::validate`] makes a [`Scale`] of it or reports every
//! fault at once; [`Scale::with_as_built`] merges what was measured on one instrument; [`compute`] says what the scale
//! means in wire: the tension and load of each string, the length of each piece, sums and warnings.
//!
//! Everything here is a pure function of its arguments: equal inputs give equal results to the bit. The crate reads no
//! file, knows no clock and no wire format, and keeps nothing. It does not decide what a plate may bear: it holds sums
//! against the limit that the plate's maker states.
//!
//! # Examples
//! ```
//! use becket_scale::{Choice, ComputeOptions, HitchStyle, NoteDraft, ScaleDraft, SectionDraft, compute};
//! use becket_wire::{Catalogue, SizeSeries, standard_wires};
//!
//! let catalogue: Catalogue = standard_wires(SizeSeries::Millimetre).into_iter().collect();
//! let row = |note| NoteDraft {
//!     note,
//!     section_id: "all".to_owned(),
//!     string_count: 3,
//!     speaking_mm: 50.0 * (f64::from(88 - note) / 15.0).exp2(),
//!     front_mm: 100.0,
//!     back_mm: 80.0,
//!     wire_id: "mw-mm-16".to_owned(),
//!     windings: vec![],
//!     hitch: None,
//!     pitch_offset_cents: 0.0,
//!     string_spacing_mm: None,
//!     allowances: None,
//! };
//! let mut draft = ScaleDraft {
//!     model_id: "example".to_owned(),
//!     revision_id: "a".to_owned(),
//!     title: String::new(),
//!     first_note: 1,
//!     last_note: 88,
//!     sections: vec![SectionDraft {
//!         section_id: "all".to_owned(),
//!         title: String::new(),
//!         hitch: Choice::Known(HitchStyle::LoopedBack),
//!         allowances: None,
//!     }],
//!     notes: (1..=88).map(row).collect(),
//!     allowances: None,
//!     plate_limit_n: None,
//! };
//! let scale = draft.validate(&catalogue).map_err(|faults| format!("{faults:?}"))?;
//! let set = compute(&scale, &catalogue, &ComputeOptions::default())?;
//! assert_eq!((set.strings.len(), set.pieces.len()), (264, 132));
//! assert_eq!(set.pieces[1].piece_id.to_string(), "1.3+2.1");
//!
//! draft.notes[12].speaking_mm = 15.0;
//! let faults = draft.validate(&catalogue).err().unwrap_or_default();
//! assert_eq!(faults[0].field, "notes[12].speaking_mm");
//! assert_eq!((faults[0].value.as_str(), faults[0].allowed.as_str()), ("15 (note 13)", "20 to 3000 mm"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod allowances;
mod as_built;
mod compute;
mod draft;
mod fault;
mod ids;
mod looping;
mod model;
mod options;
mod partials;
mod set;
mod string;
mod totals;
mod validate;
mod vibration;
mod warnings;
mod windings;

pub use allowances::{
    Allowances, DEFAULT_CUT_STEP, DEFAULT_EYE_MM, DEFAULT_HITCH_PIN_DIAMETER_MM,
    DEFAULT_TUNING_PIN_DIAMETER_MM, DEFAULT_TURNS, DEFAULT_WINDING_FINISH_TURNS, DEFAULT_WORKING_MM,
    ResolvedAllowances,
};
pub use as_built::{AsBuilt, AsBuiltScale};
pub use becket_acoustics::{InharmonicityFit, WindingModel};
pub use compute::{ComputeError, compute};
pub use draft::{Choice, HitchStyle, NoteDraft, ScaleDraft, SectionDraft, WindingDraft};
pub use ids::{
    HIGHEST_NOTE, IdError, LOWEST_NOTE, MAX_UNISONS, ModelId, PieceId, RevisionId, SectionId, StringId,
};
pub use looping::PieceKind;
pub use model::{Note, Scale, Section, Winding};
pub use options::{
    ComputeOptions, ComputeOptionsDraft, DEFAULT_A4_HZ, DEFAULT_CLEARANCE_LIMIT_MM, DEFAULT_LOAD_SHARE_LIMIT,
    DEFAULT_PARTIAL_COUNT, DEFAULT_STRING_TENSION_LIMIT_N, DEFAULT_TENSION_STEP_LIMIT, Models, PitchBasis,
    StringModel,
};
pub use partials::{NotePartials, bodies, partials};
pub use set::{
    Extreme, FromEye, PartialFigures, Piece, SectionTotal, SetTotals, StringFigures, StringSet,
    WindingFigures, WireTotal, WoundFigures,
};
pub use validate::{MAX_NOTES, MAX_SECTIONS, MAX_TITLE_CHARS};
pub use vibration::{AtPitch, StringBody};
pub use warnings::{Severity, Warning, WarningCode};
