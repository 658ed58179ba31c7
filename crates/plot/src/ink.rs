//! Colours, patterns and markers: how sets and kinds of strings are told apart.

use plotters::style::RGBColor;

/// Text and frames.
pub(crate) const BLACK: RGBColor = RGBColor(0, 0, 0);
/// Axes' names and section names.
pub(crate) const GREY: RGBColor = RGBColor(90, 90, 90);
/// Section boundaries.
pub(crate) const RULE: RGBColor = RGBColor(150, 150, 150);
/// Mesh.
pub(crate) const MESH: RGBColor = RGBColor(225, 225, 225);
/// Paper.
pub(crate) const WHITE: RGBColor = RGBColor(255, 255, 255);

// Source of the colours: M. Okabe, K. Ito, "Color Universal Design", 2008.
const BLUE: RGBColor = RGBColor(0, 114, 178);
const VERMILION: RGBColor = RGBColor(213, 94, 0);
const BLUISH_GREEN: RGBColor = RGBColor(0, 158, 115);

/// Colours of serials in the order in which they are given out: the first four are as far apart in grey print
/// as the palette allows.
const SERIALS: [RGBColor; 7] = [
    BLUE,
    RGBColor(240, 228, 66),
    RGBColor(204, 121, 167),
    VERMILION,
    RGBColor(86, 180, 233),
    BLUISH_GREEN,
    RGBColor(230, 159, 0),
];

/// Colour of a serial by its place; after seven they come again, and only the letter tells serials apart.
pub(crate) fn serial(place: usize) -> RGBColor {
    SERIALS.get(place % SERIALS.len()).copied().unwrap_or(BLUE)
}

/// Red, green and blue of a serial by its place, for other media.
#[must_use]
pub fn serial_rgb(place: usize) -> (u8, u8, u8) {
    let RGBColor(red, green, blue) = serial(place);
    (red, green, blue)
}

/// Colour of a letter on a serial's colour: black or white, whichever stands out more.
pub(crate) fn on_serial(place: usize) -> RGBColor {
    let RGBColor(red, green, blue) = serial(place);
    // Luma of ITU-R BT.601.
    let luma = 299 * u32::from(red) + 587 * u32::from(green) + 114 * u32::from(blue);
    if luma < 128_000 { WHITE } else { BLACK }
}

/// The band of load shares that is usual.
pub(crate) const USUAL: RGBColor = BLUISH_GREEN;

/// Shape of a marker.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    /// A filled disc.
    Disc,
    /// A filled square.
    Square,
    /// An open triangle.
    Triangle,
    /// An open diamond.
    Diamond,
    /// A lying cross.
    Cross,
    /// A standing cross.
    Plus,
}

/// Pattern of a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Stroke {
    /// Unbroken.
    Solid,
    /// Long dashes.
    Dashed,
    /// Short dashes.
    Dotted,
}

/// How a set is drawn.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ink {
    /// Colour of lines and markers.
    pub(crate) colour: RGBColor,
    /// Marker of plain strings.
    pub(crate) plain: Shape,
    /// Marker of wound strings.
    pub(crate) wound: Shape,
    /// Marker of outer diameters.
    pub(crate) outer: Shape,
    /// Pattern of its curves.
    pub(crate) stroke: Stroke,
}

const FIRST: Ink = Ink {
    colour: BLUE,
    plain: Shape::Disc,
    wound: Shape::Square,
    outer: Shape::Cross,
    stroke: Stroke::Solid,
};
const SECOND: Ink = Ink {
    colour: VERMILION,
    plain: Shape::Triangle,
    wound: Shape::Diamond,
    outer: Shape::Plus,
    stroke: Stroke::Dashed,
};

/// The ink of a set by its place in the picture.
pub(crate) const fn ink(place: usize) -> Ink {
    if place == 0 { FIRST } else { SECOND }
}
