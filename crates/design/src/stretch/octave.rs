//! Which partials of an octave agree.

use crate::check::{Faults, NOTE};
use crate::stretch::{OCTAVE_NOTES, Sounding};

/// The pair of partials that agree in an octave: of the lower note, then of the upper one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Octave {
    /// 2:1.
    TwoOne,
    /// 4:2.
    FourTwo,
    /// 6:3.
    SixThree,
    /// 8:4.
    EightFour,
    /// 10:5.
    TenFive,
    /// 12:6.
    TwelveSix,
}

impl Octave {
    /// The highest partial that any octave needs.
    pub(crate) const HIGHEST_PARTIAL: u32 = 12;

    /// The partial of the upper note; that of the lower one is twice as high.
    #[must_use]
    pub const fn upper_partial(self) -> u32 {
        match self {
            Self::TwoOne => 1,
            Self::FourTwo => 2,
            Self::SixThree => 3,
            Self::EightFour => 4,
            Self::TenFive => 5,
            Self::TwelveSix => 6,
        }
    }
}

/// From which note on octaves have a rule; a note stands for the octave that begins with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OctaveRegion {
    /// Lowest note, −8 to 88.
    pub first_note: i16,
    /// Rule up to the next region.
    pub octave: Octave,
}

pub(crate) fn check(regions: &[OctaveRegion], faults: &mut Faults) {
    faults.count("options.regions", regions.len(), 97);
    for (at, region) in regions.iter().enumerate() {
        let path = format!("options.regions[{at}].first_note");
        let below = at.checked_sub(1).and_then(|before| regions.get(before));
        if !(NOTE.0..=NOTE.1).contains(&region.first_note) {
            faults.add(path, region.first_note, format!("{} to {}", NOTE.0, NOTE.1));
        } else if let Some(below) = below
            && region.first_note <= below.first_note
        {
            faults.add(path, region.first_note, format!("above {}", below.first_note));
        }
    }
}

/// How much wider than 2:1 each octave is wanted, in cents, by rising lower note.
pub(crate) fn wanted_cents(strings: &[Sounding], regions: &[OctaveRegion]) -> Vec<f64> {
    let octaves = strings.iter().zip(strings.iter().skip(OCTAVE_NOTES));
    let wanted = octaves.map(|(low, high)| {
        let below = |region: &&OctaveRegion| region.first_note <= low.note.note;
        let region = regions.iter().rev().find(below).or(regions.first());
        let m = region.map_or(1, |region| region.octave.upper_partial());
        low.sharp(2 * m) - high.sharp(m)
    });
    wanted.collect()
}

impl Sounding {
    /// Sharpness of a partial in cents; there are as many as any octave needs.
    fn sharp(&self, partial: u32) -> f64 {
        let found = (1_u32..).zip(&self.sharpness_cents).find(|(number, _)| *number == partial);
        found.map_or(0.0, |(_, cents)| *cents)
    }
}
