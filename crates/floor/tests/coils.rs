//! Receipt, weighing and bookings of coils.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use becket_floor::{
    Amount, Booking, BookingKind, Coil, CoilId, CoilState, Evidence, EvidenceKind, EvidenceState, FloorError,
    LotId, NewCoil, Scales, Weighing, WireId,
};
use becket_units::Um;
use proptest::prelude::*;

fn new_coil(amount: Amount) -> NewCoil {
    NewCoil {
        coil_id: CoilId::new("C1").unwrap(),
        wire_id: WireId::new("mw-mm-1.0").unwrap(),
        lot_id: LotId::new("L1").unwrap(),
        received_date: "2026-01-01".to_owned(),
        amount,
        remaining_length_mm: None,
        length_sd_mm: None,
        linear_density_g_m: 6.165,
    }
}

fn coil(length_mm: f64) -> Coil {
    new_coil(Amount::LengthMm(length_mm)).receive().unwrap()
}

fn booking(kind: BookingKind, um: i64) -> Booking {
    Booking { coil_id: CoilId::new("C1").unwrap(), kind, amount: Um::new(um), finding: None }
}

fn fields(error: FloorError) -> Vec<String> {
    match error {
        FloorError::Invalid(faults) => faults.into_iter().map(|fault| fault.field).collect(),
        other => panic!("{other:?}"),
    }
}

/// 500 g of 1.0 mm wire are about 81 m (common practice); 500/6.165 = 81.103 000 8 m.
#[test]
fn length_follows_from_mass() {
    let coil = new_coil(Amount::MassG(500.0)).receive().unwrap();
    assert_eq!(coil.received, Um::new(81_103_001));
    assert_eq!((coil.remaining, coil.state, coil.adjusted), (coil.received, CoilState::Sealed, Um::ZERO));
}

#[test]
fn an_opened_coil_is_received_with_a_correction() {
    let receive =
        |left| NewCoil { remaining_length_mm: Some(left), ..new_coil(Amount::LengthMm(1000.0)) }.receive();
    let coil = receive(400.0).unwrap();
    assert_eq!(
        (coil.received, coil.remaining, coil.adjusted),
        (Um::new(1_000_000), Um::new(400_000), Um::new(-600_000))
    );
    assert!(coil.is_balanced());
    assert_eq!((coil.state, receive(0.0).unwrap().state), (CoilState::Opened, CoilState::UsedUp));
}

/// What a label says is known to 0.3 %, and what is computed from it to the tolerance of the wire besides; who states better knows
/// better.
#[test]
fn a_receipt_is_an_estimate() {
    let sd_m = |coil: NewCoil| coil.receive().unwrap().estimate.sd_mm() / 1000.0;
    let (mass, length) = (new_coil(Amount::MassG(616.5)), new_coil(Amount::LengthMm(100_000.0)));
    let of_wire = 100.0 * becket_floor::density_sd(6.165);
    let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6, "{a} {b}");
    near(sd_m(length.clone()), 0.3);
    near(sd_m(mass.clone()), 0.3_f64.hypot(of_wire));
    near(sd_m(NewCoil { length_sd_mm: Some(50.0), ..length.clone() }), 0.05);
    near(sd_m(NewCoil { length_sd_mm: Some(5000.0), ..mass.clone() }), 5.0);
    near(sd_m(NewCoil { length_sd_mm: Some(100.0), ..mass }), 0.1_f64.hypot(0.001));
    let opened = NewCoil { remaining_length_mm: Some(20_000.0), ..length };
    near(sd_m(opened.clone()), 1.0);
    near(sd_m(NewCoil { length_sd_mm: Some(250.0), ..opened.clone() }), 0.25);
    near(sd_m(NewCoil { remaining_length_mm: Some(0.0), ..opened.clone() }), 0.0);
    let line = opened.receive().unwrap().receipt();
    assert_eq!(
        (line.kind, line.length, line.deviation_sds),
        (EvidenceKind::Receipt, Um::new(20_000_000), None)
    );
}

#[test]
fn all_faults_of_a_new_coil_are_told() {
    let mut bad = new_coil(Amount::MassG(f64::NAN));
    bad.received_date = "2026-02-30".to_owned();
    bad.remaining_length_mm = Some(-1.0);
    assert_eq!(
        fields(bad.receive().unwrap_err()),
        ["received_date", "received_mass_g", "remaining_length_mm"]
    );
    for bad in [0.0, -1.0, f64::INFINITY, 1.1e9] {
        assert_eq!(
            fields(new_coil(Amount::LengthMm(bad)).receive().unwrap_err()),
            ["received_length_mm"],
            "{bad}"
        );
    }
    for bad in [0.0, -6.0, f64::NAN] {
        let coil = NewCoil { linear_density_g_m: bad, ..new_coil(Amount::MassG(500.0)) };
        assert_eq!(fields(coil.receive().unwrap_err()), ["wire_id"], "{bad}");
    }
}

