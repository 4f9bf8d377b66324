//! plant
