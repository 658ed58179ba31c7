//! Values of options: the API's enums in short words, and quantities with units.

use becket_api::{cutting, stringing};
use clap::ValueEnum;

/// Declares an option's words and the value of the API's enum that each stands for.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident => $api:ty { $($(#[$value_doc:meta])* $word:ident => $value:ident,)+ }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
        pub(crate) enum $name {
            $($(#[$value_doc])* $word,)+
        }

        impl $name {
            /// The value of the API.
            pub(crate) fn api(self) -> $api {
                match self {
                    $(Self::$word => <$api>::$value,)+
                }
            }
        }
    };
}

words! {
    /// Series of size numbers.
    Series => stringing::SizeSeries {
        /// Music wire gauge: No. 13 is 0.031 in
        Inch => Inch,
        /// No. 13 is 0.775 mm
        Millimetre => Millimetre,
    }
}

words! {
    /// Material of a wire.
    MaterialWord => stringing::Material {
        /// Steel music wire, round
        SteelRound => SteelRound,
        /// Steel core wire, hexagonal
        SteelHexagonal => SteelHexagonal,
        /// Copper winding wire
        Copper => Copper,
        /// Soft iron winding wire
        Iron => Iron,
        /// Aluminium winding wire
        Aluminium => Aluminium,
        /// Brass wire
        Brass => Brass,
    }
}

words! {
    /// State of a job.
    JobStateWord => stringing::JobState {
        /// Its string set follows its inputs
        Open => Open,
        /// Its first piece is cut
        Frozen => Frozen,
        /// Done
        Done => Done,
        /// Given up
        GivenUp => GivenUp,
    }
}

words! {
    /// How a job ends.
    Ending => stringing::JobState {
        /// The instrument is strung
        Done => Done,
        /// It will not be strung under this job
        GivenUp => GivenUp,
    }
}

words! {
    /// State of a coil.
    CoilStateWord => cutting::CoilState {
        /// Never cut from
        Sealed => Sealed,
        /// Opened
        Opened => Opened,
        /// Kept out of planning
        SetAside => SetAside,
        /// Nothing is left
        UsedUp => UsedUp,
        /// Its rest was scrapped
        Scrapped => Scrapped,
    }
}

words! {
    /// State of a cut list.
    CutListStateWord => cutting::CutListState {
        /// Planned, wire reserved
        Planned => Planned,
        /// At the station
        Running => Running,
        /// Ended
        Finished => Finished,
        /// Withdrawn before anything was cut
        Cancelled => Cancelled,
    }
}

words! {
    /// Whether the pieces of a note come from one coil.
    Unison => cutting::UnisonRule {
        /// Always; a note that fits on no coil as a whole is short
        Hard => Hard,
        /// Wherever a coil has room for all
        Preferred => Preferred,
        /// Not regarded
        Off => Off,
    }
}

words! {
    /// Order of the pieces from a coil.
    Order => cutting::PieceOrder {
        /// Longest first
        ByLength => ByLength,
        /// Section by section from the bass up, longest first in each
        BySection => BySection,
        /// From the lowest note up
        UpTheScale => UpTheScale,
        /// From the highest note down
        DownTheScale => DownTheScale,
    }
}

words! {
    /// A level whose place the shop may choose.
    LevelWord => cutting::PlanLevel {
        /// Wire lost to trims and tails
        Scrap => Scrap,
        /// Sealed coils opened
        CoilsOpened => CoilsOpened,
        /// Times that a coil is put on a reel
        ReelChanges => ReelChanges,
        /// Lots of a wire in a serial
        Lots => Lots,
    }
}

words! {
    /// How a piece was lost.
    Cause => cutting::SpoilCause {
        /// Cut to a wrong length, kinked or scratched at the station
        Miscut => Miscut,
        /// Broke when it was pulled up
        Broken => Broken,
    }
}

/// Reads the address of a server: `http://`, a host, and a port if it is not 80. Connections are not encrypted.
pub(crate) fn server_url(text: &str) -> Result<String, String> {
    let url: tonic::transport::Uri = text.parse().map_err(|error| format!("it is no address: {error}"))?;
    if !matches!(url.scheme_str(), Some("http" | "https")) || url.host().is_none_or(str::is_empty) {
        return Err(
            "an address is http:// or https://, a host and a port, such as http://127.0.0.1:7420".to_owned()
        );
    }
    Ok(text.to_owned())
}

/// Reads a length: a bare number is in mm, `10in` or `1.2m` name their unit.
pub(crate) fn length_mm(text: &str) -> Result<f64, String> {
    quantity(text, becket_units::parse_length_mm)
}

/// Reads a mass: a bare number is in g, `1.5kg` or `1lb` name their unit.
pub(crate) fn mass_g(text: &str) -> Result<f64, String> {
    quantity(text, becket_units::parse_mass_g)
}

fn quantity(
    text: &str,
    parse: impl Fn(&str) -> Result<f64, becket_units::ParseQuantityError>,
) -> Result<f64, String> {
    match parse(text) {
        Err(becket_units::ParseQuantityError::NoUnit { .. }) => {
            text.trim().parse().map_err(|_| format!("{text:?} is not a number"))
        }
        other => other.map_err(|error| error.to_string()),
    }
}
