//! What colours, letters and hatching stand for.

use plotters::{coord::Shift, prelude::*};

use super::hatch::{self, Area};
use super::{CutPicture, Stretch};
use crate::draw::{Paper, failed};
use crate::{PlotError, ink};

/// Width of an entry.
const ENTRY: u16 = 210;
/// Entries beside each other.
const ACROSS: usize = 5;
/// Height of a line.
const LINE: u16 = 22;

fn entries(picture: &CutPicture) -> Vec<(Stretch, String)> {
    let serials = picture.serials.iter().enumerate();
    let mut entries: Vec<_> = serials.map(|(place, name)| (Stretch::Pieces(place), name.clone())).collect();
    entries.push((Stretch::Remnant, "left, back into stock".to_owned()));
    entries.push((Stretch::Scrap, "trim, or scrap".to_owned()));
    entries
}

/// Height of the part.
pub(super) fn height(picture: &CutPicture) -> u16 {
    let lines = entries(picture).len().div_ceil(ACROSS) + picture.remarks.len();
    u16::try_from(lines).unwrap_or(u16::MAX).saturating_mul(LINE).saturating_add(18)
}

/// Draws the entries in rows, and the remarks below them.
pub(super) fn draw<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &CutPicture,
    top: u16,
) -> Result<(), PlotError> {
    let style = paper.font(12, ink::BLACK).pos(paper.beside());
    let row = |line: usize| top.saturating_add(u16::try_from(line).unwrap_or(u16::MAX).saturating_mul(LINE));
    let entries = entries(picture);
    for (number, (stretch, text)) in entries.iter().enumerate() {
        let column = u16::try_from(number % ACROSS).unwrap_or_default();
        let (left, upper) = (16 + column * ENTRY, row(number / ACROSS));
        let area = Area {
            left: paper.offset(left),
            top: paper.offset(upper),
            right: paper.offset(left + 26),
            bottom: paper.offset(upper) + paper.offset(14),
        };
        hatch::fill(root, paper, area, *stretch)?;
        if let Stretch::Pieces(place) = stretch {
            hatch::letter(root, paper, area, *place)?;
        }
        root.draw_text(text, &style, (paper.offset(left + 33), paper.offset(upper) + paper.offset(7)))
            .map_err(failed)?;
    }
    let below = entries.len().div_ceil(ACROSS);
    for (line, remark) in picture.remarks.iter().enumerate() {
        let middle = paper.offset(row(below + line)) + paper.offset(7);
        root.draw_text(remark, &style, (paper.offset(16), middle)).map_err(failed)?;
    }
    Ok(())
}
