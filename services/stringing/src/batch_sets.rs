//! What the serials of one call have in common.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use becket_api::stringing::Job;
use prost::Message;
use prost::bytes::Bytes;
use prost::encoding::{WireType, encode_key, encode_varint, encoded_len_varint, string};
use tokio::sync::OnceCell;

use crate::checked_scales::CheckedScales;

/// Most sets that are kept for further serials: some megabytes in all.
const CAPACITY: usize = 32;
/// Number of the field `serial_id`, of a set and of the message around it.
const SERIAL_FIELD: u32 = 1;
/// Number of the field `string_set` of the message.
const SET_FIELD: u32 = 2;

/// A set without its serial, encoded, once it is computed.
type Standard = Arc<OnceCell<Bytes>>;

/// Scales that are checked and sets that are computed once for many serials. All that a set says about its serial is the serial
/// itself, so that serials of one revision and with the same options share a set as long as nothing was measured on them.
/// Each is seen as it was when the call first needed it.
#[derive(Debug, Default)]
pub(crate) struct BatchSets {
    scales: CheckedScales,
    standard: Mutex<HashMap<Vec<u8>, Standard>>,
}

impl BatchSets {
    pub(crate) fn scales(&self) -> &CheckedScales {
        &self.scales
    }

    /// The set of all serials like this one; `None` for one with measurements, and where too many others are kept.
    pub(crate) fn of_standard(&self, job: &Job) -> Option<Standard> {
        if !job.as_built.is_empty() {
            return None;
        }
        let Job { model_id, revision_id, options, .. } = job.clone();
        let alike = Job { model_id, revision_id, options, ..Job::default() }.encode_to_vec();
        let mut standard = self.standard.lock().unwrap_or_else(PoisonError::into_inner);
        if standard.len() >= CAPACITY && !standard.contains_key(&alike) {
            return None;
        }
        Some(Arc::clone(standard.entry(alike).or_default()))
    }
}

/// The message [`becket_api::stringing::ComputeJobSetsResponse`] for a serial, with an encoded set in it. Where the set was encoded
/// without its serial, that goes before it as `of_set`.
pub(crate) fn message_with(serial_id: &str, of_set: &str, set: &[u8]) -> Bytes {
    let (serial_id, of_set) = (serial_id.to_owned(), of_set.to_owned());
    let named = if of_set.is_empty() { 0 } else { string::encoded_len(SERIAL_FIELD, &of_set) };
    let length = named.saturating_add(set.len()) as u64;
    let around = 1 + encoded_len_varint(length) + string::encoded_len(SERIAL_FIELD, &serial_id);
    let mut message = Vec::with_capacity(around.saturating_add(named).saturating_add(set.len()));
    if !serial_id.is_empty() {
        string::encode(SERIAL_FIELD, &serial_id, &mut message);
    }
    encode_key(SET_FIELD, WireType::LengthDelimited, &mut message);
    encode_varint(length, &mut message);
    if named > 0 {
        string::encode(SERIAL_FIELD, &of_set, &mut message);
    }
    message.extend_from_slice(set);
    message.into()
}

#[cfg(test)]
mod tests {
    use becket_api::stringing::compute_job_sets_response::Result as Outcome;
    use becket_api::stringing::{AsBuilt, ComputeJobSetsResponse, ComputeOptions, StringSet};

    use super::*;

    #[test]
    fn a_set_without_its_serial_becomes_the_whole_message() {
        for (serial, model) in [("S-1", 3), (&"S".repeat(63), 90_000), ("S-1", 0)] {
            let set = |serial_id: &str| StringSet {
                serial_id: serial_id.to_owned(),
                model_id: "m".repeat(model),
                frozen: true,
                ..StringSet::default()
            };
            let result = Some(Outcome::StringSet(set(serial)));
            let whole = ComputeJobSetsResponse { serial_id: serial.to_owned(), result }.encode_to_vec();
            assert_eq!(message_with(serial, serial, &set("").encode_to_vec()), whole);
            assert_eq!(message_with(serial, "", &set(serial).encode_to_vec()), whole);
        }
    }

    #[test]
    fn serials_share_a_set_if_all_that_it_rests_on_is_the_same() {
        let shared = BatchSets::default();
        let job = |serial_id: &str| Job {
            serial_id: serial_id.to_owned(),
            model_id: "m".to_owned(),
            revision_id: "a".to_owned(),
            due_date: format!("2026-12-{serial_id}"),
            ..Job::default()
        };
        let first = shared.of_standard(&job("01")).unwrap();
        assert!(Arc::ptr_eq(&first, &shared.of_standard(&job("02")).unwrap()));
        let sharp = ComputeOptions { a4_hz: Some(442.0), ..ComputeOptions::default() };
        for other in [
            Job { options: Some(sharp), ..job("01") },
            Job { revision_id: "b".to_owned(), ..job("01") },
            Job { model_id: "n".to_owned(), ..job("01") },
        ] {
            assert!(!Arc::ptr_eq(&first, &shared.of_standard(&other).unwrap()), "{other:?}");
        }
        let measured = Job { as_built: vec![AsBuilt { note: 3, ..AsBuilt::default() }], ..job("01") };
        assert!(shared.of_standard(&measured).is_none());
        for number in 0..2 * CAPACITY {
            shared.of_standard(&Job { revision_id: format!("r{number}"), ..job("01") });
        }
        assert_eq!(shared.standard.lock().unwrap().len(), CAPACITY);
        assert!(shared.of_standard(&job("77")).is_some(), "what is kept stays");
    }
}
