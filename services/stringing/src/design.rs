//! What all designs share: running them, and telling why there is none.

use becket_api::convert::{merged, unmet};
use becket_design::DesignError;
use becket_service_kit::CancelFlag;
use becket_units::Fault;

use crate::app::App;
use crate::error::UseCaseError;

impl App {
    /// Runs a design away from the threads that serve connections; one that nobody waits for any more does not begin.
    pub(crate) async fn designed<T: Send + 'static>(
        &self,
        work: impl FnOnce(&CancelFlag) -> Result<T, UseCaseError> + Send + 'static,
    ) -> Result<T, UseCaseError> {
        let run =
            |flag: &CancelFlag| if flag.is_cancelled() { Err(UseCaseError::Stopping) } else { work(flag) };
        self.pool.run(run).await?
    }
}

/// Why a design has no answer, with the paths of the request: `paths` leads a fault of the domain to its field, and
/// `note_path` names the field of a note.
pub(crate) fn refused(
    error: DesignError,
    paths: impl FnOnce(Vec<Fault>) -> Vec<Fault>,
    note_path: impl Fn(i16) -> String,
) -> UseCaseError {
    match error {
        DesignError::Faults(faults) => UseCaseError::Faults(paths(faults)),
        DesignError::NothingFits(list) => UseCaseError::TargetUnreachable {
            text: format!(
                "nothing in stock keeps to the limits at {}; offer more wires or widen the limits",
                if list.len() == 1 { "one note".to_owned() } else { format!("{} notes", list.len()) }
            ),
            faults: list.iter().map(|refused| unmet(refused, note_path(refused.note))).collect(),
        },
        DesignError::NoSequence { note } => UseCaseError::TargetUnreachable {
            text: DesignError::NoSequence { note }.to_string(),
            faults: vec![Fault::new(
                note_path(note),
                format!("note {note} ends no sequence of sizes"),
                "pairs of one size and runs that are long enough; allow tied strings at a cost, or shorter runs",
            )],
        },
        DesignError::Stopped => UseCaseError::Stopping,
        other @ (DesignError::NotConverged { .. } | DesignError::Formula { .. }) => {
            UseCaseError::Unanswerable(other)
        }
    }
}

/// Passes if neither reading the request nor checking its terms found a fault. That one of the `lists` of wires is
/// empty says nothing new where wires of it were refused.
pub(crate) fn sound_terms(
    found: Vec<Fault>,
    mut more: Vec<Fault>,
    lists: &[&str],
) -> Result<(), UseCaseError> {
    let told = |list: &str| {
        let parts = [format!("{list}."), format!("{list}[")];
        found.iter().any(|fault| parts.iter().any(|part| fault.field.starts_with(part)))
    };
    more.retain(|fault| !(lists.contains(&fault.field.as_str()) && told(&fault.field)));
    sound(merged(found, more))
}

/// Passes if there are no faults.
pub(crate) fn sound(faults: Vec<Fault>) -> Result<(), UseCaseError> {
    if faults.is_empty() { Ok(()) } else { Err(UseCaseError::Faults(faults)) }
}
