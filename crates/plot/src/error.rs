//! Why a picture cannot be drawn.

/// Why a picture cannot be drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlotError {
    /// There is nothing to draw, or more than can be told apart.
    #[error("a picture shows one set or two over each other, not {0}")]
    SetCount(usize),
    /// A set has no string.
    #[error("{label} has no strings to draw")]
    Empty {
        /// Label of the set.
        label: String,
    },
    /// A figure is not a number that can be drawn.
    #[error("{what} of note {note} cannot be drawn: {value}")]
    Figure {
        /// Name of the figure.
        what: &'static str,
        /// Note.
        note: i32,
        /// The value as text.
        value: String,
    },
    /// A plan has no coils, or more than can be drawn; or no reel, or more than can be.
    #[error("a plan is drawn with 1 to 400 coils and 1 to 64 reels, not {coils} and {reels}")]
    Bars {
        /// Coils.
        coils: usize,
        /// Reels.
        reels: u32,
    },
    /// A length of a coil is no length.
    #[error("a part of coil {coil} cannot be drawn: {value} mm")]
    Part {
        /// Coil.
        coil: String,
        /// The value as text.
        value: String,
    },
    /// The drawing library failed.
    #[error("the picture cannot be drawn: {0}")]
    Draw(String),
}
