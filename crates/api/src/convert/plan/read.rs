//! Reading of the request.

use std::collections::{HashMap, HashSet};
use std::hash::Hash;

use becket_floor::{CoilId, IdError, LotId, PieceId, PlanPolicy, SerialId, WireId};
use becket_planner::{
    Coil, GroupIndex, MAX_COILS, MAX_LENGTH, MAX_PIECES, MAX_SERIALS, MAX_WIRES, Piece, Problem, SerialIndex,
    Station, WireIndex, WireRule,
};
use becket_units::{Fault, Um};

use super::{Batch, CoilName, Names, PlanQuestion};
use crate::convert::{read_plan_policy, within};
use crate::cutting::{PieceBatch, PlanCoil, PlanCutsRequest, PlanSerial, PlanWire};
use crate::document::shortened;

/// More faults than this are not told: nobody mends a million fields by hand.
pub(super) const MOST_FAULTS: usize = 10_000;
/// Most reel positions of a request.
const MOST_REELS: i32 = 1000;
/// A wire that is not there.
pub(super) const NO_WIRE: WireIndex = WireIndex(u32::MAX);

/// Reads a request to plan. Too big a one is refused before its parts are looked at.
///
/// # Errors
/// All faults that can be seen without the planner, together with those that it finds: up to 10 000, by field path.
pub fn read_plan_cuts(request: PlanCutsRequest) -> Result<PlanQuestion, Vec<Fault>> {
    let sizes = size_faults(&request);
    if !sizes.is_empty() {
        return Err(sizes);
    }
    let PlanCutsRequest {
        serials,
        wires,
        coils,
        reel_positions,
        trays,
        policy,
        without_steps,
        without_pictures,
    } = request;
    let mut reader = Reader::default();
    let policy = read_plan_policy(policy.as_ref()).unwrap_or_else(|faults| {
        reader.faults.extend(within(faults, "policy"));
        PlanPolicy::default()
    });
    if policy.coil_margin_sds > becket_floor::Sds::ZERO {
        let allowed = "nothing or 0: how well a length is known is not told here; each coil has a margin_um";
        reader.faults.push(Fault::new("policy.coil_margin_sds", policy.coil_margin_sds.get(), allowed));
    }
    let station = Station {
        reel_positions: reader.number("reel_positions", reel_positions, MOST_REELS),
        trays: reader.number("trays", trays, i32::try_from(MAX_SERIALS).unwrap_or(i32::MAX)),
    };
    let rules = reader.wires(wires);
    let coils = reader.coils(coils, station.reel_positions);
    let serial_count = u32::try_from(serials.len()).unwrap_or(u32::MAX);
    let mut pieces = reader.serials(serials);
    policy.piece_order.arrange(&mut pieces);
    let problem = Problem {
        wires: rules,
        serials: serial_count,
        pieces,
        coils,
        station,
        policy: policy.rules(station.trays),
    };
    let Reader { names, mut faults, .. } = reader;
    let question =
        PlanQuestion { problem, policy, names, with_steps: !without_steps, with_pictures: !without_pictures };
    if faults.is_empty() {
        return Ok(question);
    }
    // The planner's faults are told with the others, so that all can be mended at once.
    faults.extend(question.problem.check().err().map(|found| question.faults(&found)).unwrap_or_default());
    faults.truncate(MOST_FAULTS);
    Err(faults)
}

/// Counts beyond what can be planned.
fn size_faults(request: &PlanCutsRequest) -> Vec<Fault> {
    let mut faults = Vec::new();
    let mut count = |field: &str, value: usize, low: usize, high: usize, what: &str| {
        if !(low..=high).contains(&value) {
            faults.push(Fault::new(field, format!("{value} {what}"), format!("{low} to {high} {what}")));
        }
    };
    count("serials", request.serials.len(), 1, MAX_SERIALS as usize, "serials");
    count("wires", request.wires.len(), 1, MAX_WIRES, "wires");
    count("coils", request.coils.len(), 0, MAX_COILS, "coils");
    let batches = || request.serials.iter().flat_map(|serial| &serial.pieces);
    let pieces: u64 =
        batches().map(|batch| u64::try_from(batch.count.unwrap_or(1)).unwrap_or(1).max(1)).sum();
    count("serials", usize::try_from(pieces).unwrap_or(usize::MAX), 1, MAX_PIECES, "pieces");
    faults
}

