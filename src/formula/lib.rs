//! Expectations as text: formulas of signal temporal logic over the columns of a trace.
//!
//! [`Formula::parse`] reads the text and checks it against the names, units of time and length of a
//! scenario; [`Formula::evaluate`] gives the [`Margin`] on a trace: by how much, where and when.
//! The language and its meaning are described in `docs/model/formulas.md`.
//!
//! ```
//! use std::borrow::Cow;
//! use trimproof_formula::{Formula, Names, SignalKind, SignalName, Signals};
//!
//! /// A second of a ramp from 0 to 10 N, a row every 0.1 s.
//! struct Ramp;
//! impl Signals for Ramp {
//!     fn rows(&self) -> usize {
//!         11
//!     }
//!     fn tick_s(&self) -> f64 {
//!         0.1
//!     }
//!     fn signal(&self, name: &str) -> Option<Cow<'_, [f64]>> {
//!         (name == "force_n").then(|| (0..11).map(f64::from).collect::<Vec<_>>().into())
//!     }
//! }
//!
//! let force = SignalName { name: "force_n".into(), unit: "N".into(), kind: SignalKind::Number };
//! let names = Names {
//!     signals: vec![force],
//!     constants: Vec::new(),
//!     states: Vec::new(),
//!     length_s: 1.0,
//!     tick_s: 0.1,
//! };
//! let formula = Formula::parse("always[0, 0.5] (force_n < 8)", &names).unwrap();
//! let margin = formula.evaluate(&Ramp);
//! assert!(margin.held && margin.value == 3.0 && margin.at_s == 0.5);
//! ```

mod builder;
mod column;
mod evaluate;
mod formula;
mod grammar;
mod guards;
mod lexer;
mod limit;
mod lookup;
mod monitor;
mod node;
mod parts;
mod point;
mod scratch;
mod sides;
mod signals;
mod tested;
#[cfg(any(test, feature = "reference"))]
pub mod whole;
mod window;

#[cfg(test)]
mod tests;

pub use evaluate::{evaluate_all, first_breaks};
pub use formula::{Formula, Margin};
pub use guards::Guard;
pub use limit::EQUALITY_TOLERANCE;
pub use monitor::{BLOCK_ROWS, Findings, Monitor, judge_whole};
pub use sides::Sides;
pub use signals::{Names, SignalKind, SignalName, Signals};
pub use tested::Tested;

/// The names and words of the language in a formula, in its order; empty if it does not read.
pub fn words_in(text: &str) -> Vec<&str> {
    let tokens = lexer::tokens(text).unwrap_or_default();
    let names = tokens
        .into_iter()
        .filter(|token| token.kind == lexer::TokenKind::Name);
    names.filter_map(|token| text.get(token.span)).collect()
}
