//! Fits of made-up benches whose values are known, and of the twin.

mod bristle;
mod cover;
mod fit;
mod hostile;
mod synthetic;
mod twin;
mod write;
