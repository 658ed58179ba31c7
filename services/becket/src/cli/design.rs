//! `design`, `replace`, `compare`, `stretch`, `bands` and `special`.

use std::path::PathBuf;
use std::str::FromStr;

use becket_api::stringing::{ComputeOptions, OctaveRule, PitchBasis, StringModel, WindingModel};
use clap::{Args, Subcommand};

use super::values::length_mm;

/// Chooses wire: a wound bass, or plain strings
#[derive(Debug, Subcommand)]
#[command(after_help = "\
Example:
  becket design bass design-bass.toml
  becket --format csv design plain design-plain.toml")]
pub(crate) enum Design {
    /// Chooses core and windings for every note of a bass at once
    #[command(after_help = "\
Example:
  becket design bass design-bass.toml
  becket design bass design-bass.toml --units inch
  becket design bass design-bass.toml --into scales/small-160.toml --save small-160-b.toml --as b")]
    Bass(DesignFile),
    /// Chooses sizes of plain wire, under the rule of looped pairs
    #[command(after_help = "\
Example:
  becket design plain design-plain.toml")]
    Plain(DesignFile),
}

/// What strings are taken to be, and which pitch is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Args)]
pub(crate) struct ModelFlags {
    /// Take the pitch for the first partial, which is what sounds, and not for the frequency without stiffness
    #[arg(long)]
    pub(crate) first_partial: bool,
    /// Solve wound strings exactly, with their bare ends; B is then fitted to the exact partials
    #[arg(long)]
    pub(crate) stepped: bool,
    /// Reckon the mass of windings as a helix, and not as a tube
    #[arg(long)]
    pub(crate) helix: bool,
    /// Number of partials that B is fitted to, 2 to 60 [default: 16]
    #[arg(long, value_name = "N")]
    pub(crate) partials: Option<i32>,
}

impl ModelFlags {
    /// Options with these flags; `None` if nothing is asked for, so that those of a serial, or the defaults, hold.
    pub(crate) fn options(self, a4_hz: Option<f64>) -> Option<ComputeOptions> {
        let options = ComputeOptions {
            a4_hz,
            pitch_basis: self.first_partial.then_some(PitchBasis::FirstPartial.into()),
            string_model: self.stepped.then_some(StringModel::Stepped.into()),
            winding_model: self.helix.then_some(WindingModel::Helix.into()),
            partial_count: self.partials,
            ..ComputeOptions::default()
        };
        (options != ComputeOptions::default()).then_some(options)
    }
}

/// The question of a design.
#[derive(Debug, Args)]
pub(crate) struct DesignFile {
    /// File of the question, .toml or .json; the tour's folder holds one of each kind
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Put what is chosen, and the question's lengths, into this scale (.toml or .json); it is written to --save
    #[arg(long, value_name = "SCALE", requires = "saved")]
    pub(crate) into: Option<PathBuf>,
    /// Write the scale with the design in it to this file (.toml)
    #[arg(id = "saved", long = "save", value_name = "FILE", requires_all = ["into", "revision_new"])]
    pub(crate) save: Option<PathBuf>,
    /// Revision of the scale that is written
    #[arg(id = "revision_new", long = "as", value_name = "REVISION", requires = "saved")]
    pub(crate) save_as: Option<String>,
}

/// Finds stocked wire for an old string that was measured
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket replace 40 620 0.94
  becket replace 16 977 1.00 --hex --layer 2.80,18,963
  becket replace 1 45.9in 0.047in --layer 0.12in,0.8in,45.2in --layer 0.27in,1.1in,45in --count 5
  becket replace 16 977 1.00 --hex --layer 2.80,18,963 --stepped --helix --first-partial")]
