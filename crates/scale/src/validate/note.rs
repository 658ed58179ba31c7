//! The rules of one row.

use std::fmt;

use becket_wire::{Material, Wire};

use super::wires::Wires;
use super::{SectionRow, check_hitch};
use crate::allowances::Allowances;
use crate::draft::{HitchStyle, NoteDraft, ScaleDraft, WindingDraft};
use crate::fault::{Faults, Field, Range, quoted, shown};
use crate::ids::{HIGHEST_NOTE, LOWEST_NOTE, MAX_UNISONS};
use crate::model::{Note, SectionIndex, Winding, WireIndex};

const SPEAKING: Range = Range::new(20.0, 3000.0, "mm");
const FRONT: Range = Range::new(0.0, 1000.0, "mm");
const BACK: Range = Range::new(0.0, 1500.0, "mm");
const SPACING: Range = Range::new(0.1, 100.0, "mm");
const PITCH_OFFSET: Range = Range::new(-200.0, 200.0, "cents");
/// Most layers over a core.
const MAX_WINDINGS: usize = 2;

/// A row, where it stands and what it refers to.
pub(super) struct Row<'a> {
    pub(super) index: usize,
    pub(super) draft: &'a NoteDraft,
    pub(super) scale: &'a ScaleDraft,
    pub(super) sections: &'a [SectionRow<'a>],
}

/// `notes[12]`, put together only for a fault.
struct Path(usize);

impl fmt::Display for Path {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "notes[{}]", self.0)
    }
}

