//! The ledger of a coil.

use becket_api::cutting::{ListCoilEvidenceRequest, ListCoilEvidenceResponse};
use becket_floor::CoilId;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;

impl App {
    /// Lines of a coil's ledger, the latest first.
    pub(crate) async fn list_coil_evidence(
        &self,
        mut request: ListCoilEvidenceRequest,
    ) -> Result<ListCoilEvidenceResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let coil_id = id("coil_id", &request.coil_id, CoilId::new)?;
        let page = self.store.list_coil_evidence(&coil_id, &listing.page).await?;
        if page.items.is_empty() {
            // A coil has at least its receipt, so an empty ledger is that of no coil.
            self.store.coil(&coil_id).await?;
        }
        Ok(ListCoilEvidenceResponse {
            evidence: page.items.iter().map(messages::evidence).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}