pub(crate) struct Replace {
    /// Note, 1 to 88
    #[arg(value_name = "NOTE", allow_negative_numbers = true)]
    pub(crate) note: i32,
    /// Speaking length
    #[arg(value_name = "LENGTH", value_parser = length_mm)]
    pub(crate) speaking_mm: f64,
    /// Diameter of wire or core
    #[arg(value_name = "CORE", value_parser = length_mm)]
    pub(crate) core_mm: f64,
    /// The core is hexagonal; its diameter is the width across flats
    #[arg(long)]
    pub(crate) hex: bool,
    /// A layer of winding, from the inside out: diameter over it, start and end from the front end of the speaking length
    #[arg(long = "layer", value_name = "OVER,START,END")]
    pub(crate) layers: Vec<LayerWord>,
    /// Pitch of A4 [default: 440]
    #[arg(long, value_name = "HZ")]
    pub(crate) a4: Option<f64>,
    /// How many replacements are shown at most [default: 10]
    #[arg(long, value_name = "NUMBER")]
    pub(crate) count: Option<i32>,
    /// Largest share of breaking load, 0.01 to 1 [default: 0.7]
    #[arg(long, value_name = "SHARE")]
    pub(crate) max_load: Option<f64>,
    #[command(flatten)]
    pub(crate) models: ModelFlags,
}

/// A layer of an old string: diameter over it, start and end, in mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LayerWord {
    pub(crate) over_mm: f64,
    pub(crate) start_mm: f64,
    pub(crate) end_mm: f64,
}

impl FromStr for LayerWord {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let parts: Vec<&str> = text.split(',').collect();
        let [over, start, end] = parts.as_slice() else {
            return Err("three lengths are needed: OVER,START,END".to_owned());
        };
        Ok(Self { over_mm: length_mm(over)?, start_mm: length_mm(start)?, end_mm: length_mm(end)? })
    }
}

/// Tells what differs between two string sets, and only that
#[derive(Debug, Args)]
#[command(after_help = "\
Each set is a serial, a stored revision as MODEL/REVISION, or a file of a scale (.toml or .json).

Example:
  becket compare small-160/a small-160-changed.toml
  becket compare small-160/a S16-0412
  becket compare small-160/a small-160/a --new-a4 442
  becket compare small-160/a small-160/a --new-length 27=1100 --new-pitch 88=+30
  becket compare small-160/a small-160/a --new-wire 27=mw-in-21 --new-wire 28=mw-in-21
  becket compare small-160/a small-160/a --new-series 'mw-in-*=mw-mm-*'
  becket compare small-160/a small-160/a --new-stepped")]
pub(crate) struct Compare {
    /// Set that is compared with
    #[arg(value_name = "OLD")]
    pub(crate) old: String,
    /// The other set
    #[arg(value_name = "NEW")]
    pub(crate) new: String,
    /// Pitch of A4 of the old set [default: 440, or the serial's]
    #[arg(long, value_name = "HZ")]
    pub(crate) old_a4: Option<f64>,
    /// Pitch of A4 of the new set [default: 440, or the serial's]
    #[arg(long, value_name = "HZ")]
    pub(crate) new_a4: Option<f64>,
    /// Solve wound strings of the old set exactly
    #[arg(long)]
    pub(crate) old_stepped: bool,
    /// Solve wound strings of the new set exactly
    #[arg(long)]
    pub(crate) new_stepped: bool,
    /// What if: another speaking length of a note of the new set
    #[arg(long, value_name = "NOTE=LENGTH", value_parser = note_length, allow_hyphen_values = true)]
    pub(crate) new_length: Vec<(i32, f64)>,
    /// What if: another pitch of a note of the new set, in cents against equal temperament
    #[arg(long, value_name = "NOTE=CENTS", value_parser = note_cents, allow_hyphen_values = true)]
    pub(crate) new_pitch: Vec<(i32, f64)>,
    /// What if: another wire, or core, at a note of the new set
    #[arg(long, value_name = "NOTE=WIRE", value_parser = note_wire, allow_hyphen_values = true)]
    pub(crate) new_wire: Vec<(i32, String)>,
    /// What if: another wire throughout the new set; '*' at the end of both stands for any ending, so for a whole series
    #[arg(long, value_name = "WIRE=WIRE", value_parser = two_wires)]
    pub(crate) new_series: Vec<(String, String)>,
}

/// What stands before and behind the sign of equality.
fn equation<'a>(text: &'a str, form: &str) -> Result<(&'a str, &'a str), String> {
    text.split_once('=').ok_or_else(|| format!("{form} is needed"))
}

fn of_note(text: &str, form: &str) -> Result<(i32, String), String> {
    let (note, value) = equation(text, form)?;
    let note = note.parse().map_err(|_| format!("{note:?} is not a note"))?;
    Ok((note, value.to_owned()))
}

