//! What storage must do: the traits, their records, and the conformance suite that every engine passes.
