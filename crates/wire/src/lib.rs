//! The wire catalogue: size series, materials, strength bases, mass and length, packs.
