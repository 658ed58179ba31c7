//! Pieces whose unisons were cut on earlier lists: a string that broke after its list had ended, or what was given up.

use becket_floor::{
    CutList, EarlierCut, FloorCoil, ListId, NewCutList, PlanPolicy, PlannedSteps, ReplanFrame, SerialNeed,
    Station, Unison,
};
use becket_service_kit::CancelFlag;
use becket_store::CutRecord;

use super::lacking;
use super::search::{Budget, solve_again};
use crate::error::UseCaseError;

/// Good cuts of other lists than this one, as a plan sees them.
pub(super) fn earlier_cuts(cuts: &[CutRecord], list_id: Option<&ListId>) -> Vec<EarlierCut> {
    let of_others = cuts.iter().filter(|cut| cut.spoil_cause.is_none() && Some(&cut.list_id) != list_id);
    of_others
        .map(|cut| EarlierCut {
            serial_id: cut.serial_id.clone(),
            wire_id: cut.wire_id.clone(),
            notes: cut.notes.clone(),
            coil_id: cut.coil_id.clone(),
            lot_id: cut.lot_id.clone(),
        })
        .collect()
}

/// What a plan was made from.
pub(super) struct Asked<'a> {
    pub(super) needs: Vec<SerialNeed>,
    pub(super) coils: Vec<FloorCoil>,
    pub(super) station: &'a Station,
    pub(super) policy: &'a PlanPolicy,
    pub(super) earlier: &'a [EarlierCut],
}

/// Draws such pieces to the coil of their unisons, or else to its lot, as far as the objective allows; all else stays as it was
/// planned. A plan that would leave more uncut is not taken.
///
/// # Errors
/// As [`solve_again`].
pub(super) fn draw_to_unisons(
    asked: Asked<'_>,
    planned: PlannedSteps,
    budget: &Budget,
    flag: &CancelFlag,
) -> Result<PlannedSteps, UseCaseError> {
    let Asked { needs, coils, station, policy, earlier } = asked;
    if policy.unison_rule == Unison::Off || earlier.is_empty() {
        return Ok(planned);
    }
    let list = as_list(station, policy, &planned);
    let frame = ReplanFrame::build(needs, coils, station, policy, &list, earlier);
    let Some(frame) = frame.with_kin_free() else { return Ok(planned) };
    let drawn = frame.frame().steps(&solve_again(&frame, policy, budget, flag)?)?;
    Ok(if lacking(&drawn) <= lacking(&planned) { drawn } else { planned })
}

/// The plan as a list of which nothing is done.
fn as_list(station: &Station, policy: &PlanPolicy, planned: &PlannedSteps) -> CutList {
    let list = NewCutList {
        station_id: station.station_id.clone(),
        serials: planned.serials.clone(),
        policy: *policy,
        steps: planned.steps.clone(),
        shortages: Vec::new(),
        quality: planned.quality.clone(),
    };
    list.named(ListId::numbered(0))
}
