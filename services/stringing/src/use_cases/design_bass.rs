//! Choosing cores and windings for a bass.

use becket_api::convert::{bass_response, read_bass};
use becket_api::stringing::{DesignBassRequest, DesignBassResponse};

use becket_design::design_bass_unless;

use super::compute_string_set::given_wires;
use crate::app::App;
use crate::design::{refused, sound_terms};
use crate::error::UseCaseError;
use crate::stock::Use;

impl App {
    /// Chooses core and windings for every note at once.
    pub(crate) async fn design_bass(
        &self,
        request: DesignBassRequest,
    ) -> Result<DesignBassResponse, UseCaseError> {
        let (terms, mut faults) = read_bass(&request);
        let given = given_wires(&request.wires, &mut faults);
        let cores = self.stock("cores", Use::Tension, request.cores.as_ref(), &given, &mut faults).await?;
        let windings = request.windings.as_ref();
        let windings = self.stock("windings", Use::Winding, windings, &given, &mut faults).await?;
        sound_terms(faults, terms.faults(&cores, &windings), &["cores", "windings"])?;
        self.designed(move |flag| {
            let question = terms.question(&cores, &windings);
            let design = design_bass_unless(&question, &|| flag.is_cancelled());
            let design = design
                .map_err(|error| refused(error, |list| terms.paths(list), |note| terms.note_path(note)))?;
            Ok(bass_response(&terms, &cores, &windings, &design))
        })
        .await
    }
}
