//! Windows: seconds to ticks.

use std::ops::Range;

use trimproof_diagnostics::FileError;

use super::Names;
use super::node::Window;

/// Part of a tick by which a window bound may miss a row and still include it: absorbs the rounding
/// of decimal seconds, far below anything that means another row.
const TICK_SLACK: f64 = 1e-6;

/// Rows of a whole scenario.
///
/// # Errors
/// A tick or a length that is not a positive number.
pub(super) fn length_ticks(names: &Names) -> Result<usize, FileError> {
    let ticks = names.length_s / names.tick_s;
    if names.tick_s > 0.0 && ticks.is_finite() && ticks >= 1.0 {
        Ok((ticks + TICK_SLACK).floor() as usize)
    } else {
        Err(FileError::new(format!(
            "a scenario of `{}` s has no whole tick of `{}` s to judge",
            names.length_s, names.tick_s
        )))
    }
}

/// A window in seconds as it stands in the text; a time is `None` for `end`, `from_s` only if both
/// are.
#[derive(Clone, Debug)]
pub(super) struct Stated {
    pub from_s: Option<f64>,
    pub to_s: Option<f64>,
    pub span: Range<usize>,
}

impl Stated {
    /// The rows that lie inside: never one outside of what was written.
    ///
    /// # Errors
    /// Negative times, a reversed window, one past the end of the scenario, one without a row.
    pub fn in_ticks(&self, names: &Names) -> Result<Window, FileError> {
        let fault = |message: String, help: String| {
            Err(FileError::new(message)
                .with_help(help)
                .with_span(self.span.clone()))
        };
        let Some(from_s) = self.from_s else {
            return Ok(Window {
                at_end: true,
                ..Window::WHOLE
            });
        };
        let (tick_s, length_s) = (names.tick_s, names.length_s);
        let last_s = self.to_s.unwrap_or(from_s);
        if from_s < 0.0 || last_s < 0.0 {
            return fault(
                format!("window starts at `{}` s", from_s.min(last_s)),
                "times in a window are 0 or more: look back with `once` or `historically`"
                    .to_owned(),
            );
        }
        if last_s < from_s {
            return fault(
                format!("window `[{from_s}, {last_s}]` is reversed"),
                format!("write `[{last_s}, {from_s}]`"),
            );
        }
        if last_s / tick_s > length_s / tick_s + TICK_SLACK {
            return fault(
                format!("window reaches `{last_s}` s, the scenario ends at `{length_s}` s"),
                format!("keep it within `{length_s}` s, or write `end` as its second time"),
            );
        }
        let from = (from_s / tick_s - TICK_SLACK).ceil().max(0.0) as usize;
        let to = self
            .to_s
            .map(|to_s| (to_s / tick_s + TICK_SLACK).floor() as usize);
        if to.is_some_and(|to| to < from) {
            return fault(
                format!("window `[{from_s}, {last_s}]` is empty: no tick falls into it"),
                format!("there is a row every `{tick_s}` s"),
            );
        }
        Ok(Window {
            from,
            to,
            at_end: false,
        })
    }
}
