//! Boards behind a port, a socket or an emulator: the only crate that opens any.