#[derive(Default)]
struct Reader {
    names: Names,
    faults: Vec<Fault>,
    wire_numbers: HashMap<String, WireIndex>,
    groups: u32,
}

impl Reader {
    fn fault(&mut self, fault: Fault) {
        if self.faults.len() < MOST_FAULTS {
            self.faults.push(fault);
        }
    }

    /// A number from 1 to `high`; 1 in place of one that is not, so that the rest can be checked.
    fn number(&mut self, field: &str, value: i32, high: i32) -> u32 {
        match u32::try_from(value) {
            Ok(number) if (1..=high).contains(&value) => number,
            _ => {
                self.fault(Fault::new(field, value, format!("1 to {high}")));
                1
            }
        }
    }

    /// A name that keeps to the rule and was not seen before.
    fn name<T: Clone + Eq + Hash>(
        &mut self,
        field: impl Fn() -> String,
        given: String,
        new: impl FnOnce(String) -> Result<T, IdError>,
        seen: &mut HashSet<T>,
    ) -> Option<T> {
        match new(given) {
            Ok(name) if seen.insert(name.clone()) => Some(name),
            Ok(_) => {
                self.fault(Fault::new(field(), "a name that was there before", "each name once"));
                None
            }
            Err(error) => {
                self.fault(Fault::new(field(), error.text, error.allowed));
                None
            }
        }
    }

    /// The number of a wire; of one that is not there a number that no wire has.
    fn wire(&mut self, field: impl Fn() -> String, wire_id: &str) -> WireIndex {
        match self.wire_numbers.get(wire_id) {
            Some(number) => *number,
            None => {
                self.fault(Fault::new(field(), shortened(wire_id), "the id of a wire of the request"));
                NO_WIRE
            }
        }
    }

    fn wires(&mut self, wires: Vec<PlanWire>) -> Vec<WireRule> {
        let mut seen = HashSet::new();
        let mut rules = Vec::with_capacity(wires.len());
        for (number, wire) in (0u32..).zip(wires) {
            let PlanWire { wire_id, smallest_remnant_um } = wire;
            self.wire_numbers.entry(wire_id.clone()).or_insert(WireIndex(number));
            let name = self.name(|| format!("wires[{number}].wire_id"), wire_id, WireId::new, &mut seen);
            self.names.wires.push(name);
            rules.push(WireRule { smallest_remnant: Um::new(smallest_remnant_um) });
        }
        rules
    }

    fn coils(&mut self, coils: Vec<PlanCoil>, reel_positions: u32) -> Vec<Coil> {
        let mut seen = HashSet::new();
        let mut lots: HashMap<LotId, u32> = HashMap::new();
        let mut read = Vec::with_capacity(coils.len());
        for (number, coil) in (0u32..).zip(coils) {
            let PlanCoil { coil_id, wire_id, length_um, opened, lot_id, reel_position, margin_um } = coil;
            let at = |field: &str| format!("coils[{number}].{field}");
            let coil_id = self.name(|| at("coil_id"), coil_id, CoilId::new, &mut seen);
            let wire = self.wire(|| at("wire_id"), &wire_id);
            let lot_id = if lot_id.is_empty() {
                None
            } else {
                LotId::new(lot_id).map_err(|e| self.fault(Fault::new(at("lot_id"), e.text, e.allowed))).ok()
            };
            // The first coil of a lot gives the lot its number, so that coils without one get numbers of their own.
            let lot = lot_id.clone().map_or(number, |lot| *lots.entry(lot).or_insert(number));
            let mounted_at = match u32::try_from(reel_position) {
                Ok(0) => None,
                Ok(position) => Some(position - 1),
                Err(_) => {
                    let allowed = format!("0 to {reel_positions}");
                    self.fault(Fault::new(at("reel_position"), reel_position, allowed));
                    None
                }
            };
            self.names.coils.push(CoilName { coil_id, lot_id });
            read.push(Coil {
                wire,
                available: Um::new(length_um),
                opened,
                received_rank: number,
                lot,
                mounted_at,
                margin: Um::new(margin_um),
            });
        }
        read
    }

