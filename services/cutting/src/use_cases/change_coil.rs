//! What all changes of one coil have in common.

use becket_api::cutting::ListReplan;
use becket_floor::{CoilId, ListId};
use becket_service_kit::CallContext;
use becket_store::{CoilChange, CoilChanged, RefuseIf, StoreError, StoredCoil, WriteContext};
use prost::Message;

use crate::app::App;
use crate::error::{Tries, UseCaseError};
use crate::turns::Turn;
use crate::write::decode;

/// What becomes of lists that count on a coil of which nothing can be cut after a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum CountingLists {
    /// They keep their steps, and whoever asked plans them anew.
    Keep,
    /// They are planned anew in the same transaction.
    Replan,
}

impl CountingLists {
    pub(crate) fn unless(keep: bool) -> Self {
        if keep { Self::Keep } else { Self::Replan }
    }
}

/// The turn of a call at a coil: no other call of this process changes the lists that it may have to plan anew.
pub(super) struct CoilTurn {
    lists: CountingLists,
    named: Vec<ListId>,
    _turns: Vec<Turn>,
}

impl CoilTurn {
    /// Whether reading and deciding again can help: somebody was faster, or another list has come to count on the coil.
    pub(super) fn can_help(&self, error: &UseCaseError) -> bool {
        let another_list = matches!(error, UseCaseError::Store(StoreError::CoilReserved { .. }));
        error.is_contended() || (another_list && self.lists == CountingLists::Replan)
    }
}

impl App {
    /// Reads a coil, decides what changes, and stores it; reads and decides again if somebody else changed the coil, or a list that
    /// counts on it, in between. Where nothing can be cut from the coil any more, `lists` says what becomes of those lists.
    pub(crate) async fn change_coil<R: Message + Default>(
        &self,
        call: &CallContext,
        context: &WriteContext,
        coil_id: &CoilId,
        lists: CountingLists,
        decide: impl Fn(&StoredCoil) -> Result<CoilChange, UseCaseError>,
        answer: impl Fn(&CoilChange, &CoilChanged, Vec<ListReplan>) -> R + Copy + Send + 'static,
    ) -> Result<R, UseCaseError> {
        let mut tries = Tries::more(5);
        loop {
            let turn = self.coil_turn(coil_id, lists).await?;
            let before = self.store.coil(coil_id).await?;
            let change = decide(&before)?;
            match self.store_change(call, context, &turn, &before, change, answer).await {
                Err(error) if tries.once_more(turn.can_help(&error)) => {}
                done => return done,
            }
        }
    }

    /// Waits for the turn at the lists that name a coil, if they may have to be planned anew.
    pub(super) async fn coil_turn(
        &self,
        coil_id: &CoilId,
        lists: CountingLists,
    ) -> Result<CoilTurn, UseCaseError> {
        let named = match lists {
            CountingLists::Keep => Vec::new(),
            CountingLists::Replan => self.store.lists_naming(coil_id).await?,
        };
        let turns = self.turns.take_all(&named).await;
        Ok(CoilTurn { lists, named, _turns: turns })
    }

    /// Stores a change of a coil, with new plans of lists where that is wanted.
    pub(super) async fn store_change<R: Message + Default>(
        &self,
        call: &CallContext,
        context: &WriteContext,
        turn: &CoilTurn,
        before: &StoredCoil,
        mut change: CoilChange,
        answer: impl Fn(&CoilChange, &CoilChanged, Vec<ListReplan>) -> R + Send + 'static,
    ) -> Result<R, UseCaseError> {
        let is_lost = change.state != before.coil.state && !change.state.is_usable();
        let replanned = match turn.lists {
            CountingLists::Replan if is_lost => {
                self.plan_lists_around(call, before, &mut change, &turn.named).await?
            }
            _ => Vec::new(),
        };
        let told = change.clone();
        let answer = Box::new(move |changed: &CoilChanged| answer(&told, changed, replanned).encode_to_vec());
        let written = self.store.change_coil(context, change, answer).await?;
        turn.named.iter().for_each(|list_id| self.changes.tell(list_id));
        decode(&written.answer)
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
        refuse_if: RefuseIf::Never,
        lists: Vec::new(),
        note: note.to_owned(),
    }
}
