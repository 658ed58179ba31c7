//! Coils, cut lists and what happens to them at the wire station, as pure state transitions.
