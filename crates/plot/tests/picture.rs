//! Pictures of a small invented scale: form, labels, number of points, refusals.

use becket_plot::{CurveSet, Picture, PlotError, SectionSpan, StringPoint, png, svg};

/// Notes 1 to 88: one wound string each up to 20, then three plain ones.
fn set(label: &str, longer: f64) -> CurveSet {
    let mut strings = Vec::new();
    for note in 1..=88 {
        let octaves = f64::from(note - 88) / 12.0;
        let point = StringPoint {
            note,
            speaking_mm: longer * 52.0 * 1.8_f64.powf(-octaves),
            wire_mm: 0.8 - 0.05 * octaves,
            outer_mm: (note <= 20).then_some(2.0 - 0.3 * octaves),
            tension_n: 700.0 - 20.0 * octaves,
            load_share: (note != 30).then_some(0.55),
            inharmonicity: 1e-2 * 2.0_f64.powf(octaves),
            pitch_offset_cents: octaves,
            stretch_cents: None,
        };
        strings.extend(std::iter::repeat_n(point, if note <= 20 { 1 } else { 3 }));
    }
    let section =
        |title: &str, first_note, last_note| SectionSpan { title: title.to_owned(), first_note, last_note };
    let sections = vec![section("Bass", 1, 20), section("Tenor", 21, 50), section("Treble", 51, 88)];
    CurveSet { label: label.to_owned(), sections, strings }
}

fn picture(sets: Vec<CurveSet>) -> Picture {
    Picture {
        title: "An invented <grand> & its strings".to_owned(),
        sets,
        remarks: vec!["A4 440 Hz".to_owned()],
    }
}

fn count(document: &roxmltree::Document<'_>, name: &str, colour: &str) -> usize {
    let drawn = document.descendants().filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", name)));
    drawn.filter(|node| node.attribute("fill") == Some(colour)).count()
}

fn texts(document: &roxmltree::Document<'_>) -> Vec<String> {
    let nodes =
        document.descendants().filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "text")));
    nodes.map(|node| node.text().unwrap_or_default().trim().to_owned()).collect()
}

#[test]
fn an_svg_has_every_point_once() {
    let text = svg(&picture(vec![set("revision a", 1.0)])).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    // Discs: 68 plain notes in seven panels, less one of unknown strength, and one in the legend.
    assert_eq!(count(&document, "circle", "#0072B2"), 7 * 68 - 1 + 1);
    // Squares: 20 wound notes in seven panels, and one in the legend.
    assert_eq!(count(&document, "rect", "#0072B2"), 7 * 20 + 1);
}

#[test]
fn a_computed_stretch_is_a_curve_of_its_own() {
    let mut stretched = set("a", 1.0);
    for string in &mut stretched.strings {
        string.stretch_cents = Some(0.4 * f64::from(string.note - 49));
    }
    let with = svg(&picture(vec![stretched])).unwrap();
    let without = svg(&picture(vec![set("a", 1.0)])).unwrap();
    let drawn = |text: &str, tag: &str| text.matches(tag).count();
    // A cross of two strokes for each note, and two more in the legend, beside the dotted line's own strokes.
    assert!(
        drawn(&with, "<polyline") + drawn(&with, "<line")
            >= drawn(&without, "<polyline") + drawn(&without, "<line") + 178
    );
    assert!(with.contains("pitch: computed stretch") && !without.contains("pitch: computed stretch"));
}

#[test]
fn what_has_no_place_on_a_logarithmic_axis_is_left_out() {
    let mut negative = set("a", 1.0);
    negative.strings[0].inharmonicity = -1e-6;
    let text = svg(&picture(vec![negative])).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    assert_eq!(count(&document, "rect", "#0072B2"), 7 * 20 - 1 + 1);
}

#[test]
fn axes_sections_and_sets_are_named() {
    let text = svg(&picture(vec![set("revision a", 1.0), set("revision b", 1.02)])).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    let texts = texts(&document);
    let wanted = [
        "An invented <grand> & its strings",
        "length in mm (log)",
        "diameter in mm (log)",
        "tension in N",
        "share in %",
        "coefficient B (log)",
        "offset in cents",
        "note (number)",
        "C4 (40)",
        "Bass",
        "Treble",
        "revision a",
        "revision b",
        "break between wound and plain strings",
        "A4 440 Hz",
    ];
    for label in wanted {
        assert!(texts.iter().any(|text| text == label), "{label} is not among {texts:?}");
    }
    assert_eq!(texts.iter().filter(|text| *text == "note (number)").count(), 7);
}

#[test]
fn everything_lies_on_the_paper() {
    let text = svg(&picture(vec![set("a", 1.0), set("b", 1.3)])).unwrap();
    let document = roxmltree::Document::parse(&text).unwrap();
    for node in document.descendants() {
        for (name, limit) in [("x", 1120.0), ("cx", 1120.0), ("y", 1584.0), ("cy", 1584.0)] {
            if let Some(value) = node.attribute(name) {
                let value: f64 = value.parse().unwrap();
                assert!((0.0..=limit).contains(&value), "{name} = {value} of {node:?}");
            }
        }
    }
}

#[test]
fn two_pictures_of_the_same_figures_are_the_same() {
    let both = picture(vec![set("a", 1.0), set("b", 1.1)]);
    assert_eq!(svg(&both).unwrap(), svg(&both).unwrap());
}

#[test]
fn a_png_has_its_size_and_is_not_blank() {
    let bytes = png(&picture(vec![set("a", 1.0)])).unwrap();
    let mut reader = png::Decoder::new(std::io::Cursor::new(&bytes)).read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let frame = reader.next_frame(&mut pixels).unwrap();
    assert_eq!((frame.width, frame.height), (2240, 3168));
    let blue = pixels.chunks_exact(3).filter(|pixel| *pixel == [0, 114, 178]).count();
    assert!(blue > 5000, "{blue} blue pixels");
    let black = pixels.chunks_exact(3).filter(|pixel| *pixel == [0, 0, 0]).count();
    assert!(black > 5000, "{black} black pixels: is there text?");
}

#[test]
fn what_cannot_be_drawn_is_refused() {
    assert_eq!(svg(&picture(vec![])), Err(PlotError::SetCount(0)));
    let three = vec![set("a", 1.0), set("b", 1.0), set("c", 1.0)];
    assert_eq!(svg(&picture(three)), Err(PlotError::SetCount(3)));
    let empty = CurveSet { strings: Vec::new(), ..set("a", 1.0) };
    assert_eq!(png(&picture(vec![empty])), Err(PlotError::Empty { label: "a".to_owned() }));
    let mut faulty = set("a", 1.0);
    faulty.strings[3].speaking_mm = 0.0;
    let refused = svg(&picture(vec![faulty])).unwrap_err();
    assert_eq!(refused, PlotError::Figure { what: "the speaking length", note: 4, value: "0".to_owned() });
    let mut faulty = set("a", 1.0);
    faulty.strings[3].inharmonicity = f64::NAN;
    let refused = svg(&picture(vec![faulty])).unwrap_err();
    assert_eq!(refused, PlotError::Figure { what: "the inharmonicity", note: 4, value: "NaN".to_owned() });
    let mut faulty = set("a", 1.0);
    faulty.strings[0].tension_n = f64::INFINITY;
    assert!(matches!(
        svg(&picture(vec![faulty])),
        Err(PlotError::Figure { what: "the tension", note: 1, .. })
    ));
}
