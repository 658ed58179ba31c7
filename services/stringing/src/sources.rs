//! What a string set is computed from, as requests of design name it.

use becket_api::convert::{read_note_changes, read_wire_changes, within};
use becket_api::stringing::set_source::Source;
use becket_api::stringing::{self, ComputeOptions};
use becket_design::{Changed, NoteChange, WireChange, changed};
use becket_scale::{ComputeOptionsDraft, Scale, ScaleDraft, StringSet, compute};
use becket_units::Fault;
use becket_wire::Catalogue;

use crate::app::App;
use crate::compute::SetSource;
use crate::error::UseCaseError;
use crate::inputs::{named_wires, scale_id};
use crate::use_cases::compute_string_set::given_wires;
use crate::write::decode;

/// A scale to be computed, before its wires are put together.
struct Unchecked {
    serial_id: String,
    scale: ScaleDraft,
    /// True if it was checked when it was stored, so that only its wires can be to blame.
    stored: bool,
    /// What the request changed in it, if it did.
    changed: Option<Changed>,
    as_built_notes: Vec<i16>,
    catalogue: Catalogue,
    /// Options where the request states none.
    options: becket_scale::ComputeOptions,
}

impl App {
    /// Reads what a request names at `path`. Faults of the request come with their paths; `None` if there are any.
    pub(crate) async fn set_source(
        &self,
        path: &str,
        source: Option<stringing::SetSource>,
        faults: &mut Vec<Fault>,
    ) -> Result<Option<SetSource>, UseCaseError> {
        let Some(source) = source else {
            faults.push(Fault::new(path, "absent", "it must be stated"));
            return Ok(None);
        };
        let stringing::SetSource { source, wires, options, note_changes, wire_changes } = source;
        let (notes, series) = (read_note_changes(note_changes), read_wire_changes(wire_changes));
        let mut own = Vec::new();
        let stated = options.as_ref().map(|options| read_options(options, &mut own));
        let given = given_wires(&wires, &mut own);
        let unchecked = match source {
            None => {
                own.push(Fault::new("source", "absent", "stored, scale or serial_id must be stated"));
                None
            }
            Some(source) => {
                let unchecked = self.unchecked(source).await?;
                self.what_if(unchecked, &notes, &series, &mut own).await?
            }
        };
        let checked = match unchecked {
            Some(unchecked) => put_together(unchecked, &given, stated, &mut own)?,
            None => None,
        };
        let sound = own.is_empty();
        faults.extend(within(own, path));
        Ok(checked.filter(|_| sound))
    }

    /// Puts changes into a scale, with the wires that they bring. `None` if they do not go together with it.
    async fn what_if(
        &self,
        unchecked: Unchecked,
        notes: &[NoteChange],
        wires: &[WireChange],
        faults: &mut Vec<Fault>,
    ) -> Result<Option<Unchecked>, UseCaseError> {
        if notes.is_empty() && wires.is_empty() {
            return Ok(Some(unchecked));
        }
        let changed = match changed(&unchecked.scale, notes, wires) {
            Ok(changed) => changed,
            Err(list) => {
                faults.extend(list);
                return Ok(None);
            }
        };
        let Unchecked { mut catalogue, .. } = unchecked;
        let mut ids = named_wires(&(&changed.scale).into());
        // What is here already stays: a frozen set was computed from wires of its own.
        ids.retain(|wire_id| catalogue.get(wire_id).is_none());
        catalogue.extend(self.catalogue(ids).await?.iter().cloned());
        Ok(Some(Unchecked { scale: changed.scale.clone(), changed: Some(changed), catalogue, ..unchecked }))
    }

    async fn unchecked(&self, source: Source) -> Result<Unchecked, UseCaseError> {
        match source {
            Source::Stored(reference) => {
                let stored = self.store.scale(&reference.model_id, &reference.revision_id).await?;
                self.of_message(&decode(&stored.stored.bytes)?, true).await
            }
            Source::Scale(scale) => self.of_message(&scale, false).await,
            Source::SerialId(serial_id) => {
                let SetSource { serial_id, scale, as_built_notes, catalogue, options } =
                    self.inputs_of_serial(&serial_id).await?;
                let scale = (&scale).into();
                Ok(Unchecked {
                    serial_id,
                    scale,
                    stored: true,
                    changed: None,
                    as_built_notes,
                    catalogue,
                    options,
                })
            }
        }
    }

    async fn of_message(&self, scale: &stringing::Scale, stored: bool) -> Result<Unchecked, UseCaseError> {
        Ok(Unchecked {
            serial_id: String::new(),
            scale: scale.into(),
            stored,
            changed: None,
            as_built_notes: Vec::new(),
            catalogue: self.catalogue(named_wires(scale)).await?,
            options: becket_scale::ComputeOptions::default(),
        })
    }
}

/// Options that a request states; the defaults stand in for faulty ones.
pub(crate) fn read_options(
    options: &ComputeOptions,
    faults: &mut Vec<Fault>,
) -> becket_scale::ComputeOptions {
    ComputeOptionsDraft::from(options).validate().unwrap_or_else(|list| {
        faults.extend(within(list, "options"));
        becket_scale::ComputeOptions::default()
    })
}

/// Checks a scale with the wires of the request in place of, or beside, its own.
fn put_together(
    unchecked: Unchecked,
    given: &Catalogue,
    stated: Option<becket_scale::ComputeOptions>,
    faults: &mut Vec<Fault>,
) -> Result<Option<SetSource>, UseCaseError> {
    let Unchecked { serial_id, scale, stored, changed, as_built_notes, mut catalogue, options } = unchecked;
    catalogue.extend(given.iter().cloned());
    // A wire that is missing at many notes is one fault.
    let new_wires = changed.iter().flat_map(Changed::new_wires);
    let missing: Vec<Fault> = new_wires
        .filter(|(_, wire_id)| catalogue.get(wire_id).is_none())
        .map(|(path, wire_id)| Fault::new(path, wire_id, "a wire of the catalogue"))
        .collect();
    if !missing.is_empty() {
        faults.extend(missing);
        return Ok(None);
    }
    let scale: Scale = match scale.validate(&catalogue) {
        Ok(scale) => scale,
        Err(list) if stored && changed.is_none() && given.is_empty() && faults.is_empty() => {
            let id = scale_id(&scale.model_id, &scale.revision_id);
            return Err(UseCaseError::ScaleUnfit { id, faults: list });
        }
        Err(list) => {
            match changed {
                Some(changed) => faults.extend(list.into_iter().map(|fault| changed.blame(fault))),
                None => faults.extend(within(list, "scale")),
            }
            return Ok(None);
        }
    };
    let options = stated.unwrap_or(options);
    Ok(Some(SetSource { serial_id, scale, as_built_notes, catalogue, options }))
}

/// The set in the terms of the domain.
pub(crate) fn domain_set(source: &SetSource) -> Result<StringSet, UseCaseError> {
    Ok(compute(&source.scale, &source.catalogue, &source.options)?)
}
