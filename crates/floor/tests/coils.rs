//! Receipt, weighing and bookings of coils.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use becket_floor::{
    Amount, Booking, BookingKind, Coil, CoilId, CoilState, FloorError, LotId, NewCoil, WireId,
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
        linear_density_g_m: 6.165,
    }
}

fn coil(length_mm: f64) -> Coil {
    new_coil(Amount::LengthMm(length_mm)).receive().unwrap()
}

fn booking(kind: BookingKind, um: i64) -> Booking {
    Booking { coil_id: CoilId::new("C1").unwrap(), kind, amount: Um::new(um) }
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

#[test]
fn weighing_corrects() {
    let mut coil = coil(100_000.0);
    // 50 m at 6.165 g/m.
    let weighing = coil.weigh(120.0 + 308.25, 120.0).unwrap();
    assert_eq!((weighing.booking.amount, weighing.state), (Um::new(-50_000_000), CoilState::Sealed));
    coil.apply(&weighing.booking).unwrap();
    assert_eq!(coil.weigh(428.25, 120.0).unwrap().booking.amount, Um::ZERO);
    assert_eq!(coil.weigh(120.0, 120.0).unwrap().state, CoilState::UsedUp);
    coil.state = CoilState::UsedUp;
    assert_eq!(coil.weigh(428.25, 120.0).unwrap().state, CoilState::Opened);
    assert_eq!(fields(coil.weigh(119.0, 120.0).unwrap_err()), ["gross_g"]);
    assert_eq!(fields(coil.weigh(f64::NAN, -1.0).unwrap_err()), ["gross_g", "tare_g"]);
    coil.linear_density_g_m = 1e-6;
    assert_eq!(fields(coil.weigh(1e6, 0.0).unwrap_err()), ["gross_g"]);
    coil.state = CoilState::Scrapped;
    assert!(matches!(coil.weigh(428.0, 120.0), Err(FloorError::CoilStateForbids { .. })));
}

/// 100 m were received: 2 % and 1 m more are 103 m, which weigh 634.995 g.
#[test]
fn a_weighing_finds_little_more_than_was_received() {
    let coil = coil(100_000.0);
    assert_eq!(coil.weigh(120.0 + 634.99, 120.0).unwrap().state, CoilState::Sealed);
    let FloorError::Invalid(faults) = coil.weigh(120.0 + 635.01, 120.0).unwrap_err() else {
        panic!("no fault")
    };
    assert_eq!((faults.len(), faults[0].field.as_str(), faults[0].value.as_str()), (1, "gross_g", "755.01"));
    assert!(
        faults[0].allowed.starts_with("at most 755.0 g with a tare of 120 g, since 100.0 m were received"),
        "{faults:?}"
    );
    // The tare was forgotten.
    assert_eq!(fields(coil.weigh(120.0 + 616.5, 0.0).unwrap_err()), ["gross_g"]);
}

#[test]
fn a_coil_set_aside_stays_so_whatever_it_weighs() {
    let mut coil = coil(100_000.0);
    coil.state = CoilState::SetAside;
    for gross_g in [120.0, 428.25, 120.0] {
        let weighing = coil.weigh(gross_g, 120.0).unwrap();
        assert_eq!(weighing.state, CoilState::SetAside);
        coil.apply(&weighing.booking).unwrap();
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
        becket_floor::receipt_faults(date, amount, left)
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
                Ok(()) => prop_assert!(coil.is_balanced(), "{coil:?}"),
                Err(_) => prop_assert_eq!(&coil, &before),
            }
        }
    }
}
