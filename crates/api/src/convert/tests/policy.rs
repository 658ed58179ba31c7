//! Policies, and the values of enums.

use becket_floor as floor;
use becket_units::Um;
use proptest::prelude::*;

use super::*;
use crate::cutting::PlanPolicy;

proptest! {
    #[test]
    fn policies_come_back(
        unison in 1..=3, order in 1..=4, trim in 0_i64..=1_000_000, margin in 0_i64..=10_000_000, wound_cores: bool,
        sds in 0_u16..=10_000,
        levels in Just(becket_planner::LevelOrder::default().levels().to_vec()).prop_shuffle(),
        budget in proptest::option::of(1..=3_600_000_u32), rounds in 0..=1_000_000_u32,
        window in proptest::option::of(0..=100_000_u32), fifo: bool,
    ) {
        let policy = floor::PlanPolicy {
            unison_rule: Known::known(unison).unwrap(),
            end_trim: Um::new(trim),
            coil_margin: Um::new(margin),
            coil_margin_sds: floor::Sds::of_thousandths(sds).unwrap(),
            piece_order: Known::known(order).unwrap(),
            wound_cores,
            level_order: becket_planner::LevelOrder::new(levels.try_into().unwrap()).unwrap(),
            time_budget_ms: budget,
            due_window: window,
            fifo,
            effort: becket_planner::Effort { rounds_per_coil: rounds },
        };
        prop_assert_eq!(read_plan_policy(Some(&PlanPolicy::from(&policy))), Ok(policy));
    }
}

#[test]
fn every_number_of_an_enum_has_its_value() {
    fn all<T: Known + std::fmt::Debug + PartialEq>(count: i32) {
        assert_eq!(T::known(0), None);
        for number in 1..=count {
            assert_eq!(T::known(number).map(Known::number), Some(number));
        }
        assert_eq!((T::known(count + 1), T::known(-1)), (None, None));
        assert_eq!(T::allowed().split(", ").count(), usize::try_from(count).unwrap());
    }
    all::<becket_floor::EvidenceState>(4);
    all::<becket_wire::Material>(6);
    all::<becket_wire::SizeSeries>(2);
    all::<becket_scale::HitchStyle>(2);
    all::<becket_scale::PitchBasis>(2);
    all::<becket_scale::PieceKind>(3);
    all::<becket_scale::Severity>(3);
    all::<becket_scale::StringModel>(2);
    all::<becket_scale::WindingModel>(2);
    all::<becket_scale::WarningCode>(8);
    all::<floor::PieceKind>(3);
    all::<floor::CoilState>(5);
    all::<floor::CutListState>(4);
    all::<floor::StepKind>(3);
    all::<floor::StepState>(3);
    all::<floor::TailUse>(2);
    all::<floor::SpoilCause>(2);
    all::<floor::Unison>(3);
    all::<floor::PieceOrder>(4);
}
