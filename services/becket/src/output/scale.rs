//! Scales.

use becket_api::stringing::{HitchStyle, Note, Scale, ScaleState};
use becket_units::UnitSystem;

use super::{
    Measures, Sheet, left,
    names::{note_name, time, word},
    right,
};

/// One row for each revision.
pub(crate) fn scale_sheet(scales: &[Scale], _units: UnitSystem) -> Sheet {
    let columns = [left("model"), left("revision"), left("state"), left("released"), left("title")];
    let rows = scales.iter().map(|scale| {
        vec![
            scale.model_id.clone(),
            scale.revision_id.clone(),
            state(scale),
            time(scale.release_time.as_ref()),
            scale.title.clone(),
        ]
    });
    Sheet::of(columns, rows)
}

/// One row for each note.
pub(crate) fn notes_sheet(scale: &Scale, units: UnitSystem) -> Sheet {
    let measures = Measures(units);
    let length = measures.length_unit();
    let columns = [
        right("note", ""),
        left("name"),
        left("section"),
        right("strings", ""),
        right("speaking", length),
        right("front", length),
        right("back", length),
        left("wire"),
        left("windings"),
        left("hitch"),
        right("offset", "cents"),
    ];
    let rows = scale.notes.iter().map(|note| {
        vec![
            note.note.to_string(),
            note_name(note.note),
            note.section_id.clone(),
            note.string_count.to_string(),
            measures.length(note.speaking_mm),
            measures.length(note.front_mm),
            measures.length(note.back_mm),
            note.wire_id.clone(),
            note.windings.iter().map(|winding| winding.wire_id.as_str()).collect::<Vec<_>>().join(" + "),
            hitch(scale, note),
            format!("{:.1}", note.pitch_offset_cents),
        ]
    });
    Sheet::of(columns, rows)
}

/// A revision in full.
pub(crate) fn scale_text(scale: &Scale, units: UnitSystem) -> String {
    let strings: i32 = scale.notes.iter().map(|note| note.string_count).sum();
    let plate = scale.plate_limit_n.map_or_else(|| "not stated".to_owned(), |limit| units.force(limit));
    format!(
        "{} revision {}, {}: {}\n  {} notes from {} to {}, {strings} strings; plate limit {plate}; etag {}\n\n{}",
        scale.model_id,
        scale.revision_id,
        state(scale),
        scale.title,
        scale.notes.len(),
        note_name(scale.first_note),
        note_name(scale.last_note),
        scale.etag,
        notes_sheet(scale, units).table(),
    )
}

/// How the note is fixed: as it says itself, or as its section says; wound strings are always tied.
fn hitch(scale: &Scale, note: &Note) -> String {
    if !note.windings.is_empty() {
        return "tied".to_owned();
    }
    let of_section =
        || scale.sections.iter().find(|section| section.section_id == note.section_id).map(|s| s.hitch);
    let style = note.hitch.or_else(of_section).unwrap_or_default();
    word(style, HitchStyle::as_str_name, "HITCH_STYLE_")
}

fn state(scale: &Scale) -> String {
    word(scale.state, ScaleState::as_str_name, "SCALE_STATE_")
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::{Section, Winding};
    use expect_test::expect;

    use super::*;

    fn scale() -> Scale {
        let section = |id: &str| Section {
            section_id: id.into(),
            hitch: HitchStyle::LoopedBack.into(),
            ..Section::default()
        };
        let wound = Note {
            note: 1,
            section_id: "bass".into(),
            string_count: 1,
            speaking_mm: 1524.0,
            front_mm: 100.0,
            back_mm: 200.0,
            wire_id: "mw-in-22".into(),
            windings: vec![Winding { wire_id: "cu-1.00".into(), ..Winding::default() }],
            ..Note::default()
        };
        let plain = Note {
            note: 52,
            section_id: "tenor".into(),
            string_count: 3,
            speaking_mm: 344.25,
            wire_id: "mw-in-16".into(),
            pitch_offset_cents: 1.5,
            ..Note::default()
        };
        Scale {
            model_id: "m".into(),
            revision_id: "a".into(),
            title: "Test".into(),
            first_note: 1,
            last_note: 88,
            sections: vec![section("bass"), section("tenor")],
            notes: vec![wound, plain],
            plate_limit_n: Some(210_000.0),
            state: ScaleState::Draft.into(),
            etag: "1".into(),
            ..Scale::default()
        }
    }

    #[test]
    fn a_scale_shows_its_notes() {
        expect![[r#"
            m revision a, draft: Test
              2 notes from A0 to C8, 4 strings; plate limit 210000.0 N; etag 1

             note   name   section   strings   speaking   front    back   wire       windings   hitch         offset
                                                     mm      mm      mm                                        cents
            ─────────────────────────────────────────────────────────────────────────────────────────────────────────
                1   A0     bass            1     1524.0   100.0   200.0   mw-in-22   cu-1.00    tied             0.0
               52   C5     tenor           3      344.2     0.0     0.0   mw-in-16              looped back      1.5
        "#]].assert_eq(&scale_text(&scale(), UnitSystem::Metric));
        expect![[r#"
            note,name,section,strings,speaking_in,front_in,back_in,wire,windings,hitch,offset_cents
            1,A0,bass,1,60.000,3.937,7.874,mw-in-22,cu-1.00,tied,0.0
            52,C5,tenor,3,13.553,0.000,0.000,mw-in-16,,looped back,1.5
        "#]]
        .assert_eq(&notes_sheet(&scale(), UnitSystem::Inch).csv());
        expect![[r#"
             model   revision   state   released   title
            ─────────────────────────────────────────────
             m       a          draft              Test
        "#]]
        .assert_eq(&scale_sheet(&[scale()], UnitSystem::Metric).table());
    }
}
