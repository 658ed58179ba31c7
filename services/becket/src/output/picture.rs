//! String sets as pictures: which of their figures are drawn, and what is said beside them.

use std::collections::HashMap;

use becket_api::stringing::{
    ComputeStretchResponse, PitchBasis, Scale, StringFigures, StringModel, StringSet, WindingModel,
};
use becket_plot::{CurveSet, Picture, SectionSpan, StringPoint};

use super::names::word;
use crate::errors::Failure;

/// The stretch computed from a set's own strings, or why there is none.
#[derive(Debug, Clone)]
pub(crate) enum Tuning {
    /// It is there.
    Computed(Box<ComputeStretchResponse>),
    /// It could not be computed.
    Refused(String),
}

/// A picture of one set, or of two over each other.
///
/// # Errors
/// [`Failure::Answer`] if a set lacks what it was computed from.
pub(crate) fn picture(title: Option<&str>, drawn: &[(StringSet, Tuning)]) -> Result<Picture, Failure> {
    let sets = || drawn.iter().map(|(set, _)| set);
    let labels: Vec<_> = sets().map(label).collect();
    let title = title.map_or_else(|| labels.join(" and "), str::to_owned);
    let mut remarks = Vec::new();
    for set in sets() {
        for remark in set_remarks(set) {
            if !remarks.contains(&remark) {
                remarks.push(remark);
            }
        }
    }
    for (label, (_, tuning)) in labels.iter().zip(drawn) {
        remarks.push(match tuning {
            Tuning::Computed(tuning) => format!("{label}: stretch {:.1} cents in all", tuning.total_cents),
            Tuning::Refused(why) => format!("{label}: no stretch, {why}"),
        });
    }
    remarks.push("bands of load: common practice, no source".to_owned());
    let sets = drawn.iter().zip(labels).map(|((set, tuning), label)| curves(set, tuning, label));
    let sets = sets.collect::<Result<_, _>>()?;
    Ok(Picture { title, sets, remarks })
}

fn label(set: &StringSet) -> String {
    let model = format!("{} revision {}", set.model_id, set.revision_id);
    if set.serial_id.is_empty() { model } else { format!("{}: {model}", set.serial_id) }
}

/// Pitch and bases of strength, without which the curves say little.
fn set_remarks(set: &StringSet) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some(options) = set.basis.as_ref().and_then(|basis| basis.options.as_ref()) {
        let basis = options.pitch_basis.map(|basis| word(basis, PitchBasis::as_str_name, "PITCH_BASIS_"));
        let a4_hz = options.a4_hz.unwrap_or_default();
        remarks.push(format!("A4 {a4_hz:.2} Hz, {}", basis.unwrap_or_default()));
        let string = options.string_model.map(|model| word(model, StringModel::as_str_name, "STRING_MODEL_"));
        let winding =
            options.winding_model.map(|model| word(model, WindingModel::as_str_name, "WINDING_MODEL_"));
        remarks.push(format!(
            "wound strings: {}, windings as {}",
            string.unwrap_or_default(),
            winding.unwrap_or_default()
        ));
    }
    for string in &set.strings {
        let remark = format!("strength: {}", string.strength_label);
        if !string.strength_label.is_empty() && !remarks.contains(&remark) {
            remarks.push(remark);
        }
    }
    remarks
}

fn curves(set: &StringSet, tuning: &Tuning, label: String) -> Result<CurveSet, Failure> {
    let basis = set.basis.as_ref().ok_or(Failure::Answer("what the set was computed from"))?;
    let scale = basis.scale.as_ref().ok_or(Failure::Answer("the scale of the set"))?;
    let diameters_mm: HashMap<_, _> =
        basis.wires.iter().map(|wire| (wire.wire_id.as_str(), wire.diameter_mm)).collect();
    let offsets_cents: HashMap<_, _> =
        scale.notes.iter().map(|note| (note.note, note.pitch_offset_cents)).collect();
    let stretch_cents: HashMap<_, _> = match tuning {
        Tuning::Computed(tuning) => tuning.notes.iter().map(|note| (note.note, note.offset_cents)).collect(),
        Tuning::Refused(_) => HashMap::new(),
    };
    let point = |string: &StringFigures| -> Result<StringPoint, Failure> {
        let wire_mm = diameters_mm.get(string.wire_id.as_str());
        Ok(StringPoint {
            note: string.note,
            speaking_mm: string.speaking_mm,
            wire_mm: *wire_mm.ok_or(Failure::Answer("a wire of the set"))?,
            outer_mm: string.windings.last().map(|winding| winding.outer_diameter_mm),
            tension_n: string.tension_n,
            load_share: string.load_share,
            inharmonicity: string.inharmonicity,
            pitch_offset_cents: offsets_cents.get(&string.note).copied().unwrap_or_default(),
            stretch_cents: stretch_cents.get(&string.note).copied(),
        })
    };
    let strings = set.strings.iter().map(point).collect::<Result<_, _>>()?;
    Ok(CurveSet { label, sections: sections(scale), strings })
}

