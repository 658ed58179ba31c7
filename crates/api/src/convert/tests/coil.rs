//! Coils, their evidence, stations and rules.

use becket_floor::{self as floor, CoilId};
use becket_units::Um;
use expect_test::expect;
use prost_types::Timestamp;

use super::*;
use crate::cutting::{self, PlanPolicy, new_coil as amounts};

fn received() -> cutting::NewCoil {
    cutting::NewCoil {
        coil_id: "R1".to_owned(),
        wire_id: "mw-in-13".to_owned(),
        lot_id: "H1".to_owned(),
        received_date: "2026-02-03".to_owned(),
        amount: Some(amounts::Amount::ReceivedLengthMm(81_000.0)),
        remaining_length_mm: Some(780.0),
        length_sd_mm: Some(12.5),
    }
}

#[test]
fn a_coil_comes_in_and_is_shown() {
    let stock = read_new_coil(&received(), 3.8).unwrap().receive().unwrap();
    let shown = coil(&stock, Um::new(5), 2, &Stamps { version: 3, create_us: 1_500_000, update_us: -1 });
    let expected = cutting::Coil {
        coil_id: "R1".to_owned(),
        wire_id: "mw-in-13".to_owned(),
        lot_id: "H1".to_owned(),
        received_date: "2026-02-03".to_owned(),
        state: cutting::CoilState::Opened.into(),
        received_um: 81_000_000,
        remaining_um: 780_000,
        cut_um: 0,
        scrapped_um: 0,
        adjusted_um: 780_000 - 81_000_000,
        reserved_um: 5,
        linear_density_g_m: 3.8,
        etag: "3".to_owned(),
        create_time: Some(Timestamp { seconds: 1, nanos: 500_000_000 }),
        update_time: Some(Timestamp { seconds: -1, nanos: 999_999_000 }),
        remaining_sd_mm: 12.5,
        likely_density_g_m: 3.8,
        held_evidence_count: 2,
        last_evidence: None,
    };
    assert_eq!(shown, expected);
}

/// Every value of the ledger has its place.
#[test]
fn evidence_is_shown() {
    let stock = read_new_coil(&received(), 3.8).unwrap().receive().unwrap();
    let scales = read_scales(&cutting::WeighCoilRequest {
        gross_g: 3.9,
        tare_g: 1.5,
        resolution_g: Some(0.5),
        ..cutting::WeighCoilRequest::default()
    });
    assert_eq!((scales.resolution_g, scales.tare_sd_g), (0.5, 0.0075));
    let finding = stock.weigh(&scales, false).unwrap().finding;
    let line = EvidenceLine {
        number: 7,
        evidence: &stock.held(&finding),
        list_id: None,
        note: "why",
        actor: "anna",
        created_us: 1_500_000,
        decided: Some(("bert", 2_000_000)),
    };
    let shown = coil_evidence(&line);
    let expected = cutting::CoilEvidence {
        evidence_number: 7,
        kind: cutting::EvidenceKind::Weighing.into(),
        state: cutting::EvidenceState::from(finding.state).into(),
        length_um: finding.length.get(),
        length_sd_mm: finding.sd_mm,
        deviation_sds: Some(finding.deviation_sds),
        remaining_before_um: 780_000,
        remaining_before_sd_mm: 12.5,
        remaining_after_um: 780_000,
        remaining_after_sd_mm: 12.5,
        gross_g: Some(3.9),
        tare_g: Some(1.5),
        resolution_g: Some(0.5),
        tare_sd_g: Some(0.0075),
        accepted_number: 0,
        list_id: String::new(),
        note: "why".to_owned(),
        actor: "anna".to_owned(),
        create_time: Some(Timestamp { seconds: 1, nanos: 500_000_000 }),
        decided_by: "bert".to_owned(),
        decide_time: Some(Timestamp { seconds: 2, nanos: 0 }),
    };
    assert_eq!(shown, expected);
    let mut accepted = stock.receipt();
    accepted.kind = floor::EvidenceKind::Acceptance(3);
    let list_id = floor::ListId::numbered(2);
    let line = EvidenceLine { evidence: &accepted, list_id: Some(&list_id), decided: None, ..line };
    let shown = coil_evidence(&line);
    assert_eq!((shown.accepted_number, shown.list_id.as_str()), (3, "L-0002"));
    assert_eq!((shown.gross_g, shown.deviation_sds, shown.decide_time), (None, None, None));
}