impl Row<'_> {
    fn path(&self, name: &str) -> String {
        format!("{}.{name}", Path(self.index))
    }

    /// The row's section: one of the scale's, and not before that of the row below.
    pub(super) fn check_section(&self, before: SectionIndex, faults: &mut Faults) -> Option<SectionIndex> {
        let id_text = self.draft.section_id.as_str();
        let Some(at) = self.sections.iter().position(|row| row.id_text == id_text) else {
            // Without any section to name, the missing sections are the fault, not each of the rows.
            if !self.sections.is_empty() {
                faults.add(self.path("section_id"), shown(id_text), "a section of the scale");
            }
            return None;
        };
        let section = SectionIndex(u8::try_from(at).ok()?);
        if section < before {
            let allowed = self.sections.get(before.at()).map_or("", |row| row.id_text);
            faults.add(
                self.path("section_id"),
                shown(id_text),
                format_args!(
                    "{} or a later section, since notes come in the order of the sections",
                    quoted(allowed)
                ),
            );
        }
        Some(section)
    }

    /// The row as a note, if nothing is wrong with it; faults are added.
    pub(super) fn check(
        &self,
        section: Option<SectionIndex>,
        wires: &mut Wires<'_>,
        faults: &mut Faults,
    ) -> Option<Note> {
        let draft = self.draft;
        self.check_lengths(faults);
        let string_count = self.check_string_count(faults);
        let wire = self.check_wire(wires, faults);
        let windings = self.check_windings(wires, faults);
        let hitch = self.check_hitch(faults);
        if let Some(allowances) = &draft.allowances {
            allowances.check(&self.path("allowances"), faults);
        }
        let number = i16::try_from(draft.note).ok().filter(|n| (LOWEST_NOTE..=HIGHEST_NOTE).contains(n));
        let (section, (wire, found), hitch) = (section?, wire?, hitch?);
        let section_row = self.sections.get(section.at())?;
        let windings = windings?;
        let effective_hitch = if windings.is_empty() {
            hitch.or(section_row.section.as_ref().map(|section| section.hitch))?
        } else {
            HitchStyle::Tied
        };
        Some(Note {
            note: number?,
            section_id: section_row.section.as_ref()?.section_id.clone(),
            string_count: string_count?,
            speaking_mm: draft.speaking_mm,
            front_mm: draft.front_mm,
            back_mm: draft.back_mm,
            wire_id: found.wire_id().clone(),
            windings,
            hitch,
            pitch_offset_cents: draft.pitch_offset_cents,
            string_spacing_mm: draft.string_spacing_mm,
            allowances: draft.allowances,
            section,
            wire,
            effective_hitch,
            effective_allowances: Allowances::resolve(
                draft.allowances.as_ref(),
                section_row.draft.allowances.as_ref(),
                self.scale.allowances.as_ref(),
            ),
        })
    }

    /// `None` where the note's own style is at fault; `Some(None)` where it states none.
    fn check_hitch(&self, faults: &mut Faults) -> Option<Option<HitchStyle>> {
        let Some(choice) = self.draft.hitch else { return Some(None) };
        let style = check_hitch(choice, &self.path("hitch"), faults)?;
        if style == HitchStyle::LoopedBack && !self.draft.windings.is_empty() {
            faults.add(self.path("hitch"), "looped back", "tied, or no style, for a wound string");
        }
        Some(Some(style))
    }

    fn check_lengths(&self, faults: &mut Faults) {
        let draft = self.draft;
        let fields = [
            ("speaking_mm", draft.speaking_mm, SPEAKING),
            ("front_mm", draft.front_mm, FRONT),
            ("back_mm", draft.back_mm, BACK),
            ("pitch_offset_cents", draft.pitch_offset_cents, PITCH_OFFSET),
        ];
        for (name, value, range) in fields {
            faults.check_range(Field { base: &Path(self.index), name }, value, range);
        }
        if let Some(spacing_mm) = draft.string_spacing_mm {
            let field = Field { base: &Path(self.index), name: "string_spacing_mm" };
            faults.check_range(field, spacing_mm, SPACING);
        }
    }

    fn check_string_count(&self, faults: &mut Faults) -> Option<u8> {
        let count =
            u8::try_from(self.draft.string_count).ok().filter(|count| (1..=MAX_UNISONS).contains(count));
        if count.is_none() {
            let allowed = format_args!("1 to {MAX_UNISONS} strings").to_string();
            faults.add(self.path("string_count"), self.draft.string_count, allowed);
        }
        count
    }

    /// That steel has a strength basis is an invariant of [`Wire`].
    fn check_wire<'c>(&self, wires: &mut Wires<'c>, faults: &mut Faults) -> Option<(WireIndex, &'c Wire)> {
        let (index, wire) = find(&self.draft.wire_id, || self.path("wire_id"), wires, faults)?;
        let plain = self.draft.windings.is_empty();
        let fits = match wire.material() {
            Material::SteelRound => true,
            Material::SteelHexagonal => !plain,
            Material::Copper | Material::Iron | Material::Aluminium | Material::Brass => false,
        };
        if !fits {
            let allowed = if plain { "round steel for a plain string" } else { "steel for a core" };
            faults.add(
                self.path("wire_id"),
                format_args!("{} of {}", wire.wire_id(), wire.material()),
                allowed,
            );
        }
        Some((index, wire))
    }

    /// `None` where a winding is at fault.
    fn check_windings(&self, wires: &mut Wires<'_>, faults: &mut Faults) -> Option<Vec<Winding>> {
        let drafts = &self.draft.windings;
        if drafts.len() > MAX_WINDINGS {
            let allowed = format!("none, one or {MAX_WINDINGS} layers");
            faults.add(self.path("windings"), format_args!("{} layers", drafts.len()), allowed);
            return None;
        }
        let mut windings = Vec::with_capacity(drafts.len());
        for (at, draft) in drafts.iter().enumerate() {
            let base = format!("{}.windings[{at}]", Path(self.index));
            self.check_cover(draft, &base, faults);
            if let Some(inner) = at.checked_sub(1).and_then(|below| drafts.get(below)) {
                check_on_inner(draft, inner, &base, faults);
            }
            let found = find(&draft.wire_id, || format!("{base}.wire_id"), wires, faults);
            if let Some((wire, found)) = found {
                if !found.material().is_winding() {
                    let value = format_args!("{} of {}", found.wire_id(), found.material()).to_string();
                    faults.add(
                        format!("{base}.wire_id"),
                        value,
                        "copper, iron, aluminium or brass for a winding",
                    );
                }
                windings.push(Winding {
                    wire_id: found.wire_id().clone(),
                    bare_front_mm: draft.bare_front_mm,
                    bare_back_mm: draft.bare_back_mm,
                    wire,
                });
            }
        }
        (windings.len() == drafts.len()).then_some(windings)
    }

    /// A layer covers some of the speaking length and ends where the wire ends at the latest.
    fn check_cover(&self, winding: &WindingDraft, base: &str, faults: &mut Faults) {
        let row = self.draft;
        // A length that is wrong itself is reported as such; the bare ends are then held against the widest range.
        let speaking_mm = if SPEAKING.contains(row.speaking_mm) { row.speaking_mm } else { SPEAKING.high() };
        let back_mm = if BACK.contains(row.back_mm) { row.back_mm } else { BACK.high() };
        let front = Range::new(0.0, speaking_mm, "mm");
        faults.check_range(Field { base: &base, name: "bare_front_mm" }, winding.bare_front_mm, front);
        let back = Range::new(-back_mm, speaking_mm, "mm");
        faults.check_range(Field { base: &base, name: "bare_back_mm" }, winding.bare_back_mm, back);
        // In this order the sign of the difference is exact, so what passes here has a start before its end.
        let covered_mm = (speaking_mm - winding.bare_back_mm.max(0.0)) - winding.bare_front_mm;
        if covered_mm <= 0.0 {
            faults.add(
                base,
                format_args!(
                    "{} mm bare in front and {} mm behind",
                    winding.bare_front_mm, winding.bare_back_mm
                ),
                format_args!("bare ends of less than the speaking length, {speaking_mm} mm, together"),
            );
        }
    }
}

fn check_on_inner(outer: &WindingDraft, inner: &WindingDraft, base: &str, faults: &mut Faults) {
    let ends = [
        ("bare_front_mm", outer.bare_front_mm, inner.bare_front_mm),
        ("bare_back_mm", outer.bare_back_mm, inner.bare_back_mm),
    ];
    for (name, outer_mm, inner_mm) in ends {
        if outer_mm < inner_mm {
            let allowed = format_args!("at least {inner_mm} mm, where the layer below ends").to_string();
            faults.add(Field { base: &base, name }.path(), outer_mm, allowed);
        }
    }
}

fn find<'c>(
    wire_id: &str,
    field: impl Fn() -> String,
    wires: &mut Wires<'c>,
    faults: &mut Faults,
) -> Option<(WireIndex, &'c Wire)> {
    let found = wires.find(wire_id);
    if found.is_none() {
        faults.add(field(), shown(wire_id), "a wire of the catalogue");
    }
    found
}