/// Sections in order; one without notes has no place on the compass.
fn sections(scale: &Scale) -> Vec<SectionSpan> {
    let span = |section: &becket_api::stringing::Section| {
        let notes = || scale.notes.iter().filter(|note| note.section_id == section.section_id);
        let title = if section.title.is_empty() { &section.section_id } else { &section.title };
        Some(SectionSpan {
            title: title.clone(),
            first_note: notes().map(|note| note.note).min()?,
            last_note: notes().map(|note| note.note).max()?,
        })
    };
    scale.sections.iter().filter_map(span).collect()
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{Note, Section, SetBasis, StretchedNote, WindingFigures, Wire};

    use super::*;

    fn set() -> StringSet {
        let note = |note, section: &str, pitch_offset_cents| Note {
            note,
            section_id: section.to_owned(),
            pitch_offset_cents,
            ..Note::default()
        };
        let section = |id: &str, title: &str| Section {
            section_id: id.to_owned(),
            title: title.to_owned(),
            ..Section::default()
        };
        let string = |note, windings| StringFigures {
            note,
            wire_id: "mw-in-16".to_owned(),
            speaking_mm: 1000.0,
            tension_n: 700.0,
            inharmonicity: 1e-4,
            strength_label: "stated".to_owned(),
            windings,
            ..StringFigures::default()
        };
        let layer = |outer_diameter_mm| WindingFigures { outer_diameter_mm, ..WindingFigures::default() };
        let scale = Scale {
            sections: vec![section("bass", "Bass"), section("spare", ""), section("tenor", "")],
            notes: vec![note(1, "bass", -8.0), note(2, "bass", -7.0), note(3, "tenor", 0.0)],
            ..Scale::default()
        };
        let wire = Wire { wire_id: "mw-in-16".to_owned(), diameter_mm: 0.94, ..Wire::default() };
        StringSet {
            serial_id: "X-1".to_owned(),
            model_id: "m".to_owned(),
            revision_id: "a".to_owned(),
            basis: Some(SetBasis { scale: Some(scale), wires: vec![wire], ..SetBasis::default() }),
            strings: vec![
                string(1, vec![layer(2.0), layer(3.5)]),
                string(2, vec![layer(3.0)]),
                string(3, vec![]),
            ],
            ..StringSet::default()
        }
    }

    #[test]
    fn figures_of_scale_wires_and_strings_come_together() {
        let tuning = ComputeStretchResponse {
            notes: vec![StretchedNote { note: 2, offset_cents: -6.5, ..StretchedNote::default() }],
            total_cents: 34.56,
            ..ComputeStretchResponse::default()
        };
        let picture = picture(None, &[(set(), Tuning::Computed(Box::new(tuning)))]).unwrap();
        let stretch: Vec<_> = picture.sets[0].strings.iter().map(|string| string.stretch_cents).collect();
        assert_eq!(stretch, [None, Some(-6.5), None]);
        assert!(picture.remarks.contains(&"X-1: m revision a: stretch 34.6 cents in all".to_owned()));
        assert_eq!(picture.title, "X-1: m revision a");
        let curves = &picture.sets[0];
        let outer: Vec<_> = curves.strings.iter().map(|string| string.outer_mm).collect();
        assert_eq!(outer, [Some(3.5), Some(3.0), None], "over the outermost layer");
        let offsets: Vec<_> = curves.strings.iter().map(|string| string.pitch_offset_cents).collect();
        assert_eq!(offsets, [-8.0, -7.0, 0.0]);
        assert!(curves.strings.iter().all(|string| (string.wire_mm - 0.94).abs() < 1e-12));
        let spans: Vec<_> =
            curves.sections.iter().map(|s| (s.title.as_str(), s.first_note, s.last_note)).collect();
        assert_eq!(spans, [("Bass", 1, 2), ("tenor", 3, 3)]);
        assert!(picture.remarks.contains(&"strength: stated".to_owned()), "{:?}", picture.remarks);
    }

    #[test]
    fn what_is_missing_is_told() {
        let bare = StringSet { basis: None, ..set() };
        let alone = |set| [(set, Tuning::Refused("too few notes".to_owned()))];
        assert!(matches!(picture(None, &alone(bare)), Err(Failure::Answer(_))));
        let mut unknown = set();
        unknown.strings[1].wire_id = "mw-in-99".to_owned();
        assert!(matches!(picture(None, &alone(unknown)), Err(Failure::Answer("a wire of the set"))));
    }
}
