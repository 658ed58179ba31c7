//! Reading scales page by page.

use becket_api::stringing::{ListScalesRequest, ListScalesResponse, Scale};
use becket_store::StoredScale;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// Revisions without their notes and sections, by model and revision.
    pub(crate) async fn list_scales(
        &self,
        mut request: ListScalesRequest,
    ) -> Result<ListScalesResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let model_id = Some(request.model_id.as_str()).filter(|id| !id.is_empty());
        let page = self.store.list_scales(model_id, &listing.page).await?;
        Ok(ListScalesResponse {
            scales: page.items.iter().map(headline).collect::<Result<_, _>>()?,
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}

/// A scale without its notes and sections.
fn headline(stored: &StoredScale) -> Result<Scale, UseCaseError> {
    Ok(Scale { notes: Vec::new(), sections: Vec::new(), ..messages::scale(stored)? })
}
