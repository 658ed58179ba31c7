//! The string computation service.
