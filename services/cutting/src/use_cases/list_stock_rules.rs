//! Listing the rules of wires.

use becket_api::cutting::{ListStockRulesRequest, ListStockRulesResponse};

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;

impl App {
    /// Rules by wire id.
    pub(crate) async fn list_stock_rules(
        &self,
        mut request: ListStockRulesRequest,
    ) -> Result<ListStockRulesResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let page = self.store.list_stock_rules(&listing.page).await?;
        Ok(ListStockRulesResponse {
            rules: page.items.iter().map(messages::stock_rule).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}
