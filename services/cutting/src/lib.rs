//! The cutting-list service.
