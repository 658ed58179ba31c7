//! What is known of a coil's length, whatever is learnt in whatever order; and coils that run out.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

#[allow(dead_code, reason = "each binary of tests uses a part of the shop")]
mod shop;

use becket_floor::{
    BookingKind, CoilState, EvidenceKind, FloorError, LengthEstimate, PlanPolicy, Sds, StepKind, StepState,
    TailUse, Unison,
};
use becket_units::Um;
use proptest::prelude::*;
use shop::{Shop, coil, coil_id, mm, need};

/// One piece of evidence: a weighing, or a length that was measured.
#[derive(Debug, Clone, Copy)]
struct Piece {
    by_weight: bool,
    /// How far from the true length it is, in its own standard deviations.
    off_sds: f64,
    own_sd_mm: f64,
}

fn piece() -> impl Strategy<Value = Piece> {
    (any::<bool>(), -2.5..2.5, 1.0..500.0).prop_map(|(by_weight, off_sds, own_sd_mm)| Piece {
        by_weight,
        off_sds,
        own_sd_mm,
    })
}

/// What is believed of a coil of 40 m whose wire is 0.4 % heavy, after this evidence.
fn after(mut estimate: LengthEstimate, mut mean: Um, evidence: &[Piece]) -> (Um, LengthEstimate) {
    const TRUE_MM: f64 = 40_000.0;
    for piece in evidence {
        let true_mm = if piece.by_weight { TRUE_MM * 1.004 } else { TRUE_MM };
        let found = Um::from_mm_f64(true_mm + piece.off_sds * piece.own_sd_mm).unwrap();
        let combined = if piece.by_weight {
            estimate.with_weighing(mean, found, piece.own_sd_mm)
        } else {
            estimate.with_length(mean, found, piece.own_sd_mm)
        };
        estimate = combined.estimate;
        mean = Um::from_mm_f64(combined.mean_mm).unwrap();
    }
    (mean, estimate)
}

fn beliefs() -> impl Strategy<Value = (LengthEstimate, Um)> {
    (any::<bool>(), 10.0..2000.0, 0.0..0.02, 38_000_i64..42_000).prop_map(
        |(by_mass, sd, density_sd, mean)| {
            let mean = mm(mean);
            let estimate = if by_mass {
                LengthEstimate::of_mass(mean, sd, density_sd)
            } else {
                LengthEstimate::of_length(sd, density_sd)
            };
            (estimate, mean)
        },
    )
}

proptest! {
    #[test]
    fn the_order_of_evidence_does_not_matter(
        (estimate, mean) in beliefs(),
        evidence in proptest::collection::vec(piece(), 1..6).prop_shuffle(),
        again in any::<proptest::sample::Index>(),
    ) {
        let (one_mean, one) = after(estimate, mean, &evidence);
        let mut other = evidence.clone();
        other.rotate_left(again.index(evidence.len()));
        other.reverse();
        let (other_mean, other) = after(estimate, mean, &other);
        // Each step rounds the mean to a micrometre.
        let apart = one_mean.get() - other_mean.get();
        prop_assert!(apart.abs() <= 12, "{apart} µm");
        // Variances are differences of numbers as large as the first one.
        let near = |a: f64, b: f64, scale: f64| (a - b).abs() <= 1e-9 * scale.max(1e-12);
        prop_assert!(near(one.variance_mm2, other.variance_mm2, estimate.variance_mm2), "{one:?} {other:?}");
        prop_assert!(near(one.density_variance, other.density_variance, estimate.density_variance));
        prop_assert!((one.density_error - other.density_error).abs() < 1e-6);
    }

    #[test]
    fn evidence_makes_a_length_more_certain_and_taking_wire_less(
        (mut estimate, mut mean) in beliefs(),
        evidence in proptest::collection::vec((piece(), 0.0..5.0), 1..20),
    ) {
        for (piece, taken_sd_mm) in evidence {
            let (next_mean, next) = after(estimate, mean, &[piece]);
            prop_assert!(next.variance_mm2 <= estimate.variance_mm2 && next.density_variance <= estimate.density_variance);
            // Nor better than the evidence and the belief allow.
            prop_assert!(next.variance_mm2 >= 0.0 && next.sd_mm().is_finite());
            let bound = next.variance_mm2 * next.density_variance;
            prop_assert!(next.covariance_mm * next.covariance_mm <= bound * (1.0 + 1e-6) + 1e-9);
            let less = next.after_taking(taken_sd_mm);
            prop_assert!((less.variance_mm2 - next.variance_mm2 - taken_sd_mm * taken_sd_mm).abs() < 1e-6 * less.variance_mm2.max(1.0));
            (estimate, mean) = (less, next_mean);
        }
    }
}

/// A coil of 5 m from which five pieces of a metre are cut, and another one beside it.
fn running(policy: PlanPolicy) -> Shop {
    let coils = vec![coil("C1", 5100), coil("C2", 9000)];
    let mut shop = Shop::new(coils, vec![need("S1", &[1000; 5])], 2, policy);
    shop.start();
    shop.confirm(2).unwrap();
    assert_eq!(
        shop.list.next().map(|step| (step.kind, step.coil_id.clone())),
        Some((StepKind::Cut, coil_id("C1")))
    );
    shop
}