fn weigh(coil: &Coil, gross_g: f64, tare_g: f64) -> Result<Weighing, FloorError> {
    coil.weigh(&Scales::plain(gross_g, tare_g), false)
}

/// The coil holds 50 m, known to 2 m; 49 m at 6.165 g/m are 302.085 g, and the scales and the tare make them certain to 0.108 m.
#[test]
fn weighing_corrects() {
    let mut coil =
        NewCoil { length_sd_mm: Some(2000.0), ..new_coil(Amount::LengthMm(50_000.0)) }.receive().unwrap();
    let weighing = weigh(&coil, 120.0 + 302.085, 120.0).unwrap();
    let (finding, booking) = (weighing.finding, weighing.booking.unwrap());
    assert_eq!((finding.length, weighing.state), (Um::new(49_000_000), CoilState::Sealed));
    // q²/12 + (0.5 % of 120 g)², in g over g/m; with 1.17 % of the length for the tolerance of the wire.
    let own_m = (1.0_f64 / 12.0).sqrt().hypot(0.6) / 6.165;
    let sd_m = own_m.hypot(49.0 * becket_floor::density_sd(6.165));
    assert!((finding.sd_mm / 1000.0 - sd_m).abs() < 1e-9, "{finding:?}");
    // The weighted mean of 50 ± 2 and 49 ± sd.
    let weight = 4.0 / (4.0 + sd_m * sd_m);
    assert!((booking.amount.as_mm() / 1000.0 + weight).abs() < 1e-5, "{booking:?}");
    let line = coil.apply(&booking).unwrap().unwrap();
    assert_eq!((line.state, line.deviation_sds), (EvidenceState::Merged, Some(finding.deviation_sds)));
    assert_eq!((line.before.remaining, line.after), (Um::new(50_000_000), coil.belief()));
    assert!((line.after.sd_mm / 1000.0 - 2.0 * sd_m / 2.0_f64.hypot(sd_m)).abs() < 1e-9, "{line:?}");
    assert!(coil.is_balanced());
}

#[test]
fn a_weighing_that_disagrees_is_kept_out_until_somebody_decides() {
    let mut coil = coil(100_000.0);
    // 50 m, where 100 m ± 0.3 m are believed and the tolerance of the wire is 1.2 %.
    let scales = Scales::plain(120.0 + 308.25, 120.0);
    let held = coil.weigh(&scales, false).unwrap();
    assert_eq!((&held.booking, held.finding.state), (&None, EvidenceState::Held));
    assert!(held.finding.disagrees() && held.finding.deviation_sds < -60.0, "{held:?}");
    let line = coil.held(&held.finding);
    assert_eq!((line.before, line.after), (coil.belief(), coil.belief()));
    // Meanwhile wire is cut. Whoever accepts the weighing then takes the cuts off it.
    coil.apply(&booking(BookingKind::Cut, 10_000_000)).unwrap();
    let (finding, state) = coil.accept(7, &line).unwrap();
    assert_eq!((finding.kind, state), (EvidenceKind::Acceptance(7), CoilState::Sealed));
    let line_after = coil.apply(&coil.settle(finding.length, finding).unwrap()).unwrap().unwrap();
    assert_eq!((coil.remaining, line_after.state), (Um::new(40_000_000), EvidenceState::Accepted));
    assert!(coil.is_balanced());
    // Known as well as the weighing and the cut allow; of 50 m, for the error of the wire is that of what was weighed.
    let alone = held.finding.sd_mm.hypot(becket_floor::CUT_SD_MM);
    assert!((coil.estimate.sd_mm() - alone).abs() < 1e-6, "{coil:?}");
    // Nor does it need two steps.
    let at_once = coil_of_100_m().weigh(&scales, true).unwrap();
    assert_eq!(
        (at_once.finding.state, at_once.booking.unwrap().amount),
        (EvidenceState::Accepted, Um::new(-50_000_000))
    );
}

fn coil_of_100_m() -> Coil {
    coil(100_000.0)
}

#[test]
fn evidence_that_cannot_be_accepted_is_refused() {
    let mut coil = coil(100_000.0);
    let held = coil.held(&coil.weigh(&Scales::plain(30.825, 0.0), false).unwrap().finding);
    let closed = |coil: &Coil, line: Evidence| match coil.accept(3, &line) {
        Err(FloorError::EvidenceClosed { why, number: 3, .. }) => why,
        other => panic!("{other:?}"),
    };
    assert_eq!(closed(&coil, Evidence { state: EvidenceState::Rejected, ..held }), "it is not held");
    assert_eq!(closed(&coil, coil.receipt()), "it is no weighing");
    // It tells 5 m, and 6 m have been cut since.
    coil.apply(&booking(BookingKind::Cut, 6_000_000)).unwrap();
    assert_eq!(closed(&coil, held), "more wire than it tells has come off since");
    coil.state = CoilState::Scrapped;
    assert!(matches!(coil.accept(3, &held), Err(FloorError::CoilStateForbids { .. })));
}

