//! What the report of a fit shows.

use std::path::Path;
use trimproof_feel::fit::{Fit, Written};

/// Everything that the report shows.
pub(super) struct FitShown<'a> {
    pub(super) rig: &'a str,
    pub(super) fit: &'a Fit,
    pub(super) written: Option<(&'a Path, &'a Written)>,
}
