//! Setting the rule of a wire.

use becket_api::convert::{given, read_stock_rule, within};
use becket_api::cutting::{SetStockRuleRequest, SetStockRuleResponse};
use becket_service_kit::CallContext;
use becket_store::StockRule;
use prost::Message;

use crate::app::App;
use crate::error::{Missing, UseCaseError};
use crate::messages;
use crate::upstream::UpstreamError;
use crate::write::begin;
use crate::write::decode;

impl App {
    /// Sets the rule of a wire of the catalogue.
    pub(crate) async fn set_stock_rule(
        &self,
        call: &CallContext,
        mut request: SetStockRuleRequest,
    ) -> Result<SetStockRuleResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let rule = given("rule", request.rule.as_ref())?;
        let (wire_id, smallest_remnant) = read_stock_rule(rule).map_err(|faults| within(faults, "rule"))?;
        match self.stringing.wire(call, wire_id.as_str()).await {
            Err(UpstreamError::NotFound) => {
                let (field, id) = ("rule.wire_id".to_owned(), wire_id.to_string());
                return Err(UseCaseError::ReferenceMissing(vec![Missing { field, kind: "wires", id }]));
            }
            known => known?,
        };
        let answer = Box::new(|rule: &StockRule| {
            SetStockRuleResponse { rule: Some(messages::stock_rule(rule)) }.encode_to_vec()
        });
        let rule = StockRule { wire_id, smallest_remnant };
        decode(&self.store.set_stock_rule(&context, rule, answer).await?.answer)
    }
}
