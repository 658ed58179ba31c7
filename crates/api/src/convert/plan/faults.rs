//! The planner's faults, by the paths of the request's fields.

use std::collections::BTreeSet;

use becket_planner::{MAX_COILS, MAX_PIECES, MAX_SERIALS, MAX_WIRES, PieceIndex, ProblemFault};
use becket_units::{Fault, Um};

use super::Names;
use super::read::{MOST_FAULTS, NO_WIRE, lengths_from};

/// Faults by path. A batch stands for many pieces, and is told once.
pub(super) fn by_path(names: &Names, faults: &[ProblemFault]) -> Vec<Fault> {
    let mut told: BTreeSet<String> = BTreeSet::new();
    let mut shown = Vec::new();
    for fault in faults.iter().filter_map(|fault| one(names, fault)) {
        if shown.len() == MOST_FAULTS {
            break;
        }
        if told.insert(fault.field.clone()) {
            shown.push(fault);
        }
    }
    shown
}

fn one(names: &Names, fault: &ProblemFault) -> Option<Fault> {
    let piece = |piece: PieceIndex, field: &str| match names.batch_of(piece) {
        Some((_, batch)) => format!("serials[{}].pieces[{}].{field}", batch.serial, batch.place),
        None => "serials".to_owned(),
    };
    let range =
        |field: String, length: Um, low: i64| Some(Fault::new(field, length.get(), lengths_from(low)));
    let most =
        |field: &str, value: String, high: String| Some(Fault::new(field, value, format!("up to {high}")));
    match *fault {
        ProblemFault::TooManyPieces(n) => {
            most("serials", format!("{n} pieces"), format!("{MAX_PIECES} pieces"))
        }
        ProblemFault::TooManyCoils(n) => most("coils", n.to_string(), MAX_COILS.to_string()),
        ProblemFault::TooManyWires(n) => most("wires", n.to_string(), MAX_WIRES.to_string()),
        ProblemFault::TooManySerials(n) => most("serials", n.to_string(), MAX_SERIALS.to_string()),
        ProblemFault::NoReelPosition => Some(Fault::new("reel_positions", 0, "1 or more")),
        ProblemFault::NoTray => Some(Fault::new("trays", 0, "1 or more")),
        ProblemFault::EndTrimOutOfRange(length) => range("policy.end_trim_mm".to_owned(), length, 0),
        ProblemFault::MarginOutOfRange(length) => range("policy.coil_margin_mm".to_owned(), length, 0),
        ProblemFault::SmallestRemnantOutOfRange(wire, length) => {
            range(format!("wires[{}].smallest_remnant_um", wire.0), length, 0)
        }
        ProblemFault::PieceLengthOutOfRange(index, length) => range(piece(index, "length_um"), length, 1),
        // A name that is not there has been told already.
        ProblemFault::PieceOfUnknownWire(_, wire) | ProblemFault::CoilOfUnknownWire(_, wire)
            if wire == NO_WIRE =>
        {
            None
        }
        ProblemFault::PieceOfUnknownWire(index, wire) => {
            Some(Fault::new(piece(index, "wire_id"), wire.0, "the id of a wire of the request"))
        }
        ProblemFault::CoilOfUnknownWire(coil, wire) => {
            Some(Fault::new(format!("coils[{}].wire_id", coil.0), wire.0, "the id of a wire of the request"))
        }
        ProblemFault::PieceOfUnknownSerial(index, serial) => {
            Some(Fault::new(piece(index, "piece_id"), serial.0, "a piece of a serial of the request"))
        }
        ProblemFault::GroupOverSeveralWires(_, index) => Some(Fault::new(
            piece(index, "group_id"),
            "a group of another wire",
            "pieces of one wire in a group",
        )),
        ProblemFault::GroupOverSeveralSerials(_, index) => Some(Fault::new(
            piece(index, "group_id"),
            "a group of another serial",
            "pieces of one serial in a group",
        )),
        ProblemFault::CoilLengthOutOfRange(coil, length) => {
            range(format!("coils[{}].length_um", coil.0), length, 0)
        }
        ProblemFault::CoilMarginOutOfRange(coil, length) => {
            range(format!("coils[{}].margin_um", coil.0), length, 0)
        }
        ProblemFault::CoilOnUnknownPosition(coil, position) => Some(Fault::new(
            format!("coils[{}].reel_position", coil.0),
            u64::from(position) + 1,
            "0, or a reel position of the request",
        )),
        ProblemFault::PositionTakenTwice(position, first, second) => Some(Fault::new(
            format!("coils[{}].reel_position", second.0),
            u64::from(position) + 1,
            format!("a position that no other coil has; coils[{}] is there", first.0),
        )),
    }
}
