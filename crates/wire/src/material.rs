//! Materials of wire.

use std::fmt;

use becket_acoustics::CrossSection;

/// Material and shape of a wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Material {
    /// Steel music wire, round.
    SteelRound,
    /// Steel core wire, hexagonal; the diameter is the width across flats.
    SteelHexagonal,
    /// Copper winding wire, round.
    Copper,
    /// Soft iron winding wire, round.
    Iron,
    /// Aluminium winding wire, round.
    Aluminium,
    /// Brass wire, round.
    Brass,
}

impl Material {
    /// All materials.
    pub const ALL: [Self; 6] =
        [Self::SteelRound, Self::SteelHexagonal, Self::Copper, Self::Iron, Self::Aluminium, Self::Brass];

    /// Returns the shape of the section.
    #[must_use]
    pub const fn cross_section(self) -> CrossSection {
        match self {
            Self::SteelHexagonal => CrossSection::Hexagonal,
            Self::SteelRound | Self::Copper | Self::Iron | Self::Aluminium | Self::Brass => {
                CrossSection::Round
            }
        }
    }

    /// True for wire that carries the tension of a string: plain wire and cores.
    #[must_use]
    pub const fn carries_tension(self) -> bool {
        match self {
            Self::SteelRound | Self::SteelHexagonal => true,
            Self::Copper | Self::Iron | Self::Aluminium | Self::Brass => false,
        }
    }

    /// True for wire that is wound round a core.
    #[must_use]
    pub const fn is_winding(self) -> bool {
        !self.carries_tension()
    }
}

impl fmt::Display for Material {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::SteelRound => "round steel",
            Self::SteelHexagonal => "hexagonal steel",
            Self::Copper => "copper",
            Self::Iron => "iron",
            Self::Aluminium => "aluminium",
            Self::Brass => "brass",
        })
    }
}
