//! What is wanted of notes, by note or along a curve.

use becket_design::{Curve, DesignError, Target, Targets};
use becket_units::Fault;

use super::pitch::note;
use crate::convert::within;
use crate::stringing as api;

/// Weight of a target that states none.
const DEFAULT_WEIGHT: f64 = 1.0;

/// Names of the targets, as fields of both messages.
const NAMES: [&str; 3] = ["tension_n", "load_share", "inharmonicity_ceiling"];
/// Values in range, in place of curves that cannot be read.
const HARMLESS: [f64; 3] = [500.0, 0.5, 1e-3];

/// Curves of the targets, in the order of [`NAMES`].
#[derive(Debug, Clone, Default)]
pub(super) struct Curves([Option<(Curve, f64)>; 3]);

impl Curves {
    pub(super) fn read(curves: Option<&api::TargetCurves>, faults: &mut Vec<Fault>) -> Self {
        let Some(api::TargetCurves { tension_n, load_share, inharmonicity_ceiling }) = curves else {
            return Self::default();
        };
        let curves = [tension_n, load_share, inharmonicity_ceiling];
        let mut read = Self::default();
        for (((curve, name), harmless), place) in curves.into_iter().zip(NAMES).zip(HARMLESS).zip(&mut read.0)
        {
            let Some(curve) = curve else { continue };
            let weight = curve.weight.unwrap_or(DEFAULT_WEIGHT);
            let curve = read_curve(&curve.points, &format!("targets.{name}"), faults);
            let curve = curve.or_else(|| Curve::new(&[(49, harmless)]).ok());
            *place = curve.map(|curve| (curve, weight));
        }
        read
    }

    /// Targets of a note: its own, and for what it does not say those of the curves.
    pub(super) fn at(&self, note: i16, own: Option<&api::Targets>) -> Targets {
        let [tension_n, load_share, inharmonicity_ceiling] = stated(own);
        let target = |own: Option<&api::Target>, curve: &Option<(Curve, f64)>| match own {
            Some(api::Target { value, weight }) => {
                Some(Target { value: *value, weight: weight.unwrap_or(DEFAULT_WEIGHT) })
            }
            None => curve.as_ref().map(|(curve, weight)| Target { value: curve.at(note), weight: *weight }),
        };
        let [tension_curve, share_curve, ceiling_curve] = &self.0;
        Targets {
            tension_n: target(tension_n, tension_curve),
            load_share: target(load_share, share_curve),
            inharmonicity_ceiling: target(inharmonicity_ceiling, ceiling_curve),
        }
    }
}

/// Reads a curve; `None` if it has faults.
fn read_curve(points: &[api::CurvePoint], path: &str, faults: &mut Vec<Fault>) -> Option<Curve> {
    let mut own = Vec::new();
    let points: Vec<(i16, f64)> = points
        .iter()
        .enumerate()
        .map(|(at, point)| (note(format!("{path}.points[{at}].note"), point.note, &mut own), point.value))
        .collect();
    let curve = Curve::new(&points);
    if let Err(DesignError::Faults(list)) = &curve {
        own = super::merged(own, within(list.clone(), path));
    }
    let sound = own.is_empty();
    faults.extend(own);
    curve.ok().filter(|_| sound)
}

fn stated(own: Option<&api::Targets>) -> [Option<&api::Target>; 3] {
    own.map_or([None; 3], |api::Targets { tension_n, load_share, inharmonicity_ceiling }| {
        [tension_n.as_ref(), load_share.as_ref(), inharmonicity_ceiling.as_ref()]
    })
}

/// Which targets a note states itself, in the order of [`NAMES`].
pub(super) fn states(own: Option<&api::Targets>) -> [bool; 3] {
    stated(own).map(|target| target.is_some())
}

/// Leads faults of targets that come from a curve back to the curve, once for all notes.
pub(super) fn to_curves(faults: Vec<Fault>, states: &[[bool; 3]]) -> Vec<Fault> {
    let mut found = Vec::with_capacity(faults.len());
    for mut fault in faults {
        if let Some(path) = curve_path(&fault.field, states) {
            fault.field = path;
        }
        found = super::merged(found, vec![fault]);
    }
    found
}

/// `notes[3].targets.tension_n.value` is `targets.tension_n.points` where the note does not state a tension.
fn curve_path(field: &str, states: &[[bool; 3]]) -> Option<String> {
    let (at, rest) = field.strip_prefix("notes[")?.split_once("].targets.")?;
    let (name, part) = rest.split_once('.')?;
    let states = states.get(at.parse::<usize>().ok()?)?;
    let which = NAMES.iter().position(|known| *known == name)?;
    let from_curve = !states.get(which)?;
    let part = if part == "value" { "points" } else { part };
    from_curve.then(|| format!("targets.{name}.{part}"))
}
