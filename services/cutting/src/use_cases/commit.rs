//! What all changes of a cut list have in common.

use becket_api::convert::{self, Stamps, etag_version};
use becket_floor::{CoilId, CutList, FloorChange};
use becket_store::{StoredCutList, StoredHeader, WriteContext, Written};
use prost::Message;

use crate::app::App;
use crate::error::UseCaseError;
use crate::write::decode;

impl App {
    /// Stores a change of a list and tells whoever watches it. `answer` gets the list as it is after the change, with
    /// what its pending steps will leave.
    pub(crate) async fn commit<R: Message + Default>(
        &self,
        context: &WriteContext,
        before: &StoredCutList,
        change: FloorChange,
        answer: impl FnOnce(&After) -> R + Send + 'static,
    ) -> Result<R, UseCaseError> {
        let list_id = before.list.header.list_id.clone();
        let planned: Vec<CoilId> =
            change.replace_pending.iter().flatten().map(|step| step.coil_id.clone()).collect();
        let floor = self.store.cut_list_on_floor(&list_id, &planned).await?;
        let ahead = floor.ahead(change.header.state);
        let list = change.predicted(&before.list, floor.coils.clone(), ahead);
        let answer =
            move |stored: &StoredHeader| answer(&After { list, stamps: stamps(stored) }).encode_to_vec();
        decode(&self.commit_floor(context, change, answer).await?.answer)
    }

    /// Stores a change of a list and tells whoever watches it.
    pub(super) async fn commit_floor(
        &self,
        context: &WriteContext,
        change: FloorChange,
        answer: impl FnOnce(&StoredHeader) -> Vec<u8> + Send + 'static,
    ) -> Result<Written, UseCaseError> {
        let list_id = change.header.list_id.clone();
        let written = self.store.commit_floor(context, change, Box::new(answer)).await?;
        self.changes.tell(&list_id);
        Ok(written)
    }
}

/// Version and times of a list.
pub(super) fn stamps(stored: &StoredHeader) -> Stamps {
    let StoredHeader { header, created_us, updated_us } = stored;
    Stamps { version: header.version, create_us: *created_us, update_us: *updated_us }
}

/// A list after a change.
#[derive(Debug)]
pub(crate) struct After {
    pub(crate) list: CutList,
    stamps: Stamps,
}

impl After {
    /// The list as a message.
    pub(crate) fn message(&self) -> becket_api::cutting::CutList {
        convert::cut_list(&self.list, &self.stamps)
    }
}

/// Refuses an etag that is not the list's; an empty one takes the list as it is.
pub(crate) fn check_etag(list: &CutList, etag: &str) -> Result<(), UseCaseError> {
    let version = list.header.version;
    if etag.is_empty() || etag_version(etag) == Some(version) {
        return Ok(());
    }
    Err(UseCaseError::EtagStale { list_id: list.header.list_id.clone(), version })
}
