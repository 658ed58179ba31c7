//! Small questions.

use becket_planner::{PieceOrder, Policy, Unison};
use becket_purchase::{Build, InstrumentNeed, PieceNeed, StockCoil, WireQuestion};
use becket_units::Um;

pub(crate) fn mm(mm: i64) -> Um {
    Um::new(mm * 1000)
}

pub(crate) fn policy(unison: Unison) -> Policy {
    Policy {
        unison,
        end_trim: mm(0),
        margin: mm(0),
        piece_order: PieceOrder::UpTheScale,
        ..Policy::default()
    }
}

/// An instrument with pieces of these lengths in mm, each a group of its own.
pub(crate) fn instrument(pieces_mm: &[i64], winding_mm: i64) -> InstrumentNeed {
    let piece = |(group, length): (u32, &i64)| PieceNeed { length: mm(*length), group };
    InstrumentNeed { pieces: (0..).zip(pieces_mm).map(piece).collect(), winding: mm(winding_mm) }
}

pub(crate) fn coils(free_mm: &[i64]) -> Vec<StockCoil> {
    let coil = |(rank, free): (u32, &i64)| StockCoil {
        free: mm(*free),
        opened: false,
        received_rank: rank,
        lot: rank,
        margin: mm(0),
    };
    (0..).zip(free_mm).map(coil).collect()
}

/// One instrument of kind 0 in each of `weeks` weeks; wire of 5 g/m in packs of 10 g and 40 g (2 m and 8 m).
pub(crate) fn question(kind: InstrumentNeed, weeks: usize, coils: Vec<StockCoil>) -> WireQuestion {
    WireQuestion {
        instruments: vec![kind],
        weeks: vec![vec![Build { instrument: 0, count: 1 }]; weeks],
        coils,
        smallest_remnant: mm(100),
        policy: policy(Unison::Preferred),
        linear_density_g_m: 5.0,
        pack_masses_g: vec![10.0, 40.0],
        surplus_share: 0.0,
    }
}
