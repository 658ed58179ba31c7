//! The words that stand for states and kinds in the tables.

use becket_floor::{
    CoilState, CutListState, EvidenceState, Level, PieceKind, PieceOrder, SpoilCause, StepKind, StepState,
    TailUse, Unison,
};

use super::corrupt;
use crate::error::StoreError;
use crate::string_store::JobState;

/// An enum that is stored as a word.
pub trait Code: Sized + Copy + 'static {
    /// The values with their words.
    const CODES: &'static [(Self, &'static str)];

    /// The word of the value.
    fn code(self) -> &'static str;

    /// The value of a word.
    ///
    /// # Errors
    /// [`StoreError::Corrupt`] for a word that stands for none.
    fn of(code: &str) -> Result<Self, StoreError> {
        let found = Self::CODES.iter().find(|(_, known)| *known == code);
        found.map(|(value, _)| *value).ok_or_else(|| corrupt(format!("{code:?} is no known word")))
    }
}

macro_rules! codes {
    ($name:ident { $($value:ident = $code:literal),+ $(,)? }) => {
        impl Code for $name {
            const CODES: &'static [(Self, &'static str)] = &[$((Self::$value, $code)),+];

            fn code(self) -> &'static str {
                // A match, so that a new value breaks the build.
                match self {
                    $(Self::$value => $code),+
                }
            }
        }
    };
}

codes!(JobState { Open = "open", Frozen = "frozen", Done = "done", GivenUp = "given_up" });
codes!(CoilState {
    Sealed = "sealed",
    Opened = "opened",
    SetAside = "set_aside",
    UsedUp = "used_up",
    Scrapped = "scrapped",
});
codes!(EvidenceState { Merged = "merged", Held = "held", Accepted = "accepted", Rejected = "rejected" });
codes!(CutListState { Planned = "planned", Running = "running", Finished = "finished", Cancelled = "cancelled" });
codes!(Unison { Hard = "hard", Preferred = "preferred", Off = "off" });
codes!(PieceOrder {
    BySize = "by_length",
    BySection = "by_section",
    UpTheScale = "up_the_scale",
    DownTheScale = "down_the_scale",
});
codes!(Level {
    SerialsNotWhole = "serials_not_whole",
    PiecesUncut = "pieces_uncut",
    GroupsSplit = "groups_split",
    Scrap = "scrap",
    CoilsOpened = "coils_opened",
    ReelChanges = "reel_changes",
    Lots = "lots",
    OutOfOrder = "out_of_order",
});
codes!(StepKind { Mount = "mount", Cut = "cut", Unmount = "unmount" });
codes!(StepState { Pending = "pending", Done = "done", Spoiled = "spoiled" });
codes!(TailUse { Keep = "keep", Scrap = "scrap" });
codes!(SpoilCause { Miscut = "miscut", Broken = "broken" });
codes!(PieceKind { LoopedPair = "looped_pair", TiedSingle = "tied_single", WoundCore = "wound_core" });
