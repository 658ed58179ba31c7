//! Lists that counted on a coil from which nothing can be cut any more.

use std::collections::{BTreeMap, BTreeSet};

use becket_api::convert::{self, Stamps};
use becket_api::cutting::ListReplan;
use becket_floor::{
    Coil, CoilId, CoilState, CutList, CutListState, FloorChange, ListId, PlanMoves, counts_on, forget_coil,
    pending_needs, plan_around, reservations,
};
use becket_service_kit::CallContext;
use becket_store::{CoilChange, RefuseIf, StoredCoil};
use becket_units::Um;

use crate::app::App;
use crate::error::UseCaseError;
use crate::planning::wires_of;

/// How much more, or less, lists count on of each coil since they were read, in µm.
type Growth = BTreeMap<CoilId, i64>;

impl App {
    /// Adds to the change of a coil new plans of the lists that count on it, those that run first: what they take, the others do not
    /// get. What is pending is planned as it is on the lists, without asking the stringing service. Of a coil that is scrapped no
    /// step is left, since it is taken off its reel; one that is set aside or empty is still to be taken off.
    pub(super) async fn plan_lists_around(
        &self,
        call: &CallContext,
        before: &StoredCoil,
        change: &mut CoilChange,
        list_ids: &[ListId],
    ) -> Result<Vec<ListReplan>, UseCaseError> {
        let lost = as_changed(before, change)?;
        let mut lists = Vec::with_capacity(list_ids.len());
        for list_id in list_ids {
            lists.push(self.store.cut_list(list_id).await?.list);
        }
        lists.sort_by_key(|list| list.header.state != CutListState::Running);
        let mut growth = Growth::new();
        let mut told = Vec::with_capacity(lists.len());
        for list in &lists {
            let planned = if counts_on(list, &lost.coil_id) {
                self.plan_list_around(call, list, &lost, &growth).await?
            } else if lost.state == CoilState::Scrapped && list.header.state.is_active() {
                forget_coil(list, &lost.coil_id)?
            } else {
                continue;
            };
            grow(&mut growth, list, &planned);
            told.push(told_of(list, &planned, &lost.coil_id));
            change.lists.push(planned);
        }
        let scrapped = lost.state == CoilState::Scrapped;
        change.refuse_if = if scrapped { RefuseIf::Named } else { RefuseIf::CountedOn };
        Ok(told)
    }

    async fn plan_list_around(
        &self,
        call: &CallContext,
        list: &CutList,
        lost: &Coil,
        growth: &Growth,
    ) -> Result<FloorChange, UseCaseError> {
        let needs = pending_needs(list, &[]);
        let header = &list.header;
        let mut bench = self.bench(&header.station_id, &wires_of(&needs), Some(header)).await?;
        for coil in &mut bench.coils {
            if coil.coil.coil_id == lost.coil_id {
                coil.coil = lost.clone();
                if lost.state == CoilState::Scrapped {
                    coil.mounted = None;
                    bench.station.mounted.retain(|_, mounted| *mounted != lost.coil_id);
                }
            }
            let others = coil.reserved_by_others.get();
            let grown = growth.get(&coil.coil.coil_id).copied().unwrap_or_default();
            coil.reserved_by_others = Um::new(others.saturating_add(grown).max(0));
        }
        let here = bench.coils.iter().find(|coil| coil.coil.coil_id == lost.coil_id).cloned();
        let planned = self.replan(call, needs, bench.coils, &bench.station, list).await?;
        Ok(plan_around(list, here.as_ref(), planned)?)
    }
}

/// The coil after the change.
fn as_changed(before: &StoredCoil, change: &CoilChange) -> Result<Coil, UseCaseError> {
    let mut coil = before.coil.clone();
    if let Some(booking) = &change.booking {
        coil.apply(booking)?;
    }
    coil.state = change.state;
    Ok(coil)
}

fn grow(growth: &mut Growth, list: &CutList, change: &FloorChange) {
    for (coil_id, length) in reservations(list) {
        *growth.entry(coil_id).or_default() -= length.get();
    }
    for (coil_id, length) in reservations(&change.applied_to(list)) {
        *growth.entry(coil_id).or_default() += length.get();
    }
}

fn told_of(list: &CutList, change: &FloorChange, lost: &CoilId) -> ListReplan {
    let gone = BTreeSet::from([lost.clone()]);
    let after = change.replace_pending.as_deref().unwrap_or_default();
    let moves = PlanMoves::between(list.pending(), after, &gone);
    let stamps = Stamps { version: change.header.version, create_us: 0, update_us: 0 };
    convert::list_replan(&change.header.list_id, &stamps, moves)
}
