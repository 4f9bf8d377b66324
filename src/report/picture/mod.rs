//! Pictures: force against position, free responses, the holding margin, what a fit
//! leaves, a run over time. Each is SVG text; [`png`] makes
//! an image of it.
//!
//! The same input gives the same bytes. Positions are in degrees of the stick, forces in N of the
//! hand on the grip; pounds and inches stand on a second scale where a regulation speaks so. Text
//! is 12 px or larger at the size that the SVG states, any kind of colour vision can distinguish
//! the colours, and no label covers another.

mod canvas;
mod choice;
mod force;
mod holding;
mod plane;
#[cfg(feature = "png")]
mod png;
mod residual;
mod response;
mod run;
mod style;
#[cfg(test)]
mod tests;
mod thin;
mod trace;

pub use canvas::inline;
pub use force::{ForceLoop, ForceTarget, ForceTolerance, Loop, force_loop};
pub use holding::{Holding, HoldingLine, holding_margin};
#[cfg(feature = "png")]
pub use png::png;
pub use residual::{ResidualPlot, residual_plot};
pub use response::{FreeResponse, Step, response};
pub use run::{expectation, overview};
pub use trace::{Curve, Lane, LaneKind, Panel, TracePlot, Worst, trace};

use plotters::drawing::DrawingAreaErrorKind;

/// One pound of force in newtons (14 CFR speaks of pounds; exact by definition).
pub const LB_N: f64 = trimproof_feel::judge::N_PER_LB;

/// One inch in metres, exact by definition.
pub const INCH_M: f64 = 0.025_4;

/// Why there is no picture.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    /// There is nothing to draw.
    #[error("nothing to draw: {0}")]
    Nothing(String),
    /// The plotting library gave up.
    #[error("the picture cannot be drawn: {0}")]
    Drawing(String),
    /// The text is no SVG.
    #[error("is no SVG that can be drawn: {0}")]
    NoSvg(String),
}

impl<E: std::error::Error + Send + Sync> From<DrawingAreaErrorKind<E>> for PictureError {
    fn from(error: DrawingAreaErrorKind<E>) -> Self {
        Self::Drawing(error.to_string())
    }
}
