//! Problems for tests: by hand and at random.

use becket_planner::{
    Coil, GroupIndex, Piece, PieceOrder, Policy, Problem, SerialIndex, Station, Unison, WireIndex, WireRule,
};
use becket_units::Um;
use proptest::prelude::*;

/// Millimetres.
pub(crate) fn mm(mm: i64) -> Um {
    Um::new(mm * 1000)
}

/// A problem without pieces and coils: one wire with 100 mm as its smallest remnant, one serial, ample station, groups
/// off, neither trim nor margin.
pub(crate) fn empty() -> Problem {
    Problem {
        wires: vec![WireRule { smallest_remnant: mm(100) }],
        serials: 1,
        pieces: Vec::new(),
        coils: Vec::new(),
        station: Station { reel_positions: 4, trays: 4 },
        policy: Policy {
            unison: Unison::Off,
            end_trim: Um::ZERO,
            margin: Um::ZERO,
            piece_order: PieceOrder::BySize,
            ..Policy::default()
        },
    }
}

/// A piece of wire 0 for serial 0 in group `group`.
pub(crate) fn piece(length_mm: i64, group: u32) -> Piece {
    Piece {
        wire: WireIndex(0),
        serial: SerialIndex(0),
        length: mm(length_mm),
        group: GroupIndex(group),
        rank: group,
        section: 0,
    }
}

/// An opened coil of wire 0.
pub(crate) fn opened(length_mm: i64) -> Coil {
    Coil {
        wire: WireIndex(0),
        available: mm(length_mm),
        opened: true,
        received_rank: 0,
        lot: 0,
        mounted_at: None,
        margin: Um::ZERO,
    }
}

/// A sealed coil of wire 0.
pub(crate) fn sealed(length_mm: i64, received_rank: u32) -> Coil {
    Coil { opened: false, received_rank, ..opened(length_mm) }
}

fn any_policy() -> impl Strategy<Value = Policy> {
    let unison = prop_oneof![Just(Unison::Hard), Just(Unison::Preferred), Just(Unison::Off)];
    let order =
        prop_oneof![Just(PieceOrder::BySize), Just(PieceOrder::UpTheScale), Just(PieceOrder::DownTheScale)];
    let due_window = prop::option::of(0..3u32);
    (unison, 0..60i64, 0..60i64, order, due_window, any::<bool>()).prop_map(
        |(unison, trim, margin, piece_order, due_window, fifo)| Policy {
            unison,
            end_trim: mm(trim),
            margin: mm(margin),
            piece_order,
            due_window,
            fifo,
        },
    )
}

fn any_pieces(wires: u32, serials: u32, most: usize) -> impl Strategy<Value = Vec<Piece>> {
    let groups = prop::collection::vec(
        (0..wires, 0..serials, prop::collection::vec((1..2_500_000i64, 0..88u32), 1..5)),
        0..most,
    );
    groups.prop_map(|groups| {
        let mut pieces = Vec::new();
        for (g, (wire, serial, members)) in (0u32..).zip(groups) {
            pieces.extend(members.into_iter().map(|(length, rank)| Piece {
                wire: WireIndex(wire),
                serial: SerialIndex(serial),
                length: Um::new(length),
                group: GroupIndex(g),
                rank,
                section: rank / 30,
            }));
        }
        pieces
    })
}

fn any_coils(wires: u32, reel_positions: u32, most: usize) -> impl Strategy<Value = Vec<Coil>> {
    let coil = (
        0..wires,
        0..12_000_000i64,
        any::<bool>(),
        0..5u32,
        0..3u32,
        prop::option::weighted(0.3, 0..reel_positions),
        prop_oneof![Just(0), 0..200_000i64],
    );
    prop::collection::vec(coil, 0..most).prop_map(|coils| {
        let mut taken = Vec::new();
        coils
            .into_iter()
            .map(|(wire, available, opened, received_rank, lot, at, margin)| {
                let mounted_at = at.filter(|position| !taken.contains(position));
                taken.extend(mounted_at);
                Coil {
                    wire: WireIndex(wire),
                    available: Um::new(available),
                    opened,
                    received_rank,
                    lot,
                    mounted_at,
                    margin: Um::new(margin),
                }
            })
            .collect()
    })
}

/// Any sound problem of moderate size: up to 4 wires, 6 serials, 30 groups, 16 coils.
pub(crate) fn any_problem() -> impl Strategy<Value = Problem> {
    (1..5u32, 1..7u32, 1..5u32, 1..4u32).prop_flat_map(|(wires, serials, reel_positions, trays)| {
        (
            prop::collection::vec(
                (0..400i64).prop_map(|r| WireRule { smallest_remnant: mm(r) }),
                wires as usize,
            ),
            any_pieces(wires, serials, 30),
            any_coils(wires, reel_positions, 16),
            any_policy(),
        )
            .prop_map(move |(wires, pieces, coils, policy)| Problem {
                wires,
                serials,
                pieces,
                coils,
                station: Station { reel_positions, trays },
                policy,
            })
    })
}
