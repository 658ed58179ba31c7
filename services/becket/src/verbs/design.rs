//! `design`, `replace`, `compare`, `stretch`, `bands` and `special`.

use std::collections::BTreeMap;
use std::path::Path;

use becket_api::stringing::{
    CompareSetsRequest, ComputeBandsRequest, ComputeOptions, ComputeStretchRequest, CoreShape,
    DesignBassRequest, DesignPlainWiresRequest, DifferenceTolerances, GetScaleRequest,
    ListSpecialStringsRequest, MatchReplacementRequest, MeasuredLayer, MeasuredString, Note, NoteChange,
    OctaveRegion, Scale, ScaleReference, SetSource, Tolerances, WireChange, set_source::Source,
};

use super::call;
use crate::{
    cli::{Bands, Compare, Design, DesignFile, LayerWord, ModelFlags, Replace, Special, Stretch},
    context::Context,
    errors::Failure,
    files, output,
};

/// Chooses wire.
///
/// # Errors
/// [`Failure`] of the file, the call or of printing.
pub(super) async fn design(context: &Context, what: &Design) -> Result<(), Failure> {
    match what {
        Design::Bass(args) => {
            let request: DesignBassRequest = files::question(&args.file)?;
            let asked = request.notes.clone();
            let answer = call!(context.client.designs(), design_bass, request)?;
            let sheet = |units| output::bass_sheet(&answer.notes, units);
            context.show(&answer, |units| output::bass_text(&answer, units), sheet)?;
            put_into(context, args, |row| {
                let choice = answer.notes.iter().find(|choice| choice.note == row.note);
                let note = asked.iter().find(|note| note.note == row.note);
                if let (Some(choice), Some(note)) = (choice, note) {
                    row.wire_id.clone_from(&choice.core_wire_id);
                    row.windings.clone_from(&choice.windings);
                    (row.speaking_mm, row.pitch_offset_cents) = (note.speaking_mm, note.pitch_offset_cents);
                }
            })
        }
        Design::Plain(args) => {
            let request: DesignPlainWiresRequest = files::question(&args.file)?;
            let asked = request.notes.clone();
            let answer = call!(context.client.designs(), design_plain_wires, request)?;
            let sheet = |units| output::plain_sheet(&answer.notes, units);
            context.show(&answer, |units| output::plain_text(&answer, units), sheet)?;
            put_into(context, args, |row| {
                let choice = answer.notes.iter().find(|choice| choice.note == row.note);
                let note = asked.iter().find(|note| note.note == row.note);
                if let (Some(choice), Some(note)) = (choice, note) {
                    row.wire_id.clone_from(&choice.wire_id);
                    row.windings.clear();
                    (row.speaking_mm, row.pitch_offset_cents) = (note.speaking_mm, note.pitch_offset_cents);
                }
            })
        }
    }
}

/// Puts a design into the scale that the command line names, if it does, and writes it as a revision to be loaded.
fn put_into(context: &Context, args: &DesignFile, change: impl Fn(&mut Note)) -> Result<(), Failure> {
    let (Some(into), Some(path), Some(revision)) = (&args.into, &args.save, &args.save_as) else {
        return Ok(());
    };
    let mut scale = files::scale(into)?;
    scale.revision_id.clone_from(revision);
    scale.notes.iter_mut().for_each(change);
    files::write_scale(path, &scale)?;
    context.remark(&format!("Written to {}: {} revision {revision}.", path.display(), scale.model_id))
}

/// Finds stocked wire for an old string.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn replace(context: &Context, args: &Replace) -> Result<(), Failure> {
    let layer = |&LayerWord { over_mm, start_mm, end_mm }: &LayerWord| MeasuredLayer {
        over_diameter_mm: over_mm,
        start_mm,
        end_mm,
        density_kg_m3: None,
    };
    let string = MeasuredString {
        note: args.note,
        speaking_mm: args.speaking_mm,
        core_shape: if args.hex { CoreShape::Hexagonal } else { CoreShape::Round }.into(),
        core_diameter_mm: args.core_mm,
        layers: args.layers.iter().map(layer).collect(),
        ..MeasuredString::default()
    };
    let models = args.models.options(None).unwrap_or_default();
    let request = MatchReplacementRequest {
        string: Some(string),
        a4_hz: args.a4,
        candidate_count: args.count,
        max_load_share: args.max_load,
        pitch_basis: models.pitch_basis,
        string_model: models.string_model,
        winding_model: models.winding_model,
        partial_count: models.partial_count,
        ..MatchReplacementRequest::default()
    };
    let answer = call!(context.client.designs(), match_replacement, request)?;
    let sheet = |units| output::replacement_sheet(&answer.candidates, units);
    context.show(&answer, |units| output::replacement_text(&answer, units), sheet)
}

/// Tells what differs between two sets.
///
/// # Errors
/// [`Failure`] of a file, the call or of printing.
pub(super) async fn compare(context: &Context, args: &Compare) -> Result<(), Failure> {
    let new = source(&args.new, of_one(args.new_a4, args.new_stepped))?;
    let wire_changes =
        args.new_series.iter().map(|(old, new)| WireChange { old: old.clone(), new: new.clone() });
    let request = CompareSetsRequest {
        old: Some(source(&args.old, of_one(args.old_a4, args.old_stepped))?),
        new: Some(SetSource {
            note_changes: note_changes(args),
            wire_changes: wire_changes.collect(),
            ..new
        }),
        tolerances: None,
    };
    let answer = call!(context.client.designs(), compare_sets, request)?;
    let sheet = |units| output::difference_sheet(&answer.rows, units);
    context.show(&answer, |units| output::difference_text(&answer, units), sheet)
}

