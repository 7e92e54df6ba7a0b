//! Stub: see design.
