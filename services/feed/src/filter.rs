//! Which events are wanted.

use becket_store::Entry;
use becket_units::Fault;
use prost::Message;

use crate::events::{EVENT_TYPES, EventType, type_of};

/// Longest prefix of a subject, in characters.
const LONGEST_PREFIX: usize = 200;

/// A filter that was checked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Filter {
    /// Names of types, sorted, each once; empty for all.
    types: Vec<String>,
    subject_prefix: String,
}

impl Filter {
    /// Checks a filter; the faults name the fields `types` and `subject_prefix`.
    pub(crate) fn read(types: &[String], subject_prefix: &str) -> Result<Self, Vec<Fault>> {
        let mut faults = Vec::new();
        for (at, name) in types.iter().enumerate() {
            if !EVENT_TYPES.iter().any(|known| known.name == name) {
                let allowed = EVENT_TYPES.iter().map(|known| known.name).collect::<Vec<_>>().join(", ");
                faults.push(Fault::new(format!("types[{at}]"), name, allowed));
            }
        }
        if subject_prefix.chars().count() > LONGEST_PREFIX {
            let allowed = format!("up to {LONGEST_PREFIX} characters");
            faults.push(Fault::new("subject_prefix", subject_prefix, allowed));
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut types = types.to_vec();
        types.sort_unstable();
        types.dedup();
        Ok(Self { types, subject_prefix: subject_prefix.to_owned() })
    }

    /// The type of the event that an entry becomes, if it is wanted.
    pub(crate) fn wants(&self, entry: &Entry) -> Option<&'static EventType> {
        let event_type = type_of(entry)?;
        let named = self.types.is_empty() || self.types.iter().any(|name| name == event_type.name);
        (named && entry.subject.starts_with(&self.subject_prefix)).then_some(event_type)
    }

    /// What resume tokens are bound to: the same for filters that let the same through.
    pub(crate) fn bytes(&self) -> Vec<u8> {
        becket_api::feed::WatchEventsRequest {
            types: self.types.clone(),
            subject_prefix: self.subject_prefix.clone(),
            ..Default::default()
        }
        .encode_to_vec()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(method: &str, subject: &str) -> Entry {
        Entry {
            sequence: 1,
            entry_us: 0,
            actor: String::new(),
            origin: String::new(),
            request_id: String::new(),
            method: format!("x/{method}"),
            subject: subject.to_owned(),
            before: None,
            after: None,
            effects: None,
            hash: [0; 32],
        }
    }

    fn read(types: &[&str], prefix: &str) -> Result<Filter, Vec<Fault>> {
        Filter::read(&types.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>(), prefix)
    }

    #[test]
    fn types_and_subjects_are_matched() {
        let wants = |types: &[&str], prefix: &str, method: &str, subject: &str| {
            read(types, prefix).unwrap().wants(&entry(method, subject)).is_some()
        };
        assert!(wants(&[], "", "ReceiveCoils", "coils/C1"));
        assert!(!wants(&[], "", "SaveStation", "stations/b"));
        assert!(wants(&["becket.coil.received.v1"], "coils/", "ReceiveCoils", "coils/C1"));
        assert!(!wants(&["becket.coil.weighed.v1"], "", "ReceiveCoils", "coils/C1"));
        assert!(!wants(&[], "coils/C2", "ReceiveCoils", "coils/C1"));
    }

    #[test]
    fn every_fault_is_named() {
        let faults =
            read(&["becket.coil.received.v1", "becket.coil.melted.v1"], &"x".repeat(201)).unwrap_err();
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["types[1]", "subject_prefix"]);
    }

    #[test]
    fn the_order_of_types_does_not_count() {
        let (a, b) = ("becket.coil.received.v1", "becket.coil.weighed.v1");
        assert_eq!(read(&[a, b, a], "x").unwrap().bytes(), read(&[b, a], "x").unwrap().bytes());
        assert_ne!(read(&[a], "x").unwrap().bytes(), read(&[a], "y").unwrap().bytes());
    }
}
