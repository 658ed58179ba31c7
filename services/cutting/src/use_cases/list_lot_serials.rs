//! Where the wire of a lot went.

use becket_api::convert::metres;
use becket_api::cutting::{ListLotSerialsRequest, ListLotSerialsResponse, LotSerial};
use becket_floor::LotId;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;

impl App {
    /// Serials that hold wire of a lot.
    pub(crate) async fn list_lot_serials(
        &self,
        mut request: ListLotSerialsRequest,
    ) -> Result<ListLotSerialsResponse, UseCaseError> {
        let listing = self.listing(&mut request)?;
        let lot_id = id("lot_id", &request.lot_id, LotId::new)?;
        let page = self.store.serials_of_lot(&lot_id, &listing.page).await?;
        Ok(ListLotSerialsResponse {
            serials: page.items.into_iter().map(shown).collect(),
            next_page_token: listing.next_page_token(page.next.as_deref()),
        })
    }
}

fn shown(serial: becket_store::LotSerial) -> LotSerial {
    let becket_store::LotSerial { serial_id, wire_id, coil_ids, piece_ids, length } = serial;
    LotSerial {
        serial_id: serial_id.to_string(),
        wire_id: wire_id.to_string(),
        coil_ids: coil_ids.iter().map(ToString::to_string).collect(),
        piece_ids: piece_ids.iter().map(ToString::to_string).collect(),
        length: Some(metres(length)),
    }
}
