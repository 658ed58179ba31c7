//! Weighing a coil.

use becket_units::{Fault, Um};

use crate::coil::{Booking, BookingKind, Coil, CoilState};
use crate::error::FloorError;
use crate::estimate::{LengthEstimate, density_sd};
use crate::evidence::{EvidenceKind, EvidenceState, Finding};
use crate::receive::{MAX_COIL_LENGTH, length_of_mass};

/// A weighing may find this part more than was received, one in so many: coils are sold by net mass, and scales and wire
/// have their tolerances. Common practice, no source.
pub const WEIGHING_SHARE_OVER: i64 = 50;

/// A weighing may find this much more than was received besides, for coils so small that a reel's tare tells. Common practice,
/// no source.
pub const WEIGHING_LENGTH_OVER: Um = Um::new(1_000_000);

/// Smallest step of a shop's scales in g, where none is stated. Common practice, no source.
pub const DEFAULT_RESOLUTION_G: f64 = 1.0;

/// Standard deviation of a reel's tare as a part of it, where none is stated: reels of one kind differ. Common practice, no source.
pub const DEFAULT_TARE_SD_SHARE: f64 = 0.005;

/// Coarsest scales, and most uncertain tare, in g.
const MOST_SD_G: f64 = 1000.0;

/// What was read off the scales.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scales {
    /// Weight of coil and reel in g, 0 to 1000000.
    pub gross_g: f64,
    /// Weight of the empty reel in g, 0 to 1000000, not above the gross.
    pub tare_g: f64,
    /// Smallest step of the scales in g, more than 0, up to 1000.
    pub resolution_g: f64,
    /// Standard deviation of the tare in g, 0 to 1000.
    pub tare_sd_g: f64,
}

/// What a weighing makes of a coil.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighing {
    /// What the weighing tells, and how far it lies from what was believed.
    pub finding: Finding,
    /// The correction, whose amount may be 0; `None` if the weighing disagrees and is kept out until somebody decides.
    pub booking: Option<Booking>,
    /// State of the coil after it.
    pub state: CoilState,
}

impl Scales {
    /// With resolution and standard deviation of the tare as they are where none is stated.
    #[must_use]
    pub fn plain(gross_g: f64, tare_g: f64) -> Self {
        // A tare that is none is told as a fault of its own.
        let tare_sd_g = if tare_g > 0.0 { (tare_g * DEFAULT_TARE_SD_SHARE).min(MOST_SD_G) } else { 0.0 };
        Self { gross_g, tare_g, resolution_g: DEFAULT_RESOLUTION_G, tare_sd_g }
    }

    /// Standard deviation of the net mass in g.
    ///
    /// # Formula
    /// ```text
    /// u(m)² = q²/12 + u(tare)²
    /// ```
    /// A reading on scales that show steps of q lies anywhere within a step: a rectangular distribution of half-width q/2.
    ///
    /// # Source
    /// JCGM 100:2008, F.2.2.1 (from memory).
    #[must_use]
    pub fn net_sd_g(&self) -> f64 {
        (self.resolution_g / 12.0_f64.sqrt()).hypot(self.tare_sd_g)
    }

    /// All faults, by the names of the API.
    fn faults(&self) -> Vec<Fault> {
        let range = |field: &str, value| Fault::outside(field, value, 0.0, 1e6, "g");
        let mut faults: Vec<Fault> =
            [range("gross_g", self.gross_g), range("tare_g", self.tare_g)].into_iter().flatten().collect();
        if faults.is_empty() && self.gross_g < self.tare_g {
            faults.push(Fault::new(
                "gross_g",
                self.gross_g,
                format!("at least the tare of {} g", self.tare_g),
            ));
        }
        if !(self.resolution_g > 0.0 && self.resolution_g <= MOST_SD_G) {
            faults.push(Fault::new("resolution_g", self.resolution_g, "more than 0, up to 1000 g"));
        }
        faults.extend(Fault::outside("tare_sd_g", self.tare_sd_g, 0.0, MOST_SD_G, "g"));
        faults
    }
}

