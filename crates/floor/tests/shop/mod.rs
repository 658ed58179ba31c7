//! A shop in memory: it stores what the transitions return, as a store would, and checks after every change what must
//! always hold.

use std::collections::{BTreeMap, BTreeSet};

use becket_floor::{
    Amount, Booking, BookingKind, Coil, CoilId, CoilState, CutList, Finding, FloorChange, FloorCoil,
    FloorError, ListId, LotId, MountPlace, NewCoil, NewCutList, PieceId, PieceKind, PieceNeed, PlanFigures,
    PlanFrame, PlanPolicy, PlannedSteps, Scales, SerialDigest, SerialId, SerialNeed, Spoilage, Station,
    StationId, Step, StepKind, StepState, WireId, pending_needs, predict, reservations, run_out,
    run_out_with_replan, spoil, spoil_with_replan,
};
use becket_planner::{BestPlan, FirstPlanner, Planner, check_plan};
use becket_units::Um;

pub(crate) struct Shop {
    pub(crate) coils: BTreeMap<CoilId, (Coil, i64)>,
    pub(crate) station: Station,
    pub(crate) smallest_remnant: Um,
    pub(crate) reserved_by_others: BTreeMap<CoilId, Um>,
    pub(crate) list: CutList,
}

pub(crate) fn mm(mm: i64) -> Um {
    Um::new(mm * 1000)
}

pub(crate) fn coil_id(text: &str) -> CoilId {
    CoilId::new(text).unwrap()
}

pub(crate) fn coil(id: &str, length_mm: i64) -> Coil {
    NewCoil {
        coil_id: coil_id(id),
        wire_id: WireId::new("w1").unwrap(),
        lot_id: LotId::new("L1").unwrap(),
        received_date: "2026-01-01".to_owned(),
        amount: Amount::LengthMm(mm(length_mm).as_mm()),
        remaining_length_mm: None,
        length_sd_mm: None,
        linear_density_g_m: 6.2,
    }
    .receive()
    .unwrap()
}

/// A need of one serial: pieces of one wire with these lengths in mm, two to a note.
pub(crate) fn need(serial: &str, lengths_mm: &[i64]) -> SerialNeed {
    let pieces = (0..).zip(lengths_mm).map(|(i, length)| PieceNeed {
        piece_id: PieceId::new(format!("{}.{}", 40 + i / 2, 1 + i % 2)).unwrap(),
        kind: PieceKind::TiedSingle,
        wire_id: WireId::new("w1").unwrap(),
        length: mm(*length),
        notes: vec![40 + i / 2],
        section: None,
        recut: false,
    });
    SerialNeed {
        serial: SerialDigest {
            serial_id: SerialId::new(serial).unwrap(),
            set_digest: "d".to_owned(),
            due_date: "2026-12-01".to_owned(),
        },
        pieces: pieces.collect(),
    }
}

impl Shop {
    /// A shop with a planned list of these needs.
    pub(crate) fn new(
        coils: Vec<Coil>,
        needs: Vec<SerialNeed>,
        reel_positions: u32,
        policy: PlanPolicy,
    ) -> Self {
        let station_id = StationId::new("bench").unwrap();
        let mut shop = Self {
            coils: coils.into_iter().map(|coil| (coil.coil_id.clone(), (coil, 1))).collect(),
            station: Station {
                station_id: station_id.clone(),
                title: String::new(),
                reel_positions,
                trays: 3,
                mounted: BTreeMap::new(),
            },
            smallest_remnant: mm(300),
            reserved_by_others: BTreeMap::new(),
            list: NewCutList {
                station_id,
                serials: vec![],
                policy,
                steps: vec![],
                shortages: vec![],
                quality: Default::default(),
            }
            .named(ListId::numbered(1)),
        };
        let PlannedSteps { serials, steps, shortages, quality } = shop.plan(needs, shop.floor_coils());
        shop.list = NewCutList {
            station_id: shop.station.station_id.clone(),
            serials,
            policy,
            steps,
            shortages,
            quality,
        }
        .named(ListId::numbered(1));
        shop
    }

    pub(crate) fn floor_coils(&self) -> Vec<FloorCoil> {
        let floor_coil = |(coil, version): &(Coil, i64)| FloorCoil {
            coil: coil.clone(),
            version: *version,
            reserved_by_others: self.reserved_by_others.get(&coil.coil_id).copied().unwrap_or_default(),
            smallest_remnant: self.smallest_remnant,
            mounted: self.station.position_of(&coil.coil_id).map(|reel_position| MountPlace {
                station_id: self.station.station_id.clone(),
                reel_position,
            }),
        };
        self.coils.values().map(floor_coil).collect()
    }

