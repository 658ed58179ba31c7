//! The whole picture on any backend.

use plotters::{
    coord::Shift,
    prelude::*,
    style::text_anchor::{HPos, Pos, VPos},
};

use crate::{
    Picture, PlotError, chart,
    ink::{self, Stroke},
    legend, panel,
};

/// Family of all text: a name that every reader of SVG knows, and under which the compiled-in font is registered.
pub(crate) const FONT: &str = "sans-serif";

/// Pixels of paper for each pixel of the layout: 1 for SVG, more for PNG that is to be printed.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Paper {
    /// Pixels for each pixel of the layout, at least 1.
    pub(crate) scale: u16,
}

impl Paper {
    /// A length of the layout.
    pub(crate) fn px(self, layout: u16) -> u32 {
        u32::from(layout) * u32::from(self.scale)
    }

    /// A length of the layout as an offset.
    pub(crate) fn offset(self, layout: u16) -> i32 {
        i32::from(layout) * i32::from(self.scale)
    }

    /// Width of a line.
    pub(crate) fn width(self, layout: u16) -> u32 {
        self.px(layout)
    }

    /// Text in a size and colour.
    pub(crate) fn font(self, size: u16, colour: RGBColor) -> TextStyle<'static> {
        (FONT, self.offset(size)).into_font().color(&colour)
    }

    /// Anchor of text that is centred over a point.
    pub(crate) const fn centred(self) -> Pos {
        Pos { h_pos: HPos::Center, v_pos: VPos::Bottom }
    }

    /// Anchor of text that stands right of a point.
    pub(crate) const fn beside(self) -> Pos {
        Pos { h_pos: HPos::Left, v_pos: VPos::Center }
    }

    /// Anchor of text that ends left of a point.
    pub(crate) const fn before(self) -> Pos {
        Pos { h_pos: HPos::Right, v_pos: VPos::Center }
    }

    /// Anchor of text that is centred below a point.
    pub(crate) const fn below(self) -> Pos {
        Pos { h_pos: HPos::Center, v_pos: VPos::Top }
    }

    /// Anchor of text that is centred on a point.
    pub(crate) const fn in_the_middle(self) -> Pos {
        Pos { h_pos: HPos::Center, v_pos: VPos::Center }
    }

    /// Dash and gap of a broken line.
    pub(crate) fn pattern(self, stroke: Stroke) -> (u32, u32) {
        match stroke {
            Stroke::Solid => (self.px(1), 0),
            Stroke::Dashed => (self.px(6), self.px(4)),
            Stroke::Dotted => (self.px(2), self.px(3)),
        }
    }
}

/// An error of the drawing library.
pub(crate) fn failed<E: std::error::Error + Send + Sync>(error: DrawingAreaErrorKind<E>) -> PlotError {
    PlotError::Draw(error.to_string())
}

/// Draws the picture: a title, seven panels in two columns, and the legend where an eighth would be.
pub(crate) fn picture<B: DrawingBackend>(
    root: &DrawingArea<B, Shift>,
    paper: Paper,
    picture: &Picture,
) -> Result<(), PlotError> {
    root.fill(&ink::WHITE).map_err(failed)?;
    let (head, body) = root.split_vertically(paper.px(40));
    let title = paper.font(20, ink::BLACK);
    head.draw_text(&picture.title, &title, (paper.offset(16), paper.offset(12))).map_err(failed)?;
    let panels = panel::panels(picture);
    let mut areas = body.split_evenly((4, 2)).into_iter();
    // Panels first: zip asks the left side first, and the area for the legend must not be taken and dropped.
    for (panel, area) in panels.iter().zip(areas.by_ref()) {
        chart::draw(&area, paper, picture, panel)?;
    }
    match areas.next() {
        Some(area) => legend::draw(&area, paper, picture, &panels),
        None => Ok(()),
    }
}