#[test]
fn a_coil_that_ran_out_is_taken_off_and_its_pieces_come_from_another() {
    let mut shop = running(PlanPolicy { unison_rule: Unison::Off, ..PlanPolicy::default() });
    let finding = shop.run_out(3, Some(mm(310))).unwrap();
    // 4.09 m ± 15 mm were believed, and 0.31 m ± 1 mm are there.
    assert_eq!((finding.kind, finding.length), (EvidenceKind::RunOut, mm(310)));
    assert!(finding.disagrees() && finding.deviation_sds < -200.0, "{finding:?}");
    let (coil, _) = &shop.coils[&coil_id("C1")];
    // What was measured is kept, since it is of use.
    assert_eq!((coil.remaining, coil.adjusted, coil.state), (mm(310), mm(310 - 4090), CoilState::Opened));
    assert!((coil.estimate.sd_mm() - 1.0).abs() < 1e-9);
    let off = &shop.list.steps[2];
    assert_eq!((off.step_number, off.kind, off.state), (3, StepKind::Unmount, StepState::Done));
    assert_eq!(
        (off.tail_use, off.remaining_after, off.done_by.as_str()),
        (Some(TailUse::Keep), mm(310), "cora")
    );
    assert_eq!(shop.station.position_of(&coil_id("C1")), None);
    let cuts: Vec<_> = shop.list.pending().iter().filter(|s| s.kind == StepKind::Cut).collect();
    assert!(cuts.len() == 4 && cuts.iter().all(|step| step.coil_id == coil_id("C2")), "{cuts:?}");
    while shop.list.next().is_some() {
        shop.confirm(1).unwrap();
    }
    assert_eq!((shop.list.header.pieces_done, shop.list.shortages.len()), (5, 0));
}

/// Nobody has measured the rest: half a piece is scrapped, with what a rectangular distribution makes of it.
#[test]
fn a_rest_that_nobody_measured_is_scrap() {
    let mut shop = running(PlanPolicy::default());
    let finding = shop.run_out(3, None).unwrap();
    assert_eq!(finding.length, mm(500));
    assert!((finding.sd_mm - 1000.0 / 12.0_f64.sqrt()).abs() < 1e-9);
    let (coil, _) = &shop.coils[&coil_id("C1")];
    assert_eq!((coil.remaining, coil.scrapped, coil.state), (Um::ZERO, mm(510), CoilState::UsedUp));
    let off = &shop.list.steps[2];
    assert_eq!((off.tail_use, off.length, off.remaining_after), (Some(TailUse::Scrap), mm(500), Um::ZERO));
    assert_eq!(shop.list.header.figures.scrap, mm(10 + 500 + 10));
}

#[test]
fn a_rest_that_others_count_on_is_kept() {
    let mut shop = running(PlanPolicy::default());
    shop.reserved_by_others.insert(coil_id("C1"), mm(900));
    shop.run_out(3, Some(mm(20))).unwrap();
    let (coil, _) = &shop.coils[&coil_id("C1")];
    assert_eq!((coil.remaining, coil.state), (mm(20), CoilState::Opened));
}

#[test]
fn no_coil_runs_out_where_none_is_cut() {
    let mut shop = running(PlanPolicy::default());
    for number in [1, 2, 4, 99] {
        assert_eq!(shop.run_out(number, None), Err(FloorError::NoRunOut { step_number: number }));
    }
    for enough in [1000, 1500, -1] {
        let refused = shop.run_out(3, Some(mm(enough)));
        assert!(matches!(refused, Err(FloorError::Invalid(_))), "{refused:?}");
    }
    let (coil, _) = shop.coils.get_mut(&coil_id("C1")).unwrap();
    coil.state = CoilState::SetAside;
    assert!(matches!(shop.run_out(3, None), Err(FloorError::CoilStateForbids { .. })));
    shop.coils.get_mut(&coil_id("C1")).unwrap().0.state = CoilState::Opened;
    shop.confirm(4).unwrap();
    let (next, kind) = shop.list.next().map(|step| (step.step_number, step.kind)).unwrap();
    assert_eq!(
        (shop.run_out(next, None), kind),
        (Err(FloorError::NoRunOut { step_number: 7 }), StepKind::Unmount)
    );
}

/// What is left uncut follows what is known: 15 mm is the standard deviation of 5.1 m received by length.
#[test]
fn a_margin_follows_what_is_known_of_each_coil() {
    let cut = |sds: f64| {
        let policy = PlanPolicy { coil_margin_sds: Sds::new(sds).unwrap(), ..PlanPolicy::default() };
        // 5 pieces and a trim leave 90 mm, less than six standard deviations of 15.3 mm.
        let shop = Shop::new(vec![coil("C1", 5100)], vec![need("S1", &[1000; 5])], 1, policy);
        shop.list.header.pieces_pending
    };
    assert_eq!((cut(0.0), cut(5.0), cut(6.0)), (5, 5, 4));
}

#[test]
fn what_is_cut_makes_a_length_less_certain_by_its_own_error() {
    let mut shop = running(PlanPolicy::default());
    let sd = |shop: &Shop| shop.coils[&coil_id("C1")].0.estimate.variance_mm2;
    let before = sd(&shop);
    shop.confirm(1).unwrap();
    assert!((sd(&shop) - before - 0.25).abs() < 1e-9);
    let coils = shop.floor_coils();
    let change = becket_floor::confirm(&shop.list, &coils, &shop.station, 4, 1, 2, "anna").unwrap();
    assert!(change.bookings.iter().all(|b| b.kind == BookingKind::Cut && b.finding.is_none()));
}
