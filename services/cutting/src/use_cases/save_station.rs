//! Creating and changing stations.

use becket_api::convert::{etag_version, given, read_station, within};
use becket_api::cutting::{SaveStationRequest, SaveStationResponse};
use becket_service_kit::CallContext;
use becket_store::StoredStation;
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::messages;
use crate::write::begin;
use crate::write::decode;

/// A version that no stored thing has, for an etag that stands for none.
const NEVER_CURRENT: i64 = 0;

impl App {
    /// Creates a station (no etag) or changes it.
    pub(crate) async fn save_station(
        &self,
        call: &CallContext,
        mut request: SaveStationRequest,
    ) -> Result<SaveStationResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let given = given("station", request.station.as_ref())?;
        let station = read_station(given).map_err(|faults| within(faults, "station"))?;
        let expected = match given.etag.as_str() {
            "" => None,
            etag => Some(etag_version(etag).unwrap_or(NEVER_CURRENT)),
        };
        let answer = Box::new(|stored: &StoredStation| {
            SaveStationResponse { station: Some(messages::station(stored)) }.encode_to_vec()
        });
        decode(&self.store.save_station(&context, station, expected, answer).await?.answer)
    }
}
