//! Taking a coil off a reel position outside of a list.

use becket_api::cutting::{UnmountCoilRequest, UnmountCoilResponse};
use becket_floor::StationId;
use becket_service_kit::CallContext;
use becket_store::Unmounted;
use becket_units::Fault;
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::ids::{id, keep};
use crate::messages;
use crate::write::begin;
use crate::write::decode;

impl App {
    /// Takes off a coil that a list has left on its reel.
    pub(crate) async fn unmount_coil(
        &self,
        call: &CallContext,
        mut request: UnmountCoilRequest,
    ) -> Result<UnmountCoilResponse, UseCaseError> {
        let context = begin!(self, call, &mut request);
        let mut faults = Vec::new();
        let station_id = keep(id("station_id", &request.station_id, StationId::new), &mut faults);
        let position = u32::try_from(request.reel_position).ok().filter(|position| *position > 0);
        let position = position.ok_or_else(|| {
            Fault::new("reel_position", request.reel_position, "the number of a reel position, from 1")
        });
        let (Some(station_id), Some(position)) = (station_id, keep(position, &mut faults)) else {
            return Err(faults.into());
        };
        let answer = Box::new(|unmounted: &Unmounted| {
            let Unmounted { station, coil_id, list_ids } = unmounted;
            UnmountCoilResponse {
                station: Some(messages::station(station)),
                coil_id: coil_id.to_string(),
                affected_list_ids: list_ids.iter().map(ToString::to_string).collect(),
            }
            .encode_to_vec()
        });
        decode(&self.store.unmount_coil(&context, &station_id, position, answer).await?.answer)
    }
}
