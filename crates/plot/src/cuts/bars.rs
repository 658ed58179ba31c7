//! Coils as bars to one scale.

use plotters::{coord::Shift, prelude::*};

use super::draw::{LEFT, RIGHT};
use super::hatch::{self, Area};
use super::{CoilBar, CutPicture, Stretch};
use crate::draw::{Paper, failed};
use crate::{PlotError, ink};

/// Height of a bar with its margin.
const ROW: u16 = 26;
/// Height of a bar.
const BAR: u16 = 16;
/// Heading, axis and margins.
const AROUND: u16 = 70;

/// Height of the part.
pub(super) fn height(picture: &CutPicture) -> u16 {
    u16::try_from(picture.coils.len()).unwrap_or(u16::MAX).saturating_mul(ROW).saturating_add(AROUND)
}

/// Millimetres to pixels of paper.
struct Scale {
    paper: Paper,
    longest_mm: f64,
}

impl Scale {
    #[expect(clippy::cast_possible_truncation, reason = "a place on paper: 0 to a few thousand")]
    fn at(&self, mm: f64) -> i32 {
        let width = f64::from(self.paper.offset(RIGHT - LEFT));
        self.paper.offset(LEFT) + (mm / self.longest_mm * width).round() as i32
    }
}

/// Draws heading, bars and axis.
pub(super) fn draw<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &CutPicture,
    top: u16,
) -> Result<(), PlotError> {
    let heading = paper.font(15, ink::BLACK);
    root.draw_text("Coils, from the outer end inwards", &heading, (paper.offset(16), paper.offset(top)))
        .map_err(failed)?;
    let longest = picture.coils.iter().map(CoilBar::length_mm).fold(0.0, f64::max).max(1.0);
    let scale = Scale { paper, longest_mm: longest };
    let first = top.saturating_add(30);
    let rows = u16::try_from(picture.coils.len()).unwrap_or(u16::MAX);
    axis(root, &scale, first, first.saturating_add(rows.saturating_mul(ROW)))?;
    for (row, coil) in (0u16..).zip(&picture.coils) {
        bar(root, &scale, coil, first.saturating_add(row.saturating_mul(ROW)))?;
    }
    Ok(())
}

fn axis<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    scale: &Scale,
    top: u16,
    bottom: u16,
) -> Result<(), PlotError> {
    let paper = scale.paper;
    let step_m = step_of(scale.longest_mm / 1000.0);
    let style = paper.font(12, ink::GREY).pos(paper.below());
    let mut at_m = 0.0;
    while at_m * 1000.0 <= scale.longest_mm {
        let x = scale.at(at_m * 1000.0);
        let ends = [(x, paper.offset(top)), (x, paper.offset(bottom))];
        root.draw(&PathElement::new(ends, ink::MESH.stroke_width(paper.width(1)))).map_err(failed)?;
        root.draw_text(&format!("{at_m} m"), &style, (x, paper.offset(bottom) + paper.offset(2)))
            .map_err(failed)?;
        at_m += step_m;
    }
    Ok(())
}

/// A step of 1, 2 or 5 times a power of ten with which an axis has up to ten marks.
fn step_of(length_m: f64) -> f64 {
    let rough = (length_m / 10.0).max(1e-3);
    let power = 10_f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0].into_iter().map(|times| times * power).find(|step| *step >= rough);
    step.unwrap_or(10.0 * power)
}

fn bar<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    scale: &Scale,
    coil: &CoilBar,
    top: u16,
) -> Result<(), PlotError> {
    let paper = scale.paper;
    let (upper, lower) = (paper.offset(top) + paper.offset(3), paper.offset(top) + paper.offset(3 + BAR));
    let name = paper.font(12, ink::BLACK).pos(paper.before());
    let detail = paper.font(9, ink::GREY).pos(paper.before());
    let right = paper.offset(LEFT - 6);
    root.draw_text(&coil.label, &name, (right, upper + paper.offset(4))).map_err(failed)?;
    root.draw_text(&coil.detail, &detail, (right, upper + paper.offset(14))).map_err(failed)?;
    let mut from_mm = 0.0;
    // Pieces of one serial that follow each other share a letter.
    let mut run: Option<(usize, Area)> = None;
    for part in &coil.parts {
        let to_mm = from_mm + part.length_mm * f64::from(part.count);
        let area = Area { left: scale.at(from_mm), top: upper, right: scale.at(to_mm), bottom: lower };
        hatch::fill(root, paper, Area { right: area.right.max(area.left + 1), ..area }, part.stretch)?;
        if matches!(part.stretch, Stretch::Pieces(_)) {
            cuts(root, scale, (from_mm, part.length_mm, part.count), area)?;
        }
        let serial = if let Stretch::Pieces(place) = part.stretch { Some(place) } else { None };
        run = match (run, serial) {
            (Some((place, run)), Some(serial)) if place == serial => {
                Some((place, Area { right: area.right, ..run }))
            }
            (before, _) => {
                if let Some((place, area)) = before {
                    hatch::letter(root, paper, area, place)?;
                }
                serial.map(|serial| (serial, area))
            }
        };
        from_mm = to_mm;
    }
    if let Some((place, area)) = run {
        hatch::letter(root, paper, area, place)?;
    }
    let whole = Area { left: scale.at(0.0), top: upper, right: scale.at(from_mm), bottom: lower };
    hatch::frame(root, paper, whole)?;
    let style = paper.font(10, ink::GREY).pos(paper.beside());
    let end = (whole.right + paper.offset(5), i32::midpoint(upper, lower));
    root.draw_text(&format!("{:.2} m", from_mm / 1000.0), &style, end).map_err(failed)
}

/// White lines between pieces, where they are far enough apart to be seen.
fn cuts<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    scale: &Scale,
    (from_mm, length_mm, count): (f64, f64, u32),
    area: Area,
) -> Result<(), PlotError> {
    let wide = f64::from(area.right - area.left) / f64::from(count.max(1));
    if wide < f64::from(scale.paper.offset(6)) {
        return Ok(());
    }
    for piece in 1..=count {
        let x = scale.at(from_mm + length_mm * f64::from(piece));
        let ends = [(x, area.top), (x, area.bottom)];
        root.draw(&PathElement::new(ends, ink::WHITE.stroke_width(scale.paper.width(1)))).map_err(failed)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::step_of;

    #[test]
    fn axes_have_a_few_round_marks() {
        assert_eq!([3.0, 42.0, 100.0, 170.0, 0.5].map(step_of), [0.5, 5.0, 10.0, 20.0, 0.05]);
    }
}
