//! Formulas of the string: pitch, tension, stress, stiffness, windings.
