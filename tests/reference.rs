//! The physics against published values, independent engines and its own fine-stepped runs.
//!
//! docs/model names for each equation the test here that checks it.
#![allow(
    clippy::needless_range_loop,
    reason = "axes are walked by index, as in the formulas"
)]

mod reference {
    mod bodies;
    mod cartridge;
    mod contact;
    mod coupled;
    mod driver;
    mod engine;
    mod gimbal;
    mod multibody;
    mod pendulum;
    mod pivot;
    mod simple;
    mod stepper;
    mod winding;
}
