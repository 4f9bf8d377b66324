//! The stick in three dimensions with its plots: in a window, live or replayed, flown by hand, or
//! filmed without a display.
//!
//! The viewer knows rigs, scenarios and traces, never the inside of the controller. A thread runs
//! the twin and sends rows over a channel; nothing that the window does can slow or change a run
//! ([`source`]).

mod app;
mod camera;
mod error;
pub mod film;
mod look;
mod panel;
mod scene;
mod screen;
pub mod source;
pub mod timeline;
mod timing;
mod window;

#[cfg(test)]
mod tests;

pub use camera::{Orbit, View};
pub use error::ViewError;
pub use film::{Film, Studio};
pub use source::{Finished, MakeTarget, Pace, Session, Source, session_scenario};
pub use timeline::{SignalName, Timeline};
pub use timing::{Spent, Timing};
pub use window::{Save, Watch, WindowSeen, watch};
