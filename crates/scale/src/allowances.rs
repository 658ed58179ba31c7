//! Wire beyond the straight part of a string: what a note uses after section, scale and defaults are asked.

use std::fmt;

use becket_units::Um;

use crate::fault::{Faults, Field, Range};

/// Default diameter of the tuning pin in mm: size 2/0, .282 in. Common practice, no source.
pub const DEFAULT_TUNING_PIN_DIAMETER_MM: f64 = 7.16;
/// Default turns of wire on the tuning pin. Common practice, no source; 2.5 to 4 are seen.
pub const DEFAULT_TURNS: f64 = 3.0;
/// Default diameter of the hitch pin in mm. Common practice, no source.
pub const DEFAULT_HITCH_PIN_DIAMETER_MM: f64 = 4.5;
/// Default wire for the twisted eye of a tied string in mm. Common practice, no source.
pub const DEFAULT_EYE_MM: f64 = 50.0;
/// Default wire to hold while winding, for each tuning pin, in mm. Common practice, no source.
pub const DEFAULT_WORKING_MM: f64 = 10.0;
/// Default turns of winding wire that finish a layer. Common practice, no source.
pub const DEFAULT_WINDING_FINISH_TURNS: f64 = 3.0;
/// Default step to which cut lengths are rounded up, in µm. Common practice, no source.
pub const DEFAULT_CUT_STEP: Um = Um::new(1000);

/// Wire beyond the straight part, and how pins are. An absent field takes the value of the next wider level: note, then
/// section, then scale, then the default.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Allowances {
    /// Diameter of the tuning pin in mm, 5 to 10.
    pub tuning_pin_diameter_mm: Option<f64>,
    /// Turns of wire on the tuning pin, 0 to 6.
    pub turns: Option<f64>,
    /// Wire end in the pin's eye in mm, 0 to 20.
    pub becket_mm: Option<f64>,
    /// Diameter of the hitch pin in mm, 1 to 12.
    pub hitch_pin_diameter_mm: Option<f64>,
    /// Wire for the twisted eye of a tied string in mm, 0 to 200.
    pub eye_mm: Option<f64>,
    /// Wire to hold while winding, snipped off later, in mm for each tuning pin, 0 to 300.
    pub working_mm: Option<f64>,
    /// Cut lengths are rounded up to a multiple of this, in mm, 0.1 to 50, in whole micrometres.
    pub cut_step_mm: Option<f64>,
    /// Turns of winding wire beyond the covered length that finish and lock a layer, for both of its ends together, 0
    /// to 40. They count in the length and mass of the winding wire, and not in what sounds.
    pub winding_finish_turns: Option<f64>,
}

/// Allowances with every field decided.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ResolvedAllowances {
    /// Diameter of the tuning pin in mm.
    pub tuning_pin_diameter_mm: f64,
    /// Turns of wire on the tuning pin.
    pub turns: f64,
    /// Wire end in the pin's eye in mm.
    pub becket_mm: f64,
    /// Diameter of the hitch pin in mm.
    pub hitch_pin_diameter_mm: f64,
    /// Wire for the twisted eye of a tied string in mm.
    pub eye_mm: f64,
    /// Wire to hold while winding in mm for each tuning pin.
    pub working_mm: f64,
    /// Step to which cut lengths are rounded up.
    pub cut_step: Um,
    /// Turns of winding wire that finish a layer, for both of its ends together.
    pub winding_finish_turns: f64,
}

impl Allowances {
    /// Resolves the levels, nearest first. The becket's default is the pin's diameter as resolved, so a note with a
    /// thicker pin has a longer becket unless some level states one.
    ///
    /// # Units
    /// Millimetres and turns, as the fields say.
    pub fn resolve(note: Option<&Self>, section: Option<&Self>, scale: Option<&Self>) -> ResolvedAllowances {
        let pick =
            |field: fn(&Self) -> Option<f64>| [note, section, scale].into_iter().flatten().find_map(field);
        let pin = pick(|a| a.tuning_pin_diameter_mm).unwrap_or(DEFAULT_TUNING_PIN_DIAMETER_MM);
        ResolvedAllowances {
            tuning_pin_diameter_mm: pin,
            turns: pick(|a| a.turns).unwrap_or(DEFAULT_TURNS),
            becket_mm: pick(|a| a.becket_mm).unwrap_or(pin),
            hitch_pin_diameter_mm: pick(|a| a.hitch_pin_diameter_mm).unwrap_or(DEFAULT_HITCH_PIN_DIAMETER_MM),
            eye_mm: pick(|a| a.eye_mm).unwrap_or(DEFAULT_EYE_MM),
            working_mm: pick(|a| a.working_mm).unwrap_or(DEFAULT_WORKING_MM),
            cut_step: pick(|a| a.cut_step_mm)
                .and_then(|mm| Um::from_mm_f64(mm).ok())
                .unwrap_or(DEFAULT_CUT_STEP),
            winding_finish_turns: pick(|a| a.winding_finish_turns).unwrap_or(DEFAULT_WINDING_FINISH_TURNS),
        }
    }

