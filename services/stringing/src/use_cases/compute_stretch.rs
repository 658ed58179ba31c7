//! Stretching a tuning.

use becket_api::convert::{checked, merged, read_stretch, stretch_paths, stretch_response};
use becket_api::stringing::{ComputeStretchRequest, ComputeStretchResponse};
use becket_design::{StretchNote, stretch};
use becket_scale::ComputeOptions;

use crate::app::App;
use crate::design::{refused, sound};
use crate::error::UseCaseError;

impl App {
    /// Computes the pitch offset of every note from the inharmonicity of its strings.
    pub(crate) async fn compute_stretch(
        &self,
        request: ComputeStretchRequest,
    ) -> Result<ComputeStretchResponse, UseCaseError> {
        let mut faults = Vec::new();
        let source = self.set_source("source", request.source.clone(), &mut faults).await?;
        let stated = source.as_ref().map_or_else(ComputeOptions::default, |source| source.options);
        let (options, more) = read_stretch(&request, stated.a4_hz(), stated.models());
        faults.extend(merged(more, stretch_paths(checked(options.check()))));
        sound(faults)?;
        let source =
            source.ok_or_else(|| UseCaseError::Internal("a source without fault is not there".to_owned()))?;
        self.designed(move |_| {
            let models = source.options.models();
            let notes = StretchNote::of_scale(&source.scale, &source.catalogue, models.winding_model)?;
            let failed = |error| refused(error, stretch_paths, |_| "source".to_owned());
            let tuning = stretch(&notes, &options).map_err(failed)?;
            Ok(stretch_response(&tuning, &source.scale, &models))
        })
        .await
    }
}
