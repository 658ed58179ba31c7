//! A scale at a glance: lengths, diameters, tensions, loads, stiffness and pitch over the compass, as SVG or PNG.
//!
//! This crate draws what it is given. It computes no figure of a string, knows no service, file or clock, and returns the
//! picture as text or bytes. One curve set is drawn alone, or two over each other: two revisions, or two serials.
//!
//! Colours are those of M. Okabe and K. Ito, "Color Universal Design" (2008), which people with any of the common colour
//! vision deficiencies can tell apart. Shapes of markers and patterns of lines say the same once more, for grey print.

mod axis;
mod chart;
mod draw;
mod error;
mod export;
mod figures;
mod ink;
mod legend;
mod panel;

pub use error::PlotError;
pub use export::{PICTURE_HEIGHT_PX, PICTURE_WIDTH_PX, png, svg};
pub use figures::{CurveSet, Picture, SectionSpan, StringPoint};
