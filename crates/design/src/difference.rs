//! What changes between two string sets: the table behind "what if".

use std::collections::BTreeMap;

use becket_acoustics::cents_between;
use becket_scale::{Piece, PieceId, PieceKind, StringFigures, StringId, StringSet, WindingFigures};
use becket_units::Um;
use becket_wire::WireId;

use crate::check::Faults;
use crate::error::DesignError;

/// Differences up to these are no differences. Each is 0 or more.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DifferenceTolerances {
    /// Speaking length in mm.
    pub speaking_mm: f64,
    /// Frequency in cents.
    pub frequency_cents: f64,
    /// Tension as a share of the old one.
    pub tension: f64,
    /// Share of breaking load, as a difference of shares.
    pub load_share: f64,
    /// Inharmonicity as a share of the old one.
    pub inharmonicity: f64,
    /// Length of wire for the string in mm.
    pub cut_mm: f64,
}

impl Default for DifferenceTolerances {
    /// 0.05 mm, 0.05 cents, 0.1 % of tension, 0.001 of share, 0.5 % of B, 0.5 mm of cut. Common practice, no source.
    fn default() -> Self {
        Self {
            speaking_mm: 0.05,
            frequency_cents: 0.05,
            tension: 0.001,
            load_share: 0.001,
            inharmonicity: 0.005,
            cut_mm: 0.5,
        }
    }
}

/// An old and a new value that differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Change<T> {
    /// Value in the old set.
    pub old: T,
    /// Value in the new set.
    pub new: T,
}

/// In which set a string is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Presence {
    /// In both.
    Both,
    /// In the old one only: the note has fewer strings now.
    OldOnly,
    /// In the new one only: the note has more strings now.
    NewOnly,
}

/// The piece of wire that a string is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PieceOfString {
    /// The piece, which names the strings that it makes.
    pub piece_id: PieceId,
    /// What it becomes.
    pub kind: PieceKind,
    /// Length to cut, rounded up to the cutting step. It does not count as a difference of the piece; the string's
    /// `cut_mm` does.
    pub length: Um,
}

/// One string that differs. What is `None` is the same within the tolerances, or the string is in one set only.
#[derive(Debug, Clone, PartialEq)]
pub struct DifferenceRow {
    /// The string.
    pub string_id: StringId,
    /// In which set it is.
    pub presence: Presence,
    /// Wire, or core.
    pub wire_id: Option<Change<WireId>>,
    /// Windings, if their number, a wire or a covered length differs.
    pub windings: Option<Change<Vec<WindingFigures>>>,
    /// Speaking length in mm.
    pub speaking_mm: Option<Change<f64>>,
    /// Frequency in Hz.
    pub frequency_hz: Option<Change<f64>>,
    /// Tension in N.
    pub tension_n: Option<Change<f64>>,
    /// Share of breaking load; `None` inside where it is unknown.
    pub load_share: Option<Change<Option<f64>>>,
    /// Inharmonicity coefficient B.
    pub inharmonicity: Option<Change<f64>>,
    /// Length of wire for the string in mm before rounding.
    pub cut_mm: Option<Change<f64>>,
    /// Piece, if another string shares it now or it is fixed in another way.
    pub piece: Option<Change<PieceOfString>>,
}

/// The strings that differ, by rising note and number, and the sums.
#[derive(Debug, Clone, PartialEq)]
pub struct DifferenceTable {
    /// Strings that differ.
    pub rows: Vec<DifferenceRow>,
    /// Strings in both sets that do not differ.
    pub unchanged: u32,
    /// Sum of all tensions in N, whether it differs or not.
    pub tension_n: Change<f64>,
    /// Number of pieces, whether it differs or not.
    pub pieces: Change<u32>,
}

/// Compares two sets of the same compass, string by string.
///
/// # Units
/// As the fields of [`DifferenceRow`] say.
///
/// # Valid range and accuracy
/// A value that is not a number differs from every value. Only strings with a difference have a row.
///
/// # Errors
/// [`DesignError::Faults`] if a tolerance is not a finite number of 0 or more, a set has no strings, or the compasses
/// differ.
pub fn difference(
    old: &StringSet,
    new: &StringSet,
    tolerances: &DifferenceTolerances,
) -> Result<DifferenceTable, DesignError> {
    check(old, new, tolerances)?;
    let of_set = |set: &StringSet| -> (BTreeMap<StringId, usize>, BTreeMap<PieceId, usize>) {
        let strings = set.strings.iter().enumerate().map(|(at, string)| (string.string_id, at));
        let pieces = set.pieces.iter().enumerate().map(|(at, piece)| (piece.piece_id, at));
        (strings.collect(), pieces.collect())
    };
    let ((old_strings, old_pieces), (new_strings, new_pieces)) = (of_set(old), of_set(new));
    let mut all: Vec<StringId> = old_strings.keys().chain(new_strings.keys()).copied().collect();
    all.sort_unstable();
    all.dedup();
    let piece = |set: &StringSet, pieces: &BTreeMap<PieceId, usize>, string: &StringFigures| {
        pieces.get(&string.piece_id).and_then(|at| set.pieces.get(*at)).map(PieceOfString::of)
    };
    let mut table = DifferenceTable {
        rows: Vec::new(),
        unchanged: 0,
        tension_n: Change { old: old.totals.tension_n, new: new.totals.tension_n },
        pieces: Change { old: old.totals.pieces, new: new.totals.pieces },
    };
    for string_id in all {
        let before = old_strings.get(&string_id).and_then(|at| old.strings.get(*at));
        let after = new_strings.get(&string_id).and_then(|at| new.strings.get(*at));
        let row = match (before, after) {
            (Some(before), Some(after)) => {
                let pieces = (piece(old, &old_pieces, before), piece(new, &new_pieces, after));
                DifferenceRow::of(before, after, pieces, tolerances)
            }
            (Some(_), None) => DifferenceRow::empty(string_id, Presence::OldOnly),
            (None, _) => DifferenceRow::empty(string_id, Presence::NewOnly),
        };
        if row.says_something() {
            table.rows.push(row);
        } else {
            table.unchanged += 1;
        }
    }
    Ok(table)
}

