//! The wire catalogue: size series, materials, strength bases, mass and length, packs.
//!
//! A [`WireDraft`] is what somebody wrote down; [`WireDraft::validate`] makes a [`Wire`] of it or tells every
//! fault. A [`Wire`] can therefore be computed with without further checks. The crate does not know strings
//! or scales, does no input or output, and has no serialised form of its own.

mod catalogue;
mod draft;
mod id;
mod material;
mod size;
mod standard;
mod strength;
mod validate;
mod wire;

pub use catalogue::Catalogue;
pub use draft::{SizeDraft, StrengthDraft, WireDraft};
pub use id::WireId;
pub use material::Material;
pub use size::{SizeError, SizeNumber, SizeSeries, diameter_mm};
pub use standard::standard_wires;
pub use strength::{StrengthBasis, StrengthKind, StrengthPoint, astm_a228_minimum};
pub use wire::{Pack, Wire};
