//! One module for each command, and `pictures`, which several write.

pub mod compare;
pub mod completions;
pub mod feel;
pub mod fit;
pub mod link;
pub mod pictures;
pub mod ports;
pub mod prove;
pub mod schema;
pub mod signals;
pub mod size;
pub mod view;
