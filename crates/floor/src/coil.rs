//! A coil and its balance.

use becket_units::Um;

use crate::error::FloorError;
use crate::estimate::{CUT_SD_MM, LengthEstimate, SCRAP_SD_MM};
use crate::evidence::{Evidence, EvidenceKind, Finding, came_off, found};
use crate::ids::{CoilId, LotId, WireId};

/// Where a coil is in its life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum CoilState {
    /// Never cut from.
    Sealed,
    /// Opened.
    Opened,
    /// Kept out of planning.
    SetAside,
    /// Nothing is left on it.
    UsedUp,
    /// Its rest was scrapped.
    Scrapped,
}

impl CoilState {
    /// Whether wire may be cut from the coil.
    #[must_use]
    pub fn is_usable(self) -> bool {
        matches!(self, Self::Sealed | Self::Opened)
    }
}

/// A coil in stock. `remaining = received − cut − scrapped + adjusted` holds at every moment, and nothing but `adjusted`
/// is ever negative.
#[derive(Debug, Clone, PartialEq)]
pub struct Coil {
    /// Name.
    pub coil_id: CoilId,
    /// Wire on it.
    pub wire_id: WireId,
    /// Lot or heat number.
    pub lot_id: LotId,
    /// Day of receipt, ISO 8601.
    pub received_date: String,
    /// State.
    pub state: CoilState,
    /// Length received.
    pub received: Um,
    /// Length left, as it is believed: the mean of what is known of it.
    pub remaining: Um,
    /// Length cut for pieces that are good.
    pub cut: Um,
    /// Length scrapped: trims, miscuts, broken strings, tails.
    pub scrapped: Um,
    /// Sum of corrections, by weighings, run-outs and counts; may be negative.
    pub adjusted: Um,
    /// Linear density in g/m, as the catalogue had it at receipt; more than 0.
    pub linear_density_g_m: f64,
    /// How well [`remaining`](Self::remaining) is known.
    pub estimate: LengthEstimate,
}

/// What a booking books.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum BookingKind {
    /// Remaining wire became a piece.
    Cut,
    /// Remaining wire became scrap.
    Scrap,
    /// The remaining length is another one than was believed; the amount is the signed difference.
    Adjust,
    /// A piece that was cut became scrap.
    CutToScrap,
}

/// One change of a coil's balance.
#[derive(Debug, Clone, PartialEq)]
pub struct Booking {
    /// Coil.
    pub coil_id: CoilId,
    /// What is booked.
    pub kind: BookingKind,
    /// How much; negative only for a correction.
    pub amount: Um,
    /// The evidence on which a correction rests; `None` on other bookings, and where more wire came off than was believed.
    pub finding: Option<Finding>,
}