/// The changes of single notes, all of a note in one.
fn note_changes(args: &Compare) -> Vec<NoteChange> {
    let mut changes: BTreeMap<i32, NoteChange> = BTreeMap::new();
    let mut of = |note, put: &dyn Fn(&mut NoteChange)| {
        put(changes.entry(note).or_insert_with(|| NoteChange { note, ..NoteChange::default() }));
    };
    args.new_length.iter().for_each(|&(note, mm)| of(note, &|change| change.speaking_mm = Some(mm)));
    args.new_pitch
        .iter()
        .for_each(|&(note, cents)| of(note, &|change| change.pitch_offset_cents = Some(cents)));
    args.new_wire
        .iter()
        .for_each(|(note, wire_id)| of(*note, &|change| change.wire_id = Some(wire_id.clone())));
    changes.into_values().collect()
}

/// Options of one of two sets.
fn of_one(a4_hz: Option<f64>, stepped: bool) -> Option<ComputeOptions> {
    ModelFlags { first_partial: false, stepped, helix: false, partials: None }.options(a4_hz)
}

/// A set by its word: a file of a scale, MODEL/REVISION, or a serial.
pub(super) fn source(word: &str, options: Option<ComputeOptions>) -> Result<SetSource, Failure> {
    let path = Path::new(word);
    let source = if path.extension().is_some_and(|extension| extension == "toml" || extension == "json") {
        Source::Scale(files::scale(path)?)
    } else if let Some((model_id, revision_id)) = word.split_once('/') {
        Source::Stored(ScaleReference { model_id: model_id.to_owned(), revision_id: revision_id.to_owned() })
    } else {
        Source::SerialId(word.to_owned())
    };
    Ok(SetSource { source: Some(source), options, ..SetSource::default() })
}

/// Stretches a tuning.
///
/// # Errors
/// [`Failure`] of the calls, of the file that is written or of printing.
pub(super) async fn stretch(context: &Context, args: &Stretch) -> Result<(), Failure> {
    let reference = ScaleReference { model_id: args.model_id.clone(), revision_id: args.revision_id.clone() };
    let regions =
        args.octaves.iter().map(|word| OctaveRegion { first_note: word.first_note, rule: word.rule.into() });
    let request = ComputeStretchRequest {
        source: Some(SetSource {
            source: Some(Source::Stored(reference)),
            options: args.models.options(args.a4),
            ..SetSource::default()
        }),
        regions: regions.collect(),
        smoothness: args.smoothness,
        ..ComputeStretchRequest::default()
    };
    let answer = call!(context.client.designs(), compute_stretch, request)?;
    let sheet = |units| output::stretch_sheet(&answer.notes, units);
    context.show(&answer, |units| output::stretch_text(&answer, units), sheet)?;
    match (&args.save, &args.save_as) {
        (Some(path), Some(revision)) => save(context, args, path, revision, answer.scale_notes).await,
        _ => Ok(()),
    }
}

/// Writes the scale with the tuning in it, as a revision to be loaded.
async fn save(
    context: &Context,
    args: &Stretch,
    path: &Path,
    revision: &str,
    notes: Vec<Note>,
) -> Result<(), Failure> {
    let request = GetScaleRequest { model_id: args.model_id.clone(), revision_id: args.revision_id.clone() };
    let scale =
        call!(context.client.scales(), get_scale, request)?.scale.ok_or(Failure::Answer("the scale"))?;
    let tuned = Scale {
        revision_id: revision.to_owned(),
        notes,
        state: 0,
        etag: String::new(),
        create_time: None,
        update_time: None,
        release_time: None,
        ..scale
    };
    files::write_scale(path, &tuned)?;
    context.remark(&format!("Written to {}: {} revision {revision}.", path.display(), args.model_id))
}

/// Tells what tolerances do.
///
/// # Errors
/// [`Failure`] of a file, the call or of printing.
pub(super) async fn bands(context: &Context, args: &Bands) -> Result<(), Failure> {
    let tolerances = Tolerances {
        core_diameter_mm: args.core,
        winding_diameter_mm: args.winding,
        speaking_mm: args.length,
        pitch_cents: args.pitch,
        youngs_modulus_share: args.modulus,
        core_density_share: args.core_density,
        winding_density_share: args.winding_density,
    };
    let request = ComputeBandsRequest {
        source: Some(source(&args.set, args.models.options(args.a4))?),
        notes: args.notes.clone(),
        tolerances: Some(tolerances),
    };
    let answer = call!(context.client.designs(), compute_bands, request)?;
    let (bands, windings) = (output::bands_sheet, output::winding_bands_sheet);
    let sheet =
        |units| if args.windings { windings(&answer.notes, units) } else { bands(&answer.notes, units) };
    context.show(&answer, |units| output::bands_text(&answer, &sheet(units)), sheet)
}

/// Lists the strings of a serial that are not standard.
///
/// # Errors
/// [`Failure`] of the call or of printing.
pub(super) async fn special(context: &Context, args: &Special) -> Result<(), Failure> {
    let tolerances = DifferenceTolerances {
        speaking_mm: args.length,
        tension_share: args.tension,
        load_share: args.load,
        inharmonicity_share: args.inharmonicity,
        cut_mm: args.cut,
        frequency_cents: None,
    };
    let request = ListSpecialStringsRequest {
        serial_id: args.serial_id.clone(),
        tolerances: Some(tolerances),
        standard_options: None,
    };
    let answer = call!(context.client.designs(), list_special_strings, request)?;
    let sheet = |units| output::special_sheet(&answer.strings, units);
    context.show(&answer, |units| output::special_text(&answer, units), sheet)
}
