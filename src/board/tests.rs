//! The loop against what a link can do to it.
