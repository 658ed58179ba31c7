//! A plan of cuts: every coil as a bar to scale, and which coil is on which reel when.

mod bars;
mod draw;
mod hatch;
mod key;
mod reels;

pub(crate) use draw::{height_px, plan};

use crate::PlotError;

/// What a stretch of a coil becomes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stretch {
    /// The end that is cut off squarely.
    Trim,
    /// Pieces of the serial at this place of [`CutPicture::serials`].
    Pieces(usize),
    /// A tail too short to be of use.
    Scrap,
    /// What goes back into stock.
    Remnant,
}

/// A stretch of a coil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BarPart {
    /// What it becomes.
    pub stretch: Stretch,
    /// Length of each piece, or of the stretch, in mm, not negative.
    pub length_mm: f64,
    /// How many pieces follow each other, at least 1.
    pub count: u32,
}

/// A coil.
#[derive(Debug, Clone, PartialEq)]
pub struct CoilBar {
    /// Name of the coil.
    pub label: String,
    /// Wire and lot, in small letters below the name.
    pub detail: String,
    /// Parts from the outer end inwards.
    pub parts: Vec<BarPart>,
}

/// A coil on a reel.
#[derive(Debug, Clone, PartialEq)]
pub struct ReelSpan {
    /// Reel position, from 1.
    pub position: u32,
    /// Name of the coil.
    pub label: String,
    /// First step during which it is mounted, from 0.
    pub from: u32,
    /// Step after the last one.
    pub to: u32,
    /// Serials that are cut from it, in order: place in [`CutPicture::serials`], first step, step after the last.
    pub cuts: Vec<(usize, u32, u32)>,
}

/// A plan of cuts.
#[derive(Debug, Clone, PartialEq)]
pub struct CutPicture {
    /// Title above everything.
    pub title: String,
    /// Names of the serials.
    pub serials: Vec<String>,
    /// Coils.
    pub coils: Vec<CoilBar>,
    /// What is on the reels.
    pub reels: Vec<ReelSpan>,
    /// Number of reel positions, 1 to 64.
    pub reel_positions: u32,
    /// Number of steps.
    pub steps: u32,
    /// Lines of remarks below the key.
    pub remarks: Vec<String>,
}

/// More coils than this do not fit on a sheet that anybody reads.
pub const MOST_BARS: usize = 400;

impl CoilBar {
    /// Its length in mm.
    pub(crate) fn length_mm(&self) -> f64 {
        self.parts.iter().map(|part| part.length_mm * f64::from(part.count)).sum()
    }
}

impl CutPicture {
    pub(crate) fn check(&self) -> Result<(), PlotError> {
        let (coils, reels) = (self.coils.len(), self.reel_positions);
        if !(1..=MOST_BARS).contains(&coils) || !(1..=64).contains(&reels) {
            return Err(PlotError::Bars { coils, reels });
        }
        for coil in &self.coils {
            let bad = coil.parts.iter().find(|part| !(part.length_mm.is_finite() && part.length_mm >= 0.0));
            if let Some(part) = bad {
                return Err(PlotError::Part { coil: coil.label.clone(), value: part.length_mm.to_string() });
            }
        }
        Ok(())
    }
}

/// Letter of a serial by its place, as it stands on the bars: A to Z, then A1 to Z1 and so on.
#[must_use]
pub fn serial_letter(place: usize) -> String {
    let letter = char::from(b'A' + u8::try_from(place % 26).unwrap_or_default());
    match place / 26 {
        0 => letter.to_string(),
        round => format!("{letter}{round}"),
    }
}
