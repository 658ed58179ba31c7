//! Enum values on both sides.

use becket_units::Fault;

use crate::document::enum_name;
use crate::{cutting, stringing};

/// A domain enum that has an API enum.
pub trait Known: Copy + Sized {
    /// The value of a number of the API; `None` for the unspecified value and for numbers that stand for nothing.
    fn known(number: i32) -> Option<Self>;

    /// The number of the value in the API.
    fn number(self) -> i32;

    /// Friendly names of all values, for a fault's statement of what is allowed.
    fn allowed() -> String;
}

/// Reads an enum that must be stated.
///
/// # Errors
/// A fault of `field` that lists the values.
pub fn required<T: Known>(field: &str, number: i32) -> Result<T, Fault> {
    let given = || if number == 0 { "unspecified".to_owned() } else { number.to_string() };
    T::known(number).ok_or_else(|| Fault::new(field, given(), format!("one of {}", T::allowed())))
}

macro_rules! known {
    ($domain:ty = $api:ty { $($here:ident = $there:ident),+ $(,)? }) => {
        impl From<$domain> for $api {
            fn from(value: $domain) -> Self {
                match value {
                    $(<$domain>::$here => Self::$there,)+
                }
            }
        }

        impl Known for $domain {
            fn known(number: i32) -> Option<Self> {
                match <$api>::try_from(number) {
                    $(Ok(<$api>::$there) => Some(Self::$here),)+
                    Ok(<$api>::Unspecified) | Err(_) => None,
                }
            }

            fn number(self) -> i32 {
                <$api>::from(self).into()
            }

            fn allowed() -> String {
                let zero = <$api>::Unspecified.as_str_name();
                [$(enum_name(zero, <$api>::$there.as_str_name())),+].join(", ")
            }
        }
    };
}

known!(becket_wire::Material = stringing::Material {
    SteelRound = SteelRound,
    SteelHexagonal = SteelHexagonal,
    Copper = Copper,
    Iron = Iron,
    Aluminium = Aluminium,
    Brass = Brass,
});
known!(becket_wire::SizeSeries = stringing::SizeSeries { Inch = Inch, Millimetre = Millimetre });
known!(becket_scale::HitchStyle = stringing::HitchStyle { LoopedBack = LoopedBack, Tied = Tied });
known!(becket_scale::PitchBasis = stringing::PitchBasis {
    StiffnessFree = StiffnessFree,
    FirstPartial = FirstPartial,
});
known!(becket_scale::StringModel = stringing::StringModel { ClosedForm = ClosedForm, Stepped = Stepped });
known!(becket_scale::WindingModel = stringing::WindingModel { Tube = Tube, Helix = Helix });
known!(becket_scale::PieceKind = stringing::PieceKind {
    LoopedPair = LoopedPair,
    TiedSingle = TiedSingle,
    WoundCore = WoundCore,
});
known!(becket_scale::Severity = stringing::Severity { Notice = Notice, Warning = Warning, Danger = Danger });
known!(becket_scale::WarningCode = stringing::WarningCode {
    LoadShareHigh = LoadShareHigh,
    StringTensionHigh = StringTensionHigh,
    TensionStep = TensionStep,
    PlateLimitExceeded = PlateLimitExceeded,
    PairTiedAtWireChange = PairTiedAtWireChange,
    StrengthUnknown = StrengthUnknown,
    PlateLimitUnknown = PlateLimitUnknown,
    ClearanceSmall = ClearanceSmall,
});
known!(becket_acoustics::CrossSection = stringing::CoreShape { Round = Round, Hexagonal = Hexagonal });
known!(becket_design::Presence = stringing::Presence { Both = Both, OldOnly = OldOnly, NewOnly = NewOnly });
known!(becket_design::Octave = stringing::OctaveRule {
    TwoOne = TwoOne,
    FourTwo = FourTwo,
    SixThree = SixThree,
    EightFour = EightFour,
    TenFive = TenFive,
    TwelveSix = TwelveSix,
});
known!(becket_design::Source = stringing::ToleranceSource {
    CoreDiameter = CoreDiameter,
    WindingDiameter = WindingDiameter,
    SpeakingLength = SpeakingLength,
    Pitch = Pitch,
    YoungsModulus = YoungsModulus,
    CoreDensity = CoreDensity,
    WindingDensity = WindingDensity,
    OuterWindingDiameter = OuterWindingDiameter,
    OuterWindingDensity = OuterWindingDensity,
});
known!(becket_floor::PieceKind = stringing::PieceKind {
    LoopedPair = LoopedPair,
    TiedSingle = TiedSingle,
    WoundCore = WoundCore,
});
known!(becket_floor::CoilState = cutting::CoilState {
    Sealed = Sealed,
    Opened = Opened,
    SetAside = SetAside,
    UsedUp = UsedUp,
    Scrapped = Scrapped,
});
known!(becket_floor::EvidenceState = cutting::EvidenceState {
    Merged = Merged,
    Held = Held,
    Accepted = Accepted,
    Rejected = Rejected,
});
known!(becket_floor::CutListState = cutting::CutListState {
    Planned = Planned,
    Running = Running,
    Finished = Finished,
    Cancelled = Cancelled,
});
known!(becket_floor::StepKind = cutting::StepKind { Mount = Mount, Cut = Cut, Unmount = Unmount });
known!(becket_floor::StepState = cutting::StepState { Pending = Pending, Done = Done, Spoiled = Spoiled });
known!(becket_floor::TailUse = cutting::TailUse { Keep = Keep, Scrap = Scrap });
known!(becket_floor::SpoilCause = cutting::SpoilCause { Miscut = Miscut, Broken = Broken });
known!(becket_floor::Unison = cutting::UnisonRule { Hard = Hard, Preferred = Preferred, Off = Off });
known!(becket_floor::PieceOrder = cutting::PieceOrder {
    BySize = ByLength,
    BySection = BySection,
    UpTheScale = UpTheScale,
    DownTheScale = DownTheScale,
});
known!(becket_planner::Level = cutting::PlanLevel {
    SerialsNotWhole = SerialsNotWhole,
    PiecesUncut = PiecesUncut,
    GroupsSplit = GroupsSplit,
    Scrap = Scrap,
    CoilsOpened = CoilsOpened,
    ReelChanges = ReelChanges,
    Lots = Lots,
    OutOfOrder = OutOfOrder,
});
known!(becket_floor::WorkAction = cutting::WorkAction {
    Mount = Mount,
    SquareEnd = SquareEnd,
    Cut = Cut,
    CheckRemainder = CheckRemainder,
    Unmount = Unmount,
    LabelRemnant = LabelRemnant,
    ScrapTail = ScrapTail,
});