    /// Reports every field out of its range.
    pub(crate) fn check(&self, base: &dyn fmt::Display, faults: &mut Faults) {
        let fields = [
            ("tuning_pin_diameter_mm", self.tuning_pin_diameter_mm, Range::new(5.0, 10.0, "mm")),
            ("turns", self.turns, Range::new(0.0, 6.0, "turns")),
            ("becket_mm", self.becket_mm, Range::new(0.0, 20.0, "mm")),
            ("hitch_pin_diameter_mm", self.hitch_pin_diameter_mm, Range::new(1.0, 12.0, "mm")),
            ("eye_mm", self.eye_mm, Range::new(0.0, 200.0, "mm")),
            ("working_mm", self.working_mm, Range::new(0.0, 300.0, "mm")),
            ("cut_step_mm", self.cut_step_mm, CUT_STEP),
            ("winding_finish_turns", self.winding_finish_turns, Range::new(0.0, 40.0, "turns")),
        ];
        for (name, value, range) in fields {
            if let Some(value) = value {
                faults.check_range(Field { base, name }, value, range);
            }
        }
        // A step is counted in whole micrometres; rounding it here would cut other lengths than the step that was asked.
        if let Some(step) = self.cut_step_mm
            && CUT_STEP.contains(step)
            && (step * 1000.0 - (step * 1000.0).round()).abs() > 1e-6
        {
            faults.add(Field { base, name: "cut_step_mm" }.path(), step, "a multiple of 0.001 mm");
        }
    }
}

const CUT_STEP: Range = Range::new(0.1, 50.0, "mm");

#[cfg(test)]
mod tests {
    use super::*;

    fn turns(turns: f64) -> Allowances {
        Allowances { turns: Some(turns), ..Allowances::default() }
    }

    #[test]
    fn the_nearest_level_that_states_a_value_wins() {
        let (note, section, scale) = (turns(2.0), turns(2.5), turns(4.0));
        let none = Allowances::default();
        let resolve = |n, s, w| Allowances::resolve(Some(n), Some(s), Some(w)).turns;
        assert_eq!(resolve(&note, &section, &scale), 2.0);
        assert_eq!(resolve(&none, &section, &scale), 2.5);
        assert_eq!(resolve(&none, &none, &scale), 4.0);
        assert_eq!(resolve(&none, &none, &none), DEFAULT_TURNS);
        assert_eq!(Allowances::resolve(None, None, Some(&scale)).turns, 4.0);
    }

    #[test]
    fn an_unstated_becket_follows_the_pin() {
        let wide = Allowances { tuning_pin_diameter_mm: Some(7.4), ..Allowances::default() };
        assert_eq!(Allowances::resolve(Some(&wide), None, None).becket_mm, 7.4);
        let stated = Allowances { becket_mm: Some(6.0), ..Allowances::default() };
        assert_eq!(Allowances::resolve(Some(&wide), None, Some(&stated)).becket_mm, 6.0);
    }

    #[test]
    fn every_field_is_held_to_its_range() {
        let bad = Allowances {
            tuning_pin_diameter_mm: Some(4.999),
            turns: Some(6.001),
            becket_mm: Some(-0.001),
            hitch_pin_diameter_mm: Some(f64::NAN),
            eye_mm: Some(f64::INFINITY),
            working_mm: Some(300.5),
            cut_step_mm: Some(0.0999),
            winding_finish_turns: Some(40.1),
        };
        let mut faults = Faults::default();
        bad.check(&"allowances", &mut faults);
        let list = faults.into_list();
        assert_eq!(list.len(), 8, "{list:?}");
        assert_eq!(
            list[0].to_string(),
            "allowances.tuning_pin_diameter_mm: \"4.999\" is not allowed; allowed: 5 to 10 mm"
        );

        let edge = Allowances {
            tuning_pin_diameter_mm: Some(5.0),
            turns: Some(6.0),
            becket_mm: Some(0.0),
            hitch_pin_diameter_mm: Some(12.0),
            eye_mm: Some(200.0),
            working_mm: Some(0.0),
            cut_step_mm: Some(0.1),
            winding_finish_turns: Some(40.0),
        };
        let mut faults = Faults::default();
        edge.check(&"allowances", &mut faults);
        assert_eq!(faults.into_list(), []);
    }

    #[test]
    fn a_step_of_part_micrometres_is_refused() {
        let step = |mm| {
            let mut faults = Faults::default();
            Allowances { cut_step_mm: Some(mm), ..Allowances::default() }.check(&"", &mut faults);
            faults.into_list()
        };
        assert_eq!(
            step(1.5875)[0].to_string(),
            "cut_step_mm: \"1.5875\" is not allowed; allowed: a multiple of 0.001 mm"
        );
        assert!(step(1.588).is_empty());
        let fine = Allowances { cut_step_mm: Some(1.588), ..Allowances::default() };
        assert_eq!(Allowances::resolve(Some(&fine), None, None).cut_step, Um::new(1588));
    }
}
