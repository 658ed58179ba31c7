//! Cases worked out by hand.

use becket_planner::Unison;
use becket_purchase::{Build, EstimateError, PackPurchase, estimate};
use becket_units::Um;

use crate::fixture::{coils, instrument, mm, policy, question};

#[test]
fn ample_stock_is_never_short() {
    let answer = estimate(&question(instrument(&[700, 300], 0), 3, coils(&[10_000]))).unwrap();
    assert_eq!((answer.need, answer.covered, answer.short), (mm(3000), mm(3000), Um::ZERO));
    assert_eq!((answer.pieces, answer.first_short_week, answer.free_stock), (6, None, mm(10_000)));
    assert_eq!(answer.purchase, Some(PackPurchase { counts: vec![0, 0], mass_g: 0.0 }));
    assert!((answer.need_mass_g - 15.0).abs() < 1e-12);
}

#[test]
fn remnants_that_fit_no_piece_are_no_cover() {
    // 2.7 m on three coils would be enough for three pieces of 800 mm by length alone; with 900 mm each holds one.
    let three = estimate(&question(instrument(&[800], 0), 3, coils(&[900, 900, 900]))).unwrap();
    assert_eq!(three.first_short_week, None);
    let four = estimate(&question(instrument(&[600], 0), 4, coils(&[900, 900, 900]))).unwrap();
    assert_eq!((four.need, four.free_stock), (mm(2400), mm(2700)));
    assert_eq!((four.covered, four.short, four.first_short_week), (mm(1800), mm(600), Some(3)));
}

#[test]
fn trim_and_margin_take_their_part() {
    let mut q = question(instrument(&[500], 0), 2, coils(&[1000]));
    assert_eq!(estimate(&q).unwrap().first_short_week, None);
    q.policy.end_trim = mm(10);
    assert_eq!(estimate(&q).unwrap().first_short_week, Some(1));
    q.policy.end_trim = Um::ZERO;
    q.policy.margin = mm(1);
    assert_eq!(estimate(&q).unwrap().first_short_week, Some(1));
}

#[test]
fn unison_rule_decides_what_fits() {
    let mut pair = instrument(&[600, 600], 0);
    pair.pieces[1].group = pair.pieces[0].group;
    let mut q = question(pair, 1, coils(&[700, 700]));
    assert_eq!(estimate(&q).unwrap().short, Um::ZERO);
    q.policy = policy(Unison::Hard);
    assert_eq!(estimate(&q).unwrap().short, mm(1200));
}

#[test]
fn first_short_week_is_the_first() {
    let mut q = question(instrument(&[1000], 0), 0, coils(&[3000]));
    let week = |count| vec![Build { instrument: 0, count }];
    q.weeks = vec![week(1), vec![], week(2), week(1), week(1)];
    let answer = estimate(&q).unwrap();
    assert_eq!(answer.first_short_week, Some(3));
    let short: Vec<Um> = answer.weeks.iter().map(|w| w.short).collect();
    assert_eq!(short, [mm(0), mm(0), mm(0), mm(1000), mm(1000)]);
    assert_eq!(answer.weeks[1].need, Um::ZERO);
}

#[test]
fn an_instrument_that_cannot_be_finished_leaves_later_ones_what_fits_them() {
    // The second instrument makes the need 2.4 m, above the 2 m in stock: its 300 mm piece still fits, and so does the piece
    // of 300 mm of the third instrument, on the 500 mm that are left.
    let mut q = question(instrument(&[900, 300], 0), 3, coils(&[2000]));
    q.instruments.push(instrument(&[300], 0));
    q.weeks[2] = vec![Build { instrument: 1, count: 1 }];
    let answer = estimate(&q).unwrap();
    let short: Vec<Um> = answer.weeks.iter().map(|w| w.short).collect();
    assert_eq!(short, [mm(0), mm(900), mm(0)]);
}

#[test]
fn pieces_that_fit_no_coil_do_not_hide_what_covers_later_weeks() {
    // Eight pieces of 1.5 m fit on no coil of 1 m; sixteen of 0.5 m, two on a coil, do.
    let mut q = question(instrument(&[1500], 0), 0, coils(&[1000; 10]));
    q.instruments.push(instrument(&[500], 0));
    q.weeks = vec![vec![Build { instrument: 0, count: 8 }], vec![Build { instrument: 1, count: 16 }]];
    let answer = estimate(&q).unwrap();
    let weeks: Vec<(Um, Um)> = answer.weeks.iter().map(|w| (w.covered, w.short)).collect();
    assert_eq!(weeks, [(mm(0), mm(12_000)), (mm(8000), mm(0))]);
    assert_eq!((answer.covered, answer.first_short_week), (mm(8000), Some(0)));
}

