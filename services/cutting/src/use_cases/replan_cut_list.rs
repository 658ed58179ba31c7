//! Planning anew what is not cut yet, and adding rush jobs to a list.

use std::collections::{BTreeMap, BTreeSet};

use becket_api::cutting::{ReplanCutListRequest, ReplanCutListResponse};
use becket_api::stringing::Job;
use becket_floor::{
    CoilId, CutList, FloorCoil, FloorError, ListId, PieceId, PieceKind, PlanMoves, SerialId, SerialNeed,
    pending_needs, replace_pending,
};
use becket_service_kit::CallContext;
use becket_store::{Claim, WriteContext};
use becket_units::Fault;

use super::commit::{After, check_etag};
use super::plan_cut_list::{MAX_SERIALS, read_serials};
use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::ids::{id, keep};
use crate::planning::{WantedSet, drop_claimed, keep_pieces, mark_recuts, wires_of};
use crate::write::begin;

/// The field that names serials to add.
const ADDED: &str = "add_serial_ids";

/// What is to be planned anew.
struct Wanted {
    list_id: ListId,
    etag: String,
    added: Vec<SerialId>,
}

impl App {
    /// Plans what is pending or short, and the serials that are added, on the stock as it is now. A serial whose string set has
    /// changed since, which it can only before its first cut, is planned by its new set.
    pub(crate) async fn replan_cut_list(
        &self,
        call: &CallContext,
        mut request: ReplanCutListRequest,
    ) -> Result<ReplanCutListResponse, UseCaseError> {
        let _turn = self.turns.take(&request.list_id).await;
        let context = begin!(self, call, &mut request);
        let wanted = read(request)?;
        let mut tries = Tries::more(3);
        loop {
            match self.try_replan(call, &context, &wanted).await {
                Err(error) if tries.again(&error) => {}
                done => return done,
            }
        }
    }

    async fn try_replan(
        &self,
        call: &CallContext,
        context: &WriteContext,
        wanted: &Wanted,
    ) -> Result<ReplanCutListResponse, UseCaseError> {
        let before = self.store.cut_list(&wanted.list_id).await?;
        let (list, header) = (&before.list, &before.list.header);
        check_etag(list, &wanted.etag)?;
        if !header.state.is_active() {
            let list_id = wanted.list_id.clone();
            return Err(FloorError::ListStateForbids { list_id, state: header.state }.into());
        }
        refuse_too_many(list, &wanted.added)?;
        let jobs = self.named_jobs(call, ADDED, &wanted.added).await?;
        let needs = self.open_needs(call, list, &jobs).await?;
        let bench = self.bench(&header.station_id, &wires_of(&needs), Some(header)).await?;
        let gone = gone(list, &bench.coils);
        let planned = self.replan(call, needs, bench.coils, &bench.station, list).await?;
        let moves = PlanMoves::between(list.pending(), &planned.steps, &gone);
        let change = replace_pending(list, planned)?;
        self.commit(context, &before, change, move |after: &After| answer(after, moves)).await
    }

    /// Pieces of the list that are pending or short, and all of the added serials that are neither cut nor on another list. All
    /// serials of the list are in the answer, if only with their digests.
    async fn open_needs(
        &self,
        call: &CallContext,
        list: &CutList,
        added: &[Job],
    ) -> Result<Vec<SerialNeed>, UseCaseError> {
        let open = open_pieces(list);
        let wanted = wanted_sets(list, &open, added);
        let places: BTreeMap<String, String> = wanted
            .iter()
            .filter(|wanted| wanted.field.starts_with(ADDED))
            .map(|wanted| (wanted.serial_id.clone(), wanted.field.clone()))
            .collect();
        let mut found = self.needs_of_sets(call, wanted).await?;
        let serial_ids: Vec<SerialId> = found.iter().map(|need| need.serial.serial_id.clone()).collect();
        // What is short here may have been planned on another list meanwhile.
        let claims = of_others(&self.store.claimed_pieces(&serial_ids).await?, &list.header.list_id);
        let cuts = self.store.cuts_of_serials(&serial_ids).await?;
        for need in &mut found {
            let same_set = list.set_digest(&need.serial.serial_id) == Some(need.serial.set_digest.as_str());
            if same_set && !places.contains_key(need.serial.serial_id.as_str()) {
                keep_pieces(need, &open);
            }
            mark_recuts(need, &cuts);
        }
        drop_claimed(&mut found, &claims);
        refuse_empty(list, &found, &places)?;
        let mut needs = pending_needs(list, &[]);
        for need in &mut needs {
            need.pieces.clear();
            let place = found.iter().position(|found| found.serial.serial_id == need.serial.serial_id);
            if let Some(place) = place {
                *need = found.swap_remove(place);
            }
        }
        needs.extend(found);
        Ok(needs)
    }
}

