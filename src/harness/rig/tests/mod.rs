//! Rig files with their controller's settings.

mod notes;
mod settings;
mod shipped;

use super::*;

const KITTIWAKE: &str = include_str!("../../../../scenarios/rigs/kittiwake.toml");
const BITTERN: &str = include_str!("../../../../scenarios/rigs/bittern.toml");
const SANDERLING: &str = include_str!("../../../../scenarios/rigs/sanderling.toml");