impl Coil {
    /// What follows from a weighing: gross less tare, in g, over the linear density, combined with what was believed by the
    /// inverse of the variances.
    ///
    /// A weighing that lies more than three standard deviations from what was believed is never merged: with so wide a gap
    /// one of the two is wrong, and a mean of a right and a wrong value is wrong, too. It is kept out of the balance until
    /// somebody decides, unless `accept` says that it is right: then it takes the place of all that was believed. The books go on as
    /// they were meanwhile, since a plan that rests on them is no worse than before the weighing.
    ///
    /// A reel that weighs what it weighs empty is empty. A coil that was used up and turns out to hold wire is opened again; one
    /// that holds nothing is used up. A coil that is set aside stays so whatever it weighs, until it is returned.
    ///
    /// # Errors
    /// [`FloorError::Invalid`] with `gross_g`, `tare_g`, `resolution_g`, `tare_sd_g` outside the ranges of [`Scales`], or more
    /// wire than was received plus [`WEIGHING_SHARE_OVER`] and [`WEIGHING_LENGTH_OVER`];
    /// [`FloorError::CoilStateForbids`] for a scrapped coil.
    pub fn weigh(&self, scales: &Scales, accept: bool) -> Result<Weighing, FloorError> {
        self.forbid(&[CoilState::Scrapped])?;
        let length = self.weighed(scales)?;
        let alone = self.by_weight_alone(length, scales);
        let own_sd_mm = self.length_mm_of(scales.net_sd_g());
        let combined = self.estimate.with_weighing(self.remaining, length, own_sd_mm);
        let mut finding = Finding {
            kind: EvidenceKind::Weighing(*scales),
            state: EvidenceState::Merged,
            length,
            sd_mm: alone.sd_mm(),
            deviation_sds: combined.deviation_sds,
            estimate: combined.estimate,
        };
        let mean = if finding.disagrees() {
            finding.estimate = alone;
            if !accept {
                finding.state = EvidenceState::Held;
                return Ok(Weighing { finding, booking: None, state: self.state });
            }
            finding.state = EvidenceState::Accepted;
            length
        } else if length == Um::ZERO {
            length
        } else {
            Um::from_mm_f64(combined.mean_mm).unwrap_or(length).max(Um::ZERO)
        };
        let booking = self.settle(mean, finding)?;
        Ok(Weighing { finding, booking: Some(booking), state: self.state_with(mean) })
    }

    /// The booking that makes `mean` the remaining length, on the ground of a finding.
    ///
    /// # Errors
    /// [`FloorError::TooLong`] if the difference does not fit.
    pub fn settle(&self, mean: Um, finding: Finding) -> Result<Booking, FloorError> {
        let amount = mean.checked_sub(self.remaining);
        let amount = amount.ok_or_else(|| FloorError::TooLong { coil_id: self.coil_id.clone() })?;
        Ok(Booking { finding: Some(finding), ..self.booking(BookingKind::Adjust, amount) })
    }

    /// The state of the coil if that much is on it by new evidence.
    pub(crate) fn state_with(&self, length: Um) -> CoilState {
        match self.state {
            CoilState::SetAside => CoilState::SetAside,
            _ if length == Um::ZERO => CoilState::UsedUp,
            CoilState::UsedUp => CoilState::Opened,
            state => state,
        }
    }

    /// What is known if nothing but a weighing is believed.
    pub(crate) fn by_weight_alone(&self, length: Um, scales: &Scales) -> LengthEstimate {
        let own_sd_mm = self.length_mm_of(scales.net_sd_g());
        LengthEstimate::of_mass(length, own_sd_mm, density_sd(self.linear_density_g_m))
    }

    fn length_mm_of(&self, mass_g: f64) -> f64 {
        mass_g / self.linear_density_g_m * 1000.0
    }

    /// The length that a weighing gives by the catalogue's linear density.
    fn weighed(&self, scales: &Scales) -> Result<Um, FloorError> {
        let faults = scales.faults();
        if !faults.is_empty() {
            return Err(FloorError::Invalid(faults));
        }
        let Scales { gross_g, tare_g, .. } = *scales;
        let length =
            length_of_mass(gross_g - tare_g, self.linear_density_g_m).filter(|l| *l <= MAX_COIL_LENGTH);
        let length = length.ok_or_else(|| {
            let allowed = "a weight that gives at most 1000 km of wire";
            FloorError::Invalid(vec![Fault::new("gross_g", gross_g, allowed)])
        })?;
        if length > self.most_by_weight() {
            return Err(FloorError::Invalid(vec![self.too_heavy(gross_g, tare_g)]));
        }
        Ok(length)
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
}
