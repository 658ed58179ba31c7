//! Computing the partials of single notes without storing anything.

use std::collections::BTreeSet;

use becket_api::convert::note_partials;
use becket_api::stringing::compute_partials_request::Source;
use becket_api::stringing::compute_string_set_request::Source as Given;
use becket_api::stringing::{self, ComputePartialsRequest, ComputePartialsResponse};
use becket_scale::{Choice, ComputeOptions, ComputeOptionsDraft, MAX_NOTES, Scale, StringModel, partials};
use becket_units::Fault;
use becket_wire::Catalogue;

use super::compute_string_set::validated;
use crate::app::App;
use crate::compute::SetSource;
use crate::error::UseCaseError;

/// What partials are computed from.
struct Inputs {
    scale: Scale,
    catalogue: Catalogue,
    /// Those of the job, where it is one.
    options: Option<ComputeOptions>,
}

impl App {
    /// Computes the partials of some notes, or of all, of a stored revision, a scale in the request or a serial.
    pub(crate) async fn compute_partials(
        &self,
        request: ComputePartialsRequest,
    ) -> Result<ComputePartialsResponse, UseCaseError> {
        let ComputePartialsRequest { source, wires, options, notes } = request;
        let mut faults = Vec::new();
        let is_stated = options.is_some();
        let mut draft = options.as_ref().map(ComputeOptionsDraft::from).unwrap_or_default();
        draft.string_model.get_or_insert(Choice::Known(StringModel::Stepped));
        let stated = validated(draft, &mut faults);
        let inputs = self.inputs_of_partials(source, &wires, &mut faults).await?;
        check_notes(&notes, &inputs.scale, &mut faults);
        let options = match inputs.options {
            Some(of_job) if !is_stated => Some(of_job.with_string_model(StringModel::Stepped)),
            _ => stated,
        };
        let Some(options) = options.filter(|_| faults.is_empty()) else {
            return Err(UseCaseError::Faults(faults));
        };
        let wanted: BTreeSet<i32> = notes.into_iter().collect();
        let found = self.pool.run(move |_| {
            partials(&inputs.scale, &inputs.catalogue, &options, |note| {
                wanted.is_empty() || wanted.contains(&note.into())
            })
        });
        let notes = found.await??.iter().map(note_partials).collect();
        Ok(ComputePartialsResponse { options: Some((&options.with_partials(true)).into()), notes })
    }

    async fn inputs_of_partials(
        &self,
        source: Option<Source>,
        wires: &[stringing::Wire],
        faults: &mut Vec<Fault>,
    ) -> Result<Inputs, UseCaseError> {
        let given = match source {
            Some(Source::SerialId(serial_id)) => {
                if !wires.is_empty() {
                    let value = format!("{} entries", wires.len());
                    faults.push(Fault::new("wires", value, "none with a serial, which has those of its set"));
                }
                let SetSource { scale, catalogue, options, serial_id: _, as_built_notes: _ } =
                    self.inputs_of_serial(&serial_id).await?;
                return Ok(Inputs { scale, catalogue, options: Some(options) });
            }
            Some(Source::Stored(stored)) => Given::Stored(stored),
            Some(Source::Scale(scale)) => Given::Scale(scale),
            None => {
                faults.push(Fault::new("source", "absent", "stored, scale or serial_id must be stated"));
                return Err(UseCaseError::Faults(std::mem::take(faults)));
            }
        };
        let (scale, catalogue) = self.given_scale(Some(given), wires, faults).await?;
        Ok(Inputs { scale, catalogue, options: None })
    }
}

fn check_notes(notes: &[i32], scale: &Scale, faults: &mut Vec<Fault>) {
    if notes.len() > MAX_NOTES {
        let value = format!("{} entries", notes.len());
        faults.push(Fault::new("notes", value, format!("up to {MAX_NOTES} entries")));
        return;
    }
    let (first, last) = scale.compass();
    for (at, note) in notes.iter().enumerate() {
        if !(i32::from(first)..=i32::from(last)).contains(note) {
            let allowed = format!("a note of the scale, {first} to {last}");
            faults.push(Fault::new(format!("notes[{at}]"), note, allowed));
        }
    }
}
