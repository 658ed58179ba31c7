//! Generated days.

use becket_planner::{
    Coil, GroupIndex, Piece, PieceOrder, Policy, Problem, SerialIndex, Station, Unison, WireIndex, WireRule,
};
use becket_units::Um;

use super::shop::Chance;

/// What a day looks like.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Day {
    /// 14 wires with notes that hang together, or one wire with 50 lengths of 250 to 3200 mm that do not.
    pub(crate) grands: bool,
    /// Sealed coils of 60 to 170 m only; else 15 % of these and the others opened, 1 to 20 m.
    pub(crate) whole: bool,
    /// Trays.
    pub(crate) trays: u32,
}

/// A day of about 1 600 pieces: 10 serials.
pub(crate) fn day(kind: Day, seed: u64) -> Problem {
    let mut chance = Chance(seed.wrapping_mul(7919) + 17);
    let pieces = if kind.grands { grands(10, &mut chance) } else { one_wire(1600, &mut chance) };
    let wires = if kind.grands { 14 } else { 1 };
    let coils = stock(&pieces, wires, kind.whole, &mut chance);
    Problem {
        wires: vec![WireRule { smallest_remnant: Um::new(250_000) }; wires as usize],
        serials: 10,
        pieces,
        coils,
        station: Station { reel_positions: 4, trays: kind.trays },
        policy: Policy {
            unison: if kind.grands { Unison::Preferred } else { Unison::Off },
            end_trim: Um::new(10_000),
            margin: Um::ZERO,
            piece_order: PieceOrder::UpTheScale,
            due_window: None,
            fifo: true,
        },
    }
}

/// Pieces of grands, by turns of three models: 14 wires, thick to thin, with six single bass strings on each of the first four
/// and, on the others, five pairs of three-string notes of three looped pieces each, and one tied single.
pub(crate) fn grands(serials: u32, chance: &mut Chance) -> Vec<Piece> {
    let models: Vec<i64> = (0..3).map(|_| chance.within(900, 1150)).collect();
    let mut pieces = Vec::new();
    let mut group = 0;
    for serial in 0..serials {
        let size = models[serial as usize % models.len()];
        let mut rank = 0;
        let mut add = |wire: u32, length: i64, group: u32, rank: u32| {
            let length = Um::new(length * size / 1000 * 100);
            let (wire, serial) = (WireIndex(wire), SerialIndex(serial));
            pieces.push(Piece { wire, serial, length, group: GroupIndex(group), rank, section: wire.0 / 4 });
        };
        for wire in 0..4u32 {
            for n in 0..6 {
                add(wire, 19_000 - 600 * i64::from(wire) - 93 * n, group, rank);
                group += 1;
                rank += 1;
            }
        }
        for wire in 4..14u32 {
            // The speaking length falls by 5.6 % from note to note; a looped piece takes it twice, with 240 mm for pins and hitch.
            let mut speaking = 10_600.0 * 0.56_f64.powi(i32::try_from(wire).unwrap_or(4) - 4).max(0.055);
            for _ in 0..5 {
                for leg in 0..3 {
                    #[allow(clippy::cast_possible_truncation, reason = "a length of a few metres in tenths")]
                    let length = (speaking * (2.0 - 0.028 * f64::from(leg))) as i64 + 2_400 + 900;
                    add(wire, length, group, rank);
                    rank += 1;
                }
                group += 1;
                speaking *= 0.944 * 0.944;
            }
            #[allow(clippy::cast_possible_truncation, reason = "a length of a few metres in tenths")]
            add(wire, speaking as i64 + 1_500 + 1_200, group, rank);
            group += 1;
            rank += 1;
        }
    }
    pieces
}

fn one_wire(count: usize, chance: &mut Chance) -> Vec<Piece> {
    let lengths: Vec<i64> = (0..50).map(|_| chance.within(250, 3200) * 1000).collect();
    (0u32..)
        .take(count)
        .map(|n| Piece {
            wire: WireIndex(0),
            serial: SerialIndex(n * 10 / u32::try_from(count).unwrap_or(1)),
            length: Um::new(lengths[usize::try_from(chance.within(0, 49)).unwrap_or(0)]),
            group: GroupIndex(n),
            rank: n,
            section: 0,
        })
        .collect()
}

/// Half a percent more than is needed of each wire, so that nearly every coil must be used to its end, and four spare coils.
fn stock(pieces: &[Piece], wires: u32, whole: bool, chance: &mut Chance) -> Vec<Coil> {
    let mut coils = Vec::new();
    for wire in (0..wires).map(WireIndex) {
        let mut need: i64 = pieces.iter().filter(|p| p.wire == wire).map(|p| p.length.get()).sum();
        need += need / 200;
        let mut spare = 4;
        while need > 0 || spare > 0 {
            let sealed = need <= 0 || whole || chance.within(1, 100) <= 15;
            let drawn =
                if sealed { chance.within(60_000, 170_000) } else { chance.within(1_000, 20_000) } * 1000;
            // Shops have begun coils of any length: the last one is what makes it enough.
            let length = if need > 0 { drawn.min(need.max(1_000_000)) } else { drawn };
            spare -= i64::from(need <= 0);
            need -= length;
            coils.push(Coil {
                wire,
                available: Um::new(length),
                opened: !sealed || length < drawn,
                received_rank: u32::try_from(coils.len()).unwrap_or(0),
                lot: u32::try_from(coils.len() / 3).unwrap_or(0),
                mounted_at: None,
                margin: Um::ZERO,
            });
        }
    }
    coils
}
