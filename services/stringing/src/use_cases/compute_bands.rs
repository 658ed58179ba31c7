//! Bands from tolerances.

use std::collections::BTreeSet;

use becket_api::convert::{read_bands, string_bands, string_models};
use becket_api::stringing::{ComputeBandsRequest, ComputeBandsResponse};
use becket_design::{TolerancedString, Tolerances, propagate};
use becket_scale::{MAX_NOTES, Scale};
use becket_units::Fault;

use crate::app::App;
use crate::design::{refused, sound};
use crate::error::UseCaseError;

impl App {
    /// Propagates tolerances to the figures of strings.
    pub(crate) async fn compute_bands(
        &self,
        request: ComputeBandsRequest,
    ) -> Result<ComputeBandsResponse, UseCaseError> {
        let (tolerances, mut faults) = read_bands(request.tolerances.as_ref());
        let source = self.set_source("source", request.source, &mut faults).await?;
        let scale = source.as_ref().map(|source| &source.scale);
        let wanted = wanted(&request.notes, scale, &mut faults);
        sound(faults)?;
        let source =
            source.ok_or_else(|| UseCaseError::Internal("a source without fault is not there".to_owned()))?;
        self.designed(move |_| {
            let rows = source.scale.notes().iter().filter(|note| wanted.contains(&note.note.into()));
            let failed = |error| refused(error, |list| list, |_| "source".to_owned());
            let bands = rows.map(|note| {
                let string =
                    TolerancedString::of_note(note, &source.catalogue, &source.options).map_err(failed)?;
                let report = propagate(&string, &of_string(&tolerances, note.is_wound())).map_err(failed)?;
                Ok(string_bands(note, &source.catalogue, &report))
            });
            let notes = bands.collect::<Result<_, UseCaseError>>()?;
            Ok(ComputeBandsResponse { notes, models: Some(string_models(&source.options.models())) })
        })
        .await
    }
}

/// The notes that are asked for, all if none is named.
fn wanted(notes: &[i32], scale: Option<&Scale>, faults: &mut Vec<Fault>) -> BTreeSet<i32> {
    let mut wanted = BTreeSet::new();
    if notes.len() > MAX_NOTES {
        faults.push(Fault::new(
            "notes",
            format!("{} entries", notes.len()),
            format!("up to {MAX_NOTES} entries"),
        ));
        return wanted;
    }
    let Some(scale) = scale else { return wanted };
    let (first, last) = scale.compass();
    if notes.is_empty() {
        return (first.into()..=last.into()).collect();
    }
    for (at, &note) in notes.iter().enumerate() {
        if !(i32::from(first)..=i32::from(last)).contains(&note) {
            let allowed = format!("a note of the scale, {first} to {last}");
            faults.push(Fault::new(format!("notes[{at}]"), note, allowed));
        } else if !wanted.insert(note) {
            faults.push(Fault::new(format!("notes[{at}]"), note, "each note once"));
        }
    }
    wanted
}

/// A plain string has no winding wire that could be off.
fn of_string(tolerances: &Tolerances, wound: bool) -> Tolerances {
    if wound {
        *tolerances
    } else {
        Tolerances { winding_diameter_mm: 0.0, winding_density: 0.0, ..*tolerances }
    }
}