    /// A plan that the planner's independent checker has passed.
    pub(crate) fn plan(&self, needs: Vec<SerialNeed>, coils: Vec<FloorCoil>) -> PlannedSteps {
        let frame = PlanFrame::build(needs, coils, &self.station, &self.list.header.policy);
        let plan = FirstPlanner.plan(frame.problem()).unwrap();
        assert_eq!(check_plan(frame.problem(), &plan), Ok(()));
        let best = BestPlan { plan, quality: Default::default() };
        let planned = frame.steps(&best).unwrap();
        let plan = best.plan;
        let ours = PlanFigures::of(&planned.steps);
        assert_eq!((u64::from(ours.pieces), ours.cut), (plan.figures.pieces_cut, plan.figures.cut_length));
        assert_eq!(u64::from(ours.reel_changes), plan.figures.reel_changes);
        assert_eq!(u64::from(ours.coils_opened), plan.figures.coils_opened);
        planned
    }

    /// Stores a change and checks what must always hold.
    pub(crate) fn commit(&mut self, change: &FloorChange) {
        let before = self.list.clone();
        assert_eq!(change.header.version, before.header.version + 1);
        for guard in &change.guards {
            assert_eq!(self.coils[&guard.coil_id].1, guard.version);
        }
        for booking in &change.bookings {
            assert!(
                change.guards.iter().any(|guard| guard.coil_id == booking.coil_id),
                "booked without a guard"
            );
            let (coil, version) = self.coils.get_mut(&booking.coil_id).unwrap();
            coil.apply(booking).unwrap();
            *version += 1;
        }
        for (coil_id, state) in &change.coil_states {
            let (coil, version) = self.coils.get_mut(coil_id).unwrap();
            coil.state = *state;
            *version += 1;
        }
        for (position, coil_id) in &change.mounted {
            let was = self.station.mounted.remove(position);
            assert!(was.is_none() || coil_id.is_none(), "two coils on one position");
            if let Some(coil_id) = coil_id {
                assert_eq!(self.station.position_of(coil_id), None, "one coil on two positions");
                self.station.mounted.insert(*position, coil_id.clone());
            }
        }
        self.list = change.applied_to(&before);
        self.check(&before);
    }

    fn check(&self, before: &CutList) {
        for (number, step) in (1..).zip(&self.list.steps) {
            assert_eq!(step.step_number, number, "numbers have a gap");
            assert_eq!(step.is_pending(), step.done_us.is_none());
        }
        // What is executed is a prefix and stays as it was, but for a piece that turns out to be spoiled.
        assert!(self.list.steps.is_sorted_by_key(Step::is_pending), "a pending step before an executed one");
        for (was, is) in before.done().iter().zip(self.list.done()) {
            let spoiled = is.state == StepState::Spoiled && was.state == StepState::Done;
            let as_was = Step { state: was.state, spoil_cause: was.spoil_cause, ..is.clone() };
            assert!(was == is || (spoiled && *was == as_was), "an executed step changed: {was:?} to {is:?}");
        }
        let mut claimed = BTreeSet::new();
        for step in self.list.steps.iter().filter(|step| step.state != StepState::Spoiled) {
            if let Some(piece) = &step.piece {
                assert!(
                    claimed.insert((piece.serial_id.clone(), piece.piece_id.clone())),
                    "a piece is cut twice"
                );
            }
        }
        self.check_balances();
        let header = &self.list.header;
        assert_eq!(header.figures, PlanFigures::of(&self.list.steps));
        assert_eq!(header.figures.pieces, header.pieces_done + header.pieces_pending);
    }

    /// Every coil balances, and its books agree with the steps that took wire from it.
    fn check_balances(&self) {
        for (coil, _) in self.coils.values() {
            assert!(coil.is_balanced(), "{coil:?}");
            let sum = |test: fn(&Step) -> bool| {
                let of_coil =
                    self.list.done().iter().filter(|step| step.coil_id == coil.coil_id && test(step));
                Um::checked_sum(of_coil.map(|step| step.length)).unwrap()
            };
            assert_eq!(coil.cut, sum(Step::is_good_cut), "{coil:?}");
            assert_eq!(coil.scrapped, sum(|step| !step.is_good_cut()), "{coil:?}");
        }
        let reserved = reservations(&self.list);
        let by_hand = self.list.steps.iter().filter(|s| s.is_pending() && s.kind != StepKind::Unmount);
        assert_eq!(Um::checked_sum(reserved.into_values()), Um::checked_sum(by_hand.map(|step| step.length)),);
    }

