//! The partials of single notes, without the whole set.

use std::sync::Arc;

use becket_acoustics::WindingModel;
use becket_wire::{Catalogue, WireId};

use crate::compute::{ComputeError, find_wires};
use crate::model::{Note, Scale};
use crate::options::ComputeOptions;
use crate::set::PartialFigures;
use crate::string::NoteFigures;
use crate::vibration::StringBody;
use crate::windings::Layers;

/// The partials of a note's strings, which are alike.
#[derive(Debug, Clone, PartialEq)]
pub struct NotePartials {
    /// Note.
    pub note: i16,
    /// Wire, or core.
    pub wire_id: WireId,
    /// Target frequency in Hz, on the pitch basis of the options.
    pub frequency_hz: f64,
    /// Speaking length in mm.
    pub speaking_mm: f64,
    /// Linear density in g/m as it acts on the first partial.
    pub linear_density_g_m: f64,
    /// Tension in N.
    pub tension_n: f64,
    /// The partials.
    pub partials: Arc<PartialFigures>,
}

/// The strings of every note of a scale as they vibrate, rising, before they have a tension.
///
/// # Errors
/// [`ComputeError`] for a wire that the catalogue lacks or that does not fit.
pub fn bodies(
    scale: &Scale,
    catalogue: &Catalogue,
    model: WindingModel,
) -> Result<Vec<(i16, StringBody)>, ComputeError> {
    let wires = find_wires(scale, catalogue)?;
    let body = |note: &Note| {
        let layers = Layers { note, core: wires[note.wire.at()], wires: &wires };
        let body = layers.body(model).map_err(|source| ComputeError::Formula { note: note.note, source })?;
        Ok((note.note, body))
    };
    scale.notes().iter().map(body).collect()
}

/// Computes the partials of the notes of a scale that `wanted` accepts, rising.
///
/// # Units
/// As the fields of [`NotePartials`] say.
///
/// # Formula
/// By the string model of the options: closed form `f_n = n·f0·√(1 + B·n²)`, or the exact partials of the stepped stiff
/// string, see [`becket_acoustics::SteppedString`].
///
/// # Valid range and accuracy
/// Deterministic. Stepped partials are enclosed to 1e-12 of the frequency.
///
/// # Errors
/// As [`crate::compute`].
///
/// # Source
/// See [`becket_acoustics::SteppedString`] and [`becket_acoustics::fit_inharmonicity`].
pub fn partials(
    scale: &Scale,
    catalogue: &Catalogue,
    options: &ComputeOptions,
    wanted: impl Fn(i16) -> bool,
) -> Result<Vec<NotePartials>, ComputeError> {
    let wires = find_wires(scale, catalogue)?;
    let options = options.with_partials(true);
    let mut found = Vec::new();
    for note in scale.notes().iter().filter(|note| wanted(note.note)) {
        let figures = NoteFigures::of(note, &wires, &options)
            .map_err(|source| ComputeError::Formula { note: note.note, source })?;
        found.extend(figures.partials.map(|partials| NotePartials {
            note: note.note,
            wire_id: note.wire_id.clone(),
            frequency_hz: figures.frequency_hz,
            speaking_mm: note.speaking_mm,
            linear_density_g_m: figures.linear_density_g_m,
            tension_n: figures.tension_n,
            partials,
        }));
    }
    Ok(found)
}
