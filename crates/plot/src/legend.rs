//! The legend, in a place of its own where it hides no data.

use plotters::{coord::Shift, prelude::*};

use crate::{
    Picture, PlotError, chart,
    draw::{Paper, failed},
    ink::{self, Shape, Stroke},
    panel::Panel,
};

/// A sample: what stands left of a legend's text.
enum Sample {
    /// Nothing: a heading or a remark.
    None,
    /// A line with a marker on it, or without.
    Line { colour: RGBColor, stroke: Stroke, shape: Option<Shape>, width: u16 },
    /// A shade.
    Shade,
}

/// Draws the legend on its area.
pub(crate) fn draw<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &Picture,
    panels: &[Panel],
) -> Result<(), PlotError> {
    let left = paper.offset(68);
    let rows = rows(picture, panels);
    // As airy as the place allows, so that the last remark stays on it.
    let height = i32::try_from(area.dim_in_pixel().1).unwrap_or(0) - paper.offset(44);
    let line_height = (height / i32::try_from(rows.len().max(1)).unwrap_or(1)).min(paper.offset(21));
    area.draw_text("Legend", &paper.font(15, ink::BLACK), (left, paper.offset(8))).map_err(failed)?;
    let mut middle = paper.offset(44);
    for (sample, text) in rows {
        let indent = if matches!(sample, Sample::None) { 0 } else { paper.offset(50) };
        draw_sample(area, paper, &sample, (left, middle))?;
        let style = paper.font(12, ink::BLACK).pos(paper.beside());
        area.draw_text(&text, &style, (left + indent, middle)).map_err(failed)?;
        middle += line_height;
    }
    Ok(())
}

fn rows(picture: &Picture, panels: &[Panel]) -> Vec<(Sample, String)> {
    let mut rows = Vec::new();
    for (place, set) in picture.sets.iter().enumerate() {
        let ink = ink::ink(place);
        let sample =
            |stroke, shape| Sample::Line { colour: ink.colour, stroke, shape: Some(shape), width: 1 };
        rows.push((Sample::None, set.label.clone()));
        rows.push((sample(ink.stroke, ink.plain), "plain strings".to_owned()));
        if set.strings.iter().any(crate::StringPoint::is_wound) {
            rows.push((sample(ink.stroke, ink.wound), "wound strings; diameter of the core".to_owned()));
        }
        let wound = set.strings.iter().any(crate::StringPoint::is_wound);
        let stretched = set.strings.iter().any(|string| string.stretch_cents.is_some());
        let dotted = match (wound, stretched) {
            (true, true) => "diameter over the windings; pitch: computed stretch",
            (true, false) => "diameter over the windings",
            (false, true) => "pitch: computed stretch",
            (false, false) => continue,
        };
        rows.push((sample(Stroke::Dotted, ink.outer), dotted.to_owned()));
    }
    let line = |colour, stroke, width| Sample::Line { colour, stroke, shape: None, width };
    rows.push((line(ink::RULE, Stroke::Solid, 1), "boundary between sections".to_owned()));
    rows.push((line(ink::BLACK, Stroke::Dashed, 2), "break between wound and plain strings".to_owned()));
    if picture.sets.len() > 1 {
        let colour = ink::ink(1).colour;
        rows.push((line(colour, Stroke::Solid, 1), "boundary or break of the second set alone".to_owned()));
    }
    for band in panels.iter().flat_map(|panel| &panel.bands) {
        let sample = if band.low < band.high { Sample::Shade } else { line(ink::BLACK, Stroke::Solid, 1) };
        rows.push((sample, format!("share of breaking load, {}", band.label)));
    }
    rows.extend(picture.remarks.iter().map(|remark| (Sample::None, remark.clone())));
    rows
}

fn draw_sample<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    paper: Paper,
    sample: &Sample,
    (left, middle): (i32, i32),
) -> Result<(), PlotError> {
    let right = left + paper.offset(40);
    match sample {
        Sample::None => Ok(()),
        Sample::Shade => {
            let corners = [(left, middle - paper.offset(6)), (right, middle + paper.offset(6))];
            area.draw(&Rectangle::new(corners, ink::USUAL.mix(0.16).filled())).map_err(failed)
        }
        Sample::Line { colour, stroke, shape, width } => {
            let style = colour.stroke_width(paper.width(*width));
            for (from, to) in dashes(paper, *stroke, left, right) {
                area.draw(&PathElement::new([(from, middle), (to, middle)], style)).map_err(failed)?;
            }
            match shape {
                Some(shape) => {
                    chart::marker(area, paper, *shape, *colour, (i32::midpoint(left, right), middle))
                }
                None => Ok(()),
            }
        }
    }
}

/// The strokes of a line between two ends.
fn dashes(paper: Paper, stroke: Stroke, left: i32, right: i32) -> Vec<(i32, i32)> {
    if stroke == Stroke::Solid {
        return vec![(left, right)];
    }
    let (dash, gap) = paper.pattern(stroke);
    let (dash, step) = (i32::try_from(dash).unwrap_or(1), usize::try_from(dash + gap).unwrap_or(1));
    (left..right).step_by(step).map(|from| (from, (from + dash).min(right))).collect()
}
