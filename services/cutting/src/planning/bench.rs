//! The bench that a plan finds: the station with its reels, and the coils in stock.

use becket_floor::{CutListHeader, CutListState, FloorCoil, ListId, Station, StationId, WireId};
use becket_store::{CutListFilter, PageRequest, StoredHeader};

use crate::app::App;
use crate::error::UseCaseError;

/// A station and the coils that may be planned on.
#[derive(Debug)]
pub(crate) struct Bench {
    pub(crate) station: Station,
    pub(crate) coils: Vec<FloorCoil>,
}

impl App {
    /// The bench for a plan of pieces of `wires`, seen from a list that exists already or from none.
    ///
    /// A list that runs finds its reels as they are. One that will run later finds them empty if another list has to end
    /// at the station before, since a list takes off what it has put on; it finds them as they are if none has.
    pub(crate) async fn bench(
        &self,
        station_id: &StationId,
        wires: &[WireId],
        list: Option<&CutListHeader>,
    ) -> Result<Bench, UseCaseError> {
        let station = self.store.station(station_id).await?.station;
        let coils = self.store.stock(wires, list.map(|list| &list.list_id)).await?;
        let running = list.is_some_and(|list| list.state == CutListState::Running);
        let bench = Bench { station, coils };
        if running || !self.others_active(station_id, list.map(|list| &list.list_id)).await? {
            return Ok(bench);
        }
        Ok(bench.cleared())
    }

    /// The list that is running at a station, if any but `except`.
    pub(crate) async fn running_list(
        &self,
        station_id: &StationId,
        except: Option<&ListId>,
    ) -> Result<Option<ListId>, UseCaseError> {
        self.list_in_state(station_id, CutListState::Running, except).await
    }

    async fn others_active(
        &self,
        station_id: &StationId,
        except: Option<&ListId>,
    ) -> Result<bool, UseCaseError> {
        let running = self.running_list(station_id, except).await?.is_some();
        Ok(running || self.list_in_state(station_id, CutListState::Planned, except).await?.is_some())
    }

    async fn list_in_state(
        &self,
        station_id: &StationId,
        state: CutListState,
        except: Option<&ListId>,
    ) -> Result<Option<ListId>, UseCaseError> {
        let filter = CutListFilter { station_id: Some(station_id.clone()), state: Some(state) };
        // Two are enough to find one that is not the exception.
        let page = self.store.list_cut_lists(&filter, &PageRequest { after: None, limit: 2 }).await?;
        let mut ids = page.items.into_iter().map(|StoredHeader { header, .. }| header.list_id);
        Ok(ids.find(|id| Some(id) != except))
    }
}

impl Bench {
    /// The same with nothing on the reels of the station.
    fn cleared(mut self) -> Self {
        self.station.mounted.clear();
        for coil in &mut self.coils {
            if coil.mounted.as_ref().is_some_and(|place| place.station_id == self.station.station_id) {
                coil.mounted = None;
            }
        }
        self
    }
}
