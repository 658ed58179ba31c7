//! Units of the stringing trade: exact lengths in micrometres, conversions, parsing and formatting.
