//! Stored things as messages.

use becket_api::convert::{self, EvidenceLine, Stamps};
use becket_api::cutting::{Coil, CoilEvidence, CutList, Station, StockRule};
use becket_store::{EvidenceRecord, StoredCoil, StoredCutList, StoredHeader, StoredStation};

/// A coil.
pub(crate) fn coil(stored: &StoredCoil) -> Coil {
    // Which line of the ledger is the latest GetCoil tells.
    let StoredCoil { coil, reserved, held_evidence, last_finding: _, version, created_us, updated_us } =
        stored;
    convert::coil(
        coil,
        *reserved,
        *held_evidence,
        &Stamps { version: *version, create_us: *created_us, update_us: *updated_us },
    )
}

/// A line of a coil's ledger.
pub(crate) fn evidence(record: &EvidenceRecord) -> CoilEvidence {
    let EvidenceRecord { number, evidence, list_id, note, actor, created_us, decided } = record;
    convert::coil_evidence(&EvidenceLine {
        number: *number,
        evidence,
        list_id: list_id.as_ref(),
        note,
        actor,
        created_us: *created_us,
        decided: decided.as_ref().map(|decided| (decided.decided_by.as_str(), decided.decided_us)),
    })
}

/// A rule.
pub(crate) fn stock_rule(rule: &becket_store::StockRule) -> StockRule {
    convert::stock_rule(&rule.wire_id, rule.smallest_remnant)
}

/// A station.
pub(crate) fn station(stored: &StoredStation) -> Station {
    let StoredStation { station, version, created_us, updated_us } = stored;
    convert::station(station, &Stamps { version: *version, create_us: *created_us, update_us: *updated_us })
}

/// A whole list.
pub(crate) fn cut_list(stored: &StoredCutList) -> CutList {
    let StoredCutList { list, created_us, updated_us } = stored;
    let version = list.header.version;
    convert::cut_list(list, &Stamps { version, create_us: *created_us, update_us: *updated_us })
}

/// A list without steps and shortages.
pub(crate) fn cut_list_header(stored: &StoredHeader) -> CutList {
    let StoredHeader { header, created_us, updated_us } = stored;
    let version = header.version;
    convert::cut_list_header(header, &Stamps { version, create_us: *created_us, update_us: *updated_us })
}
