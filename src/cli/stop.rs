//! Ctrl-C: the first asks the suite to stop, the second ends the process.

use crate::exit::Exit;
use std::sync::atomic::{AtomicBool, Ordering};

static STOP: AtomicBool = AtomicBool::new(false);

/// Catches Ctrl-C, `SIGTERM` and `SIGHUP` from now on; the flag returned is set by the first.
///
/// If the handler cannot be set, the signals keep their usual effect: the process ends.
pub fn on_signal() -> &'static AtomicBool {
    let _ = ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::Relaxed) {
            trimproof_link::end_all();
            std::process::exit(i32::from(Exit::Stopped.code()));
        }
        crate::output::say("stopping: what is complete is kept; once more to end at once\n");
    });
    &STOP
}
