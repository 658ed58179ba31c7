//! The cutting model: which piece is cut from which coil, in which order; and an independent checker of plans.
//!
//! # The problem in the field's terms
//!
//! One-dimensional cutting stock with several stock lengths in limited number (every coil is its own stock length,
//! available once), usable leftovers (a remnant returns to stock if a later piece can use it, else it is scrap), items
//! in groups that should share one stock object (the strings of a note), and a sequencing layer on top: a limit on open
//! stacks (trays) and on the tools that are set up at a time (reel positions).
//!
//! ## Sets and data
//!
//! ```text
//! W            wires                 r_w   smallest remnant of wire w that is worth keeping
//! S = 1 … s    serials in due order
//! P            pieces                w_p, s_p, l_p, g_p   wire, serial, length, group; k_p rank in the wanted order
//! G            groups of pieces of one wire and one serial that serve a note or a chain of notes
//! C            coils                 w_c, a_c  wire, length that may be cut; opened or sealed; order of receipt; lot;
//!                                    reel position on which it is mounted at the start, if it is
//! R, T         number of reel positions and of trays
//! e            end trim, cut off squarely every time a coil is mounted
//! m_c          margin left uncut on coil c because its length is known only roughly: one for all coils and one of its own
//! D            due window: how many places ahead of a serial that is not done another may be begun; none: any number
//! ```
//!
//! ## Decisions
//!
//! A sequence of steps: [`Step::Mount`] puts a coil on a reel position and trims its end, [`Step::Cut`] cuts one piece
//! from a mounted coil, [`Step::Unmount`] takes a coil off and says what its tail is. With it goes the list of pieces
//! that the plan leaves uncut.
//!
//! ## Constraints
//!
//! 1. Each piece is cut exactly once, or is listed as uncut exactly once.
//! 2. A piece is cut from a coil of its own wire, and the coil is mounted at that moment.
//! 3. Balance: with n_c mountings of coil c, the cuts of c add up to at most `a_c − n_c·e`. What remains after each step
//!    is exact, and after each cut it is at least m_c.
//! 4. A reel position is one of 0 … R−1 and holds at most one coil; a coil is on at most one position.
//! 5. A serial is open from its first cut to its last. At most T serials are open at a time.
//! 6. Under [`Unison::Hard`] the pieces of a group all come from one coil, or are all uncut.
//! 7. A tail of nothing is [`Tail::Empty`], one shorter than r_w is [`Tail::Scrap`], any other is [`Tail::Remnant`]. A coil
//!    whose tail was empty or scrap does not come back.
//! 8. Whoever was mounted or cut by the plan is unmounted by its end. A coil that was mounted before and from which
//!    nothing is cut may stay where it is.
//! 9. While a coil stays mounted, the pieces of one serial are cut from it in the wanted order ([`PieceOrder`]).
//! 10. Under a due window, a serial is begun only when every serial due more than D places before it, counted among those
//!     of which anything is cut, has had its last cut ([`Policy::due_window`]).
//! 11. Under first in first out, when a sealed coil is first mounted, no equal sealed coil of an earlier receipt is left
//!     ([`Policy::fifo`]).
//!
//! ## Objective
//!
//! Levels in strict order; on each, less is better ([`Level`]):
//!
//! 1. pieces uncut, compared serial by serial in due order: this makes as many serials whole as can be, then cuts as much
//!    of the next as can be ([`Level::SerialsNotWhole`], [`Level::PiecesUncut`]);
//! 2. groups split over coils ([`Level::GroupsSplit`]);
//! 3. scrap: end trims, and tails shorter than r_w ([`Level::Scrap`]);
//! 4. sealed coils opened ([`Level::CoilsOpened`]);
//! 5. reel changes, which are mountings ([`Level::ReelChanges`]);
//! 6. lots per serial and wire ([`Level::Lots`]), then pieces of a serial cut out of the wanted order
//!    ([`Level::OutOfOrder`]).
//!
//! The shop may put levels 3 to 5 and the lots in another order ([`LevelOrder`]). [`Score`] compares two plans.
//!
//! ## Methods and proof
//!
//! [`BestPlanner`] goes through the serials in due order with as many open as trays and due window allow, and stops for a
//! wire as late as that permits, so that each stop serves all open serials. Per stop, coils are filled by exact subset sums
//! (for lengths too fine for that, by sums of up to four blocks), by best fit decreasing, and, where coils are short, by
//! column generation over all coils at once with diving, after which the coils to blame for the gap are cut anew; where that
//! does not apply, a search refills few coils at a time. Too little wire: the serials that cannot all be whole are ruled out
//! by prices; a packing of the others is filled up with pieces of those after them, in due order, and a search refills few coils so
//! that unused wire gathers until another piece can be cut, then columns do. Blocks are moved so that serials get their
//! wire from few lots. Which wires stay on the reel positions is searched for, and where nearly every stop takes one coil,
//! whole days are planned anew with coils that last. Pieces are cut as late as the mountings allow, which lets those of one
//! serial come from several coils in the wanted order. The plan of [`FirstPlanner`] is a candidate too, up to a size. A problem
//! of few pieces is solved exactly, by branch and bound over assignments and sequences, as long as that stays below a number
//! of nodes.
//!
//! For each level [`Quality`] states value, lower bound and whether they meet. Bounds: capacity with the longest coils first,
//! dual feasible functions, the Lagrangian bound at the prices of the linear program on scrap, coils opened and mountings in
//! turn and on pieces uncut, and for reel changes the spans of serials
//! that cannot overlap by due window and trays, with the trims that so many mountings cost. A bound of a level holds for
//! all plans that are no worse on the levels before. What is not proven is said to be open: a plan with uncut pieces does not
//! claim that there is no better one unless the bound says so.
//!
//! Known limits: but for small problems, coils are chosen stop by stop, so scrap is not optimised jointly over several stops,
//! and bounds are then weaker; the wanted order has no bound but 0; without a due window serials are still opened in due
//! order.
//!
//! [`FirstPlanner`] heeds the levels by construction; it is a heuristic and proves no optimum.
//!
//! # Re-planning
//!
//! When the floor disagrees with the plan, [`Replanner`] plans anew what is not cut yet.
//!
//! ## Data
//!
//! ```text
//! P', C'       what is still to be cut, lost and added pieces included; the coils as they are now
//! σ            steps of the former plan that were still to be done; f_p the coil of piece p in σ, if it had one
//! O            serials of which a piece lies in a tray: each holds its tray from the start
//! q_p          coil and lot of the pieces of p's note that are cut already, if there are any
//! t            scrap per coil that makes no difference
//! ```
//!
//! What is cut is not in P', so no plan can move it, and its wire is no longer in C'. A serial of O keeps its tray till its
//! last piece is cut. All constraints above hold for P' and C'. Under [`Unison::Hard`] rule 6 is asked of the pieces of P'
//! alone: those of a note that wait come from one coil, be it that of q_p or not; for what is cut cannot be brought back.
//!
//! ## What counts as moved
//!
//! Of the pieces with an f_p, one is *kept* if its coil is f_p again. A coil that no longer has the room for what σ takes from
//! it must give up some: the fewest that must go, the longest first, are *forced* ([`Moves::forced`]). All others that are not
//! kept are *moved*. Pieces without an f_p are *added*. *Reordered* are the kept ones outside a longest run that is in the
//! order of σ.
//!
//! ## Objective
//!
//! In strict order: pieces uncut, serial by serial; notes torn between coils, q_p included, then between lots; scrap, where t
//! for each coil in use makes no difference; pieces moved or forced; the levels of the objective above; pieces reordered.
//! [`Calm::Last`] puts the moves after the levels.
//!
//! ## The uncertain end
//!
//! How much is on a coil is known only roughly, and it is the end of the coil where that shows. A margin keeps the last wire of
//! such a coil free. What is cut last before it should be easy to have from elsewhere, as far as the wanted order and the
//! trays leave a choice: the serials that may be open together have their last pieces cut in due order, so the serial that can
//! wait longest stands at the end; by size the shortest piece of it, which fits in most places; and of pieces that may be cut in
//! any order one whose note has few pieces on the coil. A re-plan that must take pieces off a coil takes them by the same
//! measure: those that are new on it, of notes with few pieces, of the serial due last. The wanted order is not given up for
//! this: up or down the scale, the last piece of a serial may be a long one.
//!
//! # What this crate does not do
//!
//! It performs no input or output, reads no clock, draws no random numbers, and cannot fail for such reasons. Lengths are
//! whole micrometres, there is no rounding, and the same problem always gives the same plan. It knows no names: callers
//! keep the identifiers of pieces, coils, wires and serials and pass indices. It keeps no stock and reserves nothing.
//!
//! # Planner and checker
//!
//! [`Planner`] is the interface of every planning method. [`check_plan`] is written from the model above and shares no
//! code with any planner: a plan is to be shown or booked only if the checker passes it. [`check_quality`] recomputes the
//! figures of a report.
//!
//! # Examples
//!
//! One coil of one metre, two pieces of a note, and a third for which there is no wire:
//!
//! ```
//! use becket_planner::*;
//! use becket_units::Um;
//!
//! let mm = |mm: i64| Um::new(mm * 1000);
//! let piece = |length, group| Piece {
//!     wire: WireIndex(0),
//!     serial: SerialIndex(0),
//!     length,
//!     group: GroupIndex(group),
//!     rank: group,
//!     section: 0,
//! };
//! let problem = Problem {
//!     wires: vec![WireRule { smallest_remnant: mm(150) }],
//!     serials: 1,
//!     pieces: vec![piece(mm(410), 0), piece(mm(400), 0), piece(mm(700), 1)],
//!     coils: vec![Coil {
//!         wire: WireIndex(0),
//!         available: mm(1000),
//!         opened: false,
//!         received_rank: 0,
//!         lot: 0,
//!         mounted_at: None,
//!         margin: mm(0),
//!     }],
//!     station: Station { reel_positions: 1, trays: 1 },
//!     policy: Policy {
//!         unison: Unison::Hard,
//!         end_trim: mm(20),
//!         margin: mm(0),
//!         piece_order: PieceOrder::UpTheScale,
//!         ..Policy::default()
//!     },
//! };
//! let plan = FirstPlanner.plan(&problem)?;
//! assert_eq!(plan.uncut, [PieceIndex(2)]);
//! assert_eq!(plan.figures.remnant_length, mm(1000 - 20 - 410 - 400));
//! assert_eq!(check_plan(&problem, &plan), Ok(()));
//! # Ok::<(), PlanError>(())
//! ```

mod best;
mod checker;
mod fault;
mod first;
mod model;
mod objective;
mod plan;
mod receipt;
mod replan;
mod report_checker;
mod violation;

pub use best::{BestPlan, BestPlanner, Effort};
pub use checker::check_plan;
pub use fault::{MAX_COILS, MAX_LENGTH, MAX_PIECES, MAX_SERIALS, MAX_WIRES, ProblemFault};
pub use first::FirstPlanner;
pub use model::{
    Coil, CoilIndex, GroupIndex, Piece, PieceIndex, PieceOrder, Policy, Problem, SerialIndex, Station,
    Unison, WireIndex, WireRule,
};
pub use objective::{Level, LevelOrder, LevelReport, Quality, Score};
pub use plan::{Figures, Plan, PlanError, Planner, Shortfall, Step, Tail};
pub use replan::{Calm, Disturbed, Kin, Method, Moves, ReplanPolicy, Replanned, Replanner};
pub use report_checker::{ReportFault, check_quality};
pub use violation::{Figure, Violation};
