//! Which coil is on which reel, step by step.

use plotters::{coord::Shift, prelude::*};

use super::draw::{LEFT, RIGHT};
use super::hatch::{self, Area};
use super::{CutPicture, ReelSpan, Stretch};
use crate::draw::{Paper, failed};
use crate::{PlotError, ink};

/// Height of a lane with its margin.
const LANE: u16 = 34;
/// Heading, axis and margins.
const AROUND: u16 = 76;

/// Height of the part.
pub(super) fn height(picture: &CutPicture) -> u16 {
    u16::try_from(picture.reel_positions).unwrap_or(u16::MAX).saturating_mul(LANE).saturating_add(AROUND)
}

/// Steps to pixels of paper.
fn at(paper: Paper, picture: &CutPicture, step: u32) -> i32 {
    let width = i64::from(paper.offset(RIGHT - LEFT));
    let along = width * i64::from(step) / i64::from(picture.steps.max(1));
    paper.offset(LEFT) + i32::try_from(along).unwrap_or_default()
}

/// Draws heading, lanes and axis.
pub(super) fn draw<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &CutPicture,
    top: u16,
) -> Result<(), PlotError> {
    let heading = paper.font(15, ink::BLACK);
    root.draw_text("Reels, step by step", &heading, (paper.offset(16), paper.offset(top))).map_err(failed)?;
    let first = top.saturating_add(30);
    let positions = u16::try_from(picture.reel_positions).unwrap_or(u16::MAX);
    let bottom = first.saturating_add(positions.saturating_mul(LANE));
    axis(root, paper, picture, (first, bottom))?;
    for lane in 0..positions {
        let style = paper.font(12, ink::BLACK).pos(paper.before());
        let middle = first.saturating_add(lane * LANE).saturating_add(LANE / 2);
        let place = (paper.offset(LEFT - 6), paper.offset(middle));
        root.draw_text(&format!("reel {}", lane + 1), &style, place).map_err(failed)?;
    }
    for span in &picture.reels {
        let lane = u16::try_from(span.position.saturating_sub(1)).unwrap_or(u16::MAX);
        draw_span(root, paper, picture, span, first.saturating_add(lane.saturating_mul(LANE)))?;
    }
    Ok(())
}

fn axis<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &CutPicture,
    (top, bottom): (u16, u16),
) -> Result<(), PlotError> {
    let step = round_step(picture.steps);
    let style = paper.font(12, ink::GREY).pos(paper.below());
    for mark in (0..=picture.steps).step_by(usize::try_from(step).unwrap_or(1)) {
        let x = at(paper, picture, mark);
        let ends = [(x, paper.offset(top)), (x, paper.offset(bottom))];
        root.draw(&PathElement::new(ends, ink::MESH.stroke_width(paper.width(1)))).map_err(failed)?;
        let label = if mark == 0 { "step 0".to_owned() } else { mark.to_string() };
        root.draw_text(&label, &style, (x, paper.offset(bottom) + paper.offset(2))).map_err(failed)?;
    }
    Ok(())
}

/// A step of 1, 2 or 5 times a power of ten with which an axis has up to ten marks.
fn round_step(steps: u32) -> u32 {
    let rough = steps.div_ceil(10).max(1);
    let power = 10_u32.saturating_pow(rough.ilog10());
    [1, 2, 5, 10]
        .into_iter()
        .map(|times| power.saturating_mul(times))
        .find(|step| *step >= rough)
        .unwrap_or(rough)
}

/// A coil on its reel: a thin frame while it is mounted, filled where it is cut.
fn draw_span<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &CutPicture,
    span: &ReelSpan,
    top: u16,
) -> Result<(), PlotError> {
    let area = |from: u32, to: u32| {
        let (left, right) = (at(paper, picture, from), at(paper, picture, to));
        let (top, bottom) =
            (paper.offset(top) + paper.offset(13), paper.offset(top) + paper.offset(LANE - 5));
        Area { left, top, right: right.max(left + 1), bottom }
    };
    for (place, from, to) in &span.cuts {
        hatch::fill(root, paper, area(*from, *to), Stretch::Pieces(*place))?;
        hatch::letter(root, paper, area(*from, *to), *place)?;
    }
    let whole = area(span.from, span.to);
    hatch::frame(root, paper, whole)?;
    let style = paper.font(9, ink::GREY);
    let (width, _) = root.estimate_text_size(&span.label, &style).map_err(failed)?;
    if i64::from(width) <= i64::from(whole.right - whole.left) {
        root.draw_text(&span.label, &style, (whole.left, whole.top - paper.offset(11))).map_err(failed)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::round_step;

    #[test]
    fn axes_have_a_few_round_marks() {
        assert_eq!([0, 9, 10, 42, 100, 780, 1600].map(round_step), [1, 1, 1, 5, 10, 100, 200]);
    }
}
