//! Pictures as SVG or PNG: a scale at a glance, with lengths, diameters, tensions, loads, stiffness and pitch over the compass; and a
//! plan of cuts, with every coil as a bar to scale and the reels step by step.
//!
//! This crate draws what it is given. It computes no figure of a string, knows no service, file or clock, and returns the
//! picture as text or bytes. One curve set is drawn alone, or two over each other: two revisions, or two serials.
//!
//! Colours are those of M. Okabe and K. Ito, "Color Universal Design" (2008), which people with any of the common colour
//! vision deficiencies can tell apart. Shapes of markers and patterns of lines say the same once more, for grey print.

mod axis;
mod chart;
mod cuts;
mod draw;
mod error;
mod export;
mod figures;
mod ink;
mod legend;
mod panel;

pub use cuts::{BarPart, CoilBar, CutPicture, MOST_BARS, ReelSpan, Stretch, serial_letter};
pub use error::PlotError;
pub use export::{PICTURE_HEIGHT_PX, PICTURE_WIDTH_PX, cuts_png, cuts_svg, png, svg};
pub use figures::{CurveSet, Picture, SectionSpan, StringPoint};
pub use ink::serial_rgb;
