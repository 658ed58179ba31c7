//! Reading the catalogue page by page.

use becket_api::stringing::{ListWiresRequest, ListWiresResponse, Material};
use becket_units::Fault;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// Wires by id.
    pub(crate) async fn list_wires(
        &self,
        mut request: ListWiresRequest,
    ) -> Result<ListWiresResponse, UseCaseError> {
        if let Some(number) = request.material
            && matches!(Material::try_from(number), Ok(Material::Unspecified) | Err(_))
        {
            return Err(Fault::new("material", number, "a material, or none for all").into());
        }
        let listing = self.listing(&mut request)?;
        let page = self.store.list_wires(request.material, &listing.page).await?;
        Ok(ListWiresResponse {
            wires: page.items.iter().map(messages::wire).collect::<Result<_, _>>()?,
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}
