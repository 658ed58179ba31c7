//! Stretching a tuning.

use becket_acoustics::inharmonicity;
use becket_api::convert::{checked, merged, read_stretch, stretch_paths, stretch_response};
use becket_api::stringing::{ComputeStretchRequest, ComputeStretchResponse};
use becket_design::{StretchNote, stretch};
use becket_scale::StringSet;

use crate::app::App;
use crate::design::{refused, sound};
use crate::error::UseCaseError;
use crate::sources::domain_set;

impl App {
    /// Computes the pitch offset of every note from the inharmonicity of its strings.
    pub(crate) async fn compute_stretch(
        &self,
        request: ComputeStretchRequest,
    ) -> Result<ComputeStretchResponse, UseCaseError> {
        let mut faults = Vec::new();
        let source = self.set_source("source", request.source.clone(), &mut faults).await?;
        let a4_hz = source.as_ref().map_or(becket_scale::DEFAULT_A4_HZ, |source| source.options.a4_hz());
        let (options, more) = read_stretch(&request, a4_hz);
        faults.extend(merged(more, stretch_paths(checked(options.check()))));
        sound(faults)?;
        let source =
            source.ok_or_else(|| UseCaseError::Internal("a source without fault is not there".to_owned()))?;
        self.designed(move |_| {
            let set = domain_set(&source)?;
            let failed = |error| refused(error, stretch_paths, |_| "source".to_owned());
            let mut notes = StretchNote::of_set(&set, &source.catalogue).map_err(failed)?;
            take_true_stiffness(&mut notes, &set);
            let tuning = stretch(&notes, &options).map_err(failed)?;
            Ok(stretch_response(&tuning, &source.scale, source.options.pitch_basis()))
        })
        .await
    }
}

/// Sets how much stiffer than a uniform string with the same core each string is in the set, which may know more of it
/// than the closed formula: bare ends raise B.
fn take_true_stiffness(notes: &mut [StretchNote], set: &StringSet) {
    let firsts = set.strings.iter().filter(|string| string.string_id.number() == 1);
    for (note, string) in notes.iter_mut().zip(firsts) {
        let (e, i) = (note.youngs_modulus_gpa, note.second_moment_mm4);
        if let Ok(uniform) = inharmonicity(note.speaking_mm, string.tension_n, e, i) {
            note.inharmonicity_factor = string.inharmonicity / uniform;
        }
    }
}
