//! What a new plan changed.

use std::fmt::Write as _;

use becket_api::cutting::{ListReplan, ReplanCutListResponse};

/// What became of a list that counted on a coil.
pub(crate) fn list_replan_text(list: &ListReplan) -> String {
    let ListReplan { list_id, etag: _, steps_kept, steps_moved, steps_forced, pieces_uncut } = list;
    format!(
        "{list_id} was planned anew: {}",
        moves_text(list_id, [*steps_kept, *steps_moved, *steps_forced, *pieces_uncut])
    )
}

/// What a new plan of a list changed.
pub(crate) fn replan_text(list_id: &str, answer: &ReplanCutListResponse) -> String {
    let ReplanCutListResponse { cut_list: _, steps_kept, steps_moved, steps_forced, pieces_uncut } = answer;
    moves_text(list_id, [*steps_kept, *steps_moved, *steps_forced, *pieces_uncut])
}

fn moves_text(list_id: &str, [kept, moved, forced, uncut]: [i32; 4]) -> String {
    let mut text = format!("{kept} steps kept, {moved} new or on another coil");
    if forced > 0 {
        let _ = write!(text, ", {forced} of them because their coil is gone");
    }
    text.push('.');
    if uncut > 0 {
        let _ = write!(
            text,
            " The stock has no wire for {uncut} pieces; see them with: becket show cut-list {list_id}"
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_happened_is_told() {
        let mut list = ListReplan { list_id: "L-0002".to_owned(), steps_kept: 12, ..ListReplan::default() };
        let text = list_replan_text(&list);
        assert_eq!(text, "L-0002 was planned anew: 12 steps kept, 0 new or on another coil.");
        (list.steps_moved, list.steps_forced, list.pieces_uncut) = (5, 4, 2);
        let expected = "L-0002 was planned anew: 12 steps kept, 5 new or on another coil, 4 of them because their \
                        coil is gone. The stock has no wire for 2 pieces; see them with: becket show cut-list L-0002";
        assert_eq!(list_replan_text(&list), expected);
    }
}
