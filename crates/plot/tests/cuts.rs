//! Plans of cuts as pictures.
#![allow(clippy::unwrap_used, clippy::float_cmp, reason = "tests: what fails here ends the test")]

use becket_plot::serial_letter;
use becket_plot::{
    BarPart, CoilBar, CutPicture, MOST_BARS, PlotError, ReelSpan, Stretch, cuts_png, cuts_svg,
};

fn part(stretch: Stretch, length_mm: f64, count: u32) -> BarPart {
    BarPart { stretch, length_mm, count }
}

fn coil(label: &str, parts: Vec<BarPart>) -> CoilBar {
    CoilBar { label: label.to_owned(), detail: "w16 & lot <1>".to_owned(), parts }
}

/// A coil of ten metres and one of five, on two reels.
fn picture() -> CutPicture {
    CutPicture {
        title: "Cut list <1>".to_owned(),
        serials: vec!["S-1".to_owned(), "S-2".to_owned()],
        coils: vec![
            coil(
                "long",
                vec![
                    part(Stretch::Pieces(0), 2000.0, 3),
                    part(Stretch::Pieces(1), 1500.0, 1),
                    part(Stretch::Remnant, 2500.0, 1),
                ],
            ),
            coil("short", vec![part(Stretch::Pieces(1), 2400.0, 2), part(Stretch::Scrap, 200.0, 1)]),
        ],
        reels: vec![
            ReelSpan {
                position: 1,
                label: "long".to_owned(),
                from: 0,
                to: 6,
                cuts: vec![(0, 1, 4), (1, 4, 5)],
            },
            ReelSpan { position: 2, label: "short".to_owned(), from: 6, to: 10, cuts: vec![(1, 7, 9)] },
        ],
        reel_positions: 2,
        steps: 10,
        remarks: vec!["planned on an invented day".to_owned()],
    }
}

/// Widths of the filled rectangles of a colour, in the order in which they are drawn.
fn widths(svg: &str, colour: &str) -> Vec<f64> {
    let document = roxmltree::Document::parse(svg).unwrap();
    let rects = document.descendants().filter(|node| node.tag_name().name() == "rect");
    let rects = rects.filter(|node| node.attribute("fill") == Some(colour));
    rects.map(|node| node.attribute("width").unwrap().parse().unwrap()).collect()
}

#[test]
fn bars_are_to_one_scale() {
    let svg = cuts_svg(&picture()).unwrap();
    // The first serial's sample, its pieces on the long coil, its steps on a reel.
    let first = widths(&svg, "#0072B2");
    // The longest coil is 890 px wide: six of ten metres, and three of ten steps.
    assert_eq!(first[1..], [534.0, 267.0], "{first:?}");
    let second = widths(&svg, "#F0E442");
    // 1.5 m of ten, 4.8 m of ten; then one step and two steps of ten.
    for (found, expected) in second[1..].iter().zip([133.5, 427.2, 89.0, 178.0]) {
        assert!((found - expected).abs() <= 1.0, "{second:?}");
    }
    for name in ["long", "short", "S-1", "S-2", "reel 2", "10.00 m", "5.00 m", "planned on an invented day"] {
        assert!(svg.contains(name), "{name}");
    }
    assert_eq!(svg, cuts_svg(&picture()).unwrap(), "the same picture");
}

#[test]
fn a_png_is_twice_as_large() {
    let decoder = png::Decoder::new(std::io::Cursor::new(cuts_png(&picture()).unwrap()));
    let reader = decoder.read_info().unwrap();
    assert_eq!(reader.info().width, 2240);
}

#[test]
fn what_cannot_be_drawn_is_refused() {
    let none = CutPicture { coils: Vec::new(), ..picture() };
    assert_eq!(cuts_svg(&none), Err(PlotError::Bars { coils: 0, reels: 2 }));
    let many = CutPicture { coils: vec![coil("x", Vec::new()); MOST_BARS + 1], ..picture() };
    assert!(matches!(cuts_svg(&many), Err(PlotError::Bars { .. })));
    for length in [f64::NAN, f64::INFINITY, -1.0] {
        let bad = CutPicture { coils: vec![coil("bad", vec![part(Stretch::Trim, length, 1)])], ..picture() };
        assert!(matches!(cuts_png(&bad), Err(PlotError::Part { .. })), "{length}");
    }
    let empty =
        CutPicture { coils: vec![coil("empty", Vec::new())], reels: Vec::new(), steps: 0, ..picture() };
    assert!(cuts_svg(&empty).is_ok());
}

#[test]
fn serials_have_letters() {
    assert_eq!([0, 1, 25, 26, 53].map(serial_letter), ["A", "B", "Z", "A1", "B2"]);
}
