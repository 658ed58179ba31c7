//! What both services share at the edge: settings, telemetry, clock, server, errors, deadlines.
