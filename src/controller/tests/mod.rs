//! The whole controller, with ideal drives and a stick.

mod faults;
mod fixture;
mod pilot;
mod properties;
mod start;