fn note_length(text: &str) -> Result<(i32, f64), String> {
    let (note, length) = of_note(text, "NOTE=LENGTH, such as 27=1100")?;
    Ok((note, length_mm(&length)?))
}

fn note_cents(text: &str) -> Result<(i32, f64), String> {
    let (note, cents) = of_note(text, "NOTE=CENTS, such as 88=+30")?;
    let cents = cents.parse().map_err(|_| format!("{cents:?} is not a number of cents"))?;
    Ok((note, cents))
}

fn note_wire(text: &str) -> Result<(i32, String), String> {
    of_note(text, "NOTE=WIRE, such as 27=mw-in-21")
}

fn two_wires(text: &str) -> Result<(String, String), String> {
    let (old, new) = equation(text, "WIRE=WIRE, such as mw-in-*=mw-mm-*")?;
    Ok((old.to_owned(), new.to_owned()))
}

/// Computes a stretched tuning from the strings' own inharmonicity
#[derive(Debug, Args)]
#[command(after_help = "\
What is tuned is the first partial; --first-partial says that the offsets which are saved are its own too. With --stepped
octaves are those of the exact partials of wound strings.

Example:
  becket stretch small-160 a
  becket stretch small-160 a --octaves -8=6:3 --octaves 28=4:2 --octaves 52=2:1 --smoothness 1000
  becket stretch small-160 a --stepped --helix
  becket stretch small-160 a --first-partial --save small-160-b.toml --as b")]
pub(crate) struct Stretch {
    /// Model
    #[arg(value_name = "MODEL")]
    pub(crate) model_id: String,
    /// Revision
    #[arg(value_name = "REVISION")]
    pub(crate) revision_id: String,
    /// Pitch of A4 [default: 440]
    #[arg(long, value_name = "HZ")]
    pub(crate) a4: Option<f64>,
    #[command(flatten)]
    pub(crate) models: ModelFlags,
    /// From which note on octaves agree in which partials: 2:1, 4:2, 6:3, 8:4, 10:5 or 12:6
    #[arg(long = "octaves", value_name = "NOTE=RULE", allow_hyphen_values = true)]
    pub(crate) octaves: Vec<OctaveWord>,
    /// Weight of smoothness against the octaves, 0.001 to 1000000 [default: 100]
    #[arg(long, value_name = "WEIGHT")]
    pub(crate) smoothness: Option<f64>,
    /// Write the scale with the offsets in it to this file (.toml)
    #[arg(long, value_name = "FILE", requires = "revision_new")]
    pub(crate) save: Option<PathBuf>,
    /// Revision of the scale that is written
    #[arg(id = "revision_new", long = "as", value_name = "REVISION", requires = "save")]
    pub(crate) save_as: Option<String>,
}

/// From which note on octaves have which rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct OctaveWord {
    pub(crate) first_note: i32,
    pub(crate) rule: OctaveRule,
}

impl FromStr for OctaveWord {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (note, rule) = text.split_once('=').ok_or("NOTE=RULE is needed, such as 28=4:2")?;
        let rule = match rule {
            "2:1" => OctaveRule::TwoOne,
            "4:2" => OctaveRule::FourTwo,
            "6:3" => OctaveRule::SixThree,
            "8:4" => OctaveRule::EightFour,
            "10:5" => OctaveRule::TenFive,
            "12:6" => OctaveRule::TwelveSix,
            other => return Err(format!("{other:?} is not a rule; use 2:1, 4:2, 6:3, 8:4, 10:5 or 12:6")),
        };
        let first_note = note.parse().map_err(|_| format!("{note:?} is not a note"))?;
        Ok(Self { first_note, rule })
    }
}

/// Tells what tolerances of wire, length and pitch do to tension, load, stiffness, cut and windings
#[derive(Debug, Args)]
#[command(after_help = "\
The set is a serial, a stored revision as MODEL/REVISION, or a file of a scale (.toml or .json). Tolerances are limits
or standard deviations, all of one kind.

Example:
  becket bands small-160/a 27 52 88 --core 0.0004in --length 1 --pitch 2
  becket bands S16-0412 --core 0.01 --winding 0.01 --modulus 0.02
  becket bands small-160/a 1 10 --core 0.01 --winding 0.01 --stepped --helix --first-partial
  becket bands small-160/a 1 10 --core 0.01 --winding 0.01 --length 0.5 --windings")]
