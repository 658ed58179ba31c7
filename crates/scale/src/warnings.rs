//! What to look at before anybody cuts or strings.
//!
//! All texts are here: what is the matter, and apart from it what a person can do. Where load is concerned they leave the
//! decision to the limits of the plate's maker and to a qualified technician. The limits are those of the options,
//! whose defaults are common practice.

use becket_wire::Wire;

use crate::ids::StringId;
use crate::model::{Note, Scale, WireIndex};
use crate::options::ComputeOptions;
use crate::set::StringFigures;

/// Share of breaking load above which a warning about it becomes a danger: beyond it, the usual spread of wire within
/// its tolerance and of the pull on the first tuning can break the string. Common practice, no source.
const DANGEROUS_LOAD_SHARE: f64 = 0.9;

/// What a warning is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum WarningCode {
    /// A string's share of breaking load is above the limit.
    LoadShareHigh,
    /// A string's tension is above the limit.
    StringTensionHigh,
    /// The tension of two neighbouring notes differs by more than the limit, relative to the mean of the two.
    TensionStep,
    /// The sum of all tensions is above the plate's stated limit.
    PlateLimitExceeded,
    /// A looped pair would have straddled two wires and was tied as two singles.
    PairTiedAtWireChange,
    /// The wire's strength basis gives no value at its diameter, so no share of breaking load is known.
    StrengthUnknown,
    /// The scale states no plate limit, so the total could not be checked.
    PlateLimitUnknown,
    /// Neighbouring strings of a note have less room between them than the limit.
    ClearanceSmall,
}

/// How grave a warning is; rising.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// Good to know; nothing to do.
    Notice,
    /// Look before cutting.
    Warning,
    /// Do not string without a decision by a qualified person.
    Danger,
}

/// One thing to look at.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// What it is about.
    pub code: WarningCode,
    /// How grave it is.
    pub severity: Severity,
    /// Note, where it concerns one; the upper of two neighbours, the lowest of several.
    pub note: Option<i16>,
    /// Strings concerned, if any.
    pub string_ids: Vec<StringId>,
    /// The figure, in the unit of the limit.
    pub figure: Option<f64>,
    /// The limit that it was held against.
    pub limit: Option<f64>,
    /// What is the matter, as a sentence.
    pub message: String,
    /// What a person can do, as a sentence or two.
    pub advice: String,
}

/// A note with the figures of its first string; the others are alike.
type Row<'a> = (&'a Note, &'a StringFigures);

/// All warnings of a set, gravest first, then by note.
pub(crate) fn of(
    scale: &Scale,
    wires: &[&Wire],
    options: &ComputeOptions,
    strings: &[StringFigures],
    straddles: &[usize],
    tension_n: f64,
) -> Vec<Warning> {
    let mut warnings = Vec::new();
    warnings.extend(plate(scale.plate_limit_n(), tension_n));
    let mut below: Option<Row<'_>> = None;
    let mut at = 0;
    for note in scale.notes() {
        let Some(figures) = strings.get(at) else { break };
        at += usize::from(note.string_count);
        let row = (note, figures);
        warnings.extend(load_share(row, options.load_share_limit()));
        warnings.extend(clearance(row, options.clearance_limit_mm()));
        warnings.extend(string_tension(row, options.string_tension_limit_n()));
        warnings.extend(below.and_then(|below| tension_step(below, row, options.tension_step_limit())));
        below = Some(row);
    }
    warnings.extend((0..).zip(wires).filter_map(|(at, wire)| strength_unknown(scale, WireIndex(at), wire)));
    warnings.extend(straddles.iter().filter_map(|&first| strings.get(first..first + 2)).map(pair_tied));
    warnings.sort_by_key(|warning| (std::cmp::Reverse(warning.severity), warning.note, warning.code));
    warnings
}

fn load_share((note, string): Row<'_>, limit: f64) -> Option<Warning> {
    let share = string.load_share.filter(|&share| share > limit)?;
    let remedy = if note.is_wound() {
        "A lighter winding, a thicker core, a shorter length or a lower pitch lowers it."
    } else {
        "A shorter length or a lower pitch lowers it, a thinner wire a little."
    };
    Some(Warning {
        code: WarningCode::LoadShareHigh,
        severity: if share > DANGEROUS_LOAD_SHARE { Severity::Danger } else { Severity::Warning },
        note: Some(note.note),
        string_ids: note.string_ids().collect(),
        figure: Some(share),
        limit: Some(limit),
        message: format!(
            "Note {}: strings of {} are at {:.1} % of the breaking load ({}), above the limit of {:.1} %.",
            note.note,
            string.wire_id,
            share * 100.0,
            string.strength_label,
            limit * 100.0,
        ),
        advice: format!("{remedy} Have a qualified technician decide before it is strung."),
    })
}

fn string_tension((note, string): Row<'_>, limit_n: f64) -> Option<Warning> {
    (string.tension_n > limit_n).then(|| Warning {
        code: WarningCode::StringTensionHigh,
        severity: Severity::Warning,
        note: Some(note.note),
        string_ids: note.string_ids().collect(),
        figure: Some(string.tension_n),
        limit: Some(limit_n),
        message: format!(
            "Note {}: each string pulls {:.0} N, above the limit of {limit_n:.0} N.",
            note.note, string.tension_n,
        ),
        advice: "A thinner wire, a lighter winding or a shorter length lowers it. Pins, agraffes and plate must bear it: keep \
                 to the limits of the plate's maker and ask a qualified technician."
            .to_owned(),
    })
}