#[test]
fn faults_of_the_floor() {
    let coil = cutting::NewCoil { coil_id: "a b".to_owned(), ..cutting::NewCoil::default() };
    check(
        &within(read_new_coil(&coil, 3.8).unwrap_err(), "coils[2]"),
        &expect![[r#"
        coils[2].coil_id: "a b" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        coils[2].wire_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        coils[2].lot_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        coils[2].received_mass_g: "nothing" is not allowed; allowed: a mass, or a length in received_length_mm
        coils[2].received_date: "" is not allowed; allowed: a day in ISO 8601, such as 2026-11-30, of the years 1950 to 2200"#]],
    );

    let bad = cutting::Station { reel_positions: -1, trays: 1001, ..cutting::Station::default() };
    check(
        &read_station(&bad).unwrap_err(),
        &expect![[r#"
        station_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit
        reel_positions: "-1" is not allowed; allowed: 1 to 64
        trays: "1001" is not allowed; allowed: 1 to 1000"#]],
    );

    let bad = cutting::StockRule { wire_id: String::new(), smallest_remnant_mm: f64::INFINITY };
    check(
        &read_stock_rule(&bad).unwrap_err(),
        &expect![[r#"
        smallest_remnant_mm: "inf" is not allowed; allowed: 0 to 100000 mm
        wire_id: "" is not allowed; allowed: 1 to 63 letters A-Z and a-z, digits, '.', '-' and '_', beginning with a letter or digit"#]],
    );

    let bad = PlanPolicy {
        unison_rule: Some(0),
        end_trim_mm: Some(1000.0001),
        coil_margin_mm: Some(-0.0001),
        piece_order: Some(4),
        wound_cores: None,
        level_order: vec![4, 5, 6, 6],
        time_budget_ms: Some(0),
        search_rounds: Some(-1),
        due_window: Some(100_001),
        fifo: None,
        coil_margin_sds: Some(10.001),
    };
    check(
        &within(read_plan_policy(Some(&bad)).unwrap_err(), "policy"),
        &expect![[r#"
            policy.unison_rule: "unspecified" is not allowed; allowed: one of hard, preferred, off
            policy.end_trim_mm: "1000.0001" is not allowed; allowed: 0 to 1000 mm
            policy.coil_margin_mm: "-0.0001" is not allowed; allowed: 0 to 10000 mm
            policy.coil_margin_sds: "10.001" is not allowed; allowed: 0 to 10 standard deviations
            policy.level_order: "4 levels" is not allowed; allowed: scrap, coils_opened, reel_changes and lots, each once
            policy.time_budget_ms: "0" is not allowed; allowed: 1 to 3600000
            policy.search_rounds: "-1" is not allowed; allowed: 0 to 1000000
            policy.due_window: "100001" is not allowed; allowed: 0 to 100000"#]],
    );
    assert_eq!(read_plan_policy(None), Ok(floor::PlanPolicy::default()));
    assert_eq!(read_plan_policy(Some(&PlanPolicy::default())), Ok(floor::PlanPolicy::default()));
}

#[test]
fn a_station_comes_back() {
    let shown = cutting::Station {
        station_id: "bench-1".to_owned(),
        title: "Bench".to_owned(),
        reel_positions: 4,
        trays: 9,
        ..cutting::Station::default()
    };
    let mut domain = read_station(&shown).unwrap();
    domain.mounted.insert(2, CoilId::new("R1").unwrap());
    let again = super::station(&domain, &Stamps { version: 1, create_us: 0, update_us: 0 });
    assert_eq!((again.reel_positions, again.trays, again.title.as_str()), (4, 9, "Bench"));
    assert_eq!(again.mounted, [cutting::MountedReel { reel_position: 2, coil_id: "R1".to_owned() }]);
}

#[test]
fn quantities_carry_the_codes_of_the_recommendation() {
    let quantity = |value, unit_code: &str| cutting::Quantity { value, unit_code: unit_code.to_owned() };
    assert_eq!(metres(Um::new(1_234_567)), quantity(1.234_567, "MTR"));
    assert_eq!(kilograms(453.6), quantity(0.4536, "KGM"));
    assert_eq!(pieces(230), quantity(230.0, "C62"));
}

#[test]
fn rules_come_back() {
    let rule = cutting::StockRule { wire_id: "mw-in-13".to_owned(), smallest_remnant_mm: 340.5 };
    let (wire_id, length) = read_stock_rule(&rule).unwrap();
    assert_eq!(length, Um::new(340_500));
    assert_eq!(stock_rule(&wire_id, length), rule);
}
