//! Finding stocked wire for an old string.

use becket_api::convert::{read_replacement, replacement_response};
use becket_api::stringing::{MatchReplacementRequest, MatchReplacementResponse};
use becket_design::replace;

use super::compute_string_set::given_wires;
use crate::app::App;
use crate::design::{refused, sound_terms};
use crate::error::UseCaseError;
use crate::stock::Use;

impl App {
    /// Ranks stocked wire by how near it comes to a measured string.
    pub(crate) async fn match_replacement(
        &self,
        request: MatchReplacementRequest,
    ) -> Result<MatchReplacementResponse, UseCaseError> {
        let (terms, mut faults) = read_replacement(&request);
        let given = given_wires(&request.wires, &mut faults);
        let cores = self.stock("cores", Use::Tension, request.cores.as_ref(), &given, &mut faults).await?;
        // A plain string has no use for winding wire; that some is named all the same is told as a fault.
        let windings = if terms.old.layers.is_empty() && request.windings.is_none() {
            Vec::new()
        } else {
            self.stock("windings", Use::Winding, request.windings.as_ref(), &given, &mut faults).await?
        };
        sound_terms(faults, terms.faults(&cores, &windings), &["cores", "windings"])?;
        self.designed(move |_| {
            let found = replace(&terms.old, &cores, &windings, &terms.options);
            let found =
                found.map_err(|error| refused(error, |list| terms.paths(list), |_| "string".to_owned()))?;
            Ok(replacement_response(&terms, &cores, &found))
        })
        .await
    }
}