    pub(crate) fn start(&mut self) {
        let change = becket_floor::start(&self.list, 1).unwrap();
        self.commit(&change);
    }

    pub(crate) fn confirm(&mut self, count: u32) -> Result<(), FloorError> {
        let number = self.list.next().map_or(0, |step| step.step_number);
        let coils = self.floor_coils();
        let told = predict(&self.list, &coils, &BTreeMap::new());
        let change = becket_floor::confirm(&self.list, &coils, &self.station, number, count, 2, "anna")?;
        // Whatever happened since the plan was made, the steps come out as they were predicted just before.
        for step in &change.changed_steps {
            let told = told.steps.iter().find(|told| told.step_number == step.step_number).unwrap();
            let outcome = |step: &Step| (step.length, step.remaining_after, step.tail_use);
            assert_eq!(outcome(told), outcome(step), "{step:?}");
        }
        self.commit(&change);
        Ok(())
    }

    /// Reports a lost piece, planning anew where that is needed. Returns the step of the recut.
    pub(crate) fn spoil(&mut self, number: u32, lost: Option<Um>) -> Result<Option<u32>, FloorError> {
        let cause = becket_floor::SpoilCause::Miscut;
        let spoilage = spoil(&self.list, &self.floor_coils(), &self.station, number, cause, lost, 3, "bert")?;
        let (change, recut) = match spoilage {
            Spoilage::Recut { change, recut_step_number } => (change, Some(recut_step_number)),
            Spoilage::Owed { change } => (change, None),
            Spoilage::NeedsReplan(loss) => {
                let needs = pending_needs(&loss.list, std::slice::from_ref(&loss.piece));
                let planned = self.plan(needs, loss.coils.clone());
                spoil_with_replan(&self.list, *loss, planned)?
            }
        };
        self.commit(&change);
        Ok(recut)
    }

    /// Sets the believed length of a coil.
    pub(crate) fn believe(&mut self, coil_id: &CoilId, length_mm: i64) {
        let (coil, version) = self.coils.get_mut(coil_id).unwrap();
        if coil.state == CoilState::Scrapped {
            return;
        }
        let amount = mm(length_mm).checked_sub(coil.remaining).unwrap();
        let coil_id = coil_id.clone();
        coil.apply(&Booking { coil_id, kind: BookingKind::Adjust, amount, finding: None }).unwrap();
        coil.state = match coil.state {
            CoilState::SetAside => CoilState::SetAside,
            _ if length_mm == 0 => CoilState::UsedUp,
            CoilState::UsedUp => CoilState::Opened,
            state => state,
        };
        *version += 1;
        self.check_balances();
    }

    /// Weighs a coil that holds so much.
    pub(crate) fn weigh(&mut self, coil_id: &CoilId, length_mm: i64, accept: bool) {
        let (coil, version) = self.coils.get_mut(coil_id).unwrap();
        let net_g = mm(length_mm).as_mm() / 1000.0 * coil.linear_density_g_m;
        let Ok(weighing) = coil.weigh(&Scales::plain(net_g + 120.0, 120.0), accept) else { return };
        let before = coil.belief();
        assert!(weighing.booking.is_some() || !accept);
        if let Some(booking) = weighing.booking {
            coil.apply(&booking).unwrap();
            coil.state = weighing.state;
            *version += 1;
            // Evidence that agrees never makes a length less certain.
            assert!(weighing.finding.disagrees() || coil.belief().sd_mm <= before.sd_mm * (1.0 + 1e-12));
        }
        self.check_balances();
    }

    /// Reports that the coil of the next step ran out, and plans anew.
    pub(crate) fn run_out(&mut self, number: u32, left: Option<Um>) -> Result<Finding, FloorError> {
        let out = run_out(&self.list, &self.floor_coils(), &self.station, number, left, 4, "cora")?;
        let finding = out.finding;
        let station = std::mem::replace(&mut self.station, out.station.clone());
        let planned = self.plan(pending_needs(&out.list, &[]), out.coils.clone());
        self.station = station;
        let change = run_out_with_replan(out, planned)?;
        self.commit(&change);
        Ok(finding)
    }

    pub(crate) fn replan(&mut self) {
        let planned = self.plan(pending_needs(&self.list, &[]), self.floor_coils());
        let change = becket_floor::replace_pending(&self.list, planned).unwrap();
        self.commit(&change);
    }
}
