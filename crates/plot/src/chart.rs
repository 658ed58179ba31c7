//! One panel on paper: frame, bands, boundaries, curves.

use std::ops::Range;

use plotters::{
    coord::{
        Shift,
        ranged1d::{DefaultFormatting, KeyPointHint},
        types::RangedCoordf64,
    },
    prelude::*,
};

use crate::{
    Picture, PlotError,
    draw::{Paper, failed},
    ink::{self, Shape, Stroke},
    panel::{Curve, Panel},
};

/// A range whose labelled values are given and not chosen by the library.
#[derive(Clone)]
struct Ticked {
    range: RangedCoordf64,
    ticks: Vec<f64>,
}

impl Ticked {
    fn new(range: Range<f64>, ticks: Vec<f64>) -> Self {
        Self { range: range.into(), ticks }
    }
}

impl Ranged for Ticked {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        self.range.map(value, limit)
    }

    fn key_points<Hint: KeyPointHint>(&self, _: Hint) -> Vec<f64> {
        self.ticks.clone()
    }

    fn range(&self) -> Range<f64> {
        self.range.range()
    }
}

/// Across lies the compass; upright are the coordinates of the panel's axis.
type Chart<'a, B> = ChartContext<'a, B, Cartesian2d<Ticked, Ticked>>;

/// Draws a panel on its area.
pub(crate) fn draw<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &Picture,
    panel: &Panel,
) -> Result<(), PlotError> {
    let (first, last) = picture.compass();
    let (left, right) = (f64::from(first) - 1.5, f64::from(last) + 1.5);
    let axis = &panel.axis;
    let mut chart = ChartBuilder::on(area)
        .margin_left(paper.px(4))
        .margin_right(paper.px(14))
        .margin_top(paper.px(46))
        .margin_bottom(paper.px(4))
        .x_label_area_size(paper.px(40))
        .y_label_area_size(paper.px(62))
        .build_cartesian_2d(
            Ticked::new(left..right, octaves(first, last)),
            Ticked::new(axis.low..axis.high, axis.ticks.clone()),
        )
        .map_err(failed)?;
    frame(&mut chart, paper, panel)?;
    bands(&chart, paper, panel, (left, right))?;
    boundaries(&mut chart, paper, picture, panel)?;
    headings(area, &chart, paper, picture, panel)?;
    panel.curves.iter().try_for_each(|curve| lines(&mut chart, paper, panel, curve))?;
    // Markers come last, so that no line hides one.
    panel.curves.iter().try_for_each(|curve| markers(&chart, paper, panel, curve))
}

/// Notes named C: C4 is 40.
fn octaves(first: i32, last: i32) -> Vec<f64> {
    (0..=9)
        .map(|octave| 12 * octave - 8)
        .filter(|note| (first..=last).contains(note))
        .map(f64::from)
        .collect()
}

/// Name and number of a note named C.
fn octave_label(note: f64) -> String {
    format!("C{:.0} ({note:.0})", (note + 8.0) / 12.0)
}

fn frame<B: DrawingBackend>(chart: &mut Chart<'_, B>, paper: Paper, panel: &Panel) -> Result<(), PlotError> {
    chart
        .configure_mesh()
        .bold_line_style(ink::MESH.stroke_width(paper.width(1)))
        .light_line_style(WHITE.mix(0.0))
        .axis_style(ink::BLACK.stroke_width(paper.width(1)))
        .set_all_tick_mark_size(paper.px(4))
        .label_style(paper.font(12, ink::BLACK))
        .axis_desc_style(paper.font(12, ink::GREY))
        .x_desc("note (number)")
        .y_desc(panel.axis.name)
        .x_label_formatter(&|note| octave_label(*note))
        .y_label_formatter(&|at| panel.axis.label(*at))
        .draw()
        .map_err(failed)
}

fn bands<B: DrawingBackend>(
    chart: &Chart<'_, B>,
    paper: Paper,
    panel: &Panel,
    (left, right): (f64, f64),
) -> Result<(), PlotError> {
    for band in &panel.bands {
        let (low, high) = (panel.axis.coordinate(band.low), panel.axis.coordinate(band.high));
        let drawn = if band.low < band.high {
            chart
                .plotting_area()
                .draw(&Rectangle::new([(left, high), (right, low)], ink::USUAL.mix(0.16).filled()))
        } else {
            let style = ink::BLACK.stroke_width(paper.width(1));
            chart.plotting_area().draw(&PathElement::new([(left, low), (right, low)], style))
        };
        drawn.map_err(failed)?;
    }
    Ok(())
}

