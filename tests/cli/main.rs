//! The program from outside: what it says, how it ends, what it writes.

mod aborted;
mod bad_files;
mod bad_places;
mod boards;
#[cfg(unix)]
mod boards_on_a_port;
mod feel;
mod fit;
mod hostile;
#[cfg(unix)]
mod hostile_boards;
mod interrupt;
mod pages;
mod programs;
mod results;
mod size;
mod traces;
mod view;
mod workplace;
