//! The cutting model: which piece is cut from which coil, in which order; and an independent checker of plans.
