//! Planning anew what is not cut yet.

use std::collections::{BTreeMap, BTreeSet};

use becket_api::cutting::{ReplanCutListRequest, ReplanCutListResponse};
use becket_floor::{
    CoilId, CutList, FloorError, ListId, PieceId, SerialId, SerialNeed, Step, StepKind, pending_needs,
    replace_pending,
};
use becket_service_kit::CallContext;
use becket_store::{Claim, WriteContext};

use super::commit::{After, check_etag};
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::id;
use crate::planning::{WantedSet, drop_claimed, keep_pieces, mark_recuts, wires_of};
use crate::write::begin;

impl App {
    /// Plans what is pending or short on the stock as it is now. A serial whose string set has changed since, which it can
    /// only before its first cut, is planned by its new set.
    pub(crate) async fn replan_cut_list(
        &self,
        call: &CallContext,
        mut request: ReplanCutListRequest,
    ) -> Result<ReplanCutListResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = begin!(self, call, &mut request);
        let list_id = id("list_id", &request.list_id, ListId::new)?;
        let mut tries = Tries::more(3);
        loop {
            match self.try_replan(call, &context, &list_id, &request.etag).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_replan(
        &self,
        call: &CallContext,
        context: &WriteContext,
        list_id: &ListId,
        etag: &str,
    ) -> Result<ReplanCutListResponse, UseCaseError> {
        let before = self.store.cut_list(list_id).await?;
        let (list, header) = (&before.list, &before.list.header);
        check_etag(list, etag)?;
        if !header.state.is_active() {
            return Err(FloorError::ListStateForbids { list_id: list_id.clone(), state: header.state }.into());
        }
        let needs = self.open_needs(call, list).await?;
        let bench = self.bench(&header.station_id, &wires_of(&needs), Some(header)).await?;
        let planned = self.replan(call, needs, bench.coils, &bench.station, list).await?;
        let (steps_kept, steps_moved) = compare(list.pending(), &planned.steps);
        let change = replace_pending(list, planned)?;
        let answer = move |after: &After| ReplanCutListResponse {
            cut_list: Some(after.message()),
            steps_kept,
            steps_moved,
        };
        self.commit(context, &before, change, answer).await
    }

    /// Pieces of the list that are pending or short. All serials of the list are in the answer, if only with their digests.
    async fn open_needs(&self, call: &CallContext, list: &CutList) -> Result<Vec<SerialNeed>, UseCaseError> {
        let open = open_pieces(list);
        let serials: BTreeSet<&SerialId> = open.iter().map(|(serial_id, _)| serial_id).collect();
        let wanted = list.header.serials.iter().filter(|serial| serials.contains(&serial.serial_id));
        let wanted = wanted.map(|serial| WantedSet {
            field: "list_id".to_owned(),
            serial_id: serial.serial_id.to_string(),
            due_date: serial.due_date.clone(),
        });
        let mut found: BTreeMap<SerialId, SerialNeed> = BTreeMap::new();
        for mut need in self.needs_of_sets(call, wanted.collect()).await? {
            let serial_id = need.serial.serial_id.clone();
            if list.set_digest(&serial_id) == Some(need.serial.set_digest.as_str()) {
                keep_pieces(&mut need, &open);
            }
            // What is short here may have been planned on another list meanwhile.
            let claims = self.store.claimed_pieces(std::slice::from_ref(&serial_id)).await?;
            drop_claimed(std::slice::from_mut(&mut need), &of_others(&claims, &list.header.list_id));
            mark_recuts(&mut need, &self.store.cuts_of_serial(&serial_id).await?);
            found.insert(serial_id, need);
        }
        let mut needs = pending_needs(list, &[]);
        for need in &mut needs {
            need.pieces.clear();
            if let Some(found) = found.remove(&need.serial.serial_id) {
                *need = found;
            }
        }
        Ok(needs)
    }
}

fn open_pieces(list: &CutList) -> BTreeSet<(SerialId, PieceId)> {
    let pending = list.pending().iter().filter_map(|step| step.piece.as_ref());
    let pending = pending.map(|piece| (piece.serial_id.clone(), piece.piece_id.clone()));
    let short = list.shortages.iter().flat_map(|shortage| {
        shortage.piece_ids.iter().map(|piece_id| (shortage.serial_id.clone(), piece_id.clone()))
    });
    pending.chain(short).collect()
}

/// Claims that a new plan of the list must respect: pieces that are cut, and pending ones of other lists.
fn of_others(claims: &[Claim], list_id: &ListId) -> Vec<Claim> {
    claims.iter().filter(|claim| claim.is_cut || claim.list_id != *list_id).cloned().collect()
}

/// What makes two steps the same: kind, coil and piece.
type Likeness<'a> = (StepKind, &'a CoilId, Option<(&'a SerialId, &'a PieceId)>);

fn likeness(step: &Step) -> Likeness<'_> {
    let piece = step.piece.as_ref().map(|piece| (&piece.serial_id, &piece.piece_id));
    (step.kind, &step.coil_id, piece)
}

/// Steps that are pending before and after, and cut steps that are new or on another coil.
pub(super) fn compare(before: &[Step], after: &[Step]) -> (i32, i32) {
    let mut left: BTreeMap<Likeness<'_>, u32> = BTreeMap::new();
    for step in before {
        *left.entry(likeness(step)).or_default() += 1;
    }
    let (mut kept, mut moved) = (0_i32, 0_i32);
    for step in after {
        match left.get_mut(&likeness(step)).filter(|count| **count > 0) {
            Some(count) => {
                *count -= 1;
                kept = kept.saturating_add(1);
            }
            None if step.kind == StepKind::Cut => moved = moved.saturating_add(1),
            None => {}
        }
    }
    (kept, moved)
}
