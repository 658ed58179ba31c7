//! From string sets to lines.

use becket_scale::{Scale, StringFigures, StringSet, WindingFigures};
use becket_wire::Catalogue;

use crate::{
    OrderError,
    materials::materials,
    order::{Layer, OrderLine, SerialQuantity, WindingOrder, rounded},
};

/// An instrument whose wound strings are ordered.
#[derive(Debug, Clone, Copy)]
pub struct Instrument<'a> {
    /// Serial.
    pub serial_id: &'a str,
    /// Its scale, with its own measurements.
    pub scale: &'a Scale,
    /// The set that was computed from the scale.
    pub set: &'a StringSet,
    /// The wires of the scale.
    pub catalogue: &'a Catalogue,
}

/// Gathers the wound strings of some instruments into one order. Strings that are alike in every rounded figure make one
/// line, whichever instrument and note-mate they are for; strings of different notes never do, since they are labelled
/// by note.
///
/// # Units
/// Lengths in mm (cuts in µm, totals in m), masses in g (totals in kg); see the fields for how each is rounded.
///
/// # Errors
/// [`OrderError::NothingWound`] for an instrument without wound strings, [`OrderError::Inconsistent`] for a set that was
/// not computed from the scale and catalogue beside it, [`OrderError::Packs`] for packs of absurd mass.
pub fn wound_strings(instruments: &[Instrument<'_>]) -> Result<WindingOrder, OrderError> {
    let mut lines: Vec<OrderLine> = Vec::new();
    for instrument in instruments {
        let mut wound = instrument.set.strings.iter().filter(|string| string.wound.is_some()).peekable();
        if wound.peek().is_none() {
            return Err(OrderError::NothingWound { serial_id: instrument.serial_id.to_owned() });
        }
        for string in wound {
            add(&mut lines, line(instrument, string)?);
        }
    }
    // Stable: lines of a note stay in the order of their first serial.
    lines.sort_by_key(|line| line.note);
    let materials = materials(instruments, &lines)?;
    Ok(WindingOrder { lines, materials })
}

/// Adds the strings of a line to those that are there.
fn add(lines: &mut Vec<OrderLine>, new: OrderLine) {
    let Some(there) = lines.iter_mut().find(|line| line.is_like(&new)) else {
        lines.push(new);
        return;
    };
    there.quantity += new.quantity;
    for serial in new.serials {
        match there.serials.iter_mut().find(|known| known.serial_id == serial.serial_id) {
            Some(known) => known.quantity += serial.quantity,
            None => there.serials.push(serial),
        }
    }
}

/// The line of a single string.
fn line(instrument: &Instrument<'_>, string: &StringFigures) -> Result<OrderLine, OrderError> {
    let inconsistent =
        |what: String| OrderError::Inconsistent { serial_id: instrument.serial_id.to_owned(), what };
    let note = string.string_id.note();
    let row = instrument.scale.notes().iter().find(|row| row.note == note);
    let row = row.ok_or_else(|| inconsistent(format!("note {note}")))?;
    let piece = instrument.set.pieces.iter().find(|piece| piece.piece_id == string.piece_id);
    let piece = piece.ok_or_else(|| inconsistent(format!("piece {}", string.piece_id)))?;
    let wound = string.wound.ok_or_else(|| inconsistent(format!("the winding of {}", string.string_id)))?;
    let layers: Vec<_> = string.windings.iter().map(layer).collect();
    let core_mass_g = rounded(piece.mass_g, 1e3);
    let mass_g = core_mass_g + layers.iter().map(|layer| layer.wire_mass_g).sum::<f64>();
    Ok(OrderLine {
        note,
        quantity: 1,
        serials: vec![SerialQuantity { serial_id: instrument.serial_id.to_owned(), quantity: 1 }],
        core_wire_id: string.wire_id.clone(),
        layers,
        overall_relaxed_mm: rounded(wound.overall_relaxed_mm, 1e2),
        eye_mm: rounded(row.effective_allowances().eye_mm, 1e2),
        cut: piece.length,
        core_mass_g,
        // Rounded again, since a sum of decimal fractions is none.
        mass_g: rounded(mass_g, 1e3),
    })
}

fn layer(figures: &WindingFigures) -> Layer {
    Layer {
        wire_id: figures.wire_id.clone(),
        start_from_eye_mm: rounded(figures.relaxed.start_mm, 1e2),
        end_from_eye_mm: rounded(figures.relaxed.end_mm, 1e2),
        outer_diameter_mm: rounded(figures.outer_diameter_mm, 1e3),
        wire_length_mm: figures.wire_length_mm.round(),
        wire_mass_g: rounded(figures.wire_mass_g, 1e3),
    }
}
