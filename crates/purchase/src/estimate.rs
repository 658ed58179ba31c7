//! The answer for one wire.

use becket_units::Um;

use crate::cover::covered_by_week;
use crate::error::EstimateError;
use crate::packs::{PackPurchase, packs_to_buy};
use crate::question::WireQuestion;

/// Micrometres in a metre.
const UM_PER_M: f64 = 1e6;

/// One week of one wire. `covered + short = need` holds exactly.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct WeekFigures {
    /// Wire that the instruments of the week need.
    pub need: Um,
    /// Part of it that the stock covers.
    pub covered: Um,
    /// Part of it that the stock does not cover.
    pub short: Um,
}

/// The answer for one wire. `covered + short = need` holds exactly.
#[derive(Debug, Clone, PartialEq)]
pub struct WireEstimate {
    /// Wire that the whole schedule needs, pieces and windings.
    pub need: Um,
    /// Mass of that wire in g.
    pub need_mass_g: f64,
    /// Pieces to cut.
    pub pieces: u64,
    /// Free wire on the coils.
    pub free_stock: Um,
    /// Part of the need that the stock covers.
    pub covered: Um,
    /// Part of the need that it does not cover.
    pub short: Um,
    /// Weeks in order.
    pub weeks: Vec<WeekFigures>,
    /// The first week with a shortfall, as an index; `None` if there is none.
    pub first_short_week: Option<usize>,
    /// What to buy; `None` if something is short and the wire has no pack that would serve.
    pub purchase: Option<PackPurchase>,
}

/// Lays a build schedule on the stock of one wire.
///
/// Packs that hold less than the longest piece with end trim and margin are left out of the choice, since a piece could not
/// be cut from them.
///
/// # Errors
/// [`EstimateError`]: a value is out of its range, or there is more of something than can be reckoned with.
///
/// # Examples
/// A coil of 2 m, and two instruments in successive weeks that need two pieces of 700 mm each: the second piece of the
/// second instrument does not fit, and neither does its first, though 600 mm are left.
/// ```
/// use becket_planner::{PieceOrder, Policy, Unison};
/// use becket_purchase::*;
/// use becket_units::Um;
///
/// let mm = |mm: i64| Um::new(mm * 1000);
/// let piece = |group| PieceNeed { length: mm(700), group };
/// let question = WireQuestion {
///     instruments: vec![InstrumentNeed { pieces: vec![piece(0), piece(1)], winding: Um::ZERO }],
///     weeks: vec![vec![Build { instrument: 0, count: 1 }]; 2],
///     coils: vec![StockCoil { free: mm(2000), opened: false, received_rank: 0, lot: 0, margin: mm(0) }],
///     smallest_remnant: mm(300),
///     policy: Policy {
///         unison: Unison::Preferred,
///         end_trim: mm(0),
///         margin: mm(0),
///         piece_order: PieceOrder::UpTheScale,
///         ..Policy::default()
///     },
///     linear_density_g_m: 5.0,
///     pack_masses_g: vec![250.0],
///     surplus_share: 0.05,
/// };
/// let answer = estimate(&question)?;
/// assert_eq!((answer.need, answer.covered, answer.short), (mm(2800), mm(1400), mm(1400)));
/// assert_eq!(answer.first_short_week, Some(1));
/// assert_eq!(answer.purchase.map(|p| p.counts), Some(vec![1]));
/// # Ok::<(), EstimateError>(())
/// ```
pub fn estimate(question: &WireQuestion) -> Result<WireEstimate, EstimateError> {
    question.check()?;
    let covered = covered_by_week(question)?;
    let mut weeks = Vec::with_capacity(covered.len());
    for (builds, covered) in question.weeks.iter().zip(covered) {
        let mut need = Um::ZERO;
        for build in builds {
            let (_, pieces, winding) = question.need_of(*build).ok_or(EstimateError::TooLong)?;
            let both = pieces.checked_add(winding).and_then(|both| need.checked_add(both));
            need = both.ok_or(EstimateError::TooLong)?;
        }
        let short = need.checked_sub(covered).ok_or(EstimateError::TooLong)?;
        weeks.push(WeekFigures { need, covered, short });
    }
    let sum =
        |of: fn(&WeekFigures) -> Um| Um::checked_sum(weeks.iter().map(of)).ok_or(EstimateError::TooLong);
    let (need, short) = (sum(|w| w.need)?, sum(|w| w.short)?);
    Ok(WireEstimate {
        need,
        need_mass_g: mass_g(need, question.linear_density_g_m),
        pieces: piece_count(question),
        free_stock: question.free_stock().ok_or(EstimateError::TooLong)?,
        covered: sum(|w| w.covered)?,
        short,
        first_short_week: weeks.iter().position(|week| week.short > Um::ZERO),
        weeks,
        purchase: purchase(question, short)?,
    })
}

fn purchase(question: &WireQuestion, short: Um) -> Result<Option<PackPurchase>, EstimateError> {
    let density = question.linear_density_g_m;
    let longest = question
        .weeks
        .iter()
        .flatten()
        .filter(|build| build.count > 0)
        .filter_map(|build| question.instruments.get(build.instrument))
        .flat_map(|need| &need.pieces)
        .map(|piece| piece.length)
        .max();
    let least = match longest {
        Some(longest) => Um::checked_sum([longest, question.policy.end_trim, question.policy.margin])
            .ok_or(EstimateError::TooLong)?,
        None => Um::ZERO,
    };
    let wanted_g = mass_g(short, density) * (1.0 + question.surplus_share);
    packs_to_buy(&question.pack_masses_g, wanted_g, mass_g(least, density))
}

#[expect(clippy::cast_precision_loss, reason = "a mass to be bought; far more exact than any scale weighs")]
fn mass_g(length: Um, linear_density_g_m: f64) -> f64 {
    length.get() as f64 / UM_PER_M * linear_density_g_m
}

fn piece_count(question: &WireQuestion) -> u64 {
    let builds = question.weeks.iter().flatten();
    builds.fold(0_u64, |sum, build| {
        let pieces = question.instruments.get(build.instrument).map_or(0, |need| need.pieces.len());
        sum.saturating_add(u64::try_from(pieces).unwrap_or(u64::MAX).saturating_mul(build.count.into()))
    })
}
