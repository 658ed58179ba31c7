//! What if: a scale with some of its values changed.

use std::collections::BTreeSet;

use becket_scale::{MAX_NOTES, NoteDraft, ScaleDraft};
use becket_units::Fault;

/// Stands at the end of a wire id for any ending.
const ANY_ENDING: char = '*';
/// Most changes of wires.
const MOST_WIRE_CHANGES: usize = 200;
/// Longest id of a wire that is put in: longer ones than a wire can have, so that it is the validation that refuses them.
const LONGEST_ID: usize = 100;
/// Layers of a note that are looked at: one more than are allowed.
const MOST_LAYERS: usize = 3;

/// What becomes of one note. What is absent stays.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct NoteChange {
    /// The note.
    pub note: i32,
    /// Speaking length in mm.
    pub speaking_mm: Option<f64>,
    /// Pitch against equal temperament in cents.
    pub pitch_offset_cents: Option<f64>,
    /// Wire, or core.
    pub wire_id: Option<String>,
}

/// Another wire wherever one is used: as plain wire, as core or in a winding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WireChange {
    /// The wire that is used now; with `*` at its end every wire whose id begins so.
    pub old: String,
    /// The wire that takes its place; with `*` at its end the ending of the old id stands there.
    pub new: String,
}

impl WireChange {
    /// What becomes of a wire id; `None` if this change is not about it.
    fn of(&self, wire_id: &str) -> Option<String> {
        match self.old.strip_suffix(ANY_ENDING) {
            None => (wire_id == self.old).then(|| self.new.clone()),
            Some(beginning) => {
                let ending = wire_id.strip_prefix(beginning)?;
                Some(match self.new.strip_suffix(ANY_ENDING) {
                    Some(new) => format!("{new}{ending}"),
                    None => self.new.clone(),
                })
            }
        }
    }
}

/// A scale with changes in it, and where in it each of them is.
#[derive(Debug, Clone, PartialEq)]
pub struct Changed {
    /// The scale; it keeps model and revision, and is not validated.
    pub scale: ScaleDraft,
    origins: Vec<Origin>,
}

/// Which changes are in one row.
#[derive(Debug, Clone, PartialEq, Default)]
struct Origin {
    /// Change of the note, with what it states.
    note: Option<(usize, NoteChange)>,
    /// Changes of wire or core, and of the layers.
    wire: Option<usize>,
    layers: Vec<Option<usize>>,
}

/// Changes a scale. Wires are changed first, each by the first change that is about it; a note's own change has the last
/// word. The outcome is not validated: what is out of range is found when it is, and [`Changed::blame`] leads it back.
///
/// # Errors
/// All faults with paths from `note_changes` and `wire_changes` on: a note that the scale does not have or that is named twice,
/// a change of a wire that the scale does not use, `*` where it cannot stand, and too many or too long ones.
///
/// # Examples
/// ```
/// use becket_design::{NoteChange, WireChange, changed};
/// # use becket_scale::{NoteDraft, ScaleDraft};
/// # let note = |note: i32| NoteDraft { note, section_id: "a".into(), string_count: 3, speaking_mm: 500.0, front_mm: 100.0,
/// #     back_mm: 100.0, wire_id: "mw-in-17".into(), windings: Vec::new(), hitch: None, pitch_offset_cents: 0.0,
/// #     string_spacing_mm: None, allowances: None };
/// # let scale = ScaleDraft { model_id: "m".into(), revision_id: "a".into(), title: String::new(), first_note: 1,
/// #     last_note: 88, sections: Vec::new(), notes: vec![note(40), note(41)], allowances: None, plate_limit_n: None };
/// let series = WireChange { old: "mw-in-*".into(), new: "mw-mm-*".into() };
/// let longer = NoteChange { note: 41, speaking_mm: Some(510.0), ..NoteChange::default() };
/// let notes = changed(&scale, &[longer], &[series]).unwrap().scale.notes;
/// assert_eq!((notes[0].speaking_mm, notes[1].speaking_mm), (500.0, 510.0));
/// assert_eq!(notes[0].wire_id, "mw-mm-17");
/// ```
pub fn changed(
    scale: &ScaleDraft,
    note_changes: &[NoteChange],
    wire_changes: &[WireChange],
) -> Result<Changed, Vec<Fault>> {
    let faults = excess(note_changes, wire_changes);
    if !faults.is_empty() {
        return Err(faults);
    }
    let mut changed = Changed { scale: scale.clone(), origins: vec![Origin::default(); scale.notes.len()] };
    let mut faults = changed.change_wires(wire_changes);
    faults.extend(changed.change_notes(note_changes));
    if faults.is_empty() { Ok(changed) } else { Err(faults) }
}

/// What is beyond all measure, and would take room and time if it were looked at further.
fn excess(note_changes: &[NoteChange], wire_changes: &[WireChange]) -> Vec<Fault> {
    let mut faults = Vec::new();
    for (field, count, most) in [
        ("note_changes", note_changes.len(), MAX_NOTES),
        ("wire_changes", wire_changes.len(), MOST_WIRE_CHANGES),
    ] {
        if count > most {
            faults.push(Fault::new(field, format!("{count} entries"), format!("up to {most} entries")));
        }
    }
    let new_ids = note_changes
        .iter()
        .enumerate()
        .filter_map(|(at, change)| Some((format!("note_changes[{at}].wire_id"), change.wire_id.as_ref()?)));
    let wires = wire_changes.iter().enumerate();
    let new_ids = new_ids.chain(wires.map(|(at, c)| (format!("wire_changes[{at}].new"), &c.new)));
    for (field, wire_id) in new_ids.filter(|(_, wire_id)| wire_id.len() > LONGEST_ID) {
        let value = format!("{} characters", wire_id.chars().count());
        faults.push(Fault::new(field, value, "the id of a wire"));
    }
    faults
}