fn clearance((note, string): Row<'_>, limit_mm: f64) -> Option<Warning> {
    let clearance_mm = string.clearance_mm.filter(|&clearance_mm| clearance_mm < limit_mm)?;
    Some(Warning {
        code: WarningCode::ClearanceSmall,
        severity: Severity::Warning,
        note: Some(note.note),
        string_ids: note.string_ids().collect(),
        figure: Some(clearance_mm),
        limit: Some(limit_mm),
        message: format!(
            "Note {}: neighbouring strings have {clearance_mm:.2} mm between them, less than the limit of {limit_mm:.2} mm, \
             and may touch when they sound.",
            note.note,
        ),
        advice: "A thinner winding or a wider spacing gives more.".to_owned(),
    })
}

fn tension_step((below, low): Row<'_>, (above, high): Row<'_>, limit: f64) -> Option<Warning> {
    // Relative to the mean, so that a step up and the same step down weigh alike.
    let step = 2.0 * (high.tension_n - low.tension_n).abs() / (high.tension_n + low.tension_n);
    (step > limit).then(|| Warning {
        code: WarningCode::TensionStep,
        severity: Severity::Warning,
        note: Some(above.note),
        string_ids: vec![low.string_id, high.string_id],
        figure: Some(step),
        limit: Some(limit),
        message: format!(
            "Notes {} and {}: the tension of a string steps from {:.0} N to {:.0} N, by {:.1} % of their mean, above the \
             limit of {:.1} %.",
            below.note,
            above.note,
            low.tension_n,
            high.tension_n,
            step * 100.0,
            limit * 100.0,
        ),
        advice: "Look at lengths, wires and windings on both sides.".to_owned(),
    })
}

fn plate(limit_n: Option<f64>, tension_n: f64) -> Option<Warning> {
    let whole_set = |code, severity, message, advice: &str| Warning {
        code,
        severity,
        note: None,
        string_ids: Vec::new(),
        figure: Some(tension_n),
        limit: limit_n,
        message,
        advice: advice.to_owned(),
    };
    let sum_kn = tension_n / 1000.0;
    match limit_n {
        None => Some(whole_set(
            WarningCode::PlateLimitUnknown,
            Severity::Notice,
            format!(
                "The scale states no limit of the plate, so the sum of tensions, {sum_kn:.1} kN, could not be checked."
            ),
            "Ask the plate's maker for the limit and have a qualified technician judge the load.",
        )),
        Some(limit_n) if tension_n > limit_n => Some(whole_set(
            WarningCode::PlateLimitExceeded,
            Severity::Danger,
            format!(
                "All strings together pull {sum_kn:.1} kN, above the {:.1} kN that the plate's maker states.",
                limit_n / 1000.0
            ),
            "Do not string it so. Lower the tensions, or let the plate's maker and a qualified technician decide.",
        )),
        Some(_) => None,
    }
}

fn pair_tied(pair: &[StringFigures]) -> Warning {
    let string_ids: Vec<StringId> = pair.iter().map(|string| string.string_id).collect();
    let ids: Vec<String> = string_ids.iter().map(StringId::to_string).collect();
    let wires: Vec<&str> = pair.iter().map(|string| string.wire_id.as_str()).collect();
    Warning {
        code: WarningCode::PairTiedAtWireChange,
        severity: Severity::Notice,
        note: string_ids.last().map(|string| string.note()),
        string_ids,
        figure: None,
        limit: None,
        message: format!(
            "Strings {} would share a looped piece but are of {}, so each is tied.",
            ids.join(" and "),
            wires.join(" and "),
        ),
        advice: "Changing the wire one note earlier or later can avoid it.".to_owned(),
    }
}

/// One warning for each wire, not for each of its strings: they all have the same cause.
fn strength_unknown(scale: &Scale, index: WireIndex, wire: &Wire) -> Option<Warning> {
    if !wire.material().carries_tension() || wire.breaking_load_n().is_some() {
        return None;
    }
    let mut notes = scale.notes().iter().filter(|note| note.wire == index).peekable();
    let first = notes.peek()?.note;
    let string_ids: Vec<StringId> = notes.flat_map(Note::string_ids).collect();
    let basis = wire.strength().map_or("its strength basis", |basis| basis.label.as_str());
    Some(Warning {
        code: WarningCode::StrengthUnknown,
        severity: Severity::Warning,
        note: Some(first),
        message: format!(
            "Wire {}: {basis} gives no strength at {} mm, so the load of its strings, {} from note {first} on, could not be \
             checked.",
            wire.wire_id(),
            wire.diameter_mm(),
            string_ids.len(),
        ),
        advice:
            "Give the wire a basis that covers its diameter, and have a qualified technician judge the load."
                .to_owned(),
        string_ids,
        figure: None,
        limit: None,
    })
}