/// Coils of pending steps from which nothing can be cut any more.
fn gone(list: &CutList, coils: &[FloorCoil]) -> BTreeSet<CoilId> {
    let mut gone: BTreeSet<CoilId> = list.pending().iter().map(|step| step.coil_id.clone()).collect();
    for coil in coils.iter().filter(|coil| coil.coil.state.is_usable()) {
        gone.remove(&coil.coil.coil_id);
    }
    gone
}

fn answer(after: &After, moves: PlanMoves) -> ReplanCutListResponse {
    let PlanMoves { kept, moved, forced, uncut } = moves;
    let count = |count: u32| i32::try_from(count).unwrap_or(i32::MAX);
    ReplanCutListResponse {
        cut_list: Some(after.message()),
        steps_kept: count(kept),
        steps_moved: count(moved),
        steps_forced: count(forced),
        pieces_uncut: count(uncut),
    }
}

/// Sets of the serials with open pieces and of those that are added, each once.
fn wanted_sets(list: &CutList, open: &BTreeSet<(SerialId, PieceId)>, added: &[Job]) -> Vec<WantedSet> {
    let serials: BTreeSet<&SerialId> = open.iter().map(|(serial_id, _)| serial_id).collect();
    let is_added = |serial_id: &SerialId| added.iter().any(|job| job.serial_id == serial_id.as_str());
    let on_list = list
        .header
        .serials
        .iter()
        .filter(|serial| serials.contains(&serial.serial_id) && !is_added(&serial.serial_id));
    let on_list = on_list.map(|serial| WantedSet {
        field: "list_id".to_owned(),
        serial_id: serial.serial_id.to_string(),
        due_date: serial.due_date.clone(),
    });
    let added = added.iter().enumerate().map(|(index, job)| WantedSet {
        field: format!("{ADDED}[{index}]"),
        serial_id: job.serial_id.clone(),
        due_date: job.due_date.clone(),
    });
    on_list.chain(added).collect()
}

/// Refuses serials of which the list would get nothing to cut.
fn refuse_empty(
    list: &CutList,
    needs: &[SerialNeed],
    places: &BTreeMap<String, String>,
) -> Result<(), UseCaseError> {
    let cores = list.header.policy.wound_cores;
    let is_empty = |need: &SerialNeed| need.pieces.iter().all(|p| !cores && p.kind == PieceKind::WoundCore);
    let faults: Vec<Fault> = needs
        .iter()
        .filter(|need| is_empty(need))
        .filter_map(|need| {
            let serial_id = need.serial.serial_id.as_str();
            let allowed = "a serial with pieces that are neither cut nor on another list";
            Some(Fault::new(places.get(serial_id)?, serial_id, allowed))
        })
        .collect();
    if faults.is_empty() { Ok(()) } else { Err(faults.into()) }
}

fn refuse_too_many(list: &CutList, added: &[SerialId]) -> Result<(), Fault> {
    let known = |serial_id: &&SerialId| list.set_digest(serial_id).is_none();
    let serials = list.header.serials.len() + added.iter().filter(known).count();
    if added.is_empty() || serials <= MAX_SERIALS {
        return Ok(());
    }
    Err(Fault::new(
        ADDED,
        format!("{serials} serials with those of the list"),
        format!("up to {MAX_SERIALS} serials"),
    ))
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

fn read(request: ReplanCutListRequest) -> Result<Wanted, UseCaseError> {
    let ReplanCutListRequest { request_id: _, list_id, etag, add_serial_ids } = request;
    let mut faults = Vec::new();
    let list_id = keep(id("list_id", &list_id, ListId::new), &mut faults);
    let added = read_serials(ADDED, &add_serial_ids, &mut faults);
    match list_id {
        Some(list_id) if faults.is_empty() => Ok(Wanted { list_id, etag, added }),
        _ => Err(faults.into()),
    }
}