    fn serials(&mut self, serials: Vec<PlanSerial>) -> Vec<Piece> {
        let mut seen = HashSet::new();
        let mut pieces = Vec::new();
        for (number, serial) in (0u32..).zip(serials) {
            let PlanSerial { serial_id, pieces: batches } = serial;
            let name =
                self.name(|| format!("serials[{number}].serial_id"), serial_id, SerialId::new, &mut seen);
            self.names.serials.push(name);
            self.batches(number, batches, &mut pieces);
        }
        pieces
    }

    fn batches(&mut self, serial: u32, batches: Vec<PieceBatch>, pieces: &mut Vec<Piece>) {
        let mut seen = HashSet::with_capacity(batches.len());
        let mut groups: HashMap<String, GroupIndex> = HashMap::new();
        for (place, batch) in (0u32..).zip(batches) {
            let PieceBatch { piece_id, wire_id, length_um, count, group_id, rank, section } = batch;
            let at = |field: &str| format!("serials[{serial}].pieces[{place}].{field}");
            let piece_id = self.name(|| at("piece_id"), piece_id, PieceId::new, &mut seen);
            let wire = self.wire(|| at("wire_id"), &wire_id);
            let most = i32::try_from(MAX_PIECES).unwrap_or(i32::MAX);
            let count = count.map_or(1, |count| self.number(&at("count"), count, most));
            let rank = rank.map_or(place, |rank| self.place(&at("rank"), rank, most));
            let section = section.map_or(0, |section| self.place(&at("section"), section, most));
            let group = self.group(&at("group_id"), group_id, &mut groups);
            let first = u32::try_from(pieces.len()).unwrap_or(u32::MAX);
            self.names.batches.push(Batch { piece_id, serial, place, first });
            for _ in 0..count {
                let group = group.unwrap_or_else(|| self.new_group());
                pieces.push(Piece {
                    wire,
                    serial: SerialIndex(serial),
                    length: Um::new(length_um),
                    group,
                    rank,
                    section,
                });
            }
        }
    }

    fn place(&mut self, field: &str, place: i32, most: i32) -> u32 {
        match u32::try_from(place) {
            Ok(number) if place <= most => number,
            _ => {
                self.fault(Fault::new(field, place, format!("0 to {most}")));
                0
            }
        }
    }

    /// The number of a named group of a serial; `None` where each piece stands alone.
    fn group(
        &mut self,
        field: &str,
        group_id: String,
        groups: &mut HashMap<String, GroupIndex>,
    ) -> Option<GroupIndex> {
        if group_id.is_empty() {
            return None;
        }
        if let Some(group) = groups.get(&group_id) {
            return Some(*group);
        }
        if let Err(error) = PieceId::new(group_id.as_str()) {
            self.fault(Fault::new(field, error.text, error.allowed));
        }
        let group = self.new_group();
        groups.insert(group_id, group);
        Some(group)
    }

    fn new_group(&mut self) -> GroupIndex {
        let group = GroupIndex(self.groups);
        self.groups = self.groups.saturating_add(1);
        group
    }
}

/// The range of a length in words.
pub(super) fn lengths_from(low: i64) -> String {
    format!("{low} to {} µm", MAX_LENGTH.get())
}