#[test]
fn weighings_are_checked() {
    let mut coil = coil(100_000.0);
    assert_eq!(fields(weigh(&coil, 119.0, 120.0).unwrap_err()), ["gross_g"]);
    assert_eq!(fields(weigh(&coil, f64::NAN, -1.0).unwrap_err()), ["gross_g", "tare_g"]);
    for resolution_g in [0.0, -1.0, f64::NAN, 1000.1] {
        let scales = Scales { resolution_g, tare_sd_g: 1001.0, ..Scales::plain(500.0, 0.0) };
        assert_eq!(fields(coil.weigh(&scales, false).unwrap_err()), ["resolution_g", "tare_sd_g"]);
    }
    coil.linear_density_g_m = 1e-6;
    assert_eq!(fields(weigh(&coil, 1e6, 0.0).unwrap_err()), ["gross_g"]);
    coil.state = CoilState::Scrapped;
    assert!(matches!(weigh(&coil, 428.0, 120.0), Err(FloorError::CoilStateForbids { .. })));
}

/// 0.2 m are believed to be left, to within 0.1 m. A reel that weighs what it weighs empty is empty: no mean of the two.
#[test]
fn an_empty_reel_is_empty() {
    let left = NewCoil {
        remaining_length_mm: Some(200.0),
        length_sd_mm: Some(100.0),
        ..new_coil(Amount::LengthMm(100_000.0))
    };
    let mut coil = left.receive().unwrap();
    let weighing = weigh(&coil, 120.0, 120.0).unwrap();
    assert_eq!(weighing.state, CoilState::UsedUp);
    coil.apply(&weighing.booking.unwrap()).unwrap();
    coil.state = weighing.state;
    assert_eq!(coil.remaining, Um::ZERO);
    // And one that turns out to hold wire is opened again, once somebody has said so.
    assert_eq!(weigh(&coil, 428.25, 120.0).unwrap().booking, None);
    assert_eq!(coil.weigh(&Scales::plain(428.25, 120.0), true).unwrap().state, CoilState::Opened);
}

/// 100 m were received: 2 % and 1 m more are 103 m, which weigh 634.995 g.
#[test]
fn a_weighing_finds_little_more_than_was_received() {
    let coil = coil(100_000.0);
    assert_eq!(weigh(&coil, 120.0 + 634.99, 120.0).unwrap().state, CoilState::Sealed);
    let FloorError::Invalid(faults) = weigh(&coil, 120.0 + 635.01, 120.0).unwrap_err() else {
        panic!("no fault")
    };
    assert_eq!((faults.len(), faults[0].field.as_str(), faults[0].value.as_str()), (1, "gross_g", "755.01"));
    assert!(
        faults[0].allowed.starts_with("at most 755.0 g with a tare of 120 g, since 100.0 m were received"),
        "{faults:?}"
    );
    // The tare was forgotten.
    assert_eq!(fields(weigh(&coil, 120.0 + 616.5, 0.0).unwrap_err()), ["gross_g"]);
}

#[test]
fn a_coil_set_aside_stays_so_whatever_it_weighs() {
    let mut coil = coil(100_000.0);
    coil.state = CoilState::SetAside;
    for gross_g in [120.0, 428.25, 120.0] {
        let weighing = coil.weigh(&Scales::plain(gross_g, 120.0), true).unwrap();
        assert_eq!(weighing.state, CoilState::SetAside);
        coil.apply(&weighing.booking.unwrap()).unwrap();
    }
    // Nothing was on it in the end.
    assert_eq!(coil.return_to_stock().unwrap(), CoilState::UsedUp);
}

#[test]
fn a_receipt_is_plausible() {
    let receive = |amount, left, date: &str| {
        let remaining_length_mm = Some(left);
        NewCoil { remaining_length_mm, received_date: date.to_owned(), ..new_coil(amount) }.receive()
    };
    let metre = Amount::LengthMm(1000.0);
    assert_eq!(receive(metre, 1000.0, "1950-01-01").unwrap().adjusted, Um::ZERO);
    assert_eq!(fields(receive(metre, 1000.001, "2026-01-01").unwrap_err()), ["remaining_length_mm"]);
    assert_eq!(
        fields(receive(Amount::MassG(6.165), 1001.0, "2026-01-01").unwrap_err()),
        ["remaining_length_mm"]
    );
    for date in ["0001-01-01", "1949-12-31", "2201-01-01", "9999-12-31"] {
        assert_eq!(fields(receive(metre, 0.0, date).unwrap_err()), ["received_date"], "{date}");
    }
}

