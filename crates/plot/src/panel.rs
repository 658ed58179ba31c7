//! The panels of the picture: which figures stand in which one. Nothing here draws.

use crate::{
    Picture, StringPoint,
    axis::{Axis, Kind},
    figures::CurveSet,
    ink::{Shape, Stroke, ink},
};

/// A point of a curve: note, value in the unit of its axis, shape of its marker.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Dot {
    /// Note.
    pub(crate) note: i32,
    /// Value in the unit of the axis.
    pub(crate) value: f64,
    /// Whether the string is wound.
    pub(crate) wound: bool,
    /// Its marker.
    pub(crate) shape: Shape,
}

/// A curve: its points by rising note, of which set it is and how it is stroked.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Curve {
    /// Place of its set in the picture.
    pub(crate) place: usize,
    /// Pattern of the line.
    pub(crate) stroke: Stroke,
    /// Its points.
    pub(crate) dots: Vec<Dot>,
}

impl Curve {
    /// Runs of points that are joined: a line does not cross the break, where wire and figures change their kind.
    pub(crate) fn runs(&self) -> impl Iterator<Item = &[Dot]> {
        self.dots.chunk_by(|low, high| low.wound == high.wound)
    }
}

/// A stretch of values with a meaning.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Band {
    /// Lower end.
    pub(crate) low: f64,
    /// Upper end; the same as the lower one for a line.
    pub(crate) high: f64,
    /// What it means.
    pub(crate) label: &'static str,
}

/// One panel.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Panel {
    /// What it shows.
    pub(crate) title: &'static str,
    /// Its upright axis.
    pub(crate) axis: Axis,
    /// Its curves.
    pub(crate) curves: Vec<Curve>,
    /// Its bands.
    pub(crate) bands: Vec<Band>,
}

/// Usual share of breaking load in percent. Common practice, no source.
const USUAL_SHARE: Band = Band { low: 40.0, high: 65.0, label: "usual: 40 to 65 %" };
/// Share of breaking load in percent that is best not exceeded. Common practice, no source.
const CEILING_SHARE: Band = Band { low: 70.0, high: 70.0, label: "ceiling: 70 %" };

/// All panels of a picture, in reading order.
pub(crate) fn panels(picture: &Picture) -> Vec<Panel> {
    let plain = |title, name, kind, figure: fn(&StringPoint) -> Option<f64>| {
        let curves: Vec<_> =
            picture.sets.iter().enumerate().map(|(place, set)| per_string(place, set, figure)).collect();
        panel(title, name, kind, curves, Vec::new())
    };
    vec![
        plain("Speaking length", "length in mm (log)", Kind::Log, |string| Some(string.speaking_mm)),
        diameters(picture),
        plain("Tension of each string", "tension in N", Kind::Linear, |string| Some(string.tension_n)),
        note_tensions(picture),
        load_shares(picture),
        plain("Inharmonicity", "coefficient B (log)", Kind::Log, |string| {
            Some(string.inharmonicity).filter(|b| *b > 0.0)
        }),
        pitches(picture),
    ]
}

fn panel(title: &'static str, name: &'static str, kind: Kind, curves: Vec<Curve>, bands: Vec<Band>) -> Panel {
    let dots = curves.iter().flat_map(|curve| &curve.dots).map(|dot| dot.value);
    let ends = bands.iter().flat_map(|band| [band.low, band.high]);
    let axis = Axis::over(name, kind, dots.chain(ends));
    Panel { title, axis, curves, bands }
}

/// One point for each value among a note's strings: strings of a unison are alike as a rule and lie on each other.
fn per_string(place: usize, set: &CurveSet, figure: impl Fn(&StringPoint) -> Option<f64>) -> Curve {
    let ink = ink(place);
    let mut dots: Vec<Dot> = Vec::new();
    for string in &set.strings {
        let Some(value) = figure(string) else { continue };
        let shape = if string.is_wound() { ink.wound } else { ink.plain };
        let dot = Dot { note: string.note, value, wound: string.is_wound(), shape };
        if dots.last() != Some(&dot) {
            dots.push(dot);
        }
    }
    Curve { place, stroke: ink.stroke, dots }
}

fn diameters(picture: &Picture) -> Panel {
    let mut curves = Vec::new();
    for (place, set) in picture.sets.iter().enumerate() {
        curves.push(per_string(place, set, |string| Some(string.wire_mm)));
        let mut outer = per_string(place, set, |string| string.outer_mm);
        outer.stroke = Stroke::Dotted;
        outer.dots.iter_mut().for_each(|dot| dot.shape = ink(place).outer);
        curves.push(outer);
    }
    panel(
        "Diameter of wire or core, and over the windings",
        "diameter in mm (log)",
        Kind::Log,
        curves,
        Vec::new(),
    )
}

fn pitches(picture: &Picture) -> Panel {
    let mut curves = Vec::new();
    for (place, set) in picture.sets.iter().enumerate() {
        curves.push(per_string(place, set, |string| Some(string.pitch_offset_cents)));
        // A tuning is one curve: it runs on over the break.
        let mut stretch = per_string(place, set, |string| string.stretch_cents);
        stretch.stroke = Stroke::Dotted;
        stretch.dots.iter_mut().for_each(|dot| {
            dot.shape = ink(place).outer;
            dot.wound = false;
        });
        curves.push(stretch);
    }
    let title = "Pitch against equal temperament: of the scale, and computed stretch";
    panel(title, "offset in cents", Kind::Linear, curves, Vec::new())
}

fn note_tensions(picture: &Picture) -> Panel {
    let sums = picture.sets.iter().enumerate().map(|(place, set)| {
        let notes = set.strings.chunk_by(|low, high| low.note == high.note);
        let sums: Vec<_> = notes
            .filter_map(|strings| {
                let first = strings.first()?;
                let tension_n = strings.iter().map(|string| string.tension_n).sum();
                Some(StringPoint { tension_n, ..*first })
            })
            .collect();
        let summed = CurveSet { label: String::new(), sections: Vec::new(), strings: sums };
        per_string(place, &summed, |string| Some(string.tension_n))
    });
    panel(
        "Tension of each note, all its strings",
        "tension in N",
        Kind::LinearFromZero,
        sums.collect(),
        Vec::new(),
    )
}

fn load_shares(picture: &Picture) -> Panel {
    let curves =
        picture.sets.iter().enumerate().map(|(place, set)| {
            per_string(place, set, |string| string.load_share.map(|share| 100.0 * share))
        });
    let bands = vec![USUAL_SHARE, CEILING_SHARE];
    panel("Share of breaking load", "share in %", Kind::Linear, curves.collect(), bands)
}
