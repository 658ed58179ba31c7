//! The whole sheet.

use plotters::{coord::Shift, prelude::*};

use super::{CutPicture, bars, key, reels};
use crate::draw::{Paper, failed};
use crate::{PlotError, ink};

/// Height of the title.
pub(super) const HEAD: u16 = 44;
/// Left edge of bars and lanes.
pub(super) const LEFT: u16 = 150;
/// Right edge of bars and lanes, counted from the left.
pub(super) const RIGHT: u16 = 1040;

/// Height of the layout in px.
pub(crate) fn height_px(picture: &CutPicture) -> u16 {
    HEAD.saturating_add(key::height(picture))
        .saturating_add(bars::height(picture))
        .saturating_add(reels::height(picture))
}

/// Draws title, key, bars and reels from top to bottom.
pub(crate) fn plan<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &CutPicture,
) -> Result<(), PlotError> {
    root.fill(&ink::WHITE).map_err(failed)?;
    let title = paper.font(20, ink::BLACK);
    root.draw_text(&picture.title, &title, (paper.offset(16), paper.offset(12))).map_err(failed)?;
    let mut top = HEAD;
    key::draw(root, paper, picture, top)?;
    top = top.saturating_add(key::height(picture));
    bars::draw(root, paper, picture, top)?;
    top = top.saturating_add(bars::height(picture));
    reels::draw(root, paper, picture, top)
}
