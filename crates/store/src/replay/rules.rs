//! Rules that hold in every shop at every moment, checked on the rows that the journal implies.

use std::collections::{BTreeMap, BTreeSet};

use super::report::{Check, Difference};
use super::state::{State, number_of, text_of};

/// Checks all rules.
pub(super) fn check(state: &State) -> (Vec<Check>, Vec<Difference>) {
    let mut wrong = Vec::new();
    let checks = vec![
        Check::new(
            "balances: received = on the coil + cut + scrapped - adjusted, in um",
            balances(state, &mut wrong),
        ),
        Check::new("wire cut from a coil = lengths of the pieces cut from it", cuts(state, &mut wrong)),
        Check::new(
            "ledgers: each line follows on the one before, the last one is the balance",
            ledgers(state, &mut wrong),
        ),
        Check::new("pieces that are to be cut or cut and good, each once", pieces(state, &mut wrong)),
        Check::new("counts of pieces in the heads of lists", heads(state, &mut wrong)),
        Check::new("stations at which one list runs at most", stations(state, &mut wrong)),
        Check::new("coils that are on one reel at most", reels(state, &mut wrong)),
    ];
    (checks, wrong)
}

fn broken(wrong: &mut Vec<Difference>, text: String) {
    wrong.push(Difference::Rule(text));
}

fn balances(state: &State, wrong: &mut Vec<Difference>) -> u64 {
    let mut count = 0;
    for (key, coil) in state.rows("coils") {
        let um = |name| i128::from(number_of("coils", &coil, name));
        let should = um("received_um") - um("cut_um") - um("scrapped_um") + um("adjusted_um");
        if um("remaining_um") != should || should < 0 {
            let is = um("remaining_um");
            broken(wrong, format!("coil {key} has {is} um and should have {should} um"));
        }
        count += 1;
    }
    count
}

fn cuts(state: &State, wrong: &mut Vec<Difference>) -> u64 {
    let mut cut: BTreeMap<String, i128> = BTreeMap::new();
    for (_, step) in state.rows("cut_steps") {
        let is = |column, value| text_of("cut_steps", &step, column) == value;
        if is("kind", "cut") && is("state", "done") {
            *cut.entry(text_of("cut_steps", &step, "coil_id").to_owned()).or_default() +=
                i128::from(number_of("cut_steps", &step, "length_um"));
        }
    }
    let mut count = 0;
    for (key, coil) in state.rows("coils") {
        let booked = i128::from(number_of("coils", &coil, "cut_um"));
        let pieces = cut.get(text_of("coils", &coil, "coil_id")).copied().unwrap_or(0);
        if booked != pieces {
            broken(
                wrong,
                format!("{booked} um are booked as cut from coil {key}, and its pieces are {pieces} um"),
            );
        }
        count += 1;
    }
    count
}

fn ledgers(state: &State, wrong: &mut Vec<Difference>) -> u64 {
    let mut last: BTreeMap<String, i64> = BTreeMap::new();
    let mut count = 0;
    for (key, line) in state.rows("coil_evidence") {
        let um = |name| number_of("coil_evidence", &line, name);
        let coil = text_of("coil_evidence", &line, "coil_id").to_owned();
        let is = um("before_um");
        if let Some(was) = last.insert(coil, um("after_um"))
            && was != is
        {
            broken(
                wrong,
                format!(
                    "line {key} of a ledger begins with {is} um, and the line before ended with {was} um"
                ),
            );
        }
        count += 1;
    }
    for (key, coil) in state.rows("coils") {
        let on_coil = number_of("coils", &coil, "remaining_um");
        match last.get(text_of("coils", &coil, "coil_id")) {
            Some(told) if *told == on_coil => {}
            Some(told) => {
                broken(wrong, format!("coil {key} has {on_coil} um, and its ledger ends with {told} um"));
            }
            None => broken(wrong, format!("coil {key} has no ledger")),
        }
    }
    count
}

fn pieces(state: &State, wrong: &mut Vec<Difference>) -> u64 {
    let mut seen = BTreeSet::new();
    for (key, step) in state.rows("cut_steps") {
        let text = |column| text_of("cut_steps", &step, column);
        if text("kind") == "cut"
            && text("state") != "spoiled"
            && !seen.insert(format!("{}\0{}", text("serial_id"), text("piece_id")).into_boxed_str())
        {
            let (serial, piece) = (text("serial_id"), text("piece_id"));
            broken(
                wrong,
                format!("piece {piece} of {serial} is on lists twice; the second time in step {key}"),
            );
        }
    }
    u64::try_from(seen.len()).unwrap_or(u64::MAX)
}

fn heads(state: &State, wrong: &mut Vec<Difference>) -> u64 {
    let mut pieces: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
    for (_, step) in state.rows("cut_steps") {
        let text = |column| text_of("cut_steps", &step, column);
        let (done, pending) = pieces.entry(number_of("cut_steps", &step, "list_number")).or_default();
        match (text("kind"), text("state")) {
            ("cut", "done") => *done += 1,
            ("cut", "pending") => *pending += 1,
            _ => {}
        }
    }
    let mut count = 0;
    for (_, list) in state.rows("cut_lists") {
        let number = |column| number_of("cut_lists", &list, column);
        let (done, pending) = pieces.get(&number("list_number")).copied().unwrap_or_default();
        if (number("pieces_done"), number("pieces_pending")) != (done, pending) {
            let id = text_of("cut_lists", &list, "list_id");
            broken(
                wrong,
                format!(
                    "list {id} has {done} pieces done and {pending} pending, and its head says otherwise"
                ),
            );
        }
        count += 1;
    }
    count
}

fn stations(state: &State, wrong: &mut Vec<Difference>) -> u64 {
    let mut running: BTreeMap<String, u64> = BTreeMap::new();
    for (_, list) in state.rows("cut_lists") {
        if text_of("cut_lists", &list, "state") == "running" {
            *running.entry(text_of("cut_lists", &list, "station_id").to_owned()).or_default() += 1;
        }
    }
    for (station, lists) in running.iter().filter(|(_, lists)| **lists > 1) {
        broken(wrong, format!("{lists} lists run at station {station}"));
    }
    u64::try_from(state.rows("stations").count()).unwrap_or(u64::MAX)
}

fn reels(state: &State, wrong: &mut Vec<Difference>) -> u64 {
    let mut seen = BTreeSet::new();
    for (key, mount) in state.rows("mounts") {
        let coil = text_of("mounts", &mount, "coil_id").to_owned();
        if !seen.insert(coil.clone()) {
            broken(wrong, format!("coil {coil} is on two reels; one of them is {key}"));
        }
    }
    u64::try_from(seen.len()).unwrap_or(u64::MAX)
}