impl Changed {
    fn change_notes(&mut self, changes: &[NoteChange]) -> Vec<Fault> {
        let mut faults = Vec::new();
        for (at, change) in changes.iter().enumerate() {
            let path = format!("note_changes[{at}].note");
            match self.scale.notes.iter().position(|row| row.note == change.note) {
                None => faults.push(Fault::new(path, change.note, "a note of the scale")),
                Some(row) if self.origins[row].note.is_some() => {
                    faults.push(Fault::new(path, change.note, "one change for a note"));
                }
                Some(row) => {
                    change.put_into(&mut self.scale.notes[row]);
                    self.origins[row].note = Some((at, change.clone()));
                }
            }
        }
        faults
    }

    fn change_wires(&mut self, changes: &[WireChange]) -> Vec<Fault> {
        let mut used = vec![false; changes.len()];
        let mut change = |wire_id: &mut String| {
            let found = changes.iter().enumerate().find_map(|(at, change)| Some((at, change.of(wire_id)?)));
            let (at, new) = found?;
            *wire_id = new;
            used[at] = true;
            Some(at)
        };
        for (row, origin) in self.scale.notes.iter_mut().zip(&mut self.origins).take(MAX_NOTES) {
            origin.wire = change(&mut row.wire_id);
            let layers = row.windings.iter_mut().take(MOST_LAYERS);
            origin.layers = layers.map(|layer| change(&mut layer.wire_id)).collect();
        }
        let mut faults = Vec::new();
        for (at, (WireChange { old, new }, used)) in changes.iter().zip(used).enumerate() {
            if new.ends_with(ANY_ENDING) && !old.ends_with(ANY_ENDING) {
                let path = format!("wire_changes[{at}].new");
                faults.push(Fault::new(path, new, "`*` only where the old wire has it too"));
            }
            if !used {
                let path = format!("wire_changes[{at}].old");
                let allowed = "a wire that the scale uses and no change before this one takes";
                faults.push(Fault::new(path, old, allowed));
            }
        }
        faults
    }

    /// The wires that changes of wires brought in: path of the change, and the wire, each once.
    #[must_use]
    pub fn new_wires(&self) -> BTreeSet<(String, &str)> {
        let rows = self.scale.notes.iter().zip(&self.origins);
        let places = rows.flat_map(|(row, origin)| {
            // A note's own change has the last word, and its faults have paths of their own.
            let own = origin.note.as_ref().is_some_and(|(_, change)| change.wire_id.is_some());
            let core = origin.wire.filter(|_| !own).map(|at| (at, row.wire_id.as_str()));
            let layers = row.windings.iter().zip(&origin.layers);
            core.into_iter().chain(layers.filter_map(|(layer, at)| Some(((*at)?, layer.wire_id.as_str()))))
        });
        places.map(|(at, wire_id)| (format!("wire_changes[{at}].new"), wire_id)).collect()
    }

    /// Leads a fault of the changed scale, with a path such as `notes[3].wire_id`, back to the change that brought it in;
    /// one that no change is to blame for is found under `scale`.
    #[must_use]
    pub fn blame(&self, fault: Fault) -> Fault {
        let field = self.to_blame(&fault.field).unwrap_or_else(|| format!("scale.{}", fault.field));
        Fault { field, ..fault }
    }

    fn to_blame(&self, field: &str) -> Option<String> {
        let (row, field) = field.strip_prefix("notes[")?.split_once(']')?;
        let Origin { note, wire, layers } = self.origins.get(row.parse::<usize>().ok()?)?;
        let field = field.strip_prefix('.').unwrap_or(field);
        let stated = note.as_ref().filter(|(_, change)| change.states(field));
        if let Some((at, _)) = stated {
            return Some(format!("note_changes[{at}].{field}"));
        }
        let layer = field.strip_prefix("windings[").and_then(|rest| rest.split_once(']'));
        let wire = match layer {
            Some((layer, ".wire_id")) => layers.get(layer.parse::<usize>().ok()?).copied().flatten(),
            _ => wire.filter(|_| field == "wire_id"),
        };
        match (wire, note) {
            (Some(at), _) => Some(format!("wire_changes[{at}].new")),
            (None, Some((at, _))) => Some(format!("note_changes[{at}]")),
            (None, None) => None,
        }
    }
}

impl NoteChange {
    fn states(&self, field: &str) -> bool {
        match field {
            "speaking_mm" => self.speaking_mm.is_some(),
            "pitch_offset_cents" => self.pitch_offset_cents.is_some(),
            "wire_id" => self.wire_id.is_some(),
            _ => false,
        }
    }

    fn put_into(&self, row: &mut NoteDraft) {
        let Self { note: _, speaking_mm, pitch_offset_cents, wire_id } = self;
        row.speaking_mm = speaking_mm.unwrap_or(row.speaking_mm);
        row.pitch_offset_cents = pitch_offset_cents.unwrap_or(row.pitch_offset_cents);
        if let Some(wire_id) = wire_id {
            row.wire_id.clone_from(wire_id);
        }
    }
}
