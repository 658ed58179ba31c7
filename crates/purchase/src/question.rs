//! The question about one wire.

use becket_planner::Policy;
use becket_units::Um;

use crate::error::EstimateError;

/// One piece that an instrument needs of the wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PieceNeed {
    /// Length to cut, more than 0.
    pub length: Um,
    /// Group within the instrument: pieces that serve one note, or notes chained by looped pieces.
    pub group: u32,
}

/// What one instrument of a kind needs of the wire.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct InstrumentNeed {
    /// Pieces to cut.
    pub pieces: Vec<PieceNeed>,
    /// Wire for windings, by length, 0 or more.
    pub winding: Um,
}

/// How many instruments of a kind are begun in a week.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Build {
    /// Kind, as an index into [`WireQuestion::instruments`].
    pub instrument: usize,
    /// Instruments.
    pub count: u32,
}

/// One coil of the wire in stock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StockCoil {
    /// What is on it less what lists have reserved. Less than nothing counts as nothing.
    pub free: Um,
    /// Whether it was cut from before; opened coils are used up first.
    pub opened: bool,
    /// Order of receipt.
    pub received_rank: u32,
    /// Lot, as a number of the caller's.
    pub lot: u32,
    /// What stays on it besides the policy's margin, since its length is known less well.
    pub margin: Um,
}

/// Everything that an estimate of one wire rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct WireQuestion {
    /// What one instrument needs, by kind.
    pub instruments: Vec<InstrumentNeed>,
    /// Weeks in order, each with what is begun in it, in the order in which it is begun.
    pub weeks: Vec<Vec<Build>>,
    /// Coils that planning may count on.
    pub coils: Vec<StockCoil>,
    /// A remnant of the wire shorter than this is scrap.
    pub smallest_remnant: Um,
    /// How the pieces will be cut.
    pub policy: Policy,
    /// Linear density of the wire in g/m, more than 0.
    pub linear_density_g_m: f64,
    /// Net masses in g of the packs in which it is bought, 0.001 to 10 000 000; may be empty.
    pub pack_masses_g: Vec<f64>,
    /// Wire bought on top of what is short, as a share of it, 0 to 1.
    pub surplus_share: f64,
}

impl WireQuestion {
    /// Checks what is not checked by planning or by the choice of packs.
    pub(crate) fn check(&self) -> Result<(), EstimateError> {
        if !(0.0..=1.0).contains(&self.surplus_share) {
            return Err(EstimateError::SurplusOutOfRange { share: self.surplus_share });
        }
        if !(self.linear_density_g_m.is_finite() && self.linear_density_g_m > 0.0) {
            return Err(EstimateError::DensityOutOfRange { linear_density_g_m: self.linear_density_g_m });
        }
        if let Some(need) = self.instruments.iter().find(|need| need.winding < Um::ZERO) {
            return Err(EstimateError::WindingNegative { length: need.winding });
        }
        let mut pieces = self.instruments.iter().flat_map(|need| &need.pieces);
        if let Some(piece) = pieces.find(|piece| piece.length <= Um::ZERO) {
            return Err(EstimateError::PieceNotPositive { length: piece.length });
        }
        let kinds = self.instruments.len();
        match self.weeks.iter().flatten().find(|build| build.instrument >= kinds) {
            Some(build) => Err(EstimateError::InstrumentUnknown { instrument: build.instrument, kinds }),
            None => Ok(()),
        }
    }

    /// What a build needs of pieces and of windings.
    pub(crate) fn need_of(&self, build: Build) -> Option<(&InstrumentNeed, Um, Um)> {
        let need = self.instruments.get(build.instrument)?;
        let pieces = Um::checked_sum(need.pieces.iter().map(|piece| piece.length))?;
        let count = i64::from(build.count);
        Some((need, pieces.checked_mul(count)?, need.winding.checked_mul(count)?))
    }

    /// Free wire on all coils.
    pub(crate) fn free_stock(&self) -> Option<Um> {
        Um::checked_sum(self.coils.iter().map(|coil| coil.free.max(Um::ZERO)))
    }
}
