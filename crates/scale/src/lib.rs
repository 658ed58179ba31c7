//! Scales of pianos and what follows from them: strings, pieces, totals, warnings.
