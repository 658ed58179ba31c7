//! The two forms of a picture.

use std::sync::OnceLock;

use plotters::{
    backend::{BitMapBackend, SVGBackend},
    coord::Shift,
    drawing::{DrawingArea, IntoDrawingArea as _},
    style::{FontStyle, register_font},
};

use crate::{
    CutPicture, Picture, PlotError, cuts,
    draw::{self, FONT, Paper},
};

/// Width of the layout, and of an SVG, in px.
pub const PICTURE_WIDTH_PX: u16 = 1120;
/// Height of the layout, and of an SVG, in px: upright paper of the ISO 216 series.
pub const PICTURE_HEIGHT_PX: u16 = 1584;
/// Pixels of a PNG for each pixel of the layout: about 270 to the inch on A4.
const PNG_SCALE: u16 = 2;

/// Draws a picture as SVG.
///
/// # Errors
/// [`PlotError`] if there are not one or two sets, a set is empty, or a figure is no number or not above zero on a
/// logarithmic axis.
pub fn svg(picture: &Picture) -> Result<String, PlotError> {
    picture.check()?;
    to_svg(PICTURE_HEIGHT_PX, |root, paper| draw::picture(root, paper, picture))
}

/// Draws a picture as PNG, twice as large as the layout in each direction.
///
/// # Errors
/// As [`svg`].
pub fn png(picture: &Picture) -> Result<Vec<u8>, PlotError> {
    picture.check()?;
    to_png(PICTURE_HEIGHT_PX, |root, paper| draw::picture(root, paper, picture))
}

/// Draws a plan of cuts as SVG. It is as high as its coils and reels need.
///
/// # Errors
/// [`PlotError::Bars`], [`PlotError::Part`].
pub fn cuts_svg(picture: &CutPicture) -> Result<String, PlotError> {
    picture.check()?;
    to_svg(cuts::height_px(picture), |root, paper| cuts::plan(root, paper, picture))
}

/// Draws a plan of cuts as PNG, twice as large as the layout in each direction.
///
/// # Errors
/// As [`cuts_svg`].
pub fn cuts_png(picture: &CutPicture) -> Result<Vec<u8>, PlotError> {
    picture.check()?;
    to_png(cuts::height_px(picture), |root, paper| cuts::plan(root, paper, picture))
}

fn to_svg(
    height: u16,
    drawing: impl FnOnce(&DrawingArea<SVGBackend<'_>, Shift>, Paper) -> Result<(), PlotError>,
) -> Result<String, PlotError> {
    font()?;
    let mut text = String::new();
    let size = (u32::from(PICTURE_WIDTH_PX), u32::from(height));
    let root = SVGBackend::with_string(&mut text, size).into_drawing_area();
    drawing(&root, Paper { scale: 1 })?;
    root.present().map_err(draw::failed)?;
    drop(root);
    Ok(text)
}

fn to_png(
    height: u16,
    drawing: impl FnOnce(&DrawingArea<BitMapBackend<'_>, Shift>, Paper) -> Result<(), PlotError>,
) -> Result<Vec<u8>, PlotError> {
    font()?;
    let paper = Paper { scale: PNG_SCALE };
    let (width, height) = (paper.px(PICTURE_WIDTH_PX), paper.px(height));
    let length = usize::try_from(width * height * 3).map_err(|error| PlotError::Draw(error.to_string()))?;
    let mut pixels = vec![0; length];
    let root = BitMapBackend::with_buffer(&mut pixels, (width, height)).into_drawing_area();
    drawing(&root, paper)?;
    root.present().map_err(draw::failed)?;
    drop(root);
    encode(&pixels, width, height).map_err(|error| PlotError::Draw(error.to_string()))
}

fn encode(pixels: &[u8], width: u32, height: u32) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_depth(png::BitDepth::Eight);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(pixels)?;
    writer.finish()?;
    Ok(bytes)
}

/// Registers the compiled-in font, once in a process.
fn font() -> Result<(), PlotError> {
    static REGISTERED: OnceLock<bool> = OnceLock::new();
    let registered =
        *REGISTERED.get_or_init(|| register_font(FONT, FontStyle::Normal, notosans::REGULAR_TTF).is_ok());
    if registered { Ok(()) } else { Err(PlotError::Draw("the font cannot be read".to_owned())) }
}
