//! What was found on one instrument, merged into the scale that it was built to.

use becket_units::Fault;
use becket_wire::Catalogue;

use crate::draft::{NoteDraft, ScaleDraft};
use crate::model::{Note, Scale};
use crate::validate::MAX_NOTES;

/// What was found on one serial at one note and differs from the scale. Absent fields keep the scale's values.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct AsBuilt {
    /// Note to which it applies.
    pub note: i32,
    /// Measured speaking length in mm, 20 to 3000.
    pub speaking_mm: Option<f64>,
    /// Measured front length in mm, 0 to 1000.
    pub front_mm: Option<f64>,
    /// Measured back length in mm, 0 to 1500.
    pub back_mm: Option<f64>,
    /// Diameter of the tuning pin in mm, 5 to 10.
    pub tuning_pin_diameter_mm: Option<f64>,
    /// Wire (or core) used instead.
    pub wire_id: Option<String>,
}

/// A scale with the measurements of one serial in it.
#[derive(Debug, Clone, PartialEq)]
pub struct AsBuiltScale {
    /// The scale as merged; it keeps model and revision.
    pub scale: Scale,
    /// Numbers of the notes that differ from the released scale, rising.
    pub as_built_notes: Vec<i16>,
}

impl Scale {
    /// Merges measurements into the scale and validates the outcome as a whole: a shorter speaking length must still
    /// hold its winding, another wire must still be of round steel.
    ///
    /// A measurement that agrees with the scale changes nothing, and its note is not counted as differing.
    ///
    /// # Errors
    /// All faults: measurements of a note that the scale does not have, two entries for one note, values out of range
    /// or against a rule. Paths begin with `as_built[…]`; with `scale.` where an entry is not to blame, such as a wire
    /// that has left the catalogue since.
    pub fn with_as_built(
        &self,
        as_built: &[AsBuilt],
        catalogue: &Catalogue,
    ) -> Result<AsBuiltScale, Vec<Fault>> {
        if as_built.len() > MAX_NOTES {
            let value = format!("{} entries", as_built.len());
            return Err(vec![Fault::new("as_built", value, format!("up to {MAX_NOTES} entries"))]);
        }
        let released = ScaleDraft::from(self);
        let mut merged = released.clone();
        let mut faults = Vec::new();
        // Entry that applies to each row.
        let mut entry_of_row: Vec<Option<usize>> = vec![None; merged.notes.len()];
        for (entry, found) in as_built.iter().enumerate() {
            let mut rows = merged.notes.iter_mut().zip(self.notes()).zip(&mut entry_of_row);
            match rows.find(|((row, _), _)| row.note == found.note) {
                Some(((row, note), of_row @ None)) => {
                    *of_row = Some(entry);
                    found.merge_into(row, note);
                }
                Some((_, Some(other))) => faults.push(Fault::new(
                    format!("as_built[{entry}].note"),
                    found.note,
                    format!("one entry for a note; as_built[{other}] is for this note too"),
                )),
                None => {
                    let (first, last) = self.compass();
                    faults.push(Fault::new(
                        format!("as_built[{entry}].note"),
                        found.note,
                        format!("a note of the scale, {first} to {last}"),
                    ));
                }
            }
        }
        let differs = |(new, old): &(&NoteDraft, &NoteDraft)| new != old;
        let as_built_notes = merged.notes.iter().zip(&released.notes).filter(differs);
        let as_built_notes = as_built_notes.filter_map(|(row, _)| i16::try_from(row.note).ok()).collect();
        match merged.validate(catalogue) {
            Ok(scale) if faults.is_empty() => Ok(AsBuiltScale { scale, as_built_notes }),
            Ok(_) => Err(faults),
            Err(list) => {
                faults.extend(list.into_iter().map(|fault| blame(fault, &entry_of_row)));
                Err(faults)
            }
        }
    }
}

impl AsBuilt {
    fn merge_into(&self, row: &mut NoteDraft, released: &Note) {
        row.speaking_mm = self.speaking_mm.unwrap_or(row.speaking_mm);
        row.front_mm = self.front_mm.unwrap_or(row.front_mm);
        row.back_mm = self.back_mm.unwrap_or(row.back_mm);
        if let Some(wire_id) = &self.wire_id {
            row.wire_id.clone_from(wire_id);
        }
        // A pin as wide as the note has it from section, scale or default is no difference.
        if let Some(pin_mm) = self.tuning_pin_diameter_mm
            && pin_mm != released.effective_allowances().tuning_pin_diameter_mm
        {
            row.allowances.get_or_insert_default().tuning_pin_diameter_mm = Some(pin_mm);
        }
    }
}

/// Leads a fault of the merged scale back to the entry that brought it in. A field that no entry has, such as a winding
/// that no longer fits, is reported at the whole entry of its note.
fn blame(fault: Fault, entry_of_row: &[Option<usize>]) -> Fault {
    let at_row = fault.field.strip_prefix("notes[").and_then(|rest| rest.split_once(']'));
    let entry = at_row.and_then(|(row, field)| {
        let entry = (*entry_of_row.get(row.parse::<usize>().ok()?)?)?;
        Some((entry, field.strip_prefix('.').unwrap_or(field)))
    });
    let field = match entry {
        Some((entry, field @ ("speaking_mm" | "front_mm" | "back_mm" | "wire_id"))) => {
            format!("as_built[{entry}].{field}")
        }
        Some((entry, "allowances.tuning_pin_diameter_mm")) => {
            format!("as_built[{entry}].tuning_pin_diameter_mm")
        }
        Some((entry, _)) => format!("as_built[{entry}]"),
        None => format!("scale.{}", fault.field),
    };
    Fault { field, ..fault }
}