#[test]
fn what_is_left_beside_pieces_covers_later_weeks() {
    // One piece of 600 mm from each coil leaves 400 mm on each, whatever else is wanted: ten are short, ten of 400 mm are not.
    let mut q = question(instrument(&[600], 0), 0, coils(&[1000; 10]));
    q.instruments.push(instrument(&[400], 0));
    q.weeks = vec![
        vec![Build { instrument: 0, count: 20 }],
        vec![Build { instrument: 0, count: 10_000 }],
        vec![Build { instrument: 1, count: 11 }],
    ];
    let covered: Vec<Um> = estimate(&q).unwrap().weeks.iter().map(|w| w.covered).collect();
    assert_eq!(covered, [mm(6000), mm(0), mm(4000)]);
    // Where a note comes from one coil, a pair of 300 mm is as long as a piece of 600 mm, and singles still fit beside.
    let mut pair = instrument(&[300, 300], 0);
    pair.pieces[1].group = pair.pieces[0].group;
    q.policy = policy(Unison::Hard);
    q.instruments[0] = pair;
    let covered: Vec<Um> = estimate(&q).unwrap().weeks.iter().map(|w| w.covered).collect();
    assert_eq!(covered, [mm(6000), mm(0), mm(4000)]);
}

#[test]
fn windings_are_covered_by_length_over_all_coils() {
    let answer = estimate(&question(instrument(&[], 4000), 3, coils(&[3000, 3000, 3000]))).unwrap();
    assert_eq!((answer.need, answer.pieces), (mm(12_000), 0));
    let weeks: Vec<(Um, Um)> = answer.weeks.iter().map(|w| (w.covered, w.short)).collect();
    assert_eq!(weeks, [(mm(4000), mm(0)), (mm(4000), mm(0)), (mm(1000), mm(3000))]);
    assert_eq!(answer.first_short_week, Some(2));
}

#[test]
fn a_coil_that_is_overdrawn_counts_as_empty() {
    let mut q = question(instrument(&[500], 0), 1, coils(&[-200, 400]));
    assert_eq!(estimate(&q).unwrap().free_stock, mm(400));
    q.coils = coils(&[-200, 600]);
    assert_eq!(estimate(&q).unwrap().short, Um::ZERO);
}

#[test]
fn surplus_and_packs() {
    // 4 m short are 20 g: two packs of 10 g. With a surplus of 5 % it is 21 g: three of them, lighter than one of 40 g.
    let mut q = question(instrument(&[1000], 0), 4, coils(&[]));
    assert_eq!(estimate(&q).unwrap().purchase.unwrap().counts, [2, 0]);
    q.surplus_share = 0.05;
    assert_eq!(estimate(&q).unwrap().purchase.unwrap().counts, [3, 0]);
}

#[test]
fn a_pack_that_holds_no_piece_is_not_bought() {
    // A pack of 10 g holds 2 m; a piece of 2.1 m comes from the pack of 40 g.
    let mut q = question(instrument(&[2100], 0), 1, coils(&[]));
    assert_eq!(estimate(&q).unwrap().purchase.unwrap().counts, [0, 1]);
    q.pack_masses_g = vec![10.0];
    assert_eq!(estimate(&q).unwrap().purchase, None);
    q.pack_masses_g.clear();
    assert_eq!(estimate(&q).unwrap().purchase, None);
}

#[test]
fn great_schedules_stay_cheap() {
    let mut q = question(instrument(&[1000; 100], 0), 1, coils(&[5_000_000]));
    q.weeks = vec![vec![Build { instrument: 0, count: 10_000 }]; 1000];
    let answer = estimate(&q).unwrap();
    assert_eq!((answer.pieces, answer.covered), (1_000_000_000, mm(5_000_000)));
    assert_eq!(answer.first_short_week, Some(0));
}

#[test]
fn faulty_questions_are_refused() {
    let good = question(instrument(&[1000], 0), 1, coils(&[]));
    let check = |change: fn(&mut becket_purchase::WireQuestion)| {
        let mut q = good.clone();
        change(&mut q);
        estimate(&q).unwrap_err()
    };
    let unknown = check(|q| q.weeks[0][0].instrument = 1);
    assert_eq!(unknown, EstimateError::InstrumentUnknown { instrument: 1, kinds: 1 });
    assert!(matches!(check(|q| q.instruments[0].winding = mm(-1)), EstimateError::WindingNegative { .. }));
    assert!(matches!(
        check(|q| q.instruments[0].pieces[0].length = mm(0)),
        EstimateError::PieceNotPositive { .. }
    ));
    for share in [-0.01, 1.01, f64::NAN, f64::INFINITY] {
        let mut q = good.clone();
        q.surplus_share = share;
        assert!(matches!(estimate(&q), Err(EstimateError::SurplusOutOfRange { .. })));
    }
    for density in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let mut q = good.clone();
        q.linear_density_g_m = density;
        assert!(matches!(estimate(&q), Err(EstimateError::DensityOutOfRange { .. })));
    }
    assert!(matches!(check(|q| q.pack_masses_g[0] = f64::NAN), EstimateError::PackMassOutOfRange { .. }));
    assert!(matches!(check(|q| q.policy.end_trim = mm(-1)), EstimateError::Plan(_)));
    assert!(matches!(
        check(|q| q.instruments[0].pieces[0].length = Um::new(i64::MAX)),
        EstimateError::Plan(_)
    ));
    let endless = check(|q| {
        q.instruments[0].winding = Um::new(i64::MAX);
        q.weeks[0][0].count = 2;
    });
    assert_eq!(endless, EstimateError::TooLong);
}
