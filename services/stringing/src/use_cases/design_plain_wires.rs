//! Choosing sizes of plain wire.

use becket_api::convert::{plain_response, read_plain};
use becket_api::stringing::{DesignPlainWiresRequest, DesignPlainWiresResponse};

use super::compute_string_set::given_wires;
use crate::app::App;
use crate::design::{refused, sound_terms};
use crate::error::UseCaseError;
use crate::stock::Use;

impl App {
    /// Chooses a size for every note, under the rule of looped pairs.
    pub(crate) async fn design_plain_wires(
        &self,
        request: DesignPlainWiresRequest,
    ) -> Result<DesignPlainWiresResponse, UseCaseError> {
        let (terms, mut faults) = read_plain(&request);
        let given = given_wires(&request.wires, &mut faults);
        let sizes = self.stock("sizes", Use::Tension, request.sizes.as_ref(), &given, &mut faults).await?;
        sound_terms(faults, terms.faults(&sizes), &["sizes"])?;
        self.designed(move |_| {
            let design = becket_design::design_plain(&terms.question(&sizes));
            let design = design
                .map_err(|error| refused(error, |list| terms.paths(list), |note| terms.note_path(note)))?;
            Ok(plain_response(&terms, &sizes, &design))
        })
        .await
    }
}
