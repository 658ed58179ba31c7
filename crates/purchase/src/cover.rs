//! What the stock covers: pieces laid on coils, windings by length.

use becket_planner::{
    Coil, FirstPlanner, GroupIndex, MAX_PIECES, Piece, Planner, Problem, SerialIndex, Station, WireIndex,
    WireRule,
};
use becket_units::Um;

use crate::error::EstimateError;
use crate::question::WireQuestion;

/// The pieces of the first instruments of the schedule as a planning problem, and the week of each piece.
struct Laid {
    problem: Problem,
    weeks: Vec<usize>,
}

/// Length covered of each week's need.
pub(crate) fn covered_by_week(question: &WireQuestion) -> Result<Vec<Um>, EstimateError> {
    let Laid { problem, weeks } = lay_out(question)?;
    let plan = FirstPlanner.plan(&problem)?;
    let mut covered = vec![Um::ZERO; question.weeks.len()];
    let mut uncut = plan.uncut.iter().map(|piece| piece.index()).peekable();
    for (index, (piece, week)) in problem.pieces.iter().zip(weeks).enumerate() {
        if uncut.next_if_eq(&index).is_none() {
            add(&mut covered, week, piece.length)?;
        }
    }
    let figures = plan.figures;
    let spent = figures.cut_length.checked_add(figures.scrap).ok_or(EstimateError::TooLong)?;
    let left = question.free_stock().and_then(|free| free.checked_sub(spent));
    cover_windings(question, left.ok_or(EstimateError::TooLong)?, &mut covered)?;
    Ok(covered)
}

/// Lays out the pieces instrument by instrument, up to and with the one that makes the need greater than the stock.
fn lay_out(question: &WireQuestion) -> Result<Laid, EstimateError> {
    let free = question.free_stock().ok_or(EstimateError::TooLong)?;
    let (mut pieces, mut weeks, mut serial, mut group, mut need) = (Vec::new(), Vec::new(), 0, 0, Um::ZERO);
    let builds = question.weeks.iter().enumerate().flat_map(|(w, builds)| builds.iter().map(move |b| (w, b)));
    'schedule: for (week, build) in builds {
        let Some(instrument) = question.instruments.get(build.instrument) else { continue };
        if instrument.pieces.is_empty() {
            continue;
        }
        for _ in 0..build.count {
            // The planner says what is wrong with more pieces than it takes.
            if need > free || pieces.len() > MAX_PIECES {
                break 'schedule;
            }
            let mut groups = 0;
            for piece in &instrument.pieces {
                groups = groups.max(piece.group.saturating_add(1));
                let index = piece.group.checked_add(group).map(GroupIndex).ok_or(EstimateError::TooLong)?;
                let (wire, serial, length) = (WireIndex(0), SerialIndex(serial), piece.length);
                pieces.push(Piece { wire, serial, length, group: index, rank: piece.group });
                weeks.push(week);
                need = need.checked_add(piece.length).ok_or(EstimateError::TooLong)?;
            }
            serial += 1;
            group = group.checked_add(groups).ok_or(EstimateError::TooLong)?;
        }
    }
    Ok(Laid { problem: problem_of(question, pieces, serial), weeks })
}

/// One reel position and a tray for each instrument: an estimate asks what fits on the coils, not how the station works, and
/// so every coil is mounted once and trimmed once.
fn problem_of(question: &WireQuestion, pieces: Vec<Piece>, serials: u32) -> Problem {
    let coil = |coil: &crate::StockCoil| Coil {
        wire: WireIndex(0),
        available: coil.free.max(Um::ZERO),
        opened: coil.opened,
        received_rank: coil.received_rank,
        lot: coil.lot,
        mounted_at: None,
    };
    Problem {
        wires: vec![WireRule { smallest_remnant: question.smallest_remnant }],
        serials,
        pieces,
        coils: question.coils.iter().map(coil).collect(),
        station: Station { reel_positions: 1, trays: serials.max(1) },
        policy: question.policy,
    }
}

fn cover_windings(question: &WireQuestion, mut left: Um, covered: &mut [Um]) -> Result<(), EstimateError> {
    for (week, builds) in question.weeks.iter().enumerate() {
        for build in builds {
            let (_, _, winding) = question.need_of(*build).ok_or(EstimateError::TooLong)?;
            let taken = winding.min(left).max(Um::ZERO);
            left = left.checked_sub(taken).ok_or(EstimateError::TooLong)?;
            add(covered, week, taken)?;
        }
    }
    Ok(())
}

fn add(sums: &mut [Um], place: usize, length: Um) -> Result<(), EstimateError> {
    let sum = sums.get_mut(place).ok_or(EstimateError::TooLong)?;
    *sum = sum.checked_add(length).ok_or(EstimateError::TooLong)?;
    Ok(())
}