/// Section boundaries and breaks of the first set, and those of the second where they differ.
fn boundaries<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    paper: Paper,
    picture: &Picture,
    panel: &Panel,
) -> Result<(), PlotError> {
    let (low, high) = (panel.axis.low, panel.axis.high);
    let mut seen: Vec<(f64, Stroke)> = Vec::new();
    for (place, set) in picture.sets.iter().enumerate() {
        let own = (place > 0).then_some(ink::ink(place).colour);
        let rules = set.boundaries().into_iter().map(|note| (note, Stroke::Solid, own.unwrap_or(ink::RULE)));
        let breaks = set.breaks().into_iter().map(|note| (note, Stroke::Dashed, own.unwrap_or(ink::BLACK)));
        for (note, stroke, colour) in rules.chain(breaks) {
            if seen.contains(&(note, stroke)) {
                continue;
            }
            seen.push((note, stroke));
            let ends = [(note, low), (note, high)];
            if stroke == Stroke::Solid {
                let line = PathElement::new(ends, colour.stroke_width(paper.width(1)));
                chart.plotting_area().draw(&line).map_err(failed)?;
            } else {
                let (dash, gap) = paper.pattern(stroke);
                let style = colour.stroke_width(paper.width(2));
                chart.draw_series(DashedLineSeries::new(ends, dash, gap, style)).map_err(failed)?;
            }
        }
    }
    Ok(())
}

/// Title of the panel, and the names of the first set's sections over their notes.
fn headings<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    chart: &Chart<'_, B>,
    paper: Paper,
    picture: &Picture,
    panel: &Panel,
) -> Result<(), PlotError> {
    let (base_x, base_y) = area.get_base_pixel();
    let pixel = |note: f64| {
        let (x, y) = chart.backend_coord(&(note, panel.axis.high));
        (x - base_x, y - base_y)
    };
    let (left, top) = pixel(f64::from(picture.compass().0) - 1.5);
    let title = paper.font(15, ink::BLACK);
    area.draw_text(panel.title, &title, (left, top - paper.offset(38))).map_err(failed)?;
    let style = paper.font(11, ink::GREY).pos(paper.centred());
    for section in picture.sets.first().into_iter().flat_map(|set| &set.sections) {
        let (from, _) = pixel(f64::from(section.first_note) - 0.5);
        let (to, _) = pixel(f64::from(section.last_note) + 0.5);
        let (width, _) = area.estimate_text_size(&section.title, &style).map_err(failed)?;
        // A name that is wider than its section would run into its neighbour's.
        if i64::from(width) < i64::from(to - from) {
            let middle = (i32::midpoint(from, to), top - paper.offset(5));
            area.draw_text(&section.title, &style, middle).map_err(failed)?;
        }
    }
    Ok(())
}

fn lines<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    paper: Paper,
    panel: &Panel,
    curve: &Curve,
) -> Result<(), PlotError> {
    let style = ink::ink(curve.place).colour.stroke_width(paper.width(1));
    for run in curve.runs() {
        let points: Vec<_> =
            run.iter().map(|dot| (f64::from(dot.note), panel.axis.coordinate(dot.value))).collect();
        match curve.stroke {
            Stroke::Solid => chart.draw_series(LineSeries::new(points, style)).map_err(failed)?,
            broken => {
                let (dash, gap) = paper.pattern(broken);
                chart.draw_series(DashedLineSeries::new(points, dash, gap, style)).map_err(failed)?
            }
        };
    }
    Ok(())
}

fn markers<B: DrawingBackend>(
    chart: &Chart<'_, B>,
    paper: Paper,
    panel: &Panel,
    curve: &Curve,
) -> Result<(), PlotError> {
    let colour = ink::ink(curve.place).colour;
    for dot in &curve.dots {
        let at = (f64::from(dot.note), panel.axis.coordinate(dot.value));
        marker(chart.plotting_area(), paper, dot.shape, colour, at)?;
    }
    Ok(())
}

/// Draws one marker around a point of an area.
pub(crate) fn marker<B: DrawingBackend, C: plotters::coord::CoordTranslate>(
    area: &DrawingArea<B, C>,
    paper: Paper,
    shape: Shape,
    colour: RGBColor,
    at: C::From,
) -> Result<(), PlotError>
where
    C::From: Clone,
{
    let r = paper.offset(3);
    let thin = colour.stroke_width(paper.width(1));
    let path = |corners: &[(i32, i32)]| PathElement::new(corners.to_vec(), thin);
    let at = EmptyElement::at(at);
    let drawn = match shape {
        Shape::Disc => area.draw(&(at + Circle::new((0, 0), r - paper.offset(1) / 2, colour.filled()))),
        Shape::Square => area.draw(&(at + Rectangle::new([(1 - r, 1 - r), (r - 1, r - 1)], colour.filled()))),
        Shape::Triangle => area.draw(&(at + path(&[(-r, r), (0, -r), (r, r), (-r, r)]))),
        Shape::Diamond => area.draw(&(at + path(&[(-r, 0), (0, -r), (r, 0), (0, r), (-r, 0)]))),
        Shape::Cross => area.draw(&(at + path(&[(-r, -r), (r, r)]) + path(&[(-r, r), (r, -r)]))),
        Shape::Plus => area.draw(&(at + path(&[(-r, 0), (r, 0)]) + path(&[(0, -r), (0, r)]))),
    };
    drawn.map_err(failed)
}