pub(crate) struct Bands {
    /// Serial, MODEL/REVISION, or file of a scale
    #[arg(value_name = "SET")]
    pub(crate) set: String,
    /// Notes [default: all]
    #[arg(value_name = "NOTE", allow_negative_numbers = true)]
    pub(crate) notes: Vec<i32>,
    /// Diameter of wire or core
    #[arg(long, value_name = "LENGTH", value_parser = length_mm)]
    pub(crate) core: Option<f64>,
    /// Diameter of winding wire
    #[arg(long, value_name = "LENGTH", value_parser = length_mm)]
    pub(crate) winding: Option<f64>,
    /// Speaking length
    #[arg(long, value_name = "LENGTH", value_parser = length_mm)]
    pub(crate) length: Option<f64>,
    /// Pitch
    #[arg(long, value_name = "CENTS")]
    pub(crate) pitch: Option<f64>,
    /// Young's modulus, as a share of itself
    #[arg(long, value_name = "SHARE")]
    pub(crate) modulus: Option<f64>,
    /// Density of wire or core, as a share of itself
    #[arg(long, value_name = "SHARE")]
    pub(crate) core_density: Option<f64>,
    /// Density of winding wire, as a share of itself
    #[arg(long, value_name = "SHARE")]
    pub(crate) winding_density: Option<f64>,
    /// Show what the winder goes by, layer by layer: places, wire, diameter and room to the neighbour
    #[arg(long)]
    pub(crate) windings: bool,
    /// Pitch of A4 [default: 440, or the serial's]
    #[arg(long, value_name = "HZ")]
    pub(crate) a4: Option<f64>,
    #[command(flatten)]
    pub(crate) models: ModelFlags,
}

/// Lists the strings of a serial that its model's standard set does not have, so that only those are ordered
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  becket special S16-0412
  becket special S16-0412 --length 0.5 --cut 2")]
pub(crate) struct Special {
    /// Serial number
    #[arg(value_name = "SERIAL")]
    pub(crate) serial_id: String,
    /// Speaking lengths, and covers of windings, that differ by no more are standard [default: 0.05 mm]
    #[arg(long, value_name = "LENGTH", value_parser = length_mm)]
    pub(crate) length: Option<f64>,
    /// Lengths of wire that differ by no more are standard [default: 0.5 mm]
    #[arg(long, value_name = "LENGTH", value_parser = length_mm)]
    pub(crate) cut: Option<f64>,
    /// Tensions that differ by no more than this share are standard [default: 0.001]
    #[arg(long, value_name = "SHARE")]
    pub(crate) tension: Option<f64>,
    /// Shares of breaking load that differ by no more are standard [default: 0.001]
    #[arg(long, value_name = "SHARE")]
    pub(crate) load: Option<f64>,
    /// Inharmonicities that differ by no more than this share are standard [default: 0.005]
    #[arg(long, value_name = "SHARE")]
    pub(crate) inharmonicity: Option<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn layers_carry_units_and_rules_are_those_of_tuners() {
        let layer: LayerWord = "2.8,18,38in".parse().unwrap();
        assert_eq!((layer.over_mm, layer.start_mm), (2.8, 18.0));
        assert!((layer.end_mm - 965.2).abs() < 1e-9);
        assert!("2.8,18".parse::<LayerWord>().is_err() && "a,b,c".parse::<LayerWord>().is_err());
        let rule: OctaveWord = "-8=6:3".parse().unwrap();
        assert_eq!(rule, OctaveWord { first_note: -8, rule: OctaveRule::SixThree });
        assert!("28=3:1".parse::<OctaveWord>().is_err() && "28".parse::<OctaveWord>().is_err());
        assert_eq!(note_length("-3=10in"), Ok((-3, 254.0)));
        assert_eq!(note_cents("88=+30"), Ok((88, 30.0)));
        assert_eq!(two_wires("a-*=b-*"), Ok(("a-*".to_owned(), "b-*".to_owned())));
        assert!(
            note_wire("x=mw-in-21").is_err() && note_wire("27").is_err() && note_cents("88=high").is_err()
        );
    }
}
