//! Looking up a station.

use becket_api::cutting::{GetStationRequest, GetStationResponse};
use becket_floor::StationId;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::id;
use crate::messages;

impl App {
    /// One station with what is mounted on it.
    pub(crate) async fn get_station(
        &self,
        request: GetStationRequest,
    ) -> Result<GetStationResponse, UseCaseError> {
        let station_id = id("station_id", &request.station_id, StationId::new)?;
        let station = self.store.station(&station_id).await?;
        Ok(GetStationResponse { station: Some(messages::station(&station)) })
    }
}
