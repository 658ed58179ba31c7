//! A coil and its balance.

use becket_units::{Fault, Um};

use crate::error::FloorError;
use crate::ids::{CoilId, LotId, WireId};
use crate::receive::{MAX_COIL_LENGTH, length_of_mass};

/// A weighing may find this part more than was received, one in so many: coils are sold by net mass, and scales and wire
/// have their tolerances. Common practice, no source.
pub const WEIGHING_SHARE_OVER: i64 = 50;

/// A weighing may find this much more than was received besides, for coils so small that a reel's tare tells. Common practice,
/// no source.
pub const WEIGHING_LENGTH_OVER: Um = Um::new(1_000_000);

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
    /// Length left.
    pub remaining: Um,
    /// Length cut for pieces that are good.
    pub cut: Um,
    /// Length scrapped: trims, miscuts, broken strings, tails.
    pub scrapped: Um,
    /// Sum of corrections, by weighings and counts; may be negative.
    pub adjusted: Um,
    /// Linear density in g/m, as the catalogue had it at receipt; more than 0.
    pub linear_density_g_m: f64,
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
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Booking {
    /// Coil.
    pub coil_id: CoilId,
    /// What is booked.
    pub kind: BookingKind,
    /// How much; negative only for a correction.
    pub amount: Um,
}

/// What a weighing makes of a coil.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Weighing {
    /// The correction; its amount may be 0.
    pub booking: Booking,
    /// State of the coil after it.
    pub state: CoilState,
}

impl Coil {
    /// Books one change.
    ///
    /// # Errors
    /// [`FloorError::BookingFaulty`] for another coil's booking or a negative amount that is no correction,
    /// [`FloorError::BalanceNegative`] if less than nothing would be left, [`FloorError::TooLong`] if a sum does not fit. The
    /// coil is unchanged then.
    pub fn apply(&mut self, booking: &Booking) -> Result<(), FloorError> {
        let amount = booking.amount;
        if booking.coil_id != self.coil_id || (amount < Um::ZERO && booking.kind != BookingKind::Adjust) {
            return Err(FloorError::BookingFaulty { coil_id: self.coil_id.clone(), amount });
        }
        let too_long = || FloorError::TooLong { coil_id: self.coil_id.clone() };
        let plus = |sum: Um| sum.checked_add(amount).ok_or_else(too_long);
        let minus = |held: Um| {
            held.checked_sub(amount).filter(|left| *left >= Um::ZERO).ok_or_else(|| {
                FloorError::BalanceNegative { coil_id: self.coil_id.clone(), held, taken: amount }
            })
        };
        match booking.kind {
            BookingKind::Cut => (self.remaining, self.cut) = (minus(self.remaining)?, plus(self.cut)?),
            BookingKind::Scrap => {
                (self.remaining, self.scrapped) = (minus(self.remaining)?, plus(self.scrapped)?)
            }
            BookingKind::CutToScrap => (self.cut, self.scrapped) = (minus(self.cut)?, plus(self.scrapped)?),
            BookingKind::Adjust => {
                let remaining = plus(self.remaining)?;
                if remaining < Um::ZERO {
                    let taken = Um::ZERO.checked_sub(amount).ok_or_else(too_long)?;
                    let (coil_id, held) = (self.coil_id.clone(), self.remaining);
                    return Err(FloorError::BalanceNegative { coil_id, held, taken });
                }
                (self.remaining, self.adjusted) = (remaining, plus(self.adjusted)?);
            }
        }
        Ok(())
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

    /// The correction that follows from a weighing: gross less tare, in g, over the linear density.
    ///
    /// A coil that was used up and turns out to hold wire is opened again; one that holds nothing is used up. A coil that is
    /// set aside stays so whatever it weighs, until it is returned.
    ///
    /// # Errors
    /// [`FloorError::Invalid`] with `gross_g`, `tare_g` outside 0 to 1000000 g, gross below tare, or more wire than was
    /// received plus [`WEIGHING_SHARE_OVER`] and [`WEIGHING_LENGTH_OVER`];
    /// [`FloorError::CoilStateForbids`] for a scrapped coil.
    pub fn weigh(&self, gross_g: f64, tare_g: f64) -> Result<Weighing, FloorError> {
        self.forbid(&[CoilState::Scrapped])?;
        let range = |field: &str, value| Fault::outside(field, value, 0.0, 1e6, "g");
        let mut faults: Vec<Fault> =
            [range("gross_g", gross_g), range("tare_g", tare_g)].into_iter().flatten().collect();
        if faults.is_empty() && gross_g < tare_g {
            faults.push(Fault::new("gross_g", gross_g, format!("at least the tare of {tare_g} g")));
        }
        if !faults.is_empty() {
            return Err(FloorError::Invalid(faults));
        }
        let length =
            length_of_mass(gross_g - tare_g, self.linear_density_g_m).filter(|l| *l <= MAX_COIL_LENGTH);
        let length = length.ok_or_else(|| {
            FloorError::Invalid(vec![Fault::new(
                "gross_g",
                gross_g,
                "a weight that gives at most 1000 km of wire",
            )])
        })?;
        if length > self.most_by_weight() {
            return Err(FloorError::Invalid(vec![self.too_heavy(gross_g, tare_g)]));
        }
        let amount = length.checked_sub(self.remaining);
        let amount = amount.ok_or_else(|| FloorError::TooLong { coil_id: self.coil_id.clone() })?;
        let state = match self.state {
            CoilState::SetAside => CoilState::SetAside,
            _ if length == Um::ZERO => CoilState::UsedUp,
            CoilState::UsedUp => CoilState::Opened,
            state => state,
        };
        Ok(Weighing { booking: self.booking(BookingKind::Adjust, amount), state })
    }

    /// The longest wire that a weighing of the coil can find.
    fn most_by_weight(&self) -> Um {
        let over = Um::new(self.received.get() / WEIGHING_SHARE_OVER);
        Um::checked_sum([self.received, over, WEIGHING_LENGTH_OVER]).unwrap_or(Um::new(i64::MAX))
    }

    fn too_heavy(&self, gross_g: f64, tare_g: f64) -> Fault {
        let most_g = tare_g + self.most_by_weight().as_mm() / 1000.0 * self.linear_density_g_m;
        let allowed = format!(
            "at most {most_g:.1} g with a tare of {tare_g} g, since {:.1} m were received; a heavier coil has a heavier \
             reel, another wire, or was received with too little",
            self.received.as_mm() / 1000.0
        );
        Fault::new("gross_g", gross_g, allowed)
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
        Booking { coil_id: self.coil_id.clone(), kind, amount }
    }

    fn forbid(&self, states: &[CoilState]) -> Result<(), FloorError> {
        if states.contains(&self.state) {
            return Err(FloorError::CoilStateForbids { coil_id: self.coil_id.clone(), state: self.state });
        }
        Ok(())
    }
}
