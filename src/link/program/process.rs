//! A program's process: started, spoken to, ended.

use std::io::{self, BufReader, Read};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use trimproof_diagnostics::brief;

use super::frames::{Answer, Begin, Change, VERSION, read_answer, write_begin, write_run};

/// Time on the wall without an answer after which a program counts as hung: it waits for something
/// that never comes. An endless loop is found earlier, by the processor time that it takes.
const HUNG_AFTER: Duration = Duration::from_secs(20);
/// Most of a program's words on standard error that are kept, bytes.
const SAID_MAX: usize = 64 * 1024;
/// Most of them that stand in a message, characters.
const SHOWN_MAX: usize = 600;

/// Why a program does not go on.
#[derive(Debug)]
pub(super) enum ProcessEnd {
    /// It says so itself: kind and text.
    Failed(u8, String),
    /// It is gone or makes no sense; what is known.
    Gone(String),
}

/// A running program.
pub(super) struct Process {
    child: Arc<Mutex<Child>>,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    said: Arc<Mutex<Vec<u8>>>,
    listener: Option<JoinHandle<()>>,
    answers: Arc<AtomicU64>,
    is_over: Arc<AtomicBool>,
    was_hung: Arc<AtomicBool>,
}

impl Process {
    /// Starts a program and waits until it is ready.
    pub(super) fn start(program: &Path, begin: &Begin<'_>) -> Result<Self, ProcessEnd> {
        let mut command = Command::new(program);
        command
            // Nothing of the user's surroundings may change a run.
            .env_clear()
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped());
        // Ctrl-C is for the harness: it ends its programs itself.
        #[cfg(unix)]
        std::os::unix::process::CommandExt::process_group(&mut command, 0);
        let gone = |error: io::Error| ProcessEnd::Gone(format!("it cannot be started: {error}"));
        let mut child = command.spawn().map_err(gone)?;
        let (Some(to), Some(from), Some(errors)) =
            (child.stdin.take(), child.stdout.take(), child.stderr.take())
        else {
            return Err(ProcessEnd::Gone("it has no pipes".to_owned()));
        };
        let said = Arc::new(Mutex::new(Vec::new()));
        let child = Arc::new(Mutex::new(child));
        let mut process = Self {
            to,
            from: BufReader::with_capacity(1 << 16, from),
            listener: Some(listen(errors, Arc::clone(&said))),
            said,
            answers: Arc::new(AtomicU64::new(0)),
            is_over: Arc::new(AtomicBool::new(false)),
            was_hung: Arc::new(AtomicBool::new(false)),
            child,
        };
        process.guard();
        write_begin(&mut process.to, begin).map_err(|error| process.lost(&error))?;
        match process.answer()? {
            Answer::Ready { version, .. } if version == VERSION => Ok(process),
            Answer::Ready { version, identity } => Err(ProcessEnd::Gone(format!(
                "`{identity}` speaks version {version} of the pipe, this program version {VERSION}"
            ))),
            _ => Err(ProcessEnd::Gone("it answers what was not asked".to_owned())),
        }
    }

    /// Runs it on; what it did.
    pub(super) fn run(
        &mut self,
        until_ns: u64,
        changes: &[Change],
    ) -> Result<Vec<super::frames::Event>, ProcessEnd> {
        write_run(&mut self.to, until_ns, changes).map_err(|error| self.lost(&error))?;
        match self.answer()? {
            Answer::Done { events } => Ok(events),
            _ => Err(ProcessEnd::Gone("it answers what was not asked".to_owned())),
        }
    }

    fn answer(&mut self) -> Result<Answer, ProcessEnd> {
        let answer = read_answer(&mut self.from);
        self.answers.fetch_add(1, Ordering::Relaxed);
        match answer {
            Ok(Answer::Fail { kind, text }) => Err(ProcessEnd::Failed(kind, text)),
            Ok(answer) => Ok(answer),
            Err(error) => Err(self.lost(&error)),
        }
    }

    /// What became of a program that does not answer.
    fn lost(&mut self, error: &io::Error) -> ProcessEnd {
        if self.was_hung.load(Ordering::Relaxed) {
            let seconds = HUNG_AFTER.as_secs();
            return ProcessEnd::Gone(format!("it did not answer for {seconds} s and was ended"));
        }
        // It may have written a frame about its end before the pipe broke.
        if let Ok(Answer::Fail { kind, text }) = read_answer(&mut self.from) {
            return ProcessEnd::Failed(kind, text);
        }
        let how = {
            let mut child = locked(&self.child);
            if error.kind() == io::ErrorKind::InvalidData {
                // It may go on for ever.
                let _ = child.kill();
            }
            child.wait().map(|status| status.to_string())
        };
        if let Some(listener) = self.listener.take() {
            let _ = listener.join();
        }
        let said = String::from_utf8_lossy(&locked(&self.said)).into_owned();
        let said = said.trim();
        let mut why = match (error.kind(), how) {
            (io::ErrorKind::InvalidData, _) => format!("it wrote {error}"),
            (_, Ok(how)) => format!("it ended ({how})"),
            (_, Err(_)) => format!("it is gone ({error})"),
        };
        if !said.is_empty() {
            why.push_str(&format!(", saying: {}", brief(said, SHOWN_MAX)));
        }
        ProcessEnd::Gone(why)
    }

    /// Ends the process if it hangs: a thread that looks now and then.
    fn guard(&self) {
        let (child, answers) = (Arc::clone(&self.child), Arc::clone(&self.answers));
        let (is_over, was_hung) = (Arc::clone(&self.is_over), Arc::clone(&self.was_hung));
        std::thread::spawn(move || {
            let mut known = answers.load(Ordering::Relaxed);
            let mut idle = Duration::ZERO;
            let look = Duration::from_millis(250);
            while !is_over.load(Ordering::Relaxed) {
                std::thread::park_timeout(look);
                let now = answers.load(Ordering::Relaxed);
                idle = if now == known {
                    idle + look
                } else {
                    Duration::ZERO
                };
                known = now;
                if idle >= HUNG_AFTER {
                    was_hung.store(true, Ordering::Relaxed);
                    let _ = locked(&child).kill();
                    return;
                }
            }
        });
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.is_over.store(true, Ordering::Relaxed);
        let mut child = locked(&self.child);
        // It may have ended by itself.
        let _ = child.kill();
        let _ = child.wait();
    }
}

fn listen(mut errors: impl Read + Send + 'static, said: Arc<Mutex<Vec<u8>>>) -> JoinHandle<()> {
    std::thread::spawn(move || {
        let mut buffer = [0; 4096];
        while let Ok(count @ 1..) = errors.read(&mut buffer) {
            let mut said = locked(&said);
            let room = SAID_MAX.saturating_sub(said.len());
            said.extend(&buffer[..count.min(room)]);
        }
    })
}

fn locked<T>(mutex: &Mutex<T>) -> std::sync::MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