impl DifferenceTolerances {
    /// Finds what is wrong with the tolerances; [`difference()`] does the same first.
    ///
    /// # Errors
    /// [`DesignError::Faults`] with every fault.
    pub fn check(&self) -> Result<(), DesignError> {
        let mut faults = Faults::default();
        self.find_faults(&mut faults);
        faults.finish()
    }

    fn find_faults(&self, faults: &mut Faults) {
        let Self { speaking_mm, frequency_cents, tension, load_share, inharmonicity, cut_mm } = *self;
        for (field, value) in [
            ("tolerances.speaking_mm", speaking_mm),
            ("tolerances.frequency_cents", frequency_cents),
            ("tolerances.tension", tension),
            ("tolerances.load_share", load_share),
            ("tolerances.inharmonicity", inharmonicity),
            ("tolerances.cut_mm", cut_mm),
        ] {
            faults.range(field, value, (0.0, 1e6), "");
        }
    }
}

fn check(old: &StringSet, new: &StringSet, tolerances: &DifferenceTolerances) -> Result<(), DesignError> {
    let mut faults = Faults::default();
    tolerances.find_faults(&mut faults);
    let compass = |set: &StringSet| {
        let notes = set.strings.iter().map(|string| string.string_id.note());
        notes.clone().min().zip(notes.max())
    };
    match (compass(old), compass(new)) {
        (Some(old), Some(new)) if old == new => {}
        (Some((low, high)), Some(other)) => {
            faults.add("new", format!("notes {} to {}", other.0, other.1), format!("notes {low} to {high}"));
        }
        _ => faults.add("old, new", "no strings", "sets with strings"),
    }
    faults.finish()
}

impl PieceOfString {
    const fn of(piece: &Piece) -> Self {
        Self { piece_id: piece.piece_id, kind: piece.kind, length: piece.length }
    }
}

impl<T> Change<T> {
    fn when(differs: bool, old: T, new: T) -> Option<Self> {
        differs.then_some(Self { old, new })
    }
}

impl DifferenceRow {
    const fn empty(string_id: StringId, presence: Presence) -> Self {
        Self {
            string_id,
            presence,
            wire_id: None,
            windings: None,
            speaking_mm: None,
            frequency_hz: None,
            tension_n: None,
            load_share: None,
            inharmonicity: None,
            cut_mm: None,
            piece: None,
        }
    }

    fn of(
        old: &StringFigures,
        new: &StringFigures,
        pieces: (Option<PieceOfString>, Option<PieceOfString>),
        tolerances: &DifferenceTolerances,
    ) -> Self {
        let cents = cents_between(old.frequency_hz, new.frequency_hz).unwrap_or(f64::NAN);
        let shares_differ = match (old.load_share, new.load_share) {
            (Some(old), Some(new)) => apart(old, new, tolerances.load_share),
            (None, None) => false,
            _ => true,
        };
        let piece = match pieces {
            (Some(old), Some(new)) => {
                Change::when((old.piece_id, old.kind) != (new.piece_id, new.kind), old, new)
            }
            _ => None,
        };
        let relative = |old: f64, new: f64, tolerance: f64| {
            Change::when(apart(old, new, tolerance * old.abs()), old, new)
        };
        let absolute =
            |old: f64, new: f64, tolerance: f64| Change::when(apart(old, new, tolerance), old, new);
        Self {
            string_id: old.string_id,
            presence: Presence::Both,
            wire_id: Change::when(old.wire_id != new.wire_id, old.wire_id.clone(), new.wire_id.clone()),
            windings: windings_differ(&old.windings, &new.windings, tolerances.speaking_mm)
                .then(|| Change { old: old.windings.clone(), new: new.windings.clone() }),
            speaking_mm: absolute(old.speaking_mm, new.speaking_mm, tolerances.speaking_mm),
            frequency_hz: Change::when(
                apart(cents, 0.0, tolerances.frequency_cents),
                old.frequency_hz,
                new.frequency_hz,
            ),
            tension_n: relative(old.tension_n, new.tension_n, tolerances.tension),
            load_share: Change::when(shares_differ, old.load_share, new.load_share),
            inharmonicity: relative(old.inharmonicity, new.inharmonicity, tolerances.inharmonicity),
            cut_mm: absolute(old.cut_mm, new.cut_mm, tolerances.cut_mm),
            piece,
        }
    }

    fn says_something(&self) -> bool {
        self.presence != Presence::Both || *self != Self::empty(self.string_id, Presence::Both)
    }
}

/// True unless the values are within the tolerance; also true for what is not a number.
fn apart(old: f64, new: f64, tolerance: f64) -> bool {
    let distance = (new - old).abs();
    distance.is_nan() || distance > tolerance
}

fn windings_differ(old: &[WindingFigures], new: &[WindingFigures], tolerance_mm: f64) -> bool {
    old.len() != new.len()
        || old.iter().zip(new).any(|(old, new)| {
            old.wire_id != new.wire_id || apart(old.covered_mm, new.covered_mm, tolerance_mm)
        })
}
