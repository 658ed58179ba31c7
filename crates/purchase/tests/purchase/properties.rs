//! What holds for every question.

use becket_planner::Unison;
use becket_purchase::{Build, InstrumentNeed, PieceNeed, StockCoil, WireQuestion, estimate};
use becket_units::Um;
use proptest::prelude::*;

use crate::fixture::{mm, policy};

fn kind() -> impl Strategy<Value = InstrumentNeed> {
    let piece = (100_i64..1500, 0_u32..4).prop_map(|(length, group)| PieceNeed { length: mm(length), group });
    (prop::collection::vec(piece, 0..6), prop_oneof![Just(0_i64), 0_i64..5000])
        .prop_map(|(pieces, winding)| InstrumentNeed { pieces, winding: mm(winding) })
}

fn questions() -> impl Strategy<Value = WireQuestion> {
    let coil =
        (0_i64..12_000, any::<bool>(), 0_u32..9, 0_u32..3).prop_map(|(free, opened, received_rank, lot)| {
            StockCoil { free: mm(free), opened, received_rank, lot, margin: mm(i64::from(lot)) }
        });
    let unison = prop_oneof![Just(Unison::Hard), Just(Unison::Preferred), Just(Unison::Off)];
    (
        prop::collection::vec(kind(), 1..4),
        prop::collection::vec(prop::collection::vec((0_usize..100, 0_u32..4), 0..3), 1..6),
        prop::collection::vec(coil, 0..6),
        (unison, 0_i64..30, 0_i64..200, 0.0_f64..0.3),
    )
        .prop_map(|(instruments, weeks, coils, (unison, trim, margin, surplus_share))| {
            let kinds = instruments.len();
            let build = |(kind, count)| Build { instrument: kind % kinds, count };
            let weeks = weeks.into_iter().map(|week| week.into_iter().map(build).collect()).collect();
            let mut policy = policy(unison);
            (policy.end_trim, policy.margin) = (mm(trim), mm(margin));
            let (smallest_remnant, linear_density_g_m) = (mm(150), 5.1);
            let pack_masses_g = vec![25.0, 60.0, 200.0];
            WireQuestion {
                instruments,
                weeks,
                coils,
                smallest_remnant,
                policy,
                linear_density_g_m,
                pack_masses_g,
                surplus_share,
            }
        })
}

/// Need of a week by the definition.
fn need_mm(question: &WireQuestion, week: usize) -> i64 {
    let of = |build: &Build| {
        let need = &question.instruments[build.instrument];
        let pieces: i64 = need.pieces.iter().map(|p| p.length.get()).sum();
        i64::from(build.count) * (pieces + need.winding.get())
    };
    question.weeks[week].iter().map(of).sum::<i64>() / 1000
}

proptest! {
    #[test]
    fn covered_and_short_are_the_need(question in questions()) {
        let answer = estimate(&question).unwrap();
        for (i, week) in answer.weeks.iter().enumerate() {
            prop_assert_eq!(week.need, mm(need_mm(&question, i)));
            prop_assert_eq!(week.covered.get() + week.short.get(), week.need.get());
            prop_assert!(week.covered >= Um::ZERO && week.short >= Um::ZERO);
        }
        let sum = |of: fn(&becket_purchase::WeekFigures) -> Um| Um::checked_sum(answer.weeks.iter().map(of));
        prop_assert_eq!(sum(|w| w.need), Some(answer.need));
        prop_assert_eq!(sum(|w| w.covered), Some(answer.covered));
        prop_assert_eq!(sum(|w| w.short), Some(answer.short));
        prop_assert!(answer.covered <= answer.free_stock);
        prop_assert_eq!(answer.first_short_week, answer.weeks.iter().position(|w| w.short > Um::ZERO));
    }

    #[test]
    fn packs_cover_what_is_short_and_the_surplus(question in questions()) {
        let answer = estimate(&question).unwrap();
        let bought = answer.purchase.unwrap();
        let bought_mm = bought.mass_g / question.linear_density_g_m * 1000.0;
        prop_assert!(bought_mm >= answer.short.as_mm() * (1.0 + question.surplus_share) - 1e-3);
        let masses = question.pack_masses_g.iter().zip(&bought.counts);
        prop_assert!((masses.map(|(m, n)| m * f64::from(u32::try_from(*n).unwrap())).sum::<f64>() - bought.mass_g).abs() < 1e-9);
        prop_assert_eq!(answer.short == Um::ZERO, bought.mass_g == 0.0);
    }

    #[test]
    fn a_coil_as_long_as_everything_leaves_nothing_short(mut question in questions()) {
        let all: i64 = (0..question.weeks.len()).map(|w| need_mm(&question, w)).sum();
        // Need, margin and trim for every coil, and a remnant for good measure.
        let free = mm(all + 20_000);
        question.coils = vec![StockCoil { free, opened: false, received_rank: 0, lot: 0, margin: mm(0) }];
        let answer = estimate(&question).unwrap();
        prop_assert_eq!((answer.short, answer.first_short_week), (Um::ZERO, None));
    }

    #[test]
    fn later_weeks_change_nothing_about_earlier_pieces(question in questions(), keep in 1_usize..5) {
        let mut question = question;
        for need in &mut question.instruments {
            need.winding = Um::ZERO;
        }
        let whole = estimate(&question).unwrap();
        question.weeks.truncate(keep);
        let part = estimate(&question).unwrap();
        prop_assert_eq!(&whole.weeks[..part.weeks.len()], &part.weeks[..]);
    }
}
