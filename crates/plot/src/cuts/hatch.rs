//! Fills: a colour for each serial, hatching for what is no piece.

use plotters::{coord::Shift, prelude::*};

use super::{Stretch, serial_letter};
use crate::draw::{Paper, failed};
use crate::{PlotError, ink};

/// A rectangle on paper: left, top, right, bottom.
#[derive(Debug, Clone, Copy)]
pub(super) struct Area {
    pub(super) left: i32,
    pub(super) top: i32,
    pub(super) right: i32,
    pub(super) bottom: i32,
}

impl Area {
    fn corners(self) -> [(i32, i32); 2] {
        [(self.left, self.top), (self.right, self.bottom)]
    }
}

/// Fills an area with what stands for a stretch.
pub(super) fn fill<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    area: Area,
    stretch: Stretch,
) -> Result<(), PlotError> {
    match stretch {
        Stretch::Pieces(place) => {
            let colour = ink::serial(place);
            root.draw(&Rectangle::new(area.corners(), colour.filled())).map_err(failed)
        }
        Stretch::Trim | Stretch::Scrap => {
            root.draw(&Rectangle::new(area.corners(), ink::BLACK.filled())).map_err(failed)
        }
        Stretch::Remnant => {
            root.draw(&Rectangle::new(area.corners(), ink::WHITE.filled())).map_err(failed)?;
            lines(root, paper, area)?;
            frame(root, paper, area)
        }
    }
}

/// A frame around an area.
pub(super) fn frame<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    area: Area,
) -> Result<(), PlotError> {
    root.draw(&Rectangle::new(area.corners(), ink::GREY.stroke_width(paper.width(1)))).map_err(failed)
}

/// Slanting lines, cut off at the edges of the area.
fn lines<B: DrawingBackend>(root: &DrawingArea<B, Shift>, paper: Paper, area: Area) -> Result<(), PlotError> {
    let height = area.bottom - area.top;
    let step = usize::try_from(paper.offset(6)).unwrap_or(1).max(1);
    let style = ink::GREY.stroke_width(paper.width(1));
    for from in (area.left - height..area.right).step_by(step) {
        // From the lower edge at `from` to the upper one, as many px to the right as the area is high.
        let low = from.max(area.left);
        let high = (from + height).min(area.right);
        if low < high {
            let ends = [(low, area.bottom - (low - from)), (high, area.bottom - (high - from))];
            root.draw(&PathElement::new(ends, style)).map_err(failed)?;
        }
    }
    Ok(())
}

/// Writes the letter of a serial into an area, if it has room for it.
pub(super) fn letter<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    area: Area,
    place: usize,
) -> Result<(), PlotError> {
    let text = serial_letter(place);
    let style = paper.font(11, ink::on_serial(place)).pos(paper.in_the_middle());
    let (width, _) = root.estimate_text_size(&text, &style).map_err(failed)?;
    if i64::from(width) + i64::from(paper.offset(3)) > i64::from(area.right - area.left) {
        return Ok(());
    }
    let middle = (i32::midpoint(area.left, area.right), i32::midpoint(area.top, area.bottom));
    root.draw_text(&text, &style, middle).map_err(failed)
}
