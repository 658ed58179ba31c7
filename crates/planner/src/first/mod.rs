//! The first planner: due order, best fit, one batch of trays at a time.

mod forecast;
mod ledger;
mod place;
mod sequence;

use crate::model::{PieceIndex, Problem, SerialIndex};
use crate::plan::{Plan, PlanError, Planner};

pub(crate) use forecast::Forecast;
pub(crate) use ledger::Ledger;
use place::Placer;
pub(crate) use sequence::Sequencer;

/// A sound and fast heuristic.
///
/// Serials are served in due order, as many at a time as there are trays and the due window allows. For each serial the groups are placed by
/// falling length: on the opened coil that fits best, else on the sealed coil received first. Then the batch is cut coil
/// by coil: first what is mounted already, then wire by wire. When a reel position is needed, the coil whose next use lies
/// furthest ahead is taken off.
///
/// It never cuts wire for a later serial before an earlier one had the choice of it, and leaves no piece uncut that would
/// still fit when its turn comes. It does not look ahead when it places pieces, so its waste and its number of uncut
/// pieces may be above the optimum.
///
/// Time grows with the number of pieces times the number of coils of one wire.
#[derive(Debug, Clone, Copy, Default)]
pub struct FirstPlanner;

impl Planner for FirstPlanner {
    fn plan(&self, problem: &Problem) -> Result<Plan, PlanError> {
        problem.check().map_err(PlanError::UnsoundProblem)?;
        let mut ledger = Ledger::new(problem);
        let forecast = Forecast::new(problem);
        let mut placer = Placer::new(problem);
        let mut sequencer = Sequencer::new(problem, forecast);

        let mut trays_free = problem.serials_at_a_time();
        let mut batch = Vec::new();
        for (serial, pieces) in pieces_by_serial(problem) {
            let placed = placer.place_serial(&mut ledger, pieces, &mut batch);
            if placed {
                trays_free -= 1;
            }
            if trays_free == 0 {
                sequencer.cut_batch(&mut ledger, &batch, serial);
                ledger.end_batch();
                batch.clear();
                trays_free = problem.serials_at_a_time();
            }
        }
        if let Some(last) = problem.serials.checked_sub(1) {
            sequencer.cut_batch(&mut ledger, &batch, SerialIndex(last));
        }
        Ok(sequencer.finish(&mut ledger, placer.into_uncut()))
    }
}

/// Pieces of each serial that has any, serials in due order.
fn pieces_by_serial(problem: &Problem) -> Vec<(SerialIndex, Vec<PieceIndex>)> {
    let mut pieces: Vec<Vec<PieceIndex>> = vec![Vec::new(); problem.serials as usize];
    for (p, piece) in problem.indexed_pieces() {
        pieces[piece.serial.index()].push(p);
    }
    (0u32..).map(SerialIndex).zip(pieces).filter(|(_, pieces)| !pieces.is_empty()).collect()
}