impl Coil {
    /// Books one change: in the balance, and in what is known of the length. Returns the line of the ledger, if the change
    /// concerns the length that remains.
    ///
    /// Wire that comes off makes the length less certain, by the standard deviation of what is cut or scrapped.
    ///
    /// # Errors
    /// [`FloorError::BookingFaulty`] for another coil's booking or a negative amount that is no correction,
    /// [`FloorError::BalanceNegative`] if less than nothing would be left, [`FloorError::TooLong`] if a sum does not fit. The
    /// coil is unchanged then.
    pub fn apply(&mut self, booking: &Booking) -> Result<Option<Evidence>, FloorError> {
        let amount = booking.amount;
        let before = self.belief();
        if booking.coil_id != self.coil_id
            || (booking.kind != BookingKind::Adjust && (amount < Um::ZERO || booking.finding.is_some()))
        {
            return Err(FloorError::BookingFaulty { coil_id: self.coil_id.clone(), amount });
        }
        let too_long = || FloorError::TooLong { coil_id: self.coil_id.clone() };
        let plus = |sum: Um| sum.checked_add(amount).ok_or_else(too_long);
        let minus = |held: Um| {
            held.checked_sub(amount).filter(|left| *left >= Um::ZERO).ok_or_else(|| {
                FloorError::BalanceNegative { coil_id: self.coil_id.clone(), held, taken: amount }
            })
        };
        let kind = match booking.kind {
            BookingKind::Cut => {
                (self.remaining, self.cut) = (minus(self.remaining)?, plus(self.cut)?);
                self.estimate = self.estimate.after_taking(CUT_SD_MM);
                EvidenceKind::Cut
            }
            BookingKind::Scrap => {
                (self.remaining, self.scrapped) = (minus(self.remaining)?, plus(self.scrapped)?);
                self.estimate = self.estimate.after_taking(SCRAP_SD_MM);
                EvidenceKind::Scrap
            }
            BookingKind::CutToScrap => {
                (self.cut, self.scrapped) = (minus(self.cut)?, plus(self.scrapped)?);
                return Ok(None);
            }
            BookingKind::Adjust => {
                let remaining = plus(self.remaining)?;
                if remaining < Um::ZERO {
                    let taken = Um::ZERO.checked_sub(amount).ok_or_else(too_long)?;
                    let (coil_id, held) = (self.coil_id.clone(), self.remaining);
                    return Err(FloorError::BalanceNegative { coil_id, held, taken });
                }
                (self.remaining, self.adjusted) = (remaining, plus(self.adjusted)?);
                if let Some(finding) = &booking.finding {
                    self.estimate = finding.estimate;
                    return Ok(Some(found(finding, before, self.belief())));
                }
                EvidenceKind::Correction
            }
        };
        Ok(Some(came_off(kind, amount, before, self.belief())))
    }

    /// Whether the balance holds.
    #[must_use]
    pub fn is_balanced(&self) -> bool {
        let sum =
            i128::from(self.received.get()) - i128::from(self.cut.get()) - i128::from(self.scrapped.get())
                + i128::from(self.adjusted.get());
        let parts = [self.received, self.remaining, self.cut, self.scrapped];
        sum == i128::from(self.remaining.get()) && parts.iter().all(|part| *part >= Um::ZERO)
    }

    /// The state of a coil that is taken out of planning.
    ///
    /// # Errors
    /// [`FloorError::CoilStateForbids`] unless the coil is sealed or opened.
    pub fn set_aside(&self) -> Result<CoilState, FloorError> {
        self.forbid(&[CoilState::SetAside, CoilState::UsedUp, CoilState::Scrapped])?;
        Ok(CoilState::SetAside)
    }

    /// The state of a coil that is put back into planning: sealed if nothing was ever booked on it, used up if nothing is left
    /// on it, else opened.
    ///
    /// # Errors
    /// [`FloorError::CoilStateForbids`] unless the coil is set aside.
    pub fn return_to_stock(&self) -> Result<CoilState, FloorError> {
        self.forbid(&[CoilState::Sealed, CoilState::Opened, CoilState::UsedUp, CoilState::Scrapped])?;
        if self.remaining == Um::ZERO {
            return Ok(CoilState::UsedUp);
        }
        let untouched = [self.cut, self.scrapped, self.adjusted].iter().all(|part| *part == Um::ZERO);
        Ok(if untouched { CoilState::Sealed } else { CoilState::Opened })
    }

    /// The booking that scraps what remains of a coil; its state is [`CoilState::Scrapped`] afterwards. Whether lists have
    /// steps to do on it only the store can tell; it refuses the change then.
    ///
    /// # Errors
    /// [`FloorError::CoilStateForbids`] for a coil that is used up or scrapped.
    pub fn scrap(&self) -> Result<Booking, FloorError> {
        self.forbid(&[CoilState::UsedUp, CoilState::Scrapped])?;
        Ok(self.booking(BookingKind::Scrap, self.remaining))
    }

    pub(crate) fn booking(&self, kind: BookingKind, amount: Um) -> Booking {
        Booking { coil_id: self.coil_id.clone(), kind, amount, finding: None }
    }

    pub(crate) fn forbid(&self, states: &[CoilState]) -> Result<(), FloorError> {
        if states.contains(&self.state) {
            return Err(FloorError::CoilStateForbids { coil_id: self.coil_id.clone(), state: self.state });
        }
        Ok(())
    }
}
