//! A log of frames, for those who look for a fault in a link.

use std::fmt::Write as _;
use std::io::{self, Write};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;
use trimproof_diagnostics::{MESSAGE_MAX, brief};

/// Where frames are written down, one line each: seconds, link, direction, what it is, bytes.
/// Clones write to the same place.
#[derive(Clone)]
pub struct FrameLog {
    inner: Arc<Mutex<Inner>>,
    links: Arc<AtomicUsize>,
    begun: Instant,
    link: usize,
}

struct Inner {
    out: Box<dyn Write + Send>,
    error: Option<io::Error>,
}

impl FrameLog {
    /// A log into `out`.
    pub fn new(out: Box<dyn Write + Send>) -> Self {
        Self {
            inner: Arc::new(Mutex::new(Inner { out, error: None })),
            links: Arc::new(AtomicUsize::new(0)),
            begun: Instant::now(),
            link: 0,
        }
    }

    /// Ends the log.
    ///
    /// # Errors
    /// The first that occurred; what came after it is not in the log.
    pub fn finish(&self) -> io::Result<()> {
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        match inner.error.take() {
            Some(error) => Err(error),
            None => inner.out.flush(),
        }
    }

    /// The same log for one more link, which gets a number of its own.
    pub(crate) fn for_link(&self) -> Self {
        Self {
            link: self.links.fetch_add(1, Ordering::Relaxed) + 1,
            ..self.clone()
        }
    }

    /// Writes down that `bytes` went out (`>`) or came in (`<`), and `left_out` more that nobody
    /// kept.
    pub(crate) fn note(&self, out: bool, what: &str, bytes: &[u8], left_out: usize) {
        let mut line = format!(
            "{:12.6} {} {} {} |",
            self.begun.elapsed().as_secs_f64(),
            self.link,
            if out { '>' } else { '<' },
            // What a board says of itself is in it.
            brief(what, MESSAGE_MAX)
        );
        for byte in bytes {
            let _ = write!(line, " {byte:02x}");
        }
        if left_out > 0 {
            let _ = write!(line, " ... ({left_out} more bytes)");
        }
        line.push('\n');
        let mut inner = self.inner.lock().unwrap_or_else(PoisonError::into_inner);
        if inner.error.is_none()
            && let Err(error) = inner.out.write_all(line.as_bytes())
        {
            inner.error = Some(error);
        }
    }
}
