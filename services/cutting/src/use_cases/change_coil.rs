//! What all changes of one coil have in common.

use becket_floor::CoilId;
use becket_store::{CoilChange, CoilChanged, StoredCoil, WriteContext};
use prost::Message;

use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::write::decode;

impl App {
    /// Reads a coil, decides what changes, and stores it; reads and decides again if somebody else changed the coil in between.
    pub(crate) async fn change_coil<R: Message + Default>(
        &self,
        context: &WriteContext,
        coil_id: &CoilId,
        decide: impl Fn(&StoredCoil) -> Result<CoilChange, UseCaseError>,
        answer: impl Fn(&CoilChange, &CoilChanged) -> R + Copy + Send + 'static,
    ) -> Result<R, UseCaseError> {
        let mut tries = Tries::more(3);
        loop {
            let change = decide(&self.store.coil(coil_id).await?)?;
            let told = change.clone();
            let answer = Box::new(move |changed: &CoilChanged| answer(&told, changed).encode_to_vec());
            match self.store.change_coil(context, change, answer).await.map_err(UseCaseError::from) {
                Err(error) if tries.again(&error) => {}
                written => return decode(&written?.answer),
            }
        }
    }
}

/// A change of the state and of nothing else.
pub(crate) fn new_state(coil: &StoredCoil, state: becket_floor::CoilState, note: &str) -> CoilChange {
    CoilChange {
        coil_id: coil.coil.coil_id.clone(),
        expected_version: coil.version,
        booking: None,
        held: None,
        decision: None,
        state,
        refuse_if_named: false,
        note: note.to_owned(),
    }
}