#[test]
fn a_receipt_of_unknown_wire_is_checked_as_far_as_it_goes() {
    let check = |date: &str, amount, left| {
        becket_floor::receipt_faults(date, amount, left, None)
            .into_iter()
            .map(|fault| fault.field)
            .collect::<Vec<_>>()
    };
    let (metre, gram) = (Some(Amount::LengthMm(1000.0)), Some(Amount::MassG(1.0)));
    assert_eq!(check("2026-01-01", gram, Some(5e6)), [""; 0]);
    assert_eq!(check("2026-01-01", metre, Some(1001.0)), ["remaining_length_mm"]);
    assert_eq!(
        check("2026-01-41", Some(Amount::MassG(-1.0)), Some(-1.0)),
        ["received_date", "received_mass_g", "remaining_length_mm"]
    );
    assert_eq!(check("", None, None), ["received_date"]);
    for bad in [0.0, 0.999, f64::NAN, 1e10] {
        let found = becket_floor::receipt_faults("2026-01-01", metre, None, Some(bad));
        assert_eq!(
            found.iter().map(|fault| fault.field.as_str()).collect::<Vec<_>>(),
            ["length_sd_mm"],
            "{bad}"
        );
    }
}

#[test]
fn states_follow_each_other() {
    let mut coil = coil(1000.0);
    coil.state = coil.set_aside().unwrap();
    assert!(matches!(coil.set_aside(), Err(FloorError::CoilStateForbids { state: CoilState::SetAside, .. })));
    coil.state = coil.return_to_stock().unwrap();
    assert_eq!(coil.state, CoilState::Sealed);
    assert!(matches!(
        coil.return_to_stock(),
        Err(FloorError::CoilStateForbids { state: CoilState::Sealed, .. })
    ));
    coil.apply(&booking(BookingKind::Cut, 300_000)).unwrap();
    coil.state = CoilState::SetAside;
    assert_eq!(coil.return_to_stock().unwrap(), CoilState::Opened);
    assert_eq!(coil.scrap().unwrap(), booking(BookingKind::Scrap, 700_000));
    coil.state = CoilState::UsedUp;
    assert!(matches!(coil.scrap(), Err(FloorError::CoilStateForbids { .. })));
    assert!(matches!(coil.set_aside(), Err(FloorError::CoilStateForbids { .. })));
}

#[test]
fn faulty_bookings_change_nothing() {
    let mut coil = coil(1000.0);
    coil.apply(&booking(BookingKind::Cut, 200_000)).unwrap();
    let before = coil.clone();
    let negative = [
        booking(BookingKind::Cut, 800_001),
        booking(BookingKind::Scrap, 800_001),
        booking(BookingKind::CutToScrap, 200_001),
        booking(BookingKind::Adjust, -800_001),
    ];
    for booking in negative {
        let refused = coil.apply(&booking);
        assert!(matches!(refused, Err(FloorError::BalanceNegative { .. })), "{booking:?}: {refused:?}");
        assert_eq!(coil, before);
    }
    let mut foreign = booking(BookingKind::Cut, 1);
    foreign.coil_id = CoilId::new("C2").unwrap();
    for booking in [foreign, booking(BookingKind::Cut, -1), booking(BookingKind::Scrap, i64::MIN)] {
        assert!(matches!(coil.apply(&booking), Err(FloorError::BookingFaulty { .. })), "{booking:?}");
    }
    let huge = coil.apply(&booking(BookingKind::Adjust, i64::MAX));
    assert!(matches!(huge, Err(FloorError::TooLong { .. })), "{huge:?}");
    // The largest negative correction has no positive counterpart.
    assert!(coil.apply(&booking(BookingKind::Adjust, i64::MIN)).is_err());
    assert_eq!(coil, before);
}

proptest! {
    #[test]
    fn the_balance_always_holds(
        length in 1_i64..10_000,
        bookings in proptest::collection::vec((0_usize..4, any::<i64>(), any::<bool>()), 0..60),
    ) {
        let mut coil = coil(Um::new(length).as_mm());
        for (kind, amount, small) in bookings {
            let kind = [BookingKind::Cut, BookingKind::Scrap, BookingKind::Adjust, BookingKind::CutToScrap][kind];
            let amount = if small { amount % 3000 } else { amount };
            let before = coil.clone();
            match coil.apply(&booking(kind, amount)) {
                Ok(line) => {
                    prop_assert!(coil.is_balanced(), "{coil:?}");
                    prop_assert!(coil.estimate.sd_mm() >= before.estimate.sd_mm());
                    let told = line.map_or(before.belief(), |line| line.after);
                    prop_assert_eq!(told, coil.belief());
                }
                Err(_) => prop_assert_eq!(&coil, &before),
            }
        }
    }
}
