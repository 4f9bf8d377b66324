//! The extractor on loops and responses of known figures.

mod response;
mod ripple;
mod sweep;
mod synthetic;

pub(crate) use synthetic::Chance;
