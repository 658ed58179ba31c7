//! The tests that every engine passes. Each is a function over a [`Factory`] of a fresh database; [`suite!`](crate::suite)
//! makes one `#[tokio::test]` of each.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    missing_docs,
    reason = "a suite of tests: it fails by panicking"
)]

pub mod befores;
pub mod coils;
pub mod concurrency;
pub mod evidence;
pub mod idempotency;
pub mod journals;
pub mod lists;
pub mod moving;
mod samples;
pub mod strings;
pub mod tampering;
pub mod webhooks;
pub mod windings;

use async_trait::async_trait;

use crate::tables::{ShopReader, Value};
use crate::{CutStore, JournalStore as _, StringStore, WebhookStore};

/// A database of its own for one test.
#[async_trait]
pub trait Factory: Send + Sync {
    /// The engine under test.
    type Store: StringStore + CutStore + WebhookStore;

    /// Opens the database: the first call makes it, later ones open the same again, as a restart does.
    async fn open(&self) -> Self::Store;

    /// Everything that a store holds, as one snapshot.
    async fn shop(&self, store: &Self::Store) -> Box<dyn ShopReader>;

    /// Runs a statement behind the back of the program, with all guards of the database off.
    async fn tamper(&self, sql: &str);

    /// A value as this engine's SQL writes it.
    fn literal(&self, value: &Value) -> String;
}

/// Whatever a test did: the journal implies what the tables hold, and tells what was before each change.
pub async fn journal_explains_tables(factory: &impl Factory) {
    let store = factory.open().await;
    befores::follow(&store.entries(0, 10_000, None).await.unwrap());
    moving::is_verified(factory.shop(&store).await.as_mut()).await;
}

/// Makes a `#[tokio::test]` of every function of the suite, each of which ends with a verification of the journal. `$factory` is an expression that makes a [`Factory`]
/// of a fresh database.
#[macro_export]
macro_rules! suite {
    ($factory:expr) => {
        $crate::suite! { $factory;
            strings: wires_are_imported_all_or_none, wires_are_updated_by_version, wires_are_listed,
                scales_are_released_for_good, jobs_live_and_end, jobs_are_listed_by_due_date, sets_are_frozen_for_good,
                standings_tell_every_change, every_change_raises_the_last_sequence;
            windings: orders_have_revisions_with_reasons, a_serial_is_on_one_order, orders_are_listed;
            idempotency: a_repeat_gets_the_first_answer, a_reused_id_is_refused, ids_belong_to_caller_and_method,
                a_failed_call_leaves_nothing, floor_writes_repeat_too,
                old_answers_are_dropped_in_batches, what_lost_its_answer_is_never_done_again;
            webhooks: receivers_are_kept_and_removed, outcomes_need_the_fence_and_the_place,
                letters_are_laid_aside_and_sent_again, old_letters_are_dropped, one_holds_the_lease;
            befores: every_kind_of_change_tells_what_was_before;
            journals: the_chain_is_whole, subjects_can_be_followed, restart_keeps_everything;
            concurrency: writers_take_turns, simultaneous_repeats_are_one_write, a_length_is_promised_once,
                a_piece_is_claimed_once, a_version_is_taken_once, two_starts_at_one_station_are_one,
                stations_work_side_by_side;
            coils: coils_are_received_all_or_none, coils_change_by_version, reserved_coils_are_not_scrapped,
                coils_that_a_step_names_are_not_scrapped, lists_change_with_a_coil, a_coil_that_a_list_left_is_taken_off,
                coils_are_listed, stock_is_in_order_of_receipt, rules_are_kept, stations_keep_positions_in_use;
            evidence: every_change_of_a_length_is_a_line_of_its_ledger, weighings_that_disagree_wait_for_a_decision,
                a_coil_that_ran_out_is_taken_off_by_a_step_of_its_own;
            lists: a_list_is_cut_from_start_to_end, lists_are_numbered_and_listed, no_more_is_reserved_than_is_there,
                a_piece_is_on_one_list, versions_guard_lists, one_list_runs_at_a_station, guards_guard_coils,
                a_refused_change_leaves_nothing, spoiled_pieces_are_recut_and_told,
                a_dropped_plan_frees_wire_and_pieces, lots_are_traced, a_workplace_tells_what_a_list_finds;
            tampering: a_change_of_any_column_is_found, a_row_more_or_less_is_found, a_change_of_the_journal_is_found,
                an_entry_more_or_less_is_found;
        }
    };
    ($factory:expr; $($module:ident: $($test:ident),+;)+) => {
        $(mod $module {
            #[allow(unused_imports, reason = "the factory may be an expression of the parent")]
            use super::*;

            $(#[tokio::test]
            async fn $test() {
                let factory = $factory;
                $crate::conformance::$module::$test(&factory).await;
                $crate::conformance::journal_explains_tables(&factory).await;
            })+
        })+
    };
}
