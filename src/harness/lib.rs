//! harness
